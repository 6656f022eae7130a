//! Exact Euclidean distance transform.

use super::Plane;

/// Distance from each `true` pixel to the nearest `false` pixel's centre (0 on `false` pixels); beyond the
/// raster counts as `false`.
///
/// # References
/// Felzenszwalb & Huttenlocher 2012, Theory of Computing 8:415-428, doi 10.4086/toc.2012.v008a019.
pub fn euclidean(mask: &Plane<bool>) -> Plane<f32> {
    let (w, h) = (mask.width, mask.height);
    // One ring of background stands for the outside.
    let (pw, ph) = (w + 2, h + 2);
    let far = (pw * pw + ph * ph) as f32;
    let mut squared = vec![0.0f32; pw * ph];
    for y in 0..h {
        for x in 0..w {
            if mask.at(x, y) {
                squared[(y + 1) * pw + x + 1] = far;
            }
        }
    }
    let longest = pw.max(ph);
    let (mut line, mut out) = (vec![0.0; longest], vec![0.0; longest]);
    let mut room = (vec![0usize; longest], vec![0.0f32; longest + 1]);
    for x in 0..pw {
        for y in 0..ph {
            line[y] = squared[y * pw + x];
        }
        parabolas(&line[..ph], &mut out[..ph], &mut room);
        for y in 0..ph {
            squared[y * pw + x] = out[y];
        }
    }
    for y in 0..ph {
        line[..pw].copy_from_slice(&squared[y * pw..(y + 1) * pw]);
        parabolas(&line[..pw], &mut out[..pw], &mut room);
        squared[y * pw..(y + 1) * pw].copy_from_slice(&out[..pw]);
    }
    let data = (0..h)
        .flat_map(|y| squared[(y + 1) * pw + 1..(y + 1) * pw + 1 + w].iter().map(|d| d.sqrt()))
        .collect();
    Plane { width: w, height: h, data }
}

/// Lower envelope of the parabolas rooted at each sample.
fn parabolas(f: &[f32], d: &mut [f32], (v, z): &mut (Vec<usize>, Vec<f32>)) {
    let mut k = 0;
    v[0] = 0;
    z[0] = f32::NEG_INFINITY;
    z[1] = f32::INFINITY;
    for q in 1..f.len() {
        let meet = |p: usize| {
            let (qf, pf) = (q as f32, p as f32);
            ((f[q] + qf * qf) - (f[p] + pf * pf)) / (2.0 * (qf - pf))
        };
        let mut s = meet(v[k]);
        while s <= z[k] {
            k -= 1;
            s = meet(v[k]);
        }
        k += 1;
        v[k] = q;
        z[k] = s;
        z[k + 1] = f32::INFINITY;
    }
    k = 0;
    for (q, out) in d.iter_mut().enumerate() {
        while z[k + 1] < q as f32 {
            k += 1;
        }
        let gap = q as f32 - v[k] as f32;
        *out = gap * gap + f[v[k]];
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn slow(mask: &Plane<bool>) -> Plane<f32> {
        let mut out = Plane::filled(mask.width, mask.height, 0.0f32);
        for y in 0..mask.height {
            for x in 0..mask.width {
                let mut best = f32::INFINITY;
                for by in -1..=mask.height as i64 {
                    for bx in -1..=mask.width as i64 {
                        if !mask.get_or(bx, by, false) {
                            best = best.min(((bx - x as i64) as f32).hypot((by - y as i64) as f32));
                        }
                    }
                }
                out.set(x, y, if mask.at(x, y) { best } else { 0.0 });
            }
        }
        out
    }

    proptest! {
        #[test]
        fn agrees_with_the_search_over_all_pixels(bits in proptest::collection::vec(any::<bool>(), 12 * 9)) {
            let mask = Plane { width: 12, height: 9, data: bits };
            let (fast, slow) = (euclidean(&mask), slow(&mask));
            for (a, b) in fast.data.iter().zip(&slow.data) {
                prop_assert!((a - b).abs() < 1e-4);
            }
        }
    }
}
