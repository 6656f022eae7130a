//! Fish or not: what a measured candidate shows, and the name of what it is when it is no fish.

use super::crop::{Crop, PIXELS_SHARING_NOISE};
use super::likeness::Likeness;
use super::profile::{Eye, Profile};
use super::ribbon::{BEYOND, COLUMNS, Ribbon, SIDE};
use crate::imaging::path;
use crate::imaging::plane::quantile;
use crate::records::refusal;
use crate::segmentation::Polarity;

/// What a candidate shows, all in units that do not depend on the scale.
#[derive(Debug, Clone, Copy)]
pub struct Evidence {
    /// Length in crop pixels.
    pub length: f64,
    /// Greatest width in crop pixels.
    pub width: f64,
    /// Length over greatest width.
    pub aspect: f64,
    /// Mean width of the front third over that of the last third; the wider end counts as front.
    pub taper: f64,
    /// Contrast of the stronger eye, in trunk inks above the trunk.
    pub eye: f64,
    /// Diameter of that eye over the greatest width.
    pub eye_size: f64,
    /// Distance of that eye from the nearer end over the length.
    pub eye_place: f64,
    /// Share of the columns whose middle is ink.
    pub coverage: f64,
    /// Share of the body's pixels that the midline and its widths account for.
    pub explained: f64,
    /// Trunk ink in standard deviations of the noise.
    pub strength: f64,
    /// Ink of the middle rows over ink near the edges: below 1 for rings and shells.
    pub solid: f64,
    /// Probability of the head at the line's start.
    pub p_head: f64,
    /// Area of the body over the area of the circle round its length.
    pub roundness: f64,
    /// Total turn of the midline, radians.
    pub turn: f64,
    /// Greatest change of width over a twentieth of the length, in greatest widths: a speck on a fibre.
    pub step: f64,
    /// Share of the length whose width is within a fifth of the median: near 1 for a stroke or a fibre.
    pub even: f64,
    /// Ink of the last third over that of the front half, the wider end in front: the tail of a fish is clearer.
    pub fade: f64,
    /// Greatest turn of the midline within a tenth of the length, radians.
    pub kink: f64,
    /// Difference of the ink beside it on the left and on the right, in trunk inks: the edge of a plate or of a
    /// wall has another ground on either side, a fish lies on one.
    pub sides: f64,
    /// Whether it is brighter than what is behind it.
    pub bright: bool,
}

/// Faintest trunk that is argued about, in standard deviations of the noise of a pixel; and the faintest eye that
/// speaks for a fainter one, in standard deviations of its mean: of clear larvae, or in the noise of a dim light, the
/// eye alone is plain.
const LEAST_STRENGTH: f64 = 2.0;
const LEAST_EYE_STRENGTH: f64 = 12.0;
/// The faintest body beside the wall of a tray, of which pieces are left, and the thinnest: pieces are lines, round
/// corners (by trying, rendered trays).
const CLEAR: f64 = 3.0;
const THIN: f64 = 0.045;

/// Shortest thing that is argued about, crop pixels: the eye of a shorter fish would be a pixel.
pub const SMALL: f64 = 24.0;

impl Evidence {
    /// The readings in the order of the fields.
    pub fn values(&self) -> [f64; 20] {
        [
            self.length,
            self.width,
            self.aspect,
            self.taper,
            self.eye,
            self.eye_size,
            self.eye_place,
            self.coverage,
            self.explained,
            self.strength,
            self.solid,
            self.p_head,
            self.roundness,
            self.turn,
            self.step,
            self.even,
            self.fade,
            self.kink,
            self.sides,
            f64::from(u8::from(self.bright)),
        ]
    }

