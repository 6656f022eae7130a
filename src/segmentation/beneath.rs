//! Bare ground beneath the faint parts of fish.
//!
//! A tail fin takes a hundredth of the light, about as much as a lamp varies from place to place: a surface that follows
//! the one sinks under the other, and the fin is gone before it is measured. Where fish were found, blocks that lie in a
//! hollow as small as a fin are therefore left out, and the surface is laid anew from what is round them. Elsewhere it
//! follows the ground as it is: shades of walls and folds are hollows too, and a surface that bridges those makes tails of
//! them. So are shadows, which is why this is for light from below alone.

use super::background::{Laid, Surface, neighbourhood_quantile, weighted_smooth};
use super::candidates::Candidate;
use super::ground::{Ground, Polarity};
use crate::imaging::{Plane, plane::quantile};
use std::collections::BTreeSet;

/// How far from a candidate its fins may lie, as a share of its longer axis (fins of larvae and young fish are about a
/// tenth of the length, from memory).
const FIN: f64 = 0.12;
/// Half the width of the widest hollow that is a fin's, in blocks: a block is an eighty-eighth of the photograph.
const HOLLOW: usize = 3;
/// Least depth of a hollow, in standard deviations of a block's median, as a share of the light, and in grey levels (by
/// trying, rendered fish).
const DEEP: f32 = 4.0;
const LEAST_SHARE: f32 = 0.004;
const LEAST_LEVELS: f32 = 0.6;
/// Standard deviations in blocks over which the ground is drawn in from around; the wider one where nothing near is left.
const NEAR: f64 = 1.2;
const WIDE: f64 = 4.0;

/// Lays the surfaces of a photograph with light from below anew where candidates lie, walls and what is beside them left
/// as they are.
pub fn lay(ground: &mut Ground, candidates: &[Candidate]) {
    if ground.polarity == Polarity::BrightFish || ground.lit_from_above() {
        return;
    }
    let Some((luma, chroma)) = ground.laid.split_first() else { return };
    let mut near = around(&ground.luma, candidates);
    keep_haze(&mut near, ground);
    let hollow = hollows(&luma.medians);
    let mut bare = luma.bare.clone();
    let left_out = hollow.data.iter().zip(&near.data).map(|(hollow, near)| *hollow && *near);
    bare.data.iter_mut().zip(left_out).filter(|(_, out)| *out).for_each(|(bare, _)| *bare = 0.0);
    draw_in(&mut ground.luma, &near, luma, &bare);
    for (surface, chroma) in ground.chroma.iter_mut().flatten().zip(chroma) {
        let mut bare = bare.clone();
        bare.data.iter_mut().zip(&chroma.bare.data).for_each(|(bare, own)| *bare = bare.min(*own));
        draw_in(surface, &near, chroma, &bare);
    }
}

/// Draws a surface in from the bare blocks to those that are `near`.
fn draw_in(surface: &mut Surface, near: &Plane<bool>, laid: &Laid, bare: &Plane<f32>) {
    // The lamp's fall-off goes on where nothing near is bare; what was laid before has the hollows in it.
    let wide = weighted_smooth(&laid.medians, bare, &laid.lamp, WIDE);
    let anew = weighted_smooth(&laid.medians, bare, &wide, NEAR);
    let blocks = surface.blocks.data.iter_mut().zip(anew.data).zip(&near.data);
    blocks.filter(|(_, near)| **near).for_each(|((block, anew), _)| *block = anew);
}

/// The blocks that hold candidates or lie as near as their fins may.
fn around(surface: &Surface, candidates: &[Candidate]) -> Plane<bool> {
    let Surface { blocks, block } = surface;
    let mut near = Plane::filled(blocks.width, blocks.height, false);
    for candidate in candidates.iter().filter(|c| !c.beside_wall) {
        let reach = (FIN * candidate.major / *block as f64).ceil() as usize;
        let holds = |&(x, y): &(u32, u32)| (y as usize / block, x as usize / block);
        let held: BTreeSet<(usize, usize)> = candidate.region.pixels.iter().map(holds).collect();
        for (y, x) in held {
            for y in y.saturating_sub(reach)..=(y + reach).min(near.height - 1) {
                for x in x.saturating_sub(reach)..=(x + reach).min(near.width - 1) {
                    near.set(x, y, true);
                }
            }
        }
    }
    near
}

