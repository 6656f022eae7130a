//! The heads in a body. On a bright ground eyes are the most opaque compact spots there are; on a dark one the pupil
//! is a dark round hole in a pale body or in the silver ring about it.

use super::crop::Crop;
use crate::imaging::{
    components::{self, Region},
    distance,
    plane::quantile,
};
use crate::segmentation::Polarity;
use std::cell::LazyCell;

/// Least ink of an eye over the trunk's.
const EYE: f32 = 1.7;
/// Ink of a further eye as a share of the darkest eye's: eyes of one sample are equally opaque.
const LIKE: f32 = 0.55;
/// The same for an eye that is sure, and its diameter as a share of the largest eye's; least such share of any eye.
const SURELY_LIKE: f32 = 0.75;
const SURELY_AS_LARGE: f64 = 0.7;
const AS_LARGE: f64 = 0.45;
/// How alike the eyes of two fish are in ink and diameter (by trying, rendered fish).
const TWIN: f64 = 0.8;
/// Least ink of a spot that may be an eye whatever its size, as a share of an eye's (by trying, rendered fish).
const AS_DARK: f32 = 0.9;
/// Share of the circle round its longer axis that an eye fills; longest over shortest axis.
const COMPACT: f64 = 0.6;
const ROUND: f64 = 1.8;
/// Longest over shortest axis of two eyes that run together, and how much narrower they are where they meet: a
/// piece of gut as long is widest in its middle.
const PAIR: f64 = 2.8;
const WAIST: f32 = 0.85;
/// Share of the ellipse round them that two eyes fill.
const PAIR_FILLS: f64 = 0.75;
/// Ink in the middle of an eye at least, as a share of the densest twentieth; the same where two eyes
/// meet; and what is the middle, as a share of the width (by trying, rendered fish).
const HOLLOW: f32 = 0.85;
const HOLLOW_PAIR: f32 = 0.6;
const MIDDLE: f64 = 0.25;
/// Least diameter of an eye over the square root of the body's area: an eye is about 5 % of the length of a larva
/// and never below 2 % (from memory), and up to three fish may share a body.
const LEAST: f64 = 0.05;
/// Two eyes closer than this many of their diameters are of one head, seen from above or obliquely.
const SAME_HEAD: f64 = 2.2;

/// Levels of ink, in trunks, at which pupils are looked for: from the brightest ring down to a pale head.
const RINGS: [f32; 6] = [1.6, 1.2, 0.9, 0.7, 0.5, 0.3];
/// Least diameter of a pupil over the square root of the body's area, and of the eye over the pupil (from memory).
const LEAST_PUPIL: f64 = 0.03;
const PUPIL: f64 = 1.5;
/// Share of what is round a pupil that must be body: one of two eyes seen from above bulges.
const SURROUNDED: f64 = 0.7;
/// How much dimmer a pupil is than what is round it, in trunks: scales and gut differ less (by trying, rendered fish).
const DIMMER: f32 = 0.4;

/// A head: where its eye is, crop pixels, and how large.
#[derive(Debug, Clone, Copy)]
pub struct Head {
    /// Centre of the eye, or between the two eyes.
    pub at: [f64; 2],
    /// Diameter of the eye.
    pub eye: f64,
    /// Ink of the eye, or how much dimmer a pupil is than what is round it.
    ink: f32,
    /// Whether it is as dark and as large as the eyes of one sample are alike: oil globules and gut are not.
    pub sure: bool,
}

impl Head {
    /// Whether two heads have eyes as alike as those of one sample: gut and pigment are rarely as dark and as large.
    pub fn twin(&self, other: &Self) -> bool {
        let alike = |a: f64, b: f64| a.min(b) >= TWIN * a.max(b);
        alike(f64::from(self.ink), f64::from(other.ink)) && alike(self.eye, other.eye)
    }

    /// Whether an eye is as dark as another, whatever their sizes: one that lies over a gut is read as large as both.
    pub fn as_dark_as(&self, other: &Self) -> bool {
        self.ink >= AS_DARK * other.ink
    }
}

/// Whether the middle of a dark spot has less than `share` of the ink of its densest twentieth, as that of a
/// bladder or a bubble has. Under light from above eyes shine in their middle.
fn is_hollow(crop: &Crop, region: &Region, share: f32) -> bool {
    let centre = region.centre();
    let reach = (MIDDLE * region.axes().1).max(1.0);
    let [mut middle, mut all] = [Vec::new(), Vec::new()];
    for &(x, y) in &region.pixels {
        let ink = crop.ink.at(x as usize, y as usize);
        let near = (f64::from(x) - centre[0]).hypot(f64::from(y) - centre[1]) <= reach;
        middle.extend(near.then_some(ink));
        all.push(ink);
    }
    let middle = quantile(&mut middle, 0.5).unwrap_or(0.0);
    !crop.shadows && middle < share * quantile(&mut all, 0.95).unwrap_or(0.0)
}

/// Heads in the body, the plainest eye first.
pub fn heads(crop: &Crop) -> Heads {
    let spots = match crop.polarity {
        Polarity::DarkFish => opaque(crop),
        Polarity::BrightFish => pupils(crop),
    };
    let of_one_eye = alike(spots);
    Heads { heads: of_one_head(&of_one_eye), of_one_eye }
}

/// The heads in a body.
pub struct Heads {
    /// Two eyes close together are of one head.
    pub heads: Vec<Head>,
    /// Every eye is one: fish that touch with their snouts.
    pub of_one_eye: Vec<Head>,
}

