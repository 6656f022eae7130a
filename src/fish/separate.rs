//! Fish that touch or cross, taken apart by their eyes and the straightness of the ways between their ends.
//!
//! The skeleton of a body that holds two or three fish has an end for every snout and tail that is free. Ends
//! with an eye are heads. Heads and tails are paired so that the ways between them bend least where they
//! cross; if heads and tails do not match in number, or a way bends like no fish, nothing is taken apart.

use super::crop::Crop;
use super::midline::POINTS;
use crate::imaging::{Plane, distance, path, thin};
use crate::segmentation::Polarity;

/// Most fish taken apart in one body.
const MOST_FISH: usize = 3;
/// A skeleton branch shorter than this share of the longest way is a fin or a bulge.
const LEAST_BRANCH: f64 = 0.2;
/// Ink of an eye over the trunk's.
const EYE: f32 = 1.6;
/// Sharpest turn of a way over a fifth of its length, radians (60 degrees).
const SHARPEST: f64 = 1.05;

/// Ways through the crop from head to tail, one a fish, or none when the evidence does not part them.
pub fn separate(crop: &Crop, polarity: Polarity) -> Vec<Vec<[f64; 2]>> {
    if polarity == Polarity::BrightFish {
        // A pupil is no darker than the gap between two pale fish.
        return Vec::new();
    }
    let depth = distance::euclidean(&crop.body);
    let ends = free_ends(&crop.body);
    if ends.len() < 3 || ends.len() > 10 {
        return Vec::new();
    }
    let mut cost = depth.map(|d| if d > 0.0 { 1.0 / (0.5 + d).powi(2) } else { f32::INFINITY });
    for (c, open) in cost.data.iter_mut().zip(&crop.allowed.data) {
        if !open {
            *c = f32::INFINITY;
        }
    }
    let width = crop.ink.width;
    let trees: Vec<_> = ends.iter().map(|&(x, y)| path::cheapest(&cost, y * width + x, |_| false)).collect();
    let way = |a: usize, b: usize| -> Option<Vec<[f64; 2]>> {
        let to = ends[b].1 * width + ends[b].0;
        trees[a].0[to]
            .is_finite()
            .then(|| path::smooth(&path::resample(&path::trace(&trees[a].1, to, width), POINTS), 2.0))
    };
    let ways: Vec<Vec<Option<Vec<[f64; 2]>>>> = (0..ends.len())
        .map(|a| (0..ends.len()).map(|b| if a == b { None } else { way(a, b) }).collect())
        .collect();
    let longest = ways.iter().flatten().flatten().map(|w| path::length(w)).fold(0.0, f64::max);
    // An end that is close to another end is a lobe of the same tail or snout.
    let mut kept: Vec<usize> = Vec::new();
    for a in 0..ends.len() {
        let near = kept
            .iter()
            .any(|b| ways[a][*b].as_ref().is_none_or(|w| path::length(w) < LEAST_BRANCH * longest));
        if !near {
            kept.push(a);
        }
    }
    let (heads, tails): (Vec<usize>, Vec<usize>) =
        kept.iter().partition(|e| has_eye(crop, ends[**e], longest));
    if heads.len() != tails.len() || heads.len() < 2 || heads.len() > MOST_FISH {
        return Vec::new();
    }
    let mut best: Option<(f64, Vec<(usize, usize)>)> = None;
    for order in orders(heads.len()) {
        let pairs: Vec<(usize, usize)> = heads.iter().zip(&order).map(|(h, t)| (*h, tails[*t])).collect();
        let bends: Option<Vec<f64>> =
            pairs.iter().map(|&(h, t)| ways[h][t].as_deref().map(sharpest_turn)).collect();
        let Some(bends) = bends.filter(|b| b.iter().all(|v| *v < SHARPEST)) else { continue };
        let sum: f64 = bends.iter().map(|b| b * b).sum();
        if best.as_ref().is_none_or(|(s, _)| sum < *s) {
            best = Some((sum, pairs));
        }
    }
    best.map(|(_, pairs)| pairs.into_iter().filter_map(|(h, t)| ways[h][t].clone()).collect())
        .unwrap_or_default()
}

/// End pixels of the skeleton.
fn free_ends(body: &Plane<bool>) -> Vec<(usize, usize)> {
    let mut skeleton = body.clone();
    thin::thin(&mut skeleton);
    let mut ends = Vec::new();
    for y in 0..body.height {
        for x in 0..body.width {
            if skeleton.at(x, y)
                && thin::neighbours(&skeleton, x as i64, y as i64).iter().filter(|n| **n).count() == 1
            {
                ends.push((x, y));
            }
        }
    }
    ends
}

/// Whether much more ink than the trunk's lies within a tenth of a fish of an end.
fn has_eye(crop: &Crop, (x, y): (usize, usize), longest: f64) -> bool {
    let reach = (0.12 * longest).max(4.0) as i64;
    let radius = (0.012 * longest).round().max(1.0) as i64;
    let mut most = 0.0f32;
    for dy in (-reach..=reach).step_by(2) {
        for dx in (-reach..=reach).step_by(2) {
            if dx * dx + dy * dy > reach * reach {
                continue;
            }
            let (cx, cy) = (x as i64 + dx, y as i64 + dy);
            if !crop.body.get_or(cx, cy, false) {
                continue;
            }
            let (mut sum, mut n) = (0.0, 0.0);
            for sy in -radius..=radius {
                for sx in -radius..=radius {
                    sum += crop.ink.get_or(cx + sx, cy + sy, 0.0);
                    n += 1.0;
                }
            }
            most = most.max(sum / n);
        }
    }
    most > EYE * crop.trunk
}

/// Greatest turn over any fifth of a way, radians.
fn sharpest_turn(way: &[[f64; 2]]) -> f64 {
    let t = path::tangents(way);
    let span = way.len() / 5;
    (0..t.len().saturating_sub(span))
        .map(|i| {
            let (a, b) = (t[i], t[i + span]);
            (a[0] * b[1] - a[1] * b[0]).atan2(a[0] * b[0] + a[1] * b[1]).abs()
        })
        .fold(0.0, f64::max)
}

/// All orders of `n` things, `n` at most three.
fn orders(n: usize) -> Vec<Vec<usize>> {
    match n {
        2 => vec![vec![0, 1], vec![1, 0]],
        3 => [[0, 1, 2], [0, 2, 1], [1, 0, 2], [1, 2, 0], [2, 0, 1], [2, 1, 0]]
            .iter()
            .map(|o| o.to_vec())
            .collect(),
        _ => vec![(0..n).collect()],
    }
}
