//! Measured fish of one tank, date and state: what every decision starts from.

use std::collections::BTreeMap;

use jiff::civil::Date;
use serde::{Deserialize, Serialize};

use super::DecisionError;
use super::relation::Relation;
use crate::records::{FishRow, View};

/// What has been done to the fish before they were measured.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum State {
    /// Nothing.
    Fresh,
    /// Preserved, in the words of the sheet.
    Preserved(String),
    /// Preserved, and lengths brought back to life by a factor or relation; its name.
    Corrected(String),
}

impl std::fmt::Display for State {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Fresh => f.write_str("fresh"),
            Self::Preserved(how) => write!(f, "preserved ({how}), lengths as measured"),
            Self::Corrected(how) => write!(f, "preserved, lengths corrected by {how}"),
        }
    }
}

/// One fish, lengths in millimetres. A dimension that was not seen is `None`.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct MeasuredFish {
    /// Total length.
    pub length_mm: f64,
    /// Greatest depth without the fin fold, seen from the side.
    pub depth_mm: Option<f64>,
    /// Greatest width without the fin fold, seen from above.
    pub width_mm: Option<f64>,
    /// Greatest depth of the head.
    pub head_depth_mm: Option<f64>,
    /// Greatest width of the head.
    pub head_width_mm: Option<f64>,
    /// Wet weight, grams.
    pub weight_g: Option<f64>,
}

/// Fish of one tank on one date in one state: never a mix of fresh and preserved ones.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Sample {
    /// Tank, when known.
    pub tank: Option<String>,
    /// Date of the sample, when known.
    pub date: Option<Date>,
    /// Age in days post hatch, when known.
    pub age_dph: Option<f64>,
    /// Fresh or preserved.
    pub state: State,
    /// The fish, in the order read.
    pub fish: Vec<MeasuredFish>,
}

impl Sample {
    /// Total lengths.
    pub fn lengths(&self) -> Vec<f64> {
        self.fish.iter().map(|f| f.length_mm).collect()
    }

    /// Tank and date in words.
    pub fn name(&self) -> String {
        let tank = self.tank.as_deref().unwrap_or("all fish");
        let date = self.date.map_or_else(String::new, |d| format!(" {d}"));
        let state = if self.state == State::Fresh { String::new() } else { format!(", {}", self.state) };
        format!("{tank}{date}{state}")
    }

    /// Lengths brought back to life by a shrinkage relation; refused for fresh fish.
    ///
    /// # Errors
    /// [`DecisionError`] when the fish are fresh or were corrected before, or a length lies outside the relation's range.
    pub fn corrected(mut self, relation: &Relation) -> Result<Self, DecisionError> {
        if !matches!(self.state, State::Preserved(_)) {
            return Err(DecisionError::new(
                format!("{} is not a preserved sample", self.name()),
                "shrinkage is corrected only where the sheet says that fish were preserved",
            ));
        }
        for fish in &mut self.fish {
            let live = relation.at(fish.length_mm).ok_or_else(|| {
                DecisionError::new(
                    format!(
                        "{} mm lies outside {} ({})",
                        fish.length_mm,
                        relation.name,
                        relation.range_in_words()
                    ),
                    "use a factor of your own fish: measure some before and after",
                )
            })?;
            fish.length_mm = live;
        }
        self.state = State::Corrected(relation.name.clone());
        Ok(self)
    }
}

/// Fish that count for length, grouped by tank and date; fish without a length in millimetres are left out.
pub fn from_rows(rows: &[FishRow]) -> Vec<Sample> {
    let mut groups: BTreeMap<(Option<String>, Option<Date>), Sample> = BTreeMap::new();
    for row in rows {
        let Some(length_mm) = row.total_length_mm.filter(|_| row.use_length.is_yes()) else {
            continue;
        };
        let side = row.view == View::Side;
        let top = row.view == View::Top;
        let sample = groups.entry((row.tank.clone(), row.date)).or_insert_with(|| Sample {
            tank: row.tank.clone(),
            date: row.date,
            age_dph: row.age_dph,
            state: State::Fresh,
            fish: Vec::new(),
        });
        sample.fish.push(MeasuredFish {
            length_mm,
            depth_mm: row.depth_mm.filter(|_| side),
            width_mm: row.depth_mm.filter(|_| top),
            head_depth_mm: row.head_depth_mm.filter(|_| side),
            head_width_mm: row.head_depth_mm.filter(|_| top),
            weight_g: None,
        });
    }
    groups.into_values().collect()
}

