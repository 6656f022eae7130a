//! The morning report of a small season whose course is known.

use assert_cmd::Command;
use frygauge::ledger::{Act, ActKind, Ledger, ModelRef, Scored};
use frygauge::records::{Call, FishRow, PhotoRow, PhotoStatus, View, YesNo};
use jiff::civil::{Date, date};
use std::fs;
use std::path::Path;

const HATCH: Date = date(2026, 4, 20);

/// Inflated fish of 30 by tank and age; `None` is no sample.
fn inflated(tank: &str, dph: i64) -> Option<u32> {
    let good = [1, 3, 8, 15, 21, 25, 27, 28];
    let at = usize::try_from(dph - 4).unwrap();
    match tank {
        // Stands still from 7 dph on.
        "P07" => Some([1, 3, 7, 7, 7, 7, 8, 8][at]),
        // A little below every day.
        "P10" => Some([0, 1, 4, 7, 10, 13, 17, 20][at]),
        // Last sampled at 8 dph.
        "P04" if dph > 8 => None,
        _ => Some(good[at]),
    }
}

fn season(dir: &Path) {
    let settings = "[hatchery]\nname = \"Brackenmere & Sons <test>\"\nspecies = \"pikeperch\"\ntreatments = [\"sprayer\"]\n\
        expected_inflation = [{ dph = 4, low = 0.0, high = 0.1 }, { dph = 7, low = 0.4, high = 0.7 }, \
        { dph = 11, low = 0.8, high = 0.98 }]\n";
    let tanks = "tank,hatch_date,stocked_date,stocked_number,temperature_c,sprayer\n\
        P01,2026-04-20,2026-04-21,1000,17,mid\nP04,2026-04-20,2026-04-21,1000,17,mid\n\
        P07,2026-04-20,2026-04-21,1000,17,wall\nP10,2026-04-20,2026-04-21,1000,17,none\n";
    let events = "date,time,tank,what,value,number,note,who\n\
        2026-04-28,10:40,P07,sprayer moved,mid,,,MR\n2026-04-29,,P01,deaths counted,,100,,JT\n2026-04-30,,P01,deaths counted,,100,,JT\n";
    for (name, text) in [("frygauge.toml", settings), ("tanks.csv", tanks), ("events.csv", events)] {
        fs::write(dir.join(name), text).unwrap();
    }
    let mut ledger = Ledger::create(&dir.join("season.sqlite")).unwrap();
    let model = ModelRef { name: "test-1".into(), sha256: "0".repeat(64) };
    let mut act = Act::now("AK", ActKind::Score, "");
    for (t, tank) in ["P01", "P04", "P07", "P10"].into_iter().enumerate() {
        for dph in 4..=11 {
            let Some(gas) = inflated(tank, dph) else { continue };
            let on = HATCH.checked_add(jiff::ToSpan::days(dph)).unwrap();
            let photo = photo(&format!("{tank}/{on}.jpg"), t as i64 * 100 + dph);
            let fish: Vec<FishRow> = (0..30).map(|n| fish(&photo, n, n < gas, dph as f64)).collect();
            let scored = Scored { photo: &photo, tank, date: on, fish: &fish, model: &model };
            ledger.record(&mut act, &scored).unwrap();
        }
    }
}

fn photo(name: &str, n: i64) -> PhotoRow {
    PhotoRow {
        photo: name.into(),
        sha256: format!("{n:064x}"),
        status: PhotoStatus::Scored,
        reason: String::new(),
        width_px: Some(1200),
        height_px: Some(900),
        lighting: None,
        mm_per_px: Some(0.04),
        mm_per_px_se: None,
        scale_source: Some("tags".into()),
        fish: 30,
        sharpness: None,
        flags: String::new(),
        seconds: None,
    }
}

fn fish(photo: &PhotoRow, n: u32, gas: bool, dph: f64) -> FishRow {
    // Lengths spread evenly about 4 + 0.4 mm a day.
    let mm = 4.0 + 0.4 * dph + (f64::from(n) - 14.5) * 0.02;
    let px = mm / 0.04;
    FishRow {
        photo: photo.photo.clone(),
        tank: None,
        date: None,
        age_dph: None,
        fish: n + 1,
        x_px: 300.0,
        y_px: 25.0 * f64::from(n),
        snout_x_px: 300.0 - 0.5 * px,
        snout_y_px: 25.0 * f64::from(n),
        tail_x_px: 300.0 + 0.5 * px,
        tail_y_px: 25.0 * f64::from(n),
        total_length_px: px,
        total_length_mm: Some(mm),
        total_length_se_mm: None,
        depth_mm: None,
        view: View::Side,
        call: if gas { Call::Inflated } else { Call::NotInflated },
        p_inflated: None,
        bladder_position: None,
        bladder_length_mm: None,
        bladder_height_mm: None,
        use_length: YesNo::Yes,
        use_call: YesNo::Yes,
        flags: String::new(),
        vessel: None,
        caller: "model".into(),
        head_depth_mm: None,
    }
}

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
    season(dir.path());
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
    season(dir.path());
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
    season(dir.path());
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
    season(dir.path());
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
    season(dir.path());
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
