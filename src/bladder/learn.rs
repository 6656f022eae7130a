//! Fitting a model: standardisation, nets, calibration and the band of unsure calls.

use super::conv::{self, ConvNet, View8};
use super::features::{COUNT, NAMES};
use super::model::{Calibration, FORMAT, Model, Provenance, Thresholds};
use super::net::{self, Net};
use crate::records::Lighting;

/// One fish with its true state.
#[derive(Debug, Clone)]
pub struct Example {
    /// What is seen, in the order of [`NAMES`].
    pub values: [f32; COUNT],
    /// The picture for the convolutional nets.
    pub view: View8,
    /// Whether the bladder holds gas.
    pub inflated: bool,
    /// How it was lit.
    pub lighting: Lighting,
    /// Weight of the example.
    pub weight: f32,
}

/// What is fitted.
#[derive(Debug, Clone)]
pub struct Recipe {
    /// Nets on the numbers.
    pub nets: Vec<net::Fit>,
    /// Convolutional nets.
    pub conv: Vec<conv::Fit>,
    /// Cost of an unsure call where a wrong one costs 1.
    pub cost_of_unsure: f64,
}

/// Fits nets to `fit` and calibration and thresholds to `calibrate`, which must share no photograph.
pub fn fit(
    id: &str,
    fit: &[Example],
    calibrate: &[Example],
    recipe: &Recipe,
    provenance: Provenance,
) -> Model {
    let mut model = Model {
        format: FORMAT,
        id: id.to_owned(),
        features: NAMES.map(str::to_owned).to_vec(),
        mean: vec![0.0; COUNT],
        sd: vec![1.0; COUNT],
        clip: 4.0,
        nets: Vec::new(),
        conv: Vec::new(),
        calibration: Calibration { nets: 0.0, conv: 0.0, offset: 0.0 },
        thresholds: Thresholds {
            not_inflated_below: 0.5,
            inflated_from: 0.5,
            cost_of_unsure: recipe.cost_of_unsure,
        },
        provenance,
    };
    for k in 0..COUNT {
        let n = fit.len().max(1) as f64;
        let mean = fit.iter().map(|e| f64::from(e.values[k])).sum::<f64>() / n;
        let variance = fit.iter().map(|e| (f64::from(e.values[k]) - mean).powi(2)).sum::<f64>() / n;
        model.mean[k] = rounded(mean as f32);
        // A number that never varies must not blow up when it one day does.
        model.sd[k] = rounded((variance.sqrt() as f32).max(0.02));
    }
    let rows: Vec<Vec<f32>> = fit.iter().map(|e| model.standardise(&e.values)).collect();
    let labels: Vec<f32> = fit.iter().map(|e| f32::from(u8::from(e.inflated))).collect();
    let weights: Vec<f32> = fit.iter().map(|e| e.weight).collect();
    for how in &recipe.nets {
        let mut net = Net::fit(&rows, &labels, &weights, how);
        net.layers
            .iter_mut()
            .flat_map(|l| l.weights.iter_mut().chain(&mut l.bias))
            .for_each(|v| *v = rounded(*v));
        model.nets.push(net);
    }
    if !recipe.conv.is_empty() {
        let views: Vec<View8> = fit.iter().map(|e| e.view.clone()).collect();
        for how in &recipe.conv {
            let mut net = ConvNet::fit(&views, &labels, &weights, how);
            net.parameters().for_each(|v| *v = rounded(*v));
            model.conv.push(net);
        }
    }
    calibrate_model(&mut model, calibrate);
    model
}

/// Four significant digits: what a weight is worth, and a shorter file.
fn rounded(v: f32) -> f32 {
    format!("{v:.3e}").parse().unwrap_or(v)
}

/// Fits calibration and thresholds of `model` to examples its nets have not seen.
pub fn calibrate_model(model: &mut Model, examples: &[Example]) {
    let logits: Vec<[f64; 2]> = examples.iter().map(|e| model.logits(&e.values, Some(&e.view))).collect();
    let labels: Vec<bool> = examples.iter().map(|e| e.inflated).collect();
    model.calibration = calibrate(&logits, &labels, [!model.nets.is_empty(), !model.conv.is_empty()]);
    let p: Vec<f64> = logits.iter().map(|l| model.probability(*l)).collect();
    model.thresholds = thresholds(&p, &labels, model.thresholds.cost_of_unsure);
}

