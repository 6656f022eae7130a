//! Exact permutation tests on tanks, with the smallest p they can reach.
//!
//! # References
//! - Fisher 1935, The Design of Experiments, sec. 21 (Darwin's maize: the sign-flip test).
//! - Pitman 1937, Suppl. J. R. Stat. Soc. 4:119-130, doi:10.2307/2984124.
//! - Phipson & Smyth 2010, Stat. Appl. Genet. Mol. Biol. 9:39, doi:10.2202/1544-6115.1585 (sampled permutations: (b+1)/(m+1)).

use rand::seq::SliceRandom;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde::{Deserialize, Serialize};

use super::StatsError;

/// Enumerate up to this many arrangements; above it sample this many with a fixed seed.
const MOST_ENUMERATED: f64 = 3_000_000.0;
/// Arrangements sampled when there are too many to enumerate.
const SAMPLED: u64 = 200_000;
/// Sums that differ by less than this share of the values' size are ties.
const TIE: f64 = 1e-10;

/// Outcome of a permutation test.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Permutation {
    /// Two-sided p: share of arrangements at least as far from no effect as the observed.
    pub p: f64,
    /// One-sided p: share at least as large as the observed.
    pub p_greater: f64,
    /// The smallest two-sided p any data of this size can give.
    pub smallest_p: f64,
    /// Number of arrangements looked at.
    pub arrangements: u64,
    /// How many were as far out (two-sided).
    pub as_extreme: u64,
    /// Whether all arrangements were enumerated; if not, a seeded sample was drawn.
    pub exact: bool,
}

/// Number of ways to choose `k` of `n`, as a real number.
pub fn choose(n: usize, k: usize) -> f64 {
    let k = k.min(n - k.min(n));
    (1..=k).fold(1.0, |c, i| c * (n - k + i) as f64 / i as f64).round()
}

/// The smallest two-sided p of the two-group test: 2/C for equal groups, where an arrangement and its mirror tie, 1/C otherwise.
///
/// ```
/// use frygauge::stats::permutation::smallest_two_group_p;
/// assert_eq!(smallest_two_group_p(3, 3), 0.1);
/// assert_eq!(smallest_two_group_p(3, 4), 1.0 / 35.0);
/// ```
pub fn smallest_two_group_p(first: usize, second: usize) -> f64 {
    let splits = choose(first + second, first);
    (if first == second { 2.0 } else { 1.0 } / splits).min(1.0)
}

/// The smallest two-sided p of the sign-flip test: 2/2ⁿ.
pub fn smallest_sign_flip_p(n: usize) -> f64 {
    (2.0 * 0.5f64.powi(n as i32)).min(1.0)
}

/// Permutes the labels of two groups; the statistic is the difference of means, first less second.
///
/// # Errors
/// [`StatsError::TooFew`] when a group is empty, [`StatsError::NotUsable`] for values that are not finite.
pub fn two_groups(first: &[f64], second: &[f64]) -> Result<Permutation, StatsError> {
    if first.is_empty() || second.is_empty() {
        return Err(StatsError::TooFew("each group needs a value".into()));
    }
    finite(first)?;
    finite(second)?;
    let (k, n) = (first.len(), first.len() + second.len());
    let all: Vec<f64> = first.iter().chain(second).copied().collect();
    // Centring keeps the digits when the values are large and alike.
    let mean = all.iter().sum::<f64>() / n as f64;
    let all: Vec<f64> = all.iter().map(|v| v - mean).collect();
    let total: f64 = all.iter().sum();
    let difference = |sum: f64| sum / k as f64 - (total - sum) / (n - k) as f64;
    let size = all.iter().fold(0.0f64, |m, v| m.max(v.abs()));
    let observed = difference(all[..k].iter().sum());
    let mut tally = Tally::new(observed, TIE * size);
    let splits = choose(n, k);
    let exact = splits <= MOST_ENUMERATED;
    if exact {
        enumerate(&all, k, 0, 0.0, &mut |sum| tally.count(difference(sum)));
    } else {
        let mut rng = ChaCha8Rng::seed_from_u64(1);
        let mut shuffled = all;
        for _ in 0..SAMPLED {
            // Only the first group needs shuffling in.
            let (chosen, _) = shuffled.partial_shuffle(&mut rng, k);
            tally.count(difference(chosen.iter().sum()));
        }
    }
    Ok(tally.result(smallest_two_group_p(k, n - k), exact))
}

