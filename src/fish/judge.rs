//! Fish or not: what a measured candidate shows, and the name of what it is when it is no fish.

use super::crop::Crop;
use super::likeness::Likeness;
use super::profile::{Eye, Profile};
use super::ribbon::{BEYOND, COLUMNS, Ribbon, SIDE};
use crate::imaging::path;
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
    /// Whether it is brighter than what is behind it.
    pub bright: bool,
}

/// Faintest trunk that is argued about, in standard deviations of the noise of a pixel; and the faintest eye that
/// speaks for a fainter one: of clear larvae the eye alone is plain.
const LEAST_STRENGTH: f64 = 3.0;
const LEAST_EYE_STRENGTH: f64 = 12.0;

impl Evidence {
    /// The readings in the order of the fields.
    pub fn values(&self) -> [f64; 15] {
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
            turn: path::total_turn(&path::smooth(&path::resample(line, 33), 2.0)),
            bright: crop.polarity == Polarity::BrightFish,
        }
    }

    /// Whether the stronger eye is where, and as large as, an eye can be.
    pub fn has_eye(&self) -> bool {
        self.eye >= 0.3 && self.eye_place <= 0.17 && (0.1..=0.95).contains(&self.eye_size)
    }

    /// Whether it is too short to be argued about: an eye would be a pixel.
    pub fn is_small(&self) -> bool {
        self.length < 24.0
    }

    /// Whether it is far longer than any fish is for its depth.
    pub fn is_line(&self) -> bool {
        self.aspect > 14.0
    }

    /// `None` for a fish, else the name of what it looks like instead.
    pub fn refuse(&self) -> Option<&'static str> {
        let faint = self.strength < LEAST_STRENGTH
            && !(self.has_eye() && self.strength * self.eye >= LEAST_EYE_STRENGTH);
        if self.is_small() || self.width < 2.0 || faint {
            return Some("too small or faint");
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
