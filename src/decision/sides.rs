//! A weighted sample of lengths: one side of a grader, in which each fish counts with its chance of being there.

use serde::{Deserialize, Serialize};

use super::Estimate;
use crate::stats::{Level, cv};

/// Lengths on one side of a grader.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Side {
    /// Share of all fish.
    pub share: Estimate,
    /// Number of fish, when the tank's number is known.
    pub fish: Option<Estimate>,
    /// Mean length, mm.
    pub mean_length_mm: Option<f64>,
    /// 5th percentile of length, mm.
    pub p05_length_mm: Option<f64>,
    /// Median length, mm.
    pub median_length_mm: Option<f64>,
    /// 95th percentile of length, mm.
    pub p95_length_mm: Option<f64>,
    /// Coefficient of variation of length, a fraction.
    pub cv_length: Option<Estimate>,
}

/// Below this many effective fish a side has no spread to speak of; common practice, no source.
const FEWEST_EFFECTIVE: f64 = 5.0;

impl Side {
    /// Describes lengths (rising) with their weights (0-1); `share` has been estimated elsewhere.
    pub(super) fn of(
        lengths: &[f64],
        weights: &[f64],
        share: Estimate,
        tank: Option<Estimate>,
        level: Level,
    ) -> Self {
        let total: f64 = weights.iter().sum();
        let squares: f64 = weights.iter().map(|w| w * w).sum();
        let effective = if squares > 0.0 { total * total / squares } else { 0.0 };
        let fish = tank.map(|t| t.product(share));
        if total < 1e-9 {
            return Self {
                share,
                fish,
                mean_length_mm: None,
                p05_length_mm: None,
                median_length_mm: None,
                p95_length_mm: None,
                cv_length: None,
            };
        }
        let mean = lengths.iter().zip(weights).map(|(l, w)| l * w).sum::<f64>() / total;
        let cv_length = (effective >= FEWEST_EFFECTIVE).then(|| {
            let spread =
                lengths.iter().zip(weights).map(|(l, w)| w * (l - mean).powi(2)).sum::<f64>() / total;
            let value = (spread * effective / (effective - 1.0)).sqrt() / mean;
            cv::interval(value, effective.floor() as usize, level)
                .map_or_else(|| Estimate::exact(value), |i| Estimate::new(value, i))
        });
        let at = |p: f64| weighted_quantile(lengths, weights, total, p);
        Self {
            share,
            fish,
            mean_length_mm: Some(mean),
            p05_length_mm: at(0.05),
            median_length_mm: at(0.5),
            p95_length_mm: at(0.95),
            cv_length,
        }
    }
}

/// The length below which the share `p` of the weight lies.
fn weighted_quantile(lengths: &[f64], weights: &[f64], total: f64, p: f64) -> Option<f64> {
    let mut below = 0.0;
    for (l, w) in lengths.iter().zip(weights) {
        below += w;
        if below >= p * total {
            return Some(*l);
        }
    }
    lengths.last().copied()
}

/// Chance that, of one fish drawn from each side, the passed one is the longer (half for equal lengths):
/// 0 for a clean split, 0.5 for one no better than chance. Lengths must rise; `kept` holds the chance of being retained.
///
/// ```
/// use frygauge::decision::grader::misorder;
/// assert_eq!(misorder(&[4.0, 5.0, 6.0, 7.0], &[0.0, 0.0, 1.0, 1.0]), Some(0.0));
/// assert_eq!(misorder(&[4.0, 5.0], &[0.5, 0.5]), Some(0.5));
/// ```
pub fn misorder(lengths: &[f64], kept: &[f64]) -> Option<f64> {
    let (all_kept, mut shorter_kept, mut wrong) = (kept.iter().sum::<f64>(), 0.0, 0.0);
    let all_passed: f64 = kept.iter().map(|k| 1.0 - k).sum();
    let mut i = 0;
    while i < lengths.len() {
        let end = i + lengths[i..].iter().take_while(|l| **l == lengths[i]).count();
        let kept_here: f64 = kept[i..end].iter().sum();
        let passed_here = (end - i) as f64 - kept_here;
        wrong += passed_here * (shorter_kept + 0.5 * kept_here);
        shorter_kept += kept_here;
        i = end;
    }
    (all_kept > 1e-9 && all_passed > 1e-9).then(|| wrong / (all_kept * all_passed))
}

/// Share of pairs of fish of one side in which the longer is more than `ratio` times the shorter. Lengths must rise.
pub(super) fn unsafe_pairs(lengths: &[f64], weights: &[f64], ratio: f64) -> Option<f64> {
    let total: f64 = weights.iter().sum();
    let squares: f64 = weights.iter().map(|w| w * w).sum();
    let pairs = 0.5 * (total * total - squares);
    let (mut first, mut below, mut bad) = (0, 0.0, 0.0);
    for (l, w) in lengths.iter().zip(weights) {
        while lengths[first] * ratio < *l {
            below += weights[first];
            first += 1;
        }
        bad += w * below;
    }
    (pairs > 1e-9).then(|| (bad / pairs).min(1.0))
}
