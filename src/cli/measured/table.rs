//! A table of fish, and a table of tanks, as any spreadsheet saves them.

use super::super::{Context, Failure, Place};
use super::{Stock, cannot_read, sound};
use crate::decision::{Estimate, MeasuredFish, Sample, State};
use crate::season::register::{Problem, Problems, Sheet};
use jiff::civil::Date;
use std::collections::BTreeMap;
use std::path::Path;

/// Columns a length may stand in, and millimetres to its unit.
const LENGTHS: [(&str, f64); 4] =
    [("total_length_mm", 1.0), ("length_mm", 1.0), ("total_length_cm", 10.0), ("length_cm", 10.0)];

/// The sheet of `path`; every problem but the last is printed, the last is the failure.
pub fn sheet(path: &Path, context: &Context) -> Result<Sheet, Failure> {
    let bytes = std::fs::read(path).map_err(|e| cannot_read(path, &e))?;
    let mut problems = Problems::default();
    let sheet = Sheet::parse(path, &bytes, &mut problems);
    settle(&problems, context)?;
    sheet.ok_or_else(|| Failure::usage("the table cannot be read").at(Place::file(path)))
}

/// At most this many mistakes of one file are printed.
const SHOWN: usize = 10;

/// Refuses when there are problems.
pub fn settle(problems: &Problems, context: &Context) -> Result<(), Failure> {
    let mut failures: Vec<Failure> = problems.iter().take(SHOWN).map(failure).collect();
    let Some(last) = failures.pop() else { return Ok(()) };
    for f in &failures {
        context.printer.failure(f);
    }
    Err(last)
}

fn failure(p: &Problem) -> Failure {
    let mut place = Place::file(&p.file);
    if let Some(row) = p.row {
        place = place.row(row);
    }
    if let Some(column) = &p.column {
        place = place.column(column);
    }
    Failure::usage(&p.what).at(place).hint(&p.hint)
}

/// The samples of a table of fish: `fish.csv`, or any CSV with a length column that names its unit.
pub fn read(path: &Path, context: &Context) -> Result<Vec<Sample>, Failure> {
    let sheet = sheet(path, context)?;
    let (column, unit) = length_column(&sheet, path)?;
    let mut problems = Problems::default();
    let mut groups: BTreeMap<(Option<String>, Option<Date>, State), Sample> = BTreeMap::new();
    for row in sheet.rows() {
        if row.text("use_length") == Some("no") || row.text(column).is_none() {
            continue;
        }
        let Some(length) = row.positive(column, &mut problems) else { continue };
        let mut size =
            |name: &str| if row.text(name).is_some() { row.positive(name, &mut problems) } else { None };
        let (depth, head) = (size("depth_mm"), size("head_depth_mm"));
        let (width, head_width, weight_g) = (size("width_mm"), size("head_width_mm"), size("weight_g"));
        // In fish.csv one column holds depth or width by the view; a table without views means what its names say.
        let (side, top) = match row.text("view") {
            None => (true, false),
            Some(view) => (view == "side", view == "top"),
        };
        let state = match row.text("preserved") {
            None | Some("no" | "fresh") => State::Fresh,
            Some(how) => State::Preserved(how.to_owned()),
        };
        let tank = row.text("tank").map(str::to_owned);
        let date = row.date("date", &mut problems);
        let age = row.number("age_dph", &mut problems);
        let sample = groups.entry((tank.clone(), date, state.clone())).or_insert_with(|| Sample {
            tank,
            date,
            age_dph: age,
            state,
            fish: Vec::new(),
        });
        sample.fish.push(MeasuredFish {
            length_mm: length * unit,
            depth_mm: depth.filter(|_| side),
            width_mm: width.or(depth.filter(|_| top)),
            head_depth_mm: head.filter(|_| side),
            head_width_mm: head_width.or(head.filter(|_| top)),
            weight_g,
        });
    }
    settle(&problems, context)?;
    if groups.is_empty() {
        return Err(Failure::usage("no fish with a length")
            .at(Place::file(path).column(column))
            .hint("score the photographs with a scale; only fish that count for length are used"));
    }
    let samples = groups.into_values().collect();
    // A table of photographs was measured by a program; one without them was typed.
    Ok(if sheet.has("photo") { sound(samples, context) } else { samples })
}

fn length_column(sheet: &Sheet, path: &Path) -> Result<(&'static str, f64), Failure> {
    let there: Vec<&(&str, f64)> = LENGTHS.iter().filter(|(name, _)| sheet.has(name)).collect();
    match there[..] {
        [(name, unit)] => Ok((*name, *unit)),
        [] => {
            let hint = if sheet.has("length") || sheet.has("total_length") {
                "name the unit: length_mm or length_cm"
            } else {
                "name it total_length_mm or length_mm"
            };
            Err(Failure::usage("no column holds a length").at(Place::file(path).row(1)).hint(hint))
        }
        _ => {
            let names: Vec<&str> = there.iter().map(|t| t.0).collect();
            Err(Failure::usage(format!("several columns hold a length: {}", names.join(", ")))
                .at(Place::file(path).row(1))
                .hint("keep one, so that units cannot be mixed"))
        }
    }
}

/// What tanks hold.
pub fn read_stock(path: &Path, context: &Context) -> Result<BTreeMap<String, Stock>, Failure> {
    let sheet = sheet(path, context)?;
    let mut problems = Problems::default();
    sheet.expect(
        &["tank"],
        &["fish", "fish_low", "fish_high", "volume_l", "treatment"],
        "other columns are not read: leave them out",
        &mut problems,
    );
    let mut stock = BTreeMap::new();
    for row in sheet.rows() {
        let Some(tank) = row.needed("tank", &mut problems) else { continue };
        let mut number =
            |name: &str| if row.text(name).is_some() { row.positive(name, &mut problems) } else { None };
        let (fish, low, high, volume_l) =
            (number("fish"), number("fish_low"), number("fish_high"), number("volume_l"));
        let fish =
            fish.map(|value| Estimate { value, low: low.unwrap_or(value), high: high.unwrap_or(value) });
        if fish.is_some_and(|f| f.low > f.value || f.value > f.high) {
            problems.add(row.problem(
                "fish",
                "the number does not lie between its limits",
                "check fish_low and fish_high",
            ));
        }
        let treatment = row.text("treatment").map(str::to_owned);
        stock.insert(tank.to_owned(), Stock { fish, volume_l, treatment });
    }
    settle(&problems, context)?;
    Ok(stock)
}
