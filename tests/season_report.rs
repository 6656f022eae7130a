//! The morning report of a small season whose course is known.

#[path = "support/season.rs"]
mod season_of_four;

use assert_cmd::Command;
use frygauge::ledger::Ledger;
use std::fs;
use std::path::Path;

fn report(dir: &Path, more: &[&str]) -> (String, serde_json::Value) {
    let out = dir.join("out");
    let mut command = Command::new(assert_cmd::cargo::cargo_bin!("frygauge"));
    command.args(["report", "--season", dir.to_str().unwrap(), "--out", out.to_str().unwrap()]).args(more);
    let done = command.assert().success();
    let said = String::from_utf8(done.get_output().stdout.clone()).unwrap();
    (said, serde_json::from_slice(&fs::read(out.join("report.json")).unwrap()).unwrap())
}

#[test]
fn the_order_and_the_reasons_are_those_of_the_rules() {
    let dir = tempfile::tempdir().unwrap();
    season_of_four::season(dir.path());
    let (said, json) = report(dir.path(), &[]);
    let tanks: Vec<(&str, &str)> = json["tanks"]
        .as_array()
        .unwrap()
        .iter()
        .map(|t| (t["tank"].as_str().unwrap(), t["attention"].as_str().unwrap()))
        .collect();
    assert_eq!(
        tanks,
        [("P07", "below the band"), ("P10", "drifting below"), ("P04", "no sample"), ("P01", "")]
    );
    // 8 of 30 with Wilson limits 14-44 %; the band at 11 dph is as typed.
    assert!(said.contains("P07: below the band: 27 % (14-44) at 11 dph"), "{said}");
    assert!(said.contains("P04: no sample:"), "{said}");
    assert!(said.lines().all(|l| l.chars().count() <= 80), "{said}");
    let first = &json["tanks"][3];
    // 28 of 30 after 25 of 30 two days before: Newcombe's limits of the difference hold zero.
    assert_eq!((first["tank"].as_str(), first["trend"].as_str()), (Some("P01"), Some("not_told_apart")));
    assert_eq!(first["alive"], 800);
    // Deaths were last counted at 10 dph, when 27 of 30 held gas.
    assert!((first["viability"].as_f64().unwrap() - 0.8 * 27.0 / 30.0).abs() < 1e-12);
    assert!((first["growth_mm_per_day"].as_f64().unwrap() - 0.4).abs() < 1e-9);
}

#[test]
fn an_earlier_day_is_reported_as_it_was_then() {
    let dir = tempfile::tempdir().unwrap();
    season_of_four::season(dir.path());
    let (_, json) = report(dir.path(), &["--date", "2026-04-28"]);
    assert!(json["days"].as_array().unwrap().iter().all(|d| d["date"].as_str().unwrap() <= "2026-04-28"));
    let of = |tank: &str| {
        let all = json["tanks"].as_array().unwrap();
        all.iter().find(|t| t["tank"] == tank).unwrap()["attention"].as_str().unwrap().to_owned()
    };
    assert_eq!((of("P04").as_str(), of("P01").as_str()), ("", ""));
    assert!(of("P07").starts_with("below the band"), "{}", of("P07"));
}

#[test]
fn the_page_stands_alone_and_every_chart_is_described() {
    let dir = tempfile::tempdir().unwrap();
    season_of_four::season(dir.path());
    report(dir.path(), &[]);
    let page = fs::read_to_string(dir.path().join("out/report.html")).unwrap();
    // A namespace is a name, not an address that is fetched.
    let fetched = page.replace("xmlns=\"http://www.w3.org/2000/svg\"", "");
    for word in ["http:", "https:", "<script", "<link", "src=", "@import", "url("] {
        assert!(!fetched.contains(word), "{word}");
    }
    let charts = page.matches("<svg").count();
    assert!(charts > 3 * 4, "{charts}");
    assert_eq!(page.matches("<title id=").count(), charts);
    assert_eq!(page.matches("<desc id=").count(), charts);
    assert_eq!(page.matches("<summary>Numbers</summary>").count(), charts);
    assert!(
        page.contains("Brackenmere &#38; Sons &#60;test&#62;")
            || page.contains("Brackenmere &amp; Sons &lt;test&gt;")
    );
    let targets: Vec<&str> =
        page.split("href=\"#").skip(1).filter_map(|rest| rest.split('"').next()).collect();
    assert!(!targets.is_empty());
    for target in targets {
        assert!(page.contains(&format!("id=\"{target}\"")), "{target}");
    }
    // The simulated rates are those of the file, not typed into the page.
    assert!(frygauge::season::attention::RATES.lines().count() > 8);
    assert!(page.contains("20000 tanks of 14 daily samples"));
}

