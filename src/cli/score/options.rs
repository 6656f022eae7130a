//! The options that shape scores, from raw arguments and the settings file to validated values.

use crate::bladder::Model;
use crate::cli::scale::StoredScales;
use crate::cli::{Config, Failure, Place};
use crate::photo::sha256;
use crate::scale::{self, ScaleSource};
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
    /// Where the scale may come from: the best there is, or one source only
    #[arg(long, value_enum, default_value_t = Source::Auto, value_name = "SOURCE")]
    scale: Source,
    /// Use the scale stored under this name (see frygauge scale)
    #[arg(long, value_name = "NAME")]
    stored_scale: Option<String>,
    /// Straighten with the lens stored under this name (see frygauge scale --lens)
    #[arg(long, value_name = "NAME")]
    lens: Option<String>,
    /// File the stored scales and lenses are kept in
    #[arg(long, value_name = "FILE", default_value = StoredScales::FILE)]
    scales: PathBuf,
    /// Height of the fish above the card or ruler: the dish floor and half a fish, in millimetres
    #[arg(long, value_name = "MM", value_parser = not_negative, allow_negative_numbers = true)]
    floor_mm: Option<f64>,
    /// Distance from the lens to the fish, in millimetres
    #[arg(long, value_name = "MM", value_parser = positive, allow_negative_numbers = true)]
    camera_mm: Option<f64>,
    /// Length of the printed card's 100 mm check bar as measured, in millimetres
    #[arg(long, value_name = "MM", value_parser = bar, allow_negative_numbers = true)]
    printed_bar_mm: Option<f64>,
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

/// Where the scale may come from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum Source {
    /// Card, ruler, dish, resolution tags, stored scale: the first there is
    Auto,
    /// The printed card
    Card,
    /// A ruler
    Ruler,
    /// The dish wall, with --dish-mm
    Dish,
    /// Resolution tags of microscope software
    Tags,
    /// The scale named by --stored-scale
    Stored,
}

impl Source {
    /// The word of the option.
    fn word(self) -> String {
        format!("{self:?}").to_lowercase()
    }
}

/// A number not below zero, as an argument.
fn not_negative(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(v) if v.is_finite() && v >= 0.0 => Ok(v),
        _ => Err("write a number of millimetres, 0 or more".into()),
    }
}

/// A measured check bar, as an argument.
fn bar(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(v) if (90.0..=110.0).contains(&v) => Ok(v),
        _ => Err("the bar is 100 mm long on paper: 90 to 110 is expected".into()),
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
        let any_scale =
            raw.scale != Source::Auto || raw.px_per_mm.or(raw.mm_per_px).or(raw.dish_mm).is_some();
        // A scale on the command line replaces whatever kind the settings name.
        let px_per_mm = if any_scale { raw.px_per_mm } else { config.px_per_mm };
        let dish_mm = if given_alone(raw) { None } else { raw.dish_mm.or(config.dish_mm) };
        let given = px_per_mm.and_then(MmPerPx::from_px_per_mm).or(raw.mm_per_px.and_then(MmPerPx::new));
        let only = match raw.scale {
            Source::Auto => scale::Wanted::Auto,
            Source::Card => scale::Wanted::Only(ScaleSource::Card),
            Source::Ruler => scale::Wanted::Only(ScaleSource::Ruler),
            Source::Dish => scale::Wanted::Only(ScaleSource::Dish),
            Source::Tags => scale::Wanted::Only(ScaleSource::Tags),
            Source::Stored => scale::Wanted::Only(ScaleSource::Stored),
        };
        let missing = match raw.scale {
            Source::Dish if dish_mm.is_none() => Some(("--scale dish", "--dish-mm")),
            Source::Stored if raw.stored_scale.is_none() => Some(("--scale stored", "--stored-scale")),
            _ => None,
        };
        if let Some((option, needs)) = missing {
            return Err(Failure::usage(format!("{option} needs {needs}")).hint(format!("add {needs}")));
        }
        // A scale typed on the command line is meant; one from the settings gives way to a source named here.
        let given = given.filter(|_| any_scale || raw.scale == Source::Auto);
        let wanted = given.map_or(only, scale::Wanted::Given);
        let stored = match &raw.stored_scale {
            Some(name) => Some(StoredScales::load(&raw.scales)?.find(name, &raw.scales)?.clone()),
            None => None,
        };
        let lens = match &raw.lens {
            Some(name) => Some(StoredScales::load(&raw.scales)?.find_lens(name, &raw.scales)?.clone()),
            None => None,
        };
        let scale = scale::Options {
            wanted,
            dish_mm,
            floor_mm: raw.floor_mm,
            camera_mm: raw.camera_mm,
            printed_bar_mm: raw.printed_bar_mm,
            stored,
            lens,
        };
        let level = Level::new(raw.level.or(config.level).unwrap_or(0.95)).unwrap_or_default();
        let hatch = raw.hatch.or(config.hatch);
        let mut record = BTreeMap::new();
        let mut note = |name: &str, value: String| record.insert(name.to_owned(), value);
        note("level", f64::from(level).to_string());
        note(
            "scale",
            match (given, wanted) {
                (Some(s), _) => format!("given: {} px/mm", s.px_per_mm()),
                (None, _) => raw.scale.word(),
            },
        );
        for (name, value) in [
            ("dish_mm", dish_mm.map(|d| d.to_string())),
            ("stored_scale", raw.stored_scale.clone()),
            ("lens", raw.lens.clone()),
            ("floor_mm", raw.floor_mm.map(|v| v.to_string())),
            ("camera_mm", raw.camera_mm.map(|v| v.to_string())),
            ("printed_bar_mm", raw.printed_bar_mm.map(|v| v.to_string())),
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
