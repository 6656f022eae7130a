//! Dots to a fraction of a pixel.

use crate::imaging::plane::quantile;
use crate::photo::Pixels;
use crate::scale::sample;

/// A dot found near where it is expected.
#[derive(Debug, Clone, Copy)]
pub(super) struct Dot {
    /// Its centre, pixels.
    pub at: [f64; 2],
    /// Its area as a share of the area expected.
    pub area: f64,
}

/// Least difference in grey between paper and dot, and least ratio: below it noise decides.
const CONTRAST: f32 = 8.0;
const RATIO: f32 = 1.1;
/// Areas (as shares of the expected) of dots taken: less is partly covered, more has run together with
/// something.
const WHOLE: std::ops::RangeInclusive<f64> = 0.6..=1.6;

/// Looks for a dark dot of `radius` pixels within `reach` pixels of `near`. `None` when there is none, it
/// is cut by the frame, or it is no whole disc.
pub(super) fn locate(pixels: &Pixels, near: [f64; 2], radius: f64, reach: f64) -> Option<Dot> {
    let inside = |p: [f64; 2], margin: f64| {
        p[0] >= margin
            && p[1] >= margin
            && p[0] <= f64::from(pixels.width) - 1.0 - margin
            && p[1] <= f64::from(pixels.height) - 1.0 - margin
    };
    if !inside(near, radius) {
        return None;
    }
    let start = coarse(pixels, near, radius, reach)?;
    let mut at = start;
    let mut dot = None;
    for _ in 0..4 {
        if !inside(at, 1.2 * radius) {
            return None;
        }
        let next = centroid(pixels, at, radius)?;
        let moved = (next.at[0] - at[0]).hypot(next.at[1] - at[1]);
        at = next.at;
        dot = Some(next);
        if moved < 0.01 {
            break;
        }
    }
    let off = (at[0] - near[0]).hypot(at[1] - near[1]);
    dot.filter(|d| WHOLE.contains(&d.area) && off < reach + radius)
}

/// The middle of the dark blob of about the right size nearest to `near`, on a grid of a few points a dot.
fn coarse(pixels: &Pixels, near: [f64; 2], radius: f64, reach: f64) -> Option<[f64; 2]> {
    let step = (radius / 3.5).max(1.0);
    let half = ((reach + 1.6 * radius) / step).ceil() as i64;
    let side = (2 * half + 1) as usize;
    let mut grid = Vec::with_capacity(side * side);
    for v in -half..=half {
        for u in -half..=half {
            grid.push(sample(pixels, near[0] + u as f64 * step, near[1] + v as f64 * step));
        }
    }
    let paper = quantile(&mut grid.clone(), 0.75)?;
    // The darkest tenth of one dot's worth.
    let share = std::f64::consts::PI * (radius / step).powi(2) / grid.len() as f64;
    let ink = quantile(&mut grid.clone(), 0.3 * share)?;
    if paper - ink < CONTRAST || paper < RATIO * ink {
        return None;
    }
    let limit = f32::midpoint(paper, ink);
    let mut seen: Vec<bool> = grid.iter().map(|v| *v >= limit).collect();
    let expected = share * grid.len() as f64;
    let mut best: Option<(f64, [f64; 2])> = None;
    for first in 0..grid.len() {
        if seen[first] {
            continue;
        }
        let mut stack = vec![first];
        seen[first] = true;
        let (mut n, mut sx, mut sy, mut edge) = (0.0, 0.0, 0.0, false);
        let (mut x0, mut x1, mut y0, mut y1) = (side, 0, side, 0);
        while let Some(at) = stack.pop() {
            let (x, y) = (at % side, at / side);
            n += 1.0;
            sx += x as f64;
            sy += y as f64;
            (x0, x1, y0, y1) = (x0.min(x), x1.max(x), y0.min(y), y1.max(y));
            edge |= x == 0 || y == 0 || x + 1 == side || y + 1 == side;
            let mut visit = |next: usize| {
                if !seen[next] {
                    seen[next] = true;
                    stack.push(next);
                }
            };
            if x > 0 {
                visit(at - 1);
            }
            if x + 1 < side {
                visit(at + 1);
            }
            if y > 0 {
                visit(at - side);
            }
            if y + 1 < side {
                visit(at + side);
            }
        }
        let (bw, bh) = ((x1 - x0 + 1) as f64, (y1 - y0 + 1) as f64);
        if edge
            || !(0.4..2.2).contains(&(n / expected))
            || !(0.5..2.0).contains(&(bw / bh))
            || n < 0.55 * bw * bh
        {
            continue;
        }
        let at = [near[0] + (sx / n - half as f64) * step, near[1] + (sy / n - half as f64) * step];
        let off = (at[0] - near[0]).hypot(at[1] - near[1]);
        if off <= reach && best.is_none_or(|(o, _)| off < o) {
            best = Some((off, at));
        }
    }
    best.map(|(_, at)| at)
}

