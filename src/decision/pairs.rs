//! Pairs of fish in which the longer could take the shorter, by a published rule of lengths or of mouths.

use serde::{Deserialize, Serialize};

use super::estimate::share_from_variance;
use super::relation::{Quantity, Relation};
use super::shape::{self, Dimension};
use super::{DecisionError, Estimate, Sample, sample};
use crate::stats::Level;

/// Share of pairs in which the longer fish could take the shorter.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PairRisk {
    /// Name of the rule.
    pub rule: String,
    /// The fish it was made from.
    pub species: String,
    /// Where it was published.
    pub source: String,
    /// The sizes it was made from.
    pub range: String,
    /// Share of pairs; `None` when no pair's longer fish lies within the rule's sizes.
    pub share: Option<Estimate>,
    /// Fish that could take one of median length.
    pub eaters_of_median: usize,
    /// Length from which a fish could take one of median length, mm, among those measured.
    pub shortest_eater_mm: Option<f64>,
    /// Fish outside the rule's sizes, not counted as eaters.
    pub outside: usize,
    /// Fish.
    pub fish: usize,
}

/// Judges pairs by a length rule ([`Quantity::PreyLengthMm`]), or by mouth against body depth
/// ([`Quantity::GapeHeightMm`] or [`Quantity::GapeWidthMm`]) where depths were seen.
///
/// # Errors
/// [`DecisionError`] for a sample no advice can rest on, a relation that is no such rule, or depths that were not seen.
pub fn pair_risk(sample: &Sample, rule: &Relation, level: Level) -> Result<PairRisk, DecisionError> {
    sample::check(sample)?;
    let mut fish: Vec<(f64, f64)> = match rule.quantity {
        Quantity::PreyLengthMm => sample.lengths().into_iter().map(|l| (l, l)).collect(),
        Quantity::GapeHeightMm | Quantity::GapeWidthMm => {
            let dimension =
                if rule.quantity == Quantity::GapeHeightMm { Dimension::Depth } else { Dimension::Width };
            let missing = sample.fish.iter().any(|f| dimension.of(f).is_none());
            let law = if missing { Some(shape::fit(&sample.fish, dimension)?.law) } else { None };
            sample
                .fish
                .iter()
                .filter_map(|f| {
                    let size = dimension.of(f).or_else(|| law.as_ref().map(|l| l.median_at(f.length_mm)))?;
                    Some((f.length_mm, size))
                })
                .collect()
        }
        Quantity::WeightG | Quantity::LiveLengthMm => {
            return Err(DecisionError::new(
                format!("{} is no rule of prey", rule.name),
                "choose a prey or gape profile",
            ));
        }
    };
    fish.sort_by(|a, b| a.0.total_cmp(&b.0));
    let n = fish.len();
    let limits: Vec<Option<f64>> = fish.iter().map(|f| rule.at(f.0)).collect();
    // For each fish: pairs judged, and pairs in which one could take the other.
    let mut judged = vec![0_u32; n];
    let mut fits = vec![0_u32; n];
    for (i, limit) in limits.iter().enumerate() {
        let Some(limit) = limit else { continue };
        for j in 0..i {
            let fit = u32::from(fish[j].1 <= *limit && fish[j].0 < fish[i].0);
            judged[i] += 1;
            judged[j] += 1;
            fits[i] += fit;
            fits[j] += fit;
        }
    }
    let total: u32 = judged.iter().sum();
    let share = (total > 0).then(|| {
        let share = f64::from(fits.iter().sum::<u32>()) / f64::from(total);
        // A share of pairs is a mean over fish counted twice: Hoeffding 1948, doi:10.1214/aoms/1177730196.
        let each: Vec<f64> = judged
            .iter()
            .zip(&fits)
            .filter(|(j, _)| **j > 0)
            .map(|(j, f)| f64::from(*f) / f64::from(*j))
            .collect();
        let m = each.len() as f64;
        let mean = each.iter().sum::<f64>() / m;
        let variance = if m > 1.0 {
            4.0 * each.iter().map(|e| (e - mean).powi(2)).sum::<f64>() / (m - 1.0) / m
        } else {
            0.25
        };
        // No fewer than one fish in two is independent information on pairs.
        let none = share == 0.0 || share == 1.0;
        share_from_variance(share, variance, if none { each.len().div_ceil(2) } else { each.len() }, level)
    });
    let median = fish[n / 2].1;
    let eater = |i: usize| limits[i].is_some_and(|l| median <= l) && fish[i].0 > fish[n / 2].0;
    Ok(PairRisk {
        rule: rule.name.clone(),
        species: rule.species.clone(),
        source: rule.source.clone(),
        range: rule.range_in_words(),
        share,
        eaters_of_median: (0..n).filter(|i| eater(*i)).count(),
        shortest_eater_mm: (0..n).find(|i| eater(*i)).map(|i| fish[i].0),
        outside: limits.iter().filter(|l| l.is_none()).count(),
        fish: n,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::decision::relation::find;
    use crate::decision::sample::{MeasuredFish, State};

    fn sample(lengths: &[f64]) -> Sample {
        let fish = lengths.iter().map(|&length_mm| MeasuredFish { length_mm, ..MeasuredFish::default() });
        Sample { tank: None, date: None, age_dph: None, state: State::Fresh, fish: fish.collect() }
    }

    /// Brabrand 2001 at 20 mm: 11.39 mm. Of the pairs of 20, 11 and 15 mm only 20 takes 11.
    #[test]
    fn pairs_in_which_the_small_one_fits() {
        let rule = find(&[], Quantity::PreyLengthMm, "perch-brabrand-2001").unwrap();
        let risk = pair_risk(&sample(&[11.0, 15.0, 20.0]), &rule, Level::P95).unwrap();
        assert!((risk.share.unwrap().value - 1.0 / 3.0).abs() < 1e-12 && risk.outside == 0);
        // Below the shortest predator of the rule nothing is said.
        let small = pair_risk(&sample(&[5.0, 6.0, 9.9]), &rule, Level::P95).unwrap();
        assert!(small.share.is_none() && small.outside == 3);
    }
}
