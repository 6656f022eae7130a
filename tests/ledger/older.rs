//! Ledgers of every older version, as text in `v1.sql`, `v2.sql`, …: what was out there then.
//!
//! `FRYGAUGE_REGENERATE=1 cargo test --test ledger older` writes the files that are missing, and never
//! touches one that is there: a new version adds the file of the version before it.

use crate::world::*;
use frygauge::ledger::{APPLICATION_ID, ActKind, Correction, Ledger, LedgerError, NEWEST, Said};
use frygauge::records::Call;
use rusqlite::Connection;
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

fn fixture(version: i32) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("tests/ledger/v{version}.sql"))
}

#[test]
fn every_older_version_is_brought_up_to_date_with_nothing_lost() {
    for version in 1..NEWEST {
        let text = fixture(version);
        if !text.exists() && std::env::var_os("FRYGAUGE_REGENERATE").is_some() {
            fs::write(&text, older_ledger(version)).unwrap();
        }
        let text = fs::read_to_string(text).unwrap();
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("season.sqlite");
        Connection::open(&path).unwrap().execute_batch(&text).unwrap();

        let error = Ledger::open_read_only(&path).unwrap_err();
        assert!(matches!(error, LedgerError::OlderReadOnly { found, .. } if found == version), "{error}");
        let ledger = Ledger::open(&path).unwrap();
        let health = ledger.check().unwrap();
        assert_eq!(health.findings, [], "version {version}: schema and rows as new");
        let samples = ledger.samples().unwrap();
        assert_eq!(samples.len(), 2);
        assert_eq!(samples[1].fish.len(), 12);
        let third = &samples[0].fish[2];
        let expected = if version >= 2 { (Call::Inflated, "MR") } else { (Call::NotInflated, "model") };
        assert_eq!((third.call, third.caller.as_str()), expected, "version {version}");
        drop(ledger);
        // Opened again it is what it was.
        assert_eq!(Ledger::open(&path).unwrap().samples().unwrap(), samples);
    }
}

/// A season as version `version` wrote it: the tables of that version, filled with the same rows.
fn older_ledger(version: i32) -> String {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("season.sqlite");
    let mut ledger = Ledger::create(&path).unwrap();
    let mut scoring = act("KB", ActKind::Score, 0);
    record(&mut ledger, &mut scoring, 1, &model("a"), 0.0);
    record(&mut ledger, &mut scoring, 2, &model("a"), 0.0);
    if version >= 2 {
        let said = Correction {
            sha256: sha(1),
            fish: Some(3),
            said: Said::Call(Call::Inflated),
            note: "rim".into(),
        };
        ledger.correct(&mut act("MR", ActKind::Correct, 1), &[said]).unwrap();
    }
    drop(ledger);
    let conn = Connection::open(&path).unwrap();
    let mut text = format!("PRAGMA application_id = {APPLICATION_ID};\n");
    let mut files: Vec<PathBuf> =
        fs::read_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join("src/ledger/migrations"))
            .unwrap()
            .map(|f| f.unwrap().path())
            .collect();
    files.sort();
    for file in &files[..version as usize] {
        text += &fs::read_to_string(file).unwrap();
    }
    for table in
        ["action", "photograph", "placement", "model", "layer", "selection", "fish", "correction", "carried"]
    {
        if version < 2 && matches!(table, "correction" | "carried") {
            continue;
        }
        let columns: Vec<String> = conn
            .prepare(&format!("SELECT 'quote(' || name || ')' FROM pragma_table_info('{table}')"))
            .unwrap()
            .query_map([], |r| r.get(0))
            .unwrap()
            .collect::<Result<_, _>>()
            .unwrap();
        let sql = format!("SELECT {} FROM {table}", columns.join(" || ', ' || "));
        let mut rows = conn.prepare(&sql).unwrap();
        for row in rows.query_map([], |r| r.get::<_, String>(0)).unwrap() {
            writeln!(text, "INSERT INTO {table} VALUES ({});", row.unwrap()).unwrap();
        }
    }
    text + &format!("PRAGMA user_version = {version};\n")
}
