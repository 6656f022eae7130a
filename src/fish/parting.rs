//! One body to the fish that share it: whether it is taken apart, by heads or by the ink of trunks, or stays one.

use super::crop::Crop;
use super::heads::Head;
use super::measure::{Case, Outcome};
use super::midline::{first_way, thick_way, way_from};
use super::separate::{FromHead, by_heads, by_level};
use super::straight::SNOUT_LENGTH;
use super::{Fish, Flag};
use crate::imaging::path;
use crate::segmentation::Polarity;

/// A body whose midline and widths account for less of it than this holds more than one thing.
pub(super) const WHOLE: f64 = 0.8;

/// The outcomes of a body that followed as a whole gives `one`: one for each fish where the evidence parts them, else
/// that one, flagged where several heads share it.
pub(super) fn part(case: Case, crop: &Crop, one: Outcome) -> Vec<Outcome> {
    let parts = parted(case, crop, one);
    let lost: Vec<bool> = (0..parts.len()).map(|i| loses_its_tail(&parts, i)).collect();
    parts.into_iter().zip(lost).map(|(part, lost)| if lost { overlapping(part) } else { part }).collect()
}

/// The same, tails that end at another fish not yet looked at.
fn parted(case: Case, crop: &Crop, one: Outcome) -> Vec<Outcome> {
    let polarity = case.ground.polarity;
    let by_heads = by_heads(crop);
    let face_to_face = if by_heads.apart { None } else { by_heads.face_to_face(crop) };
    let meet = face_to_face.is_some();
    let several = face_to_face.unwrap_or(by_heads);
    let one = from_its_head(case, crop, one, &several.heads);
    let whole = is_whole(&one);
    let (mut passes_another, mut another_eye) = (false, false);
    // A piece of gut, a globule or a bladder that passes for a head lies on the midline of a body that is all one fish.
    let (mut heads, mut sure) = (several.heads.len(), several.heads.iter().filter(|h| h.sure).count());
    if let Outcome::Fish(fish, _) = &one
        && whole
    {
        let (within, without): (Vec<&Head>, Vec<&Head>) =
            several.heads.iter().partition(|h| inside_body(fish, crop, h));
        let within: Vec<&Head> =
            within.into_iter().filter(|h| !without.iter().any(|own| h.twin(own))).collect();
        passes_another = without.iter().any(|h| h.sure && is_of_another(fish, crop, h));
        another_eye = polarity == Polarity::DarkFish
            && within.iter().any(|h| h.sure && without.iter().any(|own| h.as_dark_as(own)));
        heads -= within.len().min(heads.saturating_sub(1));
        sure -= within.iter().filter(|h| h.sure).count().min(sure.saturating_sub(1));
    }
    let follow = || -> Vec<Outcome> {
        several.ways.iter().filter_map(|way| from_head(case, crop, way, &several.heads)).collect()
    };
    // Where fish meet with their snouts, a line from tail to tail has no head at its ends.
    let several_heads = if meet { !convincing(&one) } else { heads > 1 };
    let mut seen = if several.apart && several_heads { follow() } else { Vec::new() };
    if seen.len() > 1 && seen.len() == several.ways.len() {
        return seen;
    }
    if !whole || sure > 1 {
        let parts: Vec<Crop> = by_level(crop);
        // On a bright ground every fish shows its head; the dense parts of one fish do not.
        let each_has_a_head = polarity == Polarity::BrightFish
            || parts.iter().all(|part| several.heads.iter().any(|h| part.owns(h.at)));
        let parts: Vec<Outcome> = parts
            .iter()
            .filter_map(|part| {
                let outcome = case.follow(part, &first_way(part)?, ANYWHERE);
                let shared = several.heads.iter().filter(|h| h.sure && part.owns(h.at)).count() > 1;
                Some(if shared { overlapping(outcome) } else { outcome })
            })
            .collect();
        // A crossing falls into pieces of fish: then every part must be one.
        let fish = parts.iter().filter(|o| convincing(o)).count();
        if each_has_a_head && fish > 1 && (sure < 2 || fish == parts.len()) {
            return parts;
        }
    }
    if sure > 1 && !several.apart {
        seen = follow();
    }
    // What is seen of each fish is said, though none of it counts.
    if sure > 1 && (seen.len() > 1 || !seen.is_empty() && matches!(one, Outcome::Refused(..))) {
        return seen.into_iter().map(overlapping).collect();
    }
    let one = if whole || sure > 1 { one } else { longer_where_thick(case, crop, &one).unwrap_or(one) };
    vec![match one {
        one if sure > 1 || passes_another => overlapping(one),
        one if another_eye => flagged(one, Flag::HeadUncertain),
        one => one,
    }]
}

/// Greatest taper of a fish that shows its tail (by trying, rendered fish).
const TAPER: f64 = 0.38;
/// Distance from another fish's midline, in that fish's depths, within which a tail may go on under it.
const UNDER: f64 = 1.3;

