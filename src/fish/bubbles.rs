//! Air bubbles that touch a fish on a bright ground, taken off it.
//!
//! A bubble bends the light from below away everywhere but in its middle: a round ring as dark as an eye, with a
//! bright core. A gas bladder looks alike but lies between tissue; a bubble that only touches has tissue on one side.

use super::crop::{Crop, TRUNK, above_ground, filled, joined};
use crate::imaging::components::{self, Region};
use crate::imaging::plane::quantile;
use crate::imaging::{Plane, distance};
use crate::segmentation::Polarity;

// What is chosen below was chosen by trying, on rendered photographs.

/// Ink of a ring at least, as multiples of the trunk's; a soft one is found at the lowest, one that joins dark
/// tissue at a higher.
const LEVELS: [f32; 3] = [1.3, 2.0, 3.0];
/// Share of the ring's disc that is core, at least: eyes are solid.
const CORE: f64 = 0.06;
/// Where the body's densest ink is read, as a share of its pixels; half of it is a level too. A bubble that covers more of the
/// region than the fish does sets the trunk's ink itself, and no multiple of that finds it.
const DENSEST: f64 = 0.98;
/// Ink of a bubble's middle at most, as a share of its rim's. On rendered photographs that of a bubble is 0.3 and less, that
/// of an eye out of focus 0.6 and more.
const BRIGHT: f32 = 0.4;
/// Most discs looked at in one region.
const MOST: usize = 5;
/// How far within the outline a ring is dense, and outside bare, in radii.
const RIM: f64 = 0.12;
/// Least share of the circle that no other bubble covers, and the share of that which is dense.
const SEEN: f64 = 0.5;
const ALL_ROUND: f64 = 0.93;
/// Least share of the circle round it that is not as dense.
const CLEAR: f64 = 0.4;
/// What belongs to a disc, in radii, when the next one is looked for.
const OVERLAP: f64 = 1.05;
/// Places looked at round a circle.
const PLACES: usize = 72;
/// Least diameter in crop pixels.
const LEAST: f64 = 7.0;
/// Where tissue is looked for round the ring, in radii.
const AROUND: [f64; 2] = [1.25, 1.5];
/// Ink of tissue, as a share of the trunk's: tails are faint.
const TISSUE: f32 = 0.15;
/// Widest arc with tissue, as a share of the circle, where a bubble only touches.
const ONE_SIDE: f64 = 0.42;
/// Ink at which a bubble's soft edge ends, as a share of its rim's; the share of a circle round it that no tissue covers, at
/// least; how far the edge may reach, in radii.
const HALO: f32 = 0.05;
const UNCOVERED: f64 = 0.3;
const SOFTEST: f64 = 1.4;
/// Share of the body that must be left for the bubble to be beside it.
const LEFT: f64 = 0.15;
/// Share of what is left that must hang together: else the bubble lies across the body.
const WHOLE: f64 = 0.85;

/// A bubble, crop pixels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bubble {
    /// Its middle, x then y.
    pub centre: [f64; 2],
    /// Radius of what is as dark as its rim.
    pub radius: f64,
    /// Radius of all that it darkens.
    pub reach: f64,
}

impl Bubble {
    /// Distance from its middle.
    pub fn away(&self, p: [f64; 2]) -> f64 {
        (p[0] - self.centre[0]).hypot(p[1] - self.centre[1])
    }
}

/// Takes the bubbles that touch the body on one side off the crop whose own pixels are given, and returns all there
/// are: one that covers an end stays, but hides it.
pub fn take_off(crop: &mut Crop, own: &Plane<bool>) -> Vec<Bubble> {
    if crop.polarity == Polarity::BrightFish {
        return Vec::new();
    }
    let all = rings(crop);
    let beside: Vec<Bubble> = all.iter().copied().filter(|b| touches_on_one_side(crop, *b, &all)).collect();
    if !beside.is_empty() {
        take(crop, own, &beside);
    }
    all
}

