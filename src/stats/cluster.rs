//! Fish in tanks: how much more alike fish of one tank are than fish of different tanks, and what that costs.
//!
//! # References
//! - Donner & Klar 2000, Design and Analysis of Cluster Randomization Trials, ch. 6 (analysis-of-variance ICC).
//! - Cochran 1977, Sampling Techniques, 3rd ed., eq. 2.39 (ratio estimator of a proportion over clusters).
//! - Rao & Scott 1992, Biometrics 48:577-585, doi:10.2307/2532311 (design effect and adjusted chi-square).
//! - Saha, Miller & Wang 2016, Stat. Med. 35:5180-5197; Short et al. 2020, Stat. Methods Med. Res. 29:111-121 (Wilson for clusters).

use serde::{Deserialize, Serialize};

use super::moments::Moments;
use super::numeric::chi2_sf;
use super::proportion::{score, wilson};
use super::{Interval, Level, StatsError};

/// A tank's count: `successes` of `n` fish.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Count {
    /// Inflated fish.
    pub successes: f64,
    /// Called fish.
    pub n: f64,
}

impl Count {
    /// The count as a share; `None` for no fish.
    pub fn share(self) -> Option<f64> {
        (self.n > 0.0).then(|| self.successes / self.n)
    }
}

/// Mean squares and intraclass correlation of a one-way analysis of variance of 0/1 values within arms.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Anova {
    /// Mean square between tanks of one arm.
    pub between: f64,
    /// Mean square within tanks.
    pub within: f64,
    /// Average tank size that unequal tanks are worth.
    pub m0: f64,
    /// Intraclass correlation (may be negative: tanks more alike than sampling makes them).
    pub icc: f64,
}

fn usable(groups: &[&[Count]]) -> bool {
    groups.iter().all(|g| {
        !g.is_empty()
            && g.iter().all(|c| c.n.is_finite() && c.n > 0.0 && c.successes >= 0.0 && c.successes <= c.n)
    })
}

/// Analysis of variance of tanks within arms; `groups` holds the tanks of each arm.
///
/// `None` without an arm of two tanks, with an empty tank, with only one fish a tank, or when no fish differs.
pub fn anova(groups: &[&[Count]]) -> Option<Anova> {
    if groups.is_empty() || !usable(groups) {
        return None;
    }
    let tanks: usize = groups.iter().map(|g| g.len()).sum();
    let df_between = tanks.checked_sub(groups.len()).filter(|d| *d > 0)? as f64;
    let (mut between, mut within, mut sizes, mut total) = (0.0, 0.0, 0.0, 0.0);
    for g in groups {
        let n: f64 = g.iter().map(|c| c.n).sum();
        let p = g.iter().map(|c| c.successes).sum::<f64>() / n;
        for c in *g {
            let share = c.successes / c.n;
            between += c.n * (share - p).powi(2);
            within += c.n * share * (1.0 - share);
        }
        sizes += g.iter().map(|c| c.n * c.n).sum::<f64>() / n;
        total += n;
    }
    let df_within = total - tanks as f64;
    if df_within <= 0.0 {
        return None;
    }
    let (between, within) = (between / df_between, within / df_within);
    let m0 = (total - sizes) / df_between;
    let spread = between + (m0 - 1.0) * within;
    (spread > 0.0).then(|| Anova { between, within, m0, icc: (between - within) / spread })
}

/// Design effect of samples of `fish` a tank at an intraclass correlation: 1 + (m - 1)·icc, never below 0.
pub fn design_effect(fish: f64, icc: f64) -> f64 {
    (1.0 + (fish - 1.0) * icc).max(0.0)
}

/// Share over all fish of an arm with a variance from the tanks.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Ratio {
    /// All successes over all fish.
    pub share: f64,
    /// Variance by the ratio estimator over tanks.
    pub variance: f64,
    /// Variance if all fish were independent.
    pub binomial_variance: f64,
    /// Fish in all.
    pub n: f64,
}

impl Ratio {
    /// Variance over the binomial one; `None` when the share is 0 or 1.
    pub fn design_effect(&self) -> Option<f64> {
        (self.binomial_variance > 0.0).then(|| self.variance / self.binomial_variance)
    }

