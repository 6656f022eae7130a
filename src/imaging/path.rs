//! Paths: cheapest ways through a raster, and polylines in the plane.

use super::Plane;
use std::cmp::Ordering;
use std::collections::BinaryHeap;

struct Step {
    cost: f32,
    at: usize,
}

impl PartialEq for Step {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other) == Ordering::Equal
    }
}
impl Eq for Step {}
impl PartialOrd for Step {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}
impl Ord for Step {
    fn cmp(&self, other: &Self) -> Ordering {
        other.cost.total_cmp(&self.cost).then_with(|| other.at.cmp(&self.at))
    }
}

/// Cheapest way from `start` to every pixel (8-neighbours): cost so far and the pixel before, as indices
/// into the raster. A step costs its length times the mean of `cost` at both ends; pixels with an infinite
/// cost are walls.
///
/// # References
/// Dijkstra 1959, Numer. Math. 1:269-271, doi 10.1007/BF01386390.
pub fn cheapest(cost: &Plane<f32>, start: usize) -> (Vec<f32>, Vec<u32>) {
    let (w, h) = (cost.width as i64, cost.height as i64);
    let mut total = vec![f32::INFINITY; cost.data.len()];
    let mut before = vec![u32::MAX; cost.data.len()];
    let mut heap = BinaryHeap::new();
    total[start] = 0.0;
    heap.push(Step { cost: 0.0, at: start });
    while let Some(step) = heap.pop() {
        if step.cost > total[step.at] {
            continue;
        }
        let (x, y) = (step.at as i64 % w, step.at as i64 / w);
        for (dx, dy) in [(-1, -1), (0, -1), (1, -1), (-1, 0), (1, 0), (-1, 1), (0, 1), (1, 1)] {
            let (nx, ny) = (x + dx, y + dy);
            if nx < 0 || ny < 0 || nx >= w || ny >= h {
                continue;
            }
            let to = (ny * w + nx) as usize;
            let length = if dx != 0 && dy != 0 { std::f32::consts::SQRT_2 } else { 1.0 };
            let sum = step.cost + length * 0.5 * (cost.data[step.at] + cost.data[to]);
            if sum < total[to] {
                total[to] = sum;
                before[to] = step.at as u32;
                heap.push(Step { cost: sum, at: to });
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
