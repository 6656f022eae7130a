//! Fish that touch or cross, taken apart.
//!
//! By their eyes: every head gets the tail whose way through the body bends least and that makes the fish of one body alike
//! in length; together the ways must account for the body. Where they do not, the likeliest are given as such. On any ground
//! by level: fish that touch only with their fin folds or their haze part where the ink is that of trunks.

use super::crop::Crop;
use super::heads::{Head, Heads, heads};
use super::midline::{POINTS, to_the_middle};
use super::tails::{Asked, Way, gap, likeliest};
use crate::imaging::skeleton::Skeleton;
use crate::imaging::{Plane, components, path};
use std::cell::OnceCell;
use std::collections::VecDeque;

/// Most heads of a body that is taken apart by them; fibres join many.
const MOST_HEADS: usize = 8;
/// Most free ends looked at, for each of them.
const MOST_ENDS: usize = 6;
/// Most fish taken apart by level.
const MOST_PARTS: usize = 4;
/// Share of the body's pixels that lie within a body's half-width of the ways.
const EXPLAINED: f64 = 0.8;
/// What of a way to another fish's head is not seen, in diameters of its eye: the tail may join the body beside it.
const UNDER_HEAD: f64 = 2.5;
/// Ink, as shares of the trunk's, at which bodies are tried to part.
const LEVELS: [f32; 2] = [0.5, 0.75];
/// Smallest part, as a share of all pixels at that level.
const LEAST_PART: f64 = 0.12;

/// What one body holds.
pub struct Several {
    /// Ways from head to tail: one for each head where the evidence parts the fish, else the likeliest for the heads that are
    /// sure.
    pub ways: Vec<FromHead>,
    /// Whether it does.
    pub apart: bool,
    /// Heads seen.
    pub heads: Vec<Head>,
    /// The same where every eye is a head of its own.
    of_one_eye: Vec<Head>,
    /// The body laid out, once that was needed.
    laid: OnceCell<Laid>,
}

/// The way of one fish, from its eye.
pub struct FromHead {
    /// From the eye to the end of the tail, crop pixels.
    pub line: Vec<[f64; 2]>,
    /// Its head.
    pub head: Head,
    /// Whether the end of the tail lies hidden under another fish.
    pub hidden: bool,
}

/// Ways through the crop, one a fish.
pub fn by_heads(crop: &Crop) -> Several {
    let Heads { heads, of_one_eye } = heads(crop);
    let laid = OnceCell::new();
    let (ways, apart) = ways_from(crop, &heads, &laid);
    Several { ways, apart, heads, of_one_eye, laid }
}

impl Several {
    /// The same of fish that meet with their snouts: every eye is a head. `None` where that does not part them.
    pub fn face_to_face(&self, crop: &Crop) -> Option<Self> {
        if self.of_one_eye.len() == self.heads.len() {
            return None;
        }
        // One fish seen from above shows two eyes as well: two fish have two tails, or are seen to meet.
        let laid = self.laid.get_or_init(|| Laid::out(crop));
        if laid.tails(&self.of_one_eye).len() < 2 && laid.junctions.is_empty() {
            return None;
        }
        let (ways, apart) = ways_from(crop, &self.of_one_eye, &self.laid);
        let heads = || self.of_one_eye.clone();
        apart.then(|| Self { ways, apart, heads: heads(), of_one_eye: Vec::new(), laid: OnceCell::new() })
    }
}

/// A body as ways through it see it.
struct Laid {
    /// What each pixel costs a way that keeps to the middle.
    cost: Plane<f32>,
    /// Free ends of its skeleton, and where its lines meet, crop pixels.
    ends: Vec<[f64; 2]>,
    junctions: Vec<[f64; 2]>,
}

impl Laid {
    fn out(crop: &Crop) -> Self {
        let depth = crop.depth();
        let mut cost = depth.map(to_the_middle);
        for (c, open) in cost.data.iter_mut().zip(&crop.allowed.data) {
            if !open {
                *c = f32::INFINITY;
            }
        }
        let skeleton = Skeleton::of(crop.body(), depth);
        Self { cost, ends: skeleton.ends(), junctions: skeleton.junctions() }
    }

    /// The free ends that may be tails: a ragged outline has many, and those are far from heads. The farthest first.
    fn tails(&self, heads: &[Head]) -> Vec<[f64; 2]> {
        let from_heads =
            |e: &[f64; 2]| heads.iter().map(|h| gap(*e, h.at) / h.eye).fold(f64::INFINITY, f64::min);
        let mut ends: Vec<[f64; 2]> = self.ends.iter().copied().filter(|e| from_heads(e) > 2.5).collect();
        ends.sort_by(|a, b| from_heads(b).total_cmp(&from_heads(a)));
        ends.truncate(MOST_ENDS * heads.len());
        ends
    }
}

