//! Quantiles and tail probabilities from statrs under one roof, and a bracketed root finder.
//!
//! The quantiles of statrs are polished by Newton steps on its own distribution functions, which are
//! more exact than its inverses.

use statrs::distribution::{Beta, ChiSquared, Continuous, ContinuousCDF, FisherSnedecor, Normal, StudentsT};
use statrs::function::gamma::ln_gamma;

/// The root of `cdf(x) = p` within `support` from a good start: Newton steps, halved towards the last point while they
/// leave the support or do not help.
fn polish(
    start: f64,
    p: f64,
    support: (f64, f64),
    cdf: impl Fn(f64) -> f64,
    pdf: impl Fn(f64) -> f64,
) -> f64 {
    let mut x = start.clamp(support.0, support.1);
    let mut miss = cdf(x) - p;
    for _ in 0..30 {
        let slope = pdf(x);
        if miss == 0.0 || !slope.is_finite() || slope <= 0.0 {
            break;
        }
        let mut step = -miss / slope;
        let better = (0..40).find_map(|_| {
            let next = x + step;
            step *= 0.5;
            let next_miss = cdf(next.clamp(support.0, support.1)) - p;
            (next > support.0 && next < support.1 && next_miss.abs() < miss.abs())
                .then_some((next, next_miss))
        });
        match better {
            Some((next, next_miss)) => (x, miss) = (next, next_miss),
            None => break,
        }
    }
    x
}

/// Standard normal quantile.
pub(crate) fn normal_quantile(p: f64) -> f64 {
    let normal = Normal::standard();
    // Work in the lower tail: there the distribution function keeps its relative precision.
    if p > 0.5 {
        return -normal_quantile_low(&normal, 1.0 - p);
    }
    normal_quantile_low(&normal, p)
}

fn normal_quantile_low(normal: &Normal, p: f64) -> f64 {
    polish(normal.inverse_cdf(p), p, (f64::NEG_INFINITY, f64::INFINITY), |x| normal.cdf(x), |x| normal.pdf(x))
}

/// Standard normal distribution function.
pub(crate) fn normal_cdf(x: f64) -> f64 {
    Normal::standard().cdf(x)
}

/// Two-sided normal p-value.
pub(crate) fn normal_two_sided(z: f64) -> f64 {
    (2.0 * Normal::standard().sf(z.abs())).min(1.0)
}

/// Student's t quantile; NaN unless `df` is above 0.
pub(crate) fn t_quantile(p: f64, df: f64) -> f64 {
    let Ok(t) = StudentsT::new(0.0, 1.0, df) else {
        return f64::NAN;
    };
    if p > 0.5 {
        return -t_quantile(1.0 - p, df);
    }
    if p == 0.5 {
        return 0.0;
    }
    // From here on the two differ by less than the distribution function's own error.
    if df > 1e7 {
        return normal_quantile(p);
    }
    // Hill's expansion about the normal quantile (Abramowitz & Stegun 26.7.5) starts it; below three degrees of
    // freedom the tail is a power and the exact forms for 1 and 2 are nearer.
    let z = normal_quantile(p);
    let start = if df < 1.5 {
        -1.0 / (std::f64::consts::PI * p).tan()
    } else if df < 3.0 {
        (2.0 * p - 1.0) / (2.0 * p * (1.0 - p)).sqrt()
    } else {
        z + (z.powi(3) + z) / (4.0 * df) + (5.0 * z.powi(5) + 16.0 * z.powi(3) + 3.0 * z) / (96.0 * df * df)
    };
    polish(start, p, (f64::NEG_INFINITY, f64::INFINITY), |x| t.cdf(x), |x| t.pdf(x))
}

/// Two-sided p-value of Student's t; NaN unless `df` is above 0.
pub(crate) fn t_two_sided(t: f64, df: f64) -> f64 {
    StudentsT::new(0.0, 1.0, df).map_or(f64::NAN, |d| (2.0 * d.sf(t.abs())).min(1.0))
}