/// Takes bubbles off the crop, unless too little of the body would be left, or in pieces.
fn take(crop: &mut Crop, own: &Plane<bool>, bubbles: &[Bubble]) {
    let mut covered = own.map(|_| false);
    for bubble in bubbles {
        covered.set_disc(bubble.centre, bubble.reach);
    }
    // The trunk's ink was read with what covers it.
    let mut bare: Vec<f32> =
        (0..own.data.len()).filter(|i| own.data[*i] && !covered.data[*i]).map(|i| crop.ink.data[i]).collect();
    let Some(trunk) = quantile(&mut bare, TRUNK).filter(|trunk| *trunk > 0.0) else { return };
    let trunk = if crop.shadows { crop.trunk } else { trunk.min(crop.trunk) };
    let threshold = above_ground(crop.noise, trunk);
    let mut allowed = crop.allowed.clone();
    for (allowed, covered) in allowed.data.iter_mut().zip(&covered.data) {
        *allowed &= !covered;
    }
    let parts = joined(&crop.ink, &allowed, own, threshold);
    let left = parts.iter().map(|r| r.pixels.len()).sum::<usize>() as f64;
    let Some(rest) = parts.into_iter().max_by_key(|r| r.pixels.len()) else { return };
    let all = own.data.iter().filter(|own| **own).count() as f64;
    if (rest.pixels.len() as f64) < (LEFT * all).max(WHOLE * left) {
        return;
    }
    let body = filled(&[rest], own.width, own.height);
    for (ink, covered) in crop.ink.data.iter_mut().zip(&covered.data) {
        if *covered {
            *ink = 0.0;
        }
    }
    (crop.trunk, crop.threshold) = (trunk, threshold);
    crop.set_body(body);
}

/// Round rings in the body, those that overlap told apart.
fn rings(crop: &Crop) -> Vec<Bubble> {
    let mut found: Vec<Bubble> = Vec::new();
    let mut body: Vec<f32> =
        crop.ink.data.iter().zip(&crop.body().data).filter(|(_, own)| **own).map(|(v, _)| *v).collect();
    let densest = quantile(&mut body, DENSEST).unwrap_or(0.0);
    for level in LEVELS.map(|l| l * crop.trunk).into_iter().chain([0.5 * densest]) {
        for region in components::regions(&crop.denser(level), 12) {
            if f64::from(region.width().min(region.height())) < LEAST {
                continue;
            }
            for (centre, radius) in discs(&region) {
                if !found.iter().any(|b| b.away(centre) < b.radius.max(radius)) {
                    found.extend(bubble(crop, centre, radius));
                }
            }
        }
    }
    found
}

/// The bubble that a ring is, when its middle is nearly as bright as the ground: that of an eye out of focus is not.
fn bubble(crop: &Crop, centre: [f64; 2], radius: f64) -> Option<Bubble> {
    let on = |r: f64| around(centre, r).map(|p| crop.ink.bilinear(p[0], p[1]));
    let mut rim: Vec<f32> = on((1.0 - RIM) * radius).collect();
    let mut core: Vec<f32> = [0.0, 0.15, 0.3, 0.45].into_iter().flat_map(|k| on(k * radius)).collect();
    let (rim, core) = (quantile(&mut rim, 0.5)?, quantile(&mut core, 0.1)?);
    if core > BRIGHT * rim {
        return None;
    }
    // Its edge is soft: it reaches as far as most of a circle that no tissue covers is darker than the ground.
    let bare = (3.0 * crop.noise).max(HALO * rim);
    let mut reach = radius + 1.0;
    while reach < SOFTEST * radius
        && quantile(&mut on(reach).collect::<Vec<_>>(), UNCOVERED).is_some_and(|ink| ink > bare)
    {
        reach += 1.0;
    }
    Some(Bubble { centre, radius, reach })
}

/// Places all round a circle.
fn around([x, y]: [f64; 2], radius: f64) -> impl Iterator<Item = [f64; 2]> {
    (0..PLACES).map(move |i| {
        let (sin, cos) = (i as f64 / PLACES as f64 * std::f64::consts::TAU).sin_cos();
        [x + radius * cos, y + radius * sin]
    })
}

