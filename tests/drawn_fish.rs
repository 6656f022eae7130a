//! Fish drawn with a few strokes, crossed by fibres or touching: what becomes of them. Shapes of our own; there is no outside
//! reference for how many fish a drawing shows.

use frygauge::fish::{Fish, Flag, Outcome, measure_all};
use frygauge::photo::Pixels;
use frygauge::segmentation::{find, prepare};

const WIDTH: u32 = 900;
const HEIGHT: u32 = 600;
/// Total length of a drawn fish, pixels.
const LENGTH: f64 = 240.0;

/// A straight fish: its snout, and the way it points from there to its tail.
#[derive(Clone, Copy)]
struct Drawn {
    snout: [f64; 2],
    towards: f64,
}

impl Drawn {
    /// Along and across the body, as shares of the length.
    fn at(self, x: f64, y: f64) -> [f64; 2] {
        let (sin, cos) = self.towards.sin_cos();
        let (dx, dy) = ((x - self.snout[0]) / LENGTH, (y - self.snout[1]) / LENGTH);
        [dx * cos + dy * sin, dy * cos - dx * sin]
    }

    /// Whether the body covers a point: a blunt head, a trunk deepest at a quarter, a narrow tail that spreads in a fin.
    fn covers(self, x: f64, y: f64) -> bool {
        let [s, across] = self.at(x, y);
        let half = match s {
            ..0.25 => 0.06 * (s / 0.25).max(0.0).sqrt(),
            ..0.9 => 0.06 - 0.06 * (s - 0.25),
            _ => 0.021 + 0.2 * (s - 0.9),
        };
        (0.0..1.0).contains(&s) && across.abs() < half
    }

    /// Distance from the middle of the eye, in its radii.
    fn eye_radii(self, x: f64, y: f64) -> f64 {
        let [s, across] = self.at(x, y);
        (s - 0.08).hypot(across) / 0.026
    }
}

/// A photograph of grey levels, softened by averaging three by three pixels, with a little grain.
fn photograph(level: impl Fn(f64, f64) -> f64) -> Pixels {
    let mean = |x: u32, y: u32| {
        let near = (0..9)
            .map(|i| level(f64::from(x) + f64::from(i % 3) - 1.0, f64::from(y) + f64::from(i / 3) - 1.0));
        near.sum::<f64>() / 9.0
    };
    let luma = (0..WIDTH * HEIGHT)
        .map(|i| {
            let grain = f64::from(i.wrapping_mul(2_654_435_761) >> 30) - 1.5;
            (mean(i % WIDTH, i / WIDTH) + grain).clamp(0.0, 255.0) as u8
        })
        .collect();
    Pixels { width: WIDTH, height: HEIGHT, luma, chroma: None }
}

fn fish_in(pixels: &Pixels) -> Vec<Fish> {
    let mut ground = prepare(pixels);
    let mut found = find(&mut ground);
    let outcomes = measure_all(pixels, &ground, &mut found).into_iter();
    outcomes.filter_map(|o| if let Outcome::Fish(fish, _) = o { Some(*fish) } else { None }).collect()
}

/// Dark fish with opaque eyes on a bright ground.
fn dark(fish: &[Drawn], x: f64, y: f64) -> f64 {
    let bodies = fish.iter().filter(|f| f.covers(x, y)).count();
    if fish.iter().any(|f| f.eye_radii(x, y) < 1.0) { 40.0 } else { 210.0 * 0.8f64.powi(bodies as i32) }
}

/// Pale fish with dark pupils in bright rings on a dark ground.
fn pale(fish: &[Drawn], x: f64, y: f64) -> f64 {
    let eye = fish.iter().map(|f| f.eye_radii(x, y)).fold(f64::INFINITY, f64::min);
    match (eye, fish.iter().any(|f| f.covers(x, y))) {
        (r, _) if r < 0.6 => 30.0,
        (r, _) if r < 1.0 => 190.0,
        (_, true) => 120.0,
        (_, false) => 18.0,
    }
}

