//! `frygauge season` as a person runs it.

use assert_cmd::Command;
use predicates::prelude::*;
use std::fs;
use std::path::Path;

fn frygauge(args: &[&str]) -> Command {
    let mut command = Command::new(assert_cmd::cargo::cargo_bin!("frygauge"));
    command.args(args);
    command
}

fn made(dir: &Path) -> String {
    let season = dir.join("season").display().to_string();
    let args =
        ["season", "new", &season, "--name", "Brackenmere", "--tanks", "P01,P02", "--hatch", "2026-04-20"];
    frygauge(&args).assert().success().stdout("");
    season
}

#[test]
fn a_new_season_is_sound_and_is_never_made_twice() {
    let dir = tempfile::tempdir().unwrap();
    let season = made(dir.path());
    frygauge(&["season", "check", "--season", &season])
        .assert()
        .success()
        .stdout(format!("{season}: sound\n"));
    let before = fs::read(dir.path().join("season/tanks.csv")).unwrap();
    frygauge(&["season", "new", &season]).assert().code(1).stderr(
        predicate::str::contains("there is a season here already").and(predicate::str::contains("hint:")),
    );
    assert_eq!(fs::read(dir.path().join("season/tanks.csv")).unwrap(), before);
}

#[test]
fn the_current_folder_and_the_settings_name_the_season() {
    let dir = tempfile::tempdir().unwrap();
    let season = made(dir.path());
    frygauge(&["season", "check"]).current_dir(&season).assert().success();
    fs::write(dir.path().join("frygauge.toml"), "season = \"season\"\n").unwrap();
    frygauge(&["season", "check"]).current_dir(dir.path()).assert().success().stdout("season: sound\n");
    let elsewhere = tempfile::tempdir().unwrap();
    frygauge(&["season", "check"])
        .current_dir(elsewhere.path())
        .assert()
        .code(1)
        .stderr(predicate::str::contains("no season folder given"));
}

#[test]
fn check_names_every_mistake_of_the_register() {
    let dir = tempfile::tempdir().unwrap();
    let season = made(dir.path());
    fs::write(dir.path().join("season/tanks.csv"), "tank;hatch_date\nP01;20.04.2026\nP01;2026-04-20\n")
        .unwrap();
    frygauge(&["season", "check", "--season", &season])
        .assert()
        .code(2)
        .stdout(format!("{season}: 2 things to put right\n"))
        .stderr(
            predicate::str::contains("row 2, column hatch_date")
                .and(predicate::str::contains("row 3, column tank")),
        );
}

#[test]
fn backup_and_export_write_whole_and_new_only() {
    let dir = tempfile::tempdir().unwrap();
    let season = made(dir.path());
    let at = |name: &str| dir.path().join(name).display().to_string();
    for (command, to) in [("backup", at("copy.sqlite")), ("export", at("export"))] {
        frygauge(&["season", command, &to, "--season", &season]).assert().success();
        frygauge(&["season", command, &to, "--season", &season])
            .assert()
            .code(1)
            .stderr(predicate::str::contains("already exists"));
    }
    assert!(dir.path().join("export/fish.csv").exists() && dir.path().join("export/season.json").exists());
    frygauge(&["season", "merge", &at("copy.sqlite"), "--season", &season])
        .assert()
        .success()
        .stderr(predicate::str::contains("0 photographs"));
}

#[test]
fn a_ledger_that_is_none_is_named() {
    let dir = tempfile::tempdir().unwrap();
    let season = made(dir.path());
    fs::write(dir.path().join("season/season.sqlite"), "tank,date\n").unwrap();
    frygauge(&["season", "check", "--season", &season])
        .assert()
        .code(1)
        .stderr(predicate::str::contains("not an SQLite file").and(predicate::str::contains("hint:")));
}