/// Centres and radii of the rings of a dense region: the greatest disc within its outline, then those that begin outside
/// the ones before.
fn discs(region: &Region) -> Vec<([f64; 2], f64)> {
    let (w, h) = (region.width() as usize + 2, region.height() as usize + 2);
    let mut dense = Plane::filled(w, h, false);
    for &(x, y) in &region.pixels {
        dense.set((x - region.x0) as usize + 1, (y - region.y0) as usize + 1, true);
    }
    let mut outline = dense.clone();
    components::fill_holes(&mut outline, w * h);
    if outline == dense {
        // Nothing bright is closed in.
        return Vec::new();
    }
    let depth = distance::euclidean(&outline);
    let mut taken = Plane::filled(w, h, false);
    let mut found = Vec::new();
    for _ in 0..MOST {
        let free = (0..depth.data.len()).filter(|i| !taken.data[*i] && is_top(&depth, *i));
        let Some(deepest) = free.max_by(|a, b| depth.data[*a].total_cmp(&depth.data[*b])) else {
            break;
        };
        let radius = f64::from(depth.data[deepest]);
        if 2.0 * radius < LEAST {
            break;
        }
        let centre = [deepest % w, deepest / w].map(|v| v as f64);
        if is_ring(&dense, &outline, &taken, centre, radius) {
            let [x, y] = centre;
            found.push(([x + f64::from(region.x0) - 1.0, y + f64::from(region.y0) - 1.0], radius));
        }
        taken.set_disc(centre, OVERLAP * radius);
    }
    found
}

/// Whether no neighbour of a pixel is deeper.
fn is_top(depth: &Plane<f32>, i: usize) -> bool {
    let (x, y) = ((i % depth.width) as i64, (i / depth.width) as i64);
    (-1..=1).all(|dy| (-1..=1).all(|dx| depth.get_or(x + dx, y + dy, 0.0) <= depth.data[i]))
}

/// Whether a disc is dense all round but where another one lies over it, bright in its middle, and mostly bare outside.
fn is_ring(
    dense: &Plane<bool>,
    outline: &Plane<bool>,
    taken: &Plane<bool>,
    [x, y]: [f64; 2],
    r: f64,
) -> bool {
    let seen: Vec<bool> = around([x, y], r - (RIM * r).max(1.0))
        .filter(|p| !taken.nearest_or(p[0], p[1], false))
        .map(|p| dense.nearest_or(p[0], p[1], false))
        .collect();
    let round = seen.iter().filter(|d| **d).count() as f64;
    if (seen.len() as f64) < SEEN * PLACES as f64 || round < ALL_ROUND * seen.len() as f64 {
        return false;
    }
    let clear =
        around([x, y], r + (RIM * r).max(1.5)).filter(|p| !outline.nearest_or(p[0], p[1], false)).count();
    if (clear as f64) < CLEAR * PLACES as f64 {
        return false;
    }
    let (mut core, mut all) = (0.0, 0.0);
    for dy in -r as i64..=r as i64 {
        for dx in -r as i64..=r as i64 {
            if ((dx * dx + dy * dy) as f64) < r * r {
                all += 1.0;
                core += f64::from(u8::from(!dense.get_or(x as i64 + dx, y as i64 + dy, false)));
            }
        }
    }
    core >= CORE * all
}

/// Whether all tissue round a ring that is no other ring's lies within one arc.
fn touches_on_one_side(crop: &Crop, bubble: Bubble, all: &[Bubble]) -> bool {
    let least = (TISSUE * crop.trunk).max(3.0 * crop.noise);
    let tissue: Vec<bool> = around([0.0, 0.0], bubble.radius)
        .map(|[dx, dy]| {
            AROUND.iter().all(|k| {
                let [px, py] = [bubble.centre[0] + k * dx, bubble.centre[1] + k * dy];
                let inside = px >= 0.0
                    && py >= 0.0
                    && px < (crop.ink.width - 1) as f64
                    && py < (crop.ink.height - 1) as f64;
                let another = all.iter().any(|b| *b != bubble && b.away([px, py]) <= b.reach);
                inside && !another && crop.ink.bilinear(px, py) >= least
            })
        })
        .collect();
    // The longest bare stretch, walking round twice: what is not in it is the arc with tissue.
    let (mut bare, mut run) = (0, 0);
    for t in tissue.iter().chain(&tissue) {
        run = if *t { 0 } else { run + 1 };
        bare = bare.max(run);
    }
    PLACES.saturating_sub(bare) as f64 <= ONE_SIDE * PLACES as f64
}
