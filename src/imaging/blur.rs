//! Gaussian smoothing.

use super::Plane;

fn kernel(sigma: f32) -> Vec<f32> {
    let radius = (3.0 * sigma).ceil().max(1.0) as i32;
    let mut k: Vec<f32> = (-radius..=radius).map(|i| (-0.5 * (i as f32 / sigma).powi(2)).exp()).collect();
    let sum: f32 = k.iter().sum();
    for v in &mut k {
        *v /= sum;
    }
    k
}

/// Gaussian smoothing with standard deviation `sigma` pixels, edges extended; `sigma` of 0 returns a copy.
/// Cut at three standard deviations.
pub fn gaussian(plane: &Plane<f32>, sigma: f32) -> Plane<f32> {
    let mut out = plane.clone();
    smooth(&mut out, sigma);
    out
}

/// As [`gaussian`], in place.
pub fn smooth(plane: &mut Plane<f32>, sigma: f32) {
    if sigma <= 0.0 || plane.data.is_empty() {
        return;
    }
    let k = kernel(sigma);
    let radius = k.len() / 2;
    let (w, h) = (plane.width, plane.height);
    let mut padded = vec![0.0f32; w + 2 * radius];
    // Rows smoothed across, as many as one row down needs: row `y` stands at `y` modulo their number.
    let mut across = Plane::filled(w, k.len(), 0.0f32);
    let mut ready = 0;
    for y in 0..h {
        while ready <= (y + radius).min(h - 1) {
            let row = plane.row(ready);
            padded[..radius].fill(row[0]);
            padded[radius..radius + w].copy_from_slice(row);
            padded[radius + w..].fill(row[w - 1]);
            let at = ready % k.len() * w;
            weigh(&mut across.data[at..at + w], &k, |i| &padded[i..i + w]);
            ready += 1;
        }
        let out = &mut plane.data[y * w..(y + 1) * w];
        weigh(out, &k, |i| across.row((y + i).saturating_sub(radius).min(h - 1) % k.len()));
    }
}

/// The sum of rows by their weights.
fn weigh<'a>(out: &mut [f32], weights: &[f32], row: impl Fn(usize) -> &'a [f32]) {
    out.fill(0.0);
    for (i, weight) in weights.iter().enumerate() {
        for (o, v) in out.iter_mut().zip(row(i)) {
            *o += weight * v;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_spike_keeps_its_mass_and_gets_the_gaussian_height() {
        let mut p = Plane::filled(41, 41, 0.0);
        p.set(20, 20, 1.0);
        let b = gaussian(&p, 2.0);
        let mass: f32 = b.data.iter().sum();
        assert!((mass - 1.0).abs() < 1e-5);
        // Height of a 2-D Gaussian: 1 / (2 pi sigma^2); sampled and cut at 3 sigma, within 1 %.
        let height = 1.0 / (2.0 * std::f32::consts::PI * 4.0);
        assert!((b.at(20, 20) / height - 1.0).abs() < 0.01);
    }
}
