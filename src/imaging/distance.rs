//! Exact Euclidean distance transform.

use super::Plane;

/// Distance from each `true` pixel to the nearest `false` pixel's centre (0 on `false` pixels); beyond the
/// raster counts as `false`.
///
/// Takes time for the `true` pixels and the rows and columns they span, however large the raster is.
///
/// # References
/// Felzenszwalb & Huttenlocher 2012, Theory of Computing 8:415-428, doi 10.4086/toc.2012.v008a019.
pub fn euclidean(mask: &Plane<bool>) -> Plane<f32> {
    let mut out = Plane::filled(mask.width, mask.height, 0.0f32);
    let Some([x0, y0, x1, y1]) = mask.bounds() else { return out };
    // Rows to the nearest `false` pixel of the same column: downwards, then upwards.
    let width = x1 - x0 + 1;
    let mut rows = vec![0.0f32; width * (y1 - y0 + 1)];
    let mut above = vec![0.0f32; width];
    for (y, line) in (y0..=y1).zip(rows.chunks_exact_mut(width)) {
        for ((d, a), inside) in line.iter_mut().zip(&mut above).zip(&mask.row(y)[x0..=x1]) {
            *a = if *inside { *a + 1.0 } else { 0.0 };
            *d = *a;
        }
    }
    let mut below = vec![0.0f32; width];
    for line in rows.chunks_exact_mut(width).rev() {
        for (d, b) in line.iter_mut().zip(&mut below) {
            *b = d.min(*b + 1.0);
            *d = *b * *b;
        }
    }
    // A `false` pixel shields what lies on one side of it from the other: every run of a row stands for itself.
    let mut room = (vec![0usize; width + 2], vec![0.0f32; width + 3]);
    let mut line = vec![0.0f32; width + 2];
    for (y, squared) in (y0..=y1).zip(rows.chunks_exact(width)) {
        let mut x = 0;
        while x < width {
            let run = squared[x..].iter().take_while(|d| **d > 0.0).count();
            if run > 0 {
                line[0] = 0.0;
                line[1..=run].copy_from_slice(&squared[x..x + run]);
                line[run + 1] = 0.0;
                let target = &mut out.data[y * mask.width + x0 + x..][..run];
                parabolas(&line[..run + 2], target, &mut room);
            }
            x += run + 1;
        }
    }
    out
}

/// Square root of the lower envelope of the parabolas rooted at each sample of `f`, at all but its first and last.
fn parabolas(f: &[f32], roots: &mut [f32], (v, z): &mut (Vec<usize>, Vec<f32>)) {
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
    for (q, out) in (1..f.len()).zip(roots) {
        while z[k + 1] < q as f32 {
            k += 1;
        }
        let gap = q as f32 - v[k] as f32;
        *out = (gap * gap + f[v[k]]).sqrt();
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
