//! Other programs read the ledger and find what `season export` wrote: SQLite's own shell, and DuckDB from PyPI.
//!
//! Both come from outside and may be missing: the test then says that it was not run, or fails where `.ci/test` requires
//! them.

#[path = "support/season.rs"]
mod season_of_four;
#[path = "support/tools.rs"]
mod tools;

use assert_cmd::Command;
use frygauge::ledger::{Act, ActKind, EventRow, Ledger, RegisterRows, TankEntry};
use jiff::civil::date;
use std::fs;
use std::path::{Path, PathBuf};

/// The season and its export.
fn exported(dir: &Path) -> (PathBuf, PathBuf) {
    let season = dir.join("season");
    fs::create_dir(&season).unwrap();
    season_of_four::season(&season);
    let mut ledger = Ledger::open(&season.join("season.sqlite")).unwrap();
    let tank = |name: &str, litres: f64, note: &str| TankEntry {
        tank: name.into(),
        volume_l: Some(litres),
        stocked_number: Some(1000),
        notes: note.into(),
        ..TankEntry::default()
    };
    let event = EventRow {
        date: date(2026, 4, 28),
        time: None,
        tank: "P07".into(),
        what: "sprayer moved".into(),
        value: "mid".into(),
        number: None,
        note: "said \"why not\", then\nmoved it".into(),
        who: "MR".into(),
    };
    let tanks = vec![tank("P01", 250.0, ""), tank("P07", 312.5, "comma, quote \" and ü")];
    let rows = RegisterRows { files: Vec::new(), tanks, events: vec![event] };
    ledger.sync_register(&mut Act::now("MR", ActKind::Register, ""), &rows).unwrap();
    let mut command = Command::new(assert_cmd::cargo::cargo_bin!("frygauge"));
    command.current_dir(dir).args(["season", "export", "export", "--season", "season"]).assert().success();
    (season.join("season.sqlite"), dir.join("export"))
}

fn run(tool: &Path, args: &[&str]) -> String {
    let out = std::process::Command::new(tool).args(args).output().unwrap();
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    String::from_utf8(out.stdout).unwrap()
}

/// The worked query of docs/ledger.md in the dialect both engines share, without the line that attaches.
fn worked_query() -> String {
    let docs = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/ledger.md")).unwrap();
    let sql = docs.split_once("```sql\n").unwrap().1.split_once("```").unwrap().0;
    let query: Vec<&str> =
        sql.lines().filter(|l| !l.starts_with("--") && !l.to_uppercase().starts_with("ATTACH")).collect();
    query.join("\n")
}

#[test]
fn sqlites_own_shell_agrees_with_the_export() {
    let Some(sqlite3) = tools::tool("sqlite3", &[PathBuf::from("sqlite3")]) else { return };
    let dir = tempfile::tempdir().unwrap();
    let (ledger, export) = exported(dir.path());
    let ledger = ledger.to_str().unwrap();
    assert_eq!(run(&sqlite3, &["-readonly", ledger, "PRAGMA integrity_check"]).trim(), "ok");
    for (file, query) in frygauge::ledger::EXPORTED {
        let told = run(&sqlite3, &["-readonly", "-csv", "-header", ledger, query]);
        let read = |text: &[u8]| -> Vec<Vec<String>> {
            let mut reader = csv::ReaderBuilder::new().has_headers(false).flexible(true).from_reader(text);
            reader.records().map(|r| r.unwrap().iter().map(number).collect()).collect()
        };
        let ours = read(&fs::read(export.join(format!("{file}.csv"))).unwrap());
        let theirs = read(told.as_bytes());
        // The shell prints no header where there is no row.
        assert_eq!(theirs.len().max(1), ours.len(), "{file}");
        if theirs.len() > 1 {
            assert_eq!(ours, theirs, "{file}");
        }
    }
}

/// A number as both print it: to 12 digits.
fn number(cell: &str) -> String {
    match cell.parse::<f64>() {
        Ok(v) if !cell.chars().all(|c| c.is_ascii_digit()) => format!("{v:.12e}"),
        _ => cell.to_owned(),
    }
}

#[test]
fn duckdb_agrees_with_the_export_and_runs_the_worked_query() {
    let python = tools::below_target("readers/bin/python");
    let Some(python) = tools::tool("a Python with duckdb and duckdb-extension-sqlite-scanner", &[python])
    else {
        return;
    };
    let dir = tempfile::tempdir().unwrap();
    let (ledger, export) = exported(dir.path());
    let query = dir.path().join("query.sql");
    fs::write(&query, worked_query()).unwrap();
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/ledger_readers/agree.py");
    let told = run(
        &python,
        &[
            script.to_str().unwrap(),
            ledger.to_str().unwrap(),
            export.to_str().unwrap(),
            query.to_str().unwrap(),
        ],
    );
    let rows: Vec<&str> = told.lines().collect();
    // Four tanks in either season; P01 was called 240 times: 1, 3, 8, 15, 21, 25, 27 and 28 of 30.
    assert_eq!(rows.len(), 8, "{told}");
    assert_eq!(rows[4], "2026,P01,240,0.533", "{told}");
    if let Some(sqlite3) = tools::tool("sqlite3", &[PathBuf::from("sqlite3")]) {
        let attach = format!("ATTACH '{0}' AS s26; ATTACH '{0}' AS s25;", ledger.display());
        let shell = run(&sqlite3, &["-csv", ":memory:", &format!("{attach}{}", worked_query())]);
        assert_eq!(shell.lines().collect::<Vec<_>>(), rows);
    }
}
