//! Fisher's exact test of two proportions and its mid-p, for two samples of fish within one tank.
//!
//! # References
//! - Fisher 1935, The Design of Experiments (the tea tasting).
//! - Fagerland, Lydersen & Laake 2017, Statistical Analysis of Contingency Tables, ch. 4 (Fisher-Irwin and its mid-p).

use statrs::distribution::{Discrete, Hypergeometric};

/// p-values of a 2×2 table with fixed margins.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FisherTest {
    /// Two-sided: all tables no more likely than the observed.
    pub two_sided: f64,
    /// The same less half the probability of the observed table.
    pub mid_p: f64,
    /// P(X ≤ observed).
    pub less: f64,
    /// P(X ≥ observed).
    pub greater: f64,
    /// Twice the smaller tail less the observed table's probability, at most 1.
    pub mid_p_doubled: f64,
}

/// Fisher's exact test of `x1` of `n1` against `x2` of `n2`.
///
/// `None` when a sample is empty or x exceeds n.
///
/// ```
/// use frygauge::stats::exact_test::fisher;
/// // The lady tasting tea: 3 of 4 against 1 of 4, p = 0.4857.
/// assert!((fisher((3, 4), (1, 4)).unwrap().two_sided - 0.4857).abs() < 5e-5);
/// ```
pub fn fisher(first: (u64, u64), second: (u64, u64)) -> Option<FisherTest> {
    let ((x1, n1), (x2, n2)) = (first, second);
    if n1 == 0 || n2 == 0 || x1 > n1 || x2 > n2 {
        return None;
    }
    let successes = x1 + x2;
    let d = Hypergeometric::new(n1 + n2, successes, n1).ok()?;
    let observed = d.pmf(x1);
    let (mut two_sided, mut less, mut greater) = (0.0, 0.0, 0.0);
    for k in successes.saturating_sub(n2)..=successes.min(n1) {
        let p = d.pmf(k);
        // Tables of equal probability differ in the last digits.
        if p <= observed * (1.0 + 1e-7) {
            two_sided += p;
        }
        if k <= x1 {
            less += p;
        }
        if k >= x1 {
            greater += p;
        }
    }
    Some(FisherTest {
        two_sided: two_sided.min(1.0),
        mid_p: (two_sided - 0.5 * observed).clamp(0.0, 1.0),
        less: less.min(1.0),
        greater: greater.min(1.0),
        mid_p_doubled: (2.0 * less.min(greater) - observed).clamp(0.0, 1.0),
    })
}
