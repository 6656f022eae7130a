//! How much like a fish a candidate is: a logistic regression on its evidence, with squares, fitted by
//! `examples/fit_likeness` and built in.
//!
//! Readings enter on scales on which fish of any size look alike (logarithms of ratios), in standard deviations
//! of the fitted candidates and never beyond two of them: what nothing in the fit resembled counts no more
//! than the most unusual thing that was seen.

use super::judge::Evidence;
use serde::{Deserialize, Serialize};
use std::sync::LazyLock;

/// Readings that enter.
pub const READINGS: usize = 19;
/// Terms of the regression: every reading, its square, and both again on a dark ground, and the dark ground itself.
pub const TERMS: usize = 4 * READINGS + 1;
/// Farthest a reading counts, in standard deviations.
const FARTHEST: f64 = 2.0;

/// The fitted regression.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Likeness {
    /// What it was fitted on, for people.
    pub fitted_on: String,
    /// Mean of each reading over the candidates of the fit.
    pub mean: Vec<f64>,
    /// Standard deviation of each reading.
    pub spread: Vec<f64>,
    /// Weight of each term, in the order of [`Likeness::terms`].
    pub weights: Vec<f64>,
    /// Log odds of a fish where every term is zero.
    pub offset: f64,
}

static STANDARD: LazyLock<Likeness> = LazyLock::new(|| {
    serde_json::from_str(include_str!("../../models/standard/likeness.json"))
        .expect("the built-in file is written by the fit")
});

impl Likeness {
    /// The regression built in.
    pub fn standard() -> &'static Self {
        &STANDARD
    }

    /// The readings of one candidate, before they are made comparable.
    pub fn readings(e: &Evidence) -> [f64; READINGS] {
        let log = |v: f64| v.max(1e-3).ln();
        [
            log(e.length),
            log(e.width),
            log(e.aspect),
            log(e.taper),
            e.eye.max(0.0).ln_1p(),
            log(e.eye_size + 0.05),
            e.eye_place,
            e.coverage,
            e.explained,
            log(e.strength),
            log(e.solid),
            e.p_head.max(1.0 - e.p_head),
            log(e.roundness),
            log(e.turn + 0.1),
            log(e.step + 0.02),
            e.even,
            log(e.fade + 0.05),
            log(e.kink + 0.05),
            log(e.sides + 0.02),
        ]
    }

    /// The terms of one candidate.
    pub fn terms(&self, e: &Evidence) -> [f64; TERMS] {
        let mut terms = [0.0; TERMS];
        let dark_ground = if e.bright { 1.0 } else { 0.0 };
        for (i, r) in Self::readings(e).into_iter().enumerate() {
            let z = ((r - self.mean[i]) / self.spread[i]).clamp(-FARTHEST, FARTHEST);
            terms[i] = z;
            terms[READINGS + i] = z * z;
            terms[2 * READINGS + i] = dark_ground * z;
            terms[3 * READINGS + i] = dark_ground * z * z;
        }
        terms[TERMS - 1] = dark_ground;
        terms
    }

    /// Probability that a candidate is a fish.
    pub fn of(&self, e: &Evidence) -> f64 {
        let z: f64 = self.terms(e).iter().zip(&self.weights).map(|(t, w)| t * w).sum::<f64>() + self.offset;
        1.0 / (1.0 + (-z).exp())
    }
}