/// Leaves out blocks where walls shade the ground.
fn keep_haze(near: &mut Plane<bool>, ground: &Ground) {
    let Some(haze) = &ground.haze else { return };
    let block = ground.luma.block;
    for y in 0..near.height {
        for x in 0..near.width {
            let [sx, sy] =
                [(x, haze.width), (y, haze.height)].map(|(k, most)| (k * block + block / 2).min(most - 1));
            if haze.at(sx, sy).abs() > LEAST_SHARE {
                near.set(x, y, false);
            }
        }
    }
}

/// The blocks that are darker than a morphological closing leaves them (Serra 1982, from memory): it fills what is narrower
/// than its window and leaves slopes and wide shades alone.
fn hollows(medians: &Plane<f32>) -> Plane<bool> {
    let all = medians.map(|_| true);
    let extreme = |plane: &Plane<f32>, q: f64| neighbourhood_quantile(plane, &all, HOLLOW, q, 0.0);
    let closed = extreme(&extreme(medians, 1.0), 0.0);
    // A median that is even with those beside it departs from their mean by the noise of one and a half.
    let mut uneven: Vec<f32> = (0..medians.height)
        .flat_map(|y| medians.row(y).windows(3).map(|v| (v[1] - 0.5 * (v[0] + v[2])).abs()))
        .collect();
    let noise = 1.4826 * quantile(&mut uneven, 0.5).unwrap_or(0.0) / 1.5f32.sqrt();
    let mut hollow = all;
    for ((hollow, closed), level) in hollow.data.iter_mut().zip(closed.data).zip(&medians.data) {
        *hollow = closed - level > (DEEP * noise).max(LEAST_SHARE * level).max(LEAST_LEVELS);
    }
    hollow
}

#[cfg(test)]
mod tests {
    use crate::photo::Pixels;
    use crate::segmentation::{find, prepare};

    /// Light of a pad that varies by three per cent within a few blocks on its right, as lamps behind a thin diffuser leave
    /// it, and is even on its left.
    fn light(x: f64, y: f64) -> f64 {
        228.0 + if x > 450.0 { 12.0 * (x / 17.0).sin() * (y / 19.0).cos() } else { 0.0 }
    }

    /// Centres of the tail fins of fish in a row.
    fn fins() -> Vec<[f64; 2]> {
        (0..4).map(|row| [260.0, 90.0 + 160.0 * f64::from(row)]).collect()
    }

    #[test]
    fn the_ground_does_not_sink_beneath_a_fin() {
        let painted = image::RgbImage::from_fn(900, 680, |x, y| {
            let (x, y) = (f64::from(x), f64::from(y));
            let left = fins().iter().fold(1.0, |left, [cx, cy]| {
                let (dx, dy) = (cx - x, y - cy);
                let body = (5.0..220.0).contains(&dx) && dy.abs() < 5.0 + 0.06 * dx;
                let fin = (dx / 20.0).hypot(dy / 22.0) < 1.0;
                left * if body {
                    0.75
                } else if fin {
                    0.988
                } else {
                    1.0
                }
            });
            // Dithered, so that whole grey levels do not hide a per cent.
            let dither = ((x * 0.754_877_67 + y * 0.569_840_29).fract() - 0.5) * 2.0;
            image::Rgb([(light(x, y) * left + dither).round() as u8; 3])
        });
        let mut ground = prepare(&Pixels::from_rgb(&painted));
        let sunk = |ground: &crate::segmentation::Ground| {
            let share = |[x, y]: [f64; 2]| {
                let (sx, sy) = ground.to_search(x, y);
                1.0 - f64::from(ground.luma.at(sx, sy)) / light(x, y)
            };
            fins().into_iter().map(share).sum::<f64>() / fins().len() as f64
        };
        let before = sunk(&ground);
        find(&mut ground);
        let after = sunk(&ground);
        assert!(before > 0.008, "before {before}, after {after}");
        assert!(after < 0.002, "before {before}, after {after}");
    }
}
