//! Fish that touch or cross, taken apart.
//!
//! By their eyes: every head gets the tail whose way through the body bends least and that
//! makes the fish of one body alike in length; together the ways must account for the body. On any ground by
//! level: fish that touch only with their fin folds or their haze part where the ink is that of trunks. If the
//! evidence does neither, nothing is taken apart.

use super::crop::Crop;
use super::heads::{Head, heads};
use super::midline::{POINTS, to_the_middle};
use crate::imaging::skeleton::Skeleton;
use crate::imaging::{Plane, components, path};
use std::collections::VecDeque;

/// Most fish taken apart in one body.
const MOST_FISH: usize = 4;
/// Most free ends looked at.
const MOST_ENDS: usize = 12;
/// Shortest fish of a body, as a share of the longest.
const ALIKE: f64 = 0.45;
/// Share of the body's pixels that lie within a body's half-width of the ways.
const EXPLAINED: f64 = 0.8;
/// Sharpest turn of a way over a fifth of its length, radians (69 degrees).
const SHARPEST: f64 = 1.2;
/// What a tail costs that ends under another fish, where no end can be seen, beside one that is free.
const HIDDEN: f64 = 0.6;
/// What of a way to another fish's head is not seen, in diameters of its eye: the tail may join the body beside it.
const UNDER_HEAD: f64 = 2.5;
/// The last of so many parts of a way is the tail fin, which may have corners.
const FIN: usize = 11;
/// Depth of a body before a tail that lies hidden, as a share of its greatest.
const TAPERS: f32 = 0.7;
/// Most of a way that may run along another one.
const SHARED: f64 = 0.5;
/// Ink, as shares of the trunk's, at which bodies are tried to part.
const LEVELS: [f32; 2] = [0.5, 0.75];
/// Smallest part, as a share of all pixels at that level.
const LEAST_PART: f64 = 0.12;

/// What one body holds.
pub struct Several {
    /// One way from head to tail for each fish, or none when the evidence does not part them.
    pub ways: Vec<FromHead>,
    /// Heads seen.
    pub heads: Vec<Head>,
}

/// The way of one fish, from its eye.
pub struct FromHead {
    /// From the eye to the end of the tail, crop pixels.
    pub line: Vec<[f64; 2]>,
    /// Diameter of the eye.
    pub eye: f64,
    /// Whether the end of the tail lies hidden under another fish.
    pub hidden: bool,
}

