//! Species profiles: what is published about a species, each value with its source.
//!
//! A value that nobody is known to have published is left out, and the user is asked for it where it is
//! needed. Profiles are the TOML files under `src/season/species/`; a season folder may bring its own.

use super::register::Expected;
use serde::Deserialize;

/// A value and where it comes from.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Sourced {
    /// The value, in the unit its name says.
    pub value: f64,
    /// A citation, `common practice, no source`, or `from memory`.
    pub source: String,
}

/// What is known of a species.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Profile {
    /// Name in `tanks.csv`.
    pub name: String,
    /// Scientific name.
    pub latin: String,
    /// First day on which bladders can fill, days post hatch.
    pub window_opens_dph: Option<Sourced>,
    /// Last day on which they can.
    pub window_closes_dph: Option<Sourced>,
    /// The same in degree-days (base 0 °C).
    pub window_opens_degree_days: Option<Sourced>,
    /// The same in degree-days (base 0 °C).
    pub window_closes_degree_days: Option<Sourced>,
    /// Mean total length at hatch, millimetres.
    pub length_at_hatch_mm: Option<Sourced>,
    /// Standard deviation of total length at hatch, millimetres.
    pub length_at_hatch_sd_mm: Option<Sourced>,
    /// Slowest published growth in total length, millimetres a day.
    pub growth_low_mm_per_day: Option<Sourced>,
    /// Fastest published growth in total length, millimetres a day.
    pub growth_high_mm_per_day: Option<Sourced>,
    /// Inflated share to be expected by age.
    #[serde(default)]
    pub expected_inflation: Vec<Expected>,
    /// Where that comes from.
    pub expected_inflation_source: Option<String>,
    /// What to know when reading the values.
    pub note: Option<String>,
}

const SHIPPED: [&str; 6] = [
    include_str!("species/eurasian-perch.toml"),
    include_str!("species/pikeperch.toml"),
    include_str!("species/sea-bass.toml"),
    include_str!("species/sea-bream.toml"),
    include_str!("species/striped-bass.toml"),
    include_str!("species/walleye.toml"),
];

impl Profile {
    /// Reads a profile.
    ///
    /// # Errors
    /// What is wrong with the text, with its line; also a value without a source.
    pub fn parse(text: &str) -> Result<Self, String> {
        let profile: Self = toml::from_str(text).map_err(|e| {
            let row = e.span().map_or(1, |s| text[..s.start].matches('\n').count() + 1);
            format!("row {row}: {}", e.message().lines().next().unwrap_or_default())
        })?;
        for (name, sourced) in profile.values() {
            if sourced.source.trim().is_empty() {
                return Err(format!("{name} has no source"));
            }
            if !sourced.value.is_finite() || sourced.value < 0.0 {
                return Err(format!("{name} is {}", sourced.value));
            }
        }
        if !profile.expected_inflation.is_empty() && profile.expected_inflation_source.is_none() {
            return Err("expected_inflation has no expected_inflation_source".into());
        }
        Ok(profile)
    }

    /// A profile that comes with frygauge.
    pub fn shipped(name: &str) -> Option<Self> {
        SHIPPED.into_iter().filter_map(|text| Self::parse(text).ok()).find(|p| p.name == name)
    }

    /// Names of the profiles that come with frygauge.
    pub fn names() -> Vec<String> {
        SHIPPED.into_iter().filter_map(|text| Some(Self::parse(text).ok()?.name)).collect()
    }

    /// The values given, by name.
    pub fn values(&self) -> Vec<(&'static str, &Sourced)> {
        [
            ("window opens, dph", &self.window_opens_dph),
            ("window closes, dph", &self.window_closes_dph),
            ("window opens, degree-days", &self.window_opens_degree_days),
            ("window closes, degree-days", &self.window_closes_degree_days),
            ("length at hatch, mm", &self.length_at_hatch_mm),
            ("SD of length at hatch, mm", &self.length_at_hatch_sd_mm),
            ("slowest growth, mm/d", &self.growth_low_mm_per_day),
            ("fastest growth, mm/d", &self.growth_high_mm_per_day),
        ]
        .into_iter()
        .filter_map(|(name, value)| Some((name, value.as_ref()?)))
        .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_profile_parses_and_every_value_has_its_source() {
        assert_eq!(Profile::names().len(), SHIPPED.len());
        for name in Profile::names() {
            let profile = Profile::shipped(&name).unwrap();
            assert!(profile.values().iter().all(|(_, v)| v.source.len() > 10), "{name}");
        }
    }

    #[test]
    fn a_value_without_a_source_is_refused() {
        let text = "name = \"x\"\nlatin = \"X\"\nwindow_opens_dph = { value = 4, source = \"\" }\n";
        assert_eq!(Profile::parse(text).unwrap_err(), "window opens, dph has no source");
        assert!(
            Profile::parse("name = \"x\"\nlatin = \"X\"\ncolour = 1\n").unwrap_err().starts_with("row 3")
        );
    }
}