/// Centroid of darkness within 1.7 radii, against paper that may brighten across the dot.
fn centroid(pixels: &Pixels, at: [f64; 2], radius: f64) -> Option<Dot> {
    // Paper: median of the ring in four quarters, as a plane.
    let mut quarters: [Vec<f32>; 4] = Default::default();
    for i in 0..32 {
        let a = std::f64::consts::TAU * (f64::from(i) + 0.5) / 32.0;
        for r in [1.75, 1.95] {
            let p = [at[0] + r * radius * a.cos(), at[1] + r * radius * a.sin()];
            quarters[i as usize / 8].push(sample(pixels, p[0], p[1]));
        }
    }
    let mut medians = [0.0f32; 4];
    for (m, q) in medians.iter_mut().zip(&mut quarters) {
        *m = quantile(q, 0.5)?;
    }
    let [se, sw, nw, ne] = medians;
    let mean = (se + sw + nw + ne) / 4.0;
    // Quarter medians stand for their middles, 1.85 radii out at 45 degrees.
    let arm = 4.0 * 1.85 * radius as f32 * std::f32::consts::FRAC_1_SQRT_2;
    let (gx, gy) = ((se + ne - sw - nw) / arm, (se + sw - ne - nw) / arm);
    let step = (radius / 8.0).max(1.0);
    let half = (1.65 * radius / step).ceil() as i64;
    let mut inner = Vec::new();
    for v in -2..=2 {
        for u in -2..=2 {
            let d = 0.15 * radius;
            inner.push(sample(pixels, at[0] + f64::from(u) * d, at[1] + f64::from(v) * d));
        }
    }
    let ink = quantile(&mut inner, 0.5)?;
    let depth = mean - ink;
    if depth < CONTRAST || mean < RATIO * ink {
        return None;
    }
    let (mut sum, mut sx, mut sy) = (0.0f64, 0.0f64, 0.0f64);
    // Samples on whole pixels when the step is one: the sum over pixels is then free of interpolation.
    let base = if step > 1.0 { at } else { at.map(f64::round) };
    for v in -half..=half {
        for u in -half..=half {
            let p = [base[0] + u as f64 * step, base[1] + v as f64 * step];
            let (dx, dy) = (p[0] - at[0], p[1] - at[1]);
            // A soft edge to the window, so that moving it by less than a pixel changes little.
            let r = dx.hypot(dy);
            let window = ((1.65 * radius + 0.5 * step - r) / step).clamp(0.0, 1.0);
            if window <= 0.0 {
                continue;
            }
            let paper = mean + gx * dx as f32 + gy * dy as f32;
            let dark = f64::from(((paper - sample(pixels, p[0], p[1])) / depth).clamp(-0.25, 1.25)) * window;
            sum += dark;
            sx += dark * dx;
            sy += dark * dy;
        }
    }
    if sum <= 0.0 {
        return None;
    }
    let area = sum * step * step / (std::f64::consts::PI * radius * radius);
    Some(Dot { at: [at[0] + sx / sum, at[1] + sy / sum], area })
}
