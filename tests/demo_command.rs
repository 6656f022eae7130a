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