/// Ways through the crop, one a fish.
pub fn by_heads(crop: &Crop) -> Several {
    let none = |heads| Several { ways: Vec::new(), heads };
    let heads = heads(crop);
    let count = heads.len();
    if !(2..=MOST_FISH).contains(&count) {
        return none(heads);
    }
    let depth = crop.depth();
    let mut cost = depth.map(to_the_middle);
    for (c, open) in cost.data.iter_mut().zip(&crop.allowed.data) {
        if !open {
            *c = f32::INFINITY;
        }
    }
    let skeleton = Skeleton::of(crop.body(), depth);
    let from_heads = |e: &[f64; 2]| heads.iter().map(|h| gap(*e, h.at) / h.eye).fold(f64::INFINITY, f64::min);
    let mut ends: Vec<[f64; 2]> = skeleton.ends().into_iter().filter(|e| from_heads(e) > 2.5).collect();
    // A ragged outline has many ends; tails are those far from heads.
    ends.sort_by(|a, b| from_heads(b).total_cmp(&from_heads(a)));
    ends.truncate(MOST_ENDS);
    // Behind the free ends: the heads, under which a tail may lie, and of a pair the places where bodies meet.
    let free = ends.len();
    let width = crop.ink.width;
    let index = |p: [f64; 2]| p[1].round() as usize * width + p[0].round() as usize;
    let walks: Vec<Option<Walk>> = heads
        .iter()
        .map(|h| index(h.at))
        .map(|from| cost.data[from].is_finite().then(|| path::cheapest(&cost, from, |_| false)))
        .collect();
    let mut meetings = if count == 2 { skeleton.junctions() } else { Vec::new() };
    if let ([_, other], Some((total, before))) = (&heads[..], &walks[0])
        && total[index(other.at)].is_finite()
    {
        meetings.insert(0, waist(&path::trace(before, index(other.at), width), depth));
    }
    let ends: Vec<[f64; 2]> = ends
        .into_iter()
        .chain(heads.iter().map(|h| h.at))
        .chain(meetings.into_iter().take(MOST_ENDS))
        .collect();
    let way_to_tails = |(own, walk): (usize, &Option<Walk>)| -> Vec<Option<Way>> {
        let Some((total, before)) = walk else { return vec![None; ends.len()] };
        ends.iter()
            .enumerate()
            .map(|(e, end)| {
                let to = index(*end);
                if e == free + own || !total[to].is_finite() {
                    return None;
                }
                let line = path::trace(before, to, width);
                let head = e.checked_sub(free).and_then(|h| heads.get(h));
                let way = Way::new(match head {
                    Some(other) => &line[..line.len() - hidden_points(&line, UNDER_HEAD * other.eye)],
                    None => &line,
                })?;
                // The front of a fish ends at its own gut or globule no narrower than it is anywhere; sure heads are none.
                let may_hide = || way.tapers(depth) || heads[own].sure && head.is_some_and(|h| h.sure);
                (e < free || may_hide()).then_some(way)
            })
            .collect()
    };
    let ways: Vec<Vec<Option<Way>>> = walks.iter().enumerate().map(way_to_tails).collect();
    let mut best: Option<(f64, Vec<usize>)> = None;
    assign(&ways, free, &mut Vec::new(), &mut |tails| {
        let chosen: Vec<&Way> = tails.iter().zip(&ways).filter_map(|(t, w)| w[*t].as_ref()).collect();
        let hidden = tails.iter().filter(|t| **t >= free).count();
        if let Some(cost) = cost_of(&chosen, depth).map(|c| c + HIDDEN * hidden as f64)
            && best.as_ref().is_none_or(|(c, _)| cost < *c)
        {
            best = Some((cost, tails.to_vec()));
        }
    });
    let Some((_, tails)) = best else { return none(heads) };
    let lines: Vec<FromHead> = tails
        .iter()
        .zip(ways)
        .zip(&heads)
        .filter_map(|((t, mut w), h)| {
            Some(FromHead { line: w[*t].take()?.line, eye: h.eye, hidden: *t >= free })
        })
        .collect();
    if explained(crop, depth, &lines) < EXPLAINED {
        return none(heads);
    }
    Several { ways: lines, heads }
}

/// The narrowest place in the middle of the way between two heads, where tails may meet.
fn waist(way: &[[f64; 2]], depth: &Plane<f32>) -> [f64; 2] {
    let way = path::resample(way, POINTS);
    let deep = |p: &[f64; 2]| depth.bilinear(p[0], p[1]);
    way[POINTS / 4..=POINTS * 3 / 4]
        .iter()
        .copied()
        .min_by(|p, q| deep(p).total_cmp(&deep(q)))
        .unwrap_or(way[POINTS / 2])
}

/// Points at the end of `line` within `reach` of its last one.
fn hidden_points(line: &[[f64; 2]], reach: f64) -> usize {
    line.last().map_or(0, |end| line.iter().rev().take_while(|p| gap(**p, *end) < reach).count())
}

fn gap(a: [f64; 2], b: [f64; 2]) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}

/// Cost of the way to every pixel from one of them, and the pixel before it on that way.
type Walk = (Vec<f32>, Vec<u32>);

/// A way from a head to a free end.
#[derive(Clone)]
struct Way {
    line: Vec<[f64; 2]>,
    length: f64,
    /// Greatest turn over any fifth, radians.
    turn: f64,
}

impl Way {
    /// `None` for a way of no length.
    fn new(raw: &[[f64; 2]]) -> Option<Self> {
        if raw.len() < 3 {
            return None;
        }
        let line = path::smooth(&path::resample(raw, POINTS), 2.0);
        // Where a skeleton ends in a tail fin it turns to a corner of the fin.
        let turn = sharpest_turn(&line[..line.len() - line.len() / FIN]);
        Some(Self { length: path::length(&line), turn, line })
    }

    /// Whether the body is narrower towards the end of the way, as a larva is towards its tail.
    fn tapers(&self, depth: &Plane<f32>) -> bool {
        let along: Vec<f32> = self.line.iter().map(|p| depth.bilinear(p[0], p[1])).collect();
        let greatest = along.iter().copied().fold(0.0, f32::max);
        let n = along.len();
        let tail = &along[n * 6 / 10..n * 8 / 10];
        tail.iter().sum::<f32>() / (tail.len().max(1) as f32) < TAPERS * greatest
    }
}