#[test]
fn a_fish_that_a_fibre_runs_across_is_found_and_flagged() {
    let fish = Drawn { snout: [300.0, 320.0], towards: 0.0 };
    // The longer ones run through most of the photograph, and a piece of them is as straight as an edge.
    for (angle, reach) in [(60f64, 190.0), (80.0, 190.0), (115.0, 190.0), (45.0, 330.0), (60.0, 330.0)] {
        let (sin, cos) = angle.to_radians().sin_cos();
        let fibre = |x: f64, y: f64| {
            let (dx, dy) = (x - 390.0, y - 320.0);
            let (along, off) = (dx * cos + dy * sin, dx * sin - dy * cos);
            let bend = if reach < 200.0 { 0.0015 * along * along } else { 90.0 * (along / 140.0).sin() };
            (off - bend).abs() < 1.6 && along.abs() < reach
        };
        let pixels = photograph(|x, y| if fibre(x, y) { 120.0 } else { dark(&[fish], x, y) });
        let found = fish_in(&pixels);
        assert_eq!(found.len(), 1, "{angle} {reach}");
        approx::assert_relative_eq!(found[0].total_length.0, LENGTH, max_relative = 0.06);
    }
}

/// Bubbles darker than the fish, one against it and one against the other, cover more than it does.
#[test]
fn bubbles_beside_a_fish_are_no_part_of_it() {
    let fish = Drawn { snout: [300.0, 320.0], towards: 0.0 };
    for along in [0.4, 0.6, 0.8] {
        let middle = 300.0 + along * LENGTH;
        let bubbles = [[middle, 268.0, 44.0], [middle + 48.0, 218.0, 32.0]];
        let inside =
            |x: f64, y: f64, k: f64| bubbles.iter().any(|[cx, cy, r]| (x - cx).hypot(y - cy) < k * r);
        let pixels = photograph(|x, y| match dark(&[fish], x, y) {
            _ if inside(x, y, 0.45) => 205.0,
            _ if inside(x, y, 1.0) => 15.0,
            other => other,
        });
        let found = fish_in(&pixels);
        assert_eq!(found.len(), 1, "{along}");
        approx::assert_relative_eq!(found[0].total_length.0, LENGTH, max_relative = 0.04);
    }
}

#[test]
fn pale_fish_that_touch_are_taken_apart_by_their_pupils() {
    let one = Drawn { snout: [440.0, 300.0], towards: 0.3 };
    let other = Drawn { snout: [446.0, 306.0], towards: 2.6 };
    let found = fish_in(&photograph(|x, y| pale(&[one, other], x, y)));
    assert_eq!(found.len(), 2);
    for fish in found {
        approx::assert_relative_eq!(fish.total_length.0, LENGTH, max_relative = 0.08);
    }
}

#[test]
fn two_fish_in_line_never_count_as_one_long_fish() {
    let one = Drawn { snout: [200.0, 300.0], towards: 0.0 };
    for gap in [150.0, 180.0, 225.0] {
        let other = Drawn { snout: [200.0 + gap, 303.0], towards: 0.05 };
        for picture in [dark, pale] {
            for fish in fish_in(&photograph(|x, y| picture(&[one, other], x, y))) {
                let long = fish.total_length.0 > 1.1 * LENGTH;
                assert!(
                    !long || fish.flags.contains(&Flag::Overlap) && !fish.use_length,
                    "{gap}: {:?}",
                    fish.flags
                );
            }
        }
    }
}

/// Two fish whose snouts meet, their tails apart by less and more: a line from tail to tail has no head at its ends.
/// What the edge of the photograph leaves of a fish that lies along it, its eye beyond, has no ends that could be measured; one
/// that reaches in with its head is seen, and its length does not count.
#[test]
fn a_fish_along_the_frame_is_cut_twice_and_one_across_it_once() {
    let along = Drawn { snout: [300.0, -5.0], towards: 0.0 };
    assert_eq!(fish_in(&photograph(|x, y| dark(&[along], x, y))).len(), 0);
    let across = Drawn { snout: [300.0, 150.0], towards: -1.2 };
    let found = fish_in(&photograph(|x, y| dark(&[across], x, y)));
    assert_eq!(found.len(), 1);
    assert!(found[0].flags.contains(&Flag::CutByFrame) && !found[0].use_length, "{:?}", found[0].flags);
}

#[test]
fn fish_that_meet_face_to_face_are_two() {
    let one = Drawn { snout: [420.0, 320.0], towards: 0.4 };
    for towards in [2.2, 2.7, 3.1] {
        let other = Drawn { snout: [424.0, 318.0], towards };
        let found = fish_in(&photograph(|x, y| dark(&[one, other], x, y)));
        assert_eq!(found.len(), 2, "{towards}");
        for fish in found {
            approx::assert_relative_eq!(fish.total_length.0, LENGTH, max_relative = 0.08);
        }
    }
}

