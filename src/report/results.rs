//! The results folder's tables: CSV for spreadsheets and scripts, JSON with provenance.

use crate::records::{FishRow, PhotoRow, TankRow};
use serde::Serialize;
use std::collections::BTreeMap;

/// Where results came from: enough to get them again.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Provenance {
    /// Version of this program.
    pub version: String,
    /// Identity of the bladder model.
    pub model: String,
    /// SHA-256 of the model, lower-case hex.
    pub model_sha256: String,
    /// Options that shape the results.
    pub options: BTreeMap<String, String>,
    /// When the run began.
    pub started: String,
    /// Whether every photograph was come to; `false` when the run was stopped.
    pub complete: bool,
}

/// Everything a run found.
#[derive(Debug, Serialize)]
pub struct Results<'a> {
    /// Where it came from.
    pub provenance: &'a Provenance,
    /// The photographs; their `sha256` are the inputs' hashes.
    pub photos: &'a [PhotoRow],
    /// The tanks.
    pub tanks: &'a [TankRow],
    /// The fish.
    pub fish: &'a [FishRow],
}

impl Results<'_> {
    /// The results as JSON text, ended by a line feed.
    ///
    /// # Errors
    /// When a number is not finite, which no row may hold.
    pub fn to_json(&self) -> Result<Vec<u8>, serde_json::Error> {
        let mut bytes = serde_json::to_vec_pretty(self)?;
        bytes.push(b'\n');
        Ok(bytes)
    }
}

/// `rows` as CSV (RFC 4180, line feed only) with a header; `columns` stands alone when there are no rows.
///
/// # Errors
/// When a row cannot be written as cells.
pub fn to_csv<T: Serialize>(rows: &[T], columns: &[&str]) -> Result<Vec<u8>, csv::Error> {
    let mut writer = csv::WriterBuilder::new().has_headers(!rows.is_empty()).from_writer(Vec::new());
    if rows.is_empty() {
        writer.write_record(columns)?;
    }
    for row in rows {
        writer.serialize(row)?;
    }
    writer.into_inner().map_err(|e| e.into_error().into())
}
