//! The noncentral t distribution, for power and for exact limits of a coefficient of variation.
//!
//! # References
//! Lenth 1989, Appl. Stat. 38:185-189, algorithm AS 243, doi:10.2307/2347693.

use statrs::function::beta::beta_reg;
use statrs::function::gamma::ln_gamma;

use super::numeric::{normal_cdf, root};

/// P(T ≤ t) for `df` > 0 degrees of freedom and noncentrality `delta`; `None` when an argument is not usable.
///
/// ```
/// use frygauge::stats::noncentral_t::cdf;
/// // With no noncentrality it is Student's t.
/// assert!((cdf(2.228138851986274, 10.0, 0.0).unwrap() - 0.975).abs() < 1e-12);
/// ```
pub fn cdf(t: f64, df: f64, delta: f64) -> Option<f64> {
    if !(t.is_finite() && delta.is_finite() && df > 0.0 && df.is_finite()) {
        return None;
    }
    if t < 0.0 {
        return number(1.0 - positive(-t, df, -delta));
    }
    number(positive(t, df, delta))
}

/// A probability, or nothing where the arguments are beyond the arithmetic.
fn number(p: f64) -> Option<f64> {
    (!p.is_nan()).then(|| p.clamp(0.0, 1.0))
}

/// P(T > t).
pub fn sf(t: f64, df: f64, delta: f64) -> Option<f64> {
    cdf(-t, df, -delta)
}

/// AS 243 for t ≥ 0, started at the mode of the Poisson weights so that a large noncentrality neither
/// underflows nor needs many terms.
fn positive(t: f64, df: f64, delta: f64) -> f64 {
    if delta.abs() > 1e3 || df > 1e7 {
        // Beyond any sample size met here: the normal approximation of Johnson & Welch.
        let s = 1.0 - 1.0 / (4.0 * df);
        return normal_cdf((t * s - delta) / (1.0 + t * t / (2.0 * df)).sqrt());
    }
    let base = normal_cdf(-delta);
    if t == 0.0 {
        return base;
    }
    // This form holds for t too large to square.
    let x = 1.0 / (1.0 + df / t / t);
    let lambda = 0.5 * delta * delta;
    let half_df = 0.5 * df;
    // Weights p_j = e^-λ λ^j / j!, q_j = δ e^-λ λ^j / (√2 Γ(j + 3/2)).
    let term = |j: f64| -> f64 {
        let ln_lambda_j = if j == 0.0 { 0.0 } else { j * lambda.ln() };
        let p = (-lambda + ln_lambda_j - ln_gamma(j + 1.0)).exp();
        let q = delta / std::f64::consts::SQRT_2 * (-lambda + ln_lambda_j - ln_gamma(j + 1.5)).exp();
        p * beta_reg(j + 0.5, half_df, x) + q * beta_reg(j + 1.0, half_df, x)
    };
    if lambda == 0.0 {
        return base + 0.5 * beta_reg(0.5, half_df, x);
    }
    let mode = lambda.floor();
    let mut sum = 0.0;
    let mut j = mode;
    let cut = 1e-17;
    loop {
        let value = term(j);
        sum += value;
        if (value.abs() < cut && j > mode + 5.0) || j > mode + 20_000.0 {
            break;
        }
        j += 1.0;
    }
    j = mode - 1.0;
    while j >= 0.0 {
        let value = term(j);
        sum += value;
        if value.abs() < cut && j < mode - 5.0 {
            break;
        }
        j -= 1.0;
    }
    base + 0.5 * sum
}

/// The noncentrality at which P(T ≤ t) = `p`: falls as p grows. `None` when it lies beyond reach.
pub fn noncentrality(t: f64, df: f64, p: f64) -> Option<f64> {
    let reach = 10.0 + 3.0 * t.abs();
    root(|delta| cdf(t, df, delta).map_or(f64::NAN, |c| c - p), -reach, reach + 40.0)
}
