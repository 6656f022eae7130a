//! The register's rows in the ledger: every version of what people typed.

use super::record::{digest, hex};
use super::{Act, Ledger, LedgerError};
use jiff::civil::{Date, Time};
use rusqlite::{OptionalExtension as _, Transaction, TransactionBehavior, params};
use sha2::{Digest as _, Sha256};
use std::collections::{BTreeMap, BTreeSet};

/// A file of the register, word for word.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RegisterFile {
    /// Its name in the season folder.
    pub name: String,
    /// Its bytes.
    pub content: Vec<u8>,
}

/// A tank's line.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct TankEntry {
    /// Its name.
    pub tank: String,
    /// Name of the species profile.
    pub species: Option<String>,
    /// Volume in litres.
    pub volume_l: Option<f64>,
    /// Day of hatching, 0 dph.
    pub hatch_date: Option<Date>,
    /// Day of stocking.
    pub stocked_date: Option<Date>,
    /// Fry stocked.
    pub stocked_number: Option<u64>,
    /// Water temperature in degrees Celsius, where no log says otherwise.
    pub temperature_c: Option<f64>,
    /// Opening of the outlet screen fitted.
    pub screen_mm: Option<f64>,
    /// Treatment columns, by name.
    pub treatments: BTreeMap<String, String>,
    /// Free words.
    pub notes: String,
}

/// A husbandry event.
#[derive(Debug, Clone, PartialEq)]
pub struct EventRow {
    /// Day.
    pub date: Date,
    /// Time of day, if noted.
    pub time: Option<Time>,
    /// A tank, or `all`.
    pub tank: String,
    /// What happened, in the words of `events.csv`.
    pub what: String,
    /// To what, from what.
    pub value: String,
    /// A count or measure, where the event has one.
    pub number: Option<f64>,
    /// Free words.
    pub note: String,
    /// Initials.
    pub who: String,
}

impl EventRow {
    /// The same event has the same uid wherever it is read.
    fn uid(&self) -> String {
        digest(&[
            &self.date.to_string(),
            &self.time.map(|t| t.to_string()).unwrap_or_default(),
            &self.tank,
            &self.what,
            &self.value,
            &self.number.map(|n| n.to_string()).unwrap_or_default(),
            &self.note,
            &self.who,
        ])
    }
}

/// The whole register as it is now.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct RegisterRows {
    /// Its files.
    pub files: Vec<RegisterFile>,
    /// Its tanks.
    pub tanks: Vec<TankEntry>,
    /// Its events.
    pub events: Vec<EventRow>,
}

type TankColumns = (
    i64,
    Option<String>,
    Option<f64>,
    Option<String>,
    Option<String>,
    Option<i64>,
    Option<f64>,
    Option<f64>,
    String,
    String,
);

impl TankEntry {
    fn columns(&self) -> TankColumns {
        (
            1,
            self.species.clone(),
            self.volume_l,
            self.hatch_date.map(|d| d.to_string()),
            self.stocked_date.map(|d| d.to_string()),
            self.stocked_number.map(|n| n as i64),
            self.temperature_c,
            self.screen_mm,
            serde_json::json!(self.treatments).to_string(),
            self.notes.clone(),
        )
    }
}

impl Ledger {
    /// Appends what changed in the register since it was last looked at; returns how many rows that were.
    ///
    /// # Errors
    /// What SQLite says; nothing is written then.
    pub fn sync_register(&mut self, act: &mut Act, register: &RegisterRows) -> Result<usize, LedgerError> {
        let path = self.path().to_path_buf();
        let on = |e| LedgerError::from_sqlite(&path, e);
        let tx = self.conn.transaction_with_behavior(TransactionBehavior::Immediate).map_err(on)?;
        let (changes, row) = sync(&tx, act, register).map_err(on)?;
        if changes > 0 {
            tx.commit().map_err(on)?;
            act.keep(row);
        }
        Ok(changes)
    }
}