/// Logistic regression of the labels on the two mean logits (Platt 1999, with his softened labels), by
/// Newton's method. A kind of net that is not `there` gets no weight.
pub fn calibrate(logits: &[[f64; 2]], labels: &[bool], there: [bool; 2]) -> Calibration {
    use nalgebra::{Matrix3, Vector3};
    let positives = labels.iter().filter(|l| **l).count() as f64;
    let negatives = labels.len() as f64 - positives;
    let (high, low) = ((positives + 1.0) / (positives + 2.0), 1.0 / (negatives + 2.0));
    let mut beta = Vector3::new(f64::from(u8::from(there[0])), f64::from(u8::from(there[1])), 0.0);
    if there == [true, true] {
        beta *= 0.5;
    }
    for _ in 0..50 {
        let mut gradient = Vector3::zeros();
        // A slight pull to the start keeps the fit finite when the classes separate.
        let mut hessian = Matrix3::from_diagonal_element(1e-3);
        for (l, &label) in logits.iter().zip(labels) {
            let x = Vector3::new(if there[0] { l[0] } else { 0.0 }, if there[1] { l[1] } else { 0.0 }, 1.0);
            let p = 1.0 / (1.0 + (-beta.dot(&x)).exp());
            gradient += (if label { high } else { low } - p) * x;
            hessian += p * (1.0 - p) * x * x.transpose();
        }
        let Some(step) = hessian.try_inverse().map(|h| h * gradient) else { break };
        // Newton's step, kept short far from the optimum.
        beta += step * (2.0 / step.norm()).min(1.0);
        if step.norm() < 1e-9 {
            break;
        }
    }
    let short = |v: f64| (v * 1e4).round() / 1e4;
    Calibration { nets: short(beta[0]), conv: short(beta[1]), offset: short(beta[2]) }
}

/// The two thresholds of least total cost on the examples: a wrong call costs 1, an unsure one
/// `cost_of_unsure`. Each side of one half is searched on its own over the midpoints between neighbouring
/// probabilities; of equal costs the narrower band wins.
pub fn thresholds(p: &[f64], labels: &[bool], cost_of_unsure: f64) -> Thresholds {
    // One side as doubt (distance from certainty) and whether the call would be wrong.
    let side = |upper: bool| {
        let mut fish: Vec<(f64, bool)> = p
            .iter()
            .zip(labels)
            .filter(|(p, _)| (**p >= 0.5) == upper)
            .map(|(&p, &l)| (if upper { 1.0 - p } else { p }, l != upper))
            .collect();
        fish.sort_by(|a, b| a.0.total_cmp(&b.0));
        // Everything called costs its errors; everything beyond a cut is unsure.
        let mut best = (fish.len() as f64 * cost_of_unsure, 0);
        let mut errors = 0.0;
        for (i, (_, wrong)) in fish.iter().enumerate() {
            errors += f64::from(u8::from(*wrong));
            let cost = errors + (fish.len() - i - 1) as f64 * cost_of_unsure;
            if cost <= best.0 {
                best = (cost, i + 1);
            }
        }
        match (fish.get(best.1.wrapping_sub(1)), fish.get(best.1)) {
            (Some(a), Some(b)) => f64::midpoint(a.0, b.0),
            (Some(_), None) => 0.5,
            (None, _) => 0.0,
        }
    };
    let short = |v: f64| (v * 1e4).round() / 1e4;
    Thresholds {
        not_inflated_below: short(side(false)),
        inflated_from: short(1.0 - side(true)),
        cost_of_unsure,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    #[test]
    fn calibration_finds_the_law_the_labels_follow() {
        let mut rng = ChaCha8Rng::seed_from_u64(11);
        let logits: Vec<[f64; 2]> =
            (0..20_000).map(|_| [rng.random_range(-3.0..3.0), rng.random_range(-3.0..3.0)]).collect();
        let labels: Vec<bool> = logits
            .iter()
            .map(|[a, b]| rng.random::<f64>() < 1.0 / (1.0 + (-(0.8 * a + 0.3 * b - 0.5)).exp()))
            .collect();
        let c = calibrate(&logits, &labels, [true, true]);
        assert!(
            (c.nets - 0.8).abs() < 0.06 && (c.conv - 0.3).abs() < 0.06 && (c.offset + 0.5).abs() < 0.06,
            "{c:?}"
        );
        let c = calibrate(&logits, &labels, [true, false]);
        assert_eq!(c.conv, 0.0);
    }

    #[test]
    fn separated_classes_stay_finite() {
        let logits: Vec<[f64; 2]> = (0..50).map(|i| [if i < 25 { -4.0 } else { 4.0 }, 0.0]).collect();
        let labels: Vec<bool> = (0..50).map(|i| i >= 25).collect();
        let c = calibrate(&logits, &labels, [true, false]);
        assert!(c.nets.is_finite() && c.nets > 0.3 && c.nets < 3.0);
    }

    #[test]
    fn thresholds_of_calibrated_probabilities_lie_at_the_cost() {
        let mut rng = ChaCha8Rng::seed_from_u64(12);
        let p: Vec<f64> = (0..200_000).map(|_| rng.random()).collect();
        let labels: Vec<bool> = p.iter().map(|p| rng.random::<f64>() < *p).collect();
        let t = thresholds(&p, &labels, 0.15);
        // A call is worth making while its chance of being wrong is below the cost of not making it.
        assert!((t.not_inflated_below - 0.15).abs() < 0.03 && (t.inflated_from - 0.85).abs() < 0.03, "{t:?}");
    }

    #[test]
    fn no_doubt_no_band() {
        let t = thresholds(&[0.1, 0.2, 0.8, 0.9], &[false, false, true, true], 0.1);
        assert_eq!((t.not_inflated_below, t.inflated_from), (0.5, 0.5));
    }
}
