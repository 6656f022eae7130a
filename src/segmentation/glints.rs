//! Glints of a lamp from above on a bright ground: how many there are, and where they hide what is under them.

use super::ground::Ground;
use crate::imaging::{Plane, plane::quantile};

/// How much brighter than bare ground a glint is at least, as a share of it.
const BRIGHTER: f32 = 1.0 / 12.0;
/// Luma from which on a pixel may show the lamp itself: mirror images are far brighter than what scatters, whatever
/// the exposure suits.
pub const LAMP: f32 = 240.0;
/// What a glint spoils round it, search pixels: its blur, and the halo that compression leaves.
const BLUR: usize = 3;

/// Lit pixels of the search, in twos each way, that are brighter by a twelfth than bare ground is anywhere: beside a
/// plate or a wall the ground is told too dark, and a pixel alone may be noise.
pub(super) fn count(luma: &Plane<f32>, ground: &Ground, lit_blocks: &Plane<bool>) -> usize {
    let blocks = ground.luma.blocks.data.iter().zip(&lit_blocks.data);
    let mut bare: Vec<f32> = blocks.filter(|(_, lit)| **lit).map(|(v, _)| *v).collect();
    let limit = (1.0 + BRIGHTER) * quantile(&mut bare, 0.98).unwrap_or(0.0);
    let rows = luma.height.saturating_sub(1);
    (0..rows)
        .map(|y| {
            let (upper, lower, lit) = (luma.row(y), luma.row(y + 1), ground.lit.row(y));
            let pairs = upper.windows(2).zip(lower.windows(2)).zip(lit);
            pairs.filter(|((a, b), lit)| **lit && a.iter().chain(*b).all(|v| *v > limit)).count()
        })
        .sum()
}

/// The pixels that show the lamp, with what its blur spoils; `None` where it shows nowhere.
pub(super) fn lamp(luma: &Plane<f32>, ground: &Ground) -> Option<Plane<bool>> {
    let (w, h) = (luma.width, luma.height);
    let mut lamp: Option<Plane<bool>> = None;
    let mut bare = vec![0.0; w];
    for y in 0..h {
        ground.luma.row(y, &mut bare);
        for (x, (v, bare)) in luma.row(y).iter().zip(&bare).enumerate() {
            if *v < LAMP || *v < (1.0 + BRIGHTER) * bare || !ground.lit.at(x, y) {
                continue;
            }
            let lamp = lamp.get_or_insert_with(|| Plane::filled(w, h, false));
            for near in y.saturating_sub(BLUR)..(y + BLUR + 1).min(h) {
                lamp.data[near * w..][x.saturating_sub(BLUR)..(x + BLUR + 1).min(w)].fill(true);
            }
        }
    }
    lamp
}
