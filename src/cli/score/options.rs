//! The options that shape scores, from raw arguments and the settings file to validated values.

use crate::bladder::Model;
use crate::cli::{Config, Failure, Place};
use crate::photo::sha256;
use crate::scale;
use crate::stats::Level;
use crate::tank::Validation;
use crate::units::MmPerPx;
use jiff::civil::Date;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// Options of every command that scores photographs.
#[derive(Debug, clap::Args)]
pub struct ScoreOptions {
    /// Scale of all photographs: pixels to one millimetre
    #[arg(long, value_name = "X", value_parser = positive, group = "given_scale", allow_negative_numbers = true)]
    px_per_mm: Option<f64>,
    /// Scale of all photographs: millimetres to one pixel
    #[arg(long, value_name = "X", value_parser = positive, group = "given_scale", allow_negative_numbers = true)]
    mm_per_px: Option<f64>,
    /// Inner diameter of the dish, in millimetres: its wall gives the scale
    #[arg(long, value_name = "D", value_parser = positive, group = "given_scale", allow_negative_numbers = true)]
    dish_mm: Option<f64>,
    /// Where scales come from: auto takes the best of card, ruler, dish, tags and stored scale
    #[arg(long, value_name = "SOURCE", value_parser = scale_source, conflicts_with_all = ["px_per_mm", "mm_per_px"])]
    scale: Option<scale::Wanted>,
    /// Tank of all photographs
    #[arg(long, value_name = "ID")]
    tank: Option<String>,
    /// Date of all photographs
    #[arg(long, value_name = "YYYY-MM-DD", value_parser = date)]
    date: Option<Date>,
    /// Date the fish hatched, from which their age is counted
    #[arg(long, value_name = "YYYY-MM-DD", value_parser = date)]
    hatch: Option<Date>,
    /// Sample sheet: CSV with the columns photo, tank, date and optional ones
    #[arg(long, value_name = "FILE")]
    samples: Option<PathBuf>,
    /// Bladder model other than the one built in
    #[arg(long, value_name = "FILE")]
    model: Option<PathBuf>,
    /// Reviewed calls (CSV: truth, call, count): fills the columns corrected for the caller's errors
    #[arg(long, value_name = "FILE")]
    validation: Option<PathBuf>,
    /// Level of the intervals
    #[arg(long, value_name = "L", value_parser = level)]
    level: Option<f64>,
    /// Write no annotated pictures and no report page
    #[arg(long)]
    no_pictures: bool,
    /// Season folder to record in
    #[arg(long, value_name = "DIR")]
    season: Option<PathBuf>,
    /// Initials of who scores, for the season's ledger
    #[arg(long, value_name = "INITIALS")]
    by: Option<String>,
}

impl ScoreOptions {
    /// Path of the sample sheet.
    pub fn samples(&self) -> Option<&Path> {
        self.samples.as_deref()
    }

    /// Season folder to record in, and initials of who scores.
    pub fn season(&self) -> (Option<&Path>, Option<&str>) {
        (self.season.as_deref(), self.by.as_deref())
    }
}

/// A number above zero, as an argument.
fn positive(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(v) if v.is_finite() && v > 0.0 => Ok(v),
        Ok(_) => Err("it must be above zero".into()),
        Err(_) => Err("it is not a number: write 40 or 39.5".into()),
    }
}

/// Whether the command line gives the scale itself.
fn given_alone(raw: &ScoreOptions) -> bool {
    raw.px_per_mm.or(raw.mm_per_px).is_some()
}

fn scale_source(text: &str) -> Result<scale::Wanted, String> {
    use scale::ScaleSource::{Card, Dish, Ruler, Stored, Tags};
    let source = [Card, Ruler, Dish, Tags, Stored].into_iter().find(|s| s.name() == text);
    match (text, source) {
        ("auto", _) => Ok(scale::Wanted::Auto),
        (_, Some(source)) => Ok(scale::Wanted::Only(source)),
        _ => Err("it must be auto, card, ruler, dish, tags or stored".into()),
    }
}

fn date(text: &str) -> Result<Date, String> {
    text.parse().map_err(|_| "write dates as 2026-05-02".into())
}

fn level(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(v) if (0.5..=0.999).contains(&v) => Ok(v),
        _ => Err("it must be between 0.5 and 0.999, such as 0.95".into()),
    }
}

