//! `frygauge demo`: what it writes, and that it leaves what is there alone.

use assert_cmd::Command;
use predicates::prelude::*;
use std::fs;

fn frygauge() -> Command {
    Command::new(assert_cmd::cargo::cargo_bin!("frygauge"))
}

#[test]
fn a_day_of_the_season_has_photographs_truth_and_a_sound_register() {
    let temp = tempfile::tempdir().unwrap();
    let dir = temp.path().join("brackenmere");
    frygauge().arg("demo").arg(&dir).args(["--days", "1", "--no-score"]).assert().success();
    let truth = fs::read_to_string(dir.join("truth.csv")).unwrap();
    for tank in 1..=12 {
        let photo = format!("P{tank:02}/2026-04-24.jpg");
        assert!(dir.join("photographs").join(&photo).exists(), "{photo}");
        assert!(truth.lines().filter(|l| l.starts_with(&photo)).count() >= 27, "{photo}");
    }
    frygauge().args(["season", "check", "--season"]).arg(dir.join("season")).assert().success();
    assert!(fs::read_to_string(dir.join("README.md")).unwrap().contains("rendered"));
}

/// The first day from drawing to the morning report: twelve photographs drawn, scored, recorded and reported.
#[test]
fn a_day_of_the_season_is_scored_recorded_and_reported() {
    let temp = tempfile::tempdir().unwrap();
    let dir = temp.path().join("brackenmere");
    let ran = frygauge().arg("demo").arg(&dir).args(["--days", "1"]).assert().success();
    let (said, notes) = (ran.get_output().stdout.clone(), ran.get_output().stderr.clone());
    let (said, notes) = (String::from_utf8(said).unwrap(), String::from_utf8(notes).unwrap());
    // The report's tanks, and not the tables of every step before it.
    assert_eq!(said.matches("\nP01 ").count(), 2, "{said}");
    assert!(said.lines().chain(notes.lines()).all(|l| l.chars().count() <= 80), "{said}{notes}");
    assert!(notes.contains("season: 12 photographs recorded") && notes.contains("report.html"), "{notes}");
    frygauge().args(["season", "check", "--season"]).arg(dir.join("season")).assert().success();
    let page = fs::read_to_string(dir.join("report/report.html")).unwrap();
    assert!(page.contains("Brackenmere Hatchery (invented)") && page.contains("What the sizes say"));
    let truth = fs::read_to_string(dir.join("truth.csv")).unwrap().lines().count() - 1;
    let found = fs::read_to_string(dir.join("results/fish.csv")).unwrap().lines().count() - 1;
    assert!(found.abs_diff(truth) * 10 < truth, "{found} fish found of {truth} drawn");
}

#[test]
fn a_folder_that_holds_something_is_left_alone() {
    let temp = tempfile::tempdir().unwrap();
    fs::write(temp.path().join("mine.txt"), "kept").unwrap();
    frygauge()
        .arg("demo")
        .arg(temp.path())
        .assert()
        .code(1)
        .stderr(predicate::str::contains("not empty").and(predicate::str::contains("hint:")));
    assert_eq!(fs::read_dir(temp.path()).unwrap().count(), 1);
}
