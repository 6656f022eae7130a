//! Reading what holds now: the samples, with the word of people over the word of the model.

use super::check::StoredLayer;
use super::{Ledger, LedgerError, ModelRef};
use crate::records::{FishRow, PhotoRow};
use jiff::civil::Date;
use rusqlite::Row;
use serde::de::DeserializeOwned;
use serde::de::value::{Error as WordError, StrDeserializer};

/// One photograph as it counts now.
#[derive(Debug, Clone, PartialEq)]
pub struct Sample {
    /// The tank sampled.
    pub tank: String,
    /// The date of the sample.
    pub date: Date,
    /// The photograph; `fish` counts what the model found, `seconds` is not kept here.
    pub photo: PhotoRow,
    /// The fish that count: corrections applied, without what a person says is no fish, with what a
    /// person added. `age_dph` is empty: it is the register's to tell.
    pub fish: Vec<FishRow>,
    /// The model that made the calls.
    pub model: ModelRef,
    /// Version of frygauge that scored it.
    pub software: String,
    /// When it was scored, RFC 3339, UTC.
    pub scored_at: String,
}

/// A correction that did not find its fish in the reading that counts now.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Lost {
    /// The photograph's name.
    pub photo: String,
    /// Names the correction.
    pub uid: String,
    /// Initials of who made it.
    pub who: String,
    /// `call`, `length` or `not_a_fish`.
    pub kind: String,
}

impl Ledger {
    /// Every photograph that counts, by tank, date and name.
    ///
    /// # Errors
    /// [`LedgerError::BadRow`] when a row holds what it never should; what SQLite says otherwise.
    pub fn samples(&self) -> Result<Vec<Sample>, LedgerError> {
        let mut samples: Vec<(i64, Sample)> = self
            .conn
            .prepare(
                "SELECT photo_id, tank, date, photo, sha256, status, reason, width_px, height_px, lighting, mm_per_px,
                     mm_per_px_se, scale_source, fish, sharpness, flags, model, model_sha256, software, scored_at
                 FROM current_photo ORDER BY photo_id",
            )
            .and_then(|mut s| s.query_map([], |row| Ok((row.get(0)?, sample(row)?)))?.collect())
            .map_err(|e| self.reading(e))?;
        let mut fish = self
            .conn
            .prepare(
                "SELECT photo_id, photo, tank, date, fish, x_px, y_px, snout_x_px, snout_y_px, tail_x_px, tail_y_px,
                     total_length_px, total_length_mm, total_length_se_mm, depth_mm, view, call, p_inflated,
                     bladder_position, bladder_length_mm, bladder_height_mm, use_length, use_call, flags, vessel, caller,
                     head_depth_mm
                 FROM current_fish",
            )
            .map_err(|e| self.reading(e))?;
        let rows = fish
            .query_map([], |row| Ok((row.get::<_, i64>(0)?, fish_row(row)?)))
            .map_err(|e| self.reading(e))?;
        for row in rows {
            let (photo_id, fish) = row.map_err(|e| self.reading(e))?;
            // Both lists come from one file, but another program may add between the two statements.
            if let Ok(at) = samples.binary_search_by_key(&photo_id, |(id, _)| *id) {
                samples[at].1.fish.push(fish);
            }
        }
        let mut samples: Vec<Sample> = samples.into_iter().map(|(_, sample)| sample).collect();
        for sample in &mut samples {
            sample.fish.sort_by_key(|f| f.fish);
        }
        samples.sort_by(|a, b| {
            (&a.tank, a.date, &a.photo.photo, &a.photo.sha256).cmp(&(
                &b.tank,
                b.date,
                &b.photo.photo,
                &b.photo.sha256,
            ))
        });
        Ok(samples)
    }

    /// The corrections that hold but have no fish in the reading that counts now.
    ///
    /// # Errors
    /// What SQLite says.
    pub fn lost_corrections(&self) -> Result<Vec<Lost>, LedgerError> {
        self.conn
            .prepare(
                "SELECT f.name, c.uid, c.who, c.kind FROM current_correction c
                 JOIN photograph f USING (photo_id)
                 JOIN current_layer l ON l.photo_id = c.photo_id
                 WHERE c.kind <> 'missed' AND NOT EXISTS (
                     SELECT 1 FROM carried k WHERE k.layer_id = l.layer_id AND k.correction_id = c.correction_id)
                 ORDER BY f.name, c.correction_id",
            )
            .and_then(|mut s| {
                s.query_map([], |r| Ok(Lost { photo: r.get(0)?, uid: r.get(1)?, who: r.get(2)?, kind: r.get(3)? }))?
                    .collect()
            })
            .map_err(|e| self.error(e))
    }

    /// How many corrections hold.
    ///
    /// # Errors
    /// What SQLite says.
    pub fn corrections_held(&self) -> Result<i64, LedgerError> {
        self.conn
            .query_row("SELECT count(*) FROM current_correction", [], |r| r.get(0))
            .map_err(|e| self.error(e))
    }

    /// A failure to read: a value that does not fit its column is a damaged row, the rest is SQLite's.
    fn reading(&self, error: rusqlite::Error) -> LedgerError {
        match error {
            rusqlite::Error::FromSqlConversionFailure(..)
            | rusqlite::Error::InvalidColumnType(..)
            | rusqlite::Error::IntegralValueOutOfRange(..) => {
                LedgerError::BadRow { path: self.path().into(), what: error.to_string() }
            }
            other => self.error(other),
        }
    }
}

