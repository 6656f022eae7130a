//! Glints of a lamp from above on a bright ground: how many there are, and where they hide what is under them.

use super::ground::Ground;
use crate::imaging::{
    Plane,
    components::{self, Region},
    plane::quantile,
};

/// How much brighter than bare ground a glint is at least, as a share of it.
const BRIGHTER: f32 = 1.0 / 12.0;
/// A glint is brighter than the brightest bare ground, as a share of that: between large fish the ground is told too dark.
const BRIGHTEST: f32 = 1.03;
/// Least search pixels of a glint that could hide anything, and its least width (by trying, rendered trays and wells).
const LEAST: usize = 40;
const NARROWEST: f64 = 8.0;
/// Where the ground beside a glint is looked at, search pixels, what is dark there, and the share of it that is not, at
/// least: of what surrounds a glint across a fish much is bare, of what surrounds the core of a bubble little.
const BESIDE: i64 = 8;
const DARK: f32 = 0.05;
const BARE: f64 = 0.4;
/// What a glint spoils round it, search pixels: its blur, and the halo that compression leaves.
const BLUR: usize = 3;

/// Lit pixels of the search, in twos each way, that are brighter by a twelfth than bare ground is anywhere: beside a
/// plate or a wall the ground is told too dark, and a pixel alone may be noise.
pub(super) fn count(luma: &Plane<f32>, ground: &Ground, lit_blocks: &Plane<bool>) -> usize {
    let limit = (1.0 + BRIGHTER) * brightest(ground, lit_blocks);
    let rows = luma.height.saturating_sub(1);
    (0..rows)
        .map(|y| {
            let (upper, lower, lit) = (luma.row(y), luma.row(y + 1), ground.lit.row(y));
            let pairs = upper.windows(2).zip(lower.windows(2)).zip(lit);
            pairs.filter(|((a, b), lit)| **lit && a.iter().chain(*b).all(|v| *v > limit)).count()
        })
        .sum()
}

/// The brightest that bare ground is anywhere.
fn brightest(ground: &Ground, lit_blocks: &Plane<bool>) -> f32 {
    let blocks = ground.luma.blocks.data.iter().zip(&lit_blocks.data);
    let mut bare: Vec<f32> = blocks.filter(|(_, lit)| **lit).map(|(v, _)| *v).collect();
    quantile(&mut bare, 0.98).unwrap_or(0.0)
}

/// Where the lamp itself shows, and which way across.
#[derive(Debug, Clone)]
pub struct Lamp {
    /// Which glint, from 1, each search pixel shows or is blurred by; 0 for none.
    labels: Plane<u16>,
    /// Unit vector across each glint, along its shorter axis.
    across: Vec<[f64; 2]>,
}

impl Lamp {
    /// The unit vector across the glint that search pixel `x`, `y` shows.
    pub fn across(&self, x: usize, y: usize) -> Option<[f64; 2]> {
        let label = usize::from(self.labels.at(x, y));
        (label > 0).then(|| self.across[label - 1])
    }

    /// Whether a search pixel within `near` of `x`, `y` shows it.
    pub fn is_near(&self, x: i64, y: i64, near: i64) -> bool {
        (-near..=near).any(|dy| (-near..=near).any(|dx| self.labels.get_or(x + dx, y + dy, 0) > 0))
    }
}