fn sync(tx: &Transaction<'_>, act: &Act, register: &RegisterRows) -> rusqlite::Result<(usize, Option<i64>)> {
    let mut changes = 0;
    let mut row = None;
    let mut action = |changes: &mut usize| -> rusqlite::Result<i64> {
        *changes += 1;
        let id = act.row(tx)?;
        row = Some(id);
        Ok(id)
    };
    for file in &register.files {
        let sha256 = hex(&Sha256::digest(&file.content));
        let newest: Option<String> = tx
            .prepare_cached(
                "SELECT sha256 FROM register_file WHERE name = ?1 ORDER BY register_file_id DESC LIMIT 1",
            )?
            .query_row([&file.name], |r| r.get(0))
            .optional()?;
        if newest.as_deref() != Some(&sha256) {
            let action = action(&mut changes)?;
            tx.prepare_cached(
                "INSERT INTO register_file (name, sha256, content, action_id) VALUES (?1, ?2, ?3, ?4)",
            )?
            .execute(params![file.name, sha256, file.content, action])?;
        }
    }

    let known: BTreeMap<String, TankColumns> = tx
        .prepare_cached(
            "SELECT tank, present, species, volume_l, hatch_date, stocked_date, stocked_number, temperature_c, screen_mm,
                 treatments, notes FROM tank t
             WHERE tank_row_id = (SELECT max(tank_row_id) FROM tank u WHERE u.tank = t.tank)",
        )?
        .query_map([], |r| {
            Ok((
                r.get(0)?,
                (
                    r.get(1)?,
                    r.get(2)?,
                    r.get(3)?,
                    r.get(4)?,
                    r.get(5)?,
                    r.get(6)?,
                    r.get(7)?,
                    r.get(8)?,
                    r.get(9)?,
                    r.get(10)?,
                ),
            ))
        })?
        .collect::<rusqlite::Result<_>>()?;
    let mut wanted: BTreeMap<String, TankColumns> =
        register.tanks.iter().map(|t| (t.tank.clone(), t.columns())).collect();
    for (tank, columns) in &known {
        // A line that was taken out stays in the ledger as taken out, with what it said last.
        wanted.entry(tank.clone()).or_insert_with(|| {
            (
                0,
                columns.1.clone(),
                columns.2,
                columns.3.clone(),
                columns.4.clone(),
                columns.5,
                columns.6,
                columns.7,
                columns.8.clone(),
                columns.9.clone(),
            )
        });
    }
    for (tank, c) in &wanted {
        if known.get(tank) != Some(c) {
            let action = action(&mut changes)?;
            tx.prepare_cached(
                "INSERT INTO tank (tank, present, species, volume_l, hatch_date, stocked_date, stocked_number,
                     temperature_c, screen_mm, treatments, notes, action_id)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12)",
            )?
            .execute(params![tank, c.0, c.1, c.2, c.3, c.4, c.5, c.6, c.7, c.8, c.9, action])?;
        }
    }

    let held: BTreeSet<String> = tx
        .prepare_cached("SELECT uid FROM current_event")?
        .query_map([], |r| r.get(0))?
        .collect::<rusqlite::Result<_>>()?;
    let typed: BTreeMap<String, &EventRow> = register.events.iter().map(|e| (e.uid(), e)).collect();
    for (uid, event) in typed.iter().filter(|(uid, _)| !held.contains(*uid)) {
        let action = action(&mut changes)?;
        tx.prepare_cached(
            "INSERT INTO event (uid, present, date, time, tank, what, value, number, note, who, action_id)
             VALUES (?1, 1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)",
        )?
        .execute(params![
            uid,
            event.date.to_string(),
            event.time.map(|t| t.to_string()),
            event.tank,
            event.what,
            event.value,
            event.number,
            event.note,
            event.who,
            action
        ])?;
    }
    for uid in held.iter().filter(|uid| !typed.contains_key(*uid)) {
        let action = action(&mut changes)?;
        tx.prepare_cached(
            "INSERT INTO event (uid, present, date, time, tank, what, value, number, note, who, action_id)
             SELECT uid, 0, date, time, tank, what, value, number, note, who, ?2 FROM current_event WHERE uid = ?1",
        )?
        .execute(params![uid, action])?;
    }
    Ok((changes, row))
}
