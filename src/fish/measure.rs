//! One candidate to one fish, or to the reason why it is none.

use super::borders::{along_edge, at_edge, at_wall, ends_at_bubble, ends_at_glint, ends_at_wall, within};
use super::crop::Crop;
use super::ends::{ends, snout, tail_margin};
use super::exposure::{bare_is_clipped, tail_is_clipped, trunk_is_clipped};
use super::judge::{Evidence, SMALL};
use super::midline::{between, centre, first_way, half_widths, without_kinks};
use super::onward::led_on;
use super::parting::part;
use super::profile::{Eye, Profile, blur, eye, eye_within, head_at_start, view};
use super::ribbon::{COLUMNS, Ribbon, SIDE, Sums};
use super::strip::straighten;
use super::{Fish, Flag};
use crate::imaging::path;
use crate::photo::Pixels;
use crate::records::{View, refusal};
use crate::segmentation::{Candidate, Found, Ground, Polarity, Refused, box_of};
use crate::units::Px;

/// What became of a candidate.
#[derive(Debug)]
pub enum Outcome {
    /// A fish.
    Fish(Box<Fish>, Evidence),
    /// Something else.
    Refused(Refused, Option<(Evidence, Vec<[f64; 2]>)>),
}

/// Midline points of a measured fish.
const MIDLINE_POINTS: usize = 65;
/// Outline stations along each side.
const OUTLINE_STATIONS: usize = 48;
/// Times the ends are looked for while they keep moving out.
const MOST_ROUNDS: usize = 6;
/// How far a line must grow at an end, as a share of its length, to be looked at again.
const LONGER: f64 = 0.04;
/// How far it may grow in one look, as a share of its length, where its end is so strong that the next look will see it
/// again: a tail that bends is left by more (by trying, rendered fish).
const FARTHEST: f64 = 0.1;
const PLAIN: f32 = 6.0;
/// What is cut off behind a kink may be a fibre or the fish's own sharply bent tail: of a length that lost a larger share, the
/// ends are not known (by trying, rendered fish).
const MOST_CUT_OFF: f64 = 0.03;
/// Share of a length that was led on round bends, from which on it may be a fibre's: it does not count (by trying, rendered
/// fish).
const MOST_LED: f64 = 0.15;
/// Strength of an end, in standard deviations of the noise, from which on a line is followed to it: where less seems to go
/// on, the length does not count.
const SEEN: f32 = 3.0;
/// A snout is moved when it is off by more, and cut when it is too long by less, than these shares of the length.
const LONG_SNOUT: f64 = 0.004;
const LONGEST_SNOUT: f64 = 0.15;
/// A snout that would lie farther beyond the line, as a share of the length, is not of this body.
const SHORT_SNOUT: f64 = 0.04;
/// Where the noise hides what has less ink than this share of the trunk's, the tail may go on unseen: the last part of
/// the trunk has about a third of it, the fin a fifth and less (rendered fish).
const UNSEEN: f32 = 0.2;
/// Share of a line without an eye that lies along unlit ground or the frame, from which on it is the edge itself (by
/// trying, rendered pads).
const ALONG_EDGE: f64 = 0.5;
/// Total turn beyond which a midline is not trusted, in radians (200 degrees).
const COILED: f64 = 3.5;

/// Shares of the least length of a fish: what is shorter, as a way through the body that was cut out, or as the ends in
/// the ink along it say, is not followed further. Specks are many, and the last pixels at the tips make no fish of them.
const LEAST_WAY: f64 = 0.5;
const LEAST_FOUND: f64 = 0.8;

