//! Paths: cheapest ways through a raster, and polylines in the plane.

use super::Plane;

/// Buckets are never narrower than this share of the dearest step, which bounds their number.
const NARROWEST: f32 = 1e-4;

/// Cheapest way from `start` to every pixel (8-neighbours): cost so far and the pixel before, as indices
/// into the raster. A step costs its length times the mean of `cost` at both ends; costs are above zero and
/// pixels with an infinite cost are walls.
///
/// `done` is told of each pixel once its cost is final, cheapest first but for pixels closer together than the
/// cheapest step (or a ten-thousandth of the dearest), and ends the search by `true`; costs of pixels it was not told of are then upper limits.
///
/// Pixels wait in a ring of buckets as wide as the cheapest step, so that no pixel of a bucket can make another
/// of it cheaper and none needs sorting.
///
/// # References
/// Dijkstra 1959, Numer. Math. 1:269-271, doi 10.1007/BF01386390; Dial 1969, Comm. ACM 12:632-633, doi
/// 10.1145/363269.363610.
pub fn cheapest(
    cost: &Plane<f32>,
    start: usize,
    mut done: impl FnMut(usize) -> bool,
) -> (Vec<f32>, Vec<u32>) {
    let (w, h) = (cost.width as u32, cost.height as u32);
    let mut total = vec![f32::INFINITY; cost.data.len()];
    let mut before = vec![u32::MAX; cost.data.len()];
    let open = || cost.data.iter().copied().filter(|c| c.is_finite() && *c > 0.0);
    let (least, most) = (open().fold(f32::INFINITY, f32::min), open().fold(0.0, f32::max));
    if !least.is_finite() {
        return (total, before);
    }
    let dearest = most * std::f32::consts::SQRT_2;
    let width = least.max(NARROWEST * dearest);
    // One more for a step that ends just inside a bucket, one for rounding.
    let mut ring: Vec<Vec<(f32, u32)>> = vec![Vec::new(); (dearest / width) as usize + 3];
    let buckets = ring.len();
    total[start] = 0.0;
    ring[0].push((0.0, start as u32));
    let (mut bucket, mut waiting) = (0_usize, 1_usize);
    while waiting > 0 {
        let Some((sum, at)) = ring[bucket % buckets].pop() else {
            bucket += 1;
            continue;
        };
        waiting -= 1;
        let at = at as usize;
        if sum > total[at] {
            continue;
        }
        if done(at) {
            break;
        }
        let (x, y) = (at as u32 % w, at as u32 / w);
        for (dx, dy) in [(-1, -1), (0, -1), (1, -1), (-1, 0), (1, 0), (-1, 1), (0, 1), (1, 1)] {
            // Left of the first column and above the first row come round to the greatest numbers.
            let (nx, ny) = (x.wrapping_add_signed(dx), y.wrapping_add_signed(dy));
            if nx >= w || ny >= h {
                continue;
            }
            let to = (ny * w + nx) as usize;
            let length = if dx != 0 && dy != 0 { std::f32::consts::SQRT_2 } else { 1.0 };
            let next = sum + length * 0.5 * (cost.data[at] + cost.data[to]);
            if next < total[to] {
                total[to] = next;
                before[to] = at as u32;
                let place = ((next / width) as usize).clamp(bucket, bucket + buckets - 1);
                ring[place % buckets].push((next, to as u32));
                waiting += 1;
            }
        }
    }
    (total, before)
}

/// The way back from `end` along `before`, from the start on, as x, y.
pub fn trace(before: &[u32], end: usize, width: usize) -> Vec<[f64; 2]> {
    let mut points = Vec::new();
    let mut at = end as u32;
    while at != u32::MAX {
        points.push([(at as usize % width) as f64, (at as usize / width) as f64]);
        at = before[at as usize];
    }
    points.reverse();
    points
}

/// Length of a polyline.
pub fn length(points: &[[f64; 2]]) -> f64 {
    points.windows(2).map(|w| (w[1][0] - w[0][0]).hypot(w[1][1] - w[0][1])).sum()
}

/// `count` points evenly spaced along a polyline, ends included; fewer than two points, or no length, are
/// returned as they are.
///
/// ```
/// let line = frygauge::imaging::path::resample(&[[0.0, 0.0], [4.0, 0.0]], 3);
/// assert_eq!(line, [[0.0, 0.0], [2.0, 0.0], [4.0, 0.0]]);
/// ```
pub fn resample(points: &[[f64; 2]], count: usize) -> Vec<[f64; 2]> {
    let total = length(points);
    if points.len() < 2 || count < 2 || total <= 0.0 {
        return points.to_vec();
    }
    let mut out = Vec::with_capacity(count);
    let (mut piece, mut before) = (0, 0.0);
    let piece_length = |i: usize| (points[i + 1][0] - points[i][0]).hypot(points[i + 1][1] - points[i][1]);
    for k in 0..count {
        let want = total * k as f64 / (count - 1) as f64;
        while piece + 2 < points.len() && before + piece_length(piece) < want {
            before += piece_length(piece);
            piece += 1;
        }
        let l = piece_length(piece);
        let f = if l > 0.0 { ((want - before) / l).clamp(0.0, 1.0) } else { 0.0 };
        let (a, b) = (points[piece], points[piece + 1]);
        out.push([a[0] + f * (b[0] - a[0]), a[1] + f * (b[1] - a[1])]);
    }
    out
}

