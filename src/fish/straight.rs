//! The body straightened from snout to tail fin, and where its head is.

use super::crop::Crop;
use super::ends::{End, snout, tail_margin};
use super::midline::{between, widths};
use super::profile::{Eye, Profile, eye, eye_within, head_at_start};
use super::ribbon::{COLUMNS, Ribbon, Sums};
use crate::segmentation::Polarity;

/// A snout is moved when it is off by more, and cut when it is too long by less, than these shares of the length.
const LONG_SNOUT: f64 = 0.004;
const LONGEST_SNOUT: f64 = 0.15;
/// A snout that would lie farther beyond the line, as a share of the length, is not of this body.
const SHORT_SNOUT: f64 = 0.04;
/// Contrast of an eye that is sure.
const SURE_EYE: f32 = 0.5;
/// Where its centre lies from the line's start at most, as shares of the length, looked at in turn.
const EYE_PLACES: [f64; 3] = [0.07, 0.12, 0.17];
/// Longest snout before the eye, in diameters of the eye: a third to one in larvae and young fish (from memory); measured
/// diameters are of the opaque part.
pub(super) const SNOUT_LENGTH: f64 = 1.4;

/// Contrast of an eye so plain that it is one where none lies before it: what goes on there, along a wall or a fibre, is no
/// head (by trying, rendered fish).
const PLAIN_EYE: f32 = 5.0;
/// Farthest such an eye is looked for, as a share of the length, and its size, as a share of the body's width there: gut
/// is longer than wide.
const PLAIN_EYE_REACH: f64 = 0.45;
const PLAIN_EYE_SIZE: std::ops::RangeInclusive<f32> = 0.15..=0.95;

/// Least contrast of a spot that is the eye where no other is, and how far from the start of the line, as a share of the
/// length, it lies behind something that is no head (by trying, rendered fish).
const ONLY_EYE: f32 = 1.0;
const BEHIND_HEAD: f64 = 0.2;

/// A body straightened, with what is read off it.
pub struct Straight {
    pub line: Vec<[f64; 2]>,
    pub ribbon: Ribbon,
    sums: Sums,
    pub profile: Profile,
    pub eyes: [Eye; 2],
    pub p_start: f64,
    polarity: Polarity,
}

impl Straight {
    /// Straightens the crop along `line`; where others share it, `separated`, the body is no wider than it mostly is.
    pub fn new(crop: &Crop, line: Vec<[f64; 2]>, separated: bool) -> Self {
        let polarity = crop.polarity;
        let ribbon = Ribbon::new(crop, &line);
        let profile = Profile::read(crop, &ribbon, &widths(crop, &line, separated));
        let sums = ribbon.sums();
        let eyes = [false, true].map(|end| eye(&ribbon, &sums, &profile, polarity, end));
        let p_start = head_at_start(&eyes[0], &eyes[1], &profile);
        Self { line, ribbon, sums, profile, eyes, p_start, polarity }
    }

    /// The body from the tip of its snout to the margin of its tail fin, the head at the start, and its ends there; `ends`
    /// are those of the line as it is.
    pub fn ended_at_its_tips(self, crop: &Crop, ends: [End; 2], separated: bool) -> (Self, [End; 2]) {
        let [mut first, mut last] = ends;
        let mut body = self;
        if body.p_start < 0.5 {
            body = body.reversed();
            (first, last) = (last, first);
        }
        let head = snout(crop, &body.ribbon);
        let too_long = head.arc / body.ribbon.length;
        // A shadow or haze before the snout is no part of it; what is far longer is another body.
        let moved = too_long.abs() > LONG_SNOUT && (-SHORT_SNOUT..LONGEST_SNOUT).contains(&too_long);
        let start = (if moved { head.arc } else { 0.0 }).max(body.farthest_snout());
        let moved = moved || start > LONG_SNOUT * body.ribbon.length;
        let end = tail_margin(crop, &body.ribbon);
        if moved || end > body.ribbon.length {
            body = Self::new(crop, between(&body.line, start, end), separated);
        }
        if moved {
            first = head;
        }
        (body, [first, last])
    }

    /// The strongest spot within a share of the line from its start.
    fn eye_within(&self, reach: f64) -> Eye {
        let Self { ribbon, sums, profile, polarity, .. } = self;
        eye_within(ribbon, sums, profile, *polarity, false, (reach * COLUMNS as f64) as usize)
    }

    /// Arc length before which no snout can lie, given the eye at the line's start; 0 where no eye is sure.
    fn farthest_snout(&self) -> f64 {
        if self.polarity == Polarity::BrightFish {
            return 0.0;
        }
        let eye = self.eye_at_snout().or_else(|| {
            let far = self.eye_within(PLAIN_EYE_REACH);
            let at = (far.column as usize).min(COLUMNS);
            let size = far.diameter / (self.profile.left[at] + self.profile.right[at]).max(1.0);
            (far.contrast >= PLAIN_EYE && PLAIN_EYE_SIZE.contains(&size)).then_some(far)
        });
        let Some(eye) = eye else { return 0.0 };
        let before = (0.5 + SNOUT_LENGTH) * f64::from(eye.diameter);
        ((f64::from(eye.column) - before) * self.ribbon.step).max(0.0)
    }

    /// The foremost sure eye where eyes lie: gut and bladders behind it may be darker.
    fn eye_at_snout(&self) -> Option<Eye> {
        EYE_PLACES.into_iter().map(|reach| self.eye_within(reach)).find(|eye| eye.contrast >= SURE_EYE)
    }

    /// Whether the only eye of a body on a bright ground, where every fish shows one, lies so far back that a shell or a fibre
    /// must lie before the snout.
    pub fn begins_before_its_head(&self) -> bool {
        let [eye, _] = self.eyes;
        self.polarity == Polarity::DarkFish
            && eye.contrast >= ONLY_EYE
            && f64::from(eye.column) > BEHIND_HEAD * COLUMNS as f64
            && self.eye_at_snout().is_none()
    }

    /// The same body walked the other way.
    fn reversed(mut self) -> Self {
        self.line.reverse();
        let [start, end] = self.eyes;
        let ribbon = self.ribbon.reversed();
        Self {
            line: self.line,
            sums: ribbon.sums(),
            ribbon,
            profile: self.profile.reversed(),
            eyes: [end.reversed(), start.reversed()],
            p_start: 1.0 - self.p_start,
            polarity: self.polarity,
        }
    }
}
