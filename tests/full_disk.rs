//! A disk that fills up, at every file the program writes: the file is there whole, as it was before, or not at all.
//!
//! The system's limit on the size of a file stands in for the full disk (`ulimit -f`, with its signal ignored, so that
//! writing fails half-way with an error as on a full disk); it is set just below the size of each file in turn.
#![cfg(unix)]

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::Command;

const SAMPLE: &str = "sample-images/P02-light-pad-01.jpg";
const OTHER: &str = "sample-images/P05-light-pad-02.jpg";

/// What a run said on stderr, as one line, and how it ended.
fn run(dir: &Path, limit_kib: Option<u64>, args: &[&str]) -> (i32, String) {
    let limit = limit_kib.map_or("unlimited".into(), |kib| kib.to_string());
    let output = Command::new("bash")
        .current_dir(dir)
        .arg("-c")
        .arg(format!("trap '' XFSZ; ulimit -f {limit}; exec \"$0\" \"$@\""))
        .arg(assert_cmd::cargo::cargo_bin!("frygauge"))
        .args(args)
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&output.stderr).split_whitespace().collect::<Vec<_>>().join(" ");
    (output.status.code().unwrap_or(-1), said)
}

/// Every file below `dir`, by its path, with its bytes.
fn files(dir: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    walkdir::WalkDir::new(dir)
        .into_iter()
        .map(Result::unwrap)
        .filter(|e| e.file_type().is_file())
        .map(|e| (e.path().strip_prefix(dir).unwrap().to_owned(), std::fs::read(e.path()).unwrap()))
        .collect()
}

fn photographs(dir: &Path, names: &[&str]) {
    std::fs::create_dir_all(dir.join("photos")).unwrap();
    for name in names {
        let from = Path::new(env!("CARGO_MANIFEST_DIR")).join(name);
        std::fs::copy(&from, dir.join("photos").join(from.file_name().unwrap())).unwrap();
    }
}

/// Nothing came, went or changed.
fn same(now: &BTreeMap<PathBuf, Vec<u8>>, before: &BTreeMap<PathBuf, Vec<u8>>, what: &str) {
    let differ = |a: &BTreeMap<PathBuf, Vec<u8>>, b: &BTreeMap<PathBuf, Vec<u8>>| -> Vec<PathBuf> {
        a.iter().filter(|(name, bytes)| b.get(*name) != Some(*bytes)).map(|(name, _)| name.clone()).collect()
    };
    assert_eq!(
        (differ(now, before), differ(before, now)),
        (vec![], vec![]),
        "{what}: came or changed, went or changed"
    );
}

/// A season with one tank.
fn season(dir: &Path) {
    let (code, said) = run(dir, None, &["season", "new", "season", "--name", "Brackenmere"]);
    assert_eq!(code, 0, "{said}");
    let tanks = "tank,hatch_date,stocked_date,stocked_number,volume_l,screen_mm,sprayer,notes\nP02,2026-04-20,,,,,mid,\n";
    std::fs::write(dir.join("season/tanks.csv"), tanks).unwrap();
}

/// Limits in KiB, each just below the size of one of the files; those under a KiB are below no limit but zero.
fn limits(of: &BTreeMap<PathBuf, Vec<u8>>) -> Vec<u64> {
    let mut all: Vec<u64> = of.values().map(|bytes| (bytes.len() as u64).saturating_sub(1) / 1024).collect();
    all.sort_unstable();
    all.dedup();
    all
}