/// Visits the sum of every choice of `k` of `values[from..]`.
fn enumerate(values: &[f64], k: usize, from: usize, sum: f64, visit: &mut impl FnMut(f64)) {
    if k == 0 {
        visit(sum);
        return;
    }
    for i in from..=values.len() - k {
        enumerate(values, k - 1, i + 1, sum + values[i], visit);
    }
}

/// Flips the signs of paired changes; the statistic is their sum.
///
/// # Errors
/// As [`two_groups`].
///
/// ```
/// use frygauge::stats::permutation::sign_flip;
/// // Darwin's maize, Fisher 1935: 863 of 32768 at least as large.
/// let d = [49., -67., 8., 16., 6., 23., 28., 41., 14., 29., 56., 24., 75., 60., -48.];
/// let r = sign_flip(&d).unwrap();
/// assert_eq!((r.p_greater * 32768.0).round(), 863.0);
/// ```
pub fn sign_flip(changes: &[f64]) -> Result<Permutation, StatsError> {
    if changes.is_empty() {
        return Err(StatsError::TooFew("no pairs".into()));
    }
    finite(changes)?;
    let n = changes.len();
    let size: f64 = changes.iter().map(|v| v.abs()).sum();
    let mut tally = Tally::new(changes.iter().sum(), TIE * size);
    let exact = 2f64.powi(n as i32) <= MOST_ENUMERATED;
    if exact {
        for signs in 0..1u64 << n {
            tally.count(
                changes.iter().enumerate().map(|(i, v)| if signs >> i & 1 == 1 { -v } else { *v }).sum(),
            );
        }
    } else {
        let mut rng = ChaCha8Rng::seed_from_u64(1);
        for _ in 0..SAMPLED {
            tally.count(changes.iter().map(|v| if rng.random::<bool>() { -v } else { *v }).sum());
        }
    }
    Ok(tally.result(smallest_sign_flip_p(n), exact))
}

/// Permutes the values over ordered doses; the statistic is the sum of score times value (the linear trend).
///
/// # Errors
/// [`StatsError::TooFew`] unless there are two values and two different scores; [`StatsError::NotUsable`] for
/// values that are not finite or lengths that differ.
pub fn trend(scores: &[f64], values: &[f64]) -> Result<Permutation, StatsError> {
    if scores.len() != values.len() {
        return Err(StatsError::NotUsable("scores and values differ in length".into()));
    }
    finite(scores)?;
    finite(values)?;
    let n = values.len();
    if n < 2 || scores.iter().all(|s| *s == scores[0]) {
        return Err(StatsError::TooFew("two doses are needed".into()));
    }
    let centred = |v: &[f64]| -> Vec<f64> {
        let mean = v.iter().sum::<f64>() / n as f64;
        v.iter().map(|x| x - mean).collect()
    };
    let (scores, values) = (centred(scores), centred(values));
    let statistic = |v: &[f64]| -> f64 { scores.iter().zip(v).map(|(s, x)| s * x).sum() };
    let size = values.iter().zip(&scores).map(|(v, s)| (v * s).abs()).sum::<f64>();
    let mut tally = Tally::new(statistic(&values), TIE * size);
    // Distinct arrangements: tanks of one dose are interchangeable.
    let mut groups: Vec<usize> = Vec::new();
    let mut order: Vec<f64> = scores.clone();
    order.sort_by(f64::total_cmp);
    for chunk in order.chunk_by(|a, b| a == b) {
        groups.push(chunk.len());
    }
    let mut left = n;
    let mut arrangements = 1.0;
    for g in &groups {
        arrangements *= choose(left, *g);
        left -= g;
    }
    let exact = arrangements <= MOST_ENUMERATED;
    if exact {
        let mut levels: Vec<(f64, usize)> = order.chunk_by(|a, b| a == b).map(|c| (c[0], c.len())).collect();
        assign(&values, &mut levels, 0, 0.0, &mut |s| tally.count(s));
    } else {
        let mut rng = ChaCha8Rng::seed_from_u64(1);
        let mut shuffled = values;
        for _ in 0..SAMPLED {
            shuffled.shuffle(&mut rng);
            tally.count(statistic(&shuffled));
        }
    }
    // The reversed order ties with the given one only when the design is symmetric.
    let symmetric = groups.iter().eq(groups.iter().rev())
        && order.iter().zip(order.iter().rev()).all(|(a, b)| (a + b).abs() < 1e-9 * (1.0 + a.abs()));
    let smallest = if symmetric { 2.0 } else { 1.0 } / arrangements;
    Ok(tally.result(smallest.min(1.0), exact))
}

