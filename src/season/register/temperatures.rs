//! `temperatures.csv`: daily water temperature.

use super::{ALL_TANKS, Problems, Sheet, Tank};
use jiff::civil::Date;
use std::collections::BTreeMap;

/// Logged water temperatures, degrees Celsius: the mean of a day's entries.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Temperatures {
    /// Tank (or `all`) and day to sum and number of entries.
    entries: BTreeMap<(String, Date), (f64, u32)>,
}

impl Temperatures {
    /// The temperature of a tank on a day: its own, else that of all tanks.
    pub fn on(&self, tank: &str, date: Date) -> Option<f64> {
        let of = |name: &str| self.entries.get(&(name.to_owned(), date)).map(|(sum, n)| sum / f64::from(*n));
        of(tank).or_else(|| of(ALL_TANKS))
    }

    /// Adds an entry.
    pub fn add(&mut self, tank: &str, date: Date, celsius: f64) {
        let entry = self.entries.entry((tank.to_owned(), date)).or_default();
        *entry = (entry.0 + celsius, entry.1 + 1);
    }

    /// Whether nothing is logged.
    pub fn is_empty(&self) -> bool {
        self.entries.is_empty()
    }
}

pub(super) fn read(sheet: &Sheet, tanks: &[Tank], problems: &mut Problems) -> Temperatures {
    sheet.expect(&["date", "temperature_c"], &["tank", "note"], "free words go into note", problems);
    let mut log = Temperatures::default();
    for row in sheet.rows() {
        row.needed("date", problems);
        row.needed("temperature_c", problems);
        let date = row.date("date", problems);
        let celsius = row.number("temperature_c", problems);
        let tank = row.text("tank").unwrap_or(ALL_TANKS);
        if tank != ALL_TANKS && !tanks.iter().any(|t| t.name == tank) {
            problems.add(row.problem(
                "tank",
                format!("{tank} is not registered"),
                "add it to tanks.csv, or write all",
            ));
        }
        if celsius.is_some_and(|t| !(0.0..=40.0).contains(&t)) {
            problems.add(row.problem(
                "temperature_c",
                "not a water temperature",
                "give degrees Celsius, 0 to 40",
            ));
        }
        if let (Some(date), Some(celsius)) = (date, celsius) {
            log.add(tank, date, celsius);
        }
    }
    log
}
