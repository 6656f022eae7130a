//! Specific growth rate of a tank: the slope of ln(mean length) on day.
//!
//! One tank's rate and limits; for a treatment the tanks' rates are the data.
//!
//! # References
//! Ricker 1979, Growth rates and models, in Fish Physiology VIII, pp. 677-743 (instantaneous growth).

use super::linear;
use super::moments::Moments;
use super::{Interval, Level, StatsError};

/// Growth in per cent a day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Growth {
    /// Specific (instantaneous) rate, 100·d ln(length)/d day.
    pub rate: f64,
    /// Its standard error; `None` when two means without spread give it.
    pub se: Option<f64>,
    /// Its limits, where there are any.
    pub interval: Option<Interval>,
}

impl Growth {
    /// Growth of a day in per cent of the day before, 100(e^g - 1).
    pub fn daily_percent(&self) -> f64 {
        100.0 * (self.rate / 100.0).exp_m1()
    }

    /// Days to double; `None` unless the fish grow.
    pub fn doubling_days(&self) -> Option<f64> {
        (self.rate > 0.0).then(|| 100.0 * std::f64::consts::LN_2 / self.rate)
    }
}

/// Rate between two mean lengths `days` apart.
///
/// # Errors
/// [`StatsError::NotUsable`] unless lengths and days are above 0.
///
/// ```
/// use frygauge::stats::growth::between;
/// // Doubling in ten days is 6.93 % a day.
/// assert!((between(4.0, 8.0, 10.0).unwrap().rate - 6.93).abs() < 5e-3);
/// ```
pub fn between(first: f64, second: f64, days: f64) -> Result<Growth, StatsError> {
    let positive = |v: f64| v > 0.0 && v.is_finite();
    if !(positive(first) && positive(second) && positive(days)) {
        return Err(StatsError::NotUsable("lengths and days must be above 0".into()));
    }
    Ok(Growth { rate: 100.0 * (second / first).ln() / days, se: None, interval: None })
}

/// Rate between two independent samples of one tank `days` apart, with normal limits by the delta method: the variance of ln x̄ is s²/(n x̄²).
///
/// # Errors
/// As [`between`]; [`StatsError::TooFew`] unless both samples have two values.
pub fn between_samples(first: &[f64], second: &[f64], days: f64, level: Level) -> Result<Growth, StatsError> {
    let few = || StatsError::TooFew("each sample needs two lengths".into());
    let (a, b) = (Moments::of(first).ok_or_else(few)?, Moments::of(second).ok_or_else(few)?);
    let growth = between(a.mean(), b.mean(), days)?;
    let relative = |m: &Moments| m.standard_error().map(|se| se / m.mean());
    let se = 100.0 * relative(&a).ok_or_else(few)?.hypot(relative(&b).ok_or_else(few)?) / days;
    Ok(Growth { se: Some(se), interval: Interval::around(growth.rate, level.z() * se), ..growth })
}

/// Rate over a series of mean lengths by least squares on their logarithms, with t limits.
///
/// # Errors
/// [`StatsError::NotUsable`] unless all lengths are above 0; as [`linear::fit`] otherwise.
pub fn over_days(days: &[f64], lengths: &[f64], level: Level) -> Result<Growth, StatsError> {
    if lengths.iter().any(|l| l.is_nan() || *l <= 0.0) {
        return Err(StatsError::NotUsable("lengths must be above 0".into()));
    }
    let logs: Vec<f64> = lengths.iter().map(|l| l.ln()).collect();
    let line = linear::fit(days, &logs)?;
    let interval = line.slope_interval(level);
    Ok(Growth {
        rate: 100.0 * line.slope,
        se: line.slope_se().map(|s| 100.0 * s),
        interval: interval.and_then(|i| Interval::new(100.0 * i.low, 100.0 * i.high)),
    })
}
