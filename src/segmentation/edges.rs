//! Straight edges of trays whose walls are wide bands: blurred, thick or with a shadow, they have no crest, and the
//! frame of a tray with all that touches it is one region.

use super::walls::{Wall, bends_away, beside};
use crate::imaging::{components::Region, plane::quantile};
use image::{GrayImage, Luma};
use imageproc::hough::{LineDetectionOptions, PolarLine, detect_lines};

/// Region pixels to a pixel of the picture in which lines are looked for.
const REDUCED: u32 = 4;
/// Shortest edge, as a share of the region's extent and of the frame's shorter side: fish are shorter than most trays
/// (common practice, no source).
const SHORTEST: f64 = 0.4;
/// Share of its length along which an edge must be seen.
const UNBROKEN: f64 = 0.9;
/// How far beside an edge, in its lengths, the region goes on: the other edges of the frame. Straight things by
/// themselves are fish or fibres.
const FAR: f64 = 0.3;
/// Widest wall, as a share of its length: fish are 7 to 18 % as deep as long (from memory).
const WIDEST: f64 = 0.05;
/// A wall at least so wide, as a share of its length, has no gap: in none of so many pieces of it is it narrower than this
/// share of what it mostly is. Fish that lie in line are narrow where tails end (by trying, rendered fish and trays).
const BROAD: f64 = 0.03;
const PIECES: usize = 24;
const NARROWEST: f64 = 0.2;
/// Most edges of one region: four for each of the compartments of a divided tray.
const MOST: usize = 12;
/// Every so many columns and rows are read: edges are long.
const STEP: u32 = 2;
/// Half-width of the band that an edge's line is fitted in, pixels of the search.
const NEAR: f64 = 6.0;

/// The straight edges that a region consists of beside those `known`, the longest first; none for what is no frame.
/// `ink` is the ink of a pixel of the search, `short` the search's shorter side.
pub fn edges(region: &Region, known: &[Wall], ink: impl Fn((u32, u32)) -> f32, short: f64) -> Vec<Wall> {
    let shortest = SHORTEST * short.max(f64::from(region.width().max(region.height())));
    let read = |(x, y): &(u32, u32)| x % STEP == 0 && y % STEP == 0;
    let all: Vec<(u32, u32)> = region.pixels.iter().copied().filter(read).collect();
    let held = |&(x, y): &(u32, u32), wall: &Wall| wall.holds(f64::from(x), f64::from(y), 1.0);
    let mut left = all.clone();
    left.retain(|p| !known.iter().any(|wall| held(p, wall)));
    let mut found = Vec::new();
    while found.len() < MOST {
        let lines = lines(region, &left, shortest);
        let edges = lines.into_iter().filter_map(|line| edge(&all, &left, line, &ink, shortest, short));
        let Some((_, wall)) = edges.max_by(|a, b| a.0.total_cmp(&b.0)) else { break };
        let wide = wall.widened(&left);
        left.retain(|p| !held(p, &wide));
        found.push(wall);
    }
    found
}

/// Lines along which enough of the pixels lie, by two points each.
fn lines(region: &Region, pixels: &[(u32, u32)], shortest: f64) -> Vec<[[f64; 2]; 2]> {
    let mut picture = GrayImage::new(region.width().div_ceil(REDUCED), region.height().div_ceil(REDUCED));
    for &(x, y) in pixels {
        picture.put_pixel((x - region.x0) / REDUCED, (y - region.y0) / REDUCED, Luma([255]));
    }
    let options = LineDetectionOptions {
        vote_threshold: (UNBROKEN * shortest / f64::from(REDUCED)) as u32,
        suppression_radius: 6,
    };
    let points = |PolarLine { r, angle_in_degrees }| {
        let (sin, cos) = f64::from(angle_in_degrees).to_radians().sin_cos();
        let place = |along: f64| {
            let reduced = [f64::from(r) * cos - along * sin, f64::from(r) * sin + along * cos];
            let middle = 0.5 * f64::from(REDUCED - 1);
            let at = |v: f64, first: u32| v * f64::from(REDUCED) + middle + f64::from(first);
            [at(reduced[0], region.x0), at(reduced[1], region.y0)]
        };
        [place(0.0), place(1.0)]
    };
    detect_lines(&picture, options).into_iter().map(points).collect()
}