/// A length below this share of its sample's median, or above its inverse, is no fish of the sample but a fragment, an egg
/// or several fish taken for one; common practice, no source. A fish of a third of the length has a thirtieth of the weight.
const NO_FISH: f64 = 1.0 / 3.0;

/// Samples measured by a program on photographs, without what cannot be one fish of them; and what was left out, in words.
/// Lengths that a person typed are not touched: [`check`] refuses them instead.
pub fn without_fragments(samples: Vec<Sample>) -> (Vec<Sample>, Vec<String>) {
    let mut said = Vec::new();
    let kept = samples.into_iter().map(|mut sample| {
        let mut lengths = sample.lengths();
        lengths.sort_by(f64::total_cmp);
        let Some(median) = lengths.get(lengths.len() / 2).copied() else { return sample };
        let odd = |l: f64| l < NO_FISH * median || l > median / NO_FISH;
        let left: Vec<String> =
            lengths.iter().filter(|l| odd(**l)).map(|l| format!("{l:.1}")).collect();
        if !left.is_empty() {
            said.push(format!(
                "{}: left out for advice on sizes, less than a third or more than three times the median of {median:.1} mm: {} mm",
                sample.name(),
                left.join(", ")
            ));
            sample.fish.retain(|f| !odd(f.length_mm));
        }
        sample
    });
    (kept.collect(), said)
}

/// Longest to shortest fish of one sample above which units are suspected to be mixed; common practice, no source.
/// Siblings of one tank seldom reach 4; millimetres and centimetres, or millimetres and inches, differ by 10 or 25.
const MIXED_UNITS: f64 = 8.0;

/// Refuses samples no advice can rest on: no fish, lengths that are not above 0, units that seem mixed.
///
/// # Errors
/// [`DecisionError`] saying which.
pub fn check(sample: &Sample) -> Result<(), DecisionError> {
    let lengths = sample.lengths();
    if let Some(bad) = lengths.iter().find(|l| !(l.is_finite() && **l > 0.0)) {
        return Err(DecisionError::new(
            format!("{}: a length of {bad} mm", sample.name()),
            "lengths must be above 0; leave the cell empty when a fish was not measured",
        ));
    }
    let low = lengths.iter().copied().fold(f64::INFINITY, f64::min);
    let high = lengths.iter().copied().fold(0.0, f64::max);
    if lengths.is_empty() {
        return Err(DecisionError::new(
            format!("{}: no fish with a length in millimetres", sample.name()),
            "score the photographs with a scale",
        ));
    }
    if high / low > MIXED_UNITS {
        return Err(DecisionError::new(
            format!("{}: lengths from {low:.3} to {high:.3} mm, units seem to be mixed", sample.name()),
            "give all lengths in millimetres, or leave out what is not a fry",
        ));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fragment_among_photographed_fish_is_left_out_and_said() {
        let fish = [9.0, 9.4, 0.98, 8.7, 9.9, 31.0]
            .map(|length_mm| MeasuredFish { length_mm, ..MeasuredFish::default() });
        let sample = Sample {
            tank: Some("P02".into()),
            date: None,
            age_dph: None,
            state: State::Fresh,
            fish: fish.to_vec(),
        };
        assert!(check(&sample).unwrap_err().what.contains("units seem to be mixed"));
        let (kept, said) = without_fragments(vec![sample]);
        assert_eq!(kept[0].lengths(), [9.0, 9.4, 8.7, 9.9]);
        assert!(said[0].starts_with("P02: left out") && said[0].ends_with("1.0, 31.0 mm"), "{said:?}");
    }
}
