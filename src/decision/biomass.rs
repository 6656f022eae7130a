//! From lengths to weight: mean weight, number per gram, the tank's biomass, and fry per litre.

use serde::{Deserialize, Serialize};

use super::relation::{Quantity, Relation};
use super::{DecisionError, Estimate, MeasuredFish, Sample, sample};
use crate::stats::Level;
use crate::stats::linear::{PowerFit, fit_power};
use crate::stats::moments::Moments;

/// Fulton's condition factor K = 100 · W / L³ (W in g, L in cm), from memory, standard.
///
/// ```
/// use frygauge::decision::biomass::fulton_k;
/// // Pikeperch of 15.6 mm and 35 mg (Szkudlarek & Zakes 2007): K 0.92.
/// assert!((fulton_k(15.6, 0.035) - 0.92).abs() < 0.005);
/// ```
pub fn fulton_k(length_mm: f64, weight_g: f64) -> f64 {
    100.0 * weight_g / (length_mm / 10.0).powi(3)
}

/// Condition factor in inches and pounds for one in millimetres and grams, W / L³ both times, K and C scaled alike:
/// C = 36.13 K (Piper et al. 1982, Fish Hatchery Management, p. 61): 25.4³ mm³ to the cubic inch over 453.592 g to the pound.
pub const INCH_POUND_FACTOR: f64 = 25.4 * 25.4 * 25.4 / 453.59237;

/// Where weights come from.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum WeightLaw {
    /// A published or own relation.
    Relation(Relation),
    /// Fitted to fish that were measured and weighed, g on mm.
    Fitted(PowerFit),
}

impl WeightLaw {
    /// A law from a named relation.
    ///
    /// # Errors
    /// [`DecisionError`] when the relation gives something else than weight.
    pub fn of_relation(relation: Relation) -> Result<Self, DecisionError> {
        if relation.quantity != Quantity::WeightG {
            return Err(DecisionError::new(
                format!("{} gives no weight", relation.name),
                "choose a weight profile",
            ));
        }
        Ok(Self::Relation(relation))
    }

    /// A law fitted to the weighed fish.
    ///
    /// # Errors
    /// [`DecisionError`] with fewer than ten weighed fish, weights that are not above 0, or lengths that do not vary.
    pub fn fitted(fish: &[MeasuredFish]) -> Result<Self, DecisionError> {
        let (x, y): (Vec<f64>, Vec<f64>) =
            fish.iter().filter_map(|f| f.weight_g.map(|w| (f.length_mm, w))).unzip();
        if x.len() < 10 {
            return Err(DecisionError::new(
                format!("{} fish were weighed, 10 are needed for a law of their own", x.len()),
                "weigh more fish, or name a weight profile",
            ));
        }
        Ok(Self::Fitted(fit_power(&x, &y)?))
    }

    /// Mean weight (g) at `length_mm`; `None` outside the lengths it was made from.
    pub fn at(&self, length_mm: f64) -> Option<f64> {
        match self {
            Self::Relation(r) => r.at(length_mm),
            Self::Fitted(law) => {
                let range = law.range();
                let inside = length_mm >= 0.999_999 * range.low && length_mm <= 1.000_001 * range.high;
                inside.then(|| law.mean_at(length_mm))
            }
        }
    }

    /// Relative standard error of the law at `length_mm`, as far as known: a published law brings none.
    fn relative_se(&self, length_mm: f64) -> f64 {
        match self {
            Self::Relation(_) => 0.0,
            Self::Fitted(law) => law.line.se_at(length_mm.ln()).unwrap_or(0.0),
        }
    }

    /// Its name and lengths, in words.
    pub fn in_words(&self) -> String {
        match self {
            Self::Relation(r) => format!("{} ({}; {})", r.name, r.range_in_words(), r.source),
            Self::Fitted(law) => {
                let range = law.range();
                format!(
                    "own fit W = {:.3e} L^{:.3} ({} fish, {:.1} to {:.1} mm)",
                    law.factor(),
                    law.exponent(),
                    law.line.n,
                    range.low,
                    range.high
                )
            }
        }
    }
}

/// What a sample weighs, and the tank with it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Biomass {
    /// Which sample.
    pub sample: String,
    /// Fish the weight is from.
    pub fish: usize,
    /// Mean weight, g.
    pub mean_weight_g: Estimate,
    /// Fish per gram.
    pub number_per_gram: Estimate,
    /// Weight of all fish of the tank, g.
    pub biomass_g: Option<Estimate>,
    /// Fish per litre.
    pub fry_per_litre: Option<Estimate>,
    /// Grams per litre.
    pub grams_per_litre: Option<Estimate>,
    /// The law, in words.
    pub law: String,
    /// What the numbers do not hold.
    pub caution: String,
}

