//! Where a line goes on beyond the body that was cut out: along the arc that holds most ink.
//!
//! Tails and their fins are too faint to be cut out with the trunk, and they bend. A line that is drawn on straight leaves
//! them after a few widths and ends there. So the line's last part is held against a fan of arcs that leave it with some
//! turn and curvature; the fullest one leads it on where it holds surely more than the straight one does, and more than
//! the ground beside.

use super::crop::{Crop, PIXELS_SHARING_NOISE};
use crate::imaging::path;
use crate::imaging::plane::quantile;
use crate::segmentation::Polarity;

/// Where arcs leave the line, before its end, and how far they go beyond it, as shares of its length.
const LEAVE: f64 = 0.04;
const REACHES: [f64; 2] = [0.16, 0.08];
/// The direction of the line there is that over this share of its length.
const DIRECTION: f64 = 0.1;
/// Half-width of the band that is averaged along an arc, as a share of the length: fins of larvae and young fish are twice
/// as wide to each side (from memory).
const HALF_WIDTH: f64 = 0.012;
/// Turns of the fan where it leaves the line, in radians, and curvatures, in radians to a length of the line: a fish bent
/// by 120 degrees in the half of its length has 4.
const TURNS: [f64; 3] = [0.0, -0.15, 0.15];
const CURVATURES: [f64; 13] = [0.0, -1.0, 1.0, -2.0, 2.0, -3.0, 3.0, -4.0, 4.0, -5.0, 5.0, -6.0, 6.0];
/// Turns of straight arcs so far aside that they lie on bare ground.
const ASIDE: [f64; 4] = [-0.9, -0.6, 0.6, 0.9];
/// The fullest arc holds more than the straight one, and than the ground, by so many standard errors of their difference
/// (by trying, rendered fish).
const SURELY: f32 = 3.0;

/// The line led on at its start and its end, where that is `free` of other fish and an arc holds more ink than the straight
/// way and no point that is `closed`, and by how much, crop pixels.
pub fn led_on(
    crop: &Crop,
    line: &[[f64; 2]],
    free: [bool; 2],
    closed: impl Fn(&[f64; 2]) -> bool,
) -> ([f64; 2], Vec<[f64; 2]>) {
    let mut line = line.to_vec();
    // A shadow would pass for a tail, and on a dark ground a fibre, which is as bright as one.
    if crop.shadows || crop.polarity == Polarity::BrightFish {
        return ([0.0; 2], line);
    }
    let length = path::length(&line);
    let led = free.map(|free| {
        line.reverse();
        if !free {
            return 0.0;
        }
        let longer =
            REACHES.into_iter().find_map(|reach| Some((reach, onward(crop, &line, reach, &closed)?)));
        longer.map_or(0.0, |(reach, longer)| {
            line = longer;
            reach * length
        })
    });
    (led, line)
}

/// The line led on at its end where an arc holds more ink than the straight way; `None` where none surely does.
fn onward(
    crop: &Crop,
    line: &[[f64; 2]],
    reach: f64,
    closed: &impl Fn(&[f64; 2]) -> bool,
) -> Option<Vec<[f64; 2]>> {
    let fan = Fan::new(crop, line, reach)?;
    let bare = ASIDE.map(|turn| fan.ink(&fan.arc(turn, 0.0)));
    let mut ground: Vec<f32> = bare.into_iter().filter(|v| v.is_finite()).collect();
    let ground = quantile(&mut ground, 0.5)?;
    let straight = fan.ink(&fan.arc(0.0, 0.0));
    let arcs = TURNS.into_iter().flat_map(|turn| CURVATURES.into_iter().map(move |k| (turn, k)));
    let arcs = arcs.map(|(turn, k)| fan.arc(turn, k));
    let best = arcs.map(|arc| (fan.ink(&arc), arc)).filter(|(ink, _)| ink.is_finite());
    let (most, arc) = best.max_by(|a, b| a.0.total_cmp(&b.0))?;
    let sure = SURELY * fan.error;
    let holds = most - ground > sure.max(crop.faintest) && (!straight.is_finite() || most - straight > sure);
    (holds && !arc.iter().any(closed)).then(|| fan.led(line, arc))
}

