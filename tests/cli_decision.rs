//! `grade`, `screen` and `growth` as a person runs them: what they say, at 80 columns, as JSON and CSV, and how
//! they refuse bad input.

use assert_cmd::Command;
use predicates::prelude::*;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use tempfile::TempDir;

/// Standard normal quantiles at (i + 1/2)/n, by the logistic approximation: enough for made-up fish.
fn spread(i: usize, n: usize) -> f64 {
    let u = (i as f64 + 0.5) / n as f64;
    (u / (1.0 - u)).ln() / 1.702
}

/// Invented fish: `n` a sample about `mean` mm, some 8 % of them 1.5 times as long when `ahead`.
fn fish(tank: &str, date: &str, n: usize, mean: f64, ahead: bool) -> String {
    let mut rows = String::new();
    for i in 0..n {
        let long = ahead && i % 12 == 0;
        let z = spread((i * 7919) % n, n);
        let length = mean * if long { 1.5 } else { 1.0 } * (0.08 * z).exp();
        let wobble = spread((i * 104_729 + 3) % n, n);
        let width = 0.10 * length.powf(1.05) * (0.04 * wobble).exp();
        let head = 0.11 * length.powf(0.85) * (0.03 * wobble).exp();
        let weight = 9.0e-6 * length.powf(3.0) * (0.1 * wobble).exp();
        let _ =
            writeln!(rows, "{tank},{date},{length:.3},{:.3},{width:.3},{head:.3},{weight:.5}", 1.3 * width);
    }
    rows
}

const HEADER: &str = "tank,date,length_mm,depth_mm,width_mm,head_width_mm,weight_g\n";

struct Bench {
    folder: TempDir,
}

impl Bench {
    fn new() -> Self {
        Self { folder: TempDir::new().unwrap() }
    }

    fn file(&self, name: &str, text: &str) -> PathBuf {
        let path = self.folder.path().join(name);
        std::fs::write(&path, text).unwrap();
        path
    }

    fn run(&self, args: &[&str]) -> Command {
        let mut command = Command::cargo_bin("frygauge").unwrap();
        command.current_dir(self.folder.path()).args(args);
        command
    }

    fn path(&self) -> &Path {
        self.folder.path()
    }
}

fn out(command: &mut Command) -> String {
    let output = command.output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).unwrap()
}