/// The edge along a line and how long it is, when the region is a frame with such an edge.
fn edge(
    all: &[(u32, u32)],
    pixels: &[(u32, u32)],
    mut line: [[f64; 2]; 2],
    ink: impl Fn((u32, u32)) -> f32,
    shortest: f64,
    short: f64,
) -> Option<(f64, Wall)> {
    let points = || pixels.iter().map(|&(x, y)| [f64::from(x), f64::from(y)]);
    for near in [2.0 * NEAR, NEAR] {
        line = through(points().filter(|p| beside(line[0], line[1], *p).0 <= near))?;
    }
    let [a, b] = line;
    let mut along: Vec<f64> =
        points().map(|p| beside(a, b, p)).filter(|(d, _)| *d <= 0.5 * NEAR).map(|(_, t)| t).collect();
    along.sort_by(f64::total_cmp);
    // The longest run without a gap of more than two per cent of the frame: `a` and `b` are a pixel apart.
    let (mut best, mut first) = ((0.0, 0.0), *along.first()?);
    let mut seen = 0usize;
    let mut run = 0usize;
    for pair in along.windows(2) {
        run += usize::from((pair[1] / f64::from(STEP)).floor() > (pair[0] / f64::from(STEP)).floor());
        if pair[1] - pair[0] > 0.02 * short {
            (first, run) = (pair[1], 0);
        }
        if pair[1] - first > best.1 - best.0 {
            (best, seen) = ((first, pair[1]), run);
        }
    }
    let span = best.1 - best.0;
    if span < shortest || f64::from(STEP) * (seen as f64) < UNBROKEN * span {
        return None;
    }
    let places = all.iter().map(|p| beside(a, b, [f64::from(p.0), f64::from(p.1)]));
    if bends_away(places, best.0, best.1, 1.0) {
        return None;
    }
    let (mut farthest, mut near) = (0.0_f64, Vec::new());
    let mut core = Vec::new();
    for p in all {
        let (d, t) = beside(a, b, [f64::from(p.0), f64::from(p.1)]);
        farthest = farthest.max(d);
        if d <= WIDEST * span && (best.0..=best.1).contains(&t) {
            near.push((ink(*p), (t - best.0) / span));
            core.extend((d <= 0.5 * NEAR).then(|| ink(*p)));
        }
    }
    // The mean width, within the widest wall to either side, of what is at least half as dark as the line itself: a wall
    // has a core in its haze, a fish is as dark all across.
    let half = 0.5 * quantile(&mut core, 0.5)?;
    let mut dense = [0; PIECES];
    for (_, along) in near.iter().filter(|(ink, _)| *ink >= half) {
        dense[((along * PIECES as f64) as usize).min(PIECES - 1)] += 1;
    }
    let width = f64::from(dense.iter().sum::<u32>() * STEP * STEP) / span;
    dense.sort_unstable();
    if width >= BROAD * span && f64::from(dense[0]) < NARROWEST * f64::from(dense[PIECES / 2]) {
        return None;
    }
    let at = |t: f64| [0, 1].map(|i| a[i] + t * (b[i] - a[i]));
    (farthest >= FAR * span && width <= WIDEST * span)
        .then(|| (span, Wall::Straight { from: at(best.0), to: at(best.1), half: 0.5 * NEAR }))
}