/// Measures one candidate: one outcome, or one for each fish when several were taken apart.
pub fn measure(pixels: &Pixels, ground: &Ground, found: &Found, candidate: &Candidate) -> Vec<Outcome> {
    let case = Case { pixels, ground, found, candidate };
    let Some(crop) = Crop::cut(pixels, ground, &found.labels, candidate) else {
        return vec![case.refused(refusal::TOO_LITTLE, None)];
    };
    let way = first_way(&crop).filter(|way| path::length(way) >= LEAST_WAY * SMALL);
    let Some(way) = way else {
        return vec![case.refused(refusal::TOO_LITTLE, None)];
    };
    let one = case.follow(&crop, &way, None);
    let room_for_two = match &one {
        Outcome::Fish(..) => true,
        Outcome::Refused(_, seen) => seen.as_ref().is_some_and(|(e, _)| !e.is_small()),
    };
    if !room_for_two {
        return vec![one];
    }
    part(case, &crop, one)
}

/// What a candidate is measured against.
#[derive(Clone, Copy)]
pub(super) struct Case<'a> {
    pixels: &'a Pixels,
    pub(super) ground: &'a Ground,
    found: &'a Found,
    candidate: &'a Candidate,
}

impl Case<'_> {
    fn refused(self, reason: &'static str, evidence: Option<(Evidence, Vec<[f64; 2]>)>) -> Outcome {
        Outcome::Refused(Refused { outline: box_of(self.ground, &self.candidate.region), reason }, evidence)
    }

    /// Why a line is that of no fish; `None` for a fish.
    fn refusal(self, crop: &Crop, line: &[[f64; 2]], evidence: &Evidence) -> Option<&'static str> {
        let Self { pixels, ground, candidate, .. } = self;
        if let Some(reason) = evidence.refuse() {
            // What is long and all beside a wall is more of it.
            return Some(if candidate.beside_wall && evidence.is_line() { refusal::WALL } else { reason });
        }
        if candidate.beside_edge && !evidence.is_clear() {
            // What is left of corners and edges of trays.
            return Some(refusal::WALL);
        }
        let shows_eyes = ground.polarity == Polarity::DarkFish;
        if shows_eyes && !evidence.has_eye() && along_edge(pixels, ground, crop, line) > ALONG_EDGE {
            return Some("edge of the light");
        }
        at_edge(pixels, crop, line).into_iter().all(|end| end).then_some("cut at both ends")
    }

    /// Follows one way through the crop and measures the fish along it. Where others share the crop, `reach` says
    /// how far the fish may go on before the way's start and behind its end, crop pixels.
    pub(super) fn follow(self, crop: &Crop, way: &[[f64; 2]], reach: Option<[f64; 2]>) -> Outcome {
        let separated = reach.is_some();
        let [mut before, mut after] = reach.unwrap_or([f64::INFINITY; 2]);
        let Self { pixels, ground, found, .. } = self;
        let small = || self.refused(refusal::TOO_LITTLE, None);
        let widths = |line: &[[f64; 2]]| {
            let half = half_widths(crop, line);
            if separated { narrowed(half) } else { half }
        };
        let mut line = centre(crop, way, &widths(way), !separated);
        // A faint tail may be found well beyond the body that was cut out: follow it, bend by bend.
        let (mut found_ends, mut goes_on_unseen, mut led) = (None, false, 0.0);
        for _ in 0..MOST_ROUNDS {
            let free = [before, after].map(f64::is_infinite);
            // Walls go on where tails end.
            let wall = |p: &[f64; 2]| at_wall(found, ground, crop.to_photo(*p));
            let ([led_before, led_after], longer) = led_on(crop, &line, free, wall);
            let ribbon = Ribbon::new(crop, &longer);
            let [start, end] = [led_before, ribbon.length - led_after];
            let (mut first, mut last) = ends(crop, &ribbon);
            // What is hardly stronger than its noise leads nowhere, but the fish may go on there.
            let most = LONGER * (end - start);
            if start - first.arc > most && first.strength < SEEN {
                (first.arc, goes_on_unseen) = (start, true);
            }
            if last.arc - end > most && last.strength < SEEN {
                (last.arc, goes_on_unseen) = (end, true);
            }
            let farthest = |strength: f32, led: f64| {
                if strength < PLAIN { f64::INFINITY } else { led.max(FARTHEST * (end - start)) }
            };
            first.arc = first.arc.max(start - before.min(farthest(first.strength, led_before)));
            last.arc = last.arc.min(end + after.min(farthest(last.strength, led_after)));
            let grown = [(start - first.arc).max(0.0), (last.arc - end).max(0.0)];
            (before, after) = (before - grown[0], after - grown[1]);
            let along_arcs = [led_before, led_after].into_iter().zip(grown).filter(|(by, _)| *by > 0.0);
            led += along_arcs.map(|(_, grown)| grown).sum::<f64>();
            if last.arc - first.arc < LEAST_FOUND * SMALL {
                return small();
            }
            line = between(&longer, first.arc, last.arc);
            found_ends = Some((first, last));
            if grown[0].max(grown[1]) <= most {
                break;
            }
            line = centre(crop, &line, &widths(&line), !separated);
        }
        let Some((first, last)) = found_ends else { return small() };
        goes_on_unseen |= led > MOST_LED * path::length(&line);
        let [begin, stop] = without_kinks(&line, ends_at_wall(self.found, ground, crop, &line));
        let kinked = begin > 0.0 || stop < path::length(&line);
        let cut_off = 1.0 - (stop - begin) / path::length(&line);
        if kinked {
            line = between(&line, begin, stop);
        }
        let mut body = Straight::new(self, crop, line, separated);
        let (mut first, mut last) = (first, last);
        if body.p_start < 0.5 {
            body = body.reversed();
            (first, last) = (last, first);
        }
        let head = snout(crop, &body.ribbon);
        let too_long = head.arc / body.ribbon.length;
        // A shadow or haze before the snout is no part of it; what is far longer is another body.
        let moved = too_long.abs() > LONG_SNOUT && (-SHORT_SNOUT..LONGEST_SNOUT).contains(&too_long);
        let start = (if moved { head.arc } else { 0.0 }).max(farthest_snout(&body, ground.polarity));
        let moved = moved || start > LONG_SNOUT * body.ribbon.length;
        let end = tail_margin(crop, &body.ribbon);
        if moved || end > body.ribbon.length {
            body = Straight::new(self, crop, between(&body.line, start, end), separated);
        }
        if moved {
            first = head;
        }
        // A walk may have been drawn on beyond the frame, where nothing is seen.
        let shown = within(crop, &body.line, pixels);
        let cut = shown.len() < body.line.len();
        if cut {
            if path::length(&shown) < 8.0 {
                return small();
            }
            body = Straight::new(self, crop, path::resample(&shown, body.line.len()), separated);
        }
        let before_head = begins_before_its_head(&body, ground.polarity);
        let Straight { line, ribbon, profile, eyes, p_start, .. } = body;
        let evidence = Evidence::gather(crop, &line, (&ribbon, &profile), eyes, p_start);
        if let Some(reason) = self.refusal(crop, &line, &evidence) {
            let line = line.iter().map(|p| crop.to_photo(*p)).collect();
            return self.refused(reason, Some((evidence, line)));
        }
        let seen_from = view(&ribbon, &profile, &eyes[0], ground.polarity);
        let spread = blur(&ribbon, &eyes[0]).map_or(0.0, |b| b * ribbon.step * crop.bin as f64);
        let bin = crop.bin as f64;
        let midline: Vec<[f64; 2]> =
            path::resample(&line, MIDLINE_POINTS).into_iter().map(|p| crop.to_photo(p)).collect();
        let outline = outline(crop, &line, &profile, ribbon.step);

        let mut flags = Vec::new();
        let mut mark = |flag, holds: bool| {
            if holds {
                flags.push(flag);
            }
        };
        mark(Flag::CutByFrame, crop.at_frame || cut);
        mark(Flag::AtWall, crop.at_unlit || kinked && ends_at_wall(self.found, ground, crop, &line));
        mark(
            Flag::Overlap,
            !separated && (evidence.explained < 0.72 || cut_off > MOST_CUT_OFF)
                || before_head
                || profile.ends_on_another(crop.trunk, ground.polarity)
                || ends_at_bubble(crop, &line)
                || ends_at_glint(ground, crop, &line),
        );
        mark(Flag::Separated, separated);
        mark(Flag::Coiled, evidence.turn > COILED);
        mark(Flag::Oblique, seen_from == View::Oblique);
        let tail_unseen = last.unseen > UNSEEN * crop.trunk;
        mark(Flag::TailFaint, last.strength < SEEN || tail_unseen || goes_on_unseen);
        let on_clipped = || bare_is_clipped(ground, &midline) || tail_is_clipped(pixels, &midline);
        mark(Flag::Clipped, ground.polarity == Polarity::DarkFish && on_clipped());
        let depth = f64::from(profile.greatest_width(0.05, 0.75)) * ribbon.step * bin;
        mark(Flag::TrunkClipped, trunk_is_clipped(pixels, &midline, depth));
        mark(Flag::HeadUncertain, p_start < 0.8);
        flags.sort_unstable();
        flags.dedup();
        let spoils_length = [Flag::CutByFrame, Flag::Overlap, Flag::Coiled, Flag::AtWall, Flag::Clipped];
        let spoils_call = [Flag::Overlap, Flag::Coiled, Flag::TrunkClipped];
        let use_length = !tail_unseen && !goes_on_unseen && !flags.iter().any(|f| spoils_length.contains(f));
        let use_call = !flags.iter().any(|f| spoils_call.contains(f));

        let back_left = back_is_left(&profile, eyes[0].row);
        let reference = 0.5 * (f64::from(crop.trunk) * f64::from(ground.white));
        let background = |x: f64, y: f64| match ground.polarity {
            Polarity::DarkFish => ground.background_rgb(x, y),
            // A dark ground gives no reference: the brightness of the trunk stands in.
            Polarity::BrightFish => ground.background_rgb(x, y).map(|v| v + 2.0 * reference as f32),
        };
        let strip = straighten(pixels, &midline, back_left, background);
        let length = path::length(&midline);
        let middle = midline[MIDLINE_POINTS / 2];
        let fish = Fish {
            midline,
            outline,
            total_length: Px(length),
            length_se: Px(bin * (last.se.powi(2) + first.se.powi(2) + 0.25).sqrt()),
            depth: Px(depth),
            head_depth: Px(f64::from(profile.greatest_width(0.03, 0.18)) * ribbon.step * bin),
            view: seen_from,
            p_head: p_start.max(0.5),
            blur: Px(spread),
            flags,
            use_length,
            use_call,
            vessel: found.vessel_at(middle[0], middle[1]),
            strip,
        };
        Outcome::Fish(Box::new(fish), evidence)
    }
}

