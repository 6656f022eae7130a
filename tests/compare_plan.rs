//! The commands `compare` and `plan` as a person types them: words, exit codes, files.

#[path = "ledger/world.rs"]
#[allow(dead_code, reason = "shared with the ledger's tests, which use all of it")]
mod world;

use assert_cmd::Command;
use predicates::prelude::*;
use std::path::Path;

const SAMPLES: &str = "\
tank,date,age_dph,called,inflated,unsure,measured,mean_length_mm,sd_length_mm
P01,2026-04-29,9,50,46,3,50,6.21,0.42
P02,2026-04-29,9,48,44,1,47,6.33,0.45
P03,2026-04-29,9,50,47,2,50,6.02,0.40
P04,2026-04-29,9,52,45,0,50,6.11,0.39
P05,2026-04-29,9,50,30,4,50,5.83,0.52
P06,2026-04-29,9,49,26,2,48,5.74,0.55
P07,2026-04-29,9,50,35,1,50,5.99,0.47
P08,2026-04-29,9,50,38,2,50,6.05,0.50
";
const DESIGN: &str = "tank,arm\nP01,mid\nP02,mid\nP03,mid\nP04,mid\nP05,wall\nP06,wall\nP07,wall\nP08,wall\n";

fn frygauge(folder: &Path) -> Command {
    let mut command = Command::cargo_bin("frygauge").unwrap();
    command.current_dir(folder);
    command
}

fn folder(files: &[(&str, &str)]) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    for (name, text) in files {
        std::fs::write(folder.path().join(name), text).unwrap();
    }
    folder
}

#[test]
fn compare_prints_tanks_then_arms_then_a_sentence() {
    let dir = folder(&[("tanks.csv", SAMPLES), ("design.csv", DESIGN)]);
    let run = frygauge(dir.path())
        .args(["compare", ".", "--design", "design.csv", "--control", "wall"])
        .assert()
        .success();
    let text = String::from_utf8(run.get_output().stdout.clone()).unwrap();
    assert!(text.lines().all(|l| l.chars().count() <= 80), "{text}");
    let at = |needle: &str| text.find(needle).unwrap_or_else(|| panic!("no {needle} in\n{text}"));
    assert!(at("P01") < at("mean of tanks") && at("mean of tanks") < at("Tanks of arm mid inflated"));
    // Eight tanks in two arms of four: 2 of 70 splits.
    assert!(text.contains("can give is 0.029"), "{text}");
    // stderr is wrapped to the width of a terminal.
    let words = String::from_utf8(run.get_output().stderr.clone()).unwrap();
    let words: String = words.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.contains("survivors only"), "{words}");
}

#[test]
fn compare_writes_what_it_prints_as_json_csv_html_and_svg() {
    let dir = folder(&[("tanks.csv", SAMPLES), ("design.csv", DESIGN)]);
    let run = frygauge(dir.path())
        .args([
            "compare",
            "tanks.csv",
            "--design",
            "design.csv",
            "--order",
            "wall,mid",
            "--json",
            "--out",
            "out",
        ])
        .assert()
        .success();
    let json: serde_json::Value = serde_json::from_slice(&run.get_output().stdout).unwrap();
    assert_eq!(json["kind"], "doses");
    let difference = json["measures"][0]["contrasts"][0]["difference"].as_f64().unwrap();
    let read = |name: &str| std::fs::read_to_string(dir.path().join("out").join(name)).unwrap();
    assert_eq!(serde_json::from_str::<serde_json::Value>(&read("comparison.json")).unwrap(), json);
    let mut csv = csv::Reader::from_reader(std::io::Cursor::new(read("comparison.csv")));
    let rows: Vec<std::collections::BTreeMap<String, String>> =
        csv.deserialize().map(Result::unwrap).collect();
    assert_eq!(rows.len(), 2);
    assert!((rows[0]["difference"].parse::<f64>().unwrap() - difference).abs() < 1e-12);
    assert!(read("comparison-tanks.csv").lines().count() == 9);
    let (html, svg) = (read("comparison.html"), read("comparison.svg"));
    assert!(
        svg.contains("<title")
            && svg.contains("<desc")
            && html.contains("<svg")
            && html.contains("no difference")
    );
    assert!(!html.contains("http://") || html.contains("www.w3.org"), "the page needs nothing else");
}

