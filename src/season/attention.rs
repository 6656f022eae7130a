//! Which tank needs somebody first: stated rules, each decided on intervals and never on a point value.
//!
//! | rule | fires when |
//! |---|---|
//! | [`Rule::BelowBand`] | the whole 95 % interval of today's inflated share lies below the band for its age |
//! | [`Rule::Drift`] | an EWMA of the daily shortfalls against the band's lower end leaves its lower limit |
//! | [`Rule::NoSample`] | the tank has not been sampled for two days (twice its sampling interval) while its window is open |
//! | [`Rule::Spread`] | today's interval of the CV of length lies wholly above that of the tank's first samples |
//! | [`Rule::Unsure`] | the whole 95 % interval of the unsure share lies above one in five |
//!
//! How often each fires when nothing is wrong is simulated by `cargo run --release --example attention`,
//! which writes `src/season/attention-rates.csv`; the report shows these rates beside the rules.

use super::band::Band;
use crate::stats::control::ewma;
use crate::stats::proportion::Method;
use crate::stats::{Interval, Level, cv};
use serde::Serialize;

/// Weight of the newest day in the EWMA (NIST e-Handbook 6.3.2.4: 0.2 to 0.3).
pub const EWMA_WEIGHT: f64 = 0.25;
/// Limits of the EWMA in its standard errors.
pub const EWMA_SIGMAS: f64 = 2.7;
/// Fewest measured fish for a CV that is compared.
pub const FEWEST_MEASURED: usize = 15;
/// Unsure share above which pictures are the first thing to look at (common practice, no source).
pub const MANY_UNSURE: f64 = 0.2;

/// The simulated false-alarm rates, as `examples/attention.rs` wrote them.
pub const RATES: &str = include_str!("attention-rates.csv");

/// A rule.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Rule {
    /// Today's inflation is below the band for its age.
    BelowBand,
    /// Day after day a little below the band.
    Drift,
    /// Not sampled.
    NoSample,
    /// Lengths spread more than they did.
    Spread,
    /// Pictures do not tell.
    Unsure,
}

impl Rule {
    /// All rules, most urgent first.
    pub const ALL: [Self; 5] = [Self::BelowBand, Self::Drift, Self::NoSample, Self::Spread, Self::Unsure];

    /// Its name.
    pub fn name(self) -> &'static str {
        match self {
            Self::BelowBand => "below the band",
            Self::Drift => "drifting below",
            Self::NoSample => "no sample",
            Self::Spread => "spread growing",
            Self::Unsure => "many unsure",
        }
    }

    /// What it says, in a sentence.
    pub fn statement(self) -> String {
        match self {
            Self::BelowBand => {
                "the whole 95 % interval of the day's inflated share lies below the band for its age".into()
            }
            Self::Drift => format!(
                "an EWMA (weight {EWMA_WEIGHT}) of the daily shortfalls against the band's lower end leaves its lower \
                 limit of {EWMA_SIGMAS} standard errors"
            ),
            Self::NoSample => {
                "not sampled for twice the sampling interval (two days at daily samples) while its window is open".into()
            }
            Self::Spread => format!(
                "the 95 % interval of the CV of total length lies wholly above that of the tank's first two samples \
                 (at least {FEWEST_MEASURED} fish each)"
            ),
            Self::Unsure => {
                format!("the whole 95 % interval of the unsure share lies above {:.0} %", 100.0 * MANY_UNSURE)
            }
        }
    }
}

/// What the rules look at in one sample.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Seen {
    /// Fish called inflated.
    pub inflated: u64,
    /// Fish called inflated or not.
    pub called: u64,
    /// Fish that could count and whose call is unsure.
    pub unsure: u64,
    /// The band at its age, where there is one.
    pub band: Option<Band>,
    /// Fish measured, and the CV of their lengths.
    pub spread: Option<(usize, f64)>,
}

/// Whether the day's inflated share is below the band.
pub fn below_band(day: &Seen) -> bool {
    let interval = Method::Wilson.interval(day.inflated, day.called, Level::P95);
    matches!((interval, day.band), (Some(i), Some(band)) if i.high < band.low)
}

