//! Published relations between length and weight, prey, mouth or shrinkage: named, sourced, and never used
//! outside the sizes they were made from.

use serde::{Deserialize, Serialize};

use super::DecisionError;

/// What a relation gives for a total length in millimetres.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Quantity {
    /// Longest prey a fish of this length takes whole, millimetres.
    PreyLengthMm,
    /// Width of its open mouth, millimetres.
    GapeWidthMm,
    /// Height of its open mouth, millimetres.
    GapeHeightMm,
    /// Wet weight, grams.
    WeightG,
    /// Length alive of a fish of this length after preservation, millimetres.
    LiveLengthMm,
}

/// The form of the curve.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Form {
    /// a + b x
    Linear,
    /// a + b x²
    Square,
    /// a x^b
    Power,
    /// Straight lines through the logarithms of `points`.
    Points,
}

/// A relation from a paper or from the user.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Relation {
    /// Its name, as an option takes it.
    pub name: String,
    /// What it gives.
    #[serde(rename = "kind")]
    pub quantity: Quantity,
    /// The fish it was made from.
    pub species: String,
    /// Form of the curve.
    pub form: Form,
    /// First coefficient.
    #[serde(default)]
    pub a: f64,
    /// Second coefficient.
    #[serde(default)]
    pub b: f64,
    /// Points of [`Form::Points`], by rising length.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub points: Vec<[f64; 2]>,
    /// Shortest fish it was made from, millimetres; `None` when not known.
    #[serde(default)]
    pub low_mm: Option<f64>,
    /// Longest fish it was made from, millimetres; `None` when not known.
    #[serde(default)]
    pub high_mm: Option<f64>,
    /// Where it was published.
    pub source: String,
    /// What else to know before trusting it.
    #[serde(default)]
    pub note: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RelationFile {
    relation: Vec<Relation>,
}

const PUBLISHED: [&str; 3] = [
    include_str!("../../profiles/prey.toml"),
    include_str!("../../profiles/weight.toml"),
    include_str!("../../profiles/shrinkage.toml"),
];

/// All published relations that come with the program, in file order.
pub fn published() -> Vec<Relation> {
    PUBLISHED.iter().filter_map(|text| parse(text).ok()).flatten().collect()
}

/// Relations of a file in the form of `profiles/*.toml`.
///
/// # Errors
/// [`DecisionError`] when it is no TOML, lacks a field, or holds a relation that cannot be evaluated.
pub fn parse(text: &str) -> Result<Vec<Relation>, DecisionError> {
    let hint = "each [[relation]] needs name, kind, species, form, a, b (or points) and source";
    let file: RelationFile = toml::from_str(text)
        .map_err(|e| DecisionError::new(e.message().lines().next().unwrap_or_default().to_owned(), hint))?;
    for r in &file.relation {
        let rising = r.points.windows(2).all(|p| p[0][0] < p[1][0]);
        let above = r.points.iter().flatten().all(|v| v.is_finite() && *v > 0.0);
        let numbers = [Some(r.a), Some(r.b), r.low_mm, r.high_mm].iter().flatten().all(|v| v.is_finite());
        if !numbers || (r.form == Form::Points && !(r.points.len() > 1 && rising && above)) {
            let what = format!("relation {} cannot be evaluated", r.name);
            return Err(DecisionError::new(what, "points must rise in length and be above 0"));
        }
    }
    Ok(file.relation)
}

/// The relation called `name` that gives `quantity`, among `own` first and then those that come with the program.
///
/// # Errors
/// [`DecisionError`] naming those there are.
pub fn find(own: &[Relation], quantity: Quantity, name: &str) -> Result<Relation, DecisionError> {
    let all: Vec<Relation> =
        own.iter().cloned().chain(published()).filter(|r| r.quantity == quantity).collect();
    all.iter().find(|r| r.name == name).cloned().ok_or_else(|| {
        let names: Vec<&str> = all.iter().map(|r| r.name.as_str()).collect();
        DecisionError::new(format!("no profile is called {name}"), format!("there are: {}", names.join(", ")))
    })
}

impl Relation {
    /// Whether `length_mm` lies within the sizes it was made from, as far as they are known.
    pub fn covers(&self, length_mm: f64) -> bool {
        self.low_mm.is_none_or(|l| length_mm >= l) && self.high_mm.is_none_or(|h| length_mm <= h)
    }

