//! What people say about fish, kept beside what the model says.

use super::follow::Place;
use super::record::{Failed, carry, digest, place, select, word};
use super::{Act, Ledger, LedgerError};
use crate::records::Call;
use jiff::civil::Date;
use rusqlite::{OptionalExtension as _, Transaction, TransactionBehavior, named_params, params};

/// What a person says.
#[derive(Debug, Clone, PartialEq)]
pub enum Said {
    /// The bladder call of a fish.
    Call(Call),
    /// The total length of a fish, in pixels of the photograph.
    Length(f64),
    /// What was found there is not a fish.
    NotAFish,
    /// A fish that was not found lies here.
    Missed {
        /// Where.
        place: Place,
        /// Its call.
        call: Call,
    },
    /// An earlier correction, named by its uid, no longer holds.
    Withdraw(String),
}

/// A correction of one photograph.
#[derive(Debug, Clone, PartialEq)]
pub struct Correction {
    /// SHA-256 of the photograph.
    pub sha256: String,
    /// The fish's number in the reading that counts now; `None` for a missed fish or a withdrawal.
    pub fish: Option<u32>,
    /// What is said.
    pub said: Said,
    /// Why, if the person says so.
    pub note: String,
}

/// A correction as the ledger keeps it.
#[derive(Debug, Clone, PartialEq)]
pub struct Held {
    /// Names it in every copy of the season.
    pub uid: String,
    /// Initials.
    pub who: String,
    /// RFC 3339, UTC.
    pub at: String,
    /// `call`, `length`, `not_a_fish` or `missed`.
    pub kind: String,
    /// The fish it belongs to in the reading that counts now; `None` when it did not find it.
    pub fish: Option<u32>,
    /// The person's call.
    pub call: Option<Call>,
    /// The person's length in pixels.
    pub length_px: Option<f64>,
    /// Where the fish lies.
    pub place: Place,
    /// Why.
    pub note: String,
}

impl Ledger {
    /// Adds corrections, all or none, and returns their uids. Saying the same thing in the same act again
    /// adds nothing.
    ///
    /// # Errors
    /// [`LedgerError::Refused`] when the photograph, fish or correction named is not there.
    pub fn correct(&mut self, act: &mut Act, corrections: &[Correction]) -> Result<Vec<String>, LedgerError> {
        let path = self.path().to_path_buf();
        let on = |e| LedgerError::from_sqlite(&path, e);
        let tx = self.conn.transaction_with_behavior(TransactionBehavior::Immediate).map_err(on)?;
        let added: Result<Vec<String>, Failed> =
            corrections.iter().map(|correction| add(&tx, act, correction)).collect();
        let added = added.map_err(|e| e.at(&path))?;
        let row = if corrections.is_empty() { None } else { Some(act.row(&tx).map_err(on)?) };
        tx.commit().map_err(on)?;
        act.keep(row);
        Ok(added)
    }

    /// Says that a photograph is a sample of another tank or date.
    ///
    /// # Errors
    /// [`LedgerError::Refused`] when no photograph has this SHA-256 or name, or more than one has it.
    pub fn move_photograph(
        &mut self,
        act: &mut Act,
        photo: &str,
        tank: &str,
        date: Date,
    ) -> Result<(), LedgerError> {
        let path = self.path().to_path_buf();
        let on = |e| LedgerError::from_sqlite(&path, e);
        let tx = self.conn.transaction_with_behavior(TransactionBehavior::Immediate).map_err(on)?;
        let known: Vec<(i64, String)> = tx
            .prepare("SELECT photo_id, sha256 FROM photograph WHERE sha256 = ?1 OR name = ?1")
            .and_then(|mut s| s.query_map([photo], |r| Ok((r.get(0)?, r.get(1)?)))?.collect())
            .map_err(on)?;
        let refused = |what: String, hint: &str| LedgerError::Refused { what, hint: hint.into() };
        let photo_id = match known.as_slice() {
            [(id, _)] => *id,
            [] => {
                return Err(refused(
                    format!("{photo}: no such photograph in the ledger"),
                    "give its name as in photographs.csv of `frygauge season export`, or its SHA-256",
                ));
            }
            several => {
                let all: Vec<&str> = several.iter().map(|(_, sha)| sha.as_str()).collect();
                return Err(refused(
                    format!("{photo}: {} photographs have this name: {}", several.len(), all.join(", ")),
                    "give the SHA-256 of the one that is meant",
                ));
            }
        };
        let row = act.row(&tx).map_err(on)?;
        place(&tx, photo_id, tank, date, row).map_err(on)?;
        tx.commit().map_err(on)?;
        act.keep(Some(row));
        Ok(())
    }

