//! What is clipped white: bare ground behind a fish, and the trunk that would show its bladder.

use crate::imaging::path;
use crate::photo::Pixels;
use crate::segmentation::Ground;

/// Least luma of ground that takes the whole range: a fin that takes one or two per cent of the light is clipped away with it.
const FULL: u8 = 254;

/// Whether bare ground along the fish is at the upper end of the range.
pub fn bare_is_clipped(ground: &Ground, midline: &[[f64; 2]]) -> bool {
    let bare = |p: &[f64; 2]| {
        let (x, y) = ground.to_search(p[0], p[1]);
        ground.luma.at(x, y) >= f32::from(FULL)
    };
    2 * midline.iter().filter(|p| bare(p)).count() > midline.len()
}

/// Radii round the end of the tail where bare ground is looked at, as shares of the length, in so many directions: beyond a
/// fin that was lost, or beside one that was found.
const ROUND_TAIL: [f64; 2] = [0.08, 0.12];
const DIRECTIONS: u32 = 24;

/// Whether the ground round the end of the tail is mostly clipped, though along the fish it may not be.
pub fn tail_is_clipped(pixels: &Pixels, midline: &[[f64; 2]]) -> bool {
    let length = path::length(midline);
    let Some([x, y]) = midline.last() else { return false };
    let round = ROUND_TAIL.into_iter().flat_map(|radius| {
        (0..DIRECTIONS).map(move |k| {
            let turn = std::f64::consts::TAU * f64::from(k) / f64::from(DIRECTIONS);
            [x + radius * length * turn.cos(), y + radius * length * turn.sin()]
        })
    });
    mostly(pixels, round, FULL)
}

/// Whether more than half of the points show at least `level`; those beyond the frame do not.
fn mostly(pixels: &Pixels, points: impl Iterator<Item = [f64; 2]>, level: u8) -> bool {
    let [width, height] = [pixels.width, pixels.height].map(f64::from);
    let (mut white, mut all) = (0, 0);
    for point in points {
        let [x, y] = point.map(f64::round);
        let seen = (0.0..width).contains(&x) && (0.0..height).contains(&y);
        all += 1;
        white += usize::from(seen && pixels.luma[y as usize * pixels.width as usize + x as usize] >= level);
    }
    2 * white > all
}

/// Where the bladder lies, as shares of the length (from memory), and how far above and below the midline it is looked for, as
/// a share of the depth.
const TRUNK: std::ops::Range<f64> = 0.2..0.5;
const INNER: f64 = 0.25;
/// Least luma of what is clipped: noise and compression leave some levels below the
/// uppermost, and tone curves flatten there (by trying, rendered fish).
const WHITE: u8 = 248;

/// Whether half of the part of a trunk where the bladder lies is clipped white.
pub fn trunk_is_clipped(pixels: &Pixels, midline: &[[f64; 2]], depth: f64) -> bool {
    let share = |at: f64| (at * midline.len() as f64) as usize;
    let tangents = path::tangents(midline);
    let samples = (share(TRUNK.start)..share(TRUNK.end)).flat_map(|i| {
        [-INNER, 0.0, INNER].map(|off| {
            let ([x, y], [tx, ty]) = (midline[i], tangents[i]);
            [x - off * depth * ty, y + off * depth * tx]
        })
    });
    mostly(pixels, samples, WHITE)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Where the right half of the ground is clipped, the tail of a fish that points there cannot be told, that of one that
    /// points to the left can; what lies beyond the frame says nothing.
    #[test]
    fn a_tail_on_clipped_ground_is_told_from_one_on_bare() {
        let luma = (0..400 * 200).map(|i| if i % 400 >= 200 { 255 } else { 240 }).collect();
        let pixels = Pixels { width: 400, height: 200, luma, chroma: None };
        let to_the_right: Vec<[f64; 2]> = (0..65).map(|i| [110.0 + 3.0 * f64::from(i), 100.0]).collect();
        let to_the_left: Vec<[f64; 2]> = to_the_right.iter().rev().copied().collect();
        assert!(tail_is_clipped(&pixels, &to_the_right));
        assert!(!tail_is_clipped(&pixels, &to_the_left));
        let white = Pixels { luma: vec![255; 400 * 200], ..pixels };
        let out_of_it: Vec<[f64; 2]> = to_the_left.iter().map(|[x, y]| [x - 140.0, *y]).collect();
        assert!(tail_is_clipped(&white, &to_the_left));
        assert!(!tail_is_clipped(&white, &out_of_it));
    }
}
