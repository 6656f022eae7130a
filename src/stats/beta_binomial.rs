//! Beta-binomial counts: shares that differ between tanks as a beta distribution does.
//!
//! For ten or more tanks an arm, or as description: with fewer its likelihood-ratio test rejects too often.
//!
//! # References
//! - Williams 1975, Biometrics 31:949-952, doi:10.2307/2529820.
//! - Crowder 1978, Appl. Stat. 27:34-37, doi:10.2307/2346223.

use nalgebra::{DMatrix, DVector};
use statrs::function::gamma::ln_gamma;

use super::StatsError;
use super::cluster::Count;
use super::logistic::{self, Link};
use super::numeric::chi2_sf;

/// A fitted beta-binomial regression with one overdispersion.
#[derive(Debug, Clone)]
pub struct Fit {
    /// Coefficients on the logit scale, in the order of the design's columns.
    pub coefficients: Vec<f64>,
    /// Their standard errors from the observed information.
    pub standard_errors: Vec<f64>,
    /// Overdispersion φ = 1/(α+β+1), 0-1: the intraclass correlation.
    pub phi: f64,
    /// Its standard error; `None` at the boundary.
    pub phi_se: Option<f64>,
    /// Log likelihood, binomial coefficients included.
    pub log_likelihood: f64,
}

impl Fit {
    /// Mean share of a fit with an intercept alone.
    pub fn mean(&self) -> f64 {
        Link::Logit.mean(self.coefficients[0])
    }
}

/// Log probability of the counts at shares `mu` and overdispersion `phi` in (0, 1).
fn log_likelihood(counts: &[Count], mu: &[f64], phi: f64) -> f64 {
    let theta = (1.0 - phi) / phi;
    let ln_beta = |a: f64, b: f64| ln_gamma(a) + ln_gamma(b) - ln_gamma(a + b);
    counts
        .iter()
        .zip(mu)
        .map(|(c, mu)| {
            let (a, b) = (mu * theta, (1.0 - mu) * theta);
            let failures = c.n - c.successes;
            ln_gamma(c.n + 1.0) - ln_gamma(c.successes + 1.0) - ln_gamma(failures + 1.0)
                + ln_beta(c.successes + a, failures + b)
                - ln_beta(a, b)
        })
        .sum()
}

