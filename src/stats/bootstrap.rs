//! Bias-corrected and accelerated bootstrap limits, seeded so that the same data give the same limits.
//!
//! # References
//! - Efron 1987, J. Am. Stat. Assoc. 82:171-185, doi:10.1080/01621459.1987.10478410 (BCa).
//! - Efron & Tibshirani 1993, An Introduction to the Bootstrap, ch. 14 (spatial test data), ch. 6 (law school data).

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::numeric::{normal_cdf, normal_quantile};
use super::quantile;
use super::{Interval, Level};

/// What the bootstrap says about a statistic.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bootstrap {
    /// The statistic of the sample itself.
    pub estimate: f64,
    /// Standard deviation over the resamples.
    pub se: f64,
    /// Bias correction z0: how far the median of the resamples lies from the estimate, in normal quantiles.
    pub bias: f64,
    /// Acceleration from the jackknife.
    pub acceleration: f64,
    /// BCa limits.
    pub interval: Interval,
    /// Plain percentile limits, for comparison.
    pub percentile: Interval,
}

/// Resamples `sample` with replacement `resamples` times (2,000 at least, 10,000 for printed limits).
///
/// The statistic may say `None` for a resample it is not defined on; such resamples are left out.
/// `None` when the sample has fewer than three values, the statistic is undefined on it, or does not vary.
///
/// ```
/// use frygauge::stats::{Level, bootstrap::bca, moments::Moments};
/// let lengths = [5.2, 5.9, 6.1, 6.3, 6.4, 6.8, 7.0, 9.5];
/// let sd = |v: &[f64]| Moments::of(v).and_then(|m| m.sd());
/// let a = bca(&lengths, sd, 2000, 7, Level::P95).unwrap();
/// assert_eq!(a, bca(&lengths, sd, 2000, 7, Level::P95).unwrap());
/// assert!(a.interval.contains(a.estimate));
/// ```
pub fn bca<T: Clone>(
    sample: &[T],
    statistic: impl Fn(&[T]) -> Option<f64>,
    resamples: usize,
    seed: u64,
    level: Level,
) -> Option<Bootstrap> {
    let n = sample.len();
    if n < 3 || resamples < 2 {
        return None;
    }
    let finite = |v: Option<f64>| v.filter(|v| v.is_finite());
    let estimate = finite(statistic(sample))?;
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut drawn = sample.to_vec();
    let mut values: Vec<f64> = (0..resamples)
        .filter_map(|_| {
            for slot in &mut drawn {
                *slot = sample[rng.random_range(0..n)].clone();
            }
            finite(statistic(&drawn))
        })
        .collect();
    values.sort_by(f64::total_cmp);
    let spread = super::moments::Moments::of(&values)?;
    let se = spread.sd().filter(|s| *s > 0.0)?;
    // Values equal to the estimate count half, so that a discrete statistic is not taken for biased.
    let count = values.len() as f64;
    let below: f64 = values
        .iter()
        .map(|v| {
            if *v < estimate {
                1.0
            } else if *v == estimate {
                0.5
            } else {
                0.0
            }
        })
        .sum();
    let bias = normal_quantile((below / count).clamp(0.5 / count, 1.0 - 0.5 / count));
    let acceleration = acceleration(sample, &statistic)?;
    let at = |p: f64| {
        let z = bias + normal_quantile(p);
        normal_cdf(bias + z / (1.0 - acceleration * z))
    };
    let (low, high) = (level.tail(), 1.0 - level.tail());
    let limits =
        |a: f64, b: f64| Interval::new(quantile::of_sorted(&values, a)?, quantile::of_sorted(&values, b)?);
    Some(Bootstrap {
        estimate,
        se,
        bias,
        acceleration,
        interval: limits(at(low), at(high))?,
        percentile: limits(low, high)?,
    })
}

/// The jackknife's acceleration: a sixth of the skewness of the leave-one-out values; 0 when they do not vary.
///
/// `None` when the statistic is undefined without some value.
pub fn acceleration<T: Clone>(sample: &[T], statistic: impl Fn(&[T]) -> Option<f64>) -> Option<f64> {
    let left_out = jackknife(sample, statistic)?;
    let mean = left_out.iter().sum::<f64>() / left_out.len() as f64;
    let (squares, cubes) = left_out.iter().fold((0.0, 0.0), |(s, c), v| {
        let d = mean - v;
        (s + d * d, c + d * d * d)
    });
    Some(if squares > 0.0 { cubes / (6.0 * squares.powf(1.5)) } else { 0.0 })
}

/// The jackknife's standard error; `None` as [`acceleration`].
pub fn jackknife_se<T: Clone>(sample: &[T], statistic: impl Fn(&[T]) -> Option<f64>) -> Option<f64> {
    let left_out = jackknife(sample, statistic)?;
    let n = left_out.len() as f64;
    let mean = left_out.iter().sum::<f64>() / n;
    Some(((n - 1.0) / n * left_out.iter().map(|v| (v - mean).powi(2)).sum::<f64>()).sqrt())
}

fn jackknife<T: Clone>(sample: &[T], statistic: impl Fn(&[T]) -> Option<f64>) -> Option<Vec<f64>> {
    (0..sample.len())
        .map(|i| {
            let rest: Vec<T> = sample[..i].iter().chain(&sample[i + 1..]).cloned().collect();
            statistic(&rest).filter(|v| v.is_finite())
        })
        .collect()
}
