//! What no larva can be: results beyond these bounds are not given, and a scale that makes most fish impossible is
//! not used.

use crate::bladder::Ellipse;
use crate::fish::Fish;
use crate::scale::{Reason, Scale, Severity};
use crate::units::{Mm, Px};
use std::ops::RangeInclusive;

/// Total length of what this program scores, millimetres: the shortest newly hatched fry measure about 3
/// (from memory), and nobody scores fish of twice the length of the longest fry in a nursery tank (common practice, no
/// source).
const LENGTH_MM: RangeInclusive<f64> = 2.0..=60.0;
/// Greatest depth as a share of total length: 7 to 18 % in fry (from memory), a blurred or yolk-laden one is deeper.
const DEPTH: RangeInclusive<f64> = 0.04..=0.40;

/// The length in millimetres: the midline piece by piece at the scale where it lies, carried over to the
/// length measured along the smooth line.
pub(super) fn length_mm(scale: &Scale, fish: &Fish) -> Mm {
    let Px(length) = fish.total_length;
    let chords: f64 = fish.midline.windows(2).map(|w| (w[1][0] - w[0][0]).hypot(w[1][1] - w[0][1])).sum();
    let along = scale.length(&fish.midline).0;
    Mm(if chords > 0.0 { along * length / chords } else { 0.0 })
}

/// Why something is no fish that can be scored, by its shape and, with a scale, its size.
pub(super) fn impossible(fish: &Fish, scale: Option<&Scale>) -> Option<&'static str> {
    let share = fish.depth.0 / fish.total_length.0;
    if !DEPTH.contains(&share) {
        return Some(if share > *DEPTH.end() { "too deep for a fish" } else { "too thin for a fish" });
    }
    let length = length_mm(scale?, fish).0;
    if LENGTH_MM.contains(&length) {
        None
    } else if length > *LENGTH_MM.end() {
        Some("too long for a fry")
    } else {
        Some("too short for a fry")
    }
}

/// What to say of a scale that puts more than half of several fish beyond the bounds: then the scale is wrong, not
/// the fish.
pub(super) fn doubt(fish: &[Fish], scale: &Scale) -> Option<Reason> {
    let lengths: Vec<f64> = fish.iter().map(|f| length_mm(scale, f).0).collect();
    let beyond = lengths.iter().filter(|l| !LENGTH_MM.contains(l)).count();
    if beyond < 2 || 2 * beyond <= lengths.len() {
        return None;
    }
    let mut sorted = lengths.clone();
    sorted.sort_by(f64::total_cmp);
    Some(Reason {
        severity: Severity::Retake,
        flag: "scale_impossible",
        text: format!(
            "the scale is not used: at {:.4} mm a pixel the median fish would be {:.3} mm long; check it",
            scale.centre.get(),
            sorted[sorted.len() / 2],
        ),
    })
}

/// Whether a bladder lies within the body: between snout and tail, and no higher than the body is deep.
pub(super) fn inside_body(bladder: &Ellipse, fish: &Fish) -> bool {
    let half = 0.5 * bladder.length;
    bladder.position >= half
        && bladder.position + half <= 1.0
        && bladder.height <= fish.depth.0 / fish.total_length.0
}
