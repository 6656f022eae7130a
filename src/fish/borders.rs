//! What a line through a candidate ends at or runs along, and what may therefore hide a part of it: the frame, unlit
//! ground, walls of vessels, bubbles and glints.

use super::crop::Crop;
use super::midline::half_widths;
use crate::imaging::path;
use crate::photo::Pixels;
use crate::segmentation::{Found, Ground, WALL};

/// How near an end lies to a bubble that may hide it, in radii of all that the bubble darkens.
const AT_BUBBLE: f64 = 1.1;

/// How near an end lies to a wall that it was parted from, search pixels.
const AT_WALL: i64 = 6;
/// How near it lies to the outline of a round vessel, as a share of the shorter half-axis: a wall is as wide.
const AT_VESSEL: f64 = 0.06;

/// Whether an end of a line lies at the wall of a vessel.
pub fn ends_at_wall(found: &Found, ground: &Ground, crop: &Crop, line: &[[f64; 2]]) -> bool {
    either_end(crop, line, |p| at_wall(found, ground, p))
}

/// Whether photograph pixel `x`, `y` lies at the wall of a vessel.
pub fn at_wall(found: &Found, ground: &Ground, [x, y]: [f64; 2]) -> bool {
    let Found { labels, vessels, .. } = found;
    let (sx, sy) = ground.to_search(x, y);
    let (sx, sy) = (sx.round() as i64, sy.round() as i64);
    vessels.iter().any(|v| v.distance(x, y).abs() < AT_VESSEL * v.b)
        || (-AT_WALL..=AT_WALL)
            .any(|dy| (-AT_WALL..=AT_WALL).any(|dx| labels.get_or(sx + dx, sy + dy, 0) == WALL))
}

/// Beyond the edge of a body, crop pixels, where [`along_edge`] looks.
const BEYOND_BODY: f64 = 6.0;

/// Share of a line beside which, on one side or the other, unlit ground or nothing lies.
pub fn along_edge(pixels: &Pixels, ground: &Ground, crop: &Crop, line: &[[f64; 2]]) -> f64 {
    let half = half_widths(crop, line);
    let borders = |i: usize, t: [f64; 2], side: f64| {
        let off = side * (half[i] + BEYOND_BODY);
        let p = crop.to_photo([line[i][0] - off * t[1], line[i][1] + off * t[0]]);
        let (x, y) = ground.to_search(p[0], p[1]);
        !in_photo(pixels, p) || !ground.lit.nearest_or(x, y, true)
    };
    let tangents = path::tangents(line);
    let along = (0..line.len()).filter(|&i| borders(i, tangents[i], 1.0) || borders(i, tangents[i], -1.0));
    along.count() as f64 / line.len().max(1) as f64
}

/// The part of a walk that lies in the photograph: from its first to its last point there.
pub fn within(crop: &Crop, line: &[[f64; 2]], pixels: &Pixels) -> Vec<[f64; 2]> {
    let inside = |p: &[f64; 2]| in_photo(pixels, crop.to_photo(*p));
    let first = line.iter().position(inside).unwrap_or(0);
    let last = line.iter().rposition(inside).map_or(0, |at| at + 1);
    line[first..last.max(first)].to_vec()
}

/// Whether the start and the end of a line lie at the edge of the photograph.
pub fn at_edge(pixels: &Pixels, crop: &Crop, line: &[[f64; 2]]) -> [bool; 2] {
    let near = 2.0 * crop.bin as f64 + 1.0;
    let (right, bottom) = (f64::from(pixels.width) - 1.0, f64::from(pixels.height) - 1.0);
    [line.first(), line.last()].map(|end| {
        end.is_some_and(|p| {
            let [x, y] = crop.to_photo(*p);
            x.min(right - x).min(y).min(bottom - y) < near
        })
    })
}

/// Longest way between the places where a body meets the edge of the photograph, crop pixels: as great as the body is deep
/// where it is cut once.
pub fn along_frame(pixels: &Pixels, crop: &Crop) -> f64 {
    let body = crop.body();
    let near = crop.bin as f64 + 0.5;
    let (right, bottom) = (f64::from(pixels.width) - 1.0, f64::from(pixels.height) - 1.0);
    let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
    for (i, _) in body.data.iter().enumerate().filter(|(_, own)| **own) {
        let p = [i % body.width, i / body.width].map(|v| v as f64);
        let [x, y] = crop.to_photo(p);
        if x.min(right - x).min(y).min(bottom - y) < near {
            low = [low[0].min(p[0]), low[1].min(p[1])];
            high = [high[0].max(p[0]), high[1].max(p[1])];
        }
    }
    (high[0] - low[0]).max(0.0).hypot((high[1] - low[1]).max(0.0))
}

/// Whether an end of the line lies at a bubble, which may hide what goes on.
pub fn ends_at_bubble(crop: &Crop, line: &[[f64; 2]]) -> bool {
    let at = |p: &[f64; 2]| crop.bubbles.iter().any(|b| b.away(*p) < AT_BUBBLE * b.reach + 2.0);
    line.first().is_some_and(at) || line.last().is_some_and(at)
}

/// How near an end lies to a glint that may hide it, search pixels.
const GLINT_REACH: i64 = 2;

/// Whether an end of the line lies at a glint, under which it may go on.
pub fn ends_at_glint(ground: &Ground, crop: &Crop, line: &[[f64; 2]]) -> bool {
    either_end(crop, line, |[x, y]| ground.lamp_near(x, y, GLINT_REACH))
}

/// Whether something holds at the photograph pixel of the start or the end of a line.
fn either_end(crop: &Crop, line: &[[f64; 2]], holds: impl Fn([f64; 2]) -> bool) -> bool {
    [line.first(), line.last()].into_iter().flatten().any(|end| holds(crop.to_photo(*end)))
}

/// Whether a point lies in the photograph.
fn in_photo(pixels: &Pixels, [x, y]: [f64; 2]) -> bool {
    (-0.5..=f64::from(pixels.width) - 0.5).contains(&x)
        && (-0.5..=f64::from(pixels.height) - 0.5).contains(&y)
}