/// A body straightened, with what is read off it.
struct Straight {
    line: Vec<[f64; 2]>,
    ribbon: Ribbon,
    sums: Sums,
    profile: Profile,
    eyes: [Eye; 2],
    p_start: f64,
}

impl Straight {
    fn new(case: Case, crop: &Crop, line: Vec<[f64; 2]>, separated: bool) -> Self {
        let ribbon = Ribbon::new(crop, &line);
        let half = half_widths(crop, &line);
        let profile = Profile::read(crop, &ribbon, &if separated { narrowed(half) } else { half });
        let sums = ribbon.sums();
        let eyes = [false, true].map(|end| eye(&ribbon, &sums, &profile, case.ground.polarity, end));
        let p_start = head_at_start(&eyes[0], &eyes[1], &profile);
        Self { line, ribbon, sums, profile, eyes, p_start }
    }

    /// The strongest spot within a share of the line from its start.
    fn eye_within(&self, reach: f64, polarity: Polarity) -> Eye {
        eye_within(
            &self.ribbon,
            &self.sums,
            &self.profile,
            polarity,
            false,
            (reach * COLUMNS as f64) as usize,
        )
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
        }
    }
}

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

/// Arc length before which no snout can lie, given the eye at the line's start; 0 where no eye is sure.
fn farthest_snout(body: &Straight, polarity: Polarity) -> f64 {
    if polarity == Polarity::BrightFish {
        return 0.0;
    }
    let eye = eye_at_snout(body, polarity).or_else(|| {
        let far = body.eye_within(PLAIN_EYE_REACH, polarity);
        let at = (far.column as usize).min(COLUMNS);
        let size = far.diameter / (body.profile.left[at] + body.profile.right[at]).max(1.0);
        (far.contrast >= PLAIN_EYE && PLAIN_EYE_SIZE.contains(&size)).then_some(far)
    });
    let Some(eye) = eye else { return 0.0 };
    let before = (0.5 + SNOUT_LENGTH) * f64::from(eye.diameter);
    ((f64::from(eye.column) - before) * body.ribbon.step).max(0.0)
}

