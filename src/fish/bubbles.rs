//! Air bubbles that touch a fish on a bright ground, taken off it.
//!
//! A bubble bends the light from below away everywhere but in its middle: a round ring as dark as an eye, with a
//! bright core. A gas bladder looks alike but lies between tissue; a bubble that only touches has tissue on one side.

use super::crop::Crop;
use crate::imaging::{Plane, components};
use crate::segmentation::Polarity;

/// Ink of a ring at least, as multiples of the trunk's; a soft one is found at the lowest, one that joins dark
/// tissue at a higher.
const LEVELS: [f32; 3] = [1.3, 2.0, 3.0];
/// Share of the ring's disc that is core, at least: eyes are solid.
const CORE: f64 = 0.06;
/// Longest over shortest axis at most, and the share of the circle round the longer axis that the disc fills.
const ROUND: f64 = 1.25;
const FILLS: f64 = 0.85;
/// Least diameter in crop pixels.
const LEAST: f64 = 7.0;
/// Where tissue is looked for round the ring, in radii.
const AROUND: [f64; 2] = [1.25, 1.5];
/// Ink of tissue, as a share of the trunk's: tails are faint.
const TISSUE: f32 = 0.15;
/// Widest arc with tissue, as a share of the circle, where a bubble only touches.
const ONE_SIDE: f64 = 0.42;
/// What is taken off, in radii: the ring's edge is soft.
const OFF: f64 = 1.2;
/// Share of the body that must be left for the bubble to be beside it.
const LEFT: f64 = 0.35;

/// A bubble: centre x, y and radius, crop pixels.
pub type Bubble = [f64; 3];

/// Takes the bubbles that touch the body on one side off the crop, and returns all there are: one that covers an end
/// stays, but hides it.
pub fn take_off(crop: &mut Crop) -> Vec<Bubble> {
    if crop.polarity == Polarity::BrightFish {
        return Vec::new();
    }
    let all = rings(crop);
    let beside: Vec<Bubble> = all.iter().copied().filter(|b| touches_on_one_side(crop, *b)).collect();
    if !beside.is_empty() {
        take(crop, &beside);
    }
    all
}

/// Takes bubbles off the crop, unless too little of the body would be left.
fn take(crop: &mut Crop, bubbles: &[Bubble]) {
    let mut body = crop.body().clone();
    let inside = |x: usize, y: usize| {
        bubbles.iter().any(|[cx, cy, r]| (x as f64 - cx).hypot(y as f64 - cy) <= OFF * r)
    };
    for y in 0..body.height {
        for x in 0..body.width {
            if body.at(x, y) && inside(x, y) {
                body.set(x, y, false);
            }
        }
    }
    let all = crop.body().data.iter().filter(|b| **b).count() as f64;
    let Some(rest) = components::regions(&body, 6).into_iter().max_by_key(|r| r.pixels.len()) else {
        return;
    };
    if (rest.pixels.len() as f64) < LEFT * all {
        return;
    }
    let mut kept = body.map(|_| false);
    for (x, y) in rest.pixels {
        kept.set(x as usize, y as usize, true);
    }
    crop.set_body(kept);
    for y in 0..body.height {
        for x in 0..body.width {
            if inside(x, y) {
                crop.ink.set(x, y, 0.0);
            }
        }
    }
}

/// Round rings in the body.
fn rings(crop: &Crop) -> Vec<Bubble> {
    let mut found: Vec<Bubble> = Vec::new();
    for level in LEVELS {
        for region in components::regions(&crop.denser(level * crop.trunk), 12) {
            let (w, h) = (region.width() as usize, region.height() as usize);
            if (w.min(h) as f64) < LEAST || w.max(h) as f64 > 1.5 * w.min(h) as f64 {
                continue;
            }
            let mut disc = Plane::filled(w, h, false);
            for &(x, y) in &region.pixels {
                disc.set((x - region.x0) as usize, (y - region.y0) as usize, true);
            }
            components::fill_holes(&mut disc, w * h);
            let Some(filled) = components::regions(&disc, 1).into_iter().next() else { continue };
            let area = filled.pixels.len() as f64;
            let (major, minor) = filled.axes();
            if area - (region.pixels.len() as f64) < CORE * area
                || major > ROUND * minor
                || area < FILLS * std::f64::consts::FRAC_PI_4 * major * major
            {
                continue;
            }
            let [x, y] = filled.centre();
            let radius = (area / std::f64::consts::PI).sqrt();
            let bubble = [x + f64::from(region.x0), y + f64::from(region.y0), radius];
            if !found.iter().any(|b| (b[0] - bubble[0]).hypot(b[1] - bubble[1]) < b[2]) {
                found.push(bubble);
            }
        }
    }
    found
}

/// Whether there is tissue round the ring, and all of it within one arc.
fn touches_on_one_side(crop: &Crop, [x, y, r]: Bubble) -> bool {
    const PLACES: usize = 72;
    let least = (TISSUE * crop.trunk).max(3.0 * crop.noise);
    let tissue: Vec<bool> = (0..PLACES)
        .map(|i| {
            let (sin, cos) = (i as f64 / PLACES as f64 * std::f64::consts::TAU).sin_cos();
            AROUND.iter().all(|k| {
                let (px, py) = (x + k * r * cos, y + k * r * sin);
                let inside = px >= 0.0
                    && py >= 0.0
                    && px < (crop.ink.width - 1) as f64
                    && py < (crop.ink.height - 1) as f64;
                inside && crop.ink.bilinear(px, py) >= least
            })
        })
        .collect();
    // The longest bare stretch, walking round twice: what is not in it is the arc with tissue.
    let (mut bare, mut run) = (0, 0);
    for t in tissue.iter().chain(&tissue) {
        run = if *t { 0 } else { run + 1 };
        bare = bare.max(run);
    }
    bare < PLACES && (PLACES - bare) as f64 <= ONE_SIDE * PLACES as f64
}
