//! What the widths and the ink along a line say against its being one fish from its snout to the end of its tail fin.

use super::crop::Crop;
use super::profile::{Profile, span};
use super::ribbon::COLUMNS;
use crate::imaging::{path, plane::quantile};
use crate::segmentation::Polarity;

/// The head and the tail, as shares of the length, and what is too narrow for them, as shares of the length: heads of larvae
/// are a tenth of it and more, and a fin seen on its edge is a fiftieth (from memory; the limits by trying, rendered fish).
const SNOUT: f64 = 0.1;
const LEAST_SNOUT: f32 = 0.02;
const TAIL_END: f64 = 0.8;
const LEAST_TAIL: f32 = 0.01;
/// A tail is thinner than the trunk and scatters less: what scatters more than so many times as much is none (by trying,
/// rendered fish).
const TAIL: f64 = 0.85;
const GLARE: f32 = 1.7;

/// The last part of the tail fin, the trunk and the peduncle before the fin, as shares of the length; ink of the fin at most, as
/// a share of the trunk's, and its width at least, as a share of the peduncle's, where it is no less: fins of larvae have a
/// fifth to half of the trunk's ink, and seen from the side spread as wide as the peduncle or wider (from memory; the
/// limits by trying, on fish of both renderers).
const FIN: f64 = 0.95;
const TRUNK: [f64; 2] = [0.3, 0.7];
const PEDUNCLE: [f64; 2] = [0.7, 0.8];
const FIN_INK: f32 = 0.5;
const FIN_SPREAD: f32 = 0.75;

/// Parts of the length that [`Profile::narrows_twice`] and [`Profile::leads_along_a_strand`] compare.
const PARTS: usize = 40;
/// Between these a body is looked at for a waist, as shares of the length; the fin lies behind them.
const WAIST: [f64; 2] = [0.2, 0.7];
const BEFORE_FIN: f64 = 0.8;
/// Depth of a waist, as a share of the lesser of the greatest depths on its two sides, and mass behind it, as a share of the
/// greatest anywhere (both by trying, on fish of both renderers: of those well measured one in two hundred has such a waist).
const NARROW: f32 = 0.55;
const AS_HEAVY: f32 = 0.7;
/// Denser tissue counts no more than so many trunks (by trying): an eye or pigment makes no body.
const MOST_INK: f32 = 1.2;

/// A strand is no wider than this share of the widest part before it, and its width and its ink are the same within these
/// factors (tenth to ninetieth percentile) for this share of the length at least: tails taper, and fins are fainter than
/// what bears them (by trying, on fish of both renderers).
const THIN: f32 = 0.2;
const SAME_WIDTH: f32 = 1.35;
const SAME_INK: f32 = 1.3;
const LONG: f64 = 0.3;

impl Profile {
    /// Whether an end is that of no fish, the head at the start: a line was followed on along a fibre, or on to a chip
    /// that glares beside the tail. `trunk` is the ink of the trunk.
    pub fn ends_on_another(&self, trunk: f32, polarity: Polarity) -> bool {
        let share = |from: f64, to: f64| self.mean_width(from, to) / COLUMNS as f32;
        let glares = polarity == Polarity::BrightFish && self.level(TAIL, 1.0) > GLARE * trunk;
        share(0.0, SNOUT) < LEAST_SNOUT || share(TAIL_END, 1.0) < LEAST_TAIL || glares
    }

    /// Whether a body, the head at the start, ends as dense as a trunk and no wider than it was before: where its tail grows thin,
    /// not in a fin, which is fainter, or spreads.
    pub fn ends_without_a_fin(&self) -> bool {
        self.level(FIN, 1.0) > FIN_INK * self.least_level(TRUNK[0], TRUNK[1])
            && self.mean_width(FIN, 1.0) < FIN_SPREAD * self.mean_width(PEDUNCLE[0], PEDUNCLE[1])
    }

    /// Ink across the body that a third of it between two fractions has at most: pigment and gut lie elsewhere.
    fn least_level(&self, from: f64, to: f64) -> f32 {
        let (a, b) = span(from, to);
        quantile(&mut self.level[a..b].to_vec(), 1.0 / 3.0).unwrap_or(0.0)
    }

