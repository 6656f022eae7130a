//! Files of others, old and new versions, two writers, full and read-only disks.

use crate::world::*;
use frygauge::ledger::{ActKind, Ledger, LedgerError, NEWEST, Scored};
use std::fs;
use std::path::Path;

fn small_season(path: &Path) -> Ledger {
    let mut ledger = Ledger::create(path).unwrap();
    record(&mut ledger, &mut act("KB", ActKind::Score, 0), 1, &model("a"), 0.0);
    ledger
}

#[test]
fn files_that_are_no_ledger_are_named_and_not_touched() {
    let dir = tempfile::tempdir().unwrap();
    let at = |name: &str| dir.path().join(name);
    assert!(matches!(Ledger::open(&at("nothing")), Err(LedgerError::Missing { .. })));
    assert!(!at("nothing").exists());
    for (name, bytes) in
        [("empty", &b""[..]), ("text", b"tank,date\nP07,2026-04-29\n"), ("half", b"SQLite format 3\0...")]
    {
        fs::write(at(name), bytes).unwrap();
        let error = Ledger::open(&at(name)).unwrap_err();
        assert!(matches!(error, LedgerError::NotSqlite { .. }), "{name}: {error}");
        assert_eq!(fs::read(at(name)).unwrap(), bytes);
    }
    let other = rusqlite::Connection::open(at("other")).unwrap();
    other.execute_batch("CREATE TABLE t (x); PRAGMA user_version = 3;").unwrap();
    drop(other);
    let before = fs::read(at("other")).unwrap();
    assert!(matches!(Ledger::open(&at("other")), Err(LedgerError::NotALedger { found: 0, .. })));
    assert_eq!(fs::read(at("other")).unwrap(), before);
    assert!(matches!(Ledger::create(&at("other")), Err(LedgerError::Exists { .. })));
}

#[test]
fn a_newer_ledger_is_left_alone() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("season.sqlite");
    drop(small_season(&path));
    rusqlite::Connection::open(&path).unwrap().pragma_update(None, "user_version", NEWEST + 1).unwrap();
    for opened in [Ledger::open(&path), Ledger::open_read_only(&path)] {
        let error = opened.unwrap_err();
        assert!(matches!(error, LedgerError::Newer { .. }));
        assert!(error.hint().contains("newer frygauge"), "{}", error.hint());
    }
}

#[test]
fn a_damaged_file_is_found_damaged() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("season.sqlite");
    drop(small_season(&path));
    let mut bytes = fs::read(&path).unwrap();
    // A page in the middle, away from the schema.
    let at = bytes.len() / 2 / 4096 * 4096;
    bytes[at..at + 4096].fill(0xA5);
    fs::write(&path, bytes).unwrap();
    let found = Ledger::open_read_only(&path).and_then(|ledger| Ok(ledger.check()?.findings));
    assert!(!matches!(&found, Ok(findings) if findings.is_empty()), "{found:?}");
}

#[test]
fn two_writers_at_once_lose_nothing() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("season.sqlite");
    drop(Ledger::create(&path).unwrap());
    std::thread::scope(|scope| {
        for (who, from) in [("KB", 100), ("MR", 200)] {
            let path = &path;
            scope.spawn(move || {
                let mut ledger = Ledger::open(path).unwrap();
                let mut scoring = act(who, ActKind::Score, i64::from(from));
                for n in from..from + 30 {
                    record(&mut ledger, &mut scoring, n, &model("a"), 0.0);
                }
            });
        }
    });
    let ledger = Ledger::open(&path).unwrap();
    assert_eq!(ledger.samples().unwrap().len(), 60);
    let health = ledger.check().unwrap();
    assert_eq!((health.findings.len(), health.rows["action"]), (0, 2));
}

#[test]
fn a_full_disk_keeps_what_was_recorded_and_says_so() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("season.sqlite");
    drop(Ledger::create(&path).unwrap());
    let mut ledger = Ledger::open_with_page_limit(&path, 60).unwrap();
    let mut scoring = act("KB", ActKind::Score, 0);
    let mut kept = 0;
    let error = loop {
        let photo = photo(kept + 1, 12);
        let fish = shoal(&photo, 0.0);
        let scored =
            Scored { photo: &photo, tank: "P07", date: date("2026-04-29"), fish: &fish, model: &model("a") };
        match ledger.record(&mut scoring, &scored) {
            Ok(_) => kept += 1,
            Err(error) => break error,
        }
    };
    assert!(matches!(error, LedgerError::DiskFull { .. }), "{error}");
    assert!(error.hint().contains("kept"), "{}", error.hint());
    drop(ledger);
    let mut ledger = Ledger::open(&path).unwrap();
    assert!(kept > 3);
    assert_eq!(ledger.samples().unwrap().len(), kept as usize);
    assert_eq!(ledger.check().unwrap().findings, []);
    // With room again the same run goes on where it stopped.
    record(&mut ledger, &mut scoring, kept + 1, &model("a"), 0.0);
    assert_eq!(ledger.samples().unwrap().len(), kept as usize + 1);
}

