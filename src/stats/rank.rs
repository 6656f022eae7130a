//! Hodges-Lehmann shift with its exact limits: how much longer one sample is than another, shape unknown.
//!
//! # References
//! - Hodges & Lehmann 1963, Ann. Math. Stat. 34:598-611, doi:10.1214/aoms/1177704172.
//! - Hollander & Wolfe 1973, Nonparametric Statistical Methods, pp. 27, 69 (worked examples).

use super::numeric::sorted_finite;
use super::quantile;
use super::{Interval, Level};

/// Sample sizes up to which the null distribution is counted; the normal approximation beyond.
const MOST_EXACT: usize = 25;

/// A shift with its limits and the p of the matching rank test.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shift {
    /// Median of all differences (two samples) or of all pairwise means (one sample).
    pub shift: f64,
    /// Limits by the rank test; `None` when the samples are too small to have any at this level.
    pub interval: Option<Interval>,
    /// The rank statistic: pairs in which the first exceeds the second (U), or the sum of positive ranks (T+); ties count half.
    pub statistic: f64,
    /// One-sided p for the first being larger (or the values lying above 0).
    pub p_greater: f64,
}

/// Shift of `first` against `second`; `None` when one is empty or not finite.
///
/// ```
/// use frygauge::stats::{Level, rank::two_samples};
/// // Hollander & Wolfe 1973, p. 69 (permeability): shift 0.305, U = 35, p = 0.1272.
/// let x = [0.80, 0.83, 1.89, 1.04, 1.45, 1.38, 1.91, 1.64, 0.73, 1.46];
/// let y = [1.15, 0.88, 0.90, 0.74, 1.21];
/// let s = two_samples(&x, &y, Level::P95).unwrap();
/// assert!((s.shift - 0.305).abs() < 1e-12 && s.statistic == 35.0 && (s.p_greater - 0.1272).abs() < 5e-5);
/// ```
pub fn two_samples(first: &[f64], second: &[f64], level: Level) -> Option<Shift> {
    let (a, b) = (sorted_finite(first)?, sorted_finite(second)?);
    let (n, m) = (a.len(), b.len());
    let mut differences: Vec<f64> = a.iter().flat_map(|x| b.iter().map(move |y| x - y)).collect();
    differences.sort_by(f64::total_cmp);
    let statistic = above_zero(&differences);
    let counts = (n <= MOST_EXACT && m <= MOST_EXACT).then(|| rank_sum_distribution(n, m));
    let (mean, sd) = {
        let (n, m) = (n as f64, m as f64);
        (0.5 * n * m, (n * m * (n + m + 1.0) / 12.0).sqrt())
    };
    Some(Shift {
        shift: quantile::of_sorted(&differences, 0.5)?,
        interval: limits(&differences, counts.as_deref(), mean, sd, level),
        statistic,
        p_greater: upper_tail(counts.as_deref(), statistic, mean, sd),
    })
}

/// Shift of paired changes from 0, by the pairwise (Walsh) means; `None` when empty or not finite.
pub fn one_sample(changes: &[f64], level: Level) -> Option<Shift> {
    let d = sorted_finite(changes)?;
    let n = d.len();
    let mut means: Vec<f64> =
        (0..n).flat_map(|i| (i..n).map(move |j| (i, j))).map(|(i, j)| 0.5 * (d[i] + d[j])).collect();
    means.sort_by(f64::total_cmp);
    let statistic = above_zero(&means);
    let counts = (n <= MOST_EXACT).then(|| signed_rank_distribution(n));
    let (mean, sd) = {
        let n = n as f64;
        (n * (n + 1.0) / 4.0, (n * (n + 1.0) * (2.0 * n + 1.0) / 24.0).sqrt())
    };
    Some(Shift {
        shift: quantile::of_sorted(&means, 0.5)?,
        interval: limits(&means, counts.as_deref(), mean, sd, level),
        statistic,
        p_greater: upper_tail(counts.as_deref(), statistic, mean, sd),
    })
}

/// How many of the sorted values lie above 0, those at 0 counted half.
fn above_zero(sorted: &[f64]) -> f64 {
    sorted
        .iter()
        .map(|v| {
            if *v > 0.0 {
                1.0
            } else if *v == 0.0 {
                0.5
            } else {
                0.0
            }
        })
        .sum()
}

/// P(statistic ≥ observed) under no shift.
fn upper_tail(probabilities: Option<&[f64]>, observed: f64, mean: f64, sd: f64) -> f64 {
    match probabilities {
        Some(p) => {
            p.iter().enumerate().filter(|(i, _)| *i as f64 >= observed).map(|(_, p)| p).sum::<f64>().min(1.0)
        }
        None => super::numeric::normal_cdf((mean - observed + 0.5) / sd),
    }
}

/// Order statistics of the differences cut off by the α/2 quantile of the null distribution.
fn limits(
    sorted: &[f64],
    probabilities: Option<&[f64]>,
    mean: f64,
    sd: f64,
    level: Level,
) -> Option<Interval> {
    let cut = match probabilities {
        Some(p) => {
            // The largest c with P(statistic <= c - 1) <= α/2, so that the c-th smallest difference is the lower limit.
            let mut cumulative = 0.0;
            let mut c = 0;
            for value in p {
                cumulative += value;
                if cumulative > level.tail() {
                    break;
                }
                c += 1;
            }
            c
        }
        None => (mean - level.z() * sd).floor().max(0.0) as usize,
    };
    (cut > 0 && cut <= sorted.len())
        .then(|| Interval::new(sorted[cut - 1], sorted[sorted.len() - cut]))
        .flatten()
}

/// Probabilities of the Mann-Whitney count 0..=n·m without ties.
fn rank_sum_distribution(n: usize, m: usize) -> Vec<f64> {
    // The generating function of the Gaussian binomial: multiply by (1 - q^(m+i)), divide by (1 - q^i).
    let size = n * m + 1;
    let mut counts = vec![0.0f64; size];
    counts[0] = 1.0;
    for i in 1..=n {
        let step = m + i;
        for j in (step..size).rev() {
            counts[j] -= counts[j - step];
        }
        for j in i..size {
            counts[j] += counts[j - i];
        }
    }
    normalised(counts)
}

/// Probabilities of the signed-rank sum 0..=n(n+1)/2 without ties.
fn signed_rank_distribution(n: usize) -> Vec<f64> {
    let size = n * (n + 1) / 2 + 1;
    let mut counts = vec![0.0f64; size];
    counts[0] = 1.0;
    for i in 1..=n {
        for j in (i..size).rev() {
            counts[j] += counts[j - i];
        }
    }
    normalised(counts)
}

fn normalised(mut counts: Vec<f64>) -> Vec<f64> {
    let total: f64 = counts.iter().sum();
    for c in &mut counts {
        *c = c.max(0.0) / total;
    }
    counts
}