/// Gives every value a score in all distinct ways and visits the sum of products.
fn assign(values: &[f64], levels: &mut [(f64, usize)], at: usize, sum: f64, visit: &mut impl FnMut(f64)) {
    if at == values.len() {
        visit(sum);
        return;
    }
    for i in 0..levels.len() {
        if levels[i].1 > 0 {
            levels[i].1 -= 1;
            assign(values, levels, at + 1, sum + levels[i].0 * values[at], visit);
            levels[i].1 += 1;
        }
    }
}

fn finite(values: &[f64]) -> Result<(), StatsError> {
    if values.iter().all(|v| v.is_finite()) {
        Ok(())
    } else {
        Err(StatsError::NotUsable("a value is not a number".into()))
    }
}

struct Tally {
    observed: f64,
    tie: f64,
    seen: u64,
    greater: u64,
    extreme: u64,
}

impl Tally {
    fn new(observed: f64, tie: f64) -> Self {
        Self { observed, tie, seen: 0, greater: 0, extreme: 0 }
    }

    fn count(&mut self, value: f64) {
        self.seen += 1;
        self.greater += u64::from(value >= self.observed - self.tie);
        self.extreme += u64::from(value.abs() >= self.observed.abs() - self.tie);
    }

    fn result(&self, smallest_p: f64, exact: bool) -> Permutation {
        // A sample of arrangements counts the observed one in, so that p is never 0.
        let share = |count: u64| {
            if exact { count as f64 / self.seen as f64 } else { (count + 1) as f64 / (self.seen + 1) as f64 }
        };
        Permutation {
            p: share(self.extreme).min(1.0),
            p_greater: share(self.greater).min(1.0),
            smallest_p,
            arrangements: self.seen,
            as_extreme: self.extreme,
            exact,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ties_everywhere_give_a_p_of_one() {
        assert_eq!(two_groups(&[0.5; 3], &[0.5; 3]).unwrap().p, 1.0);
        assert_eq!(sign_flip(&[0.0; 4]).unwrap().p, 1.0);
        assert_eq!(trend(&[0.0, 1.0, 2.0], &[0.5; 3]).unwrap().p, 1.0);
    }

    #[test]
    fn trend_over_two_doses_is_the_two_group_test() {
        let (a, b) = ([0.9, 0.8, 0.95], [0.5, 0.7, 0.75, 0.6]);
        let scores = [1.0, 1.0, 1.0, 0.0, 0.0, 0.0, 0.0];
        let all: Vec<f64> = a.iter().chain(&b).copied().collect();
        let (t, g) = (trend(&scores, &all).unwrap(), two_groups(&a, &b).unwrap());
        assert_eq!((t.p_greater, t.arrangements), (g.p_greater, g.arrangements));
    }

    #[test]
    fn many_tanks_are_sampled_and_never_give_zero() {
        let a: Vec<f64> = (0..20).map(f64::from).collect();
        let b: Vec<f64> = (100..120).map(f64::from).collect();
        let r = two_groups(&a, &b).unwrap();
        assert!(!r.exact && r.p > 0.0 && r.p < 1e-4);
    }
}