/// Text without its line ends: what is said must not hang on where a line was broken.
fn flat(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn says(text: &str, what: &str) -> bool {
    flat(text).contains(what)
}

fn fits_80_columns(text: &str) {
    for line in text.lines() {
        assert!(line.chars().count() <= 80, "{line}");
    }
}

fn season() -> String {
    [("2026-05-10", 10.0), ("2026-05-13", 11.4), ("2026-05-16", 13.1), ("2026-05-19", 14.9)]
        .iter()
        .fold(HEADER.to_owned(), |text, (date, mean)| text + &fish("P03", date, 200, *mean, false))
}

#[test]
fn grade_sets_the_grader_and_says_how_many_go_each_way() {
    let bench = Bench::new();
    bench.file("fish.csv", &(HEADER.to_owned() + &fish("P03", "2026-05-20", 240, 15.0, true)));
    bench.file(
        "counts.csv",
        "width_mm,retained,passed\n1.3,0,40\n1.5,6,54\n1.7,24,36\n1.9,45,12\n2.1,40,1\n2.3,22,0\n",
    );
    let args = [
        "grade",
        "fish.csv",
        "--spacing",
        "1.4,1.6,1.8,2.0,2.2",
        "--remove-largest",
        "10%",
        "--counts",
        "counts.csv",
        "--counted-at",
        "1.75",
        "--tank-fish",
        "3000,2500,3600",
        "--out",
        "decided",
    ];
    let text = out(&mut bench.run(&args));
    fits_80_columns(&text);
    assert!(says(&text, "advice: set") && says(&text, "fish retained ("), "{text}");
    assert!(says(&text, "a second group of longer fish"), "{text}");
    assert!(says(&text, "tail-first attacks"));
    let csv = std::fs::read_to_string(bench.path().join("decided/grade.csv")).unwrap();
    assert_eq!(csv.lines().count(), 6);
    assert!(std::fs::read_to_string(bench.path().join("decided/grade_P03.svg")).unwrap().starts_with("<svg"));
    let mut with_json = args.to_vec();
    with_json.push("--json");
    let told: serde_json::Value = serde_json::from_str(&out(&mut bench.run(&with_json))).unwrap();
    let split = &told[0]["advice"]["splits"][2];
    let share = |key: &str| split["retained"]["share"][key].as_f64().unwrap();
    assert!(share("low") < share("value") && share("value") < share("high"));
    let both = split["retained"]["share"]["value"].as_f64().unwrap()
        + split["passed"]["share"]["value"].as_f64().unwrap();
    assert!((both - 1.0).abs() < 1e-12);
    assert_eq!(told[0]["cannibals"]["second_mode"]["verdict"]["verdict"], "found");
}

#[test]
fn grade_says_not_yet_and_why() {
    let bench = Bench::new();
    bench.file("few.csv", &(HEADER.to_owned() + &fish("P01", "2026-05-20", 12, 15.0, false)));
    bench.file("fish.csv", &(HEADER.to_owned() + &fish("P01", "2026-05-20", 200, 15.0, false)));
    let text = out(&mut bench.run(&["grade", "few.csv", "--split", "even"]));
    assert!(
        says(&text, "do not grade yet: 12 fish are too few") && says(&text, "cannot tell from 12 fish"),
        "{text}"
    );
    let text = out(&mut bench.run(&["grade", "fish.csv", "--split", "even", "--handling-length", "14"]));
    assert!(says(&text, "shorter than the handling length of 14 mm"), "{text}");
    // A split that goes by nothing: as many kept of each size.
    bench.file("counts.csv", "width_mm,retained,passed\n1.3,20,19\n1.6,21,20\n1.9,20,21\n");
    let args = ["grade", "fish.csv", "--split", "even", "--counts", "counts.csv", "--counted-at", "1.6"];
    assert!(says(&out(&mut bench.run(&args)), "not better than chance"));
    // Finer and coarser than every fish: said, not hidden.
    let text = out(&mut bench.run(&["grade", "fish.csv", "--spacing", "0.5,1.6,9"]));
    assert!(says(&text, "finer than every fish") && says(&text, "coarser than every fish"), "{text}");
    fits_80_columns(&text);
}

#[test]
fn screen_promises_only_what_the_sample_can_keep() {
    let bench = Bench::new();
    bench.file("forty.csv", &(HEADER.to_owned() + &fish("P02", "2026-05-20", 40, 15.0, false)));
    let text = out(&mut bench.run(&["screen", "forty.csv", "--mesh", "400um,500um,1mm"]));
    fits_80_columns(&text);
    assert!(says(&text, "0 of 40") && says(&text, "7.2 %") && says(&text, "cannot tell"), "{text}");
    assert!(says(&text, "299, none of them small enough, would promise 1 %"), "{text}");
    bench.file("season.csv", &season());
    let args =
        ["screen", "season.csv", "--mesh", "0.5,0.63mm,0.8,1.0,4", "--promise", "2%", "--out", "decided"];
    let text = out(&mut bench.run(&args));
    fits_80_columns(&text);
    assert!(says(&text, "advice: 0.63 mm is safe") || says(&text, "advice: 0.8 mm is safe"), "{text}");
    assert!(says(&text, "2026-05-") || says(&text, "2026-06-"), "{text}");
    assert!(says(&text, "4 mm: every fish measured could pass"), "{text}");
    let csv = std::fs::read_to_string(bench.path().join("decided/screen.csv")).unwrap();
    assert_eq!(csv.lines().count(), 6);
    assert!(csv.lines().nth(1).unwrap().contains(",safe,"));
}

#[test]
fn growth_tells_rates_weight_and_treatments() {
    let bench = Bench::new();
    let mut text = season();
    for (tank, first, last) in [("P04", 10.0, 15.1), ("P05", 10.0, 12.9), ("P06", 10.1, 13.2)] {
        text += &fish(tank, "2026-05-10", 120, first, false);
        text += &fish(tank, "2026-05-19", 120, last, false);
    }
    bench.file("season.csv", &text);
    bench.file("tanks.csv", "tank,fish,fish_low,fish_high,volume_l,treatment\nP03,3000,2600,3400,250,mid\nP04,3000,,,250,mid\nP05,3100,,,250,wall\nP06,2900,,,250,wall\n");
    let said = out(&mut bench.run(&["growth", "season.csv", "--tanks", "tanks.csv", "--out", "decided"]));
    fits_80_columns(&said);
    assert!(says(&said, "growth: 0.5") && says(&said, "% a day"), "{said}");
    assert!(
        says(&said, "to the gram") && says(&said, "the tank") && says(&said, "12.0 fry to the litre"),
        "{said}"
    );
    assert!(says(&said, "mid against wall (2 and 2 tanks)") && says(&said, "two tanks in an arm"), "{said}");
    let csv = std::fs::read_to_string(bench.path().join("decided/growth.csv")).unwrap();
    assert!(csv.lines().count() == 5 && !csv.contains("NaN") && !csv.contains("inf"));
}

#[test]
fn preserved_fish_are_corrected_in_the_open_and_never_pooled() {
    let bench = Bench::new();
    bench.file("a.csv", "tank,date,length_mm,preserved\nP01,2026-05-10,14,formalin\nP01,2026-05-10,15,formalin\nP01,2026-05-10,16,\nP01,2026-05-12,15.5,formalin\nP01,2026-05-12,17,formalin\n");
    bench
        .run(&["growth", "a.csv"])
        .assert()
        .success()
        .stderr(predicate::str::contains("lengths as measured"));
    let args = ["growth", "a.csv", "--shrinkage", "herring-smelt-formalin-fey-2002"];
    let output = bench.run(&args).output().unwrap();
    let (said, notes) = (String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr));
    // Fey 2002: 0.910 · 14 + 2.695 and 0.910 · 15 + 2.695, mean 15.89; the fresh fish of 16 mm is not in it.
    assert!(says(&said, "15.89") && says(&said, "corrected by herring-smelt"), "{said}");
    assert!(notes.contains("corrected by herring-smelt"));
    bench
        .run(&["growth", "a.csv", "--shrinkage", "0.9"])
        .assert()
        .code(1)
        .stderr(predicate::str::contains("above 1"));
}