/// The arcs that may lead a line on.
struct Fan<'a> {
    crop: &'a Crop,
    /// Where they leave the line, the direction it has there in radians, its length, and how far they reach, crop pixels.
    from: [f64; 2],
    heading: f64,
    length: f64,
    reach: f64,
    /// Ink that counts at most: a fibre or speck is denser than the tail, and so counts no more than it.
    most: f32,
    /// Standard error of the difference of two means along arcs.
    error: f32,
}

/// Crop pixels from one reading to the next along and across an arc.
const STEP: f64 = 2.0;

impl<'a> Fan<'a> {
    fn new(crop: &'a Crop, line: &[[f64; 2]], reach: f64) -> Option<Self> {
        let length = path::length(line);
        let steps = line.len() - 1;
        let back = |share: f64| steps.checked_sub(((share * steps as f64).round() as usize).max(1));
        let (leave, before) = (back(LEAVE)?, back(LEAVE + DIRECTION)?);
        let (from, behind) = (line[leave], line[before]);
        let heading = (from[1] - behind[1]).atan2(from[0] - behind[0]);
        let mut tail: Vec<f32> = line[before..=leave].iter().map(|p| crop.ink.bilinear(p[0], p[1])).collect();
        let most = quantile(&mut tail, 0.5)?.min(crop.trunk).max(crop.faintest).max(crop.noise);
        let pixels = reach * length * (2.0 * HALF_WIDTH * length).max(1.0);
        let error = crop.noise * (2.0 / (pixels / PIXELS_SHARING_NOISE).max(1.0)).sqrt() as f32;
        Some(Self { crop, from, heading, length, reach: (LEAVE + reach) * length, most, error })
    }

    /// Points along the arc of `curvature` that leaves the line by `turn`, `STEP` apart.
    fn arc(&self, turn: f64, curvature: f64) -> Vec<[f64; 2]> {
        let mut at = self.from;
        let turn_to_a_step = curvature * STEP / self.length;
        (0..=(self.reach / STEP) as usize)
            .map(|i| {
                let here = at;
                let way = self.heading + turn + (i as f64 + 0.5) * turn_to_a_step;
                at = [at[0] + STEP * way.cos(), at[1] + STEP * way.sin()];
                here
            })
            .collect()
    }

    /// Mean ink of the band along an arc beyond the line's end; not a number where most of it may not be this body's.
    fn ink(&self, arc: &[[f64; 2]]) -> f32 {
        let rows = (HALF_WIDTH * self.length / STEP).round() as i32;
        let (mut sum, mut n, mut all) = (0.0, 0, 0);
        for w in arc.windows(2).skip((LEAVE * self.length / STEP) as usize) {
            let along = [(w[1][0] - w[0][0]) / STEP, (w[1][1] - w[0][1]) / STEP];
            for row in -rows..=rows {
                let aside = f64::from(row) * STEP;
                let (x, y) = (w[0][0] - aside * along[1], w[0][1] + aside * along[0]);
                all += 1;
                if self.crop.allowed.nearest_or(x, y, false) {
                    sum += self.crop.ink.nearest_or(x, y, 0.0).clamp(-self.most, self.most);
                    n += 1;
                }
            }
        }
        if 2 * n > all { sum / n as f32 } else { f32::NAN }
    }

    /// `line` up to where the arc leaves it, and the arc.
    fn led(&self, line: &[[f64; 2]], arc: Vec<[f64; 2]>) -> Vec<[f64; 2]> {
        let kept = line.iter().take_while(|p| **p != self.from).copied();
        path::resample(&kept.chain(arc).collect::<Vec<_>>(), line.len())
    }
}
