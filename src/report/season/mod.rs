//! The morning report: the season so far as one page that needs nothing else, and the same as CSV and JSON.

mod charts;
mod page;
mod tables;

pub use page::page;
pub use tables::{DaySummary, TankSummary, days, tanks};

use crate::records::PhotoRow;
use crate::season::course::Course;
use jiff::civil::Date;
use serde::Serialize;

/// Everything the report shows.
#[derive(Debug)]
pub struct SeasonReport<'a> {
    /// Title: the hatchery's name.
    pub name: &'a str,
    /// Day of the report.
    pub as_of: Date,
    /// The tanks, those in most need of somebody first.
    pub courses: &'a [Course],
    /// Treatment columns of the register.
    pub treatments: &'a [String],
    /// The photographs: tank, date and row.
    pub photos: &'a [(String, Date, PhotoRow)],
    /// What is odd about the data: corrections that lost their fish, samples that do not fit the register.
    pub oddities: &'a [String],
    /// Values of the species profiles, each with its source.
    pub sources: &'a [(String, String)],
    /// How it was made: versions, models, files.
    pub provenance: &'a [(String, String)],
    /// What sizes and treatments say, worked out elsewhere.
    pub added: &'a Added,
}

/// A part of the report that was worked out elsewhere, ready to be shown.
#[derive(Debug, Default)]
pub struct Added {
    /// Sections of the page, each with its heading; trusted HTML.
    pub html: String,
    /// The same as records; null when there are none.
    pub json: serde_json::Value,
}

/// The report as JSON.
#[derive(Debug, Serialize)]
struct Json<'a> {
    name: &'a str,
    as_of: Date,
    tanks: Vec<TankSummary>,
    days: Vec<DaySummary>,
    oddities: &'a [String],
    size: &'a serde_json::Value,
    provenance: std::collections::BTreeMap<&'a str, &'a str>,
}

/// The report as JSON text.
///
/// # Errors
/// When a number is not finite, which no row may hold.
pub fn json(report: &SeasonReport<'_>) -> Result<String, serde_json::Error> {
    serde_json::to_string_pretty(&Json {
        name: report.name,
        as_of: report.as_of,
        tanks: tanks(report.courses),
        days: days(report.courses),
        oddities: report.oddities,
        size: &report.added.json,
        provenance: report.provenance.iter().map(|(k, v)| (k.as_str(), v.as_str())).collect(),
    })
}
