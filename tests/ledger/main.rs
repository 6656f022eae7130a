//! The season ledger: nothing twice, nothing lost, nothing half.

mod kill;
mod older;
mod people;
mod storage;
mod world;

use frygauge::ledger::{ActKind, Ledger, Recorded, Scored};
use world::*;

#[test]
fn what_went_in_comes_back() {
    let dir = tempfile::tempdir().unwrap();
    let mut ledger = Ledger::create(&dir.path().join("season.sqlite")).unwrap();
    let mut scoring = act("KB", ActKind::Score, 0);
    assert_eq!(record(&mut ledger, &mut scoring, 1, &model("a"), 0.0), Recorded::Photograph);
    let samples = ledger.samples().unwrap();
    assert_eq!(samples.len(), 1);
    let expected = photo(1, 12);
    assert_eq!(samples[0].photo, expected);
    assert_eq!(samples[0].fish, shoal(&expected, 0.0));
    assert_eq!((samples[0].tank.as_str(), samples[0].date), ("P07", date("2026-04-29")));
    assert_eq!(samples[0].model, model("a"));
    assert_eq!(ledger.check().unwrap().findings, []);
}

#[test]
fn the_same_again_adds_nothing_and_another_model_adds_a_layer() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("season.sqlite");
    let mut ledger = Ledger::create(&path).unwrap();
    record(&mut ledger, &mut act("KB", ActKind::Score, 0), 1, &model("a"), 0.0);
    let rows = || ledger_rows(&path);
    let before = rows();
    assert_eq!(
        record(&mut ledger, &mut act("KB", ActKind::Score, 1), 1, &model("a"), 0.0),
        Recorded::Nothing
    );
    assert_eq!(rows(), before, "not even an act is written");
    let second = record(&mut ledger, &mut act("KB", ActKind::Score, 2), 1, &model("bb"), 0.5);
    assert_eq!(second, Recorded::Layer { carried: 0, lost: 0 });
    assert_eq!(ledger.samples().unwrap()[0].model, model("bb"));
    // Scoring with the first model again makes its layer count, without a copy of it.
    let again = record(&mut ledger, &mut act("KB", ActKind::Score, 3), 1, &model("a"), 0.0);
    assert_eq!(again, Recorded::Reselected);
    assert_eq!(ledger.samples().unwrap()[0].fish[0].x_px, 400.0);
    let health = ledger.check().unwrap();
    assert_eq!((health.rows["layer"], health.rows["fish"], health.rows["photograph"]), (2, 24, 1));
}

fn ledger_rows(path: &std::path::Path) -> std::collections::BTreeMap<String, i64> {
    Ledger::open_read_only(path).unwrap().check().unwrap().rows
}

#[test]
fn a_photograph_does_not_slip_into_another_tank() {
    let dir = tempfile::tempdir().unwrap();
    let mut ledger = Ledger::create(&dir.path().join("season.sqlite")).unwrap();
    record(&mut ledger, &mut act("KB", ActKind::Score, 0), 1, &model("a"), 0.0);
    let photo = photo(1, 12);
    let fish = shoal(&photo, 0.0);
    let scored =
        Scored { photo: &photo, tank: "P08", date: date("2026-04-29"), fish: &fish, model: &model("a") };
    let error = ledger.record(&mut act("KB", ActKind::Score, 1), &scored).unwrap_err();
    assert_eq!(
        error.to_string(),
        "P07/2026-04-29/001.jpg: recorded before as a sample of P07 on 2026-04-29, now said to be of P08 on 2026-04-29"
    );
    assert!(error.hint().contains("season move"));
    ledger
        .move_photograph(
            &mut act("MR", ActKind::Place, 2),
            "P07/2026-04-29/001.jpg",
            "P08",
            date("2026-04-28"),
        )
        .unwrap();
    let samples = ledger.samples().unwrap();
    assert_eq!((samples[0].tank.as_str(), samples[0].date), ("P08", date("2026-04-28")));
}

#[test]
fn a_row_that_could_not_come_back_is_refused_whole() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("season.sqlite");
    let mut ledger = Ledger::create(&path).unwrap();
    let photo = photo(1, 3);
    let mut fish = shoal(&photo, 0.0);
    fish[2].depth_mm = Some(f64::NAN);
    let scored =
        Scored { photo: &photo, tank: "P07", date: date("2026-04-29"), fish: &fish, model: &model("a") };
    let error = ledger.record(&mut act("KB", ActKind::Score, 0), &scored).unwrap_err();
    assert!(error.to_string().contains("fish 3"), "{error}");
    assert!(ledger_rows(&path).values().all(|&n| n == 0));
}

#[test]
fn rows_cannot_be_changed_or_removed() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("season.sqlite");
    record(&mut Ledger::create(&path).unwrap(), &mut act("KB", ActKind::Score, 0), 1, &model("a"), 0.0);
    let conn = rusqlite::Connection::open(&path).unwrap();
    let tables: Vec<String> = conn
        .prepare("SELECT name FROM sqlite_schema WHERE type = 'table'")
        .unwrap()
        .query_map([], |r| r.get(0))
        .unwrap()
        .collect::<Result<_, _>>()
        .unwrap();
    for table in ["action", "photograph", "placement", "model", "layer", "selection", "fish"] {
        assert!(tables.iter().any(|t| t == table));
        let said = conn.execute(&format!("DELETE FROM {table}"), []).unwrap_err().to_string();
        assert!(said.contains("append-only"), "{table}: {said}");
    }
    let said = conn.execute("UPDATE fish SET call = 'unsure'", []).unwrap_err().to_string();
    assert!(said.contains("append-only"), "{said}");
}

#[test]
fn an_edit_behind_our_back_is_found_by_name() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("season.sqlite");
    record(&mut Ledger::create(&path).unwrap(), &mut act("KB", ActKind::Score, 0), 1, &model("a"), 0.0);
    let conn = rusqlite::Connection::open(&path).unwrap();
    conn.execute_batch("DROP TRIGGER fish_no_UPDATE; UPDATE fish SET call = 'not_inflated' WHERE fish = 1;")
        .unwrap();
    let findings = Ledger::open_read_only(&path).unwrap().check().unwrap().findings;
    let said: Vec<String> = findings.iter().map(|f| format!("{}: {}", f.place, f.what)).collect();
    assert_eq!(said.len(), 2, "{said:?}");
    assert!(said[0].ends_with("trigger fish_no_UPDATE is missing"), "{said:?}");
    assert_eq!(said[1], "layer 1 of P07/2026-04-29/001.jpg: its rows are not what was recorded");
}