#[cfg(unix)]
#[test]
fn a_read_only_folder_can_be_read_and_says_that_it_cannot_be_written() {
    use std::os::unix::fs::PermissionsExt as _;
    let dir = tempfile::tempdir().unwrap();
    let folder = dir.path().join("season");
    fs::create_dir(&folder).unwrap();
    let path = folder.join("season.sqlite");
    drop(small_season(&path));
    fs::set_permissions(&folder, fs::Permissions::from_mode(0o555)).unwrap();
    if fs::write(folder.join("probe"), "").is_ok() {
        // The superuser writes where nobody may: a mount says no to everybody.
        fs::remove_file(folder.join("probe")).unwrap();
        let Some(mount) = ReadOnlyMount::over(&folder) else {
            eprintln!("not checked: no right to mount");
            return;
        };
        read_only_checks(&path);
        drop(mount);
    } else {
        read_only_checks(&path);
    }
    fs::set_permissions(&folder, fs::Permissions::from_mode(0o755)).unwrap();
}

#[cfg(unix)]
fn read_only_checks(path: &Path) {
    let error = Ledger::open(path).unwrap_err();
    assert!(matches!(error, LedgerError::ReadOnly { .. }), "{error}");
    let ledger = Ledger::open_read_only(path).unwrap();
    assert_eq!(ledger.samples().unwrap().len(), 1);
    assert_eq!(ledger.check().unwrap().findings, []);
    let error = ledger.backup(&path.with_file_name("copy.sqlite")).unwrap_err();
    assert!(matches!(error, LedgerError::ReadOnly { .. } | LedgerError::Io { .. }), "{error}");
}

/// A folder bound over itself read-only for as long as this lives.
#[cfg(unix)]
struct ReadOnlyMount(std::path::PathBuf);

#[cfg(unix)]
impl ReadOnlyMount {
    fn over(folder: &Path) -> Option<Self> {
        let mount = |args: &[&str]| {
            let done = std::process::Command::new("mount").args(args).arg(folder).output();
            done.is_ok_and(|out| out.status.success())
        };
        let text = folder.to_str()?;
        if !mount(&["--bind", text]) {
            return None;
        }
        let bound = Self(folder.into());
        mount(&["-o", "remount,bind,ro"]).then_some(bound)
    }
}

#[cfg(unix)]
impl Drop for ReadOnlyMount {
    fn drop(&mut self) {
        let _ = std::process::Command::new("umount").arg(&self.0).status();
    }
}

#[test]
fn a_backup_made_while_writing_is_whole_and_never_overwrites() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("season.sqlite");
    drop(Ledger::create(&path).unwrap());
    let copy = dir.path().join("copy.sqlite");
    std::thread::scope(|scope| {
        let writer = scope.spawn(|| {
            let mut ledger = Ledger::open(&path).unwrap();
            let mut scoring = act("KB", ActKind::Score, 0);
            for n in 1..=60 {
                record(&mut ledger, &mut scoring, n, &model("a"), 0.0);
            }
        });
        while Ledger::open_read_only(&path).unwrap().samples().unwrap().len() < 10 {
            std::thread::yield_now();
        }
        Ledger::open_read_only(&path).unwrap().backup(&copy).unwrap();
        writer.join().unwrap();
    });
    let copied = Ledger::open(&copy).unwrap();
    let samples = copied.samples().unwrap();
    assert!((10..=60).contains(&samples.len()));
    assert!(samples.iter().all(|s| s.fish.len() == 12));
    assert_eq!(copied.check().unwrap().findings, []);
    drop(copied);
    let before = fs::read(&copy).unwrap();
    let error = Ledger::open(&path).unwrap().backup(&copy).unwrap_err();
    assert!(matches!(error, LedgerError::Exists { .. }));
    assert_eq!(fs::read(&copy).unwrap(), before);
}

#[test]
fn an_export_holds_every_row_and_never_overwrites() {
    let dir = tempfile::tempdir().unwrap();
    let ledger = small_season(&dir.path().join("season.sqlite"));
    let folder = dir.path().join("export");
    ledger.export(&folder).unwrap();
    let json: serde_json::Value =
        serde_json::from_slice(&fs::read(folder.join("season.json")).unwrap()).unwrap();
    for (name, _) in frygauge::ledger::EXPORTED {
        let rows = csv::Reader::from_path(folder.join(format!("{name}.csv"))).unwrap().records().count();
        assert_eq!(rows, json[name].as_array().unwrap().len(), "{name}");
    }
    assert_eq!(json["fish"].as_array().unwrap().len(), 12);
    assert_eq!(json["fish"][2]["call"], "not_inflated");
    assert_eq!(json["fish"][0]["bladder_position"], serde_json::Value::Null);
    assert!(matches!(ledger.export(&folder), Err(LedgerError::Exists { .. })));
    assert_eq!(
        fs::read_dir(dir.path()).unwrap().count(),
        4,
        "ledger, its log and its index, export: nothing half"
    );
}