    /// Whether the body, the head at the start, is narrow somewhere behind its head and then as heavy again: a fish tapers once,
    /// and a line that leads on from one fish to the next does twice. `trunk` is the ink of the trunk.
    pub fn narrows_twice(&self, trunk: f32) -> bool {
        let ink = |v: f32| (v / trunk.max(1e-6)).min(MOST_INK);
        let widths = smoothed(&parts(|c| self.width(c)));
        let masses = smoothed(&parts(|c| self.width(c) * ink(self.level[c])));
        let [from, to, end] = [WAIST[0], WAIST[1], BEFORE_FIN].map(|share| (share * PARTS as f64) as usize);
        let greatest = |of: &[f32]| of.iter().copied().fold(0.0, f32::max);
        let heavy = AS_HEAVY * greatest(&masses);
        (from..to).any(|i| {
            // By width and by mass: a bladder is clear, and a fin is wide.
            let narrow = |of: &[f32]| of[i] < NARROW * greatest(&of[2..i]).min(greatest(&of[i + 1..end]));
            greatest(&masses[i + 1..end]) >= heavy && narrow(&widths) && narrow(&masses)
        })
    }

    /// Whether the last part of the line is a strand: thin, and all along as wide and as dense as it begins.
    pub fn leads_along_a_strand(&self) -> bool {
        let (widths, levels) = (parts(|c| self.width(c)), parts(|c| self.level[c]));
        // The very end is rounded off.
        let end = PARTS - 1;
        let from = end - (LONG * PARTS as f64) as usize;
        let same = |of: &[f32], most: f32| {
            let at = |q: f64| quantile(&mut of[from..end].to_vec(), q).unwrap_or(0.0);
            at(0.1) > 0.0 && at(0.9) < most * at(0.1)
        };
        let widest = widths[2..from].iter().copied().fold(0.0, f32::max);
        let thin = quantile(&mut widths[from..end].to_vec(), 0.5).is_some_and(|width| width < THIN * widest);
        thin && same(&widths, SAME_WIDTH) && same(&levels, SAME_INK)
    }
}

/// How far beside its width a fish is held to reach, as a factor and crop pixels (by trying, fish of both renderers).
const BESIDE: (f64, f64) = (1.2, 2.0);

/// Share of the dense pixels of a body, those of half its trunk's ink and more, that lie beside the fish along a line; `step` is
/// crop pixels to a column of its profile.
pub fn left_over(crop: &Crop, line: &[[f64; 2]], profile: &Profile, step: f64) -> f64 {
    let dense = crop.denser(0.5 * crop.trunk);
    let mut reached = dense.map(|_| false);
    for (c, p) in path::resample(line, COLUMNS + 1).into_iter().enumerate() {
        let half = f64::from(profile.left[c].max(profile.right[c])) * step;
        reached.set_disc(p, BESIDE.0 * half + BESIDE.1);
    }
    let all = dense.data.iter().filter(|d| **d).count().max(1);
    let beside = dense.data.iter().zip(&reached.data).filter(|(d, r)| **d && !**r).count();
    beside as f64 / all as f64
}

/// Means of a reading over equal parts of the length.
fn parts(read: impl Fn(usize) -> f32) -> Vec<f32> {
    let part = COLUMNS / PARTS;
    (0..PARTS).map(|i| (i * part..(i + 1) * part).map(&read).sum::<f32>() / part as f32).collect()
}

