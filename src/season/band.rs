//! The inflated share a tank of an age should have, as a band.
//!
//! The hatchery's own expectation goes first, then the species profile's; both are points by age, joined by
//! straight lines. Where neither says, the other tanks sampled at the same age give the band: the range
//! that holds about nine in ten tanks like them, fish-sampling noise taken out.

use super::register::{Expected, Register};
use super::species::Profile;
use crate::stats::Level;
use crate::stats::moments::Moments;
use serde::Serialize;

/// Fewer other tanks than this give no band.
pub const FEWEST_PEERS: usize = 4;

/// A band of inflated shares, fractions 0-1.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Band {
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// Where it comes from.
    pub source: BandSource,
}

/// Where a band comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum BandSource {
    /// `expected_inflation` of frygauge.toml.
    Hatchery,
    /// The species profile.
    Profile,
    /// The other tanks at the same age.
    OtherTanks,
}

impl BandSource {
    /// In a sentence.
    pub fn words(self) -> &'static str {
        match self {
            Self::Hatchery => "your own expectation (frygauge.toml)",
            Self::Profile => "the species profile",
            Self::OtherTanks => "the other tanks at this age",
        }
    }
}

/// The band at `age_dph` by the hatchery or the profile. Before the first point there is none; after the
/// last it stays.
pub fn expected(register: &Register, profile: &Profile, age_dph: f64) -> Option<Band> {
    let of = |points: &[Expected], source| {
        let (low, high) = interpolated(points, age_dph)?;
        Some(Band { low, high, source })
    };
    if register.settings.expected_inflation.is_empty() {
        of(&profile.expected_inflation, BandSource::Profile)
    } else {
        of(&register.settings.expected_inflation, BandSource::Hatchery)
    }
}

/// The band at an age between the points of a curve.
pub fn interpolated(points: &[Expected], age_dph: f64) -> Option<(f64, f64)> {
    let (first, last) = (points.first()?, points.last()?);
    if age_dph < first.dph {
        return None;
    }
    if age_dph >= last.dph {
        return Some((last.low, last.high));
    }
    let pair = points.windows(2).find(|w| age_dph < w[1].dph)?;
    let t = (age_dph - pair[0].dph) / (pair[1].dph - pair[0].dph);
    let between = |a: f64, b: f64| a + t * (b - a);
    Some((between(pair[0].low, pair[1].low), between(pair[0].high, pair[1].high)))
}

/// The band that the other tanks' samples (inflated, called) of one age give: on the empirical logit,
/// their mean and a 90 % t prediction interval from their spread less what sampling of fish alone makes.
/// `None` for fewer than [`FEWEST_PEERS`].
///
/// # References
/// Empirical logit and its variance: McCullagh & Nelder 1989, Generalized Linear Models, ch. 4 (from memory).
pub fn of_peers(counts: &[(u64, u64)]) -> Option<Band> {
    let (mut logits, mut noise) = (Vec::new(), 0.0);
    for &(inflated, called) in counts.iter().filter(|(_, n)| *n > 0) {
        let (x, y) = (inflated as f64 + 0.5, (called - inflated) as f64 + 0.5);
        logits.push((x / y).ln());
        noise += 1.0 / x + 1.0 / y;
    }
    if logits.len() < FEWEST_PEERS {
        return None;
    }
    let n = logits.len() as f64;
    let moments = Moments::of(&logits)?;
    let between = (moments.variance()? - noise / n).max(0.0);
    // The mean is known only as well as all of the scatter lets it.
    let half = Level::P90.t(n - 1.0) * (between + moments.variance()? / n).sqrt();
    let share = |logit: f64| 1.0 / (1.0 + (-logit).exp());
    Some(Band {
        low: share(moments.mean() - half),
        high: share(moments.mean() + half),
        source: BandSource::OtherTanks,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_curve_is_joined_by_straight_lines_and_never_extended_back() {
        let points =
            [Expected { dph: 6.0, low: 0.2, high: 0.4 }, Expected { dph: 10.0, low: 0.6, high: 0.9 }];
        assert_eq!(interpolated(&points, 5.9), None);
        assert_eq!(interpolated(&points, 6.0), Some((0.2, 0.4)));
        let (low, high) = interpolated(&points, 8.0).unwrap();
        assert!((low - 0.4).abs() < 1e-12 && (high - 0.65).abs() < 1e-12);
        assert_eq!(interpolated(&points, 30.0), Some((0.6, 0.9)));
        assert_eq!(interpolated(&[], 8.0), None);
    }

    #[test]
    fn like_tanks_give_a_narrow_band_and_unlike_ones_a_wide_one() {
        let like = of_peers(&[(20, 30), (21, 30), (19, 30), (20, 30), (20, 30)]).unwrap();
        let unlike = of_peers(&[(5, 30), (28, 30), (15, 30), (22, 30), (9, 30)]).unwrap();
        assert!(like.low > 0.6 && like.high < 0.73, "{like:?}");
        assert!(unlike.low < 0.1 && unlike.high > 0.9, "{unlike:?}");
        assert_eq!(of_peers(&[(20, 30), (21, 30), (19, 30)]), None);
        assert!(of_peers(&[(30, 30), (30, 30), (30, 30), (30, 30)]).unwrap().low < 1.0);
    }
}
