//! Bodies that the search broke in two: a faint tail or a head found as a candidate of its own is given back to the
//! fish it continues.

use super::measure::{Outcome, measure};
use super::parting::WHOLE;
use super::strands::{fish_on_strands, set_label};
use super::{Evidence, Fish, Flag};
use crate::imaging::{components, path};
use crate::photo::Pixels;
use crate::segmentation::{Candidate, Found, Ground, Refused};

/// How far behind the tail a fragment may begin, in lengths of the fish so far.
const REACH: f64 = 0.35;
/// How far off the line of the tail it may lie, as the cosine of the angle (35 degrees).
const AHEAD: f64 = 0.82;
/// Most ink of a fragment, as a share of the fish's: tails are fainter than trunks, bubbles and dirt are not.
const FAINTER: f32 = 0.8;
/// Largest fragment, as a share of the fish's pixels.
const SMALLER: f64 = 0.8;
/// The same where both are refused: the tail may be the longer half, as long as it is the fainter one.
const LIKE_HALF: f64 = 1.5;
/// Shortest refused candidate that is tried as the half of a fish, crop pixels.
const SHORTEST: f64 = 20.0;

/// Measures every candidate; candidates that turn out to be the faint end of a fish are measured with it, and have its label
/// from then on.
pub fn measure_all(pixels: &Pixels, ground: &Ground, found: &mut Found) -> Vec<Outcome> {
    let candidates = std::mem::take(&mut found.candidates);
    let mut outcomes: Vec<Option<Vec<Outcome>>> =
        candidates.iter().map(|c| Some(measure(pixels, ground, found, c))).collect();
    for (outcomes, candidate) in outcomes.iter_mut().zip(&candidates) {
        let Some(one) = outcomes.as_mut().filter(|o| may_be_run_into(o)) else { continue };
        let fish = fish_on_strands(pixels, ground, found, candidate);
        if !fish.is_empty() {
            // What was followed through all of it was no fish, or led along a strand.
            one.retain(|o| matches!(o, Outcome::Refused(..)));
            one.extend(fish);
        }
    }
    give_back(pixels, ground, found, &candidates, &mut outcomes);
    found.candidates = candidates;
    let mut outcomes: Vec<Outcome> = outcomes.into_iter().flatten().flatten().collect();
    refuse_fins(&mut outcomes);
    flag_shared_ends(&mut outcomes);
    outcomes
}

/// How far from the midline of another fish an end lies at most that is in that fish's body, as a share of its depth there; one
/// that only touches it lies half of it away (by trying, fish of both renderers).
const IN_BODY: f64 = 0.3;

/// The outer parts of a line that no other fish's may meet, as a share of its points; of fish taken apart, which may cross, its
/// very ends (by trying, fish of both renderers).
const OUTER: f64 = 0.25;

/// Flags fish that end in the body of another, or over it: what was measured there is that other fish.
fn flag_shared_ends(outcomes: &mut [Outcome]) {
    let all: Vec<&Fish> = outcomes.iter().filter_map(fish_of).map(|(fish, _)| fish).collect();
    let shared: Vec<bool> = outcomes
        .iter()
        .map(|o| {
            let own = fish_of(o).map(|(fish, _)| fish);
            own.is_some_and(|own| all.iter().any(|other| !std::ptr::eq(own, *other) && ends_in(own, other)))
        })
        .collect();
    for (outcome, _) in outcomes.iter_mut().zip(shared).filter(|(_, shared)| *shared) {
        if let Outcome::Fish(fish, _) = outcome {
            fish.flag(Flag::Overlap);
        }
    }
}

/// Whether an end of a fish lies in the body of another, or leads over it.
fn ends_in(own: &Fish, other: &Fish) -> bool {
    let [middle, others] = [own, other].map(|fish| fish.midline[fish.midline.len() / 2]);
    if (middle[0] - others[0]).hypot(middle[1] - others[1])
        > 0.5 * (own.total_length.0 + other.total_length.0) + other.depth.0
    {
        // Too far apart to meet: no point of a midline is farther from its middle than half its length.
        return false;
    }
    let last = other.midline.len() - 1;
    let may_cross = [own, other].iter().all(|fish| fish.flags.contains(&Flag::Separated));
    let outer = if may_cross { 1 } else { (OUTER * own.midline.len() as f64) as usize };
    let (first, behind) = own.midline.split_at(outer);
    first.iter().chain(behind.iter().rev().take(outer)).any(|end| {
        other.midline.iter().enumerate().any(|(k, p)| {
            (p[0] - end[0]).hypot(p[1] - end[1]) <= IN_BODY * other.depth_at(k as f64 / last as f64).0
        })
    })
}