#[test]
fn a_validation_set_corrects_and_a_bad_one_is_refused() {
    let dir = folder(&[
        ("tanks.csv", SAMPLES),
        ("design.csv", DESIGN),
        (
            "calls.csv",
            "truth,call,count\ninflated,inflated,95\ninflated,not_inflated,5\nnot_inflated,not_inflated,90\nnot_inflated,inflated,10\n",
        ),
        ("bad.csv", "truth,call\ninflated,maybe\n"),
    ]);
    frygauge(dir.path())
        .args(["compare", ".", "--design", "design.csv", "--validation", "calls.csv"])
        .assert()
        .success()
        .stdout(predicate::str::contains("Corrected for the caller's errors"));
    frygauge(dir.path())
        .args(["compare", ".", "--design", "design.csv", "--validation", "bad.csv"])
        .assert()
        .code(1)
        .stderr(predicate::str::contains("row 2, column call").and(predicate::str::contains("hint:")));
}

#[test]
fn bad_designs_and_tables_are_refused_with_place_and_hint() {
    for (design, samples, said) in [
        ("tank,arm\nP01,mid\nP01,wall\n", SAMPLES, "row 3, column tank"),
        ("tank,arm\nP01,mid\nP99,wall\n", SAMPLES, "tank P99 of the design has no sample"),
        ("tank,arm\nP01,\n", SAMPLES, "row 2, column arm"),
        ("tank,arm\n", SAMPLES, "names no tank"),
        ("tank\nP01\n", SAMPLES, "no column arm"),
        ("tank,arm\nP01,mid\nP02,mid\n", SAMPLES, "nothing to compare"),
        (DESIGN, "tank,called,inflated\nP01,NaN,4\n", "row 2, column called"),
        (DESIGN, "tank,called,inflated\nP01,3,4\n", "4 inflated of 3 called"),
    ] {
        let dir = folder(&[("tanks.csv", samples), ("design.csv", design)]);
        let run = frygauge(dir.path()).args(["compare", ".", "--design", "design.csv"]).assert().code(1);
        let words = String::from_utf8(run.get_output().stderr.clone()).unwrap();
        let joined: String = words.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(joined.contains(said) && joined.contains("hint:"), "{said}: {words}");
        assert!(run.get_output().stdout.is_empty());
    }
    let dir = folder(&[("design.csv", DESIGN)]);
    for args in [
        vec!["compare", "nowhere", "--design", "design.csv"],
        vec!["compare", ".", "--design", "design.csv"],
        vec!["compare", "."],
    ] {
        frygauge(dir.path()).args(&args).assert().code(1).stderr(predicate::str::contains("hint:"));
    }
}

#[test]
fn plan_answers_and_simulates_the_same_each_time() {
    let dir = folder(&[]);
    let run = |args: &[&str]| {
        let out = frygauge(dir.path()).args(args).assert().success();
        String::from_utf8(out.get_output().stdout.clone()).unwrap()
    };
    let text =
        run(&["plan", "--inflation", "0.75", "--hoped", "0.9", "--fish", "30", "--icc", "0", "--simulate"]);
    assert!(text.lines().all(|l| l.chars().count() <= 80), "{text}");
    assert!(text.contains("4 (yours)") && text.contains("never do"));
    assert_eq!(
        text,
        run(&["plan", "--inflation", "0.75", "--hoped", "0.9", "--fish", "30", "--icc", "0", "--simulate"])
    );
    assert!(run(&["plan"]).contains("an assumption"));
    let json: serde_json::Value =
        serde_json::from_str(&run(&["plan", "--json", "--icc", "0.1", "--out", "out"])).unwrap();
    assert_eq!(json["question"]["icc_source"]["from"], "given");
    assert!(dir.path().join("out/plan.svg").exists());
    for bad in [
        ["--inflation", "85"],
        ["--icc", "2"],
        ["--tanks", "1"],
        ["--half-width", "0"],
        ["--power", "1"],
        ["--level", "95"],
    ] {
        frygauge(dir.path()).arg("plan").args(bad).assert().code(1).stderr(predicate::str::contains("hint:"));
    }
}

