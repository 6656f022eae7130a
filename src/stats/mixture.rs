//! Mixtures of normal distributions by expectation-maximisation, and whether two fit better than one.
//!
//! With one standard deviation for all components the likelihood ratio of two components against one does not
//! depend on place or scale, so its distribution under one normal depends on the sample size alone: the
//! parametric bootstrap becomes a table of simulated ratios ([`NullRatios`]) that is exact up to its own number.
//! For a common coefficient of variation, and for the skew to the right that size distributions have, fit logarithms.
//!
//! # References
//! - Dempster, Laird & Rubin 1977, J. R. Stat. Soc. B 39:1-38, doi:10.1111/j.2517-6161.1977.tb01600.x (EM).
//! - McLachlan 1987, Appl. Stat. 36:318-324, doi:10.2307/2347790 (the ratio's distribution by parametric bootstrap).
//! - Hathaway 1985, Ann. Stat. 13:795-800, doi:10.1214/aos/1176349557 (with free standard deviations the likelihood has no bound).
//! - Macdonald & Pitcher 1979, J. Fish. Res. Board Can. 36:987-1001, doi:10.1139/f79-137 (mixtures of fish lengths).

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use rayon::prelude::*;
use serde::{Deserialize, Serialize};

use super::StatsError;
use super::quantile::of_sorted;

const LN_2PI: f64 = 1.8378770664093453;

/// One normal component.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Component {
    /// Share of the whole, 0-1.
    pub share: f64,
    /// Mean.
    pub mean: f64,
    /// Standard deviation.
    pub sd: f64,
}

/// Whether the components share one standard deviation.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Spread {
    /// One standard deviation for all.
    Common,
    /// One each, not below a hundredth of the whole sample's.
    Free,
}

/// A fitted mixture.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Mixture {
    /// The components, by rising mean.
    pub components: Vec<Component>,
    /// Log-likelihood.
    pub log_likelihood: f64,
    /// Parameters estimated.
    pub parameters: usize,
    /// Values fitted.
    pub n: usize,
}

impl Mixture {
    /// Bayes' information criterion; the lower of two is the better.
    pub fn bic(&self) -> f64 {
        self.parameters as f64 * (self.n as f64).ln() - 2.0 * self.log_likelihood
    }

    /// Akaike's information criterion; the lower of two is the better.
    pub fn aic(&self) -> f64 {
        2.0 * self.parameters as f64 - 2.0 * self.log_likelihood
    }

    /// Density at `x`.
    pub fn density(&self, x: f64) -> f64 {
        self.components.iter().map(|c| c.share * density(c, x)).sum()
    }

    /// Probability that a value at `x` belongs to the component of greatest mean.
    pub fn posterior_upper(&self, x: f64) -> f64 {
        let upper = self.components.last().map_or(0.0, |c| c.share * density(c, x));
        let all = self.density(x);
        if all > 0.0 { upper / all } else { f64::from(self.components.last().is_some_and(|c| x > c.mean)) }
    }

    /// Whether the density of two components has two peaks: looked for on a fine grid between the means.
    pub fn has_two_peaks(&self) -> bool {
        let [low, high] = self.components.as_slice() else {
            return false;
        };
        // Between two peaks there must be a valley, and both lie between the means (Behboodian 1970).
        let steps = 400;
        let at = |i: usize| self.density(low.mean + (high.mean - low.mean) * i as f64 / f64::from(steps));
        let values: Vec<f64> = (0..=steps as usize).map(at).collect();
        let Some(valley) =
            (1..values.len() - 1).find(|&i| values[i] <= values[i - 1] && values[i] < values[i + 1])
        else {
            return false;
        };
        values[..valley].iter().any(|v| *v > values[valley])
            && values[valley..].iter().any(|v| *v > values[valley])
    }
}

fn density(c: &Component, x: f64) -> f64 {
    let z = (x - c.mean) / c.sd;
    (-0.5 * (z * z + LN_2PI)).exp() / c.sd
}

/// One normal distribution by maximum likelihood (standard deviation with divisor n).
///
/// # Errors
/// [`StatsError::TooFew`] below two values, [`StatsError::NotEstimable`] when all are equal,
/// [`StatsError::NotUsable`] when one is not finite.
pub fn one(x: &[f64]) -> Result<Mixture, StatsError> {
    let (mean, sd) = mean_sd(x)?;
    let n = x.len() as f64;
    Ok(Mixture {
        components: vec![Component { share: 1.0, mean, sd }],
        log_likelihood: -0.5 * n * (LN_2PI + 2.0 * sd.ln() + 1.0),
        parameters: 2,
        n: x.len(),
    })
}

fn mean_sd(x: &[f64]) -> Result<(f64, f64), StatsError> {
    if x.iter().any(|v| !v.is_finite()) {
        return Err(StatsError::NotUsable("a value is not a number".into()));
    }
    if x.len() < 2 {
        return Err(StatsError::TooFew("a mixture needs at least two values".into()));
    }
    let n = x.len() as f64;
    let mean = x.iter().sum::<f64>() / n;
    let sd = (x.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / n).sqrt();
    if sd <= 1e-12 * mean.abs() || sd == 0.0 {
        return Err(StatsError::NotEstimable("all values are equal".into()));
    }
    Ok((mean, sd))
}