/// Chi-square quantile; NaN unless `df` is above 0.
pub(crate) fn chi2_quantile(p: f64, df: f64) -> f64 {
    let Ok(d) = ChiSquared::new(df) else {
        return f64::NAN;
    };
    // Wilson and Hilferty's cube, or the power at the origin where that is not above 0.
    let cube = 1.0 - 2.0 / (9.0 * df) + normal_quantile(p) * (2.0 / (9.0 * df)).sqrt();
    let origin = 2.0 * (p.ln() / (0.5 * df) + (ln_gamma(0.5 * df + 1.0)) / (0.5 * df)).exp();
    let start = if df < 2.0 || cube < 0.2 { origin } else { df * cube.powi(3) };
    polish(start, p, (0.0, f64::INFINITY), |x| d.cdf(x), |x| d.pdf(x))
}

/// Upper tail of chi-square.
pub(crate) fn chi2_sf(x: f64, df: f64) -> f64 {
    ChiSquared::new(df).map_or(f64::NAN, |d| d.sf(x.max(0.0)))
}

/// Upper tail of F.
pub(crate) fn f_sf(x: f64, df1: f64, df2: f64) -> f64 {
    FisherSnedecor::new(df1, df2).map_or(f64::NAN, |d| d.sf(x.max(0.0)))
}

/// Beta quantile; NaN unless both shapes are above 0.
pub(crate) fn beta_quantile(p: f64, a: f64, b: f64) -> f64 {
    let Ok(d) = Beta::new(a, b) else {
        return f64::NAN;
    };
    polish(d.inverse_cdf(p), p, (0.0, 1.0), |x| d.cdf(x), |x| d.pdf(x))
}

/// A root of `f` between `low` and `high`, where it must change sign; by bisection down to the last bit.
pub(crate) fn root(f: impl Fn(f64) -> f64, mut low: f64, mut high: f64) -> Option<f64> {
    let (at_low, at_high) = (f(low), f(high));
    if at_low == 0.0 {
        return Some(low);
    }
    if at_high == 0.0 {
        return Some(high);
    }
    if at_low.is_nan() || at_high.is_nan() || at_low.signum() == at_high.signum() {
        return None;
    }
    // Halving can meet at most the 2^11 exponents and 52 bits of a double; 200 covers any bracket used here.
    for _ in 0..200 {
        let middle = 0.5 * (low + high);
        if middle <= low || middle >= high {
            break;
        }
        let at = f(middle);
        if at.is_nan() {
            return None;
        }
        if at == 0.0 {
            return Some(middle);
        }
        if at.signum() == at_low.signum() {
            low = middle;
        } else {
            high = middle;
        }
    }
    Some(0.5 * (low + high))
}

/// The values sorted; `None` when empty or any is not finite.
pub(crate) fn sorted_finite(values: &[f64]) -> Option<Vec<f64>> {
    if values.is_empty() || values.iter().any(|v| !v.is_finite()) {
        return None;
    }
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    Some(sorted)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// 1.959963984540054 and 12.706204736432095 are R's `qnorm(.975)` and `qt(.975, 1)`, from memory; the error and beta functions of
    /// statrs are good to some 1e-11, and so are the quantiles.
    #[test]
    fn quantiles_invert_their_distribution_functions() {
        assert_relative_eq!(normal_quantile(0.975), 1.959963984540054, max_relative = 1e-10);
        assert_relative_eq!(t_quantile(0.975, 1.0), 12.706204736432095, max_relative = 1e-10);
        for df in [0.7, 1.0, 2.5, 4.0, 30.0, 1e4] {
            for p in [1e-6, 0.025, 0.3, 0.9, 0.9999] {
                let t = StudentsT::new(0.0, 1.0, df).unwrap();
                assert!(
                    (t.cdf(t_quantile(p, df)) - p).abs() < 1e-10,
                    "df {df}, p {p}: {}",
                    t.cdf(t_quantile(p, df))
                );
                let c = ChiSquared::new(df).unwrap();
                assert!(
                    (c.cdf(chi2_quantile(p, df)) - p).abs() < 1e-10,
                    "{df} {p} {} {}",
                    chi2_quantile(p, df),
                    c.cdf(chi2_quantile(p, df))
                );
            }
        }
    }

    #[test]
    fn root_needs_a_sign_change() {
        assert!(root(|x| x * x + 1.0, -1.0, 1.0).is_none());
        assert_relative_eq!(root(|x| x * x - 2.0, 0.0, 2.0).unwrap(), 2f64.sqrt());
    }
}