/// Eight tanks of a season, twenty fish each; tanks of arm mid inflate more, and survivors were counted.
fn season() -> tempfile::TempDir {
    let dir = folder(&[]);
    frygauge(dir.path()).args(["season", "new", "season"]).assert().success();
    let season = dir.path().join("season");
    let (mut tanks, mut events) = (
        String::from("tank,hatch_date,stocked_date,stocked_number,sprayer\n"),
        String::from("date,time,tank,what,value,number,note,who\n"),
    );
    for i in 1..=8 {
        let arm = if i <= 4 { "mid" } else { "wall" };
        tanks += &format!("P0{i},2026-04-20,2026-04-21,8000,{arm}\n");
        events += &format!(
            "2026-04-28,,P0{i},survivors counted,,{},,AK\n",
            if i <= 4 { 5000 + i } else { 3000 + i }
        );
    }
    std::fs::write(season.join("tanks.csv"), tanks).unwrap();
    std::fs::write(season.join("events.csv"), events).unwrap();
    let mut ledger = frygauge::ledger::Ledger::open(&season.join("season.sqlite")).unwrap();
    let mut act = world::act("AK", frygauge::ledger::ActKind::Score, 1);
    for i in 1..=8u32 {
        let mut photo = world::photo(i, 20);
        photo.photo = format!("P0{i}/2026-04-29/1.jpg");
        let inflated = if i <= 4 { 17 + i % 3 } else { 9 + i % 4 };
        let fish: Vec<_> = (1..=20)
            .map(|n| {
                let mut f = world::fish(&photo, n, 0.0);
                f.tank = Some(format!("P0{i}"));
                f.call = if n <= inflated {
                    frygauge::records::Call::Inflated
                } else {
                    frygauge::records::Call::NotInflated
                };
                f
            })
            .collect();
        let tank = format!("P0{i}");
        let scored = frygauge::ledger::Scored {
            photo: &photo,
            tank: &tank,
            date: world::date("2026-04-29"),
            fish: &fish,
            model: &world::model("one"),
        };
        ledger.record(&mut act, &scored).unwrap();
    }
    dir
}

#[test]
fn a_season_is_compared_by_its_register_and_tells_plan_its_correlation() {
    let dir = season();
    let run = |args: &[&str]| {
        let out = frygauge(dir.path()).args(args).assert().success();
        serde_json::from_slice::<serde_json::Value>(&out.get_output().stdout).unwrap()
    };
    let json =
        run(&["compare", "--season", "season", "--by-column", "sprayer", "--control", "wall", "--json"]);
    assert_eq!(json["tanks"].as_array().unwrap().len(), 8);
    assert_eq!(json["tanks"][0]["after"]["age_dph"], 9.0);
    // By hand: mid 18, 19, 17, 18 of 20; wall 10, 11, 12, 9 of 20.
    let difference = json["measures"][0]["contrasts"][0]["difference"].as_f64().unwrap();
    assert!((difference - (0.9 - 0.525)).abs() < 1e-12, "{difference}");
    let viability = json["measures"].as_array().unwrap().iter().find(|m| m["measure"] == "viability");
    assert!(viability.is_some(), "stocked and counted fry give survival times inflation");
    let plan = run(&["plan", "--season", "season", "--json"]);
    assert_eq!(plan["question"]["icc_source"], serde_json::json!({"from": "season", "samples": 8}));
    frygauge(dir.path())
        .args(["compare", "--season", "season", "--by-column", "nozzle"])
        .assert()
        .code(1)
        .stderr(predicate::str::contains("treatment columns are sprayer"));
}
