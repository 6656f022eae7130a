//! Whether the ledger is sound, and what is wrong with it by name.

use super::record::content_sha256;
use super::{Ledger, LedgerError, NEWEST, migrate};
use crate::records::{FishRow, PhotoRow};
use rusqlite::Connection;
use serde::Serialize;
use std::collections::BTreeMap;

/// Something wrong.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Finding {
    /// Where: file, row, photograph.
    pub place: String,
    /// What is wrong there.
    pub what: String,
    /// What to do.
    pub hint: String,
}

/// What the ledger holds, and what is wrong with it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct LedgerHealth {
    /// Its version.
    pub version: i32,
    /// Rows of each table, by name.
    pub rows: BTreeMap<String, i64>,
    /// What is wrong; empty when it is sound.
    pub findings: Vec<Finding>,
}

impl Ledger {
    /// Checks the file (SQLite's own integrity check), its schema, the links between its rows, and that
    /// every reading still is what its SHA-256 says.
    ///
    /// # Errors
    /// Only when the check itself cannot run; what it finds is in [`LedgerHealth::findings`].
    pub fn check(&self) -> Result<LedgerHealth, LedgerError> {
        let on = |e| self.error(e);
        let file = self.path().display().to_string();
        let mut findings = Vec::new();
        let restore = "put back the newest copy made by `frygauge season backup`";
        let said: Vec<String> = self
            .conn
            .prepare("PRAGMA integrity_check")
            .and_then(|mut s| s.query_map([], |r| r.get(0))?.collect())
            .map_err(on)?;
        for line in said.into_iter().filter(|line| line != "ok") {
            findings.push(Finding { place: file.clone(), what: line, hint: restore.into() });
        }
        if !findings.is_empty() {
            // Rows of a damaged file prove nothing.
            return Ok(LedgerHealth { version: NEWEST, rows: BTreeMap::new(), findings });
        }
        let broken: Vec<(String, i64)> = self
            .conn
            .prepare("PRAGMA foreign_key_check")
            .and_then(|mut s| {
                s.query_map([], |r| Ok((r.get(0)?, r.get::<_, Option<i64>>(1)?.unwrap_or(0))))?.collect()
            })
            .map_err(on)?;
        for (table, row) in broken {
            findings.push(Finding {
                place: format!("{file}, table {table}, row {row}"),
                what: "refers to a row that is not there".into(),
                hint: restore.into(),
            });
        }
        findings.extend(self.schema_findings().map_err(on)?);
        findings.extend(self.content_findings()?);
        let mut rows = BTreeMap::new();
        for table in migrate::tables(&self.conn).map_err(on)? {
            let count = self
                .conn
                .query_row(&format!("SELECT count(*) FROM {table}"), [], |r| r.get(0))
                .map_err(on)?;
            rows.insert(table, count);
        }
        Ok(LedgerHealth { version: NEWEST, rows, findings })
    }

    /// Tables, views and triggers that are not as the migrations make them: somebody edited the file.
    fn schema_findings(&self) -> rusqlite::Result<Vec<Finding>> {
        let mut fresh = Connection::open_in_memory()?;
        let tx = fresh.transaction()?;
        migrate::run(&tx, 0, NEWEST)?;
        tx.commit()?;
        let keyed = |schema: Vec<(String, String, String)>| -> BTreeMap<(String, String), String> {
            schema.into_iter().map(|(kind, name, sql)| ((kind, name), sql)).collect()
        };
        let (expected, found) = (keyed(migrate::schema(&fresh)?), keyed(migrate::schema(&self.conn)?));
        let mut findings = Vec::new();
        for ((kind, name), sql) in &expected {
            let what = match found.get(&(kind.clone(), name.clone())) {
                None => format!("{kind} {name} is missing"),
                Some(other) if other != sql => format!("{kind} {name} was changed"),
                Some(_) => continue,
            };
            findings.push(Finding {
                place: self.path().display().to_string(),
                what,
                hint: "another program edited the ledger; its rows are checked below, but put back a backup"
                    .into(),
            });
        }
        Ok(findings)
    }

    /// Layers whose fish are not what was recorded.
    fn content_findings(&self) -> Result<Vec<Finding>, LedgerError> {
        let mut findings = Vec::new();
        for layer in self.layers()? {
            let mut find = |what: String| {
                findings.push(Finding {
                    place: format!("layer {} of {}", layer.layer_id, layer.photo.photo),
                    what,
                    hint: "the ledger was edited by another program; put back a backup, or score the photograph again"
                        .into(),
                });
            };
            if layer.photo.fish as usize != layer.fish.len() {
                find(format!("should have {} fish, has {}", layer.photo.fish, layer.fish.len()));
            } else if layer.content_sha256 != content_sha256(&layer.photo, &layer.fish) {
                find("its rows are not what was recorded".into());
            }
        }
        Ok(findings)
    }
}

/// A layer as it was recorded, the model's own words.
pub(super) struct StoredLayer {
    pub layer_id: i64,
    pub photo: PhotoRow,
    pub fish: Vec<FishRow>,
    pub content_sha256: String,
}
