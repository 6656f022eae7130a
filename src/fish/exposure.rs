//! What is clipped white: bare ground behind a fish, and the trunk that would show its bladder.

use crate::imaging::path;
use crate::photo::Pixels;
use crate::segmentation::Ground;

/// Whether bare ground along the fish is at the upper end of the range: a tail fin that takes one or two per cent
/// of the light cannot be seen there.
pub fn bare_is_clipped(ground: &Ground, midline: &[[f64; 2]]) -> bool {
    let bare = |p: &[f64; 2]| {
        let (x, y) = ground.to_search(p[0], p[1]);
        ground.luma.at(x, y) >= 254.0
    };
    2 * midline.iter().filter(|p| bare(p)).count() > midline.len()
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
    let (width, height) = (pixels.width as usize, pixels.height as usize);
    let (mut white, mut all) = (0, 0);
    for [x, y] in samples {
        let (x, y) = (x.round().max(0.0) as usize, y.round().max(0.0) as usize);
        all += 1;
        white += usize::from(x < width && y < height && pixels.luma[y * width + x] >= WHITE);
    }
    2 * white > all
}
