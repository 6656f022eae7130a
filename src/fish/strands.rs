//! Fish that a fibre, a hair or a scratch runs into: the search finds both as one region, and what is followed
//! through it from end to end is no fish. A body is deep where a strand is thin all along: every deep part is tried
//! alone and with each of the strands that leave it, one of which may be its tail.

use super::Evidence;
use super::likeness::Likeness;
use super::measure::{Outcome, measure};
use super::midline::to_the_middle;
use super::parting::overlapping;
use crate::imaging::components::{self, Region};
use crate::imaging::skeleton::Skeleton;
use crate::imaging::{Plane, distance, path, plane::quantile};
use crate::photo::Pixels;
use crate::segmentation::{Candidate, Found, Ground, Labels, Polarity};

// What is chosen below was chosen by trying, on rendered photographs.

/// Least depth of a region that is looked at, and least depth of a deep part as a share of the greatest: search pixels.
const DEEP: f32 = 1.9;
const CORE: f32 = 0.5;
/// Most deep parts, and most strands of each, nearest first.
const MOST_CORES: usize = 4;
const MOST_STRANDS: usize = 4;
/// Share of the region's pixels that must not be the fish's: else nothing was taken off.
const TAKEN: f64 = 0.08;
/// Least likeness to a fish: several parts are tried, and one of them passes more easily.
const PLAIN: f64 = 0.8;
/// Least share of a part that the fish in it accounts for.
const EXPLAINED: f64 = 0.7;
/// What each deep part that a fish holds is worth in likeness: a fish is deep at its trunk, and may be again at its fin.
const WHOLE: f64 = 0.1;
/// What a sharp turn, in radians, costs a way in likeness: fibres cross fish at any angle (by trying, rendered fish).
const KINK: f64 = 0.3;
/// Ink of an eye in the search image over that of the body, at least: a seventh less than in a crop.
const SPOT: f32 = 1.45;
/// Largest box round a region that is looked at, as a share of the search image: scratches and walls run through all of it.
const LARGEST: f64 = 0.6;
/// The label of what is taken off.
const STRAND: u32 = u32::MAX - 1;

/// The fish among the deep parts of a region that is none as a whole, flagged: what runs into them hides part of
/// them. `labels` are left as they were.
pub(super) fn fish_on_strands(
    pixels: &Pixels,
    ground: &Ground,
    found: &mut Found,
    candidate: &Candidate,
) -> Vec<Outcome> {
    let all = &candidate.region.pixels;
    let spots = |pixels: &[(u32, u32)]| ground.polarity == Polarity::BrightFish || has_spot(ground, pixels);
    let box_area = f64::from(candidate.region.width()) * f64::from(candidate.region.height());
    if box_area > LARGEST * found.labels.data.len() as f64 || !spots(all) {
        return Vec::new();
    }
    let Some(cores) = Cores::of(&candidate.region) else { return Vec::new() };
    let spotted: Vec<usize> =
        (0..cores.deep.len()).filter(|core| spots(&cores.part(*core, &[]).pixels)).collect();
    let mut best = |parts: Vec<Part>| -> Option<(f64, Vec<usize>, Outcome)> {
        let mut best: Option<(f64, Vec<usize>, Outcome)> = None;
        for Part { pixels: part, cores } in parts {
            if part.len() as f64 > (1.0 - TAKEN) * all.len() as f64 {
                continue;
            }
            let Some(region) = components::bounded(part) else { continue };
            let (major, minor) = region.axes();
            let part = Candidate { region, major, minor, ..*candidate };
            set_label(&mut found.labels, all, STRAND);
            set_label(&mut found.labels, &part.region.pixels, candidate.label);
            let mut outcomes = measure(pixels, ground, found, &part);
            let (1, Some(Outcome::Fish(measured, e))) = (outcomes.len(), outcomes.pop()) else { continue };
            let like = Likeness::standard().of(&e);
            let score = like - KINK * e.kink + WHOLE * cores.len() as f64;
            if like >= PLAIN && is_plain(&e) && best.as_ref().is_none_or(|(most, _, _)| score > *most) {
                best = Some((score, cores, overlapping(Outcome::Fish(measured, e))));
            }
        }
        best
    };
    let mut fish: Vec<(f64, Vec<usize>, Outcome)> =
        spotted.iter().filter_map(|core| best(cores.with_strands(*core))).collect();
    if !fish.is_empty() {
        // It may go on through another deep part.
        fish.extend(spotted.iter().filter_map(|core| best(cores.through_others(*core))));
    }
    set_label(&mut found.labels, all, candidate.label);
    // A deep part is of one fish.
    fish.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut used: Vec<usize> = Vec::new();
    fish.retain(|(_, cores, _)| {
        let free = !cores.iter().any(|core| used.contains(core));
        used.extend(cores.iter().filter(|_| free));
        free
    });
    fish.into_iter().map(|(_, _, outcome)| outcome).collect()
}

/// Whether something in a deep part is denser than the part, as an eye is: else nothing needs to be followed there.
fn has_spot(ground: &Ground, pixels: &[(u32, u32)]) -> bool {
    let mut ink: Vec<f32> = pixels.iter().map(|&(x, y)| ground.ink.at(x as usize, y as usize)).collect();
    let densest = ink.iter().copied().fold(0.0, f32::max);
    quantile(&mut ink, 0.5).is_some_and(|middle| densest >= SPOT * middle)
}

/// Gives pixels to the candidate of a label.
pub(super) fn set_label(labels: &mut Labels, pixels: &[(u32, u32)], label: u32) {
    for &(x, y) in pixels {
        labels.set(x as usize, y as usize, label);
    }
}

