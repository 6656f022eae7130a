//! Straight lines by least squares, also through logarithms, with limits for the line and for a new value.
//!
//! # References
//! - Draper & Smith 1998, Applied Regression Analysis, 3rd ed., ch. 1 and 3 (limits of the line and of a new value).
//! - Duan 1983, J. Am. Stat. Assoc. 78:605-610, doi:10.1080/01621459.1983.10478017, and Beauchamp & Olson 1973,
//!   Ecology 54:1403-1407, doi:10.2307/1934208 (a line through logarithms gives the median: the mean is exp(s²/2) above).

use serde::{Deserialize, Serialize};

use super::{Interval, Level, StatsError};

/// A line y = intercept + slope · x fitted to `n` points by least squares.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct LinearFit {
    /// Number of points.
    pub n: usize,
    /// Value of the line at x = 0.
    pub intercept: f64,
    /// Rise of the line per unit of x.
    pub slope: f64,
    /// Standard deviation of the points about the line (divisor n - 2); `None` for two points.
    pub residual_sd: Option<f64>,
    /// Share of the variation of y that the line explains; `None` when y does not vary.
    pub r_squared: Option<f64>,
    /// Mean of x.
    pub mean_x: f64,
    /// Sum of squared deviations of x from its mean.
    pub sum_of_squares_x: f64,
    /// Smallest x.
    pub least_x: f64,
    /// Largest x.
    pub most_x: f64,
}

/// The line through `x` and `y` by least squares.
///
/// # Errors
/// [`StatsError::NotUsable`] when the two differ in number or a value is not finite, [`StatsError::TooFew`] below two
/// points, [`StatsError::NotEstimable`] when x does not vary.
///
/// ```
/// use frygauge::stats::linear::fit;
/// let line = fit(&[1.0, 2.0, 3.0], &[2.0, 4.0, 6.5]).unwrap();
/// assert!((line.slope - 2.25).abs() < 1e-12);
/// assert!(fit(&[1.0, 1.0], &[2.0, 3.0]).is_err());
/// ```
pub fn fit(x: &[f64], y: &[f64]) -> Result<LinearFit, StatsError> {
    if x.len() != y.len() {
        return Err(StatsError::NotUsable(format!("{} values of x but {} of y", x.len(), y.len())));
    }
    if x.iter().chain(y).any(|v| !v.is_finite()) {
        return Err(StatsError::NotUsable("a value is not a number".into()));
    }
    if x.len() < 2 {
        return Err(StatsError::TooFew("a line needs two points".into()));
    }
    let n = x.len() as f64;
    let mean = |v: &[f64]| {
        let first = v.iter().sum::<f64>() / n;
        first + v.iter().map(|a| a - first).sum::<f64>() / n
    };
    let (mean_x, mean_y) = (mean(x), mean(y));
    let sxx: f64 = x.iter().map(|a| (a - mean_x).powi(2)).sum();
    // Equal values written in decimals may differ in their last bit; that is not variation.
    if sxx <= 1e-24 * n * mean_x * mean_x || sxx == 0.0 {
        return Err(StatsError::NotEstimable("all x are equal".into()));
    }
    let syy: f64 = y.iter().map(|a| (a - mean_y).powi(2)).sum();
    let sxy: f64 = x.iter().zip(y).map(|(a, b)| (a - mean_x) * (b - mean_y)).sum();
    let slope = sxy / sxx;
    let intercept = mean_y - slope * mean_x;
    let rest: f64 = x.iter().zip(y).map(|(a, b)| ((b - mean_y) - slope * (a - mean_x)).powi(2)).sum();
    Ok(LinearFit {
        n: x.len(),
        intercept,
        slope,
        residual_sd: (x.len() > 2).then(|| (rest / (n - 2.0)).sqrt()),
        r_squared: (syy > 0.0).then(|| 1.0 - rest / syy),
        mean_x,
        sum_of_squares_x: sxx,
        least_x: x.iter().copied().fold(f64::INFINITY, f64::min),
        most_x: x.iter().copied().fold(f64::NEG_INFINITY, f64::max),
    })
}

