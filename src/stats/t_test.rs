//! Student's t on tanks: Welch and pooled for two arms, paired for changes within tanks, one arm's mean.
//!
//! # References
//! - Welch 1947, Biometrika 34:28-35, doi:10.1093/biomet/34.1-2.28 (degrees of freedom).
//! - Student 1908, Biometrika 6:1-25, doi:10.1093/biomet/6.1.1.

use serde::{Deserialize, Serialize};

use super::moments::Moments;
use super::numeric::t_two_sided;
use super::{Interval, Level, StatsError};

/// A difference (or mean) with its t statistic.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct TTest {
    /// The difference of means, first less second; the mean change when paired.
    pub difference: f64,
    /// Its standard error.
    pub se: f64,
    /// Degrees of freedom.
    pub df: f64,
    /// t.
    pub t: f64,
    /// Two-sided p-value.
    pub p: f64,
    /// Limits of the difference.
    pub interval: Interval,
}

/// How the spread of the two arms is taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Variances {
    /// Each arm has its own (Welch). The default.
    #[default]
    Welch,
    /// Both share one: a little more power when that is true, too many false alarms when it is not.
    Pooled,
}

fn build(difference: f64, se: f64, df: f64, level: Level) -> Result<TTest, StatsError> {
    if se.is_nan() || se <= 0.0 {
        return Err(StatsError::NotEstimable("no variation between the values".into()));
    }
    let t = difference / se;
    let interval = Interval::around(difference, level.t(df) * se)
        .ok_or_else(|| StatsError::NotUsable("limits are not numbers".into()))?;
    Ok(TTest { difference, se, df, t, p: t_two_sided(t, df), interval })
}

/// Compares the means of two independent groups of tanks.
///
/// # Errors
/// [`StatsError::TooFew`] unless both groups have two values; [`StatsError::NotUsable`] for values that are not finite;
/// [`StatsError::NotEstimable`] when no group varies.
///
/// ```
/// use frygauge::stats::{Level, t_test::{Variances, two_groups}};
/// let t = two_groups(&[0.92, 0.88, 0.94], &[0.76, 0.82, 0.70], Variances::Pooled, Level::P95).unwrap();
/// assert!((t.difference - 0.1533).abs() < 1e-4 && t.df == 4.0);
/// ```
pub fn two_groups(
    first: &[f64],
    second: &[f64],
    variances: Variances,
    level: Level,
) -> Result<TTest, StatsError> {
    if first.len() < 2 || second.len() < 2 {
        return Err(StatsError::TooFew("each group needs two values".into()));
    }
    let (a, b) = (usable(first)?, usable(second)?);
    let (n1, n2) = (first.len() as f64, second.len() as f64);
    let (v1, v2) = (a.variance().unwrap_or(0.0), b.variance().unwrap_or(0.0));
    let (se, df) = match variances {
        Variances::Pooled => {
            let df = n1 + n2 - 2.0;
            let pooled = (a.sum_of_squares() + b.sum_of_squares()) / df;
            ((pooled * (1.0 / n1 + 1.0 / n2)).sqrt(), df)
        }
        Variances::Welch => {
            let (e1, e2) = (v1 / n1, v2 / n2);
            let df = (e1 + e2).powi(2) / (e1 * e1 / (n1 - 1.0) + e2 * e2 / (n2 - 1.0));
            ((e1 + e2).sqrt(), df)
        }
    };
    build(a.mean() - b.mean(), negligible(se, &a, &b), df, level)
}

/// Compares the mean of a group with the single value of a second one, whose spread is taken to be the group's:
/// n - 1 degrees of freedom (before/after/control with one impact site).
///
/// # Errors
/// As [`two_groups`].
pub fn group_and_one(group: &[f64], one: f64, level: Level) -> Result<TTest, StatsError> {
    if group.len() < 2 {
        return Err(StatsError::TooFew("the group needs two values".into()));
    }
    let a = usable(group)?;
    usable(&[one])?;
    let n = group.len() as f64;
    let se = (a.variance().unwrap_or(0.0) * (1.0 / n + 1.0)).sqrt();
    build(a.mean() - one, se, n - 1.0, level)
}

/// The mean of changes (or of one arm's tanks) against 0.
///
/// # Errors
/// As [`two_groups`], for one group.
pub fn one_group(values: &[f64], level: Level) -> Result<TTest, StatsError> {
    if values.len() < 2 {
        return Err(StatsError::TooFew("two values are needed".into()));
    }
    let m = usable(values)?;
    let se = m.standard_error().unwrap_or(0.0);
    build(m.mean(), negligible(se, &m, &m), (values.len() - 1) as f64, level)
}

fn usable(values: &[f64]) -> Result<Moments, StatsError> {
    Moments::of(values).ok_or_else(|| StatsError::NotUsable("a value is not a number".into()))
}

/// Rounding alone must not pass for variation: a spread 1e-12 of the values is none.
fn negligible(se: f64, a: &Moments, b: &Moments) -> f64 {
    if se <= 1e-12 * (a.mean().abs() + b.mean().abs()) { 0.0 } else { se }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_cannot_be_tested_is_refused() {
        let l = Level::P95;
        assert!(matches!(two_groups(&[1.0], &[1.0, 2.0], Variances::Welch, l), Err(StatsError::TooFew(_))));
        assert!(matches!(
            two_groups(&[0.1 + 0.2, 0.3], &[0.3, 0.1 + 0.2], Variances::Welch, l),
            Err(StatsError::NotEstimable(_))
        ));
        assert!(matches!(
            two_groups(&[f64::NAN, 1.0], &[1.0, 2.0], Variances::Pooled, l),
            Err(StatsError::NotUsable(_))
        ));
    }

    #[test]
    fn welch_with_one_constant_arm_uses_the_other_arms_freedom() {
        let t = two_groups(&[1.0, 1.0, 1.0], &[0.5, 0.6, 0.7], Variances::Welch, Level::P95).unwrap();
        assert!((t.df - 2.0).abs() < 1e-9);
    }
}
