//! Length at age, daily increment and specific growth rate with limits, tank by tank; treatments are compared on tanks.
//!
//! Specific growth rate is 100 times the slope of the logarithm of mean length on day (% per day). With three dates or
//! more the scatter of the dates about the line gives the limits; with two, the fish of either sample do.

use jiff::civil::Date;
use serde::{Deserialize, Serialize};

use super::cannibals::day;
use super::{DecisionError, Estimate, Sample, State, sample};
use crate::stats::moments::Moments;
use crate::stats::{self, Interval, Level, linear};

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
    let plain = linear::fit(&days, &means)?;
    let rate = |value: f64, interval: Option<Interval>| {
        interval.map_or(Estimate { value, low: f64::NEG_INFINITY, high: f64::INFINITY }, |i| {
            Estimate::new(value, i)
        })
    };
    let (increment, specific, method) = if dated.len() > 2 {
        let specific = stats::growth::over_days(&days, &means, level)?;
        (rate(plain.slope, plain.slope_interval(level)), specific, Method::Regression)
    } else {
        let ((_, first, a), (_, second, b)) = (&dated[0], &dated[1]);
        let span = days[1] - days[0];
        let specific = stats::growth::between_samples(&first.lengths(), &second.lengths(), span, level)?;
        let se = a.standard_error().zip(b.standard_error()).map(|(a, b)| a.hypot(b) / span);
        let interval = se.and_then(|se| Interval::around(plain.slope, level.z() * se));
        (rate(plain.slope, interval), specific, Method::TwoSamples)
    };
    Ok(TankGrowth {
        tank: first.tank.clone(),
        state: first.state.clone(),
        points,
        increment_mm_per_day: increment,
        specific_pct_per_day: rate(specific.rate, specific.interval),
        method,
    })
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