/// Measures fish again with the pieces that continue them, whose labels become theirs.
fn give_back(
    pixels: &Pixels,
    ground: &Ground,
    found: &mut Found,
    candidates: &[Candidate],
    outcomes: &mut [Option<Vec<Outcome>>],
) {
    let ink: Vec<f32> = candidates.iter().map(|c| mean_ink(ground, c)).collect();
    // What each has become with the pieces given to it.
    let mut wholes: Vec<Option<Candidate>> = vec![None; candidates.len()];
    // A tail may lie in several pieces: a fish that was given one may reach the next.
    let mut owners = vec![true; candidates.len()];
    while owners.contains(&true) {
        let mut grown = vec![false; owners.len()];
        for piece in 0..candidates.len() {
            if !outcomes[piece].as_deref().is_some_and(may_be_tail) {
                continue;
            }
            let owner = (0..candidates.len()).filter(|fish| *fish != piece && owners[*fish]).find(|&fish| {
                let (own, other) = (&candidates[fish].region, &candidates[piece].region);
                let half = matches!(outcomes[fish].as_deref(), Some([Outcome::Refused(..)]));
                let most = if half { LIKE_HALF } else { SMALLER };
                if other.pixels.len() as f64 >= most * own.pixels.len() as f64 {
                    return false;
                }
                let fainter = ink[piece] < FAINTER * ink[fish];
                let piece = &candidates[piece];
                let either = |line: &[[f64; 2]]| {
                    let back: Vec<[f64; 2]> = line.iter().rev().copied().collect();
                    let length = path::length(line);
                    continues(line, length, ground, piece) || continues(&back, length, ground, piece)
                };
                match outcomes[fish].as_deref() {
                    // Where every fish shows an eye, one without may have lost its head, and its ends say little.
                    Some([Outcome::Fish(f, e)]) if lacks_head(e) => either(&f.midline),
                    Some([Outcome::Fish(f, _)]) => {
                        fainter && continues(&f.midline, f.total_length.0, ground, piece)
                    }
                    // Half a fish may be refused; which of its ends is the tail is then not known.
                    Some([Outcome::Refused(_, Some((e, line)))]) if e.length >= SHORTEST => {
                        (fainter || lacks_head(e)) && either(line)
                    }
                    _ => false,
                }
            });
            let Some(fish) = owner else { continue };
            let (own, piece_pixels) = (&candidates[fish], &candidates[piece].region.pixels);
            let mut all = wholes[fish].as_ref().unwrap_or(own).region.pixels.clone();
            all.extend(piece_pixels);
            let Some(region) = components::bounded(all) else { continue };
            set_label(&mut found.labels, piece_pixels, own.label);
            let (major, minor) = region.axes();
            let whole = Candidate { region, major, minor, ..*own };
            let again = measure(pixels, ground, found, &whole);
            let longer = match (outcomes[fish].as_deref(), &again[..]) {
                // What was joined in front must have been the head.
                (Some([Outcome::Fish(before, was)]), [Outcome::Fish(after, is)]) => {
                    after.total_length.0 > before.total_length.0 && (!lacks_head(was) || !lacks_head(is))
                }
                (_, [Outcome::Fish(..)]) => true,
                _ => false,
            };
            if longer {
                outcomes[fish] = Some(again);
                wholes[fish] = Some(whole);
                grown[fish] = true;
                outcomes[piece] = None;
            } else {
                // The next piece must not find this one joined.
                set_label(&mut found.labels, piece_pixels, candidates[piece].label);
            }
        }
        owners = grown;
    }
}

/// Whether what became of a candidate leaves open that something runs into a fish there: it is no fish, or one without a
/// head that is not all there is.
fn may_be_run_into(outcomes: &[Outcome]) -> bool {
    may_be_tail(outcomes) && outcomes.iter().all(|o| fish_of(o).is_none_or(|(_, e)| e.explained < WHOLE))
}

