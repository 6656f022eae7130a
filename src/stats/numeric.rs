//! Quantiles and tail probabilities from statrs under one roof, and a bracketed root finder.
//!
//! The quantiles of statrs are polished by Newton steps on its own distribution functions, which are
//! more exact than its inverses.

use statrs::distribution::{Beta, ChiSquared, Continuous, ContinuousCDF, Normal, StudentsT};

/// Newton steps towards `cdf(x) = p` from a good start, kept only while they help.
fn polish(mut x: f64, p: f64, cdf: impl Fn(f64) -> f64, pdf: impl Fn(f64) -> f64) -> f64 {
    let mut miss = cdf(x) - p;
    for _ in 0..4 {
        let slope = pdf(x);
        if miss == 0.0 || !slope.is_finite() || slope <= 0.0 {
            break;
        }
        let next = x - miss / slope;
        let next_miss = cdf(next) - p;
        if !next.is_finite() || next_miss.is_nan() || next_miss.abs() >= miss.abs() {
            break;
        }
        (x, miss) = (next, next_miss);
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
    polish(normal.inverse_cdf(p), p, |x| normal.cdf(x), |x| normal.pdf(x))
}

/// Standard normal distribution function.
pub(crate) fn normal_cdf(x: f64) -> f64 {
    Normal::standard().cdf(x)
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
    let start = t.inverse_cdf(p);
    polish(start, p, |x| t.cdf(x), |x| t.pdf(x))
}

/// Chi-square quantile; NaN unless `df` is above 0.
pub(crate) fn chi2_quantile(p: f64, df: f64) -> f64 {
    let Ok(d) = ChiSquared::new(df) else {
        return f64::NAN;
    };
    polish(d.inverse_cdf(p), p, |x| d.cdf(x), |x| d.pdf(x))
}

/// Beta quantile; NaN unless both shapes are above 0.
pub(crate) fn beta_quantile(p: f64, a: f64, b: f64) -> f64 {
    let Ok(d) = Beta::new(a, b) else {
        return f64::NAN;
    };
    polish(d.inverse_cdf(p), p, |x| d.cdf(x.clamp(0.0, 1.0)), |x| d.pdf(x.clamp(0.0, 1.0)))
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
        for df in [0.7, 1.0, 2.5, 4.0, 30.0, 1e4, 1e8] {
            for p in [1e-6, 0.025, 0.3, 0.9, 0.9999] {
                let t = StudentsT::new(0.0, 1.0, df).unwrap();
                assert_relative_eq!(t.cdf(t_quantile(p, df)), p, max_relative = 1e-10);
                let c = ChiSquared::new(df).unwrap();
                assert_relative_eq!(c.cdf(chi2_quantile(p, df)), p, max_relative = 1e-7);
            }
        }
    }

    #[test]
    fn root_needs_a_sign_change() {
        assert!(root(|x| x * x + 1.0, -1.0, 1.0).is_none());
        assert_relative_eq!(root(|x| x * x - 2.0, 0.0, 2.0).unwrap(), 2f64.sqrt());
    }
}
