//! A share seen through a caller that errs: correction for its sensitivity and specificity.
//!
//! # References
//! - Rogan & Gladen 1978, Am. J. Epidemiol. 107:71-76, doi:10.1093/oxfordjournals.aje.a112510 (the estimate).
//! - Lang & Reiczigel 2014, Prev. Vet. Med. 113:13-22, doi:10.1016/j.prevetmed.2013.09.015 (limits when both rates are
//!   themselves estimated; in the printed eq. 4 the factor (1+P)² must read (1-P)²).
//! - Reiczigel, Földi & Ózsvári 2010, Epidemiol. Infect. 138:1674-1678, doi:10.1017/S0950268810000385 (known rates).

use serde::{Deserialize, Serialize};

use super::proportion::Method;
use super::{Interval, Level, StatsError};

/// A rate of right calls estimated from `n` checked cases.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Rate {
    /// The rate, 0-1.
    pub value: f64,
    /// Cases it was estimated from; above 0, not necessarily whole.
    pub n: f64,
}

/// A corrected share.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Corrected {
    /// The Rogan-Gladen value before it is cut to 0-1: outside when the rates do not fit the sample.
    pub raw: f64,
    /// The value cut to 0-1.
    pub estimate: f64,
    /// Limits cut to 0-1.
    pub interval: Interval,
}

/// The Rogan-Gladen estimate (apparent + sp - 1)/(se + sp - 1); an error unless se + sp exceeds 1.
///
/// # Errors
/// [`StatsError::NotEstimable`] when the caller does no better than chance, [`StatsError::NotUsable`] outside 0-1.
pub fn rogan_gladen(apparent: f64, sensitivity: f64, specificity: f64) -> Result<f64, StatsError> {
    for value in [apparent, sensitivity, specificity] {
        if !(0.0..=1.0).contains(&value) {
            return Err(StatsError::NotUsable(format!("rate {value} is outside 0-1")));
        }
    }
    let gain = sensitivity + specificity - 1.0;
    if gain <= 1e-9 {
        return Err(StatsError::NotEstimable(
            "sensitivity and specificity add up to 1 or less: the calls tell nothing".into(),
        ));
    }
    Ok((apparent + specificity - 1.0) / gain)
}

/// The share behind `apparent` of `n` calls, when sensitivity and specificity were estimated from checked cases.
///
/// # Errors
/// As [`rogan_gladen`]; [`StatsError::TooFew`] when any sample is empty.
///
/// ```
/// use frygauge::stats::{Level, misclassification::{Rate, lang_reiczigel}};
/// // Lang & Reiczigel 2014, example 1: 0.349 to 0.372.
/// let c = lang_reiczigel(
///     4060.0 / 11284.0, 11284.0,
///     Rate { value: 178.0 / 179.0, n: 179.0 }, Rate { value: 358.0 / 359.0, n: 359.0 }, Level::P95,
/// ).unwrap();
/// assert!((c.interval.low - 0.349).abs() < 5e-4 && (c.interval.high - 0.372).abs() < 5e-4);
/// ```
pub fn lang_reiczigel(
    apparent: f64,
    n: f64,
    sensitivity: Rate,
    specificity: Rate,
    level: Level,
) -> Result<Corrected, StatsError> {
    if !(n > 0.0 && sensitivity.n > 0.0 && specificity.n > 0.0) {
        return Err(StatsError::TooFew("no calls, or no checked fish of one kind".into()));
    }
    let raw = rogan_gladen(apparent, sensitivity.value, specificity.value)?;
    let z = level.z();
    // All three proportions are drawn in before the variance is formed: by 1 and 1 for the rates, by z²/2 for the share.
    let drawn = |r: Rate| ((r.n * r.value + 1.0) / (r.n + 2.0), r.n + 2.0);
    let ((se, n_se), (sp, n_sp)) = (drawn(sensitivity), drawn(specificity));
    let n_share = n + z * z;
    let share = (n * apparent + 0.5 * z * z) / n_share;
    let gain = se + sp - 1.0;
    if gain <= 1e-9 {
        return Err(StatsError::NotEstimable("too few checked fish to tell the caller from chance".into()));
    }
    let p = (share + sp - 1.0) / gain;
    let (var_se, var_sp) = (se * (1.0 - se) / n_se, sp * (1.0 - sp) / n_sp);
    let shift = 2.0 * z * z * (p * var_se - (1.0 - p) * var_sp);
    let variance =
        (share * (1.0 - share) / n_share + p * p * var_se + (1.0 - p) * (1.0 - p) * var_sp) / (gain * gain);
    let half = z * variance.sqrt();
    let interval = Interval::around(p + shift, half)
        .ok_or_else(|| StatsError::NotUsable("limits are not numbers".into()))?
        .clipped(0.0, 1.0);
    Ok(Corrected { raw, estimate: raw.clamp(0.0, 1.0), interval })
}

/// The share behind `x` of `n` calls when sensitivity and specificity are declared known: the limits of the
/// apparent share, transformed. Returns the limits before cutting too.
///
/// # Errors
/// As [`rogan_gladen`]; [`StatsError::TooFew`] when `n` is 0.
pub fn known_rates(
    x: u64,
    n: u64,
    sensitivity: f64,
    specificity: f64,
    method: Method,
    level: Level,
) -> Result<(Corrected, Interval), StatsError> {
    let apparent = method.interval(x, n, level).ok_or_else(|| StatsError::TooFew("no calls".into()))?;
    let raw = rogan_gladen(x as f64 / n as f64, sensitivity, specificity)?;
    let raw_interval = Interval {
        low: rogan_gladen(apparent.low, sensitivity, specificity)?,
        high: rogan_gladen(apparent.high, sensitivity, specificity)?,
    };
    let corrected =
        Corrected { raw, estimate: raw.clamp(0.0, 1.0), interval: raw_interval.clipped(0.0, 1.0) };
    Ok((corrected, raw_interval))
}