/// Two fish that lie along each other, each with its tail over the other's trunk: both are said, and a length counts only where
/// it is right.
#[test]
fn both_of_two_fish_along_each_other_are_seen() {
    let one = Drawn { snout: [300.0, 300.0], towards: 0.0 };
    for [x, y] in [[560.0, 312.0], [580.0, 314.0], [520.0, 318.0]] {
        let other = Drawn { snout: [x, y], towards: 3.1 };
        let found = fish_in(&photograph(|x, y| dark(&[one, other], x, y)));
        assert_eq!(found.len(), 2, "{x}");
        for fish in found.iter().filter(|fish| fish.use_length) {
            approx::assert_relative_eq!(fish.total_length.0, LENGTH, max_relative = 0.06);
        }
    }
}

/// The rim of a dish of which the photograph shows an arc across a corner, and two fish whose tails reach it: the rim is
/// no part of them, and the length of what lies beside it counts only where it is right.
#[test]
fn fish_that_reach_an_arc_of_a_rim_are_found() {
    for radius in [700.0, 900.0, 1200.0] {
        // The rim runs from one edge of the photograph to the other, 45 degrees through this point.
        let through = [190.0, 170.0];
        let centre = [through[0] + radius * 0.72, through[1] + radius * 0.694];
        let rim = |x: f64, y: f64| (x - centre[0]).hypot(y - centre[1]) - radius;
        let fish = [-190.0, 190.0].map(|along: f64| {
            let towards = 0.77 + along / radius;
            let (sin, cos) = towards.sin_cos();
            let away = (radius - 12.0 - LENGTH) / radius;
            let place = |k: usize, c: f64| centre[k] - radius * away * c;
            Drawn { snout: [place(0, cos), place(1, sin)], towards: towards + std::f64::consts::PI }
        });
        let free = Drawn { snout: [640.0, 460.0], towards: 0.2 };
        let level = |x: f64, y: f64| {
            let d = rim(x, y).abs();
            dark(&[fish[0], fish[1], free], x, y)
                * (1.0 - 0.5 * (-(d / 5.0).powi(2)).exp() - 0.15 * (-d / 20.0).exp())
        };
        let found = fish_in(&photograph(level));
        assert_eq!(found.len(), 3, "{radius}");
        for fish in found.iter().filter(|fish| fish.use_length) {
            approx::assert_relative_eq!(fish.total_length.0, LENGTH, max_relative = 0.06);
        }
    }
}

/// That no length counts which is not that of a drawn fish.
fn only_right_lengths_count(pixels: &Pixels, what: &str) {
    for fish in fish_in(pixels).iter().filter(|fish| fish.use_length) {
        let off = (fish.total_length.0 / LENGTH - 1.0).abs();
        assert!(off < 0.08, "{what}: {:.0} {:?}", fish.total_length.0, fish.flags);
    }
}

/// The head of the second lies on the tail of the first, and its eye is no darker than its body: the line over both narrows
/// twice, if the second begins where the first has grown thin.
#[test]
fn a_line_over_a_fish_whose_eye_is_not_seen_does_not_count() {
    let first = Drawn { snout: [150.0, 300.0], towards: 0.0 };
    for (along, towards) in [(0.85, 0.0), (0.8, 0.25), (0.9, -0.3), (0.95, 0.1)] {
        let second = Drawn { snout: [150.0 + along * LENGTH, 300.0], towards };
        let level = |x: f64, y: f64| {
            if second.eye_radii(x, y) < 1.0 && first.eye_radii(x, y) >= 1.0 {
                210.0 * 0.8
            } else {
                dark(&[first, second], x, y)
            }
        };
        only_right_lengths_count(&photograph(level), &format!("{along} {towards}"));
    }
}

/// A straight hair crosses the tail at an angle at which the line through the body may go on along it.
#[test]
fn a_line_along_a_hair_does_not_count() {
    let fish = Drawn { snout: [300.0, 320.0], towards: 0.0 };
    for (at, angle) in [(0.6, 160f64), (0.65, 20.0), (0.7, 150.0), (0.6, 35.0), (0.75, 25.0)] {
        let (sin, cos) = angle.to_radians().sin_cos();
        let hair = |x: f64, y: f64| {
            let (dx, dy) = (x - 300.0 - at * LENGTH, y - 320.0);
            (dx * sin - dy * cos).abs() < 2.2 && (-30.0..210.0).contains(&(dx * cos + dy * sin))
        };
        let level = |x: f64, y: f64| if hair(x, y) { 150.0 } else { dark(&[fish], x, y) };
        only_right_lengths_count(&photograph(level), &format!("{at} {angle}"));
    }
}

