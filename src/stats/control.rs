//! Daily monitoring: p-chart with its overdispersed form, EWMA and CUSUM.
//!
//! Inflation rises with age by design: chart the deviation from what is expected at that age, not the raw share.
//!
//! # References
//! - NIST/SEMATECH e-Handbook of Statistical Methods 6.3.2.3 (CUSUM), 6.3.2.4 (EWMA), 6.3.3.2 (proportions).
//! - Laney 2002, Qual. Eng. 14:531-537, doi:10.1081/QEN-120003555 (p'-chart).
//! - Lucas & Saccucci 1990, Technometrics 32:1-12, doi:10.1080/00401706.1990.10484583 (time-varying EWMA limits).

use statrs::distribution::{Binomial, DiscreteCDF};

use super::Interval;
use super::numeric::normal_cdf;

/// Below this n·p·(1-p) the normal limits of a share are replaced by exact binomial ones (common practice).
const NORMAL_ENOUGH: f64 = 5.0;
/// Mean range of two normal values over their standard deviation.
const D2: f64 = 1.128;

/// One day of a p-chart.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Day {
    /// Share of the day.
    pub share: f64,
    /// Deviation from the centre line in standard errors of the day.
    pub z: f64,
    /// Limits cut to 0-1.
    pub limits: Interval,
    /// Exact binomial limits, given where n·p·(1-p) is too small for the normal ones.
    pub exact: Option<Interval>,
}

/// A p-chart of shares with unequal sample sizes.
#[derive(Debug, Clone, PartialEq)]
pub struct PChart {
    /// Centre line: all successes over all fish.
    pub centre: f64,
    /// The days in order.
    pub days: Vec<Day>,
    /// Laney's σz, the mean moving range of z over 1.128: above 1 the days differ more than sampling makes them and the
    /// limits of [`PChart::laney`] are the ones to use. `None` for one day.
    pub sigma_z: Option<f64>,
}

/// A p-chart of `counts` (successes, fish) with limits `sigmas` standard errors from the centre line.
///
/// `None` when a day has no fish or more successes than fish, or when all or no fish succeed.
///
/// ```
/// use frygauge::stats::control::p_chart;
/// let chart = p_chart(&[(46, 50), (44, 50), (30, 50)], 3.0).unwrap();
/// assert!((chart.centre - 0.8).abs() < 1e-12);
/// assert_eq!(chart.outside(), vec![2]);
/// ```
pub fn p_chart(counts: &[(u64, u64)], sigmas: f64) -> Option<PChart> {
    if counts.is_empty() || sigmas.is_nan() || sigmas <= 0.0 || counts.iter().any(|(x, n)| *n == 0 || x > n) {
        return None;
    }
    let total: u64 = counts.iter().map(|c| c.1).sum();
    let centre = counts.iter().map(|c| c.0).sum::<u64>() as f64 / total as f64;
    if centre <= 0.0 || centre >= 1.0 {
        return None;
    }
    let tail = normal_cdf(-sigmas);
    let days: Vec<Day> = counts
        .iter()
        .map(|&(x, n)| {
            let share = x as f64 / n as f64;
            let se = (centre * (1.0 - centre) / n as f64).sqrt();
            let limits = Interval::around(centre, sigmas * se)?.clipped(0.0, 1.0);
            let exact = (n as f64 * centre * (1.0 - centre) < NORMAL_ENOUGH)
                .then(|| exact_limits(centre, n, tail))
                .flatten();
            Some(Day { share, z: (share - centre) / se, limits, exact })
        })
        .collect::<Option<_>>()?;
    let ranges: Vec<f64> = days.windows(2).map(|w| (w[1].z - w[0].z).abs()).collect();
    let sigma_z = (!ranges.is_empty()).then(|| ranges.iter().sum::<f64>() / ranges.len() as f64 / D2);
    Some(PChart { centre, days, sigma_z })
}

/// The smallest and largest share that a day of `n` shows with at most `tail` probability beyond each.
fn exact_limits(p: f64, n: u64, tail: f64) -> Option<Interval> {
    let d = Binomial::new(p, n).ok()?;
    let low = (0..=n).find(|x| d.cdf(*x) > tail)?;
    let high = (0..=n).rev().find(|x| *x == 0 || d.sf(*x - 1) > tail)?;
    Interval::new(low as f64 / n as f64, high as f64 / n as f64)
}

