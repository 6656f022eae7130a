//! Quantiles of a sample and their distribution-free limits by order statistics.
//!
//! # References
//! - Hyndman & Fan 1996, Am. Stat. 50:361-365, doi:10.1080/00031305.1996.10473566 (definition 7).
//! - Conover 1999, Practical Nonparametric Statistics, 3rd ed., sec. 3.2 (limits from the binomial).

use statrs::distribution::{Binomial, DiscreteCDF};

use super::Level;
use super::numeric::sorted_finite;

/// The sample quantile at `p` in 0-1, linear between order statistics (definition 7).
///
/// `None` when `values` is empty, one is not finite, or `p` is outside 0-1.
///
/// ```
/// use frygauge::stats::quantile::quantile;
/// assert_eq!(quantile(&[4.0, 1.0, 3.0, 2.0], 0.5), Some(2.5));
/// ```
pub fn quantile(values: &[f64], p: f64) -> Option<f64> {
    of_sorted(&sorted_finite(values)?, p)
}

/// The same for values already sorted and known to be finite.
pub fn of_sorted(sorted: &[f64], p: f64) -> Option<f64> {
    if sorted.is_empty() || !(0.0..=1.0).contains(&p) {
        return None;
    }
    let at = p * (sorted.len() - 1) as f64;
    let below = at.floor() as usize;
    let above = (below + 1).min(sorted.len() - 1);
    Some(sorted[below] + (at - below as f64) * (sorted[above] - sorted[below]))
}

/// The sample median.
pub fn median(values: &[f64]) -> Option<f64> {
    quantile(values, 0.5)
}

/// Which order statistics bound a quantile, and with what probability.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ranks {
    /// Rank of the lower limit, from 1; `None` when a sample of this size has no lower limit.
    pub low: Option<usize>,
    /// Rank of the upper limit, from 1; `None` when there is no upper limit.
    pub high: Option<usize>,
    /// Probability that the two enclose the quantile, at least the level asked for.
    pub coverage: f64,
}

/// Ranks of the order statistics that bound the `p` quantile of `n` values from any continuous distribution,
/// at most α/2 in either tail.
///
/// `None` when `n` is 0 or `p` is not strictly between 0 and 1.
///
/// ```
/// use frygauge::stats::{Level, quantile::ranks};
/// // Sign-test table: the median of 10 lies between the 2nd and the 9th with probability .9785.
/// let r = ranks(10, 0.5, Level::P95).unwrap();
/// assert_eq!((r.low, r.high), (Some(2), Some(9)));
/// assert!((r.coverage - 0.9785).abs() < 5e-5);
/// ```
pub fn ranks(n: usize, p: f64, level: Level) -> Option<Ranks> {
    if n == 0 || !(p > 0.0 && p < 1.0) {
        return None;
    }
    let d = Binomial::new(p, n as u64).ok()?;
    // Rank r as lower limit fails when fewer than r values lie below the quantile: P(X <= r-1).
    let low = largest(n, |r| d.cdf(r as u64 - 1) <= level.tail());
    // Rank s as upper limit fails when at least s lie below: P(X >= s); counted from the top.
    let high = largest(n, |back| d.sf((n - back) as u64) <= level.tail()).map(|back| n + 1 - back);
    let above = high.map_or(1.0, |s| d.cdf(s as u64 - 1));
    let below = low.map_or(0.0, |r| d.cdf(r as u64 - 1));
    Some(Ranks { low, high, coverage: above - below })
}

/// The largest of 1..=n for which `holds`, which must hold up to some number and fail beyond it.
fn largest(n: usize, holds: impl Fn(usize) -> bool) -> Option<usize> {
    let (mut low, mut high) = (0, n);
    while low < high {
        let middle = high - (high - low) / 2;
        if holds(middle) {
            low = middle;
        } else {
            high = middle - 1;
        }
    }
    (low > 0).then_some(low)
}

/// The limits themselves: the order statistics at [`ranks`], each `None` where it does not exist.
pub fn limits(values: &[f64], p: f64, level: Level) -> Option<(Option<f64>, Option<f64>)> {
    let sorted = sorted_finite(values)?;
    let r = ranks(sorted.len(), p, level)?;
    Some((r.low.map(|i| sorted[i - 1]), r.high.map(|i| sorted[i - 1])))
}
