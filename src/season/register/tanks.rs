//! `tanks.csv`: a line a tank.

use super::{Problems, Settings, Sheet};
use jiff::civil::Date;
use std::collections::BTreeMap;

/// A tank as registered.
#[derive(Debug, Clone, PartialEq)]
pub struct Tank {
    /// Its name, as on the sample photographs.
    pub name: String,
    /// Line of the file.
    pub row: u64,
    /// Name of its species profile.
    pub species: String,
    /// Day of hatching: 0 dph.
    pub hatch: Date,
    /// Day of stocking.
    pub stocked: Option<Date>,
    /// Fry stocked.
    pub stocked_number: Option<u64>,
    /// Volume in litres.
    pub volume_l: Option<f64>,
    /// Water temperature in degrees Celsius, for days without a logged one.
    pub temperature_c: Option<f64>,
    /// Opening of the outlet screen fitted, in millimetres.
    pub screen_mm: Option<f64>,
    /// Treatment columns, by name; a column that is empty for this tank is not there.
    pub treatments: BTreeMap<String, String>,
    /// Free words.
    pub notes: String,
}

pub(super) fn read(sheet: &Sheet, settings: &Settings, problems: &mut Problems) -> Vec<Tank> {
    let mut known =
        vec!["species", "stocked_date", "stocked_number", "volume_l", "temperature_c", "screen_mm", "notes"];
    known.extend(settings.treatments.iter().map(String::as_str));
    let extra = "a treatment of your own is named in frygauge.toml, treatments = [\"...\"]";
    sheet.expect(&["tank", "hatch_date"], &known, extra, problems);
    let mut tanks: Vec<Tank> = Vec::new();
    for row in sheet.rows() {
        let name = row.needed("tank", problems);
        row.needed("hatch_date", problems);
        let hatch = row.date("hatch_date", problems);
        let stocked = row.date("stocked_date", problems);
        let temperature_c = row.number("temperature_c", problems);
        let species = row.text("species").or(settings.species.as_deref());
        let tank = Tank {
            name: name.unwrap_or_default().to_owned(),
            row: row.line,
            species: species.unwrap_or_default().to_owned(),
            hatch: hatch.unwrap_or_default(),
            stocked,
            stocked_number: row.count("stocked_number", problems),
            volume_l: row.positive("volume_l", problems),
            temperature_c,
            screen_mm: row.positive("screen_mm", problems),
            treatments: settings
                .treatments
                .iter()
                .filter_map(|t| Some((t.clone(), row.text(t)?.to_owned())))
                .collect(),
            notes: row.text("notes").unwrap_or_default().to_owned(),
        };
        if species.is_none() {
            let hint = "give it here, or for all tanks as species = \"...\" in frygauge.toml";
            problems.add(row.problem("species", "no species", hint));
        }
        if temperature_c.is_some_and(|t| !(0.0..=40.0).contains(&t)) {
            problems.add(row.problem(
                "temperature_c",
                "not a water temperature",
                "give degrees Celsius, 0 to 40",
            ));
        }
        if name == Some(super::ALL_TANKS) {
            problems.add(row.problem(
                "tank",
                "`all` means every tank in events.csv",
                "give the tank another name",
            ));
        }
        if let (Some(hatch), Some(stocked)) = (hatch, stocked)
            && stocked < hatch
        {
            let what = format!("stocked on {stocked}, before hatching on {hatch}");
            problems.add(row.problem("stocked_date", what, "check both dates"));
        }
        // P01 and p01 would be two tanks that nobody can tell apart.
        if let Some(earlier) = tanks.iter().find(|t| t.name.to_lowercase() == tank.name.to_lowercase())
            && name.is_some()
        {
            let what = format!("{} is also in row {}", tank.name, earlier.row);
            problems.add(row.problem("tank", what, "a tank has one row; remove or rename one"));
        }
        tanks.push(tank);
    }
    if tanks.is_empty() {
        let path = super::TANKS;
        problems.add(super::Problem::new(
            path.as_ref(),
            "no tank",
            "give each tank a row: tank, hatch_date, ...",
        ));
    }
    tanks
}