impl LinearFit {
    /// Degrees of freedom, n - 2.
    pub fn df(&self) -> usize {
        self.n - 2
    }

    /// Value of the line at `x`.
    pub fn at(&self, x: f64) -> f64 {
        self.intercept + self.slope * x
    }

    /// Standard error of the slope; `None` for two points.
    pub fn slope_se(&self) -> Option<f64> {
        Some(self.residual_sd? / self.sum_of_squares_x.sqrt())
    }

    /// Standard error of the line at `x`; `None` for two points.
    pub fn se_at(&self, x: f64) -> Option<f64> {
        let leverage = 1.0 / self.n as f64 + (x - self.mean_x).powi(2) / self.sum_of_squares_x;
        Some(self.residual_sd? * leverage.sqrt())
    }

    /// Standard error of the intercept; `None` for two points.
    pub fn intercept_se(&self) -> Option<f64> {
        self.se_at(0.0)
    }

    /// Limits of the slope (Student's t); `None` for two points.
    pub fn slope_interval(&self, level: Level) -> Option<Interval> {
        Interval::around(self.slope, level.t(self.df() as f64) * self.slope_se()?)
    }

    /// Limits of the line, the mean of y, at `x`; `None` for two points.
    pub fn mean_interval(&self, x: f64, level: Level) -> Option<Interval> {
        Interval::around(self.at(x), level.t(self.df() as f64) * self.se_at(x)?)
    }

    /// Limits for one new value at `x`; `None` for two points.
    pub fn prediction_interval(&self, x: f64, level: Level) -> Option<Interval> {
        let spread = self.residual_sd?.hypot(self.se_at(x)?);
        Interval::around(self.at(x), level.t(self.df() as f64) * spread)
    }
}

/// A power law y = c · x^b, fitted as a line through the natural logarithms.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct PowerFit {
    /// The line through ln x and ln y.
    pub line: LinearFit,
}

/// The power law through `x` and `y`, all above 0.
///
/// # Errors
/// [`StatsError::NotUsable`] for a value that is not above 0, else as [`fit`].
///
/// ```
/// use frygauge::stats::linear::fit_power;
/// let law = fit_power(&[1.0, 2.0, 4.0], &[3.0, 12.0, 48.0]).unwrap();
/// assert!((law.exponent() - 2.0).abs() < 1e-12 && (law.median_at(10.0) - 300.0).abs() < 1e-9);
/// ```
pub fn fit_power(x: &[f64], y: &[f64]) -> Result<PowerFit, StatsError> {
    if x.iter().chain(y).any(|v| v.is_nan() || *v <= 0.0) {
        return Err(StatsError::NotUsable("a power law needs values above 0".into()));
    }
    let ln = |v: &[f64]| v.iter().map(|a| a.ln()).collect::<Vec<f64>>();
    Ok(PowerFit { line: fit(&ln(x), &ln(y))? })
}

impl PowerFit {
    /// The exponent b.
    pub fn exponent(&self) -> f64 {
        self.line.slope
    }

    /// The factor c: y at x = 1.
    pub fn factor(&self) -> f64 {
        self.line.intercept.exp()
    }

    /// Median of y at `x` > 0.
    pub fn median_at(&self, x: f64) -> f64 {
        self.line.at(x.ln()).exp()
    }

    /// Mean of y at `x` > 0 for lognormal scatter; the median when the scatter is unknown.
    pub fn mean_at(&self, x: f64) -> f64 {
        let s = self.line.residual_sd.unwrap_or(0.0);
        (self.line.at(x.ln()) + 0.5 * s * s).exp()
    }

    /// Limits for one new y at `x` > 0; `None` for two points.
    pub fn prediction_interval(&self, x: f64, level: Level) -> Option<Interval> {
        let on_log = self.line.prediction_interval(x.ln(), level)?;
        Interval::new(on_log.low.exp(), on_log.high.exp())
    }

    /// Smallest and largest x it was fitted to.
    pub fn range(&self) -> Interval {
        Interval { low: self.line.least_x.exp(), high: self.line.most_x.exp() }
    }
}