impl PChart {
    /// Days (from 0) outside their limits, exact ones where given.
    pub fn outside(&self) -> Vec<usize> {
        (0..self.days.len())
            .filter(|&i| {
                let d = self.days[i];
                !d.exact.unwrap_or(d.limits).contains(d.share)
            })
            .collect()
    }

    /// Laney's limits of each day; `None` for one day.
    pub fn laney(&self, sigmas: f64) -> Option<Vec<Interval>> {
        let factor = self.sigma_z?;
        self.days
            .iter()
            .map(|d| {
                // The day's standard error, from its z where it has one, else from its limits.
                let se =
                    if d.z == 0.0 { d.limits.half_width() / sigmas } else { (d.share - self.centre) / d.z };
                Some(Interval::around(self.centre, sigmas * factor * se)?.clipped(0.0, 1.0))
            })
            .collect()
    }
}

/// Exponentially weighted moving average of values with known standard deviation.
#[derive(Debug, Clone, PartialEq)]
pub struct Ewma {
    /// Smoothed value after each observation.
    pub smoothed: Vec<f64>,
    /// Limits at each observation, widening from the first to the asymptotic ones.
    pub limits: Vec<Interval>,
    /// Limits after many observations.
    pub asymptotic: Interval,
}

/// EWMA with weight `lambda` in (0, 1] (0.2 to 0.3 to see drift), started at `target`, limits `sigmas`·σ.
///
/// `None` for values that are not finite or parameters out of range.
///
/// ```
/// use frygauge::stats::control::ewma;
/// // NIST e-Handbook 6.3.2.4: target 50, sigma 2.0539, lambda 0.3.
/// let chart = ewma(&[52.0, 47.0, 53.0], 50.0, 2.0539, 0.3, 3.0).unwrap();
/// assert!((chart.smoothed[0] - 50.6).abs() < 1e-9);
/// assert!((chart.asymptotic.high - 52.5884).abs() < 1e-4);
/// ```
pub fn ewma(values: &[f64], target: f64, sd: f64, lambda: f64, sigmas: f64) -> Option<Ewma> {
    let finite = values.iter().chain([&target, &sd, &sigmas]).all(|v| v.is_finite());
    let in_range = lambda > 0.0 && lambda <= 1.0 && sd >= 0.0 && sigmas > 0.0;
    if !(finite && in_range) {
        return None;
    }
    let spread =
        |i: f64| sigmas * sd * (lambda / (2.0 - lambda) * (1.0 - (1.0 - lambda).powf(2.0 * i))).sqrt();
    let mut z = target;
    let smoothed: Vec<f64> = values
        .iter()
        .map(|v| {
            z = lambda * v + (1.0 - lambda) * z;
            z
        })
        .collect();
    let limits =
        (1..=values.len()).map(|i| Interval::around(target, spread(i as f64))).collect::<Option<_>>()?;
    Some(Ewma { smoothed, limits, asymptotic: Interval::around(target, spread(f64::INFINITY))? })
}

/// Tabular CUSUM: the sums above and below `target` less the allowance `k`.
#[derive(Debug, Clone, PartialEq)]
pub struct Cusum {
    /// Upper sums.
    pub high: Vec<f64>,
    /// Lower sums.
    pub low: Vec<f64>,
    /// First observation (from 0) at which a sum exceeds the decision interval.
    pub first_signal: Option<usize>,
}

/// CUSUM with allowance `k` and decision interval `h`; `None` for values that are not finite.
pub fn cusum(values: &[f64], target: f64, k: f64, h: f64) -> Option<Cusum> {
    if !values.iter().chain([&target, &k, &h]).all(|v| v.is_finite()) {
        return None;
    }
    let (mut up, mut down) = (0.0f64, 0.0f64);
    let (mut high, mut low) = (Vec::new(), Vec::new());
    for v in values {
        up = (up + v - target - k).max(0.0);
        down = (down + target - k - v).max(0.0);
        high.push(up);
        low.push(down);
    }
    let first_signal = (0..values.len()).find(|&i| high[i] > h || low[i] > h);
    Some(Cusum { high, low, first_signal })
}