    /// Independent fish this sample is worth; `None` when the tanks do not differ at all.
    pub fn effective_n(&self) -> Option<f64> {
        (self.variance > 0.0).then(|| self.n * self.binomial_variance / self.variance)
    }
}

/// Ratio estimator over the tanks of one arm; `None` for fewer than two tanks or an empty one.
///
/// ```
/// use frygauge::stats::cluster::{Count, ratio};
/// let tanks = [Count { successes: 40.0, n: 50.0 }, Count { successes: 20.0, n: 50.0 }];
/// assert!(ratio(&tanks).unwrap().design_effect().unwrap() > 10.0);
/// ```
pub fn ratio(tanks: &[Count]) -> Option<Ratio> {
    if tanks.len() < 2 || !usable(&[tanks]) {
        return None;
    }
    let k = tanks.len() as f64;
    let n: f64 = tanks.iter().map(|c| c.n).sum();
    let share = tanks.iter().map(|c| c.successes).sum::<f64>() / n;
    let residuals: f64 = tanks.iter().map(|c| (c.successes - c.n * share).powi(2)).sum();
    Some(Ratio {
        share,
        variance: k / (k - 1.0) * residuals / (n * n),
        binomial_variance: share * (1.0 - share) / n,
        n,
    })
}

/// A chi-square statistic.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ChiSquare {
    /// The statistic.
    pub statistic: f64,
    /// Degrees of freedom.
    pub df: f64,
    /// p-value.
    pub p: f64,
}

/// Pearson's chi-square of shares in arms as if every fish were a replicate. Only to show what counting fish does: its
/// p is not offered for treatments.
pub fn naive_chi_square(groups: &[&[Count]]) -> Option<ChiSquare> {
    adjusted_chi_square(groups, &vec![1.0; groups.len()])
}

/// Rao and Scott's chi-square: each arm's counts divided by its design effect (or by a pooled one). For ten or more
/// tanks an arm; with fewer it rejects too often.
pub fn rao_scott(groups: &[&[Count]], pooled: bool) -> Option<(ChiSquare, Vec<f64>)> {
    let ratios: Vec<Ratio> = groups.iter().map(|g| ratio(g)).collect::<Option<_>>()?;
    let own: Vec<f64> = ratios.iter().map(Ratio::design_effect).collect::<Option<_>>()?;
    let effects = if pooled {
        // Eq. 6: a weighted mean of the arms' effects.
        let n: f64 = ratios.iter().map(|r| r.n).sum();
        let share = ratios.iter().map(|r| r.n * r.share).sum::<f64>() / n;
        let sum: f64 =
            ratios.iter().zip(&own).map(|(r, d)| (1.0 - r.n / n) * r.share * (1.0 - r.share) * d).sum();
        let one = sum / ((ratios.len() - 1) as f64 * share * (1.0 - share));
        vec![one; ratios.len()]
    } else {
        own
    };
    Some((adjusted_chi_square(groups, &effects)?, effects))
}

/// Donner's chi-square: each arm's counts divided by 1 + (m - 1)·icc with one intraclass correlation for all.
pub fn donner(groups: &[&[Count]]) -> Option<(ChiSquare, Vec<f64>, Anova)> {
    let a = anova(groups)?;
    let corrections: Vec<f64> = groups
        .iter()
        .map(|g| {
            let n: f64 = g.iter().map(|c| c.n).sum();
            1.0 + (g.iter().map(|c| c.n * c.n).sum::<f64>() / n - 1.0) * a.icc
        })
        .collect();
    // Donner keeps the pooled share of the raw counts and divides each arm's term.
    let totals: Vec<(f64, f64)> = totals(groups);
    let n: f64 = totals.iter().map(|t| t.1).sum();
    let p = totals.iter().map(|t| t.0).sum::<f64>() / n;
    let variance = p * (1.0 - p);
    if groups.len() < 2 || variance <= 0.0 || corrections.iter().any(|c| *c <= 0.0) {
        return None;
    }
    let statistic: f64 =
        totals.iter().zip(&corrections).map(|((y, n), c)| (y - n * p).powi(2) / (c * n * variance)).sum();
    let df = (groups.len() - 1) as f64;
    let chi = ChiSquare { statistic, df, p: chi2_sf(statistic, df) };
    Some((chi, corrections, a))
}