/// Compact spots denser than the trunk.
fn opaque(crop: &Crop) -> Vec<Head> {
    let mut found: Vec<Head> = Vec::new();
    let body = crop.body().data.iter().filter(|b| **b).count() as f64;
    // An eye may join the gut or pigment at one level and stand alone at a higher one.
    for level in [EYE, 1.5 * EYE, 2.3 * EYE, 3.5 * EYE] {
        let dark = crop.denser(level * crop.trunk);
        let depth = LazyCell::new(|| distance::euclidean(&dark));
        for region in components::regions(&dark, 6) {
            let (major, minor) = region.axes();
            let area = region.pixels.len() as f64;
            let circle = std::f64::consts::FRAC_PI_4 * major * major;
            let at = region.centre();
            let narrow_in_the_middle = || {
                let widest = region.pixels.iter().map(|&(x, y)| depth.at(x as usize, y as usize));
                depth.bilinear(at[0], at[1]) < WAIST * widest.fold(0.0, f32::max)
            };
            let eye = if major <= ROUND * minor && area >= COMPACT * circle {
                if is_hollow(crop, &region, HOLLOW) {
                    continue;
                }
                major
            } else if major <= PAIR * minor
                && area >= PAIR_FILLS * circle * minor / major
                && narrow_in_the_middle()
                && !is_hollow(crop, &region, HOLLOW_PAIR)
            {
                minor
            } else {
                continue;
            };
            if eye < LEAST * body.sqrt() {
                continue;
            }
            let ink =
                region.pixels.iter().map(|&(x, y)| crop.ink.at(x as usize, y as usize)).fold(0.0, f32::max);
            let head = Head { at, eye, ink, sure: false };
            // The same spot at a higher level.
            let inside = |h: &Head| (h.at[0] - head.at[0]).hypot(h.at[1] - head.at[1]) < 0.6 * h.eye;
            if !found.iter().any(inside) {
                found.push(head);
            }
        }
    }
    found
}

/// Round holes in what is as bright as a trunk or as the ring of an eye.
fn pupils(crop: &Crop) -> Vec<Head> {
    let mut found: Vec<Head> = Vec::new();
    let body = crop.body().data.iter().filter(|b| **b).count() as f64;
    let mut inner = crop.body().clone();
    components::fill_holes(&mut inner, usize::MAX);
    // The brightest level at which a spot is closed in shows all of it.
    for level in RINGS {
        let limit = level * crop.trunk;
        let mut dim = inner.clone();
        for (dim, ink) in dim.data.iter_mut().zip(&crop.ink.data) {
            *dim &= *ink < limit;
        }
        for region in components::regions(&dim, 4) {
            let (major, minor) = region.axes();
            let circle = std::f64::consts::FRAC_PI_4 * major * major;
            let round = major <= ROUND * minor && region.pixels.len() as f64 >= COMPACT * circle;
            if !round || major < LEAST_PUPIL * body.sqrt() {
                continue;
            }
            let at = region.centre();
            let Some(ring) = ring(crop, at, 0.5 * major) else { continue };
            let within = region.pixels.iter().map(|&(x, y)| crop.ink.at(x as usize, y as usize));
            let ink = ring - within.fold(f32::INFINITY, f32::min);
            let head = Head { at, eye: PUPIL * major, ink, sure: false };
            let inside = |h: &Head| (h.at[0] - at[0]).hypot(h.at[1] - at[1]) < 0.6 * h.eye;
            if ink >= DIMMER * crop.trunk && !found.iter().any(inside) {
                found.push(head);
            }
        }
    }
    found
}

/// Median ink of what surrounds a spot, at 1.4 and 1.7 of its radius; `None` where too little of that is body.
fn ring(crop: &Crop, at: [f64; 2], radius: f64) -> Option<f32> {
    let round: Vec<[f64; 2]> = (0..32)
        .flat_map(|k| {
            let (sin, cos) = (f64::from(k) * std::f64::consts::TAU / 32.0).sin_cos();
            [1.4, 1.7].map(|r| [at[0] + r * radius * cos, at[1] + r * radius * sin])
        })
        .collect();
    let own = round.iter().filter(|p| crop.owns(**p)).count();
    let mut ink: Vec<f32> = round.iter().map(|p| crop.ink.bilinear(p[0], p[1])).collect();
    if (own as f64) < SURROUNDED * round.len() as f64 { None } else { quantile(&mut ink, 0.5) }
}

/// The spots that are as plain and as large as the eyes of one sample, the darkest first.
fn alike(mut found: Vec<Head>) -> Vec<Head> {
    found.sort_by(|a, b| b.ink.total_cmp(&a.ink));
    let Some(darkest) = found.first().map(|h| h.ink) else { return found };
    let largest = found.iter().filter(|h| h.ink >= SURELY_LIKE * darkest).map(|h| h.eye).fold(0.0, f64::max);
    for spot in &mut found {
        spot.sure = spot.ink >= SURELY_LIKE * darkest && spot.eye >= SURELY_AS_LARGE * largest;
    }
    // Far smaller or fainter than an eye: pigment.
    found.retain(|spot| spot.ink >= LIKE * darkest && spot.eye >= AS_LARGE * largest);
    found
}

/// Eyes close together put together.
fn of_one_head(eyes: &[Head]) -> Vec<Head> {
    let mut heads: Vec<Head> = Vec::new();
    for spot in eyes {
        let of = heads.iter().position(|h| {
            (h.at[0] - spot.at[0]).hypot(h.at[1] - spot.at[1]) < SAME_HEAD * 0.5 * (h.eye + spot.eye)
        });
        match of {
            Some(i) => {
                let h = &mut heads[i];
                h.eye = h.eye.max(spot.eye);
                h.sure |= spot.sure;
                h.at = [0.5 * (h.at[0] + spot.at[0]), 0.5 * (h.at[1] + spot.at[1])];
            }
            None => heads.push(*spot),
        }
    }
    heads
}
