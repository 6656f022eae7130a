//! One proportion from a sample that is a sizeable part of a counted population.
//!
//! Below about 5 % of the population the correction is cosmetic; and the number of fish in a tank is
//! itself an estimate, so the correction is only as good as that number.
//!
//! # References
//! - Cochran 1977, Sampling Techniques, 3rd ed., ch. 3 (the population's factor (N-n)/(N-1)).
//! - Kauermann & Küchenhoff 2010, Stichproben, p. 53 (exact limits; they print the nearest *rejected* number).

use statrs::distribution::{DiscreteCDF, Hypergeometric};

use super::{Interval, Level, proportion};

/// Exact limits for the number of the `population` that have the character, when `x` of a random
/// sample of `n` do: the outermost numbers that neither one-sided test at α/2 rejects.
///
/// `None` unless `x <= n <= population` and `n > 0`.
///
/// ```
/// use frygauge::stats::{Level, finite_population::exact_number};
/// // Kauermann & Küchenhoff 2010, p. 53: 45 of 100 from 300; they print the neighbours 110 and 161.
/// assert_eq!(exact_number(45, 100, 300, Level::P95), Some((111, 160)));
/// ```
pub fn exact_number(x: u64, n: u64, population: u64, level: Level) -> Option<(u64, u64)> {
    if n == 0 || x > n || n > population {
        return None;
    }
    let (least, most) = (x, population - (n - x));
    let at_least_x = |number: u64| -> Option<f64> {
        let d = Hypergeometric::new(population, number, n).ok()?;
        Some(if x == 0 { 1.0 } else { d.sf(x - 1) })
    };
    let at_most_x = |number: u64| -> Option<f64> {
        let d = Hypergeometric::new(population, number, n).ok()?;
        Some(d.cdf(x))
    };
    // Both tails are monotone in the number, so the limits can be searched by halving.
    let (mut low, mut high) = (least, most);
    while low < high {
        let middle = low + (high - low) / 2;
        if at_least_x(middle)? > level.tail() {
            high = middle;
        } else {
            low = middle + 1;
        }
    }
    let lower = low;
    let (mut low, mut high) = (least, most);
    while low < high {
        let middle = high - (high - low) / 2;
        if at_most_x(middle)? > level.tail() {
            low = middle;
        } else {
            high = middle - 1;
        }
    }
    Some((lower, low))
}

/// Exact limits as a proportion of the population; see [`exact_number`].
pub fn exact(x: u64, n: u64, population: u64, level: Level) -> Option<Interval> {
    let (low, high) = exact_number(x, n, population, level)?;
    Interval::new(low as f64 / population as f64, high as f64 / population as f64)
}

/// Wilson's interval on the effective sample size n(N-1)/(N-n); the proportion itself when all were taken.
///
/// `None` unless `x <= n <= population` and `n > 0`.
pub fn wilson(x: u64, n: u64, population: u64, level: Level) -> Option<Interval> {
    if n == 0 || x > n || n > population {
        return None;
    }
    let p = x as f64 / n as f64;
    if n == population {
        return Interval::new(p, p);
    }
    let effective = effective_size(n as f64, population as f64);
    // x = n must stay exactly n after scaling for the closed limit at 1.
    let successes = if x == n { effective } else { p * effective };
    proportion::wilson(successes, effective, level)
}

/// The size of a sample with replacement that tells as much as `n` of `population` without.
pub fn effective_size(n: f64, population: f64) -> f64 {
    n * (population - 1.0) / (population - n)
}
