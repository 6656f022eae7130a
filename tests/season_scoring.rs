//! `score --season` and `watch --season` as a person runs them: what reaches the ledger, what is left out and said, and
//! what the decision commands then know of the tanks.

use assert_cmd::Command;
use predicates::prelude::*;
use std::fs;
use std::path::{Path, PathBuf};
use tempfile::TempDir;

const PHOTO: &str = "P05-light-pad-02.jpg";

fn sample_image() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-images").join(PHOTO)
}

fn frygauge(dir: &Path, args: &[&str]) -> Command {
    let mut command = Command::new(assert_cmd::cargo::cargo_bin!("frygauge"));
    command.current_dir(dir).args(args);
    command
}

/// A season of two tanks, 3,000 fry stocked in P05, and a photograph of P05 in a folder that says so.
fn bench() -> TempDir {
    let dir = tempfile::tempdir().unwrap();
    frygauge(dir.path(), &["season", "new", "season", "--name", "Brackenmere"]).assert().success();
    fs::write(
        dir.path().join("season/tanks.csv"),
        "tank,hatch_date,stocked_date,stocked_number,volume_l,screen_mm,sprayer,notes\n\
         P05,2026-04-20,2026-04-22,3000,250,0.5,wall,\nP06,2026-04-20,,,,,mid,\n",
    )
    .unwrap();
    fs::write(
        dir.path().join("season/events.csv"),
        "date,time,tank,what,value,number,note,who\n2026-04-28,,P05,deaths counted,,240,,AK\n\
         2026-04-29,,P05,deaths counted,,60,,AK\n",
    )
    .unwrap();
    let day = dir.path().join("photos/P05/2026-04-30");
    fs::create_dir_all(&day).unwrap();
    fs::copy(sample_image(), day.join(PHOTO)).unwrap();
    dir
}

/// Rows of a table of the season's export.
fn exported(dir: &Path, name: &str, table: &str) -> Vec<csv::StringRecord> {
    frygauge(dir, &["season", "export", name, "--season", "season"]).assert().success();
    let mut reader = csv::Reader::from_path(dir.join(name).join(table)).unwrap();
    reader.records().map(Result::unwrap).collect()
}

#[test]
fn scored_photographs_reach_the_ledger_once_and_the_commands_know_the_survivors() {
    let dir = bench();
    let score = |out: &str| {
        let args = ["score", "photos", "--season", "season", "--by", "AK", "--px-per-mm", "32", "--out", out];
        frygauge(dir.path(), &args).assert()
    };
    score("first")
        .success()
        .stderr(predicate::str::contains("season: 1 photographs recorded, 0 were recorded before"));
    score("again")
        .success()
        .stderr(predicate::str::contains("season: 0 photographs recorded, 1 were recorded before"));
    let fish = fs::read_to_string(dir.path().join("first/fish.csv")).unwrap();
    let kept = exported(dir.path(), "export", "fish.csv");
    assert_eq!(kept.len(), fish.lines().count() - 1);
    // Ages come from the register.
    assert!(
        fish.lines().nth(1).unwrap().contains(",10,") || fish.lines().nth(1).unwrap().contains(",10.0,"),
        "{fish}"
    );
    // 3,000 stocked less 300 deaths, not 3,000.
    let told = frygauge(dir.path(), &["grade", "--season", "season", "--spacing", "0.8", "--json"])
        .assert()
        .success();
    let told: serde_json::Value = serde_json::from_slice(&told.get_output().stdout).unwrap();
    let split = &told[0]["advice"]["splits"][0];
    let both = ["retained", "passed"].map(|side| split[side]["fish"]["value"].as_f64().unwrap());
    assert!((both[0] + both[1] - 2700.0).abs() < 1e-6, "{both:?}");
    // The report shows the same tank, its screen and its spread, on the page and in its tables.
    frygauge(dir.path(), &["report", "--season", "season", "--out", "report"])
        .assert()
        .success()
        .stdout(predicate::str::contains("cannot tell"));
    let page = fs::read_to_string(dir.path().join("report/report.html")).unwrap();
    assert!(page.contains("What the sizes say") && page.contains("0.5 mm"));
    let json: serde_json::Value =
        serde_json::from_slice(&fs::read(dir.path().join("report/report.json")).unwrap()).unwrap();
    assert_eq!(json["size"]["tanks"][0]["tank"], "P05");
    assert!(fs::read_to_string(dir.path().join("report/size.csv")).unwrap().contains("P05"));
    assert!(fs::read_to_string(dir.path().join("report/screens.csv")).unwrap().contains(",0.5,"));
}

#[test]
fn what_does_not_fit_the_register_is_scored_and_left_out_of_the_ledger() {
    let dir = bench();
    let day = dir.path().join("photos/P77/2026-04-30");
    fs::create_dir_all(&day).unwrap();
    fs::rename(dir.path().join("photos/P05/2026-04-30").join(PHOTO), day.join(PHOTO)).unwrap();
    let args = ["score", "photos", "--season", "season", "--px-per-mm", "32"];
    frygauge(dir.path(), &args).assert().code(2).stderr(
        predicate::str::contains("tank P77 is not registered")
            .and(predicate::str::contains("0 photographs recorded"))
            .and(predicate::str::contains("1 left out")),
    );
    assert!(dir.path().join("results/fish.csv").exists());
    assert!(exported(dir.path(), "export", "fish.csv").is_empty());
}

#[test]
fn watch_records_what_arrives_in_the_season() {
    let dir = bench();
    let args = [
        "watch",
        "photos",
        "--season",
        "season",
        "--by",
        "AK",
        "--px-per-mm",
        "32",
        "--idle",
        "4",
        "--out",
        "live",
    ];
    frygauge(dir.path(), &args)
        .assert()
        .success()
        .stderr(predicate::str::contains("season: 1 photographs recorded"));
    let fish = fs::read_to_string(dir.path().join("live/fish.csv")).unwrap();
    let kept = exported(dir.path(), "export", "fish.csv");
    assert_eq!(kept.len(), fish.lines().count() - 1);
    assert!(!kept.is_empty());
}
