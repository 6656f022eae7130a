//! Did a change help? Arms of tanks, with the tank as the unit.
//!
//! Fish of one tank share their water, sprayer and parents: counting fish as replicates finds differences that are
//! only what tanks do anyway (Hurlbert 1984, doi:10.2307/1942661). Every test here is on tank values; a test on fish across
//! treatments is not offered. Where the design cannot answer, the [`Comparison`] describes and says why.

mod contrast;
mod design;
mod observe;
mod sample;
mod table;
mod words;

pub use contrast::{ArmMean, Caller, Contrast, Measure, MeasureResult, Trend};
pub use design::{Assignment, Design, Kind};
pub use observe::{Observed, TankLine};
pub use sample::TankSample;
pub use table::TableError;

use jiff::civil::Date;
use serde::Serialize;

use super::Validation;
use crate::stats::Level;
use crate::stats::proportion::Method;
use crate::stats::t_test::Variances;

/// How to compare.
#[derive(Debug, Clone, Default)]
pub struct Options {
    /// Confidence level.
    pub level: Level,
    /// Limits of each tank's share.
    pub method: Method,
    /// Spread of the arms: each its own, or one for both.
    pub variances: Variances,
    /// Compare the samples of this date.
    pub date: Option<Date>,
    /// Compare the samples nearest to this age (within half a day).
    pub age_dph: Option<f64>,
    /// The caller's validation set.
    pub validation: Option<Validation>,
}

/// A comparison: every tank first, then what the arms say, for each measure the samples carry.
#[derive(Debug, Clone, Serialize)]
pub struct Comparison {
    /// Which comparison it is.
    pub kind: Kind,
    /// Confidence level.
    pub level: Level,
    /// Arms in order; the first is the one others are compared with.
    pub arms: Vec<String>,
    /// Tanks in order of arms, then names.
    pub tanks: Vec<TankLine>,
    /// Inflation, then length, then viability, where there are data.
    pub measures: Vec<MeasureResult>,
    /// What may make the comparison wrong, each a sentence.
    pub warnings: Vec<String>,
}

/// Compares the samples by the design.
///
/// # Errors
/// [`TableError`], with the design file's row where one is at fault: no arms, one arm without a date before the change, a tank
/// without any sample, two samples of one tank and date, an arm left without a sample.
///
/// ```
/// use frygauge::tank::compare::{Design, Options, TankSample, compare};
/// let samples = TankSample::read("tank,called,inflated\nP01,50,46\nP02,50,44\nP03,50,38\nP04,50,35\n".as_bytes()).unwrap();
/// let design = Design::read("tank,arm\nP01,mid\nP02,mid\nP03,wall\nP04,wall\n".as_bytes()).unwrap()
///     .with_control("wall").unwrap();
/// let c = compare(&samples, &design, &Options::default()).unwrap();
/// let t = c.measures[0].contrasts[0].t.unwrap();
/// assert!((t.difference - 0.17).abs() < 1e-12);
/// assert!(c.warnings.iter().any(|w| w.contains("2 tanks")));
/// ```
pub fn compare(samples: &[TankSample], design: &Design, options: &Options) -> Result<Comparison, TableError> {
    let kind = design.kind();
    let arms = design.arms();
    if arms.len() < 2 && kind != Kind::BeforeAfter {
        return Err(TableError::whole(
            format!(
                "there is one arm, {}, and nothing to compare it with",
                arms.first().map_or("", String::as_str)
            ),
            "name two arms or more, or give dates before and after the change",
        ));
    }
    let mut warnings = Vec::new();
    let tanks = observe::lines(samples, design, options, &mut warnings)?;
    observe::warn(&tanks, kind, &mut warnings);
    let mut measures = Vec::new();
    for measure in [Measure::Inflation, Measure::Length, Measure::Viability] {
        if let Some(result) = contrast::measure(measure, &tanks, &arms, kind, options, &mut warnings) {
            measures.push(result);
        }
    }
    if !measures.iter().any(|m| m.measure == Measure::Viability) {
        warnings.push(
            "survivors only: fry that fail to inflate die sooner, so the inflated share of the living can rise while \
             fry are lost. Give stocked and alive counts in the design to see survival times inflation"
                .into(),
        );
    }
    Ok(Comparison { kind, level: options.level, arms, tanks, measures, warnings })
}

#[cfg(test)]
mod tests;
