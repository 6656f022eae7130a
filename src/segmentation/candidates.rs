//! Regions of ink worth a look at full resolution.

use super::ground::Ground;
use crate::imaging::{Plane, components, components::Region};

/// Ink this many standard deviations above bare background belongs to a region …
const LOW: f32 = 3.0;
/// … that somewhere reaches this many.
const HIGH: f32 = 7.0;
/// Ink below this share of the background is never part of a region: uneven light and compression reach it.
const LEAST_LOW: f32 = 0.006;
/// Least ink somewhere in a region.
const LEAST_HIGH: f32 = 0.02;
/// Least number of search pixels.
const LEAST_PIXELS: usize = 24;
/// Least longer axis in search pixels.
const LEAST_AXIS: f64 = 12.0;

/// A region of ink, in search pixels.
#[derive(Debug, Clone)]
pub struct Candidate {
    /// Its pixels.
    pub region: Region,
    /// Longer principal axis, search pixels.
    pub major: f64,
    /// Shorter principal axis, search pixels.
    pub minor: f64,
    /// Its label in [`Labels`].
    pub label: u32,
}

/// Which candidate each search pixel belongs to, 0 for none.
pub type Labels = Plane<u32>;

/// Regions of ink in the order of their first pixel row by row, and the map of labels.
pub fn find(ground: &Ground) -> (Vec<Candidate>, Labels) {
    let (w, h) = (ground.ink.width, ground.ink.height);
    let mut strength = Plane::filled(w, h, 0.0f32);
    let mut noise = vec![0.0; w];
    for y in 0..h {
        ground.noise.row(y, &mut noise);
        let ink = ground.ink.row(y);
        let out = &mut strength.data[y * w..(y + 1) * w];
        for x in 0..w {
            let v = ink[x];
            let s = v / noise[x];
            // Both limits at once: in standard deviations and as a share of the background.
            out[x] = if v < LEAST_LOW {
                0.0
            } else if v < LEAST_HIGH {
                s.min(HIGH - 0.01)
            } else {
                s
            };
        }
    }
    let mut labels = Plane::filled(w, h, 0u32);
    let mut candidates = Vec::new();
    for region in components::hysteresis(&dilate(&strength), LOW, HIGH, LEAST_PIXELS) {
        let pixels: Vec<(u32, u32)> =
            region.pixels.into_iter().filter(|&(x, y)| strength.at(x as usize, y as usize) >= LOW).collect();
        let Some(region) = components::bounded(pixels).filter(|r| r.pixels.len() >= LEAST_PIXELS) else {
            continue;
        };
        let (major, minor) = region.axes();
        if major < LEAST_AXIS {
            continue;
        }
        let label = candidates.len() as u32 + 1;
        for &(x, y) in &region.pixels {
            labels.set(x as usize, y as usize, label);
        }
        candidates.push(Candidate { region, major, minor, label });
    }
    (candidates, labels)
}

/// Greatest of each pixel and its eight neighbours, so that gaps of one or two pixels do not part a body.
fn dilate(plane: &Plane<f32>) -> Plane<f32> {
    let (w, h) = (plane.width, plane.height);
    let mut across = plane.clone();
    for y in 0..h {
        let row = plane.row(y);
        let out = &mut across.data[y * w..(y + 1) * w];
        for x in 1..w.saturating_sub(1) {
            out[x] = row[x - 1].max(row[x]).max(row[x + 1]);
        }
    }
    let mut out = across.clone();
    for y in 1..h.saturating_sub(1) {
        for x in 0..w {
            let v = across.at(x, y - 1).max(across.at(x, y)).max(across.at(x, y + 1));
            out.set(x, y, v);
        }
    }
    out
}
