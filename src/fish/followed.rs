//! One way through a body followed out to the ends of the fish, bend by bend.

use super::borders::{at_wall, ends_at_wall};
use super::crop::Crop;
use super::ends::{End, ends};
use super::judge::SMALL;
use super::midline::{between, centre, widths, without_kinks};
use super::onward::led_on;
use super::ribbon::Ribbon;
use crate::imaging::path;
use crate::segmentation::{Found, Ground};

/// Times the ends are looked for while they keep moving out.
const MOST_ROUNDS: usize = 6;
/// How far a line must grow at an end, as a share of its length, to be looked at again.
const LONGER: f64 = 0.04;
/// How far it may grow in one look, as a share of its length, where its end is so strong that the next look will see it
/// again: a tail that bends is left by more (by trying, rendered fish).
const FARTHEST: f64 = 0.1;
const PLAIN: f32 = 6.0;
/// Share of a length that was led on round bends, from which on it may be a fibre's: it does not count (by trying, rendered
/// fish).
const MOST_LED: f64 = 0.15;
/// Strength of an end, in standard deviations of the noise, from which on a line is followed to it: where less seems to go
/// on, the length does not count.
pub const SEEN: f32 = 3.0;
/// Shortest line that is followed, as a share of the least length of a fish, as the ends in the ink along it say: specks are
/// many, and the last pixels at the tips make no fish of them.
const LEAST_FOUND: f64 = 0.8;

/// A line from one end of a fish to the other, which is the head not yet known; crop pixels.
pub struct Followed {
    pub line: Vec<[f64; 2]>,
    /// Where its start and its end were found.
    pub ends: [End; 2],
    /// Whether the fish may go on where it is too faint to be followed, or was followed so far that it may be something else.
    pub goes_on_unseen: bool,
    /// Whether an end was cut off behind a kink, and the share of the length that was.
    pub kinked: bool,
    pub cut_off: f64,
}

impl Followed {
    /// Follows a way out. Where others share the crop, `reach` says how far the fish may go on before the way's start and
    /// behind its end. `None` for what is too short to be argued about.
    pub fn out(
        crop: &Crop,
        way: &[[f64; 2]],
        reach: Option<[f64; 2]>,
        (found, ground): (&Found, &Ground),
    ) -> Option<Self> {
        let [mut before, mut after] = reach.unwrap_or([f64::INFINITY; 2]);
        let separated = reach.is_some();
        let widths = |line: &[[f64; 2]]| widths(crop, line, separated);
        let mut line = centre(crop, way, &widths(way), !separated);
        // A faint tail may be found well beyond the body that was cut out: follow it, bend by bend.
        let (mut ends_found, mut goes_on_unseen, mut led) = (None, false, 0.0);
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
            // More than a bend behind where the fish must end for the others' sake: what it is given is not all of it.
            goes_on_unseen |= after.is_finite() && last.arc - end - after > FARTHEST * (end - start);
            last.arc = last.arc.min(end + after.min(farthest(last.strength, led_after)));
            let grown = [(start - first.arc).max(0.0), (last.arc - end).max(0.0)];
            (before, after) = (before - grown[0], after - grown[1]);
            let along_arcs = [led_before, led_after].into_iter().zip(grown).filter(|(by, _)| *by > 0.0);
            led += along_arcs.map(|(_, grown)| grown).sum::<f64>();
            if last.arc - first.arc < LEAST_FOUND * SMALL {
                return None;
            }
            line = between(&longer, first.arc, last.arc);
            ends_found = Some([first, last]);
            if grown[0].max(grown[1]) <= most {
                break;
            }
            line = centre(crop, &line, &widths(&line), !separated);
        }
        let ends = ends_found?;
        goes_on_unseen |= led > MOST_LED * path::length(&line);
        let [begin, stop] = without_kinks(&line, ends_at_wall(found, ground, crop, &line));
        let kinked = begin > 0.0 || stop < path::length(&line);
        let cut_off = 1.0 - (stop - begin) / path::length(&line);
        if kinked {
            line = between(&line, begin, stop);
        }
        Some(Self { line, ends, goes_on_unseen, kinked, cut_off })
    }
}