/// The line of least squares (first principal axis) through points, by two places a pixel apart; `None` of fewer than
/// two.
fn through(points: impl Iterator<Item = [f64; 2]>) -> Option<[[f64; 2]; 2]> {
    let points: Vec<[f64; 2]> = points.collect();
    let n = points.len() as f64;
    let sum = points.iter().fold([0.0; 2], |s, p| [s[0] + p[0], s[1] + p[1]]);
    let centre = [sum[0] / n, sum[1] / n];
    let (mut xx, mut yy, mut xy) = (0.0, 0.0, 0.0);
    for p in &points {
        let (dx, dy) = (p[0] - centre[0], p[1] - centre[1]);
        xx += dx * dx;
        yy += dy * dy;
        xy += dx * dy;
    }
    let (sin, cos) = (0.5 * (2.0 * xy).atan2(xx - yy)).sin_cos();
    (points.len() > 1).then(|| [centre, [centre[0] + cos, centre[1] + sin]])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::imaging::{Plane, components};

    /// The region of what `inside` holds in a square of 600.
    fn region(inside: impl Fn(f64, f64) -> bool) -> Region {
        let mut mask = Plane::filled(600, 600, false);
        for y in 0..600 {
            for x in 0..600 {
                mask.set(x, y, inside(x as f64, y as f64));
            }
        }
        components::regions(&mask, 1).swap_remove(0)
    }

    /// The wide frame of a tray turned by 4 degrees, with a fish against its left wall: four edges, each within the wall.
    #[test]
    fn a_wide_turned_frame_has_four_edges() {
        let (sin, cos) = 4f64.to_radians().sin_cos();
        let turned = |x: f64, y: f64| {
            let (x, y) = (x - 300.0, y - 300.0);
            (x * cos + y * sin, y * cos - x * sin)
        };
        let frame = |x: f64, y: f64| {
            let (u, v) = turned(x, y);
            (205.0..=217.0).contains(&u.abs().max(v.abs()))
        };
        let fish = |x: f64, y: f64| ((x - 150.0) / 60.0).powi(2) + ((y - 300.0) / 10.0).powi(2) < 1.0;
        let edges = edges(&region(|x, y| frame(x, y) || fish(x, y)), &[], |_| 0.3, 600.0);
        assert_eq!(edges.len(), 4, "{edges:?}");
        for edge in edges {
            let Wall::Straight { from, to, .. } = edge else { panic!("{edge:?} is straight") };
            let (u, v) = turned(0.5 * (from[0] + to[0]), 0.5 * (from[1] + to[1]));
            let beside = u.abs().max(v.abs());
            assert!((203.0..=219.0).contains(&beside), "the middle lies in the wall: {beside}");
            assert!((to[0] - from[0]).hypot(to[1] - from[1]) > 380.0);
        }
    }

    /// A fish and a fibre, however long, are no frame.
    #[test]
    fn a_straight_thing_by_itself_is_no_edge() {
        let fish = |x: f64, y: f64| ((x - 300.0) / 250.0).powi(2) + ((y - 300.0) / 25.0).powi(2) < 1.0;
        assert!(edges(&region(fish), &[], |_| 0.3, 600.0).is_empty());
        let fibre = |x: f64, y: f64| (20.0..580.0).contains(&x) && (y - 0.3 * x - 100.0).abs() < 2.0;
        assert!(edges(&region(fibre), &[], |_| 0.3, 600.0).is_empty());
    }

    /// Nor are fish that touch in line, with another that touches them from the side.
    #[test]
    fn fish_in_line_are_no_edge() {
        let fish = |x: f64, y: f64, [sx, sy]: [f64; 2], towards: f64| {
            let (sin, cos) = towards.sin_cos();
            let (s, across) = (((x - sx) * cos + (y - sy) * sin) / 260.0, (y - sy) * cos - (x - sx) * sin);
            let half = 18.0 * (s / 0.2).clamp(0.0, 1.0).sqrt() * (1.0 - s).clamp(0.06, 0.9);
            (0.0..1.0).contains(&s) && across.abs() < half
        };
        let chain = |x: f64, y: f64| {
            fish(x, y, [20.0, 300.0], 0.0)
                || fish(x, y, [278.0, 300.0], 0.0)
                || fish(x, y, [275.0, 300.0], 1.1)
        };
        assert!(edges(&region(chain), &[], |_| 0.3, 600.0).is_empty());
    }
}