fn sample(row: &Row<'_>) -> rusqlite::Result<Sample> {
    Ok(Sample {
        tank: row.get(1)?,
        date: parsed(row, 2)?,
        photo: photo_row(row)?,
        fish: Vec::new(),
        model: ModelRef { name: row.get(16)?, sha256: row.get(17)? },
        software: row.get(18)?,
        scored_at: row.get(19)?,
    })
}

/// The columns from 3 (name) to 15 (flags) of a photograph and its layer.
fn photo_row(row: &Row<'_>) -> rusqlite::Result<PhotoRow> {
    let lighting: Option<String> = row.get(9)?;
    Ok(PhotoRow {
        photo: row.get(3)?,
        sha256: row.get(4)?,
        status: worded(row, 5)?,
        reason: row.get(6)?,
        width_px: row.get(7)?,
        height_px: row.get(8)?,
        lighting: lighting.map(|word| from_word(&word).ok_or_else(|| unreadable(9, &word))).transpose()?,
        mm_per_px: row.get(10)?,
        mm_per_px_se: row.get(11)?,
        scale_source: row.get(12)?,
        fish: row.get(13)?,
        sharpness: row.get(14)?,
        flags: row.get(15)?,
        seconds: None,
    })
}

fn fish_row(row: &Row<'_>) -> rusqlite::Result<FishRow> {
    Ok(FishRow {
        photo: row.get(1)?,
        tank: row.get(2)?,
        date: Some(parsed(row, 3)?),
        age_dph: None,
        fish: row.get(4)?,
        x_px: row.get(5)?,
        y_px: row.get(6)?,
        snout_x_px: row.get(7)?,
        snout_y_px: row.get(8)?,
        tail_x_px: row.get(9)?,
        tail_y_px: row.get(10)?,
        total_length_px: row.get(11)?,
        total_length_mm: row.get(12)?,
        total_length_se_mm: row.get(13)?,
        depth_mm: row.get(14)?,
        view: worded(row, 15)?,
        call: worded(row, 16)?,
        p_inflated: row.get(17)?,
        bladder_position: row.get(18)?,
        bladder_length_mm: row.get(19)?,
        bladder_height_mm: row.get(20)?,
        use_length: worded(row, 21)?,
        use_call: worded(row, 22)?,
        flags: row.get(23)?,
        vessel: row.get(24)?,
        caller: row.get(25)?,
        head_depth_mm: row.get(26)?,
    })
}

/// The enum a word stands for.
pub(super) fn from_word<T: DeserializeOwned>(word: &str) -> Option<T> {
    T::deserialize(StrDeserializer::<WordError>::new(word)).ok()
}

/// A word of a column as the enum it stands for.
fn worded<T: DeserializeOwned>(row: &Row<'_>, column: usize) -> rusqlite::Result<T> {
    let word = row.get_ref(column)?.as_str()?;
    from_word(word).ok_or_else(|| unreadable(column, word))
}

/// A text column as a date.
fn parsed(row: &Row<'_>, column: usize) -> rusqlite::Result<Date> {
    let text = row.get_ref(column)?.as_str()?;
    text.parse().map_err(|_| unreadable(column, text))
}

fn unreadable(column: usize, text: &str) -> rusqlite::Error {
    rusqlite::Error::FromSqlConversionFailure(
        column,
        rusqlite::types::Type::Text,
        format!("column {column} holds `{text}`").into(),
    )
}

impl Ledger {
    /// Every layer as it was recorded, in order.
    pub(super) fn layers(&self) -> Result<Vec<StoredLayer>, LedgerError> {
        let mut layers: Vec<StoredLayer> = self
            .conn
            .prepare(
                "SELECT layer_id, content_sha256, NULL, f.name, f.sha256, status, reason, width_px, height_px, lighting,
                     mm_per_px, mm_per_px_se, scale_source, l.fish, sharpness, flags
                 FROM layer l JOIN photograph f USING (photo_id) ORDER BY layer_id",
            )
            .and_then(|mut s| {
                s.query_map([], |row| {
                    Ok(StoredLayer {
                        layer_id: row.get(0)?,
                        content_sha256: row.get(1)?,
                        photo: photo_row(row)?,
                        fish: Vec::new(),
                    })
                })?
                .collect()
            })
            .map_err(|e| self.reading(e))?;
        let mut fish = self
            .conn
            .prepare(
                "SELECT layer_id, '', NULL, '2000-01-01', fish, x_px, y_px, snout_x_px, snout_y_px, tail_x_px, tail_y_px,
                     total_length_px, total_length_mm, total_length_se_mm, depth_mm, view, call, p_inflated,
                     bladder_position, bladder_length_mm, bladder_height_mm, use_length, use_call, flags, vessel, 'model',
                     head_depth_mm
                 FROM fish ORDER BY layer_id, fish",
            )
            .map_err(|e| self.reading(e))?;
        let rows = fish
            .query_map([], |row| Ok((row.get::<_, i64>(0)?, fish_row(row)?)))
            .map_err(|e| self.reading(e))?;
        for row in rows {
            let (layer_id, fish) = row.map_err(|e| self.reading(e))?;
            if let Ok(at) = layers.binary_search_by_key(&layer_id, |l| l.layer_id) {
                layers[at].fish.push(fish);
            }
        }
        Ok(layers)
    }
}
