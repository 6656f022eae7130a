//! What a comparison takes in: one record a tank and date, from whatever kept it.

use std::io::Read;

use jiff::civil::Date;
use serde::{Deserialize, Serialize};

use super::table::{self, TableError};
use crate::records::TankRow;

/// A tank's sample of one date.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TankSample {
    /// Tank.
    pub tank: String,
    /// Date of the sample.
    pub date: Option<Date>,
    /// Age in days post hatch.
    pub age_dph: Option<f64>,
    /// Fish called.
    pub called: u64,
    /// Of these, inflated.
    pub inflated: u64,
    /// Fish whose call is unsure.
    pub unsure: u64,
    /// Fish measured.
    pub measured: u64,
    /// Their mean total length.
    pub mean_length_mm: Option<f64>,
    /// Its standard deviation.
    pub sd_length_mm: Option<f64>,
    /// Name of the model that made the calls, when known.
    pub model: Option<String>,
    /// Depth at which the sample was dipped, as it was noted.
    pub dip_depth: Option<String>,
}

impl From<&TankRow> for TankSample {
    fn from(row: &TankRow) -> Self {
        Self {
            tank: row.tank.clone(),
            date: row.date,
            age_dph: row.age_dph,
            called: u64::from(row.called),
            inflated: u64::from(row.inflated),
            unsure: u64::from(row.unsure),
            measured: u64::from(row.measured),
            mean_length_mm: row.mean_length_mm,
            sd_length_mm: row.sd_length_mm,
            model: None,
            dip_depth: None,
        }
    }
}

impl TankSample {
    /// Reads a `tanks.csv`, also a hand-made one: `tank`, `called` and `inflated` must be there; `date`, `age_dph`,
    /// `unsure`, `measured`, `mean_length_mm`, `sd_length_mm` and `dip_depth` may.
    ///
    /// # Errors
    /// [`TableError`] for missing columns, cells that are not numbers, and more inflated than called fish.
    ///
    /// ```
    /// use frygauge::tank::compare::TankSample;
    /// let table = "tank,date,called,inflated\nP01,2026-04-29,50,41\n";
    /// assert_eq!(TankSample::read(table.as_bytes()).unwrap()[0].inflated, 41);
    /// assert!(TankSample::read("tank,called,inflated\nP01,NaN,3\n".as_bytes()).is_err());
    /// ```
    pub fn read(source: impl Read) -> Result<Vec<Self>, TableError> {
        let lines = table::read(source, &["tank", "called", "inflated"])?;
        lines
            .iter()
            .map(|line| {
                let called = line.count("called")?.unwrap_or(0);
                let inflated = line.count("inflated")?.unwrap_or(0);
                if inflated > called {
                    return Err(line.error(
                        "inflated",
                        format!("{inflated} inflated of {called} called"),
                        "inflated fish cannot outnumber called fish",
                    ));
                }
                Ok(Self {
                    tank: line.required("tank")?.to_owned(),
                    date: line.date("date")?,
                    age_dph: line.number("age_dph")?,
                    called,
                    inflated,
                    unsure: line.count("unsure")?.unwrap_or(0),
                    measured: line.count("measured")?.unwrap_or(0),
                    mean_length_mm: line.number("mean_length_mm")?.filter(|l| *l > 0.0),
                    sd_length_mm: line.number("sd_length_mm")?,
                    model: line.get("model").map(str::to_owned),
                    dip_depth: line.get("dip_depth").map(str::to_owned),
                })
            })
            .collect()
    }
}
