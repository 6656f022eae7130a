//! Glints of the lamp on the water that touch a fish on a dark ground, taken off it.
//!
//! A glint is a mirror image of the lamp and at the upper end of the range whatever the exposure suits; tissue scatters
//! and stays below it. The highlight on a gas bladder or on scales is as bright, but tissue lies all round it; a glint
//! on the water has bare ground on one side or more.

use crate::imaging::{Plane, components, plane::quantile};

/// Luma from which on a pixel may show the lamp itself: mirror images are far brighter than what scatters, whatever
/// the exposure suits.
pub const LAMP: f32 = 240.0;
/// Least pixels of a glint that would move an end.
const LEAST: usize = 12;
/// A glint ends, seen from its core, where the ink has fallen to so many times that of tissue.
const EDGE: f32 = 2.0;
/// Where the ground is looked for, crop pixels from that edge.
const BESIDE: i64 = 6;
/// Share of what surrounds a glint that is bare, at least: of a bright patch at the side of a fish it is half.
const BARE: f64 = 0.6;
/// Quantile of a candidate's ink, its brightest pixels left out, that is tissue.
const TISSUE: f64 = 0.6;
/// Ink of bare ground, as a share of the tissue's.
const GROUND: f32 = 0.5;
/// What is taken off round a glint, crop pixels: its blur, and the halo that compression leaves.
const BLUR: i64 = 5;

/// Pixels of the candidate `own` that are a glint beside it rather than on it. `raw` and `ink` are the crop's ink before
/// and after smoothing, `lamp` is the ink of [`LAMP`].
pub fn beside(raw: &Plane<f32>, lamp: f32, ink: &Plane<f32>, own: &Plane<bool>) -> Option<Plane<bool>> {
    if raw.data.iter().filter(|v| **v >= lamp).count() < LEAST {
        return None;
    }
    let pixels = raw.data.iter().zip(&ink.data).zip(&own.data);
    let mut duller: Vec<f32> =
        pixels.filter(|((raw, _), own)| **own && **raw < lamp).map(|((_, ink), _)| *ink).collect();
    let tissue = quantile(&mut duller, TISSUE)?;
    let bright = ink.map(|v| v >= EDGE * tissue);
    let mut off: Option<Plane<bool>> = None;
    for region in components::regions(&bright, LEAST) {
        let holds = |plane: &dyn Fn(usize, usize) -> bool| {
            region.pixels.iter().filter(|&&(x, y)| plane(x as usize, y as usize)).count()
        };
        if holds(&|x, y| own.at(x, y)) == 0 || holds(&|x, y| raw.at(x, y) >= lamp) < LEAST {
            continue;
        }
        let (mut bare, mut all) = (0u32, 0u32);
        for (x, y) in region.beside(BESIDE).filter(|(x, y)| !bright.get_or(*x, *y, true)) {
            all += 1;
            bare += u32::from(ink.get_or(x, y, 0.0) < GROUND * tissue);
        }
        if f64::from(bare) < BARE * f64::from(all.max(1)) {
            continue;
        }
        let off = off.get_or_insert_with(|| own.map(|_| false));
        for &(x, y) in &region.pixels {
            for dy in -BLUR..=BLUR {
                for dx in -BLUR..=BLUR {
                    let (nx, ny) = (i64::from(x) + dx, i64::from(y) + dy);
                    if nx >= 0 && ny >= 0 && (nx as usize) < off.width && (ny as usize) < off.height {
                        off.set(nx as usize, ny as usize, true);
                    }
                }
            }
        }
    }
    off
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A body of ink 1 along the middle of the crop, a spot of ink 3 and radius 6 at `x`, `y`, and what is
    /// taken off.
    fn taken(x: f64, y: f64) -> usize {
        let in_body = |i: usize| (36..64).contains(&(i / 160)) && (20..140).contains(&(i % 160));
        let in_spot = |i: usize| ((i % 160) as f64 - x).hypot((i / 160) as f64 - y) <= 6.0;
        let plane = |spot: f32, body: f32| Plane {
            width: 160,
            height: 100,
            data: (0..16_000)
                .map(|i| {
                    if in_spot(i) {
                        spot
                    } else if in_body(i) {
                        body
                    } else {
                        0.0
                    }
                })
                .collect(),
        };
        let ink = plane(3.0, 1.0);
        let own = ink.map(|v| v > 0.0);
        beside(&ink, 2.8, &ink, &own).map_or(0, |off| off.data.iter().filter(|o| **o).count())
    }

    #[test]
    fn a_glint_beside_a_body_is_taken_off_and_a_highlight_in_it_stays() {
        assert!(taken(146.0, 50.0) > 100, "before the snout");
        assert!(taken(80.0, 31.0) > 100, "along the back");
        assert_eq!(taken(80.0, 50.0), 0, "on the bladder");
    }

    #[test]
    fn a_bright_patch_at_the_side_of_a_fish_stays() {
        assert_eq!(taken(80.0, 42.0), 0);
    }
}