/// Whether fish `i` of a body ends at another one, which hides its tail.
fn loses_its_tail(parts: &[Outcome], i: usize) -> bool {
    let Outcome::Fish(own, _) = &parts[i] else { return false };
    let mut others = parts.iter().enumerate().filter(|(k, _)| *k != i);
    others.any(|(_, part)| matches!(part, Outcome::Fish(other, _) if goes_on_under(own, other)))
}

/// Whether a fish is still deep where it should have tapered, and ends at another.
fn goes_on_under(own: &Fish, other: &Fish) -> bool {
    let Some(end) = own.midline.last() else { return false };
    let gaps = other.midline.iter().map(|q| (q[0] - end[0]).hypot(q[1] - end[1]));
    own.taper() > TAPER && gaps.fold(f64::INFINITY, f64::min) < UNDER * other.depth.0
}

/// Ink of the trunk, in standard deviations of the noise, from which on a body has thick parts: haze has none (by trying, rendered
/// fish).
const PLAIN: f32 = 10.0;

/// The fish that the way through the thick parts of a body leads along, where that is longer than `one`, is all of the body
/// and shows its head.
fn longer_where_thick(case: Case, crop: &Crop, one: &Outcome) -> Option<Outcome> {
    if crop.trunk < PLAIN * crop.noise {
        return None;
    }
    let other = case.follow(crop, &thick_way(crop)?, None);
    let length = |outcome: &Outcome| match outcome {
        Outcome::Fish(_, evidence) | Outcome::Refused(_, Some((evidence, _))) => evidence.length,
        Outcome::Refused(_, None) => 0.0,
    };
    (is_whole(&other) && convincing(&other) && length(&other) > length(one)).then_some(other)
}

/// Whether what was measured is a fish that accounts for its body.
fn is_whole(outcome: &Outcome) -> bool {
    explained(outcome) >= WHOLE
}

/// Share of a body that the fish measured in it accounts for; 0 for none.
fn explained(outcome: &Outcome) -> f64 {
    if let Outcome::Fish(_, e) = outcome { e.explained } else { 0.0 }
}

/// The fish that follows from the way of one head among others, flagged where its tail lies hidden: it ends there, while the
/// bodies go on. `None` where that is no fish that shows its eye, or whose snout is at that head: one with the eye of another, as
/// those of fish and not pigment are.
fn from_head(case: Case, crop: &Crop, way: &FromHead, heads: &[Head]) -> Option<Outcome> {
    let before = (0.5 + SNOUT_LENGTH) * way.head.eye;
    let after = if way.hidden { 0.0 } else { FAINT_TAIL * path::length(&way.line) };
    let part = case.follow(crop, &way.line, Some([before, after]));
    let Outcome::Fish(fish, evidence) = &part else { return None };
    let ([x, y], [sx, sy]) = (crop.to_photo(way.head.at), fish.midline[0]);
    let others = || heads.iter().filter(|other| other.at != way.head.at);
    let has_twin = || others().any(|other| other.twin(&way.head));
    let at_head = (x - sx).hypot(y - sy) <= before * crop.bin as f64;
    // A line that leads over another's eye may have gone on along the other.
    let over_another = || others().any(|other| other.sure && on_midline(fish, crop, other).is_some());
    let doubtful = way.hidden || over_another();
    (evidence.has_eye() || at_head && has_twin()).then(|| if doubtful { overlapping(part) } else { part })
}

/// Whether a fish shows its head.
fn convincing(outcome: &Outcome) -> bool {
    matches!(outcome, Outcome::Fish(_, e) if e.has_eye())
}

/// `one`, or where a fibre led its line past the only head, on a bright ground, what follows from that head; flagged where
/// that is no fish that accounts for the body.
fn from_its_head(case: Case, crop: &Crop, one: Outcome, heads: &[Head]) -> Outcome {
    let (Outcome::Fish(fish, _), [head]) = (&one, heads) else { return one };
    if case.ground.polarity == Polarity::BrightFish || !is_off(fish, crop, head) {
        return one;
    }
    let reach = Some([(0.5 + SNOUT_LENGTH) * head.eye, f64::INFINITY]);
    let again = way_from(crop, head.at).map(|way| case.follow(crop, &way, reach));
    again.filter(|o| convincing(o) && is_whole(o)).unwrap_or_else(|| overlapping(one))
}

/// Whether what passes for a head lies on the midline between head and tail of a fish, well inside its body: where a
/// fish touches another's tail with its snout, the body is narrow in front of the eye.
fn inside_body(fish: &Fish, crop: &Crop, head: &Head) -> bool {
    on_midline(fish, crop, head).is_some_and(|at| !at_joint(fish, crop, head, at))
}

/// The point of the midline between head and tail that what passes for a head lies on.
fn on_midline(fish: &Fish, crop: &Crop, head: &Head) -> Option<usize> {
    let p = crop.to_photo(head.at);
    let n = fish.midline.len();
    let (nearest, gap) = fish
        .midline
        .iter()
        .map(|q| (q[0] - p[0]).hypot(q[1] - p[1]))
        .enumerate()
        .min_by(|a, b| a.1.total_cmp(&b.1))
        .unwrap_or((0, f64::INFINITY));
    ((n / 6..n * 3 / 4).contains(&nearest) && gap < 0.35 * fish.depth.0).then_some(nearest)
}

