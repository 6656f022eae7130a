//! The settings file: what a hatchery would otherwise type every day.

use super::{Failure, Place};
use serde::Deserialize;
use std::path::{Path, PathBuf};

/// Settings, all optional; an option on the command line goes before them.
///
/// ```toml
/// # frygauge.toml
/// jobs = 2
/// hatch = "2026-04-20"
/// level = 0.95
/// px_per_mm = 40.0
/// model = "models/ours/model.json"
/// season = "season-2026"
/// by = "KB"
/// ```
#[derive(Debug, Clone, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Config {
    /// Photographs worked on at once.
    pub jobs: Option<usize>,
    /// Date the fish hatched, from which ages are counted.
    pub hatch: Option<jiff::civil::Date>,
    /// Level of the intervals, 0.5 to 0.999.
    pub level: Option<f64>,
    /// Scale of all photographs, pixels per millimetre.
    pub px_per_mm: Option<f64>,
    /// Inner diameter of the dish, millimetres.
    pub dish_mm: Option<f64>,
    /// Model file of the bladder caller.
    pub model: Option<PathBuf>,
    /// Season folder.
    pub season: Option<PathBuf>,
    /// Initials of who works here.
    pub by: Option<String>,
    /// The season's own table, read with the register.
    pub hatchery: Option<toml::Table>,
}

impl Config {
    /// Name of the settings file looked for in the current folder.
    pub const FILE: &str = "frygauge.toml";

    /// Reads the settings: from `file` when given, else from [`Config::FILE`] when it is there.
    ///
    /// # Errors
    /// A [`Failure`] with the line when the file cannot be read, is no TOML, or holds an unknown name.
    pub fn load(file: Option<&Path>) -> Result<Self, Failure> {
        let path = file.unwrap_or(Path::new(Self::FILE));
        let text = match std::fs::read_to_string(path) {
            Ok(text) => text,
            Err(_) if file.is_none() => return Ok(Self::default()),
            Err(error) => {
                return Err(Failure::usage(format!("cannot read the settings: {error}"))
                    .at(Place::file(path))
                    .hint("check the path given to --config"));
            }
        };
        let config: Self = toml::from_str(&text).map_err(|error| {
            let mut place = Place::file(path);
            if let Some(span) = error.span() {
                place = place.row(text[..span.start].matches('\n').count() as u64 + 1);
            }
            Failure::usage(error.message().lines().next().unwrap_or_default().to_owned())
                .at(place)
                .hint("names that may be set: jobs, hatch, level, px_per_mm, dish_mm, model, season, by; [hatchery] holds the season's")
        })?;
        let bad = |name: &str, rule: &str| {
            Err(Failure::usage(format!("{name} must be {rule}"))
                .at(Place::file(path))
                .hint("correct it, or leave it out"))
        };
        if config.jobs == Some(0) {
            return bad("jobs", "at least 1");
        }
        if config.level.is_some_and(|l| !(0.5..=0.999).contains(&l)) {
            return bad("level", "between 0.5 and 0.999");
        }
        for (name, value) in [("px_per_mm", config.px_per_mm), ("dish_mm", config.dish_mm)] {
            if value.is_some_and(|v| !(v.is_finite() && v > 0.0)) {
                return bad(name, "a number above zero");
            }
        }
        Ok(config)
    }
}