    /// Reads the evidence off a straightened candidate.
    pub fn gather(
        crop: &Crop,
        line: &[[f64; 2]],
        (ribbon, profile): (&Ribbon, &Profile),
        eyes: [Eye; 2],
        p_head: f64,
    ) -> Self {
        let length = ribbon.length;
        let width = f64::from(profile.greatest_width(0.03, 0.8)) * ribbon.step;
        let (front, back) = (
            f64::from(profile.mean_width(0.05, 0.35)).max(0.3),
            f64::from(profile.mean_width(0.65, 0.95)).max(0.3),
        );
        // A bubble at the end of a fibre looks like an eye.
        let eyes = eyes.map(|eye| {
            let at = (f64::from(eye.column) / COLUMNS as f64 * (line.len() - 1) as f64).round() as usize;
            let in_bubble = crop.bubbles.iter().any(|b| b.away(line[at.min(line.len() - 1)]) < b.reach);
            if in_bubble { Eye { contrast: 0.0, ..eye } } else { eye }
        });
        let stronger = if eyes[0].contrast >= eyes[1].contrast { eyes[0] } else { eyes[1] };
        let place = f64::from(stronger.column) / COLUMNS as f64;
        let inked = (0..=COLUMNS)
            .filter(|c| {
                ribbon.mean(c + BEYOND, 1).is_some_and(|v| v >= (0.5 * crop.threshold).max(1.5 * crop.noise))
            })
            .count();
        // Widths are read at half contrast, and so is the area they are held against.
        let dense = |(b, v): (&bool, &f32)| *b && *v >= 0.5 * crop.trunk;
        let area = crop.body().data.iter().zip(&crop.ink.data).filter(|p| dense(*p)).count() as f64;
        let swept: f64 =
            (0..COLUMNS).map(|c| f64::from(profile.width(c))).sum::<f64>() * ribbon.step * ribbon.step;
        let (mut middle, mut edge) = (0.0, 0.0);
        for c in COLUMNS / 10..COLUMNS * 8 / 10 {
            let (l, r) = (profile.left[c], profile.right[c]);
            let at = |row: f32| {
                ribbon.ink.at(c + BEYOND, (SIDE as f32 - row).clamp(0.0, 2.0 * SIDE as f32) as usize)
            };
            middle += at(0.5 * (l - r)).max(0.0);
            edge += 0.5 * (at(0.75 * l - 0.25 * r).max(0.0) + at(-0.75 * r + 0.25 * l).max(0.0));
        }
        let smoothed = path::smooth(&path::resample(line, 33), 2.0);
        let front_wider = profile.mean_width(0.05, 0.35) >= profile.mean_width(0.65, 0.95);
        let (dense_end, clear_end) = if front_wider {
            (profile.level(0.1, 0.5), profile.level(0.65, 0.95))
        } else {
            (profile.level(0.5, 0.9), profile.level(0.05, 0.35))
        };
        Self {
            length,
            width,
            aspect: length / width.max(0.5),
            taper: (front / back).max(back / front),
            eye: f64::from(stronger.contrast),
            eye_size: f64::from(stronger.diameter) * ribbon.step / width.max(0.5),
            eye_place: place.min(1.0 - place),
            coverage: inked as f64 / (COLUMNS + 1) as f64,
            explained: (swept / area.max(1.0)).min(2.0),
            strength: f64::from(crop.trunk / crop.noise),
            solid: f64::from(middle / edge.max(1e-6)),
            p_head,
            roundness: area / (std::f64::consts::FRAC_PI_4 * length * length),
            turn: path::total_turn(&smoothed),
            step: f64::from(steepest(profile)) * ribbon.step / width.max(0.5),
            even: evenness(profile),
            fade: f64::from((clear_end / dense_end.max(1e-6)).clamp(0.0, 3.0)),
            kink: sharpest(&smoothed),
            sides: (f64::from(sidedness(ribbon, profile)) / f64::from(crop.trunk.max(1e-6))).min(5.0),
            bright: crop.polarity == Polarity::BrightFish,
        }
    }

    /// Whether the stronger eye is where, and as large as, an eye can be.
    pub fn has_eye(&self) -> bool {
        self.eye >= 0.3 && self.eye_place <= 0.17 && (0.1..=0.95).contains(&self.eye_size)
    }

    /// Whether a body stands out with an eye where every fish shows one: less may be left of a straight wall.
    pub fn is_clear(&self) -> bool {
        self.strength >= CLEAR && self.roundness >= THIN && (self.bright || self.has_eye())
    }