    /// Its value at `length_mm`; `None` outside the sizes it was made from.
    ///
    /// ```
    /// use frygauge::decision::relation::{Quantity, find};
    /// let rule = find(&[], Quantity::PreyLengthMm, "perch-brabrand-2001").unwrap();
    /// assert!((rule.at(20.0).unwrap() - 11.389).abs() < 1e-9);
    /// assert!(rule.at(8.0).is_none());
    /// ```
    pub fn at(&self, length_mm: f64) -> Option<f64> {
        if !self.covers(length_mm) || length_mm.is_nan() || length_mm <= 0.0 {
            return None;
        }
        let value = match self.form {
            Form::Linear => self.a + self.b * length_mm,
            Form::Square => self.a + self.b * length_mm * length_mm,
            Form::Power => self.a * length_mm.powf(self.b),
            Form::Points => {
                let next = self.points.partition_point(|p| p[0] < length_mm).clamp(1, self.points.len() - 1);
                let ([x0, y0], [x1, y1]) = (self.points[next - 1], self.points[next]);
                y0 * (length_mm / x0).powf((y1 / y0).ln() / (x1 / x0).ln())
            }
        };
        value.is_finite().then_some(value)
    }

    /// The sizes it was made from, in words.
    pub fn range_in_words(&self) -> String {
        match (self.low_mm, self.high_mm) {
            (Some(l), Some(h)) => format!("{l} to {h} mm"),
            (Some(l), None) => format!("{l} mm and longer"),
            (None, Some(h)) => format!("up to {h} mm"),
            (None, None) => "sizes not known here".to_owned(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_profile_parses_and_names_its_source() {
        let all = published();
        assert_eq!(all.len(), PUBLISHED.iter().map(|t| t.matches("[[relation]]").count()).sum::<usize>());
        assert!(all.iter().all(|r| !r.source.is_empty()));
    }

    /// Brabrand 2001: greatest prey 0.66, 0.57, 0.54 and 0.51 of a perch of 10.3, 20, 30 and 62 mm (derived from
    /// the printed line); Dörner & Wagner 2003: 0.59.
    #[test]
    fn prey_limits_of_perch() {
        let rule = find(&[], Quantity::PreyLengthMm, "perch-brabrand-2001").unwrap();
        for (predator, ratio) in [(10.3, 0.66), (20.0, 0.57), (30.0, 0.54), (62.0, 0.51)] {
            assert!((rule.at(predator).unwrap() / predator - ratio).abs() < 0.005, "{predator}");
        }
        let wagner = find(&[], Quantity::PreyLengthMm, "perch-dorner-wagner-2003").unwrap();
        assert!((wagner.at(100.0).unwrap() - 59.0).abs() < 1e-9);
    }

    /// Pycha & Smith 1955: 0.128 g at 24 mm and 0.256 g at 30 mm, derived from the printed law; nothing below 24 mm.
    #[test]
    fn weight_of_yellow_perch() {
        let law = find(&[], Quantity::WeightG, "yellow-perch-pycha-smith-1955").unwrap();
        assert!((law.at(24.0).unwrap() - 0.128).abs() < 5e-4 && (law.at(30.0).unwrap() - 0.256).abs() < 5e-4);
        assert!(law.at(23.9).is_none());
    }

    /// Fey 2002: a preserved 12 mm larva had shrunk by 8 to 18 %, one of 28 mm by 0 to 2 %; none at 29.9 mm.
    #[test]
    fn shrinkage_of_herring_and_smelt() {
        let law = find(&[], Quantity::LiveLengthMm, "herring-smelt-formalin-fey-2002").unwrap();
        let shrunk = |x: f64| 1.0 - x / law.at(x).unwrap();
        assert!((0.08..0.18).contains(&shrunk(12.0)) && (0.0..0.02).contains(&shrunk(28.0)));
        assert!(shrunk(29.9).abs() < 0.002);
    }

    /// Points are met, and between them the exponent is 4.15 (5.6 to 15.6 mm), derived from the published means.
    #[test]
    fn weight_of_pikeperch_passes_through_its_points() {
        let law = find(&[], Quantity::WeightG, "pikeperch-points").unwrap();
        assert!(
            (law.at(15.6).unwrap() - 0.035).abs() < 1e-12 && (law.at(45.4).unwrap() - 0.65).abs() < 1e-12
        );
        let exponent = (law.at(10.0).unwrap() / law.at(8.0).unwrap()).ln() / (10.0f64 / 8.0).ln();
        assert!((exponent - 4.15).abs() < 0.01);
    }
}