/// How long EM goes on.
#[derive(Debug, Clone, Copy)]
struct Stop {
    gain: f64,
    most: usize,
}

/// To the last digits, for a fit that is reported.
const FINE: Stop = Stop { gain: 1e-12, most: 50_000 };
/// To what the ratio needs; used for the sample and for the simulated samples alike.
const COARSE: Stop = Stop { gain: 1e-6, most: 400 };

/// EM from a given start.
///
/// # Errors
/// As [`one`], and [`StatsError::NotUsable`] for a start without components or with a share or standard deviation that is not above 0.
///
/// ```
/// use frygauge::stats::mixture::{Component, Spread, fit_from};
/// let x = [1.0, 1.2, 0.9, 1.1, 5.0, 5.2, 4.9, 5.1];
/// let start = [1.0, 4.0].map(|mean| Component { share: 0.5, mean, sd: 1.0 });
/// let fit = fit_from(&x, &start, Spread::Common).unwrap();
/// assert!((fit.components[0].mean - 1.05).abs() < 1e-6 && fit.has_two_peaks());
/// ```
pub fn fit_from(x: &[f64], start: &[Component], spread: Spread) -> Result<Mixture, StatsError> {
    let (_, sd) = mean_sd(x)?;
    if start.is_empty() || start.iter().any(|c| !(c.share > 0.0 && c.sd > 0.0 && c.mean.is_finite())) {
        return Err(StatsError::NotUsable("a start with an empty component".into()));
    }
    Ok(em(x, start.to_vec(), spread, 0.01 * sd, FINE))
}

fn em(x: &[f64], mut parts: Vec<Component>, spread: Spread, least_sd: f64, stop: Stop) -> Mixture {
    let n = x.len() as f64;
    let k = parts.len();
    let mut log_likelihood = f64::NEG_INFINITY;
    let mut terms = vec![0.0; k];
    for _ in 0..stop.most {
        // Sums of weights, of weighted values and of weighted squares about the old mean.
        let mut sums = vec![[0.0; 3]; k];
        let mut value = 0.0;
        let heights: Vec<f64> = parts.iter().map(|c| c.share.ln() - c.sd.ln()).collect();
        for &v in x {
            for ((t, c), height) in terms.iter_mut().zip(&parts).zip(&heights) {
                let z = (v - c.mean) / c.sd;
                *t = height - 0.5 * z * z;
            }
            let top = terms.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            let mut total = 0.0;
            for t in &mut terms {
                *t = (*t - top).exp();
                total += *t;
            }
            value += top + f64::ln(total) - 0.5 * LN_2PI;
            for ((t, c), s) in terms.iter().zip(&parts).zip(&mut sums) {
                let (weight, d) = (t / total, v - c.mean);
                s[0] += weight;
                s[1] += weight * d;
                s[2] += weight * d * d;
            }
        }
        let gain = value - log_likelihood;
        log_likelihood = value;
        let mut within = 0.0;
        for (c, s) in parts.iter_mut().zip(&sums) {
            // A component that has lost all its values stays where it is with next to no share.
            let weight = s[0].max(1e-300);
            let shift = s[1] / weight;
            let squares = (s[2] - s[1] * shift).max(0.0);
            c.mean += shift;
            c.share = (s[0] / n).max(1e-300);
            c.sd = (squares / weight).sqrt().max(least_sd);
            within += squares;
        }
        if spread == Spread::Common {
            let common = (within / n).sqrt().max(least_sd);
            for c in &mut parts {
                c.sd = common;
            }
        }
        if gain.abs() < stop.gain {
            break;
        }
    }
    parts.sort_by(|a, b| a.mean.total_cmp(&b.mean));
    let spreads = if spread == Spread::Common { 1 } else { k };
    Mixture { components: parts, log_likelihood, parameters: 2 * k - 1 + spreads, n: x.len() }
}

/// Starts as pairs of quantiles and the upper one's share: halves, and a small group at either end.
const STARTS: [(f64, f64, f64); 4] =
    [(0.25, 0.75, 0.5), (0.45, 0.95, 0.1), (0.05, 0.55, 0.9), (0.4, 0.85, 0.3)];

fn two_within(x: &[f64], spread: Spread, stop: Stop) -> Result<Mixture, StatsError> {
    let (_, sd) = mean_sd(x)?;
    let mut sorted = x.to_vec();
    sorted.sort_by(f64::total_cmp);
    STARTS
        .iter()
        .filter_map(|&(low, high, share)| {
            let (low, high) = (of_sorted(&sorted, low)?, of_sorted(&sorted, high)?);
            // Equal quantiles (many ties) would leave both components in one place.
            let high = if high > low { high } else { low + sd };
            let start = vec![
                Component { share: 1.0 - share, mean: low, sd: 0.5 * sd },
                Component { share, mean: high, sd: 0.5 * sd },
            ];
            Some(em(&sorted, start, spread, 0.01 * sd, stop))
        })
        .max_by(|a, b| a.log_likelihood.total_cmp(&b.log_likelihood))
        .ok_or_else(|| StatsError::NotEstimable("no start led to a fit".into()))
}