/// The foremost sure eye where eyes lie: gut and bladders behind it may be darker.
fn eye_at_snout(body: &Straight, polarity: Polarity) -> Option<Eye> {
    EYE_PLACES.into_iter().map(|reach| body.eye_within(reach, polarity)).find(|eye| eye.contrast >= SURE_EYE)
}

/// Least contrast of a spot that is the eye where no other is, and how far from the start of the line, as a share of the
/// length, it lies behind something that is no head (by trying, rendered fish).
const ONLY_EYE: f32 = 1.0;
const BEHIND_HEAD: f64 = 0.2;

/// Whether the only eye of a body on a bright ground, where every fish shows one, lies so far back that a shell or a fibre
/// must lie before the snout.
fn begins_before_its_head(body: &Straight, polarity: Polarity) -> bool {
    let [eye, _] = body.eyes;
    polarity == Polarity::DarkFish
        && eye.contrast >= ONLY_EYE
        && f64::from(eye.column) > BEHIND_HEAD * COLUMNS as f64
        && eye_at_snout(body, polarity).is_none()
}

/// Half-widths of one fish among others: where they touch the body is too wide, so that no point gets more than
/// a fifth above the median.
fn narrowed(half: Vec<f64>) -> Vec<f64> {
    let mut sorted = half.clone();
    sorted.sort_by(f64::total_cmp);
    let limit = 1.2 * sorted[sorted.len() / 2];
    half.into_iter().map(|h| h.min(limit)).collect()
}