#[test]
fn score_leaves_whole_results_or_none() {
    let dir = tempfile::tempdir().unwrap();
    photographs(dir.path(), &[SAMPLE]);
    let score = ["score", "photos", "--out", "results", "--px-per-mm", "40", "--quiet"];
    assert_ne!(run(dir.path(), None, &score).0, 3);
    let whole = files(&dir.path().join("results"));
    for name in ["fish.csv", "tanks.csv", "photos.csv", "results.json", "report.html"] {
        assert!(whole.contains_key(Path::new(name)), "{name}");
    }
    assert!(whole.keys().any(|name| name.starts_with("pictures")));
    std::fs::remove_dir_all(dir.path().join("results")).unwrap();
    let before = files(dir.path());
    for limit in limits(&whole) {
        let (code, said) = run(dir.path(), Some(limit), &score);
        assert_eq!(code, 3, "at {limit} KiB: {said}");
        assert!(said.contains("error: cannot write results") && said.contains("hint: make room"), "{said}");
        same(&files(dir.path()), &before, &format!("at {limit} KiB"));
        assert!(!dir.path().join("results").exists());
    }
    // Tables alone: without pictures they are the first to meet the end of the disk.
    let tables = [&score[..], &["--no-pictures"]].concat();
    for name in ["fish.csv", "results.json"] {
        let limit = (whole[Path::new(name)].len() as u64 - 1) / 1024;
        let (code, said) = run(dir.path(), Some(limit), &tables);
        assert_eq!(code, 3, "{name} at {limit} KiB: {said}");
        same(&files(dir.path()), &before, name);
    }
    // Results that are to be replaced stay until the new ones are whole.
    assert_ne!(run(dir.path(), None, &score).0, 3);
    let before = files(dir.path());
    let (code, said) = run(dir.path(), Some(2), &[&score[..], &["--replace"]].concat());
    assert_eq!(code, 3, "{said}");
    same(&files(dir.path()), &before, "replacing");
}

/// The demo's season is there with all its photographs, or nothing of it, and the folder can be named again.
#[test]
fn demo_leaves_a_whole_season_or_none() {
    let dir = tempfile::tempdir().unwrap();
    std::fs::create_dir(dir.path().join("empty")).unwrap();
    let demo = |folder: &str, limit| run(dir.path(), limit, &["demo", folder, "--days", "1", "--no-score"]);
    assert_eq!(demo("demo", None).0, 0);
    let whole = files(&dir.path().join("demo"));
    std::fs::remove_dir_all(dir.path().join("demo")).unwrap();
    let below = |name: &str| (whole[Path::new(name)].len() as u64 - 1) / 1024;
    let (ledger, photograph) = (below("season/season.sqlite"), below("photographs/P01/2026-04-24.jpg"));
    for (folder, limit) in [("demo", 0), ("demo", ledger), ("demo", photograph), ("empty", photograph)] {
        let (code, said) = demo(folder, Some(limit));
        assert_ne!(code, 0, "{folder} at {limit} KiB: {said}");
        assert!(said.contains("error: ") && said.contains("hint: "), "{said}");
        let left = walkdir::WalkDir::new(dir.path()).min_depth(1).into_iter().count();
        assert_eq!(left, 1, "only the folder that was there is left");
    }
}

#[test]
fn watch_keeps_each_file_whole() {
    let dir = tempfile::tempdir().unwrap();
    photographs(dir.path(), &[SAMPLE]);
    let watch = ["watch", "photos", "--out", "results", "--px-per-mm", "40", "--idle", "1"];
    let (code, said) = run(dir.path(), Some(2), &watch);
    assert_eq!(code, 3, "{said}");
    assert!(said.contains("hint: make room"), "{said}");
    let left = files(&dir.path().join("results"));
    assert!(left.keys().all(|name| name.extension().is_none_or(|e| e != "part")), "{:?}", left.keys());
    assert!(!left.keys().any(|name| name.starts_with("pictures")), "{:?}", left.keys());
}

