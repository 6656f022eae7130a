//! The register as spreadsheets of several locales save it, and every mistake named with its place.

use frygauge::season::admit::admit;
use frygauge::season::age::{degree_days, dph, window};
use frygauge::season::register::Register;
use jiff::civil::{Date, date};
use std::path::Path;

const SETTINGS: &str =
    "[hatchery]\nname = \"Brackenmere\"\nspecies = \"pikeperch\"\ntreatments = [\"sprayer\"]\n";
const TANKS: &str = "tank,hatch_date,stocked_date,stocked_number,temperature_c,sprayer\n\
                     P01,2026-04-20,2026-04-22,20000,17,wall\nP02,2026-04-20,2026-04-22,20000,17,\n";

/// A season folder with these files.
fn season(files: &[(&str, &[u8])]) -> tempfile::TempDir {
    let dir = tempfile::tempdir().unwrap();
    for (name, bytes) in
        [("frygauge.toml", SETTINGS.as_bytes()), ("tanks.csv", TANKS.as_bytes())].iter().chain(files)
    {
        std::fs::write(dir.path().join(name), bytes).unwrap();
    }
    dir
}

fn read(files: &[(&str, &[u8])]) -> Register {
    Register::read(season(files).path()).unwrap_or_else(|e| panic!("{e}"))
}

/// The mistakes as they are printed, without the folder's name.
fn mistakes(files: &[(&str, &[u8])]) -> Vec<String> {
    let dir = season(files);
    let problems = Register::read(dir.path()).unwrap_err();
    let folder = format!("{}/", dir.path().display());
    for problem in &problems {
        assert!(!problem.hint.is_empty(), "{problem}");
    }
    problems.iter().map(|p| p.to_string().replace(&folder, "")).collect()
}

#[test]
fn a_file_saved_by_a_spreadsheet_of_another_locale_reads_the_same() {
    let plain = read(&[]);
    let semicolons = "\u{feff}tank;hatch_date;stocked_date;stocked_number;temperature_c;sprayer;;\r\n\
                      P01;2026-04-20;2026-04-22;20000;17,0;wall;;\r\n;;;;;;;\r\nP02;2026-04-20;2026-04-22;20000;17,0;;;\r\n";
    let told = format!("sep=;\n{}", semicolons.trim_start_matches('\u{feff}'));
    let tabs = TANKS.replace(',', "\t");
    for text in [semicolons, &told, &tabs] {
        let read = read(&[("tanks.csv", text.as_bytes())]);
        let without_rows = |r: &Register| {
            r.tanks
                .iter()
                .cloned()
                .map(|mut t| {
                    t.row = 0;
                    t
                })
                .collect::<Vec<_>>()
        };
        assert_eq!(without_rows(&read), without_rows(&plain), "{text}");
    }
    let commas = read(&[("tanks.csv", TANKS.replace(",17,", ",\"17.5\",").as_bytes())]);
    assert_eq!(commas.tanks[0].temperature_c, Some(17.5));
}

#[test]
fn every_mistake_is_named_with_its_place() {
    let tanks = "tank,hatch_date,stocked_date,stocked_number,temperature_c,sprayer,colour\n\
                 P01,2026-04-20,2026-04-18,20000,17,wall,\n\
                 p01,20/04/2026,,twenty,170,,\n\
                 P03,,,-5,17,,\n\
                 ,2026-02-30,,1.5,17,,,spare\n";
    assert_eq!(
        mistakes(&[("tanks.csv", tanks.as_bytes())]),
        [
            "tanks.csv, row 5: more cells than the header has columns: `spare`",
            "tanks.csv, row 1, column colour: unknown column colour",
            "tanks.csv, row 2, column stocked_date: stocked on 2026-04-18, before hatching on 2026-04-20",
            "tanks.csv, row 3, column hatch_date: `20/04/2026` could be day/month or month/day and is not guessed",
            "tanks.csv, row 3, column stocked_number: `twenty` is not a number",
            "tanks.csv, row 3, column temperature_c: not a water temperature",
            "tanks.csv, row 3, column tank: p01 is also in row 2",
            "tanks.csv, row 4, column hatch_date: empty",
            "tanks.csv, row 4, column stocked_number: -5 is not a count",
            "tanks.csv, row 5, column tank: empty",
            "tanks.csv, row 5, column hatch_date: `2026-02-30` is no day of the calendar",
            "tanks.csv, row 5, column stocked_number: 1.5 is not a count",
        ]
    );
    let twice = "tank,hatch_date,tank\nP01,2026-04-20,P02\n";
    assert_eq!(
        mistakes(&[("tanks.csv", twice.as_bytes())])[0],
        "tanks.csv, row 1, column tank: the column tank is there twice"
    );
    let none = "name;hatched\n";
    let said = mistakes(&[("tanks.csv", none.as_bytes())]);
    assert!(said.contains(&"tanks.csv, row 1, column tank: no column tank".to_owned()), "{said:?}");
}