fn totals(groups: &[&[Count]]) -> Vec<(f64, f64)> {
    groups.iter().map(|g| (g.iter().map(|c| c.successes).sum(), g.iter().map(|c| c.n).sum())).collect()
}

fn adjusted_chi_square(groups: &[&[Count]], effects: &[f64]) -> Option<ChiSquare> {
    if groups.len() < 2 || !usable(groups) || effects.iter().any(|d| !(*d > 0.0 && d.is_finite())) {
        return None;
    }
    let adjusted: Vec<(f64, f64)> =
        totals(groups).iter().zip(effects).map(|((y, n), d)| (y / d, n / d)).collect();
    let n: f64 = adjusted.iter().map(|a| a.1).sum();
    let p = adjusted.iter().map(|a| a.0).sum::<f64>() / n;
    let variance = p * (1.0 - p);
    if variance <= 0.0 {
        return None;
    }
    let statistic: f64 = adjusted.iter().map(|(y, n)| (y - n * p).powi(2) / (n * variance)).sum();
    let df = (groups.len() - 1) as f64;
    Some(ChiSquare { statistic, df, p: chi2_sf(statistic, df) })
}

/// Wilson's interval for the share over the tanks of one group, on counts divided by the inflation
/// ξ = Σn(1+(n-1)icc)/Σn; returns ξ too.
///
/// `None` as [`anova`]; a negative correlation is taken as it is, with ξ kept above 0.
pub fn clustered_wilson(tanks: &[Count], level: Level) -> Option<(Interval, f64)> {
    let icc = anova(&[tanks])?.icc;
    let n: f64 = tanks.iter().map(|c| c.n).sum();
    let x: f64 = tanks.iter().map(|c| c.successes).sum();
    let xi = tanks.iter().map(|c| c.n * (1.0 + (c.n - 1.0) * icc)).sum::<f64>() / n;
    if xi <= 0.0 {
        return None;
    }
    Some((wilson(x / xi, n / xi, level)?, xi))
}

/// Interval for the mean share of an arm from the shares of its tanks: Wilson's, on the number of independent fish that
/// the spread between the tanks makes the arm worth, with Student's t for the normal quantile.
///
/// Near 0 and 1, where tank shares are skewed, the plain t interval of the mean holds far less often than it says; this one
/// does hold (the example `coverage` prints both). Inside, the two agree.
///
/// # Errors
/// [`StatsError::TooFew`] for fewer than two tanks, [`StatsError::NotUsable`] for shares outside 0-1,
/// [`StatsError::NotEstimable`] when the tanks do not differ at all: an interval of no width would mean nothing.
///
/// # References
/// Korn & Graubard 1998, Survey Methodology 24:193-201; Dean & Pagano 2015, J. Surv. Stat. Methodol. 3:484-503 (from memory):
/// interval methods for proportions on effective sample sizes.
///
/// ```
/// use frygauge::stats::{Level, cluster::arm_share};
/// let i = arm_share(&[0.98, 1.0, 0.96, 0.99], Level::P95).unwrap();
/// assert!(i.low > 0.9 && i.high < 1.0);
/// assert!(arm_share(&[1.0, 1.0, 1.0], Level::P95).is_err());
/// ```
pub fn arm_share(shares: &[f64], level: Level) -> Result<Interval, StatsError> {
    if shares.len() < 2 {
        return Err(StatsError::TooFew("two tanks are needed".into()));
    }
    if shares.iter().any(|s| !(0.0..=1.0).contains(s)) {
        return Err(StatsError::NotUsable("a share is outside 0-1".into()));
    }
    let not_usable = || StatsError::NotUsable("limits are not numbers".into());
    let m = Moments::of(shares).ok_or_else(not_usable)?;
    let variance = m.standard_error().ok_or_else(not_usable)?.powi(2);
    // Rounding alone is no spread.
    if variance <= 1e-24 {
        return Err(StatsError::NotEstimable("no tank-to-tank variation seen".into()));
    }
    let effective = m.mean() * (1.0 - m.mean()) / variance;
    score(m.mean() * effective, effective, level.t((shares.len() - 1) as f64)).ok_or_else(not_usable)
}