/// Weighs a sample by a law. Sampling and the law's own error are carried on, and the number's limits with them.
///
/// # Errors
/// [`DecisionError`] for a sample no advice can rest on, a fish outside the law's lengths, or a volume that is not above 0.
pub fn of_sample(
    sample: &Sample,
    law: &WeightLaw,
    tank_fish: Option<Estimate>,
    volume_l: Option<f64>,
    level: Level,
) -> Result<Biomass, DecisionError> {
    sample::check(sample)?;
    let lengths = sample.lengths();
    let outside: Vec<f64> = lengths.iter().copied().filter(|l| law.at(*l).is_none()).collect();
    if let Some(first) = outside.first() {
        return Err(DecisionError::new(
            format!(
                "{}: {} of {} fish lie outside the lengths of the weight law, the first at {first:.1} mm",
                sample.name(),
                outside.len(),
                lengths.len()
            ),
            format!("no weight is extrapolated; weigh some of these fish. The law: {}", law.in_words()),
        ));
    }
    if volume_l.is_some_and(|v| !(v.is_finite() && v > 0.0)) {
        return Err(DecisionError::new("a tank volume that is not above 0", "give it in litres"));
    }
    let weights: Vec<f64> = lengths.iter().filter_map(|l| law.at(*l)).collect();
    let moments = Moments::of(&weights)
        .ok_or_else(|| DecisionError::new(format!("{}: no weights", sample.name()), "measure some fish"))?;
    let mean = moments.mean();
    let sampling = moments.standard_error().map_or(f64::INFINITY, |se| se / mean);
    let middle = lengths.iter().sum::<f64>() / lengths.len() as f64;
    let relative = sampling.hypot(law.relative_se(middle));
    if !relative.is_finite() {
        return Err(DecisionError::new(
            format!("{}: one fish has no limits", sample.name()),
            "measure at least two fish",
        ));
    }
    let wide = level.t((weights.len() - 1) as f64) * relative;
    // Limits on the logarithm keep a weight above 0.
    let mean_weight_g = Estimate { value: mean, low: mean * (-wide).exp(), high: mean * wide.exp() };
    let biomass_g = tank_fish.map(|n| n.product(mean_weight_g));
    let over = |e: Option<Estimate>| Some(e?.times(1.0 / volume_l?));
    Ok(Biomass {
        sample: sample.name(),
        fish: weights.len(),
        mean_weight_g,
        number_per_gram: mean_weight_g.reciprocal(),
        biomass_g,
        fry_per_litre: over(tank_fish),
        grams_per_litre: over(biomass_g),
        law: law.in_words(),
        caution: match law {
            WeightLaw::Relation(_) => {
                "condition of these fish may differ from the published ones: weigh some".into()
            }
            WeightLaw::Fitted(_) => "holds for the condition of the fish weighed".into(),
        },
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::decision::relation::find;
    use crate::decision::sample::State;

    /// Piper et al. 1982, Fish Hatchery Management, p. 61: C = 36.13 K.
    #[test]
    fn inch_pound_factor() {
        assert!((INCH_POUND_FACTOR - 36.13).abs() < 0.005);
        // The same fish both ways: 100 mm and 10 g.
        let (k, c) = (10.0 / 1e6, (10.0 / 453.59237) / (100.0f64 / 25.4).powi(3));
        assert!((c / k - INCH_POUND_FACTOR).abs() < 1e-9);
    }

    /// Published means of pikeperch: K 0.29, 0.92, 0.70, 0.87, 0.70, and 2,000, 29, 4.0, 1.9, 1.5 to the gram (derived).
    #[test]
    fn condition_and_number_of_published_pikeperch() {
        for (mm, g, k, per_gram) in [
            (5.6, 0.0005, 0.29, 2000.0),
            (15.6, 0.035, 0.92, 29.0),
            (32.9, 0.25, 0.70, 4.0),
            (39.4, 0.53, 0.87, 1.9),
            (45.4, 0.65, 0.70, 1.5),
        ] {
            assert!((fulton_k(mm, g) - k).abs() < 0.007, "{mm}");
            assert!((1.0 / g / per_gram - 1.0).abs() < 0.03, "{mm}");
        }
    }

    #[test]
    fn biomass_carries_the_error_of_both_and_never_extrapolates() {
        let fish =
            (0..40).map(|i| MeasuredFish { length_mm: 24.0 + 0.2 * f64::from(i), ..MeasuredFish::default() });
        let mut sample =
            Sample { tank: None, date: None, age_dph: None, state: State::Fresh, fish: fish.collect() };
        let law =
            WeightLaw::of_relation(find(&[], Quantity::WeightG, "yellow-perch-pycha-smith-1955").unwrap())
                .unwrap();
        let number = Estimate { value: 3000.0, low: 2500.0, high: 3600.0 };
        let b = of_sample(&sample, &law, Some(number), Some(100.0), Level::P95).unwrap();
        let tank = b.biomass_g.unwrap();
        assert!((tank.value - 3000.0 * b.mean_weight_g.value).abs() < 1e-9);
        assert!(tank.low > 2500.0 * b.mean_weight_g.low && tank.high < 3600.0 * b.mean_weight_g.high);
        assert!((b.fry_per_litre.unwrap().value - 30.0).abs() < 1e-12);
        sample.fish[3].length_mm = 20.0;
        let error = of_sample(&sample, &law, None, None, Level::P95).unwrap_err();
        assert!(error.what.contains("1 of 40") && error.hint.contains("24 mm and longer"));
    }
}