/// Fits shares of `counts` to the columns of `design` (rows are tanks) by maximum likelihood.
///
/// # Errors
/// As [`logistic::fit`]; [`StatsError::NotEstimable`] when the search does not settle.
pub fn fit(design: &DMatrix<f64>, counts: &[Count]) -> Result<Fit, StatsError> {
    let y: Vec<f64> = counts.iter().map(|c| c.successes).collect();
    let n: Vec<f64> = counts.iter().map(|c| c.n).collect();
    let start = logistic::fit(design, &y, &n, Link::Logit)?;
    let columns = design.ncols();
    let likelihood = |t: &DVector<f64>| -> f64 {
        let eta = design * t.rows(0, columns);
        let mu: Vec<f64> = eta.iter().map(|e| Link::Logit.mean(*e).clamp(1e-12, 1.0 - 1e-12)).collect();
        let phi = Link::Logit.mean(t[columns]).clamp(1e-9, 1.0 - 1e-9);
        log_likelihood(counts, &mu, phi)
    };
    // The surface is smooth but may be flat in φ: damped Newton on numerical derivatives from several φ.
    let mut best: Option<(DVector<f64>, f64)> = None;
    for logit_phi in [-4.0, -2.0, -1.0, 0.0] {
        let mut t = DVector::from_iterator(
            columns + 1,
            start.coefficients.iter().copied().chain(std::iter::once(logit_phi)),
        );
        let mut value = likelihood(&t);
        let mut damping = 1e-3;
        for _ in 0..200 {
            let (gradient, hessian) = derivatives(&likelihood, &t);
            let mut improved = false;
            for _ in 0..40 {
                let mut system = -&hessian;
                for i in 0..=columns {
                    system[(i, i)] += damping * system[(i, i)].abs().max(1e-6);
                }
                let Some(step) = system.cholesky().map(|c| c.solve(&gradient)) else {
                    damping = (damping * 10.0f64).max(1e-6);
                    continue;
                };
                let mut next = &t + &step;
                // φ runs to a boundary when tanks do not differ: hold it where the curvature still is.
                next[columns] = next[columns].clamp(-18.0, 18.0);
                let next_value = likelihood(&next);
                if next_value > value {
                    improved = next_value - value > 1e-13 * value.abs();
                    (t, value) = (next, next_value);
                    damping *= 0.1;
                    break;
                }
                damping *= 10.0;
            }
            if !improved {
                break;
            }
        }
        if value.is_finite() && best.as_ref().is_none_or(|b| value > b.1) {
            best = Some((t, value));
        }
    }
    let (t, value) = best.ok_or_else(|| StatsError::NotEstimable("the likelihood is not finite".into()))?;
    let phi = Link::Logit.mean(t[columns]);
    // Observed information in (coefficients, φ), as printed by the usual packages.
    let in_phi = |u: &DVector<f64>| -> f64 {
        let eta = design * u.rows(0, columns);
        let mu: Vec<f64> = eta.iter().map(|e| Link::Logit.mean(*e).clamp(1e-12, 1.0 - 1e-12)).collect();
        log_likelihood(counts, &mu, u[columns].clamp(1e-9, 1.0 - 1e-9))
    };
    let mut u = t.clone();
    u[columns] = phi;
    let steps: Vec<f64> = (0..=columns).map(|i| if i < columns { 1e-4 } else { phi * 1e-3 }).collect();
    let information = -second_derivatives(&in_phi, &u, &steps);
    let covariance = information.try_inverse();
    let se = |i: usize| covariance.as_ref().map(|c| c[(i, i)]).filter(|v| *v > 0.0).map(f64::sqrt);
    Ok(Fit {
        coefficients: t.iter().take(columns).copied().collect(),
        standard_errors: (0..columns).map(|i| se(i).unwrap_or(f64::INFINITY)).collect(),
        phi,
        phi_se: se(columns).filter(|_| t[columns] > -17.9),
        log_likelihood: value,
    })
}

/// Fits one mean and overdispersion to the tanks of one arm.
///
/// # Errors
/// As [`fit`].
pub fn fit_one(counts: &[Count]) -> Result<Fit, StatsError> {
    fit(&DMatrix::from_element(counts.len(), 1, 1.0), counts)
}

/// Likelihood-ratio test between nested fits with `df` more parameters in `larger`: statistic and p.
pub fn likelihood_ratio(smaller: &Fit, larger: &Fit, df: usize) -> (f64, f64) {
    let statistic = (2.0 * (larger.log_likelihood - smaller.log_likelihood)).max(0.0);
    (statistic, chi2_sf(statistic, df as f64))
}

fn derivatives(f: &impl Fn(&DVector<f64>) -> f64, t: &DVector<f64>) -> (DVector<f64>, DMatrix<f64>) {
    let steps: Vec<f64> = t.iter().map(|v| 1e-4 * v.abs().max(1.0)).collect();
    let gradient = DVector::from_fn(t.len(), |i, _| {
        let (mut up, mut down) = (t.clone(), t.clone());
        up[i] += steps[i];
        down[i] -= steps[i];
        (f(&up) - f(&down)) / (2.0 * steps[i])
    });
    (gradient, second_derivatives(f, t, &steps))
}

fn second_derivatives(f: &impl Fn(&DVector<f64>) -> f64, t: &DVector<f64>, steps: &[f64]) -> DMatrix<f64> {
    let moved = |i: usize, si: f64, j: usize, sj: f64| {
        let mut u = t.clone();
        u[i] += si * steps[i];
        u[j] += sj * steps[j];
        f(&u)
    };
    let k = t.len();
    DMatrix::from_fn(k, k, |i, j| {
        (moved(i, 1.0, j, 1.0) - moved(i, 1.0, j, -1.0) - moved(i, -1.0, j, 1.0) + moved(i, -1.0, j, -1.0))
            / (4.0 * steps[i] * steps[j])
    })
}