/// Finds the glints that may hide something; `None` where there are none. Bright spots in what is dark all round are left
/// out (the cores of bubbles, highlights on eyes and bladders), and thin ones (the rims of walls, moulded letters).
pub(super) fn lamp(luma: &Plane<f32>, ground: &Ground, lit_blocks: &Plane<bool>) -> Option<Lamp> {
    let (w, h) = (luma.width, luma.height);
    let least = BRIGHTEST * brightest(ground, lit_blocks);
    let mut brighter = Plane::filled(w, h, false);
    let mut bare = vec![0.0; w];
    for y in 0..h {
        ground.luma.row(y, &mut bare);
        let out = &mut brighter.data[y * w..(y + 1) * w];
        for (((out, v), bare), lit) in out.iter_mut().zip(luma.row(y)).zip(&bare).zip(ground.lit.row(y)) {
            *out = *lit && *v >= least.max((1.0 + BRIGHTER) * bare);
        }
    }
    let mut lamp: Option<Lamp> = None;
    for region in components::regions(&brighter, LEAST) {
        if region.axes().1 < NARROWEST || in_the_dark(&region, &brighter, ground) {
            continue;
        }
        let lamp = lamp.get_or_insert_with(|| Lamp { labels: Plane::filled(w, h, 0), across: Vec::new() });
        lamp.across.push(region.across());
        let label = u16::try_from(lamp.across.len()).unwrap_or(u16::MAX);
        for (x, y) in region.pixels.iter().map(|&(x, y)| (x as usize, y as usize)) {
            for near in y.saturating_sub(BLUR)..(y + BLUR + 1).min(h) {
                lamp.labels.data[near * w..][x.saturating_sub(BLUR)..(x + BLUR + 1).min(w)].fill(label);
            }
        }
        if label == u16::MAX {
            break;
        }
    }
    lamp
}

/// Whether most of what surrounds a bright spot is dark.
fn in_the_dark(region: &Region, brighter: &Plane<bool>, ground: &Ground) -> bool {
    let (mut bare, mut all) = (0u32, 0u32);
    for (x, y) in region.beside(BESIDE).filter(|(x, y)| !brighter.get_or(*x, *y, true)) {
        all += 1;
        bare += u32::from(ground.ink.get_or(x, y, 0.0) < DARK);
    }
    f64::from(bare) < BARE * f64::from(all)
}

/// Draws the ink of hidden pixels in from the two sides of the glint over them: the lesser of both, so that a body which
/// goes on under it is whole and what ends there is not drawn out. `across` gives the unit vector across the glint at a
/// pixel, `None` where nothing is hidden.
pub fn bridge(ink: &mut Plane<f32>, across: impl Fn(usize, usize) -> Option<[f64; 2]>) {
    let (w, h) = (ink.width, ink.height);
    let within = |x: f64, y: f64| {
        let (x, y) = (x.round(), y.round());
        (x >= 0.0 && y >= 0.0 && x < w as f64 && y < h as f64).then_some((x as usize, y as usize))
    };
    // The first place on the way out that is not hidden, and one pixel more: where the crop ends nothing is known.
    let seen = |ink: &Plane<f32>, from: [f64; 2], way: [f64; 2]| {
        let mut at = from;
        while let Some((x, y)) = within(at[0], at[1]) {
            if across(x, y).is_none() {
                return Some(ink.bilinear(at[0] + way[0], at[1] + way[1]));
            }
            at = [at[0] + way[0], at[1] + way[1]];
        }
        None
    };
    for y in 0..h {
        for x in 0..w {
            let Some([dx, dy]) = across(x, y) else { continue };
            let from = [x as f64, y as f64];
            let sides = [seen(ink, from, [dx, dy]), seen(ink, from, [-dx, -dy])];
            let least = sides.into_iter().map(|v| v.unwrap_or(0.0)).fold(f32::INFINITY, f32::min);
            ink.set(x, y, least);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A glint eight pixels wide lies across two upright bodies, one of which ends under it: the other is made whole, the
    /// ground between them and beyond the end stays bare.
    #[test]
    fn a_body_across_a_glint_is_made_whole() {
        let hidden = |y: usize| (16..24).contains(&y);
        let body = |x: usize, y: usize| (5..12).contains(&x) || (25..32).contains(&x) && y < 20;
        let mut ink = Plane::filled(40, 40, 0.0);
        for y in 0..40 {
            for x in 0..40 {
                let tissue = if body(x, y) { 0.2 } else { 0.0 };
                ink.set(x, y, if hidden(y) { -0.3 } else { tissue });
            }
        }
        bridge(&mut ink, |_, y| hidden(y).then_some([0.0, 1.0]));
        for y in 16..24 {
            for x in 0..40 {
                let whole = if (5..12).contains(&x) { 0.2 } else { 0.0 };
                assert_eq!(ink.at(x, y), whole, "{x} {y}");
            }
        }
    }
}