/// All ways to give every head a tail: free ends once each, hidden ones (from `free` on) as often as need be.
fn assign(ways: &[Vec<Option<Way>>], free: usize, tails: &mut Vec<usize>, see: &mut impl FnMut(&[usize])) {
    let Some(own) = ways.get(tails.len()) else { return see(tails) };
    for (t, way) in own.iter().enumerate() {
        if way.as_ref().is_some_and(|w| w.turn < SHARPEST) && (t >= free || !tails.contains(&t)) {
            tails.push(t);
            assign(ways, free, tails, see);
            tails.pop();
        }
    }
}

/// Bends, unlike lengths and shared stretches, added up; `None` when they are like no fish.
fn cost_of(ways: &[&Way], depth: &Plane<f32>) -> Option<f64> {
    let longest = ways.iter().map(|w| w.length).fold(0.0, f64::max);
    if ways.iter().any(|w| w.length < ALIKE * longest) {
        return None;
    }
    let mut shared = 0.0;
    for (i, a) in ways.iter().enumerate() {
        for (j, b) in ways.iter().enumerate() {
            if i != j {
                let along = a
                    .line
                    .iter()
                    .filter(|p| {
                        let near = f64::from(depth.bilinear(p[0], p[1])).max(1.5);
                        b.line.iter().any(|q| gap(**p, *q) < 0.8 * near)
                    })
                    .count() as f64
                    / a.line.len() as f64;
                if along > SHARED {
                    return None;
                }
                shared += along;
            }
        }
    }
    let bends: f64 = ways.iter().map(|w| w.turn * w.turn).sum();
    let unlike: f64 = ways.iter().map(|w| (longest / w.length).ln().powi(2)).sum();
    Some(bends + 2.0 * unlike + shared)
}

/// Share of the body within reach of the ways: fish are at most as deep as the body is where the way runs.
fn explained(crop: &Crop, depth: &Plane<f32>, lines: &[FromHead]) -> f64 {
    let mut reached = crop.body().map(|_| false);
    for FromHead { line, .. } in lines {
        for p in path::resample(line, 3 * POINTS) {
            reached.set_disc(p, 1.3 * f64::from(depth.bilinear(p[0], p[1])) + 1.5);
        }
    }
    let body = crop.body().data.iter().filter(|b| **b).count().max(1);
    let both = crop.body().data.iter().zip(&reached.data).filter(|(b, r)| **b && **r).count();
    both as f64 / body as f64
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

/// The crop once for each part it falls into at the ink of trunks, each with the pixels nearest to its own part;
/// empty when it does not fall apart.
pub fn by_level(crop: &Crop) -> Vec<Crop> {
    for level in LEVELS {
        let dense = crop.denser(level * crop.trunk);
        let all = dense.data.iter().filter(|d| **d).count();
        let least = ((LEAST_PART * all as f64) as usize).max(30);
        let parts = components::regions(&dense, least);
        if (2..=MOST_FISH).contains(&parts.len()) {
            return split(crop, &parts);
        }
    }
    Vec::new()
}

/// Gives every pixel of the crop to the part it is nearest to, walking inside the body.
fn split(crop: &Crop, parts: &[components::Region]) -> Vec<Crop> {
    let (w, h) = (crop.ink.width, crop.ink.height);
    let mut owner = Plane::filled(w, h, 0u8);
    let mut queue = VecDeque::new();
    for (i, part) in parts.iter().enumerate() {
        for &(x, y) in &part.pixels {
            owner.set(x as usize, y as usize, i as u8 + 1);
            queue.push_back((x as usize, y as usize));
        }
    }
    // Body pixels first, then the ground round it: a part's ground ends where another's begins.
    for inside_only in [true, false] {
        let mut front = queue.clone();
        while let Some((x, y)) = front.pop_front() {
            let own = owner.at(x, y);
            for (nx, ny) in [(x.wrapping_sub(1), y), (x + 1, y), (x, y.wrapping_sub(1)), (x, y + 1)] {
                if nx < w && ny < h && owner.at(nx, ny) == 0 && (!inside_only || crop.body().at(nx, ny)) {
                    owner.set(nx, ny, own);
                    front.push_back((nx, ny));
                    queue.push_back((nx, ny));
                }
            }
        }
    }
    (1..=parts.len() as u8)
        .map(|own| {
            let mut part = crop.clone();
            let mut body = crop.body().clone();
            for i in 0..w * h {
                part.allowed.data[i] &= owner.data[i] == own;
                body.data[i] &= owner.data[i] == own;
            }
            part.set_body(body);
            part
        })
        .collect()
}