/// Two components, the best of EM from several starts.
///
/// # Errors
/// As [`one`].
pub fn two(x: &[f64], spread: Spread) -> Result<Mixture, StatsError> {
    let best = two_within(x, spread, COARSE)?;
    let (_, sd) = mean_sd(x)?;
    Ok(em(x, best.components, spread, 0.01 * sd, FINE))
}

/// Two components with a common standard deviation, and twice their gain in log-likelihood over one. EM stops as
/// early here as for [`NullRatios`], so that the two can be compared; [`two`] gives the last digits.
///
/// # Errors
/// As [`one`].
pub fn compare(x: &[f64]) -> Result<(Mixture, f64), StatsError> {
    let (one, two) = (one(x)?, two_within(x, Spread::Common, COARSE)?);
    let ratio = (2.0 * (two.log_likelihood - one.log_likelihood)).max(0.0);
    Ok((two, ratio))
}

/// The ratio of [`compare`] alone.
///
/// # Errors
/// As [`one`].
pub fn likelihood_ratio(x: &[f64]) -> Result<f64, StatsError> {
    compare(x).map(|(_, ratio)| ratio)
}

/// Likelihood ratios of samples that come from one distribution with a single peak.
#[derive(Debug, Clone)]
pub struct NullRatios {
    sorted: Vec<f64>,
}

/// Beyond this size the simulated samples stay at it: the ratio's distribution then changes only with the
/// double logarithm of the size.
pub const LARGEST_SIMULATED: usize = 1000;

impl NullRatios {
    /// Ratios of `samples` simulated normal samples of `n` values each, the same for the same `seed`.
    pub fn simulate(n: usize, samples: usize, seed: u64) -> Self {
        Self::simulate_from(n, samples, seed, |rng| StandardNormal.sample(rng))
    }

    /// The same from a uniform distribution: the flattest single peak there is, which two normals fit far better than
    /// one does. For a sample that may be flat-topped this is the null to hold its ratio against, as for the dip
    /// (Hartigan & Hartigan 1985, Ann. Stat. 13:70-84, doi:10.1214/aos/1176346577).
    pub fn simulate_flat(n: usize, samples: usize, seed: u64) -> Self {
        Self::simulate_from(n, samples, seed, RngExt::random::<f64>)
    }

    fn simulate_from(
        n: usize,
        samples: usize,
        seed: u64,
        draw: impl Fn(&mut ChaCha8Rng) -> f64 + Sync,
    ) -> Self {
        let n = n.clamp(2, LARGEST_SIMULATED);
        let mut sorted: Vec<f64> = (0..samples as u64)
            .into_par_iter()
            .map(|i| {
                let mut rng = ChaCha8Rng::seed_from_u64(seed);
                rng.set_stream(i);
                let x: Vec<f64> = (0..n).map(|_| draw(&mut rng)).collect();
                likelihood_ratio(&x).unwrap_or(0.0)
            })
            .collect();
        sorted.sort_by(f64::total_cmp);
        Self { sorted }
    }

    /// Monte Carlo p-value of a ratio: (simulated at least as large + 1) / (simulated + 1).
    pub fn p_value(&self, ratio: f64) -> f64 {
        let below = self.sorted.partition_point(|r| *r < ratio);
        (self.sorted.len() - below + 1) as f64 / (self.sorted.len() + 1) as f64
    }

    /// Ratios simulated.
    pub fn samples(&self) -> usize {
        self.sorted.len()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ratio_does_not_depend_on_place_or_scale() {
        let x = [1.0, 1.4, 2.1, 2.2, 2.9, 3.3, 3.4, 7.0, 7.3, 8.1];
        let moved: Vec<f64> = x.iter().map(|v| 0.01 * v + 50.0).collect();
        let (a, b) = (likelihood_ratio(&x).unwrap(), likelihood_ratio(&moved).unwrap());
        assert!((a - b).abs() < 1e-4, "{a} {b}");
    }

    #[test]
    fn null_ratios_are_the_same_for_the_same_seed() {
        let (a, b) = (NullRatios::simulate(20, 19, 1), NullRatios::simulate(20, 19, 1));
        assert_eq!(a.sorted, b.sorted);
        assert_eq!((a.p_value(f64::INFINITY), a.p_value(-1.0)), (0.05, 1.0));
    }

    #[test]
    fn equal_values_and_numbers_that_are_none_have_no_fit() {
        assert!(two(&[3.0; 9], Spread::Common).is_err());
        assert!(likelihood_ratio(&[1.0, f64::NAN, 2.0]).is_err());
        assert!(one(&[1.0]).is_err());
    }
}