/// Unit tangents of a polyline by central differences.
pub fn tangents(points: &[[f64; 2]]) -> Vec<[f64; 2]> {
    let n = points.len();
    (0..n)
        .map(|i| {
            let (a, b) = (points[i.saturating_sub(1)], points[(i + 1).min(n - 1)]);
            let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
            let l = dx.hypot(dy).max(1e-12);
            [dx / l, dy / l]
        })
        .collect()
}

/// Smooths evenly spaced points with a Gaussian of `sigma` samples. The line is first extended at both ends by
/// reflection through the end points, so that the ends stay put and straight lines stay straight.
pub fn smooth(points: &[[f64; 2]], sigma: f64) -> Vec<[f64; 2]> {
    let n = points.len() as i64;
    if n < 3 || sigma <= 0.0 {
        return points.to_vec();
    }
    let at = |i: i64| -> [f64; 2] {
        if i < 0 {
            let (e, m) = (points[0], points[(-i).min(n - 1) as usize]);
            [2.0 * e[0] - m[0], 2.0 * e[1] - m[1]]
        } else if i >= n {
            let (e, m) = (points[(n - 1) as usize], points[(2 * (n - 1) - i).max(0) as usize]);
            [2.0 * e[0] - m[0], 2.0 * e[1] - m[1]]
        } else {
            points[i as usize]
        }
    };
    let radius = ((3.0 * sigma).ceil() as i64).min(n - 1);
    let weights: Vec<f64> = (-radius..=radius).map(|i| (-0.5 * (i as f64 / sigma).powi(2)).exp()).collect();
    let sum: f64 = weights.iter().sum();
    (0..n)
        .map(|i| {
            let (mut x, mut y) = (0.0, 0.0);
            for (k, weight) in (-radius..=radius).zip(&weights) {
                let p = at(i + k);
                x += weight * p[0];
                y += weight * p[1];
            }
            [x / sum, y / sum]
        })
        .collect()
}

/// Total absolute turn of a polyline, in radians.
pub fn total_turn(points: &[[f64; 2]]) -> f64 {
    let t = tangents(points);
    t.windows(2)
        .map(|w| (w[0][0] * w[1][1] - w[0][1] * w[1][0]).atan2(w[0][0] * w[1][0] + w[0][1] * w[1][1]).abs())
        .sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// The slow obvious way: every pixel looks at its neighbours until nothing changes.
    fn obvious(cost: &Plane<f32>, start: usize) -> Vec<f32> {
        let (w, h) = (cost.width as u32, cost.height as u32);
        let mut total = vec![f32::INFINITY; cost.data.len()];
        total[start] = 0.0;
        loop {
            let mut changed = false;
            for i in 0..w * h {
                for j in 0..w * h {
                    let (dx, dy) = ((i % w).abs_diff(j % w), (i / w).abs_diff(j / w));
                    if dx.max(dy) != 1 {
                        continue;
                    }
                    let (i, j) = (i as usize, j as usize);
                    let length = if dx + dy == 2 { std::f32::consts::SQRT_2 } else { 1.0 };
                    let sum = total[i] + length * 0.5 * (cost.data[i] + cost.data[j]);
                    if sum < total[j] {
                        total[j] = sum;
                        changed = true;
                    }
                }
            }
            if !changed {
                return total;
            }
        }
    }

    proptest! {
        #[test]
        fn costs_are_those_of_the_obvious_way(
            width in 1usize..7, height in 1usize..7, seed in proptest::collection::vec(0u8..=255, 49)
        ) {
            let mut cost = Plane::filled(width, height, 1.0f32);
            for (c, s) in cost.data.iter_mut().zip(&seed) {
                // From a wall through a thousandth to four.
                *c = if *s < 40 { f32::INFINITY } else { 1e-3 + 4.0 * (f32::from(*s - 40) / 215.0).powi(3) };
            }
            cost.data[0] = 1.0;
            let (total, before) = cheapest(&cost, 0, |_| false);
            let expected = obvious(&cost, 0);
            for i in 0..total.len() {
                if expected[i].is_finite() {
                    prop_assert!((total[i] - expected[i]).abs() <= 1e-4 * (1.0 + expected[i]), "{} {}", total[i], expected[i]);
                    prop_assert_eq!(trace(&before, i, width)[0], [0.0, 0.0]);
                } else {
                    prop_assert!(total[i].is_infinite());
                }
            }
        }
    }

    #[test]
    fn the_search_ends_when_told() {
        let cost = Plane::filled(50, 50, 1.0f32);
        let mut told = 0;
        let (total, _) = cheapest(&cost, 0, |at| {
            told += 1;
            at == 5
        });
        assert_eq!(total[5], 5.0);
        assert!(told < 100, "{told}");
    }
}
