//! Reading the hand-made tables of a comparison, every complaint with its row and column.

use std::collections::BTreeMap;
use std::io::Read;

/// What is wrong with a table, where, and what to do.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{what}")]
pub struct TableError {
    /// What is wrong, one sentence without a full stop.
    pub what: String,
    /// Line of the file, from 1 with the header; empty when the whole file is meant.
    pub row: Option<u64>,
    /// Column, when one is meant.
    pub column: Option<String>,
    /// What to do.
    pub hint: String,
}

impl TableError {
    pub(super) fn whole(what: impl Into<String>, hint: impl Into<String>) -> Self {
        Self { what: what.into(), row: None, column: None, hint: hint.into() }
    }
}

/// One line of a table: its trimmed, non-empty cells by lower-case column name.
pub(super) struct Line {
    pub row: u64,
    cells: BTreeMap<String, String>,
}

impl Line {
    pub fn get(&self, column: &str) -> Option<&str> {
        self.cells.get(column).map(String::as_str)
    }

    pub fn error(&self, column: &str, what: impl Into<String>, hint: impl Into<String>) -> TableError {
        TableError {
            what: what.into(),
            row: Some(self.row),
            column: Some(column.to_owned()),
            hint: hint.into(),
        }
    }

    pub fn required(&self, column: &str) -> Result<&str, TableError> {
        self.get(column)
            .ok_or_else(|| self.error(column, format!("no {column}"), "fill the cell, or take the row out"))
    }

    /// A number that is finite and not below 0.
    pub fn number(&self, column: &str) -> Result<Option<f64>, TableError> {
        let Some(cell) = self.get(column) else { return Ok(None) };
        match cell.parse::<f64>() {
            Ok(value) if value.is_finite() && value >= 0.0 => Ok(Some(value)),
            _ => Err(self.error(
                column,
                format!("{cell} is not a number of 0 or more"),
                "write a plain number with a decimal point; leave the cell empty when it is not known",
            )),
        }
    }

    /// A whole number of at most 1e9.
    pub fn count(&self, column: &str) -> Result<Option<u64>, TableError> {
        match self.number(column)? {
            None => Ok(None),
            Some(value) if value.fract() == 0.0 && value <= 1e9 => Ok(Some(value as u64)),
            Some(value) => Err(self.error(
                column,
                format!("{value} is not a count"),
                "write a whole number, at most 1e9",
            )),
        }
    }

    pub fn date(&self, column: &str) -> Result<Option<jiff::civil::Date>, TableError> {
        let Some(cell) = self.get(column) else { return Ok(None) };
        cell.parse()
            .map(Some)
            .map_err(|_| self.error(column, format!("{cell} is not a date"), "write dates as YYYY-MM-DD"))
    }
}

/// All lines of a CSV table that has `needed` columns; other columns are kept, empty lines left out.
pub(super) fn read(source: impl Read, needed: &[&str]) -> Result<Vec<Line>, TableError> {
    let mut reader = csv::ReaderBuilder::new().flexible(true).trim(csv::Trim::All).from_reader(source);
    let unreadable = |e: &csv::Error| TableError {
        what: format!("cannot be read as CSV: {e}"),
        row: e.position().map(csv::Position::line),
        column: None,
        hint: "save it as comma-separated values in UTF-8".into(),
    };
    let header: Vec<String> = reader
        .headers()
        .map_err(|e| unreadable(&e))?
        .iter()
        .map(|h| h.trim_start_matches('\u{feff}').trim().to_lowercase())
        .collect();
    if let Some(missing) = needed.iter().find(|n| !header.iter().any(|h| h == *n)) {
        return Err(TableError {
            what: format!("no column {missing}"),
            row: Some(1),
            column: Some((*missing).to_owned()),
            hint: format!("the first line must name the columns {}", needed.join(", ")),
        });
    }
    if let Some(twice) = header.iter().enumerate().find(|(i, h)| !h.is_empty() && header[..*i].contains(h)) {
        return Err(TableError {
            what: format!("column {} stands twice", twice.1),
            row: Some(1),
            column: Some(twice.1.clone()),
            hint: "keep one of them".into(),
        });
    }
    let mut lines = Vec::new();
    for record in reader.records() {
        let record = record.map_err(|e| unreadable(&e))?;
        let row = record.position().map_or(0, csv::Position::line);
        let cells: BTreeMap<String, String> = header
            .iter()
            .zip(record.iter())
            .filter(|(_, cell)| !cell.is_empty())
            .map(|(name, cell)| (name.clone(), cell.to_owned()))
            .collect();
        if !cells.is_empty() {
            lines.push(Line { row, cells });
        }
    }
    Ok(lines)
}