/// Two fish whose tail fins lie on each other, each line as likely to go on along the other.
#[test]
fn tails_that_meet_do_not_lengthen_each_other() {
    for (gap, towards) in [(-16.0, 0.0), (-20.0, 0.5), (-14.0, 1.0), (4.0, 0.3)] {
        let one = Drawn { snout: [450.0 - LENGTH - 0.5 * gap, 300.0], towards: 0.0 };
        let (sin, cos) = f64::sin_cos(towards);
        let tail = [450.0 + 0.5 * gap, 300.0];
        let other = Drawn {
            snout: [tail[0] + LENGTH * cos, tail[1] + LENGTH * sin],
            towards: towards + std::f64::consts::PI,
        };
        let level = |x: f64, y: f64| dark(&[one, other], x, y);
        only_right_lengths_count(&photograph(level), &format!("{gap} {towards}"));
    }
}

/// A fish across the rim of a dish, of which only what lies inside is followed.
#[test]
fn what_a_rim_leaves_of_a_fish_does_not_count() {
    for inside in [0.45, 0.55, 0.65] {
        let rim = |x: f64, y: f64| (x - 300.0).hypot(y - 300.0) - 270.0;
        let fish = Drawn { snout: [570.0 - inside * LENGTH, 300.0], towards: 0.0 };
        let level = |x: f64, y: f64| dark(&[fish], x, y) * (1.0 - 0.6 * (-(rim(x, y) / 4.0).powi(2)).exp());
        only_right_lengths_count(&photograph(level), &format!("{inside}"));
    }
}

/// A spot as dark as the eye, larger than it as where an eye lies over a gut: there may be a second fish.
#[test]
fn the_length_of_a_body_with_a_second_eye_does_not_count() {
    let fish = Drawn { snout: [300.0, 320.0], towards: 0.1 };
    for (level, counts) in [(40.0, false), (120.0, true)] {
        let spot = |x: f64, y: f64| {
            let [s, across] = fish.at(x, y);
            (s - 0.35).hypot(across) < 0.036
        };
        let found = fish_in(&photograph(|x, y| if spot(x, y) { level } else { dark(&[fish], x, y) }));
        assert_eq!(found.len(), 1, "{level}");
        assert_eq!(found[0].use_length, counts, "{level} {:?}", found[0].flags);
    }
}

/// A clear fish whose hind part is too faint to be cut out with its trunk and bends away, to either side and with and without
/// a row of pigment along its lower edge.
#[test]
fn a_faint_tail_is_followed_round_its_bend() {
    let [from, radius] = [0.5, 0.3];
    let along = |x: f64, y: f64| {
        let (x, y) = ((x - 320.0) / LENGTH, (y - 300.0) / LENGTH);
        // Behind `from` the midline is an arc whose centre lies one radius beside it.
        let turned = (x - from).atan2(radius - y);
        if x <= from { [x, y] } else { [from + radius * turned, radius - (x - from).hypot(radius - y)] }
    };
    for (mirrored, pigment) in [(false, false), (true, false), (false, true), (true, true)] {
        let level = |x: f64, y: f64| {
            let [s, across] = along(x, if mirrored { 600.0 - y } else { y });
            let half = if s < 0.25 { 0.06 * (s / 0.25).max(0.0).sqrt() } else { 0.06 - 0.06 * (s - 0.25) };
            if (s - 0.08).hypot(across) < 0.026 {
                return 40.0;
            }
            let covered = (0.0..1.0).contains(&s) && across.abs() < half;
            let spot = pigment && covered && across > 0.5 * half && (s * 20.0).fract() < 0.5;
            let clear = 0.25 * (1.0 - (s - 0.45) / 0.1).clamp(0.15, 1.0);
            210.0
                * (1.0
                    - if spot {
                        0.3
                    } else if covered {
                        clear
                    } else {
                        0.0
                    })
        };
        let found = fish_in(&photograph(level));
        assert_eq!(found.len(), 1, "{mirrored} {pigment}");
        approx::assert_relative_eq!(found[0].total_length.0, LENGTH, max_relative = 0.04);
    }
}

/// A bladder in a trunk that is clipped white would not show: the call does not count, the length does.
#[test]
fn a_pale_fish_clipped_white_is_not_called() {
    let fish = Drawn { snout: [300.0, 320.0], towards: 0.2 };
    for (trunk, clipped) in [(120.0, false), (255.0, true)] {
        let found = fish_in(&photograph(|x, y| match pale(&[fish], x, y) {
            120.0 => trunk,
            other => other,
        }));
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].flags.contains(&Flag::TrunkClipped), clipped);
        assert_eq!(found[0].use_call, !clipped);
        assert!(found[0].use_length);
    }
}