    /// Contrast of the stronger eye in standard deviations of the mean over it: neighbouring crop pixels share their
    /// noise.
    fn eye_strength(&self) -> f64 {
        let area = std::f64::consts::FRAC_PI_4 * (self.eye_size * self.width).powi(2);
        self.strength * self.eye * (area / PIXELS_SHARING_NOISE).max(1.0).sqrt()
    }

    /// Whether it is too short to be argued about.
    pub fn is_small(&self) -> bool {
        self.length < SMALL
    }

    /// Whether it is far longer than any fish is for its depth.
    pub fn is_line(&self) -> bool {
        self.aspect > 14.0
    }

    /// Whether it is too small or too faint to be argued about.
    pub fn is_too_little(&self) -> bool {
        let eye_speaks = self.has_eye() && self.eye_strength() >= LEAST_EYE_STRENGTH;
        self.is_small() || self.width < 2.0 || self.strength < LEAST_STRENGTH && !eye_speaks
    }

    /// `None` for a fish, else the name of what it looks like instead.
    pub fn refuse(&self) -> Option<&'static str> {
        if self.is_too_little() {
            return Some(refusal::TOO_LITTLE);
        }
        // A fish taken for something else and something else taken for a fish cost about the same.
        (Likeness::standard().of(self) < 0.5).then(|| self.resembles())
    }

    /// The name of what something that is no fish looks like.
    fn resembles(&self) -> &'static str {
        if self.roundness > 0.4 || self.aspect < 3.2 {
            if self.solid < 0.8 { "bubble or shell" } else { "round thing" }
        } else if self.coverage < if self.has_eye() { 0.7 } else { 0.84 } {
            "broken line"
        } else if self.is_line() {
            "fibre or line"
        } else {
            "no head seen"
        }
    }
}

/// Greatest change of width between neighbouring twentieths of the length, rows; the rounded ends are left out.
fn steepest(profile: &Profile) -> f32 {
    const PART: usize = COLUMNS / 20;
    let mean = |from: usize| (from..from + PART).map(|c| profile.width(c)).sum::<f32>() / PART as f32;
    (2 * PART..COLUMNS - 4 * PART).map(|c| (mean(c) - mean(c + PART)).abs()).fold(0.0, f32::max)
}

/// Share of the columns, the ends left out, whose width is within a fifth of their median.
fn evenness(profile: &Profile) -> f64 {
    let widths: Vec<f32> = (COLUMNS / 20..COLUMNS * 19 / 20).map(|c| profile.width(c)).collect();
    let median = quantile(&mut widths.clone(), 0.5).unwrap_or(0.0);
    let near = widths.iter().filter(|w| (**w - median).abs() <= 0.2 * median).count();
    near as f64 / widths.len() as f64
}

/// Greatest turn between directions a tenth of the length apart, radians.
fn sharpest(line: &[[f64; 2]]) -> f64 {
    let tangents = path::tangents(line);
    let apart = (line.len() / 10).max(1);
    let turn =
        |a: &[f64; 2], b: &[f64; 2]| (a[0] * b[1] - a[1] * b[0]).atan2(a[0] * b[0] + a[1] * b[1]).abs();
    tangents.iter().zip(tangents.iter().skip(apart)).map(|(a, b)| turn(a, b)).fold(0.0, f64::max)
}

/// Median difference, along the body, of the ink a little outside its left and its right edge.
fn sidedness(ribbon: &Ribbon, profile: &Profile) -> f32 {
    let beside = |c: usize, edge: f32, sign: isize| {
        let first = (1.3 * edge + 3.0) as isize;
        let rows = (first..first + 6).filter(|r| *r < SIDE as isize);
        let values = rows
            .map(|r| ribbon.ink.at(c + BEYOND, (SIDE as isize + sign * r).unsigned_abs()))
            .filter(|v| v.is_finite());
        let (sum, n) = values.fold((0.0, 0), |(s, n), v| (s + v, n + 1));
        (n > 0).then(|| sum / n as f32)
    };
    let mut differences: Vec<f32> = (COLUMNS / 10..COLUMNS * 9 / 10)
        .filter_map(|c| Some((beside(c, profile.left[c], -1)? - beside(c, profile.right[c], 1)?).abs()))
        .collect();
    quantile(&mut differences, 0.5).unwrap_or(0.0)
}