#[test]
fn files_that_are_no_csv_are_named() {
    let utf16: Vec<u8> =
        [0xFF, 0xFE].into_iter().chain(TANKS.encode_utf16().flat_map(u16::to_le_bytes)).collect();
    for (bytes, expected) in [
        (&utf16[..], "tanks.csv: text in UTF-16, as saved by `Unicode text`"),
        (b"PK\x03\x04....", "tanks.csv: a spreadsheet document, not CSV"),
        (b"tank,hatch_date,notes\nP01,2026-04-20,gr\xfcn\n", "tanks.csv, row 2: letters that are not UTF-8"),
        (b"", "tanks.csv: empty"),
    ] {
        assert_eq!(mistakes(&[("tanks.csv", bytes)])[0], expected);
    }
}

#[test]
fn events_are_checked_against_the_tanks() {
    let events = "date,time,tank,what,value,number,note,who\n\
                  2026-04-28,07:30,P01,sprayer moved,mid,,,KB\n\
                  2026-04-27,,all,Surface_skimmed,,,,KB\n\
                  2026-04-28,,P01,deaths counted,,140,,MR\n";
    let read = read(&[("events.csv", events.as_bytes())]);
    let labels: Vec<String> = read.events_of("P01").map(frygauge::season::register::Event::label).collect();
    assert_eq!(labels, ["surface skimmed", "140 dead", "sprayer moved to mid"]);
    assert_eq!(read.events_of("P02").count(), 1);
    let wrong = "date,tank,what,value,time,number\n\
                 2026-04-28,P99,sprayer moved,mid,,\n\
                 2026-04-12,P01,sprayer moved,mid,,\n\
                 2026-04-28,P01,sprayermoved,mid,7:30,\n\
                 2026-04-28,all,deaths counted,,,12\n\
                 2026-04-28,P01,deaths counted,,,\n\
                 2026-04-28,P01,deaths counted,,tea,1\n";
    assert_eq!(
        mistakes(&[("events.csv", wrong.as_bytes())]),
        [
            "events.csv, row 2, column tank: P99 is not registered",
            "events.csv, row 3, column date: before P01 hatched on 2026-04-20",
            "events.csv, row 4, column what: unknown event `sprayermoved`",
            "events.csv, row 4, column time: `7:30` is not a time",
            "events.csv, row 5, column tank: a count belongs to one tank",
            "events.csv, row 6, column number: empty",
            "events.csv, row 7, column time: `tea` is not a time",
        ]
    );
}

#[test]
fn settings_are_checked_by_line() {
    for (text, expected) in [
        ("[hatchery]\nnam = \"x\"\n", "frygauge.toml, row 2"),
        (
            "[hatchery]\ntreatments = [\"tank\"]\n",
            "frygauge.toml, row 2, column treatments: `tank` cannot be a treatment",
        ),
        ("[hatchery]\nwindow_dph = [13, 4]\n", "frygauge.toml, row 2, column window_dph: not a window"),
        (
            "[hatchery]\nexpected_inflation = [{ dph = 6, low = 0.5, high = 0.2 }]\n",
            "frygauge.toml, row 2, column expected_inflation: not a band",
        ),
        (
            "[hatchery]\nexpected_inflation = [{ dph = 6, low = 0.1, high = 0.2 }, { dph = 6, low = 0.2, high = 0.3 }]\n",
            "frygauge.toml, row 2, column expected_inflation: the ages do not rise",
        ),
        (
            "[hatchery]\nmeshes_mm = [0.4, 500]\n",
            "frygauge.toml, row 2, column meshes_mm: an opening of 500 mm",
        ),
        (
            "[hatchery]\ngraders_mm = [-1.5]\n",
            "frygauge.toml, row 2, column graders_mm: an opening of -1.5 mm",
        ),
        (
            "[hatchery]\nhandling_length_mm = 0\n",
            "frygauge.toml, row 2, column handling_length_mm: not a length",
        ),
    ] {
        let said = mistakes(&[("frygauge.toml", text.as_bytes())]);
        assert!(said[0].starts_with(expected), "{said:?}");
    }
}

#[test]
fn an_unknown_species_is_asked_for_and_an_own_profile_is_read() {
    let tanks = "tank,hatch_date,species\nP01,2026-04-20,burbot\n";
    let said = mistakes(&[("tanks.csv", tanks.as_bytes())]);
    assert_eq!(said, ["tanks.csv, row 2, column species: no profile of the species `burbot`"]);
    let dir = season(&[("tanks.csv", tanks.as_bytes())]);
    std::fs::create_dir(dir.path().join("species")).unwrap();
    let profile = "name = \"burbot\"\nlatin = \"Lota lota\"\n[window_opens_dph]\nvalue = 9\nsource = \"our own tanks, 2025\"\n";
    std::fs::write(dir.path().join("species/burbot.toml"), profile).unwrap();
    let register = Register::read(dir.path()).unwrap();
    assert_eq!(register.profiles["burbot"].window_opens_dph.as_ref().unwrap().value, 9.0);
    assert!(register.files.iter().any(|(name, _)| name == "species/burbot.toml"));
}

