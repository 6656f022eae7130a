//! The fitted model: what is in `model.json`, how it is checked and what it makes of a fish.

use super::conv::{self, ConvNet};
use super::error::ModelError;
use super::features::{COUNT, NAMES};
use super::net::Net;
use crate::records::Call;
use serde::{Deserialize, Serialize};
use std::path::Path;
use std::sync::LazyLock;

/// Format of `model.json` that this program reads: raised whenever a number changes its meaning.
pub const FORMAT: u32 = 1;

/// The model built into the program.
static STANDARD: LazyLock<Result<Model, ModelError>> =
    LazyLock::new(|| Model::parse(include_str!("../../models/standard/model.json"), "standard"));

/// A fitted model of the bladder call.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Model {
    /// [`FORMAT`].
    pub format: u32,
    /// Name of the model, as written beside every call made with it.
    pub id: String,
    /// Names of the numbers the feature nets read, in order.
    pub features: Vec<String>,
    /// What is subtracted from each number.
    pub mean: Vec<f32>,
    /// What it is then divided by.
    pub sd: Vec<f32>,
    /// Standardised numbers are cut to this far from zero.
    pub clip: f32,
    /// Nets on the numbers; their logits are averaged.
    pub nets: Vec<Net>,
    /// Convolutional nets on the picture; their logits are averaged.
    pub conv: Vec<ConvNet>,
    /// How the two averages become a calibrated logit.
    pub calibration: Calibration,
    /// Where the call changes.
    pub thresholds: Thresholds,
    /// Where the model comes from.
    pub provenance: Provenance,
}

/// Logit = `nets` × mean logit of the nets + `conv` × mean logit of the convolutional nets + `offset`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Calibration {
    /// Weight of the feature nets.
    pub nets: f64,
    /// Weight of the convolutional nets.
    pub conv: f64,
    /// Added.
    pub offset: f64,
}

/// Between the two the call is unsure.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Thresholds {
    /// Not inflated below this probability.
    pub not_inflated_below: f64,
    /// Inflated from this probability on.
    pub inflated_from: f64,
    /// Cost of an unsure call where a wrong call costs 1: what the two thresholds were chosen for.
    pub cost_of_unsure: f64,
}

/// How the model was fitted.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Provenance {
    /// The command that writes this file again.
    pub command: String,
    /// What it was fitted on.
    pub data: String,
    /// Photographs and fish the nets were fitted on: class, first seed, photographs, fish.
    pub fitted_on: Vec<(String, u64, usize, usize)>,
    /// The same for calibration and thresholds.
    pub calibrated_on: Vec<(String, u64, usize, usize)>,
}

impl Model {
    /// The model built into the program.
    ///
    /// # Errors
    /// When the built-in file is unsound, which a test rules out.
    pub fn standard() -> Result<&'static Self, &'static ModelError> {
        STANDARD.as_ref()
    }

    /// Reads a model from a file.
    ///
    /// # Errors
    /// When the file cannot be read or is no sound model of this program's format.
    pub fn load(path: &Path) -> Result<Self, ModelError> {
        let text = std::fs::read_to_string(path)
            .map_err(|source| ModelError::Unreadable { path: path.to_owned(), source })?;
        Self::parse(&text, &path.display().to_string())
    }

    /// Reads a model from the text of a `model.json`; `name` is what messages call it.
    ///
    /// # Errors
    /// When the text is no sound model of this program's format.
    pub fn parse(text: &str, name: &str) -> Result<Self, ModelError> {
        // The format is looked at first: a model of another format is not a damaged one.
        #[derive(Deserialize)]
        struct Head {
            format: u32,
        }
        let malformed = |e: &serde_json::Error| ModelError::Malformed {
            name: name.to_owned(),
            line: e.line(),
            column: e.column(),
            detail: e.to_string(),
        };
        let head: Head = serde_json::from_str(text).map_err(|e| malformed(&e))?;
        if head.format != FORMAT {
            return Err(ModelError::OtherFormat {
                name: name.to_owned(),
                found: head.format,
                expected: FORMAT,
            });
        }
        let model: Self = serde_json::from_str(text).map_err(|e| malformed(&e))?;
        match model.fault() {
            None => Ok(model),
            Some(detail) => Err(ModelError::Unsound { name: name.to_owned(), detail }),
        }
    }

