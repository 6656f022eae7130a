//! The whole ledger as a folder of CSV files and one JSON file.

use super::{Ledger, LedgerError};
use rusqlite::{Transaction, types::ValueRef};
use serde_json::{Value, json};
use std::fs;
use std::io::{BufWriter, Write};
use std::path::Path;

/// What is exported: the file's name and the query behind it. First what holds now, then everything that
/// was ever recorded.
pub const EXPORTED: [(&str, &str); 12] = [
    ("photos", "SELECT * FROM current_photo ORDER BY tank, date, photo, sha256"),
    ("fish", "SELECT * FROM current_fish ORDER BY tank, date, photo, photo_id, fish"),
    ("tanks", "SELECT * FROM current_tank ORDER BY tank"),
    ("events", "SELECT * FROM current_event ORDER BY date, time, tank, what, uid"),
    ("corrections", "SELECT * FROM correction ORDER BY correction_id"),
    ("carried", "SELECT * FROM carried ORDER BY layer_id, correction_id"),
    ("actions", "SELECT * FROM action ORDER BY action_id"),
    ("placements", "SELECT * FROM placement ORDER BY placement_id"),
    (
        "layers",
        "SELECT l.*, m.name AS model, m.sha256 AS model_sha256 FROM layer l JOIN model m USING (model_id) ORDER BY layer_id",
    ),
    ("layer_fish", "SELECT * FROM fish ORDER BY layer_id, fish"),
    (
        "register_files",
        "SELECT register_file_id, name, sha256, CAST(content AS TEXT) AS content, action_id FROM register_file ORDER BY register_file_id",
    ),
    ("photographs", "SELECT * FROM photograph ORDER BY photo_id"),
];

impl Ledger {
    /// Writes a CSV file for each of [`EXPORTED`] and `season.json` with all of them into the new folder `to`,
    /// all as the ledger is at one moment. The folder gets its name when it is whole.
    ///
    /// # Errors
    /// [`LedgerError::Exists`] when there is something at `to`; what the file system says otherwise.
    pub fn export(&self, to: &Path) -> Result<(), LedgerError> {
        if to.exists() {
            return Err(LedgerError::Exists { path: to.into() });
        }
        let mut part = to.as_os_str().to_owned();
        part.push(format!(".{}.part", std::process::id()));
        let part = std::path::PathBuf::from(part);
        let io = |source| LedgerError::Io { path: to.into(), source };
        fs::create_dir_all(&part).map_err(io)?;
        let written = self.export_into(&part).and_then(|()| fs::rename(&part, to).map_err(io));
        if written.is_err() {
            let _ = fs::remove_dir_all(&part);
        }
        written
    }

    fn export_into(&self, folder: &Path) -> Result<(), LedgerError> {
        // A read transaction: all queries see the same moment.
        let tx = self.conn.unchecked_transaction().map_err(|e| self.error(e))?;
        let path = folder.join("season.json");
        let io = |source| LedgerError::Io { path: path.clone(), source };
        let mut json = BufWriter::new(fs::File::create(&path).map_err(io)?);
        write!(
            json,
            "{{\"ledger_version\": {}, \"software\": \"{}\"",
            super::NEWEST,
            env!("CARGO_PKG_VERSION")
        )
        .map_err(io)?;
        for (name, sql) in EXPORTED {
            write!(json, ",\n\"{name}\": [").map_err(io)?;
            self.export_query(&tx, sql, &folder.join(format!("{name}.csv")), &mut json)?;
            write!(json, "]").map_err(io)?;
        }
        writeln!(json, "}}").and_then(|()| json.flush()).map_err(io)
    }

    /// The rows of one query as a CSV file, and as the elements of a JSON array. Row by row: a season need
    /// not fit into memory.
    fn export_query(
        &self,
        tx: &Transaction<'_>,
        sql: &str,
        path: &Path,
        json: &mut impl Write,
    ) -> Result<(), LedgerError> {
        let on = |e| self.error(e);
        let io = |source| LedgerError::Io { path: path.into(), source };
        let table = |e: csv::Error| io(std::io::Error::other(e));
        let mut csv = csv::Writer::from_path(path).map_err(table)?;
        let mut statement = tx.prepare(sql).map_err(on)?;
        let columns: Vec<String> = statement.column_names().map(String::from).collect();
        csv.write_record(&columns).map_err(table)?;
        let mut rows = statement.query([]).map_err(on)?;
        let mut separator = "\n";
        while let Some(row) = rows.next().map_err(on)? {
            for (i, column) in columns.iter().enumerate() {
                let value = match row.get_ref(i).map_err(on)? {
                    ValueRef::Null => Value::Null,
                    ValueRef::Integer(v) => json!(v),
                    ValueRef::Real(v) => json!(v),
                    ValueRef::Text(v) | ValueRef::Blob(v) => json!(String::from_utf8_lossy(v)),
                };
                let before = if i == 0 { separator } else { ", " };
                let open = if i == 0 { "{" } else { "" };
                write!(json, "{before}{open}\"{column}\": {value}").map_err(io)?;
                match value {
                    Value::Null => csv.write_field(""),
                    Value::String(text) => csv.write_field(text),
                    number => csv.write_field(number.to_string()),
                }
                .map_err(table)?;
            }
            csv.write_record(None::<&[u8]>).map_err(table)?;
            write!(json, "}}").map_err(io)?;
            separator = ",\n";
        }
        csv.flush().map_err(io)
    }
}
