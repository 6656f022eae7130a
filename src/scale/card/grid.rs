//! A symbol read module by module, for photographs too soft for a decoder that looks for edges.
//!
//! Three finder patterns and the alignment pattern (ISO/IEC 18004, 5.3.2 and 5.3.6) give the symbol's plane;
//! each module is looked at in its middle, freed of what blur brings over from its neighbours, and called
//! dark or light against its surroundings. The error correction then says whether the calls make sense.

use super::MODULES;
use crate::imaging::plane::quantile;
use crate::scale::field::{Bending, Field};

/// Shares of a module's contrast to its neighbours that blur is taken to have removed: none, some, much.
const SHARPEN: [f32; 3] = [0.0, 0.6, 1.4];
/// Half the window, in modules, in which dark and light are told apart.
const WINDOW: usize = 5;
/// Centre of a version 3 symbol's alignment pattern, in modules from the top left corner.
const ALIGNMENT: f64 = 22.5;

/// Text of the symbol whose finder patterns stand at `corner`, `right` and `below`; `sample` gives the
/// brightness at a place.
pub(super) fn decode(
    sample: &impl Fn(f64, f64) -> f32,
    [corner, right, below]: [[f64; 2]; 3],
) -> Option<String> {
    let (near, far) = (3.5, MODULES as f64 - 3.5);
    let affine = |m: [f64; 2]| {
        let [a, b] = m.map(|v| (v - near) / (far - near));
        [0, 1].map(|i| corner[i] + a * (right[i] - corner[i]) + b * (below[i] - corner[i]))
    };
    if let Some(text) = at_places(sample, affine) {
        return Some(text);
    }
    let fourth = alignment(sample, &affine)?;
    let modules = [[near, near], [far, near], [near, far], [ALIGNMENT, ALIGNMENT]];
    let plane = Field::fit(&modules, &[corner, right, below, fourth], (2.0, 2.0), Bending::None)?;
    at_places(sample, |m| plane.to_px(m))
}

/// Looks at every module's middle and lets the error correction judge.
fn at_places(sample: &impl Fn(f64, f64) -> f32, place: impl Fn([f64; 2]) -> [f64; 2]) -> Option<String> {
    let mut seen = vec![0f32; MODULES * MODULES];
    for (i, v) in seen.iter_mut().enumerate() {
        let [x, y] = place([(i % MODULES) as f64 + 0.5, (i / MODULES) as f64 + 0.5]);
        *v = sample(x, y);
    }
    SHARPEN.iter().find_map(|share| {
        let sharp = sharpened(&seen, *share);
        let rows: Vec<Vec<bool>> =
            (0..MODULES).map(|y| (0..MODULES).map(|x| dark(&sharp, x, y)).collect()).collect();
        let read = rxing::qrcode::decoder::qrcode_decoder::decode_bool_array(&rows).ok()?;
        Some(read.getText().to_owned())
    })
}

/// Adds `share` of each module's difference to the mean of its four neighbours.
fn sharpened(seen: &[f32], share: f32) -> Vec<f32> {
    let at = |x: usize, y: usize| seen[y * MODULES + x];
    (0..seen.len())
        .map(|i| {
            let (x, y) = (i % MODULES, i / MODULES);
            let last = MODULES - 1;
            let mean = (at(x.saturating_sub(1), y)
                + at((x + 1).min(last), y)
                + at(x, y.saturating_sub(1))
                + at(x, (y + 1).min(last)))
                / 4.0;
            seen[i] + share * (seen[i] - mean)
        })
        .collect()
}

/// Darker than the middle between dark and light round it.
fn dark(seen: &[f32], x: usize, y: usize) -> bool {
    let range = |v: usize| v.saturating_sub(WINDOW)..(v + WINDOW + 1).min(MODULES);
    let mut near: Vec<f32> =
        range(y).flat_map(|v| range(x).map(move |u| v * MODULES + u)).map(|i| seen[i]).collect();
    let low = quantile(&mut near, 0.12).unwrap_or(0.0);
    let high = quantile(&mut near, 0.88).unwrap_or(255.0);
    seen[y * MODULES + x] < f32::midpoint(low, high)
}

/// Place of the alignment pattern, within two modules of where the three finders put it.
fn alignment(sample: &impl Fn(f64, f64) -> f32, place: &impl Fn([f64; 2]) -> [f64; 2]) -> Option<[f64; 2]> {
    // Dark middle, light ring, dark ring: likeness is the light ring against the dark nine and sixteen.
    let likeness = |m: [f64; 2]| {
        let mut sums = [0f32; 3];
        for dy in -2i32..=2 {
            for dx in -2i32..=2 {
                let [x, y] = place([m[0] + f64::from(dx), m[1] + f64::from(dy)]);
                sums[dx.abs().max(dy.abs()) as usize] += sample(x, y);
            }
        }
        sums[1] / 8.0 - (sums[0] + sums[2]) / 17.0
    };
    let steps = -8i32..=8;
    let best = steps
        .clone()
        .flat_map(|v| steps.clone().map(move |u| [u, v].map(|s| ALIGNMENT + 0.25 * f64::from(s))))
        .map(|m| (likeness(m), m))
        .max_by(|a, b| a.0.total_cmp(&b.0))?;
    (best.0 > 4.0).then(|| place(best.1))
}
