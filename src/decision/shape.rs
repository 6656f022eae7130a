//! How deep and how wide a fish of a given length is, from the sample's own fish.
//!
//! Depth is seen from the side, width from above, both without the fin fold. The head is kept apart: it gives
//! least, so it decides what passes a mesh. No values of a species are assumed anywhere.

use serde::{Deserialize, Serialize};

use super::{DecisionError, MeasuredFish};
use crate::stats::linear::{PowerFit, fit_power};
use crate::stats::{Interval, Level};

/// A dimension across the fish.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Dimension {
    /// Greatest depth.
    Depth,
    /// Greatest width.
    Width,
    /// Depth of the head.
    HeadDepth,
    /// Width of the head.
    HeadWidth,
}

impl Dimension {
    /// All four.
    pub const ALL: [Self; 4] = [Self::Depth, Self::Width, Self::HeadDepth, Self::HeadWidth];

    /// Its word.
    pub fn name(self) -> &'static str {
        match self {
            Self::Depth => "body depth",
            Self::Width => "body width",
            Self::HeadDepth => "head depth",
            Self::HeadWidth => "head width",
        }
    }

    /// Its value in `fish`, when seen.
    pub fn of(self, fish: &MeasuredFish) -> Option<f64> {
        match self {
            Self::Depth => fish.depth_mm,
            Self::Width => fish.width_mm,
            Self::HeadDepth => fish.head_depth_mm,
            Self::HeadWidth => fish.head_width_mm,
        }
    }
}

/// A power law of a dimension on total length, fitted to the fish in which it was seen.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Shape {
    /// Which dimension.
    pub dimension: Dimension,
    /// The law, millimetres on millimetres.
    pub law: PowerFit,
}

/// Fewest fish a shape is fitted to; common practice, no source.
pub const FEWEST: usize = 10;

/// Fits `dimension` to total length.
///
/// # Errors
/// [`DecisionError`] with fewer than [`FEWEST`] fish showing it, or when their lengths do not vary.
pub fn fit(fish: &[MeasuredFish], dimension: Dimension) -> Result<Shape, DecisionError> {
    let seen: Vec<(f64, f64)> =
        fish.iter().filter_map(|f| dimension.of(f).map(|d| (f.length_mm, d))).collect();
    if seen.len() < FEWEST {
        return Err(DecisionError::new(
            format!("{} was seen in {} fish, {FEWEST} are needed", dimension.name(), seen.len()),
            match dimension {
                Dimension::Width | Dimension::HeadWidth => "photograph some fish from above",
                Dimension::Depth | Dimension::HeadDepth => "photograph some fish from the side",
            },
        ));
    }
    let (x, y): (Vec<f64>, Vec<f64>) = seen.into_iter().unzip();
    Ok(Shape { dimension, law: fit_power(&x, &y)? })
}

impl Shape {
    /// Limits for one new fish of `length_mm`; `None` outside the lengths it was fitted to.
    pub fn prediction(&self, length_mm: f64, level: Level) -> Option<Interval> {
        let range = self.law.range();
        // The ends themselves went through a logarithm and back.
        let inside = length_mm >= range.low * 0.999_999 && length_mm <= range.high * 1.000_001;
        inside.then(|| self.law.prediction_interval(length_mm, level)).flatten()
    }
}