    /// What is wrong with the model, if anything.
    fn fault(&self) -> Option<String> {
        if self.features != NAMES {
            let odd = self.features.iter().zip(NAMES).find(|(a, b)| *a != b);
            return Some(match odd {
                Some((found, expected)) => {
                    format!("it reads a number '{found}' where this program has '{expected}'")
                }
                None => format!("it reads {} numbers; this program has {COUNT}", self.features.len()),
            });
        }
        if self.mean.len() != COUNT || self.sd.len() != COUNT {
            return Some(format!("mean and sd must have {COUNT} numbers each"));
        }
        if !self.mean.iter().all(|v| v.is_finite()) || !self.sd.iter().all(|v| v.is_finite() && *v > 0.0) {
            return Some("every mean must be a number and every sd above 0".to_owned());
        }
        if self.clip.is_nan() || self.clip <= 0.0 {
            return Some("clip must be above 0".to_owned());
        }
        if self.nets.is_empty() && self.conv.is_empty() {
            return Some("it has no net".to_owned());
        }
        for (i, net) in self.nets.iter().enumerate() {
            let sizes_meet = net.layers.windows(2).all(|w| w[0].outputs == w[1].inputs);
            let ends = (net.layers.first().map(|l| l.inputs), net.layers.last().map(|l| l.outputs));
            if !sizes_meet
                || ends != (Some(COUNT), Some(1))
                || !net.layers.iter().all(super::net::Dense::is_sound)
            {
                return Some(format!("net {} has layers that do not fit together", i + 1));
            }
        }
        if let Some(i) = self.conv.iter().position(|c| !c.is_sound()) {
            return Some(format!("convolutional net {} has layers that do not fit together", i + 1));
        }
        let c = self.calibration;
        if ![c.nets, c.conv, c.offset].iter().all(|v| v.is_finite()) {
            return Some("the calibration must be numbers".to_owned());
        }
        let t = self.thresholds;
        let ordered =
            0.0 <= t.not_inflated_below && t.not_inflated_below <= t.inflated_from && t.inflated_from <= 1.0;
        (!ordered).then(|| {
            format!(
                "thresholds must satisfy 0 <= not_inflated_below ({}) <= inflated_from ({}) <= 1",
                t.not_inflated_below, t.inflated_from
            )
        })
    }

    /// Standardises numbers for the feature nets.
    pub fn standardise(&self, values: &[f32; COUNT]) -> Vec<f32> {
        let scale = self.mean.iter().zip(&self.sd);
        values.iter().zip(scale).map(|(v, (m, s))| ((v - m) / s).clamp(-self.clip, self.clip)).collect()
    }

    /// Mean logits of the feature nets and of the convolutional nets, 0 for a kind that is not there.
    pub fn logits(&self, values: &[f32; COUNT], view: Option<&conv::View8>) -> [f64; 2] {
        let row = self.standardise(values);
        let nets = mean(self.nets.iter().map(|n| f64::from(n.logit(&row))));
        let conv = view.map_or(0.0, |v| mean(self.conv.iter().map(|n| f64::from(n.logit(v)))));
        [nets, conv]
    }

    /// The calibrated probability that goes with the two mean logits.
    pub fn probability(&self, [nets, conv]: [f64; 2]) -> f64 {
        let c = self.calibration;
        1.0 / (1.0 + (-(c.nets * nets + c.conv * conv + c.offset)).exp())
    }

    /// The call at a probability.
    pub fn call_at(&self, p_inflated: f64) -> Call {
        if p_inflated < self.thresholds.not_inflated_below {
            Call::NotInflated
        } else if p_inflated >= self.thresholds.inflated_from {
            Call::Inflated
        } else {
            Call::Unsure
        }
    }
}

fn mean(values: impl Iterator<Item = f64>) -> f64 {
    let (sum, n) = values.fold((0.0, 0), |(s, n), v| (s + v, n + 1));
    if n == 0 { 0.0 } else { sum / f64::from(n) }
}