/// Ways from the heads to tails, and whether the evidence parts their fish.
fn ways_from(crop: &Crop, heads: &[Head], laid: &OnceCell<Laid>) -> (Vec<FromHead>, bool) {
    let count = heads.len();
    if !(2..=MOST_HEADS).contains(&count) {
        return (Vec::new(), false);
    }
    let depth = crop.depth();
    let laid = laid.get_or_init(|| Laid::out(crop));
    let (cost, ends) = (&laid.cost, laid.tails(heads));
    // Behind the free ends: the heads, under which a tail may lie, and of a pair the places where bodies meet.
    let free = ends.len();
    let width = crop.ink.width;
    let index = |p: [f64; 2]| p[1].round() as usize * width + p[0].round() as usize;
    let walks: Vec<Option<Walk>> = heads
        .iter()
        .map(|h| index(h.at))
        .map(|from| cost.data[from].is_finite().then(|| path::cheapest(cost, from, |_| false)))
        .collect();
    let mut meetings = if count == 2 { laid.junctions.clone() } else { Vec::new() };
    if let ([_, other], Some((total, before))) = (heads, &walks[0])
        && total[index(other.at)].is_finite()
    {
        meetings.insert(0, waist(&path::trace(before, index(other.at), width), depth));
    }
    let ends: Vec<[f64; 2]> = ends
        .into_iter()
        .chain(heads.iter().map(|h| h.at))
        .chain(meetings.into_iter().take(MOST_ENDS * count))
        .collect();
    let ways_of = |(own, walk): (usize, &Option<Walk>)| -> Vec<Way> {
        let Some((total, before)) = walk else { return Vec::new() };
        let way_to = |(e, end): (usize, &[f64; 2])| {
            let to = index(*end);
            if e == free + own || !total[to].is_finite() {
                return None;
            }
            let line = path::trace(before, to, width);
            let head = e.checked_sub(free).and_then(|h| heads.get(h));
            let line = match head {
                Some(other) => &line[..line.len() - hidden_points(&line, UNDER_HEAD * other.eye)],
                None => &line,
            };
            let way = Way::new(line, e, e >= free)?;
            // The front of a fish ends at its own gut or globule no narrower than it is anywhere; sure heads are none.
            let may_hide = || way.tapers(depth) || heads[own].sure && head.is_some_and(|h| h.sure);
            (!way.hidden || may_hide()).then_some(way)
        };
        ends.iter().enumerate().filter_map(way_to).collect()
    };
    let mut ways: Vec<Vec<Way>> = walks.iter().enumerate().map(ways_of).collect();
    let from_heads = |heads: &[Head], ways: &[Vec<Way>], asked: Asked| -> Vec<FromHead> {
        let chosen = likeliest(ways, depth, asked).unwrap_or_default();
        let own = chosen.into_iter().zip(heads);
        own.filter_map(|(way, head)| {
            let way = way?;
            Some(FromHead { line: way.line.clone(), head: *head, hidden: way.hidden })
        })
        .collect()
    };
    let apart = from_heads(heads, &ways, Asked::Apart);
    if !apart.is_empty() && explained(crop, depth, &apart) >= EXPLAINED {
        return (apart, true);
    }
    // Of fish that lie along each other no place where they meet is seen.
    let mut sure = heads.iter().map(|h| h.sure);
    ways.retain(|_| sure.next() == Some(true));
    for of_one in &mut ways {
        of_one.retain(|way| way.end < free + count);
    }
    let sure: Vec<Head> = heads.iter().copied().filter(|h| h.sure).collect();
    (if sure.len() > 1 { from_heads(&sure, &ways, Asked::AsSeen) } else { Vec::new() }, false)
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

/// Cost of the way to every pixel from one of them, and the pixel before it on that way.
type Walk = (Vec<f32>, Vec<u32>);

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

/// The crop once for each part it falls into at the ink of trunks, each with the pixels nearest to its own part;
/// empty when it does not fall apart.
pub fn by_level(crop: &Crop) -> Vec<Crop> {
    for level in LEVELS {
        let dense = crop.denser(level * crop.trunk);
        let all = dense.data.iter().filter(|d| **d).count();
        let least = ((LEAST_PART * all as f64) as usize).max(30);
        let parts = components::regions(&dense, least);
        if (2..=MOST_PARTS).contains(&parts.len()) {
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