/// Degree-days of published windows, as the abstracts give day and temperature:
/// striped bass 6 to 9 dph at 17 °C (Martin-Robichaud & Peterson 1998, Aquacult. Res. 29(8):539-547);
/// striped trumpeter day 11 at 14 °C and day 9 at 16 °C (Trotter et al. 2001, Aquaculture 198:41-54).
#[test]
fn degree_days_agree_with_published_windows() {
    for (celsius, day, expected) in [(17.0, 6, 102.0), (17.0, 9, 153.0), (14.0, 11, 154.0), (16.0, 9, 144.0)]
    {
        let tanks = format!("tank,hatch_date,temperature_c\nP01,2026-04-20,{celsius}\n");
        let register = read(&[("tanks.csv", tanks.as_bytes())]);
        let on = register.tanks[0].hatch.checked_add(jiff::ToSpan::days(day)).unwrap();
        let got = degree_days(&register, &register.tanks[0], on).unwrap();
        assert_eq!((got.sum, got.logged, got.assumed), (expected, 0, day as u32));
    }
    let tanks = "tank,hatch_date,temperature_c,species\nP01,2026-04-20,17,striped-bass\nP02,2026-04-20,20.4,striped-bass\n";
    let register = read(&[("tanks.csv", tanks.as_bytes())]);
    let of = |i: usize| window(&register, &register.tanks[i], &register.profiles["striped-bass"]).unwrap();
    assert_eq!((of(0).opens_dph, of(0).closes_dph), (6.0, 9.0));
    assert!(
        (of(1).opens_dph - 5.0).abs() < 1e-9 && (of(1).closes_dph - 7.5).abs() < 1e-9,
        "warmer water, earlier window"
    );
}

#[test]
fn a_log_goes_before_the_registered_temperature() {
    let log =
        "date,tank,temperature_c\n2026-04-20,all,15\n2026-04-20,P01,16\n2026-04-20,P01,18\n2026-04-21,,16\n";
    let register = read(&[("temperatures.csv", log.as_bytes())]);
    let of = |i: usize| degree_days(&register, &register.tanks[i], date(2026, 4, 23)).unwrap();
    assert_eq!((of(0).sum, of(0).logged, of(0).assumed), (17.0 + 16.0 + 17.0, 2, 1));
    assert_eq!(of(1).sum, 15.0 + 16.0 + 17.0);
    assert_eq!(dph(date(2026, 4, 20), date(2026, 4, 19)), -1);
    assert_eq!(degree_days(&register, &register.tanks[0], date(2026, 4, 19)), None);
}

#[test]
fn a_sample_must_fit_the_register() {
    let register = read(&[]);
    let today = date(2026, 5, 4);
    let ask =
        |tank: Option<&str>, on: Option<Date>| admit(&register, tank, on, today).map(|t| t.name.clone());
    assert_eq!(ask(Some("P01"), Some(date(2026, 4, 29))).unwrap(), "P01");
    for (tank, on, what, hint) in [
        (Some("P13"), Some(date(2026, 4, 29)), "tank P13 is not registered", "add it to tanks.csv"),
        (Some("p01"), Some(date(2026, 4, 29)), "tank p01 is not registered", "writes it P01"),
        (None, Some(date(2026, 4, 29)), "nothing says which tank", "--tank"),
        (Some("P01"), None, "nothing says when", "--date"),
        (
            Some("P01"),
            Some(date(2026, 4, 21)),
            "dated 2026-04-21, before P01 was stocked on 2026-04-22",
            "check the camera's clock",
        ),
        (
            Some("P01"),
            Some(date(2025, 4, 29)),
            "dated 2025-04-29, before P01 was stocked",
            "clock seems 1 year behind",
        ),
        (Some("P01"), Some(date(2027, 4, 29)), "which is in the future", "clock seems 1 year ahead"),
    ] {
        let refusal = ask(tank, on).unwrap_err();
        assert!(refusal.what.contains(what), "{refusal}");
        assert!(refusal.hint.contains(hint), "{}", refusal.hint);
    }
}

#[test]
fn a_folder_without_a_register_says_so() {
    let problems = Register::read(Path::new("/nowhere/at/all")).unwrap_err();
    assert!(problems.to_string().contains("frygauge.toml: cannot be read"));
}