    /// Makes an older layer of a photograph count again; the corrections follow.
    ///
    /// # Errors
    /// [`LedgerError::Refused`] when the photograph has no such layer.
    pub fn select_layer(&mut self, act: &mut Act, sha256: &str, layer_id: i64) -> Result<(), LedgerError> {
        let path = self.path().to_path_buf();
        let on = |e| LedgerError::from_sqlite(&path, e);
        let tx = self.conn.transaction_with_behavior(TransactionBehavior::Immediate).map_err(on)?;
        let photo: Option<i64> = tx
            .query_row(
                "SELECT photo_id FROM layer JOIN photograph USING (photo_id) WHERE layer_id = ?1 AND sha256 = ?2",
                params![layer_id, sha256],
                |r| r.get(0),
            )
            .optional()
            .map_err(on)?;
        let Some(photo_id) = photo else {
            return Err(LedgerError::Refused {
                what: format!("photograph {sha256} has no layer {layer_id}"),
                hint: "the layers are in layers.csv of `frygauge season export`".into(),
            });
        };
        let row = act.row(&tx).map_err(on)?;
        select(&tx, photo_id, layer_id, row).map_err(on)?;
        tx.commit().map_err(on)?;
        act.keep(Some(row));
        Ok(())
    }

    /// The corrections of a photograph that hold, oldest first, each with the fish it belongs to now.
    ///
    /// # Errors
    /// What SQLite says.
    pub fn corrections(&self, sha256: &str) -> Result<Vec<Held>, LedgerError> {
        let read = || -> rusqlite::Result<Vec<Held>> {
            self.conn
                .prepare_cached(
                    "SELECT c.uid, c.who, c.at, c.kind, k.fish, c.call, c.length_px, c.note,
                         c.snout_x_px, c.snout_y_px, c.x_px, c.y_px, c.tail_x_px, c.tail_y_px, c.total_length_px
                     FROM current_correction c
                     JOIN photograph f ON f.photo_id = c.photo_id
                     JOIN current_layer l ON l.photo_id = c.photo_id
                     LEFT JOIN carried k ON k.layer_id = l.layer_id AND k.correction_id = c.correction_id
                     WHERE f.sha256 = ?1 ORDER BY c.at, c.correction_id",
                )?
                .query_map([sha256], |row| {
                    let call: Option<String> = row.get(5)?;
                    Ok(Held {
                        uid: row.get(0)?,
                        who: row.get(1)?,
                        at: row.get(2)?,
                        kind: row.get(3)?,
                        fish: row.get(4)?,
                        call: call.as_deref().and_then(super::read::from_word),
                        length_px: row.get(6)?,
                        place: Place::from_row(row, 8)?,
                        note: row.get(7)?,
                    })
                })?
                .collect()
        };
        read().map_err(|e| self.error(e))
    }
}