#[test]
fn bad_input_is_refused_with_its_place_and_a_hint() {
    let bench = Bench::new();
    bench.file("good.csv", &(HEADER.to_owned() + &fish("P01", "2026-05-20", 60, 15.0, false)));
    let cases: &[(&str, &str, &[&str], &[&str])] = &[
        (
            "negative.csv",
            "tank,length_mm\nP01,5\nP01,-4.2\n",
            &["grade"],
            &["negative.csv, row 3, column length_mm", "not above zero"],
        ),
        ("zero.csv", "tank,length_mm\nP01,0\n", &["growth"], &["row 2", "not above zero"]),
        (
            "units.csv",
            "tank,length_mm,length_cm\nP01,5,0.5\n",
            &["growth"],
            &["several columns hold a length", "units"],
        ),
        (
            "mixed.csv",
            "tank,length_mm\nP01,12.1\nP01,1.19\nP01,12.8\n",
            &["growth"],
            &["units seem to be mixed", "millimetres"],
        ),
        ("unnamed.csv", "tank,length\nP01,12.1\n", &["growth"], &["name the unit"]),
        (
            "words.csv",
            "tank,length_mm\nP01,long\n",
            &["growth"],
            &["row 2, column length_mm", "not a number"],
        ),
        ("none.csv", "tank,length_mm\nP01,\n", &["growth"], &["no fish with a length"]),
        (
            "lengths.csv",
            "tank,length_mm\nP01,12\nP01,13\n",
            &["screen", "--mesh", "500um"],
            &["neither heads nor depths"],
        ),
        ("lengths2.csv", "tank,length_mm\nP01,12\nP01,13\n", &["grade"], &["body depth was seen in 0 fish"]),
    ];
    for (name, text, command, wanted) in cases {
        bench.file(name, text);
        let mut args = command.to_vec();
        args.insert(1, name);
        refused(&bench, &args, wanted);
    }
    refused(
        &bench,
        &["grade", "good.csv", "--tank-fish", "20"],
        &["60 fish were measured", "check the number"],
    );
    refused(&bench, &["grade", "good.csv", "--safe-ratio", "0.8"], &["out of range", "ratio above 1"]);
    refused(&bench, &["grade", "good.csv", "--remove-largest", "10"], &["write 10%"]);
    refused(&bench, &["screen", "good.csv", "--mesh", "400"], &["400um if micrometres"]);
    refused(&bench, &["screen", "good.csv", "--mesh", "1mm", "--promise", "0%"], &["cannot be promised"]);
    refused(
        &bench,
        &["growth", "good.csv", "--weight", "no-such-fish"],
        &["no profile is called", "pikeperch-points"],
    );
    refused(
        &bench,
        &["growth", "good.csv", "--prey-rule", "nobody"],
        &["no profile is called nobody", "perch-brabrand-2001"],
    );
    refused(&bench, &["growth", "good.csv", "--tank", "P99"], &["no fish of tank P99"]);
    refused(&bench, &["growth", "absent.csv"], &["absent.csv", "cannot read"]);
    bench.file("counts.csv", "width_mm,retained,passed\n1.0,0,10\n2.0,10,0\n");
    refused(
        &bench,
        &["grade", "good.csv", "--counts", "counts.csv", "--counted-at", "1.5"],
        &["perfect split between 1 and 2", "counts.csv"],
    );
    bench.file("counts.csv", "width_mm,retained,passed\n1.0,10,90\n1.5,60,70\n2.0,80,10\n");
    let graded = ["grade", "good.csv", "--counts", "counts.csv", "--counted-at", "1.5", "--tank-fish", "200"];
    refused(&bench, &graded, &["320 fish were counted", "hold 200", "counts.csv"]);
    bench.file("counts.csv", "width_mm,retained,passed\n1.0,-3,90\n1.5,60,70\n");
    let graded = ["grade", "good.csv", "--counts", "counts.csv", "--counted-at", "1.5"];
    refused(&bench, &graded, &["counts.csv, row 2, column retained"]);
    bench.file("tanks.csv", "tank,fish,fish_low,fish_high\nP01,3000,3200,3600\n");
    refused(
        &bench,
        &["growth", "good.csv", "--tanks", "tanks.csv"],
        &["tanks.csv, row 2, column fish", "does not lie between its limits"],
    );
    // A shrinkage relation is not used beyond the lengths it was made from.
    bench.file("old.csv", "tank,length_mm,preserved\nP01,14,ethanol\nP01,15,ethanol\n");
    refused(
        &bench,
        &["growth", "old.csv", "--shrinkage", "winter-flounder-ethanol-1992"],
        &["14 mm lies outside winter-flounder-ethanol-1992 (2.75 to 8.58 mm)", "factor of your own"],
    );
    refused(&bench, &["growth", "good.csv", "--shrinkage", "1.05"], &["no fish are said to be preserved"]);
}