#[test]
fn the_ledger_keeps_what_it_had() {
    let dir = tempfile::tempdir().unwrap();
    photographs(dir.path(), &[SAMPLE]);
    season(dir.path());
    let score = |out: &'static str| {
        [
            "score",
            "photos",
            "--season",
            "season",
            "--px-per-mm",
            "40",
            "--no-pictures",
            "--out",
            out,
            "--tank",
            "P02",
            "--date",
            "2026-04-30",
        ]
    };
    let (code, said) = run(dir.path(), None, &score("first"));
    assert_ne!(code, 1, "{said}");
    let photographs_kept = |name: &str| {
        let (code, said) = run(dir.path(), None, &["season", "export", name, "--season", "season"]);
        assert_eq!(code, 0, "{said}");
        let table = std::fs::read_to_string(dir.path().join(name).join("photographs.csv")).unwrap();
        table.lines().count() - 1
    };
    assert_eq!(photographs_kept("before"), 1);
    photographs(dir.path(), &[OTHER]);
    // Room for the tables, none for the ledger.
    let ledger = std::fs::metadata(dir.path().join("season/season.sqlite")).unwrap().len() / 1024;
    let tables = files(&dir.path().join("first")).values().map(Vec::len).max().unwrap() as u64 / 1024;
    assert!(tables * 3 < ledger, "the tables of two photographs must fit where the ledger does not");
    let mut full = 0;
    for limit in [tables * 3, ledger - 1] {
        let (code, said) = run(dir.path(), Some(limit), &score("full"));
        if code == 0 || code == 2 {
            // A journal of its own may have had the room.
            continue;
        }
        full += 1;
        assert!(said.contains("error: ") && said.contains("hint: "), "{said}");
        let (code, said) = run(dir.path(), None, &["season", "check", "--season", "season"]);
        assert_eq!(code, 0, "{said}");
        assert_eq!(photographs_kept(&format!("at-{limit}")), 1, "half an act was kept");
    }
    assert!(full > 0, "no limit was reached");
    let _ = std::fs::remove_dir_all(dir.path().join("full"));
    run(dir.path(), None, &score("again"));
    assert_eq!(photographs_kept("after"), 2);
}

#[test]
fn reports_cards_exports_and_backups_are_whole_or_not_there() {
    let dir = tempfile::tempdir().unwrap();
    photographs(dir.path(), &[SAMPLE]);
    season(dir.path());
    let score = [
        "score",
        "photos",
        "--season",
        "season",
        "--px-per-mm",
        "40",
        "--no-pictures",
        "--out",
        "first",
        "--tank",
        "P02",
        "--date",
        "2026-04-30",
    ];
    let (code, said) = run(dir.path(), None, &score);
    assert_ne!(code, 1, "{said}");
    for (command, made) in [
        (&["report", "--season", "season", "--out", "made"][..], "made"),
        (&["season", "export", "made", "--season", "season"], "made"),
        (&["season", "backup", "made.sqlite", "--season", "season"], "made.sqlite"),
        (&["card", "--out", "made.pdf"], "made.pdf"),
        (&["card", "--out", "made.svg"], "made.svg"),
    ] {
        let made = dir.path().join(made);
        let (code, said) = run(dir.path(), None, command);
        assert_eq!(code, 0, "{command:?}: {said}");
        let whole = if made.is_dir() {
            files(&made)
        } else {
            [(PathBuf::new(), std::fs::read(&made).unwrap())].into()
        };
        let remove =
            || if made.is_dir() { std::fs::remove_dir_all(&made) } else { std::fs::remove_file(&made) };
        remove().unwrap();
        let before = files(dir.path());
        for limit in limits(&whole) {
            let (code, said) = run(dir.path(), Some(limit), command);
            assert!(code == 1 || code == 3, "{command:?} at {limit} KiB ended with {code}: {said}");
            assert!(said.contains("error: ") && said.contains("hint: "), "{command:?}: {said}");
            for (name, bytes) in files(dir.path()) {
                if before.contains_key(&name) {
                    continue;
                }
                // What is there of a report is whole.
                let within = name
                    .strip_prefix("made")
                    .unwrap_or_else(|_| panic!("{command:?} left {}", name.display()));
                let complete = whole.get(within).is_some_and(|w| w.len() == bytes.len());
                assert!(
                    complete,
                    "{command:?} at {limit} KiB left {} bytes of {}",
                    bytes.len(),
                    name.display()
                );
            }
            if made.exists() {
                remove().unwrap();
            }
        }
    }
}
