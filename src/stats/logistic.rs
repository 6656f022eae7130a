//! Binomial regression with a logit or probit link, and the dose (day, length) at which a share is reached, with Fieller's limits.
//!
//! # References
//! - McCullagh & Nelder 1989, Generalized Linear Models, 2nd ed., ch. 4 (iteratively reweighted least squares).
//! - Finney 1971, Probit Analysis, 3rd ed., ch. 4 (fiducial limits, the quantity g).
//! - Fieller 1954, J. R. Stat. Soc. B 16:175-185.

use nalgebra::{DMatrix, DVector};
use statrs::distribution::{Continuous, Normal};

use super::numeric::{normal_cdf, normal_quantile};
use super::{Interval, Level, StatsError};

/// How the linear predictor becomes a share.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Link {
    /// ln(p/(1-p)).
    #[default]
    Logit,
    /// The normal quantile.
    Probit,
}

impl Link {
    /// Share at a linear predictor.
    pub fn mean(self, eta: f64) -> f64 {
        match self {
            Self::Logit => 1.0 / (1.0 + (-eta).exp()),
            Self::Probit => normal_cdf(eta),
        }
    }

    /// Linear predictor at a share strictly between 0 and 1.
    pub fn predictor(self, p: f64) -> f64 {
        match self {
            Self::Logit => (p / (1.0 - p)).ln(),
            Self::Probit => normal_quantile(p),
        }
    }

    fn slope(self, eta: f64, mean: f64) -> f64 {
        match self {
            Self::Logit => mean * (1.0 - mean),
            Self::Probit => Normal::standard().pdf(eta),
        }
    }
}

/// A fitted binomial regression.
#[derive(Debug, Clone)]
pub struct Fit {
    /// Link it was fitted with.
    pub link: Link,
    /// Coefficients in the order of the design's columns.
    pub coefficients: Vec<f64>,
    /// Their covariance (dispersion 1), as many rows and columns as coefficients.
    pub covariance: DMatrix<f64>,
    /// Residual deviance.
    pub deviance: f64,
    /// Pearson's chi-square.
    pub pearson: f64,
    /// Residual degrees of freedom.
    pub df: usize,
    /// Log likelihood without the binomial coefficients.
    pub log_likelihood: f64,
}

impl Fit {
    /// Standard error of coefficient `i` at dispersion 1.
    pub fn standard_error(&self, i: usize) -> Option<f64> {
        self.covariance.get((i, i)).map(|v| v.sqrt())
    }

    /// Pearson's chi-square over the degrees of freedom: above 1 the groups differ more than binomial sampling makes them.
    pub fn dispersion(&self) -> Option<f64> {
        (self.df > 0).then(|| self.pearson / self.df as f64)
    }
}

