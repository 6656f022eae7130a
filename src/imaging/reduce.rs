//! Reduction by whole factors: each output pixel is the mean of a square of input pixels.

use super::Plane;

/// Mean of every `factor` by `factor` square. Squares cut by the right or bottom edge average what there is.
/// The output pixel (x, y) is centred on input coordinate `factor * x + (factor - 1) / 2`.
///
/// ```
/// use frygauge::imaging::reduce::reduce;
/// let p = reduce(&[10, 20, 30, 40], 2, 2, 2);
/// assert_eq!((p.width, p.height, p.at(0, 0)), (1, 1, 25.0));
/// ```
pub fn reduce(values: &[u8], width: usize, height: usize, factor: usize) -> Plane<f32> {
    let (w, h) = (width.div_ceil(factor), height.div_ceil(factor));
    let mut out = Vec::with_capacity(w * h);
    let mut sums = vec![0u32; w];
    for y in 0..h {
        sums.fill(0);
        let rows = (y * factor)..((y + 1) * factor).min(height);
        let count_y = rows.len() as u32;
        for row in rows {
            let row = &values[row * width..(row + 1) * width];
            if factor == 2 {
                let (pairs, rest) = row.as_chunks::<2>();
                for (sum, [a, b]) in sums.iter_mut().zip(pairs) {
                    *sum += u32::from(*a) + u32::from(*b);
                }
                if let [last] = rest {
                    sums[w - 1] += u32::from(*last);
                }
            } else {
                for (sum, square) in sums.iter_mut().zip(row.chunks(factor)) {
                    *sum += square.iter().map(|v| u32::from(*v)).sum::<u32>();
                }
            }
        }
        let whole = 1.0 / (factor as u32 * count_y) as f32;
        out.extend(sums.iter().map(|s| *s as f32 * whole));
        let last = width - (w - 1) * factor;
        if last != factor
            && let Some(v) = out.last_mut()
        {
            *v = sums[w - 1] as f32 / (last as u32 * count_y) as f32;
        }
    }
    Plane { width: w, height: h, data: out }
}

/// Mean of every `factor` by `factor` square of a plane of reals; same geometry as [`reduce`].
pub fn reduce_f32(plane: &Plane<f32>, factor: usize) -> Plane<f32> {
    if factor <= 1 {
        return plane.clone();
    }
    let (w, h) = (plane.width.div_ceil(factor), plane.height.div_ceil(factor));
    let mut out = Plane::filled(w, h, 0.0);
    for y in 0..h {
        let rows = (y * factor)..((y + 1) * factor).min(plane.height);
        let sums = &mut out.data[y * w..(y + 1) * w];
        for row in rows.clone() {
            if factor == 2 {
                let (pairs, rest) = plane.row(row).as_chunks::<2>();
                for (sum, [a, b]) in sums.iter_mut().zip(pairs) {
                    *sum += a + b;
                }
                if let [last] = rest {
                    sums[w - 1] += last;
                }
            } else {
                for (sum, square) in sums.iter_mut().zip(plane.row(row).chunks(factor)) {
                    *sum += square.iter().sum::<f32>();
                }
            }
        }
        let last = plane.width - (w - 1) * factor;
        sums[..w - 1].iter_mut().for_each(|sum| *sum /= (factor * rows.len()) as f32);
        sums[w - 1] /= (last * rows.len()) as f32;
    }
    out
}