/// Whether what became of a candidate leaves open that it is the tail of another: it is no fish, or one that shows no
/// eye where every fish shows one.
fn may_be_tail(outcomes: &[Outcome]) -> bool {
    match outcomes {
        [Outcome::Refused(..)] => true,
        [Outcome::Fish(_, e)] => lacks_head(e),
        _ => false,
    }
}

/// Whether something on a bright ground, where every fish shows an eye, shows none.
fn lacks_head(e: &Evidence) -> bool {
    !e.bright && !e.has_eye()
}

/// Longest piece of a fin, as a share of the fish's length; and how far off the fish's midline it lies at most, in
/// depths of the fish: folds and fins reach as far from the midline as the body is deep.
const FIN: f64 = 0.4;
const FIN_REACH: f64 = 1.0;
/// The same of pieces without an eye where every fish shows one, as a share of the fish's length: of thin clear fish the depth says little (by trying,
/// rendered fish).
const FOLD_REACH: f64 = 0.13;

/// Refuses what lies in the fins of a fish: under a microscope a piece of a fold can look like a fry of its own.
fn refuse_fins(outcomes: &mut [Outcome]) {
    let all: Vec<(&Fish, &Evidence)> = outcomes.iter().filter_map(fish_of).collect();
    let in_fins: Vec<bool> = outcomes
        .iter()
        .map(|o| {
            fish_of(o).is_some_and(|(piece, e)| all.iter().any(|(fish, _)| lies_in_fins(piece, e, fish)))
        })
        .collect();
    for (outcome, _) in outcomes.iter_mut().zip(in_fins).filter(|(_, in_fins)| *in_fins) {
        let Outcome::Fish(piece, evidence) = outcome else { continue };
        let refused = Refused { outline: std::mem::take(&mut piece.outline), reason: "fin of a fish" };
        *outcome = Outcome::Refused(refused, Some((*evidence, std::mem::take(&mut piece.midline))));
    }
}

fn fish_of(outcome: &Outcome) -> Option<(&Fish, &Evidence)> {
    match outcome {
        Outcome::Fish(fish, evidence) => Some((fish, evidence)),
        Outcome::Refused(..) => None,
    }
}

/// Whether all of a small thing lies within reach of a larger fish's midline.
fn lies_in_fins(piece: &Fish, evidence: &Evidence, fish: &Fish) -> bool {
    let fold = if lacks_head(evidence) { FOLD_REACH * fish.total_length.0 } else { 0.0 };
    let reach = fold.max(FIN_REACH * fish.depth.0);
    piece.total_length.0 < FIN * fish.total_length.0
        && piece
            .midline
            .iter()
            .all(|p| fish.midline.iter().any(|q| (p[0] - q[0]).hypot(p[1] - q[1]) <= reach))
}

fn mean_ink(ground: &Ground, candidate: &Candidate) -> f32 {
    let pixels = &candidate.region.pixels;
    pixels.iter().map(|&(x, y)| ground.ink.at(x as usize, y as usize)).sum::<f32>()
        / pixels.len().max(1) as f32
}

/// Whether a fragment begins shortly behind the tail and lies in the direction the tail points.
fn continues(midline: &[[f64; 2]], length: f64, ground: &Ground, piece: &Candidate) -> bool {
    let n = midline.len();
    let (end, inner) = (midline[n - 1], midline[n - 1 - n / 5]);
    let (dx, dy) = (end[0] - inner[0], end[1] - inner[1]);
    let tail = dx.hypot(dy).max(1e-9);
    let mut nearest = f64::INFINITY;
    let (mut sx, mut sy) = (0.0, 0.0);
    for &(x, y) in &piece.region.pixels {
        let [x, y] = ground.to_photo(f64::from(x), f64::from(y));
        nearest = nearest.min((x - end[0]).hypot(y - end[1]));
        sx += x;
        sy += y;
    }
    let count = piece.region.pixels.len() as f64;
    let (cx, cy) = (sx / count - end[0], sy / count - end[1]);
    let off = cx.hypot(cy).max(1e-9);
    nearest < REACH * length && (cx * dx + cy * dy) / (off * tail) > AHEAD
}