/// Fits successes `y` of `n` to the columns of `design` (rows are groups) by maximum likelihood.
///
/// # Errors
/// [`StatsError::NotUsable`] for lengths that differ, non-finite numbers or y outside 0..=n;
/// [`StatsError::TooFew`] for fewer informative rows than columns; [`StatsError::NotEstimable`] when the
/// columns are collinear or the successes are separated, so that no finite maximum exists.
pub fn fit(design: &DMatrix<f64>, y: &[f64], n: &[f64], link: Link) -> Result<Fit, StatsError> {
    let (rows, columns) = design.shape();
    if y.len() != rows || n.len() != rows {
        return Err(StatsError::NotUsable("design, successes and trials differ in length".into()));
    }
    if design.iter().any(|v| !v.is_finite())
        || y.iter().zip(n).any(|(y, n)| !(*y >= 0.0 && y <= n && n.is_finite()))
    {
        return Err(StatsError::NotUsable("a value is not a number or successes exceed trials".into()));
    }
    let informative: Vec<usize> = (0..rows).filter(|&i| n[i] > 0.0).collect();
    if informative.len() < columns || columns == 0 {
        return Err(StatsError::TooFew(format!("{columns} groups with trials are needed")));
    }
    let separated = || {
        StatsError::NotEstimable(
            "the successes are separated (or all alike): no finite slope fits best".into(),
        )
    };
    let x = design.select_rows(&informative);
    let y: Vec<f64> = informative.iter().map(|&i| y[i]).collect();
    let n: Vec<f64> = informative.iter().map(|&i| n[i]).collect();
    let total: f64 = y.iter().sum();
    if total <= 0.0 || total >= n.iter().sum::<f64>() {
        return Err(separated());
    }
    let log_likelihood = |eta: &DVector<f64>| -> f64 {
        (0..y.len())
            .map(|i| {
                let mu = link.mean(eta[i]);
                let complement = link.mean(-eta[i]);
                xlogy(y[i], mu) + xlogy(n[i] - y[i], complement)
            })
            .sum()
    };
    let mut eta =
        DVector::from_iterator(y.len(), (0..y.len()).map(|i| link.predictor((y[i] + 0.5) / (n[i] + 1.0))));
    let mut coefficients = DVector::zeros(columns);
    let mut covariance = DMatrix::zeros(columns, columns);
    let mut last = f64::NEG_INFINITY;
    let mut settled = false;
    for step in 0..200 {
        let mut information = DMatrix::zeros(columns, columns);
        let mut score = DVector::zeros(columns);
        for i in 0..y.len() {
            let mu = link.mean(eta[i]);
            let slope = link.slope(eta[i], mu);
            let variance = mu * (1.0 - mu);
            if variance <= 0.0 || slope <= 0.0 {
                return Err(separated());
            }
            let weight = n[i] * slope * slope / variance;
            let working = eta[i] + (y[i] / n[i] - mu) / slope;
            let row = x.row(i).transpose();
            information += weight * &row * row.transpose();
            score += weight * working * &row;
        }
        covariance = information
            .cholesky()
            .ok_or_else(|| StatsError::NotEstimable("the columns of the design are collinear".into()))?
            .inverse();
        let mut next = &covariance * &score;
        let mut next_eta = &x * &next;
        let mut now = log_likelihood(&next_eta);
        // Halve steps that lose likelihood; Fisher scoring seldom overshoots, but extreme groups make it.
        let mut halvings = 0;
        while step > 0 && (now.is_nan() || now < last - 1e-9 * last.abs()) && halvings < 30 {
            next = 0.5 * (&next + &coefficients);
            next_eta = &x * &next;
            now = log_likelihood(&next_eta);
            halvings += 1;
        }
        let moved = (&next_eta - &eta).amax();
        coefficients = next;
        eta = next_eta;
        // Predictors this far out mean fitted shares of exactly 0 or 1.
        if eta.amax() > 35.0 && link == Link::Logit && separates(&eta, &y, &n) {
            return Err(separated());
        }
        let settled_likelihood = (now - last).abs() <= 1e-14 * now.abs().max(1.0);
        last = now;
        if moved < 1e-12 * eta.amax().max(1.0) || (settled_likelihood && moved < 1e-8 * eta.amax().max(1.0)) {
            settled = true;
            break;
        }
    }
    if !settled || separates(&eta, &y, &n) {
        return Err(separated());
    }
    let (mut deviance, mut pearson) = (0.0, 0.0);
    for i in 0..y.len() {
        let mu = link.mean(eta[i]);
        let complement = link.mean(-eta[i]);
        deviance +=
            2.0 * (xlogy(y[i], y[i] / (n[i] * mu)) + xlogy(n[i] - y[i], (n[i] - y[i]) / (n[i] * complement)));
        let variance = n[i] * mu * complement;
        if variance > 0.0 {
            pearson += (y[i] - n[i] * mu).powi(2) / variance;
        }
    }
    Ok(Fit {
        link,
        coefficients: coefficients.iter().copied().collect(),
        covariance,
        deviance,
        pearson,
        df: y.len() - columns,
        log_likelihood: last,
    })
}

/// Whether every group is fitted by exactly what it showed, with shares of 0 and 1 only.
fn separates(eta: &DVector<f64>, y: &[f64], n: &[f64]) -> bool {
    (0..y.len()).all(|i| (y[i] == 0.0 && eta[i] < -12.0) || (y[i] == n[i] && eta[i] > 12.0))
}

/// x·ln(y), 0 when x is 0.
fn xlogy(x: f64, y: f64) -> f64 {
    if x == 0.0 { 0.0 } else { x * y.ln() }
}

