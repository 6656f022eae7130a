//! The program as people run it: bad input first, then what a run leaves behind.

use assert_cmd::Command;
use std::path::{Path, PathBuf};

/// What a run said and how it ended.
struct Ran {
    code: i32,
    out: String,
    err: String,
}

fn run(dir: &Path, args: &[&str]) -> Ran {
    let output = Command::cargo_bin("frygauge").unwrap().current_dir(dir).args(args).output().unwrap();
    let text = |b: &[u8]| String::from_utf8_lossy(b).into_owned();
    Ran { code: output.status.code().unwrap_or(-1), out: text(&output.stdout), err: text(&output.stderr) }
}

/// The lines of a message as one, so that a test does not depend on where it was wrapped.
fn flat(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn crate_file(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(name)
}

/// The smallest of the rendered sample photographs.
const SAMPLE: &str = "sample-images/P02-light-pad-01.jpg";
const OTHER: &str = "sample-images/P05-light-pad-02.jpg";

fn put(dir: &Path, name: &str, from: &str) {
    let to = dir.join(name);
    std::fs::create_dir_all(to.parent().unwrap()).unwrap();
    std::fs::copy(crate_file(from), to).unwrap();
}

fn bench() -> tempfile::TempDir {
    tempfile::tempdir().unwrap()
}

fn refuses(dir: &Path, args: &[&str], parts: &[&str]) {
    let before = listing(dir);
    let ran = run(dir, args);
    let said = flat(&ran.err);
    for part in parts.iter().chain(&["error: ", "hint: "]) {
        assert!(said.contains(part), "{part:?} is not in: {said}");
    }
    assert_eq!(ran.code, 1, "{said}");
    assert_eq!(ran.out, "");
    assert_eq!(listing(dir), before, "something was written");
    assert!(ran.err.lines().all(|l| l.chars().count() <= 80), "wider than 80 columns: {}", ran.err);
}

fn listing(dir: &Path) -> Vec<String> {
    let mut all: Vec<String> = walkdir::WalkDir::new(dir)
        .into_iter()
        .filter_map(Result::ok)
        .map(|e| e.path().strip_prefix(dir).unwrap().display().to_string())
        .collect();
    all.sort();
    all
}

#[test]
fn paths_that_hold_no_photographs_are_refused() {
    let dir = bench();
    refuses(dir.path(), &["score", "nowhere"], &["cannot read the file", "in nowhere"]);
    std::fs::create_dir(dir.path().join("bare")).unwrap();
    refuses(dir.path(), &["score", "bare"], &["no photographs in bare"]);
    std::fs::write(dir.path().join("bare/notes.txt"), "P01 looks fine").unwrap();
    refuses(dir.path(), &["score", "bare"], &["no photographs in bare"]);
    refuses(dir.path(), &["score"], &["PHOTOS"]);
}

#[test]
fn scales_that_are_none_are_refused() {
    let dir = bench();
    put(dir.path(), "a.jpg", SAMPLE);
    for bad in ["0", "-3", "nan", "inf"] {
        refuses(dir.path(), &["score", "a.jpg", "--px-per-mm", bad], &["--px-per-mm", "above zero"]);
    }
    refuses(dir.path(), &["score", "a.jpg", "--px-per-mm", "forty"], &["it is not a number"]);
    refuses(dir.path(), &["score", "a.jpg", "--dish-mm", "0"], &["--dish-mm", "above zero"]);
    refuses(
        dir.path(),
        &["score", "a.jpg", "--px-per-mm", "40", "--mm-per-px", "0.025"],
        &["cannot be used with"],
    );
    refuses(
        dir.path(),
        &["score", "a.jpg", "--scale", "guess"],
        &["--scale", "auto, card, ruler, dish, tags, stored"],
    );
    refuses(dir.path(), &["score", "a.jpg", "--date", "02.05.2026"], &["--date", "2026-05-02"]);
}

#[test]
fn results_folders_are_never_overwritten_unasked() {
    let dir = bench();
    put(dir.path(), "a.jpg", SAMPLE);
    std::fs::write(dir.path().join("file"), "").unwrap();
    refuses(dir.path(), &["score", "a.jpg", "--out", "file"], &["the results folder is a file", "in file"]);
    std::fs::create_dir(dir.path().join("mine")).unwrap();
    std::fs::write(dir.path().join("mine/diary.txt"), "dear diary").unwrap();
    refuses(dir.path(), &["score", "a.jpg", "--out", "mine"], &["already holds files", "--replace"]);
    refuses(
        dir.path(),
        &["score", "a.jpg", "--out", "mine", "--replace"],
        &["holds other files, not results"],
    );
    refuses(
        dir.path(),
        &["score", "a.jpg", "--out", "/proc/results"],
        &["cannot write to the results folder"],
    );
    assert_eq!(std::fs::read_to_string(dir.path().join("mine/diary.txt")).unwrap(), "dear diary");
}

#[test]
fn sample_sheets_are_checked_to_the_cell() {
    let dir = bench();
    put(dir.path(), "photos/P01/a.jpg", SAMPLE);
    put(dir.path(), "photos/P02/a.jpg", OTHER);
    let sheet = |text: &str| std::fs::write(dir.path().join("sheet.csv"), text).unwrap();
    let args = ["score", "photos", "--samples", "sheet.csv"];
    let cases: [(&str, &[&str]); 9] = [
        (
            "photo,tank,dat\nP01/a.jpg,P01,2026-05-02\n",
            &["unknown column \"dat\"", "in sheet.csv, row 1, column dat"],
        ),
        ("tank,date\nP01,2026-05-02\n", &["no column named photo", "row 1"]),
        (
            "photo,tank\nP03/b.jpg,P03\n",
            &["\"P03/b.jpg\" is not among the photographs", "row 2, column photo"],
        ),
        ("photo,tank\nP01/a.jpg,P01\nP01/a.jpg,P01\n", &["stands here and in row 2", "row 3, column photo"]),
        (
            "photo,date\nP01/a.jpg,2026-13-40\n",
            &["\"2026-13-40\" is not a date", "row 2, column date", "2026-05-02"],
        ),
        ("photo,tank\na.jpg,P01\n", &["may be P01/a.jpg or P02/a.jpg", "row 2, column photo"]),
        ("photo,px_per_mm\nP01/a.jpg,-4\n", &["\"-4\" is not a scale", "row 2, column px_per_mm"]),
        ("photo,age_dph\nP01/a.jpg,old\n", &["\"old\" is not an age", "row 2, column age_dph"]),
        ("photo,tank\nP01/a.jpg,P01,extra\n", &["3 cells, the header has 2", "row 2"]),
    ];
    for (text, parts) in cases {
        sheet(text);
        refuses(dir.path(), &args, parts);
    }
    refuses(
        dir.path(),
        &["score", "photos", "--samples", "none.csv"],
        &["cannot read the sample sheet", "in none.csv"],
    );
}

/// Nobody but the crew knows which is right: fish of an unknown tank count for none.
#[test]
fn places_that_name_different_tanks_are_told() {
    let dir = bench();
    put(dir.path(), "photos/P01/2026-05-02/a.jpg", SAMPLE);
    put(dir.path(), "photos/P02/2026-05-02/b.jpg", OTHER);
    std::fs::write(dir.path().join("sheet.csv"), "photo,tank,date\na.jpg,P07,2026-05-02\n").unwrap();
    let ran = run(dir.path(), &["score", "photos", "--samples", "sheet.csv", "--no-pictures"]);
    assert_eq!(ran.code, 2, "{}", ran.err);
    let said = flat(&ran.err);
    assert!(said.contains("tank differs: sample sheet says \"P07\", folder says \"P01\""), "{said}");
    let tanks = std::fs::read_to_string(dir.path().join("results/tanks.csv")).unwrap();
    assert!(tanks.contains("\nP02,2026-05-02,") && !tanks.contains("P07") && !tanks.contains("P01"));
}

#[test]
fn settings_are_checked_to_the_line() {
    let dir = bench();
    put(dir.path(), "a.jpg", SAMPLE);
    std::fs::write(dir.path().join("frygauge.toml"), "jobs = 2\npx_per_m = 40\n").unwrap();
    refuses(dir.path(), &["score", "a.jpg"], &["px_per_m", "in frygauge.toml, row 2", "px_per_mm"]);
    std::fs::write(dir.path().join("frygauge.toml"), "px_per_mm = 0.0\n").unwrap();
    refuses(dir.path(), &["score", "a.jpg"], &["px_per_mm must be a number above zero"]);
    refuses(
        dir.path(),
        &["score", "a.jpg", "--config", "none.toml"],
        &["cannot read the settings", "in none.toml"],
    );
    std::fs::remove_file(dir.path().join("frygauge.toml")).unwrap();
    std::fs::write(dir.path().join("model.json"), "{}").unwrap();
    refuses(dir.path(), &["score", "a.jpg", "--model", "model.json"], &["in model.json"]);
}

#[test]
fn bad_photographs_do_not_stop_the_good_one() {
    let dir = bench();
    let photos = dir.path().join("photos");
    put(&photos, "good.jpg", SAMPLE);
    put(&photos, "twin of good.jpg", SAMPLE);
    put(&photos, "cmyk.jpg", "tests/reference/photo/refused_cmyk.jpg");
    std::fs::write(photos.join("zero.jpg"), "").unwrap();
    std::fs::write(photos.join("text.jpg"), "not a photograph at all").unwrap();
    std::fs::write(photos.join("phone.heic"), b"\0\0\0\x18ftypheic\0\0\0\0mif1heic").unwrap();
    let whole = std::fs::read(crate_file(OTHER)).unwrap();
    std::fs::write(photos.join("cut.jpg"), &whole[..whole.len() / 2]).unwrap();
    image::GrayImage::new(1, 1).save(photos.join("speck.png")).unwrap();

    let ran = run(dir.path(), &["score", "photos", "--px-per-mm", "32"]);
    let said = flat(&ran.err);
    assert_eq!(ran.code, 2, "{said}");
    for part in [
        "twin of good.jpg is left out: its bytes are those of good.jpg",
        "cmyk.jpg: CMYK JPEG (made for printing) is not read",
        "zero.jpg: the file is empty (0 bytes)",
        "text.jpg: not a photograph: the bytes are text",
        "phone.heic: HEIC is not read",
        "cut.jpg: the file is cut short",
        "speck.png: 1 x 1 pixels is too small",
    ] {
        assert!(said.contains(part), "{part:?} is not in: {said}");
    }
    let photos = std::fs::read_to_string(dir.path().join("results/photos.csv")).unwrap();
    assert_eq!(photos.lines().filter(|l| l.contains(",refused,")).count(), 6, "{photos}");
    assert_eq!(photos.lines().filter(|l| l.starts_with("good.jpg,")).count(), 1);
    assert!(dir.path().join("results/pictures/good.jpg").is_file());
    assert_eq!(std::fs::read_dir(dir.path().join("results/pictures")).unwrap().count(), 1);
    let page = std::fs::read_to_string(dir.path().join("results/report.html")).unwrap();
    assert!(page.contains("HEIC is not read") && page.ends_with("</html>\n"));
    for outside in ["<script", "src=\"http", "href=\"http", "url(http", "@import"] {
        assert!(!page.contains(outside), "the page is not self-contained: {outside}");
    }
}

/// The columns scripts rely on, in their order.
#[test]
fn tables_have_the_columns_promised() {
    let dir = bench();
    put(dir.path(), "P01/2026-05-02/a.jpg", SAMPLE);
    put(dir.path(), "2026-05-02/P02/a.jpg", OTHER);
    let ran = run(
        dir.path(),
        &["score", ".", "--px-per-mm", "32", "--hatch", "2026-04-20", "--out", "r", "--json"],
    );
    assert_eq!(ran.code, 0, "{}", ran.err);
    let table = |name: &str| std::fs::read_to_string(dir.path().join("r").join(name)).unwrap();
    let header = |name: &str| table(name).lines().next().unwrap().to_owned();
    assert!(header("fish.csv").starts_with(
        "photo,tank,date,age_dph,fish,x_px,y_px,snout_x_px,snout_y_px,tail_x_px,tail_y_px,total_length_px,\
         total_length_mm,total_length_se_mm,depth_mm,view,call,p_inflated,bladder_position,bladder_length_mm,\
         bladder_height_mm,use_length,use_call,flags,vessel,caller"
    ));
    assert_eq!(
        header("tanks.csv"),
        "tank,date,age_dph,photos,fish,called,inflated,not_inflated,unsure,inflation,inflation_low,inflation_high,\
         inflation_corrected,inflation_corrected_low,inflation_corrected_high,measured,mean_length_mm,\
         mean_length_low_mm,mean_length_high_mm,sd_length_mm,cv_length,cv_length_low,cv_length_high,p05_length_mm,\
         median_length_mm,p95_length_mm,mean_depth_mm,notes"
    );
    assert_eq!(
        header("photos.csv"),
        "photo,sha256,status,reason,width_px,height_px,lighting,mm_per_px,mm_per_px_se,scale_source,fish,sharpness,\
         flags,seconds"
    );
    // Two photographs of one name, told apart by their folders, in either order of tank and date.
    assert!(table("tanks.csv").lines().any(|l| l.starts_with("P01,2026-05-02,12.0,1,")));
    assert!(table("tanks.csv").lines().any(|l| l.starts_with("P02,2026-05-02,12.0,1,")));
    assert!(dir.path().join("r/pictures/P01/2026-05-02/a.jpg").is_file());
    assert!(dir.path().join("r/pictures/2026-05-02/P02/a.jpg").is_file());
    // What is on stdout is what is in the file.
    let said: serde_json::Value = serde_json::from_str(&ran.out).unwrap();
    let kept: serde_json::Value = serde_json::from_str(&table("results.json")).unwrap();
    assert_eq!(said, kept);
    assert_eq!(said["photos"][0]["sha256"].as_str().map(str::len), Some(64));
    assert!(said["provenance"]["complete"].as_bool().unwrap() && said["provenance"]["version"].is_string());
    for text in [table("fish.csv"), table("tanks.csv"), table("results.json")] {
        assert!(!text.contains("NaN"));
    }
}

#[test]
fn without_a_scale_lengths_stay_in_pixels() {
    let dir = bench();
    // Saved anew, the photograph loses its resolution tags.
    image::open(crate_file(SAMPLE)).unwrap().save(dir.path().join("a.png")).unwrap();
    let ran = run(dir.path(), &["score", "a.png", "--no-pictures"]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    assert!(flat(&ran.err).contains("no scale"), "{}", ran.err);
    let mut reader = csv::Reader::from_path(dir.path().join("results/fish.csv")).unwrap();
    let header = reader.headers().unwrap().clone();
    let column = |name: &str| header.iter().position(|h| h == name).unwrap();
    let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    assert!(!rows.is_empty());
    for row in &rows {
        assert!(!row[column("total_length_px")].is_empty());
        for name in ["total_length_mm", "total_length_se_mm", "depth_mm", "bladder_length_mm"] {
            assert_eq!(&row[column(name)], "", "{name}");
        }
    }
    assert!(
        !dir.path().join("results/report.html").exists() && !dir.path().join("results/pictures").exists()
    );
}

#[test]
fn one_worker_and_two_write_the_same_bytes() {
    let dir = bench();
    put(dir.path(), "p/a.jpg", SAMPLE);
    put(dir.path(), "p/b.jpg", OTHER);
    for (jobs, out) in [("1", "one"), ("2", "two")] {
        let ran = run(dir.path(), &["score", "p", "--jobs", jobs, "--out", out, "--px-per-mm", "32"]);
        assert_eq!(ran.code, 0, "{}", ran.err);
        assert!(ran.out.lines().all(|l| l.chars().count() <= 80), "{}", ran.out);
    }
    for name in ["fish.csv", "tanks.csv", "pictures/a.jpg", "pictures/b.jpg"] {
        let read = |out: &str| std::fs::read(dir.path().join(out).join(name)).unwrap();
        assert!(read("one") == read("two"), "{name} differs");
    }
    // A run again in the same place is asked for by name.
    let again = ["score", "p/a.jpg", "--out", "two", "--replace", "--px-per-mm", "32"];
    assert_eq!(run(dir.path(), &again).code, 0);
    assert!(!dir.path().join("two/pictures/b.jpg").exists());
    assert!(listing(dir.path()).iter().all(|f| !f.contains("unfinished") && !f.contains(".part")));
}

#[cfg(unix)]
#[test]
fn an_interrupted_run_keeps_what_is_finished() {
    use std::time::{Duration, Instant};
    let dir = bench();
    let mut child = std::process::Command::new(assert_cmd::cargo::cargo_bin("frygauge"))
        .current_dir(dir.path())
        .args(["score", crate_file("sample-images").to_str().unwrap(), "--jobs", "1", "--px-per-mm", "32"])
        .stdout(std::process::Stdio::null())
        .stderr(std::process::Stdio::null())
        .spawn()
        .unwrap();
    let begun = Instant::now();
    let one_finished = || listing(dir.path()).iter().any(|f| f.ends_with("000000.html"));
    while !one_finished() && begun.elapsed() < Duration::from_secs(120) {
        std::thread::sleep(Duration::from_millis(10));
    }
    let pid = child.id().to_string();
    assert!(std::process::Command::new("kill").args(["-INT", &pid]).status().unwrap().success());
    assert_eq!(child.wait().unwrap().code(), Some(3));
    let kept: serde_json::Value =
        serde_json::from_slice(&std::fs::read(dir.path().join("results/results.json")).unwrap()).unwrap();
    let photos = kept["photos"].as_array().unwrap().len();
    assert!((1..12).contains(&photos), "{photos} photographs");
    assert_eq!(kept["provenance"]["complete"], false);
    let page = std::fs::read_to_string(dir.path().join("results/report.html")).unwrap();
    assert!(page.contains("Stopped early") && page.ends_with("</html>\n"));
    assert!(listing(dir.path()).iter().all(|f| !f.contains("unfinished") && !f.contains(".part")));
}

/// Ctrl-C while the run still waits for its sample sheet (a pipe that nobody has written to).
#[cfg(unix)]
#[test]
fn a_run_interrupted_before_its_first_photograph_writes_nothing() {
    use std::io::{Read as _, Write as _};
    let dir = bench();
    let pipe = dir.path().join("samples.csv");
    assert!(std::process::Command::new("mkfifo").arg(&pipe).status().unwrap().success());
    let mut child = std::process::Command::new(assert_cmd::cargo::cargo_bin("frygauge"))
        .current_dir(dir.path())
        .args(["score", crate_file("sample-images").to_str().unwrap(), "--samples", "samples.csv"])
        .stdout(std::process::Stdio::null())
        .stderr(std::process::Stdio::piped())
        .spawn()
        .unwrap();
    // Opening the pipe waits until the run has it open as well, with its handler in place.
    let mut sheet = std::fs::OpenOptions::new().write(true).open(&pipe).unwrap();
    let pid = child.id().to_string();
    assert!(std::process::Command::new("kill").args(["-INT", &pid]).status().unwrap().success());
    let mut said = [0; 8];
    child.stderr.as_mut().unwrap().read_exact(&mut said).unwrap();
    assert_eq!(&said, b"stopping", "the handler answers before the sheet is there");
    sheet.write_all(b"photo,tank,date,age_dph\n").unwrap();
    drop(sheet);
    let output = child.wait_with_output().unwrap();
    let said = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(3), "{said}");
    assert!(said.contains("stopped before a photograph was finished"), "{said}");
    assert_eq!(listing(dir.path()), ["", "samples.csv"]);
}

#[test]
fn watch_waits_for_a_file_to_be_written_and_knows_a_renamed_one() {
    use std::time::Duration;
    let dir = bench();
    let arriving = dir.path().join("card");
    std::fs::create_dir(&arriving).unwrap();
    let path = arriving.clone();
    let writer = std::thread::spawn(move || {
        let bytes = std::fs::read(crate_file(SAMPLE)).unwrap();
        std::fs::write(path.join("a.jpg"), &bytes[..bytes.len() / 2]).unwrap();
        std::thread::sleep(Duration::from_millis(700));
        std::fs::write(path.join("a.jpg"), &bytes).unwrap();
        std::thread::sleep(Duration::from_millis(2500));
        std::fs::rename(path.join("a.jpg"), path.join("renamed.jpg")).unwrap();
    });
    let ran = run(dir.path(), &["watch", "card", "--idle", "6", "--px-per-mm", "32"]);
    writer.join().unwrap();
    assert_eq!(ran.code, 0, "{}", ran.err);
    let lines: Vec<&str> = ran.out.lines().filter(|l| l.contains(".jpg: ")).collect();
    assert_eq!(lines.len(), 1, "{}", ran.out);
    assert!(!lines[0].contains("not scored"), "{}", lines[0]);
    let photos = std::fs::read_to_string(dir.path().join("results/photos.csv")).unwrap();
    assert_eq!(photos.lines().count(), 2, "{photos}");
    assert!(dir.path().join("results/report.html").is_file());
    refuses(dir.path(), &["watch", "elsewhere"], &["no such folder to watch", "in elsewhere"]);
}