/// Whether the back is to the left of the walk: gut and yolk make the belly side bulge and darken.
fn back_is_left(profile: &super::profile::Profile, eye_row: f32) -> bool {
    let mut bulge = 0.0;
    for c in COLUMNS / 8..COLUMNS / 2 {
        bulge += profile.right[c] - profile.left[c];
    }
    bulge / (COLUMNS as f32) + 0.5 * eye_row > 0.0
}

/// Outline of the body in photograph pixels: left side from snout to tail, right side back.
fn outline(crop: &Crop, line: &[[f64; 2]], profile: &super::profile::Profile, step: f64) -> Vec<[f64; 2]> {
    let points = path::resample(line, OUTLINE_STATIONS + 1);
    let tangents = path::tangents(&points);
    let side = |i: usize, sign: f64, widths: &[f32]| {
        let c = i * COLUMNS / OUTLINE_STATIONS;
        let n = sign * f64::from(widths[c]).min(SIDE as f64) * step;
        crop.to_photo([points[i][0] + n * tangents[i][1], points[i][1] - n * tangents[i][0]])
    };
    (0..=OUTLINE_STATIONS)
        .map(|i| side(i, 1.0, &profile.left))
        .chain((0..=OUTLINE_STATIONS).rev().map(|i| side(i, -1.0, &profile.right)))
        .collect()
}