fn refused(bench: &Bench, args: &[&str], wanted: &[&str]) {
    let output = bench.run(args).output().unwrap();
    // Wrapped for the terminal: compare with line ends as spaces.
    let said = flat(&String::from_utf8_lossy(&output.stderr));
    assert_eq!(output.status.code(), Some(1), "{args:?}: {said}");
    assert!(
        output.stdout.is_empty() && said.contains("error:") && said.contains("hint:"),
        "{args:?}: {said}"
    );
    for w in wanted {
        assert!(said.contains(w), "{args:?}: wanted `{w}` in: {said}");
    }
}

#[test]
fn a_single_fish_and_equal_fish_get_limits_of_what_can_be_said() {
    let bench = Bench::new();
    bench.file("one.csv", "tank,date,length_mm,width_mm,head_width_mm\nP01,2026-05-20,14,1.5,1.1\n");
    let said = out(&mut bench.run(&["grade", "one.csv", "--split", "even"]));
    assert!(says(&said, "1 fish are too few"), "{said}");
    let said = out(&mut bench.run(&["screen", "one.csv", "--mesh", "0.5"]));
    assert!(says(&said, "cannot tell") && says(&said, "95 %"), "{said}");
    let equal = "P01,2026-05-20,14,1.5,1.1\n".repeat(120);
    bench.file("equal.csv", &format!("tank,date,length_mm,width_mm,head_width_mm\n{equal}"));
    let said = out(&mut bench.run(&["grade", "equal.csv", "--split", "even"]));
    assert!(says(&said, "hardly better than chance") && !says(&said, "NaN"), "{said}");
}