/// The EWMA of the shortfalls, in standard errors, and its lower limit, after the last of `days`; `None`
/// when the last day has no band or no called fish.
///
/// The shortfall of a day is `(p - low) / sqrt(low (1 - low) / n)` with `low` the band's lower end: a tank
/// that just meets the band has mean 0 and variance 1, and any better tank is above. Days without a band
/// are passed over.
pub fn drift(days: &[Seen]) -> Option<(f64, f64)> {
    let z = |day: &Seen| {
        let band = day.band?;
        // At an end of 0 or 1 the binomial has no spread to measure a shortfall by.
        let low = band.low.clamp(0.02, 0.98);
        let n = day.called as f64;
        let p = day.inflated as f64 / n;
        (n > 0.0).then(|| (p - low) / (low * (1.0 - low) / n).sqrt())
    };
    z(days.last()?)?;
    // A better day does not pay for a worse one later: what is above the band counts as on it.
    let shortfalls: Vec<f64> = days.iter().filter_map(z).map(|z| z.min(0.0)).collect();
    // Cut at zero, a standard normal has mean -1/sqrt(2π) and variance 1/2 - 1/(2π).
    let mean = -1.0 / (2.0 * std::f64::consts::PI).sqrt();
    let sd = (0.5 - 0.5 / std::f64::consts::PI).sqrt();
    let chart = ewma(&shortfalls, mean, sd, EWMA_WEIGHT, EWMA_SIGMAS)?;
    Some((*chart.smoothed.last()?, chart.limits.last()?.low))
}

/// Whether lengths of the last day spread more than those of the first two sampled days did; the two
/// intervals of the CV when they do.
pub fn spread_grew(days: &[Seen]) -> Option<(Interval, Interval)> {
    let of = |days: &[Seen]| {
        let (n, squares) = days
            .iter()
            .filter_map(|d| d.spread)
            .fold((0, 0.0), |(n, sum), (k, cv)| (n + k, sum + k as f64 * cv * cv));
        if n < FEWEST_MEASURED {
            return None;
        }
        cv::interval((squares / n as f64).sqrt(), n, Level::P95)
    };
    let (last, before) = days.split_last()?;
    let first = of(&before[..before.len().min(2)])?;
    let now = of(std::slice::from_ref(last))?;
    (now.low > first.high).then_some((first, now))
}

/// Whether so many calls are unsure that the pictures are the first thing to look at.
pub fn many_unsure(day: &Seen) -> bool {
    Method::Wilson
        .interval(day.unsure, day.called + day.unsure, Level::P95)
        .is_some_and(|i| i.low > MANY_UNSURE)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::season::band::BandSource;

    fn day(inflated: u64, called: u64, low: f64) -> Seen {
        let band = Some(Band { low, high: 1.0, source: BandSource::Hatchery });
        Seen { inflated, called, unsure: 0, band, spread: None }
    }

    #[test]
    fn a_point_below_the_band_is_not_enough() {
        assert!(!below_band(&day(14, 30, 0.5)), "47 % (30-64) is not below 50 %");
        assert!(below_band(&day(7, 30, 0.5)), "23 % (12-41) is");
        assert!(!below_band(&day(0, 0, 0.5)));
        assert!(!below_band(&Seen { band: None, ..day(0, 30, 0.5) }));
    }

    #[test]
    fn small_shortfalls_add_up_and_single_ones_pass() {
        let fires = |days: &[Seen]| drift(days).is_some_and(|(now, limit)| now < limit);
        let short = day(11, 30, 0.5);
        assert!(!below_band(&short));
        assert!(!fires(&[day(15, 30, 0.5), short]));
        assert!(fires(&[short; 6]));
        assert!(!fires(&[day(28, 30, 0.5); 8]), "far above is not drift");
        // A good week does not hide a bad one.
        let mut days = vec![day(30, 30, 0.5); 6];
        days.extend([short; 6]);
        assert!(fires(&days));
        assert_eq!(drift(&[day(15, 30, 0.5), Seen { band: None, ..short }]), None);
    }

    #[test]
    fn spread_must_grow_beyond_both_intervals() {
        let with = |n, cv| Seen { spread: Some((n, cv)), ..day(20, 30, 0.5) };
        assert!(spread_grew(&[with(30, 0.06), with(30, 0.06), with(30, 0.14)]).is_some());
        assert!(spread_grew(&[with(30, 0.06), with(30, 0.06), with(30, 0.08)]).is_none());
        assert!(spread_grew(&[with(4, 0.06), with(4, 0.06), with(30, 0.3)]).is_none(), "too few to compare");
    }

    #[test]
    fn rates_are_of_the_rules_as_they_are() {
        let header = RATES.lines().next().unwrap_or_default();
        let expected = format!("EWMA weight {EWMA_WEIGHT}, limits {EWMA_SIGMAS}");
        assert!(header.contains(&expected), "run the example again: {header}");
        for rule in Rule::ALL.into_iter().filter(|r| *r != Rule::NoSample) {
            assert!(RATES.lines().any(|l| l.starts_with(rule.name())), "{}", rule.name());
        }
    }
}
