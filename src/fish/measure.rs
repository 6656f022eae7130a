//! One candidate to one fish, or to the reason why it is none.

use super::borders::{
    along_edge, along_frame, at_edge, at_wall, ends_at_bubble, ends_at_glint, ends_at_wall, within,
};
use super::crop::Crop;
use super::exposure::{bare_is_clipped, tail_is_clipped, trunk_is_clipped};
use super::followed::{Followed, SEEN};
use super::judge::{Evidence, SMALL};
use super::midline::first_way;
use super::parting::part;
use super::profile::{blur, view};
use super::ribbon::{COLUMNS, SIDE};
use super::shape::left_over;
use super::straight::Straight;
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
/// What is cut off behind a kink may be a fibre or the fish's own sharply bent tail: of a length that lost a larger share, the
/// ends are not known (by trying, rendered fish).
const MOST_CUT_OFF: f64 = 0.03;
/// Share of a body's area that the widths of a fish alone in it account for at least, share of its dense pixels that may lie
/// beside the fish, and the sharpest turn of its midline within a tenth of the length, radians (49 degrees): where more is
/// left, or the line turns more sharply, it leads from one fish to another or along a fibre (by trying, on fish of both
/// renderers: of those well measured one in two hundred is beyond any).
const EXPLAINED: f64 = 0.72;
const LEFT_OVER: f64 = 0.1;
const SHARPEST: f64 = 0.85;
/// Greatest taper of a fish that was parted from a wall and shows its tail: coarse photographs of wells show it roughly (by
/// trying, rendered fish).
const TAPER: f64 = 0.5;
/// Where the noise hides what has less ink than this share of the trunk's, the tail may go on unseen: the last part of
/// the trunk has about a third of it, the fin a fifth and less (rendered fish).
const UNSEEN: f32 = 0.2;
/// Share of a line without an eye that lies along unlit ground or the frame, from which on it is the edge itself (by
/// trying, rendered pads).
const ALONG_EDGE: f64 = 0.5;
/// Share of a line without an eye that lies between the places where the frame cuts its body, from which on the frame cuts it
/// twice: a larva is a fifth as deep as long, or less (from memory).
const CUT_TWICE: f64 = 0.4;
/// Total turn beyond which a midline is not trusted, in radians (200 degrees).
const COILED: f64 = 3.5;

/// Shortest way through the body that was cut out that is followed, as a share of the least length of a fish: specks are many.
const LEAST_WAY: f64 = 0.5;

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
        let cut_twice = at_edge(pixels, crop, line).into_iter().all(|end| end)
            || shows_eyes && crop.at_frame && !evidence.has_eye() && {
                along_frame(pixels, crop) > CUT_TWICE * path::length(line)
            };
        cut_twice.then_some("cut at both ends")
    }

    /// Follows one way through the crop and measures the fish along it. Where others share the crop, `reach` says
    /// how far the fish may go on before the way's start and behind its end, crop pixels.
    pub(super) fn follow(self, crop: &Crop, way: &[[f64; 2]], reach: Option<[f64; 2]>) -> Outcome {
        let separated = reach.is_some();
        let Self { pixels, ground, found, candidate } = self;
        let small = || self.refused(refusal::TOO_LITTLE, None);
        let Some(followed) = Followed::out(crop, way, reach, (found, ground)) else { return small() };
        let Followed { line, ends, kinked, cut_off, goes_on_unseen } = followed;
        let (mut body, [first, last]) =
            Straight::new(crop, line, separated).ended_at_its_tips(crop, ends, separated);
        // A walk may have been drawn on beyond the frame, where nothing is seen.
        let shown = within(crop, &body.line, pixels);
        let cut = shown.len() < body.line.len();
        if cut {
            if path::length(&shown) < 8.0 {
                return small();
            }
            body = Straight::new(crop, path::resample(&shown, body.line.len()), separated);
        }
        let before_head = body.begins_before_its_head();
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

        let leads_astray = || {
            before_head
                || evidence.kink > SHARPEST
                || profile.ends_on_another(crop.trunk, ground.polarity)
                || !separated && profile.leads_along_a_strand()
        };
        let shares_its_body = || {
            cut_off > MOST_CUT_OFF
                || evidence.explained < EXPLAINED
                || profile.narrows_twice(crop.trunk)
                || left_over(crop, &line, &profile, ribbon.step) > LEFT_OVER
        };
        let end_is_hidden = || ends_at_bubble(crop, &line) || ends_at_glint(ground, crop, &line);
        let mut flags = Vec::new();
        let mut mark = |flag, holds: bool| {
            if holds {
                flags.push(flag);
            }
        };
        mark(Flag::CutByFrame, crop.at_frame || cut);
        mark(
            Flag::AtWall,
            crop.at_unlit || (kinked || candidate.off_arc) && ends_at_wall(found, ground, crop, &line),
        );
        mark(Flag::Overlap, leads_astray() || (!separated && shares_its_body()) || end_is_hidden());
        mark(Flag::Separated, separated);
        mark(Flag::Coiled, evidence.turn > COILED);
        mark(Flag::Oblique, seen_from == View::Oblique);
        let no_fin = seen_from == View::Side && profile.ends_without_a_fin();
        let tail_unseen = last.unseen > UNSEEN * crop.trunk || no_fin;
        mark(Flag::TailFaint, last.strength < SEEN || tail_unseen || goes_on_unseen);
        let on_clipped = || bare_is_clipped(ground, &midline) || tail_is_clipped(pixels, &midline);
        mark(Flag::Clipped, ground.polarity == Polarity::DarkFish && on_clipped());
        let depth = f64::from(profile.greatest_width(0.05, 0.75)) * ribbon.step * bin;
        mark(Flag::TrunkClipped, trunk_is_clipped(pixels, &midline, depth));
        mark(Flag::HeadUncertain, p_start < 0.8);
        flags.sort_unstable();
        flags.dedup();
        let use_length = !tail_unseen && !goes_on_unseen && !flags.iter().any(|f: &Flag| f.spoils_length());
        let use_call = !flags.iter().any(|f| f.spoils_call());

        let reference = match ground.polarity {
            Polarity::DarkFish => 0.0,
            Polarity::BrightFish => crop.trunk * ground.white,
        };
        let length = path::length(&midline);
        let middle = midline[MIDLINE_POINTS / 2];
        let mut fish = Fish {
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
            back_left: back_is_left(&profile, eyes[0].row),
            reference,
        };
        // What a wall hides of a tail is not seen.
        let tail_at_wall = || line.last().is_some_and(|p| at_wall(found, ground, crop.to_photo(*p)));
        if candidate.beside_wall && fish.taper() > TAPER && tail_at_wall() {
            fish.flag(Flag::AtWall);
        }
        Outcome::Fish(Box::new(fish), evidence)
    }
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
