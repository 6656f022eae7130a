//! What the program says, word for word: help, errors and the table of tanks, at 80 columns.
//!
//! `INSTA_UPDATE=always cargo test --test words`, then read the difference before committing it.

use assert_cmd::Command;
use std::path::Path;

/// Exit code, stdout and stderr of a run in `dir`, without what changes from day to day.
fn said(dir: &Path, args: &[&str]) -> String {
    let output = Command::new(assert_cmd::cargo::cargo_bin!("frygauge"))
        .current_dir(dir)
        .env("COLUMNS", "80")
        .args(args)
        .output()
        .unwrap();
    let text = |bytes: &[u8]| {
        let text = String::from_utf8_lossy(bytes).replace(env!("CARGO_PKG_VERSION"), "VERSION");
        text.lines().map(str::trim_end).collect::<Vec<_>>().join("\n")
    };
    let (out, err) = (text(&output.stdout), text(&output.stderr));
    for line in out.lines().chain(err.lines()) {
        assert!(line.chars().count() <= 80, "wider than 80 columns: {line}");
    }
    format!(
        "frygauge {}\nexit {}\n-- stdout\n{out}\n-- stderr\n{err}\n",
        args.join(" "),
        output.status.code().unwrap_or(-1)
    )
}

#[test]
fn help_of_every_command() {
    let dir = tempfile::tempdir().unwrap();
    let overview = said(dir.path(), &["--help"]);
    // The commands as the overview lists them: a new one is in the snapshots at once.
    let commands: Vec<String> = overview
        .lines()
        .skip_while(|l| *l != "Commands:")
        .skip(1)
        .take_while(|l| !l.is_empty())
        .filter(|l| l.starts_with("  ") && !l.starts_with("    "))
        .filter_map(|l| l.split_whitespace().next().map(String::from))
        .collect();
    assert!(commands.len() > 10, "{commands:?}");
    insta::assert_snapshot!("help", overview);
    for command in &commands {
        insta::assert_snapshot!(format!("help-{command}"), said(dir.path(), &[command, "--help"]));
    }
}

#[test]
fn errors_say_what_where_and_what_to_do() {
    let dir = tempfile::tempdir().unwrap();
    let put = |name: &str, text: &str| std::fs::write(dir.path().join(name), text).unwrap();
    std::fs::create_dir(dir.path().join("photos")).unwrap();
    std::fs::create_dir(dir.path().join("nothing")).unwrap();
    put("photos/diary.jpg", "dear diary");
    put("date.csv", "photo,tank,date\ndiary.jpg,P01,30.4.2026\n");
    put("column.csv", "photo,tank,day\ndiary.jpg,P01,2026-04-30\n");
    put("missing.csv", "photo,tank,date\nother.jpg,P01,2026-04-30\n");
    put("twice.csv", "photo,tank,date\ndiary.jpg,P01,2026-04-30\ndiary.jpg,P02,2026-04-30\n");
    put("notes.txt", "nothing to score");
    let all: Vec<String> = [
        &["score"][..],
        &["score", "absent"],
        &["score", "nothing"],
        &["score", "notes.txt"],
        &["score", "photos", "--px-per-mm", "0"],
        &["score", "photos", "--px-per-mm", "forty"],
        &["score", "photos", "--date", "30.4.2026"],
        &["score", "photos", "--samples", "date.csv"],
        &["score", "photos", "--samples", "column.csv"],
        &["score", "photos", "--samples", "missing.csv"],
        &["score", "photos", "--samples", "twice.csv"],
        &["score", "photos", "--model", "absent.json"],
        &["score", "photos", "--out", "notes.txt"],
        &["score", "photos"],
        &["report"],
        &["season", "check", "--season", "absent"],
        &["card", "--out", "card.txt"],
        &["sprinkle"],
    ]
    .into_iter()
    .map(|args| said(dir.path(), args))
    .collect();
    insta::assert_snapshot!("errors", all.join("\n"));
}

/// The words and the shape of the table of tanks; its figures are the reader's and may improve.
#[test]
fn the_table_of_tanks() {
    let dir = tempfile::tempdir().unwrap();
    let photo = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-images/P02-light-pad-01.jpg");
    std::fs::copy(photo, dir.path().join("one.jpg")).unwrap();
    let args =
        ["score", "one.jpg", "--no-pictures", "--px-per-mm", "32", "--tank", "P02", "--date", "2026-04-30"];
    let told = said(dir.path(), &args);
    let shape: String = told.chars().map(|c| if c.is_ascii_digit() { '0' } else { c }).collect();
    // One digit more or fewer shifts columns: runs of blanks, dashes and digits count once.
    let mut squeezed = String::new();
    for c in shape.chars() {
        if !(squeezed.ends_with(c) && matches!(c, ' ' | '0' | '-')) {
            squeezed.push(c);
        }
    }
    // The note below the table tells of unsure fish, if there are any.
    let table: Vec<&str> = squeezed.lines().take(5).collect();
    insta::assert_snapshot!("tanks", table.join("\n"));
}