/// The bladder caller in use.
#[derive(Debug)]
enum Caller {
    Standard(&'static Model),
    Own(Box<Model>),
}

/// Validated options.
#[derive(Debug)]
pub struct Options {
    caller: Caller,
    /// SHA-256 of the model as it is kept in memory, written as JSON.
    pub model_sha256: String,
    /// What the search for scales may use.
    pub scale: scale::Options,
    /// Tank of all photographs.
    pub tank: Option<String>,
    /// Date of all photographs.
    pub date: Option<Date>,
    /// Date the fish hatched.
    pub hatch: Option<Date>,
    /// Date the fish of a registered tank hatched.
    pub hatch_of: BTreeMap<String, Date>,
    /// The caller's validation set.
    pub validation: Option<Validation>,
    /// Level of the intervals.
    pub level: Level,
    /// Whether annotated pictures and the report page are written.
    pub pictures: bool,
    /// The options as they are written beside results.
    pub record: BTreeMap<String, String>,
}

impl Options {
    /// Joins arguments and settings; arguments go first.
    ///
    /// # Errors
    /// A [`Failure`] when the model cannot be used.
    pub fn from(raw: &ScoreOptions, config: &Config) -> Result<Self, Failure> {
        let path = raw.model.as_ref().or(config.model.as_ref());
        let caller = match path {
            Some(path) => Caller::Own(Box::new(Model::load(path).map_err(|e| {
                Failure::usage(e.to_string())
                    .at(Place::file(path))
                    .hint("give a model.json of this version, or leave --model out for the one built in")
            })?)),
            None => Caller::Standard(
                Model::standard()
                    .map_err(|e| Failure::usage(e.to_string()).hint("give a model with --model"))?,
            ),
        };
        let any_scale = raw.scale.is_some() || raw.px_per_mm.or(raw.mm_per_px).or(raw.dish_mm).is_some();
        // A scale on the command line replaces whatever kind the settings name.
        let px_per_mm = if any_scale { raw.px_per_mm } else { config.px_per_mm };
        let dish_mm = if given_alone(raw) { None } else { raw.dish_mm.or(config.dish_mm) };
        let given = px_per_mm.and_then(MmPerPx::from_px_per_mm).or(raw.mm_per_px.and_then(MmPerPx::new));
        let wanted = given.map_or(raw.scale.unwrap_or_default(), scale::Wanted::Given);
        let scale = scale::Options { wanted, dish_mm, ..scale::Options::default() };
        let level = Level::new(raw.level.or(config.level).unwrap_or(0.95)).unwrap_or_default();
        let hatch = raw.hatch.or(config.hatch);
        let mut record = BTreeMap::new();
        let mut note = |name: &str, value: String| record.insert(name.to_owned(), value);
        note("level", f64::from(level).to_string());
        note(
            "scale",
            match (given, wanted) {
                (Some(s), _) => format!("given: {} px/mm", s.px_per_mm()),
                (None, scale::Wanted::Only(source)) => source.name().to_owned(),
                (None, _) => "auto".to_owned(),
            },
        );
        for (name, value) in [
            ("dish_mm", dish_mm.map(|d| d.to_string())),
            ("tank", raw.tank.clone()),
            ("date", raw.date.map(|d| d.to_string())),
            ("hatch", hatch.map(|d| d.to_string())),
            ("samples", raw.samples.as_ref().map(|p| p.display().to_string())),
            ("validation", raw.validation.as_ref().map(|p| p.display().to_string())),
        ] {
            if let Some(value) = value {
                note(name, value);
            }
        }
        let mut options = Self {
            caller,
            model_sha256: String::new(),
            scale,
            tank: raw.tank.clone(),
            date: raw.date,
            hatch,
            hatch_of: BTreeMap::new(),
            validation: raw.validation.as_deref().map(crate::cli::validation::read).transpose()?,
            level,
            pictures: !raw.no_pictures,
            record,
        };
        options.model_sha256 = sha256(&serde_json::to_vec(options.model()).unwrap_or_default());
        Ok(options)
    }

    /// The bladder caller.
    pub fn model(&self) -> &Model {
        match &self.caller {
            Caller::Standard(model) => model,
            Caller::Own(model) => model,
        }
    }
}