/// Fits a curve of one covariate: columns 1 and `x`.
///
/// # Errors
/// As [`fit`].
///
/// ```
/// use frygauge::stats::logistic::{Link, curve};
/// // Bliss 1935, beetles (Dobson: -60.717, 34.270).
/// let dose = [1.6907, 1.7242, 1.7552, 1.7842, 1.8113, 1.8369, 1.8610, 1.8839];
/// let n = [59., 60., 62., 56., 63., 59., 62., 60.];
/// let dead = [6., 13., 18., 28., 52., 53., 61., 60.];
/// let fit = curve(&dose, &dead, &n, Link::Logit).unwrap();
/// assert!((fit.coefficients[0] + 60.717).abs() < 1e-3 && (fit.coefficients[1] - 34.270).abs() < 1e-3);
/// ```
pub fn curve(x: &[f64], y: &[f64], n: &[f64], link: Link) -> Result<Fit, StatsError> {
    let design = DMatrix::from_fn(x.len(), 2, |i, j| if j == 0 { 1.0 } else { x[i] });
    fit(&design, y, n, link)
}

/// Where a curve reaches a share.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reached {
    /// The covariate at the share.
    pub x: f64,
    /// Its standard error by the delta method.
    pub se: f64,
    /// Fieller's g = z²·Var(b)/b²: at 1 or more the slope is not told from 0 and no limits exist.
    pub g: f64,
    /// Fieller's limits; `None` when g is 1 or more.
    pub interval: Option<Interval>,
}

/// The covariate at which `intercept + slope·x` reaches share `p`, from the two coefficients and their covariance;
/// `quantile` is the normal (or t) quantile of the limits.
///
/// `None` when `p` is not strictly between 0 and 1 or the slope is exactly 0.
pub fn reached(
    coefficients: [f64; 2],
    covariance: [[f64; 2]; 2],
    p: f64,
    link: Link,
    quantile: f64,
) -> Option<Reached> {
    let [a, b] = coefficients;
    let [[v_aa, v_ab], [_, v_bb]] = covariance;
    if !(p > 0.0 && p < 1.0) || b == 0.0 {
        return None;
    }
    let x = (link.predictor(p) - a) / b;
    let se = (v_aa + 2.0 * x * v_ab + x * x * v_bb).max(0.0).sqrt() / b.abs();
    let g = quantile * quantile * v_bb / (b * b);
    let interval = if g < 1.0 {
        let centre = x + g / (1.0 - g) * (x + v_ab / v_bb);
        let inside = v_aa + 2.0 * x * v_ab + x * x * v_bb - g * (v_aa - v_ab * v_ab / v_bb);
        Interval::around(centre, quantile / (b.abs() * (1.0 - g)) * inside.max(0.0).sqrt())
    } else {
        None
    };
    (x.is_finite() && se.is_finite()).then_some(Reached { x, se, g, interval })
}

impl Fit {
    /// Where a curve fitted by [`curve`] reaches share `p`. When the groups differ by more than binomial sampling
    /// the covariance is scaled by the dispersion and t takes the place of z.
    pub fn reaches(&self, p: f64, level: Level) -> Option<Reached> {
        let &[a, b] = self.coefficients.as_slice() else {
            return None;
        };
        let phi = self.dispersion().unwrap_or(1.0).max(1.0);
        let quantile = if phi > 1.0 { level.t(self.df as f64) } else { level.z() };
        let v = |i, j| self.covariance[(i, j)] * phi;
        reached([a, b], [[v(0, 0), v(0, 1)], [v(1, 0), v(1, 1)]], p, self.link, quantile)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn separation_is_an_error_not_a_huge_slope() {
        let r = curve(&[3.0, 4.0, 5.0, 6.0], &[0.0, 0.0, 20.0, 20.0], &[20.0; 4], Link::Logit);
        assert!(matches!(r, Err(StatsError::NotEstimable(_))), "{r:?}");
        for y in [0.0, 20.0] {
            let r = curve(&[3.0, 4.0], &[y, y], &[20.0, 20.0], Link::Logit);
            assert!(matches!(r, Err(StatsError::NotEstimable(_))));
        }
    }

    #[test]
    fn bad_numbers_are_refused() {
        assert!(curve(&[1.0, f64::NAN], &[1.0, 2.0], &[5.0, 5.0], Link::Logit).is_err());
        assert!(curve(&[1.0, 2.0], &[1.0, 6.0], &[5.0, 5.0], Link::Logit).is_err());
        assert!(curve(&[1.0, 1.0, 1.0], &[1.0, 2.0, 3.0], &[5.0; 3], Link::Logit).is_err());
        assert!(curve(&[1.0], &[1.0], &[5.0], Link::Logit).is_err());
    }
}