/// Means over each part and the ones beside it.
fn smoothed(parts: &[f32]) -> Vec<f32> {
    let near = |i: usize| &parts[i.saturating_sub(1)..(i + 2).min(parts.len())];
    (0..parts.len()).map(|i| near(i).iter().sum::<f32>() / near(i).len() as f32).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A profile whose full width, as a share of the length, and whose ink are given along the body.
    fn profile(width: impl Fn(f64) -> f32, level: impl Fn(f64) -> f32) -> Profile {
        let along =
            |read: &dyn Fn(f64) -> f32| (0..=COLUMNS).map(|c| read(c as f64 / COLUMNS as f64)).collect();
        let half = |s: f64| 0.5 * COLUMNS as f32 * width(s);
        Profile { left: along(&half), right: along(&half), level: along(&level) }
    }

    /// A larva with a fin seen on its edge is whole; the same with a fibre before its snout, a fibre behind its tail, or, on
    /// a dark ground, a chip beside its tail that glares, is not.
    #[test]
    fn fibres_and_chips_are_no_ends_of_fish() {
        let larva = |s: f64| if s < 0.8 { 0.12 - 0.12 * s as f32 } else { 0.018 };
        let ends = |p: &Profile, polarity| p.ends_on_another(1.0, polarity);
        let even = profile(larva, |_| 1.0);
        assert!(!ends(&even, Polarity::DarkFish) && !ends(&even, Polarity::BrightFish));
        let before = profile(|s| if s < 0.15 { 0.006 } else { larva(s) }, |_| 1.0);
        assert!(ends(&before, Polarity::DarkFish));
        let behind = profile(|s| if s > 0.75 { 0.006 } else { larva(s) }, |_| 1.0);
        assert!(ends(&behind, Polarity::DarkFish));
        let chip = profile(larva, |s| if s > 0.8 { 2.5 } else { 1.0 });
        assert!(ends(&chip, Polarity::BrightFish) && !ends(&chip, Polarity::DarkFish));
    }

    /// A larva whose tail ends in a fin, faint and wide, seen from the side, or faint and narrow, or as dense as the trunk and
    /// wide, ends in its fin; one that ends dense and narrow ends before it. Pigment along the trunk makes it no fainter.
    #[test]
    fn a_dense_thin_end_is_no_fin() {
        let tapers = |s: f64| 0.12 - 0.1 * s as f32;
        let spreads = |s: f64| if s < 0.9 { tapers(s) } else { 0.06 };
        let faint = |s: f64| if s < 0.9 { 1.0 } else { 0.2 };
        let even = |_: f64| 1.0;
        assert!(!profile(spreads, faint).ends_without_a_fin());
        assert!(!profile(tapers, faint).ends_without_a_fin());
        assert!(!profile(spreads, even).ends_without_a_fin());
        assert!(profile(tapers, even).ends_without_a_fin());
        let spotted = |s: f64| if (0.3..0.5).contains(&s) { 3.0 } else { 1.0 };
        assert!(profile(tapers, spotted).ends_without_a_fin());
    }

    /// A larva that narrows to its tail fin narrows once, whether its bladder is clear or its fin wide; the line over one that lies
    /// with its head on another's tail narrows twice.
    #[test]
    fn two_fish_in_line_narrow_twice() {
        let larva = |s: f64| if s < 0.9 { 0.12 - 0.1 * s as f32 } else { 0.09 };
        let fin = |s: f64| if s < 0.9 { 1.0 } else { 0.2 };
        assert!(!profile(larva, fin).narrows_twice(1.0));
        let clear = |s: f64| if (0.35..0.45).contains(&s) { 0.2 } else { fin(s) };
        assert!(!profile(larva, clear).narrows_twice(1.0));
        let two = |s: f64| larva(if s < 0.45 { s / 0.45 * 0.85 } else { (s - 0.45) / 0.55 });
        assert!(profile(two, fin).narrows_twice(1.0));
    }

    /// A line that leads off a larva along a hair; the thin tails of slender larvae still taper, or bear a fainter fin.
    #[test]
    fn a_hair_is_as_wide_all_along() {
        let larva = |s: f64| 0.12 - 0.11 * s as f32;
        let even = |_: f64| 1.0;
        assert!(!profile(larva, even).leads_along_a_strand());
        let hair = |s: f64| if s < 0.6 { larva(s) } else { 0.02 };
        assert!(profile(hair, even).leads_along_a_strand());
        assert!(!profile(hair, |s| if s < 0.85 { 1.0 } else { 0.3 }).leads_along_a_strand());
        let wide = |s: f64| if s < 0.6 { larva(s) } else { 0.05 };
        assert!(!profile(wide, even).leads_along_a_strand());
    }
}
