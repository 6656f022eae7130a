//! Mean and standard deviation with their intervals, skewness and kurtosis, lag-one correlation.
//!
//! Sums of squares are taken about the mean in a second pass with the rounding of the first corrected
//! (Chan, Golub & LeVeque 1983, Am. Stat. 37:242-247, doi:10.1080/00031305.1983.10483115), so that
//! NIST's NumAcc4 keeps its digits.

use super::numeric::{chi2_quantile, t_quantile};
use super::{Interval, Level};

/// Number, mean and sums of powers about the mean of a sample of finite values.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moments {
    n: usize,
    mean: f64,
    squares: f64,
    cubes: f64,
    fourths: f64,
}

impl Moments {
    /// The moments of `values`; `None` when there are none, one is not finite, or their squares overflow.
    ///
    /// ```
    /// use frygauge::stats::moments::Moments;
    /// let m = Moments::of(&[2.0, 4.0, 9.0]).unwrap();
    /// assert_eq!((m.n(), m.mean(), m.sd()), (3, 5.0, Some(13f64.sqrt())));
    /// assert!(Moments::of(&[]).is_none() && Moments::of(&[1.0, f64::NAN]).is_none());
    /// ```
    pub fn of(values: &[f64]) -> Option<Self> {
        if values.is_empty() || values.iter().any(|v| !v.is_finite()) {
            return None;
        }
        let n = values.len() as f64;
        let first = values.iter().sum::<f64>() / n;
        let mean = first + values.iter().map(|v| v - first).sum::<f64>() / n;
        let (mut rest, mut squares, mut cubes, mut fourths) = (0.0, 0.0, 0.0, 0.0);
        for v in values {
            let d = v - mean;
            rest += d;
            squares += d * d;
            cubes += d * d * d;
            fourths += d * d * d * d;
        }
        squares -= rest * rest / n;
        (mean.is_finite() && squares.is_finite()).then_some(Self {
            n: values.len(),
            mean,
            squares: squares.max(0.0),
            cubes,
            fourths,
        })
    }

    /// Number of values.
    pub fn n(&self) -> usize {
        self.n
    }

    /// Arithmetic mean.
    pub fn mean(&self) -> f64 {
        self.mean
    }

    /// Sum of squared deviations from the mean.
    pub fn sum_of_squares(&self) -> f64 {
        self.squares
    }

    /// Sample variance (divisor n - 1); `None` for one value.
    pub fn variance(&self) -> Option<f64> {
        (self.n > 1).then(|| self.squares / (self.n - 1) as f64)
    }

    /// Sample standard deviation (divisor n - 1); `None` for one value.
    pub fn sd(&self) -> Option<f64> {
        self.variance().map(f64::sqrt)
    }

    /// Standard error of the mean.
    pub fn standard_error(&self) -> Option<f64> {
        self.sd().map(|s| s / (self.n as f64).sqrt())
    }

    /// Coefficient of variation, SD over mean; `None` unless the mean is above 0.
    pub fn cv(&self) -> Option<f64> {
        let sd = self.sd()?;
        (self.mean > 0.0).then(|| sd / self.mean)
    }

    /// Student's t interval of the mean.
    pub fn mean_interval(&self, level: Level) -> Option<Interval> {
        let se = self.standard_error()?;
        Interval::around(self.mean, t_quantile(0.5 + 0.5 * level.get(), (self.n - 1) as f64) * se)
    }

    /// Chi-square interval of the standard deviation. It trusts the normal shape:
    /// prefer a bootstrap where the shape is doubtful.
    pub fn sd_interval(&self, level: Level) -> Option<Interval> {
        let sd = self.sd()?;
        let df = (self.n - 1) as f64;
        Interval::new(
            sd * (df / chi2_quantile(1.0 - level.tail(), df)).sqrt(),
            sd * (df / chi2_quantile(level.tail(), df)).sqrt(),
        )
    }

    /// Population skewness g1 = m3 / m2^(3/2); `None` without variation.
    pub fn skewness(&self) -> Option<f64> {
        let n = self.n as f64;
        let g1 = (self.cubes / n) / (self.squares / n).powf(1.5);
        (self.squares > 0.0 && g1.is_finite()).then_some(g1)
    }

    /// Population excess kurtosis g2 = m4 / m2² - 3; `None` without variation.
    pub fn excess_kurtosis(&self) -> Option<f64> {
        let n = self.n as f64;
        let g2 = n * self.fourths / (self.squares * self.squares) - 3.0;
        (self.squares > 0.0 && g2.is_finite()).then_some(g2)
    }

    /// Skewness corrected for bias, G1 (Joanes & Gill 1998, doi:10.1111/1467-9884.00122); needs three values.
    pub fn sample_skewness(&self) -> Option<f64> {
        let n = self.n as f64;
        let g1 = self.skewness()?;
        (self.n > 2).then(|| g1 * (n * (n - 1.0)).sqrt() / (n - 2.0))
    }

    /// Excess kurtosis corrected for bias, G2 (Joanes & Gill 1998); needs four values.
    pub fn sample_excess_kurtosis(&self) -> Option<f64> {
        let n = self.n as f64;
        let g2 = self.excess_kurtosis()?;
        (self.n > 3).then(|| (n - 1.0) / ((n - 2.0) * (n - 3.0)) * ((n + 1.0) * g2 + 6.0))
    }
}

/// Correlation of each value with the next; `None` without variation.
pub fn lag_one(values: &[f64]) -> Option<f64> {
    let m = Moments::of(values)?;
    let products: f64 = values.windows(2).map(|w| (w[0] - m.mean) * (w[1] - m.mean)).sum();
    (m.squares > 0.0).then(|| products / m.squares)
}
