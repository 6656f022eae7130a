//! Length at age, daily increment and specific growth rate with limits, tank by tank; treatments are compared on tanks.
//!
//! Specific growth rate is 100 times the slope of the logarithm of mean length on day (% per day). With three dates or
//! more the scatter of the dates about the line gives the limits; with two, the fish of either sample do.

use jiff::civil::Date;
use serde::{Deserialize, Serialize};

use super::cannibals::day;
use super::{DecisionError, Estimate, Sample, State, sample};
use crate::stats::moments::Moments;
use crate::stats::{Level, linear};

/// Lengths on one date.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LengthAtAge {
    /// Date.
    pub date: Date,
    /// Age, days post hatch.
    pub age_dph: Option<f64>,
    /// Fish.
    pub fish: usize,
    /// Mean length, mm; limits need two fish.
    pub mean_length_mm: f64,
    /// Its limits.
    pub limits_mm: Option<(f64, f64)>,
}

/// Where the limits come from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Method {
    /// A line through three dates or more.
    Regression,
    /// The fish of two samples; day-to-day differences of the dip are not in the limits.
    TwoSamples,
}

/// Growth of one tank in one state of its fish.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TankGrowth {
    /// Tank.
    pub tank: Option<String>,
    /// Fresh, preserved or corrected: never a mix.
    pub state: State,
    /// Length at each date, by rising date.
    pub points: Vec<LengthAtAge>,
    /// Daily increment, mm per day.
    pub increment_mm_per_day: Estimate,
    /// Specific growth rate of length, % per day.
    pub specific_pct_per_day: Estimate,
    /// Where the limits come from.
    pub method: Method,
}

/// Growth from the samples of one tank, all in one state.
///
/// # Errors
/// [`DecisionError`] when samples mix fresh and preserved fish, carry no dates, or are of fewer than two dates.
pub fn of_tank(samples: &[Sample], level: Level) -> Result<TankGrowth, DecisionError> {
    let first = samples.first().ok_or_else(|| DecisionError::new("no sample", "measure some fish"))?;
    if samples.iter().any(|s| s.state != first.state) {
        return Err(DecisionError::new(
            format!(
                "{}: fresh and preserved fish are never pooled",
                first.tank.as_deref().unwrap_or("all fish")
            ),
            "give each state of its own, or correct the preserved lengths",
        ));
    }
    let mut dated: Vec<(Date, &Sample, Moments)> = Vec::new();
    for s in samples {
        sample::check(s)?;
        if let (Some(date), Some(m)) = (s.date, Moments::of(&s.lengths())) {
            dated.push((date, s, m));
        }
    }
    dated.sort_by_key(|(date, ..)| *date);
    dated.dedup_by_key(|(date, ..)| *date);
    if dated.len() < 2 {
        return Err(DecisionError::new(
            format!("{}: growth needs samples of two dates", first.tank.as_deref().unwrap_or("all fish")),
            "sample the tank again on another day",
        ));
    }
    let days: Vec<f64> = dated.iter().map(|(d, ..)| f64::from(day(*d))).collect();
    let means: Vec<f64> = dated.iter().map(|(_, _, m)| m.mean()).collect();
    let logs: Vec<f64> = means.iter().map(|m| m.ln()).collect();
    let points = dated
        .iter()
        .map(|(date, s, m)| LengthAtAge {
            date: *date,
            age_dph: s.age_dph,
            fish: m.n(),
            mean_length_mm: m.mean(),
            limits_mm: m.mean_interval(level).map(|i| (i.low, i.high)),
        })
        .collect();
    let (plain, log) = (linear::fit(&days, &means)?, linear::fit(&days, &logs)?);
    let rate = |value: f64, interval: Option<crate::stats::Interval>| {
        interval.map_or(Estimate { value, low: f64::NEG_INFINITY, high: f64::INFINITY }, |i| {
            Estimate::new(value, i)
        })
    };
    let (increment, specific, method) = if dated.len() > 2 {
        (
            rate(plain.slope, plain.slope_interval(level)),
            rate(log.slope, log.slope_interval(level)),
            Method::Regression,
        )
    } else {
        let ((_, _, a), (_, _, b)) = (&dated[0], &dated[1]);
        let span = days[1] - days[0];
        let (Some(se_a), Some(se_b)) = (a.standard_error(), b.standard_error()) else {
            return Err(DecisionError::new(
                "a sample of one fish has no limits",
                "measure at least two fish a date",
            ));
        };
        // The delta method on the logarithm: standard error over mean.
        let relative = (se_a / a.mean()).hypot(se_b / b.mean());
        let around = |value: f64, se: f64| rate(value, crate::stats::Interval::around(value, level.z() * se));
        (around(plain.slope, se_a.hypot(se_b) / span), around(log.slope, relative / span), Method::TwoSamples)
    };
    Ok(TankGrowth {
        tank: first.tank.clone(),
        state: first.state.clone(),
        points,
        increment_mm_per_day: increment,
        specific_pct_per_day: percent(specific),
        method,
    })
}

/// Limits may be negative, so this is not [`Estimate::times`].
fn percent(e: Estimate) -> Estimate {
    Estimate { value: 100.0 * e.value, low: 100.0 * e.low, high: 100.0 * e.high }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::decision::MeasuredFish;
    use jiff::civil::date;

    fn sample(day: i8, lengths: &[f64]) -> Sample {
        let fish = lengths.iter().map(|&length_mm| MeasuredFish { length_mm, ..MeasuredFish::default() });
        Sample {
            tank: Some("P01".into()),
            date: Some(date(2026, 5, day)),
            age_dph: None,
            state: State::Fresh,
            fish: fish.collect(),
        }
    }

    /// Reference rows `sgr-delta` and `sgr-regression` (tests/reference/ref/07_growth_and_curves.csv).
    #[test]
    fn specific_growth_of_two_samples_and_of_many() {
        let two = [sample(1, &[4.1, 4.0, 4.3, 3.8, 4.2]), sample(9, &[6.8, 7.1, 6.6, 7.4, 6.9])];
        let g = of_tank(&two, Level::P95).unwrap().specific_pct_per_day;
        assert!((g.value - 6.67603107413).abs() < 1e-9);
        assert!((g.low - 5.97084054177).abs() < 1e-6 && (g.high - 7.38122160649).abs() < 1e-6);
        let many: Vec<Sample> =
            [(3, 3.42), (5, 3.81), (7, 4.33), (9, 4.86), (12, 5.71), (15, 6.88), (18, 8.05)]
                .map(|(d, l)| sample(d, &[l]))
                .to_vec();
        let g = of_tank(&many, Level::P95).unwrap().specific_pct_per_day;
        assert!((g.value - 5.74694230101).abs() < 1e-9 && (g.low - 5.60476299971).abs() < 1e-8);
    }

    #[test]
    fn fresh_and_preserved_are_never_pooled() {
        let mut later = sample(9, &[6.0, 7.0]);
        later.state = State::Preserved("ethanol".into());
        let error = of_tank(&[sample(1, &[4.0, 5.0]), later], Level::P95).unwrap_err();
        assert!(error.what.contains("never pooled"));
        assert!(of_tank(&[sample(1, &[4.0, 5.0])], Level::P95).is_err());
    }
}