/// Whether something shows an eye, is no longer than fish are, and is all there is: rings and strokes part into deep
/// and thin pieces too.
fn is_plain(e: &Evidence) -> bool {
    e.has_eye() && !e.is_line() && e.explained >= EXPLAINED
}

/// Some of the pixels of a region, in the search image, and which of its deep parts are among them.
struct Part {
    pixels: Vec<(u32, u32)>,
    cores: Vec<usize>,
}

/// The deep parts of a region in its box, one pixel wider.
struct Cores {
    origin: (u32, u32),
    mask: Plane<bool>,
    depth: Plane<f32>,
    /// The deep parts, largest first, and what an opening leaves round each.
    deep: Vec<Region>,
    opened: Vec<Plane<bool>>,
    /// The free ends of the region's skeleton.
    ends: Vec<[f64; 2]>,
}

impl Cores {
    /// `None` for a region that is deep nowhere.
    fn of(region: &Region) -> Option<Self> {
        let mut mask = Plane::filled(region.width() as usize + 2, region.height() as usize + 2, false);
        for &(x, y) in &region.pixels {
            mask.set((x - region.x0) as usize + 1, (y - region.y0) as usize + 1, true);
        }
        let depth = distance::euclidean(&mask);
        let greatest = depth.data.iter().copied().fold(0.0, f32::max);
        if greatest < DEEP {
            return None;
        }
        let limit = CORE * greatest;
        let mut deep = components::regions(&depth.map(|d| d > limit), 1);
        deep.sort_by_key(|r| std::cmp::Reverse(r.pixels.len()));
        deep.truncate(MOST_CORES);
        let ends = Skeleton::of(&mask, &depth).ends();
        let mut cores = Self { origin: (region.x0, region.y0), mask, depth, deep, opened: Vec::new(), ends };
        cores.opened = cores.deep.iter().map(|core| cores.around(core, limit)).collect();
        Some(cores)
    }

    /// A deep part with each of the strands that leave it, and alone.
    fn with_strands(&self, core: usize) -> Vec<Part> {
        let others = |i: usize| self.opened.iter().enumerate().any(|(k, o)| k != core && o.data[i]);
        let mut parts: Vec<Part> =
            self.strands(core, others).iter().map(|way| self.part(core, way)).collect();
        parts.push(self.part(core, &[]));
        parts
    }

    /// A deep part with each of the strands that leave it through other deep parts, and those.
    fn through_others(&self, core: usize) -> Vec<Part> {
        if self.deep.len() == 1 {
            return Vec::new();
        }
        let mut parts: Vec<Part> =
            self.strands(core, |_| false).iter().map(|way| self.part(core, way)).collect();
        parts.retain(|part| part.cores.len() > 1);
        parts
    }

    /// The pixels of the region within `reach` of a deep part: what an opening by a disc leaves of it.
    fn around(&self, core: &Region, reach: f32) -> Plane<bool> {
        let mut rest = self.mask.map(|_| true);
        for &(x, y) in &core.pixels {
            rest.set(x as usize, y as usize, false);
        }
        let away = distance::euclidean(&rest);
        let mut near = self.mask.clone();
        for (n, d) in near.data.iter_mut().zip(&away.data) {
            *n &= *d <= reach + 0.5;
        }
        near
    }

    /// Ways from the middle of a deep part to the free ends nearest to it, not where `closed` holds.
    fn strands(&self, core: usize, closed: impl Fn(usize) -> bool) -> Vec<Vec<[f64; 2]>> {
        let (opened, core) = (&self.opened[core], &self.deep[core]);
        let width = self.mask.width;
        let mut cost = self.depth.map(to_the_middle);
        for (i, c) in cost.data.iter_mut().enumerate() {
            if closed(i) {
                *c = f32::INFINITY;
            }
        }
        let at = |&(x, y): &(u32, u32)| y as usize * width + x as usize;
        let Some(from) =
            core.pixels.iter().map(at).max_by(|a, b| self.depth.data[*a].total_cmp(&self.depth.data[*b]))
        else {
            return Vec::new();
        };
        let (total, before) = path::cheapest(&cost, from, |_| false);
        let mut strands: Vec<usize> = self
            .ends
            .iter()
            .map(|e| e[1].round() as usize * width + e[0].round() as usize)
            .filter(|e| !opened.data[*e] && total[*e].is_finite())
            .collect();
        strands.sort_by(|a, b| total[*a].total_cmp(&total[*b]));
        strands.truncate(MOST_STRANDS);
        strands.into_iter().map(|end| path::trace(&before, end, width)).collect()
    }

    /// A deep part, what lies along a way from it, and the deep parts that the way meets.
    fn part(&self, core: usize, way: &[[f64; 2]]) -> Part {
        let meets = |k: usize| way.iter().any(|p| self.opened[k].get_or(p[0] as i64, p[1] as i64, false));
        let cores: Vec<usize> = (0..self.deep.len()).filter(|k| *k == core || meets(*k)).collect();
        let mut along = self.mask.map(|_| false);
        for p in way {
            along.set_disc(*p, f64::from(self.depth.bilinear(p[0], p[1])) + 0.5);
        }
        let (x0, y0) = self.origin;
        let width = self.mask.width;
        let pixels = (0..along.data.len())
            .filter(|i| {
                cores.iter().any(|k| self.opened[*k].data[*i]) || along.data[*i] && self.mask.data[*i]
            })
            .map(|i| (x0 + (i % width) as u32 - 1, y0 + (i / width) as u32 - 1))
            .collect();
        Part { pixels, cores }
    }
}