/// Adds one correction and carries it to every layer of its photograph.
fn add(tx: &Transaction<'_>, act: &Act, correction: &Correction) -> Result<String, Failed> {
    let refused = |what: String, hint: &str| Failed::Refused { what, hint: hint.into() };
    let sha256 = &correction.sha256;
    let current: Option<(i64, i64)> = tx
        .prepare_cached(
            "SELECT photo_id, layer_id FROM current_layer JOIN photograph USING (photo_id) WHERE sha256 = ?1",
        )?
        .query_row([sha256], |r| Ok((r.get(0)?, r.get(1)?)))
        .optional()?;
    let Some((photo_id, layer_id)) = current else {
        return Err(refused(
            format!("no photograph {sha256} in the ledger"),
            "score it with `frygauge score --season DIR` first",
        ));
    };
    let (at, withdraws) = match &correction.said {
        Said::Missed { place, .. } => (*place, None),
        Said::Withdraw(uid) => {
            let earlier = tx
                .prepare_cached(
                    "SELECT snout_x_px, snout_y_px, x_px, y_px, tail_x_px, tail_y_px, total_length_px
                     FROM correction WHERE uid = ?1 AND photo_id = ?2 AND kind <> 'withdraw'",
                )?
                .query_row(params![uid, photo_id], |row| Place::from_row(row, 0))
                .optional()?;
            let Some(place) = earlier else {
                return Err(refused(
                    format!("no correction {uid} on photograph {sha256}"),
                    "the corrections are in corrections.csv of `frygauge season export`",
                ));
            };
            (place, Some(uid.clone()))
        }
        _ => {
            let found = tx
                .prepare_cached(
                    "SELECT snout_x_px, snout_y_px, x_px, y_px, tail_x_px, tail_y_px, total_length_px
                     FROM fish WHERE layer_id = ?1 AND fish = ?2",
                )?
                .query_row(params![layer_id, correction.fish], |row| Place::from_row(row, 0))
                .optional()?;
            let Some(place) = found else {
                let number = correction.fish.map_or("none given".into(), |f| f.to_string());
                return Err(refused(
                    format!("photograph {sha256} has no fish {number} in the reading that counts"),
                    "fish have the numbers of the annotated picture",
                ));
            };
            (place, None)
        }
    };
    let (kind, call, length_px) = match &correction.said {
        Said::Call(call) => ("call", Some(word(call)), None),
        Said::Length(px) => ("length", None, Some(*px)),
        Said::NotAFish => ("not_a_fish", None, None),
        Said::Missed { call, .. } => ("missed", Some(word(call)), None),
        Said::Withdraw(_) => ("withdraw", None, None),
    };
    let numbers = [at.snout, at.centre, at.tail].concat();
    if !(at.length.is_finite() && at.length > 0.0 && numbers.iter().all(|v| v.is_finite()))
        || length_px.is_some_and(|px| !(px.is_finite() && px > 0.0))
    {
        return Err(refused(
            format!("photograph {sha256}: a length or place that is not a number"),
            "give pixels of the photograph",
        ));
    }
    let fish =
        correction.fish.filter(|_| !matches!(correction.said, Said::Missed { .. } | Said::Withdraw(_)));
    let uid = digest(&[
        act.who(),
        &act.moment().to_string(),
        sha256,
        kind,
        &call.clone().unwrap_or_default(),
        &length_px.map(|v| v.to_string()).unwrap_or_default(),
        &format!("{at:?}"),
        withdraws.as_deref().unwrap_or_default(),
        &correction.note,
    ]);
    let there = tx.prepare_cached("SELECT 1 FROM correction WHERE uid = ?1")?.exists([&uid])?;
    if there {
        return Ok(uid);
    }
    let action = act.row(tx)?;
    tx.prepare_cached(
        "INSERT INTO correction (uid, photo_id, layer_id, fish, kind, call, length_px, withdraws, snout_x_px, snout_y_px,
             x_px, y_px, tail_x_px, tail_y_px, total_length_px, note, action_id)
         VALUES (:uid, :photo, :layer, :fish, :kind, :call, :length, :withdraws, :sx, :sy, :x, :y, :tx, :ty, :total,
             :note, :action)",
    )?
    .execute(named_params! {
        ":uid": uid, ":photo": photo_id, ":layer": layer_id, ":fish": fish, ":kind": kind, ":call": call,
        ":length": length_px, ":withdraws": withdraws, ":sx": at.snout[0], ":sy": at.snout[1], ":x": at.centre[0],
        ":y": at.centre[1], ":tx": at.tail[0], ":ty": at.tail[1], ":total": at.length, ":note": correction.note,
        ":action": action,
    })?;
    let correction_id = tx.last_insert_rowid();
    if let Some(fish) = fish {
        tx.prepare_cached(
            "INSERT INTO carried (layer_id, correction_id, fish, distance) VALUES (?1, ?2, ?3, 0)",
        )?
        .execute(params![layer_id, correction_id, fish])?;
    }
    if kind != "withdraw" {
        carry_to_layers(tx, photo_id)?;
    }
    Ok(uid)
}

/// Lets the corrections of a photograph find their fish in every layer where they have not yet.
pub(super) fn carry_to_layers(tx: &Transaction<'_>, photo_id: i64) -> rusqlite::Result<()> {
    let layers: Vec<i64> = tx
        .prepare_cached("SELECT layer_id FROM layer WHERE photo_id = ?1 ORDER BY layer_id")?
        .query_map([photo_id], |r| r.get(0))?
        .collect::<rusqlite::Result<_>>()?;
    for layer in layers {
        let fish: Vec<(i64, Place)> = tx
            .prepare_cached(
                "SELECT fish, snout_x_px, snout_y_px, x_px, y_px, tail_x_px, tail_y_px, total_length_px
                 FROM fish WHERE layer_id = ?1 ORDER BY fish",
            )?
            .query_map([layer], |row| Ok((row.get(0)?, Place::from_row(row, 1)?)))?
            .collect::<rusqlite::Result<_>>()?;
        carry(tx, photo_id, layer, &fish)?;
    }
    Ok(())
}
