//! One proportion: interval estimates from `x` successes in `n` independent trials.
//!
//! # References
//! - Wilson 1927, J. Am. Stat. Assoc. 22:209-212, doi:10.1080/01621459.1927.10502953.
//! - Clopper & Pearson 1934, Biometrika 26:404-413, doi:10.1093/biomet/26.4.404.
//! - Brown, Cai & DasGupta 2001, Stat. Sci. 16:101-133, doi:10.1214/ss/1009213286 (Jeffreys, Agresti-Coull, the comparison).
//! - Newcombe 1998, Stat. Med. 17:857-872 (worked examples the tests use).

use serde::{Deserialize, Serialize};
use statrs::distribution::{Binomial, Discrete, DiscreteCDF};

use super::numeric::{beta_quantile, root};
use super::{Interval, Level};

/// How to put limits on one proportion.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Method {
    /// Score interval: coverage close to nominal on average, sane at 0 and n. The default.
    #[default]
    Wilson,
    /// Inverts two exact one-sided tests: coverage never below nominal, so it is wider.
    ClopperPearson,
    /// Equal-tailed posterior limits under the Jeffreys prior, closed at 0 and n.
    Jeffreys,
    /// Wald around the Wilson centre; for n above 40.
    AgrestiCoull,
    /// Clopper-Pearson with half the probability of the observed count in the tail.
    MidP,
}

impl Method {
    /// Limits for the proportion behind `x` successes in `n` trials.
    ///
    /// `None` when `n` is 0 or `x` exceeds `n`.
    ///
    /// ```
    /// use frygauge::stats::{Level, proportion::Method};
    /// // Newcombe 1998, Table I: 15 of 148.
    /// let ci = Method::Wilson.interval(15, 148, Level::P95).unwrap();
    /// assert!((ci.low - 0.0624).abs() < 5e-5 && (ci.high - 0.1605).abs() < 5e-5);
    /// assert!(Method::Wilson.interval(0, 0, Level::P95).is_none());
    /// ```
    pub fn interval(self, x: u64, n: u64, level: Level) -> Option<Interval> {
        if n == 0 || x > n {
            return None;
        }
        let (successes, trials) = (x as f64, n as f64);
        let raw = match self {
            Self::Wilson => wilson(successes, trials, level)?,
            Self::AgrestiCoull => agresti_coull(successes, trials, level)?,
            Self::ClopperPearson => beta_limits(successes, trials, 0.0, level)?,
            Self::Jeffreys => beta_limits(successes, trials, 0.5, level)?,
            Self::MidP => mid_p(x, n, level)?,
        };
        Interval::new(raw.low.max(0.0), raw.high.min(1.0))
    }

    /// The name to print.
    pub fn name(self) -> &'static str {
        match self {
            Self::Wilson => "Wilson",
            Self::ClopperPearson => "Clopper-Pearson",
            Self::Jeffreys => "Jeffreys",
            Self::AgrestiCoull => "Agresti-Coull",
            Self::MidP => "mid-p",
        }
    }
}

/// Wilson's score interval; `x` and `n` may be effective (not whole) counts.
///
/// `None` unless `0 <= x <= n` and `n > 0`.
///
/// # References
/// Wilson 1927; Brown, Cai & DasGupta 2001, eq. 4.
pub fn wilson(x: f64, n: f64, level: Level) -> Option<Interval> {
    score(x, n, level.z())
}

/// Wilson's interval with `quantile` in place of the normal one: Student's t where the variance itself is estimated.
pub(crate) fn score(x: f64, n: f64, quantile: f64) -> Option<Interval> {
    if !(n > 0.0 && n.is_finite() && x >= 0.0 && x <= n && quantile.is_finite()) {
        return None;
    }
    let p = x / n;
    let shrink = 1.0 + quantile * quantile / n;
    let centre = (p + quantile * quantile / (2.0 * n)) / shrink;
    let half = quantile / shrink * (p * (1.0 - p) / n + quantile * quantile / (4.0 * n * n)).sqrt();
    Interval::new(
        if x == 0.0 { 0.0 } else { (centre - half).max(0.0) },
        if x == n { 1.0 } else { (centre + half).min(1.0) },
    )
}

/// Agresti and Coull's interval: adds z²/2 successes and as many failures, then Wald; clipped to 0-1.
fn agresti_coull(x: f64, n: f64, level: Level) -> Option<Interval> {
    let z = level.z();
    let trials = n + z * z;
    let p = (x + 0.5 * z * z) / trials;
    Some(Interval::around(p, z * (p * (1.0 - p) / trials).sqrt())?.clipped(0.0, 1.0))
}

/// Beta quantiles: Clopper-Pearson with `prior` 0, Jeffreys with 1/2.
fn beta_limits(x: f64, n: f64, prior: f64, level: Level) -> Option<Interval> {
    // Clopper-Pearson counts the observed table in both tails, hence the extra 1.
    let extra = if prior == 0.0 { 1.0 } else { prior };
    let low = if x == 0.0 { 0.0 } else { beta_quantile(level.tail(), x + prior, n - x + extra) };
    // By symmetry, so that the small tail is always the lower one.
    let high = if x == n { 1.0 } else { 1.0 - beta_quantile(level.tail(), n - x + prior, x + extra) };
    Interval::new(low, high)
}

/// Mid-p limits by inverting P(X > x) + P(X = x)/2 = α/2 in either direction.
fn mid_p(x: u64, n: u64, level: Level) -> Option<Interval> {
    let tail = |p: f64, upper: bool| -> f64 {
        let Ok(d) = Binomial::new(p, n) else {
            return f64::NAN;
        };
        let beyond = if upper {
            d.sf(x)
        } else if x == 0 {
            0.0
        } else {
            d.cdf(x - 1)
        };
        beyond + 0.5 * d.pmf(x) - level.tail()
    };
    let p = x as f64 / n as f64;
    let low = if x == 0 { 0.0 } else { root(|q| tail(q, true), 0.0, p)? };
    let high = if x == n { 1.0 } else { root(|q| tail(q, false), p, 1.0)? };
    Interval::new(low, high)
}

/// Upper limit of a proportion of which none was seen in `n`: 1 - α^(1/n), one-sided (the exact "rule of three").
///
/// `None` when `n` is 0.
///
/// ```
/// use frygauge::stats::{Level, proportion::none_seen_upper};
/// // 59 fish without a case exclude 5 % at 95 %.
/// assert!(none_seen_upper(59, Level::P95).unwrap() < 0.05);
/// assert!(none_seen_upper(58, Level::P95).unwrap() > 0.05);
/// ```
pub fn none_seen_upper(n: u64, level: Level) -> Option<f64> {
    (n > 0).then(|| -(level.alpha().ln() / n as f64).exp_m1())
}