#[test]
fn tables_have_a_header_for_every_cell_and_the_same_report_twice_has_the_same_bytes() {
    let dir = tempfile::tempdir().unwrap();
    season_of_four::season(dir.path());
    report(dir.path(), &[]);
    let read = |name: &str| fs::read(dir.path().join("out").join(name)).unwrap();
    for (name, rows) in [("tanks.csv", 4), ("days.csv", 29)] {
        let mut csv = csv::Reader::from_path(dir.path().join("out").join(name)).unwrap();
        assert_eq!(csv.records().map(Result::unwrap).count(), rows, "{name}");
    }
    let mut csv = csv::Reader::from_path(dir.path().join("out/days.csv")).unwrap();
    let header = csv.headers().unwrap().clone();
    let first = csv.records().next().unwrap().unwrap();
    let cell = |name: &str| first[header.iter().position(|h| h == name).unwrap()].to_owned();
    assert_eq!(
        (cell("tank"), cell("date"), cell("age_dph")),
        ("P01".into(), "2026-04-24".into(), "4.0".into())
    );
    assert_eq!(
        (cell("degree_days"), cell("band_low"), cell("calls_by_people")),
        ("68.0".into(), "0.0".into(), "0".into())
    );
    let before: Vec<_> = ["report.html", "tanks.csv", "days.csv", "report.json"].map(read).into();
    report(dir.path(), &[]);
    assert_eq!(before, ["report.html", "tanks.csv", "days.csv", "report.json"].map(read));
}

#[test]
fn a_season_without_samples_says_what_to_do() {
    let dir = tempfile::tempdir().unwrap();
    season_of_four::season(dir.path());
    fs::remove_file(dir.path().join("season.sqlite")).unwrap();
    drop(Ledger::create(&dir.path().join("season.sqlite")).unwrap());
    let mut command = Command::new(assert_cmd::cargo::cargo_bin!("frygauge"));
    command.args(["report", "--season", dir.path().to_str().unwrap()]);
    command.assert().code(1).stderr(predicates::str::contains("no photograph has been scored"));
}

/// The time course of mandarin fish in the literature: 713 larvae, 27.59 % inflated at 5 dph and 86.21 % at
/// 11 dph; both shares need 29 larvae or a multiple of it (8 of 29, 25 of 29). A logistic course through two
/// ages must give both back, and half inflated between them.
#[test]
fn a_logistic_course_gives_a_published_one_back() {
    use frygauge::stats::Level;
    use frygauge::stats::logistic::{Link, curve};
    let fit = curve(&[5.0, 11.0], &[8.0, 25.0], &[29.0, 29.0], Link::Logit).unwrap();
    let share = |t: f64| 100.0 * Link::Logit.mean(fit.coefficients[0] + fit.coefficients[1] * t);
    assert!((share(5.0) - 27.59).abs() < 0.005, "{}", share(5.0));
    assert!((share(11.0) - 86.21).abs() < 0.005, "{}", share(11.0));
    let logit = |p: f64| (p / (1.0 - p)).ln();
    let expected = 5.0 - logit(8.0 / 29.0) * 6.0 / (logit(25.0 / 29.0) - logit(8.0 / 29.0));
    let t50 = fit.reaches(0.5, Level::P95).unwrap();
    assert!((t50.x - expected).abs() < 1e-6, "{} against {expected}", t50.x);
    assert!(t50.interval.is_some_and(|i| 5.0 < i.low && i.high < 11.0), "{t50:?}");
}