#[test]
fn weight_is_never_extrapolated() {
    let bench = Bench::new();
    bench.file("small.csv", "tank,date,length_mm\nP01,2026-05-20,14\nP01,2026-05-20,15\n");
    let said = out(&mut bench.run(&["growth", "small.csv", "--weight", "yellow-perch-pycha-smith-1955"]));
    assert!(says(&said, "2 of 2 fish lie outside the lengths of the weight law"), "{said}");
    let said = out(&mut bench.run(&["growth", "small.csv", "--weight", "pikeperch-points"]));
    assert!(says(&said, "to the gram"), "{said}");
}

/// A mouth or prey rule says nothing of fish outside the lengths it was made from.
#[test]
fn a_rule_of_prey_is_silent_outside_its_lengths() {
    let bench = Bench::new();
    bench
        .file("small.csv", "tank,date,length_mm\nP01,2026-05-20,6.1\nP01,2026-05-20,7\nP01,2026-05-20,9.8\n");
    let said = out(&mut bench.run(&["growth", "small.csv"]));
    assert!(
        says(&said, "perch-brabrand-2001 says nothing of these lengths: it holds for 10.3 to 62 mm"),
        "{said}"
    );
}

/// A stray millimetre read off a photograph must not cost a tank its growth; a typed one is refused as a unit mixed up.
#[test]
fn a_fragment_on_a_photograph_is_left_out_and_said() {
    let bench = Bench::new();
    let rows = |photo: &str| {
        let mut text = format!("{photo}tank,date,length_mm\n");
        for (day, mean) in [(10, 9.0), (12, 10.0), (14, 11.0)] {
            for i in 0..12 {
                let lead = if photo.is_empty() { "" } else { "a.jpg," };
                let _ = writeln!(text, "{lead}P02,2026-05-{day},{}", mean + 0.1 * f64::from(i));
            }
        }
        text + if photo.is_empty() { "P02,2026-05-12,0.98\n" } else { "a.jpg,P02,2026-05-12,0.98\n" }
    };
    bench.file("read.csv", &rows("photo,"));
    let output = bench.run(&["growth", "read.csv"]).output().unwrap();
    assert!(says(&String::from_utf8_lossy(&output.stdout), "growth: 0.5"));
    let warned = flat(&String::from_utf8_lossy(&output.stderr));
    assert!(warned.contains("left out for advice on sizes") && warned.contains("1.0 mm"), "{warned}");
    bench.file("typed.csv", &rows(""));
    refused(&bench, &["growth", "typed.csv"], &["units seem to be mixed"]);
}

/// `fish.csv` holds depth or width in one column, by the view; lengths that do not count stay out.
#[test]
fn a_results_folder_is_read_by_its_views() {
    let bench = Bench::new();
    let mut text = String::from("photo,tank,date,total_length_mm,depth_mm,view,use_length,head_depth_mm\n");
    for i in 0..120 {
        let length = 12.0 + 0.02 * f64::from(i);
        let (view, size) = if i % 2 == 0 { ("side", 0.13) } else { ("top", 0.10) };
        let wobble = 1.0 + 0.01 * f64::from(i % 5);
        let _ = writeln!(
            text,
            "a.jpg,P07,2026-05-20,{length},{:.3},{view},yes,{:.3}",
            size * length * wobble,
            0.08 * length
        );
    }
    text.push_str("a.jpg,P07,2026-05-20,99,9,side,no,8\n");
    std::fs::create_dir(bench.path().join("results")).unwrap();
    bench.file("results/fish.csv", &text);
    let said = out(&mut bench.run(&["grade", "results", "--split", "even"]));
    assert!(says(&said, "120 fish measured, sized by body width"), "{said}");
    assert!(says(&said, "seen in 60 fish and predicted from length in 60"), "{said}");
    let said = out(&mut bench.run(&["screen", "results", "--mesh", "500um"]));
    assert!(says(&said, "head width") && says(&said, "head depth"), "{said}");
}
