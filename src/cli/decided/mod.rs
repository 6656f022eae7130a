//! What the decision commands share in what they write: paragraphs, numbers with limits, rows for CSV, charts,
//! the section of the morning report, files.

mod charts;
mod rows;
mod section;

pub use charts::grade_chart;
pub use rows::{grade_rows, growth_row, screen_rows};
pub use section::{breaking, comparison, next_mesh, page, safe_mesh, section};

use super::Failure;
use crate::decision::Estimate;

/// A paragraph wrapped to 80 columns; lines after the first stand in by two.
pub fn paragraph(lead: &str, text: &str) -> String {
    let options = textwrap::Options::new(80)
        .initial_indent(lead)
        .subsequent_indent("  ")
        .break_words(false)
        .word_splitter(textwrap::WordSplitter::NoHyphenation);
    textwrap::fill(text, options)
}

/// A share with its limits: `12 % (8-17)`.
pub fn share(e: &Estimate) -> String {
    let digits = usize::from(e.high < 0.095);
    format!("{:.digits$} % ({:.digits$}-{:.digits$})", 100.0 * e.value, 100.0 * e.low, 100.0 * e.high)
}

/// A share without limits.
pub fn percent(v: f64) -> String {
    let digits = usize::from(v < 0.0995 && v > 0.0);
    format!("{:.digits$} %", 100.0 * v)
}

/// A value to three figures.
pub fn figures(v: f64) -> String {
    if !v.is_finite() {
        return "?".to_owned();
    }
    let digits = if v == 0.0 { 0 } else { (2 - v.abs().log10().floor() as i32).clamp(0, 6) };
    format!("{v:.0$}", digits as usize)
}

/// A value with its limits to three figures; limits that do not exist are said to.
pub fn limits(e: &Estimate, unit: &str) -> String {
    if e.low.is_finite() && e.high.is_finite() {
        format!("{} {unit} ({} to {})", figures(e.value), figures(e.low), figures(e.high))
    } else {
        format!("{} {unit} (no limits)", figures(e.value))
    }
}

/// A tank's name as part of a file name.
pub fn file_name(tank: Option<&str>) -> String {
    let word: String = tank
        .unwrap_or("all")
        .chars()
        .map(|c| if c.is_alphanumeric() || c == '-' { c } else { '_' })
        .collect();
    word
}

/// Results as JSON text.
///
/// # Errors
/// A [`Failure`] when they cannot be written as JSON.
pub fn json<T: serde::Serialize>(value: &T) -> Result<String, Failure> {
    serde_json::to_string_pretty(value)
        .map_err(|e| Failure::usage(format!("cannot write the results as JSON: {e}")))
}