/// Distance from the snout, as a share of the length, from which on a head is another's, and least diameter of its eye: one
/// is about 5 % of the length of a larva (from memory), pigment smaller.
const FAR: f64 = 0.3;
const LARGE: f64 = 0.03;

/// Whether a head belongs to another fish than the one whose line passes it: that one's own is at its snout, however pale.
fn is_of_another(fish: &Fish, crop: &Crop, head: &Head) -> bool {
    let (p, snout, length) = (crop.to_photo(head.at), fish.midline[0], fish.total_length.0);
    (p[0] - snout[0]).hypot(p[1] - snout[1]) > FAR * length && head.eye * crop.bin as f64 > LARGE * length
}

/// Least distance of an eye from the line of its fish that says it is not the head of that line, in its diameters.
const OFF: f64 = 1.3;

/// Whether the only head of a body lies off the line that was followed through it.
fn is_off(fish: &Fish, crop: &Crop, head: &Head) -> bool {
    let p = crop.to_photo(head.at);
    let gap = fish.midline.iter().map(|q| (q[0] - p[0]).hypot(q[1] - p[1])).fold(f64::INFINITY, f64::min);
    gap > OFF * head.eye * crop.bin as f64
}

/// How far from an eye two fish that touch head to tail are joined, in its diameters.
const JOINT: f64 = 3.0;
/// Depth of the body at a joint, as a share of the lesser of the greatest depths on its two sides.
const NARROW: f32 = 0.55;

/// Whether the body is narrow near a head that lies at point `at` of the midline, and deep again on both sides.
fn at_joint(fish: &Fish, crop: &Crop, head: &Head, at: usize) -> bool {
    let depths: Vec<f32> = fish
        .midline
        .iter()
        .map(|p| {
            let [x, y] = crop.in_crop(*p);
            crop.depth().bilinear(x, y)
        })
        .collect();
    let step = fish.total_length.0 / (depths.len() - 1) as f64;
    let reach = (JOINT * head.eye * crop.bin as f64 / step).round() as usize;
    let greatest = |part: &[f32]| part.iter().copied().fold(0.0, f32::max);
    (at.saturating_sub(reach)..(at + reach).min(depths.len() - 1)).any(|i| {
        let (before, behind) = depths.split_at(i);
        depths[i] < NARROW * greatest(before).min(greatest(behind))
    })
}

/// Longest tail fin, too faint for the body that was cut out, behind the way of a fish among others, as a share of it.
const FAINT_TAIL: f64 = 0.15;

/// No bound on how far a separated fish goes on.
const ANYWHERE: Option<[f64; 2]> = Some([f64::INFINITY; 2]);

/// The same outcome, with the flag that another fish hides part of it.
pub(super) fn overlapping(outcome: Outcome) -> Outcome {
    flagged(outcome, Flag::Overlap)
}

/// The same outcome with one more flag.
fn flagged(mut outcome: Outcome, flag: Flag) -> Outcome {
    if let Outcome::Fish(fish, _) = &mut outcome {
        fish.flag(flag);
    }
    outcome
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::records::View;
    use crate::units::Px;

    /// A straight fish from its snout along x, of a length, whose depth is given along it.
    fn fish([x, y]: [f64; 2], length: f64, depth: impl Fn(f64) -> f64) -> Fish {
        let stations = || (0..=40).map(|k| f64::from(k) / 40.0);
        let side = |s: f64, sign: f64| [x + s * length, y + sign * 0.5 * depth(s)];
        Fish {
            midline: stations().map(|s| [x + s * length, y]).collect(),
            outline: stations()
                .map(|s| side(s, -1.0))
                .chain(stations().rev().map(|s| side(s, 1.0)))
                .collect(),
            total_length: Px(length),
            length_se: Px(1.0),
            depth: Px(stations().map(&depth).fold(0.0, f64::max)),
            head_depth: Px(depth(0.1)),
            view: View::Side,
            p_head: 1.0,
            blur: Px(1.0),
            flags: vec![Flag::Separated],
            use_length: true,
            use_call: true,
            vessel: None,
            back_left: true,
            reference: 0.0,
        }
    }

    /// A larva of 200 px that ends at another's head is whole; what is left of one whose last 70 px lie under that head is not,
    /// and is whole again where no other fish is near: it may be a stout one.
    #[test]
    fn a_tail_under_another_head_is_lost() {
        let taper = |s: f64| 30.0 - 25.0 * s;
        let whole = fish([100.0, 100.0], 200.0, taper);
        let rest = fish([100.0, 100.0], 130.0, |s| taper(s * 130.0 / 200.0));
        approx::assert_relative_eq!(whole.depth_at(0.8).0, 10.0, epsilon = 1e-9);
        let at = |x: f64| fish([x, 100.0], 200.0, taper);
        assert!(!goes_on_under(&whole, &at(305.0)));
        assert!(goes_on_under(&rest, &at(235.0)));
        assert!(!goes_on_under(&rest, &at(400.0)));
    }
}
