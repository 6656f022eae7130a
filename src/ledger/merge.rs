//! Taking in the ledger of another computer: what it knows and this one does not.

use super::correct::carry_to_layers;
use super::record::Failed;
use super::{Act, Ledger, LedgerError};
use rusqlite::{Connection, OptionalExtension as _, Transaction, TransactionBehavior, params};
use std::path::Path;

/// What a merge added.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Merged {
    /// Photographs this ledger did not know.
    pub photographs: usize,
    /// Readings it did not know.
    pub layers: usize,
    /// Corrections it did not know.
    pub corrections: usize,
}

impl Ledger {
    /// Takes in every photograph, layer and correction of the ledger at `other`, in one transaction. What
    /// both hold is held once. The register stays this season's own: its files are edited, not merged.
    ///
    /// # Errors
    /// [`LedgerError::Refused`] when the two place one photograph differently and neither knew of the
    /// other's word; what opening and reading `other` says. Nothing is taken in then.
    pub fn merge(&mut self, act: &mut Act, other: &Path) -> Result<Merged, LedgerError> {
        let theirs = Self::open_read_only(other)?;
        let path = self.path().to_path_buf();
        let on = |e| LedgerError::from_sqlite(&path, e);
        let tx = self.conn.transaction_with_behavior(TransactionBehavior::Immediate).map_err(on)?;
        let merged = merge_in(&tx, act, &theirs.conn).map_err(|e| e.at(&path))?;
        if merged == Merged::default() {
            return Ok(merged);
        }
        let row = act.row(&tx).map_err(on)?;
        tx.commit().map_err(on)?;
        act.keep(Some(row));
        Ok(merged)
    }
}

fn merge_in(tx: &Transaction<'_>, act: &Act, theirs: &Connection) -> Result<Merged, Failed> {
    let mut merged = Merged::default();
    let mut photos = theirs.prepare("SELECT photo_id, sha256 FROM photograph ORDER BY photo_id")?;
    let photos: Vec<(i64, String)> =
        photos.query_map([], |r| Ok((r.get(0)?, r.get(1)?)))?.collect::<rusqlite::Result<_>>()?;
    for (their_photo, sha256) in photos {
        let ours: Option<i64> = tx
            .prepare_cached("SELECT photo_id FROM photograph WHERE sha256 = ?1")?
            .query_row([&sha256], |r| r.get(0))
            .optional()?;
        let photo = if let Some(photo) = ours {
            photo
        } else {
            merged.photographs += 1;
            let (name, width, height, action): (String, Option<i64>, Option<i64>, i64) = theirs
                .prepare_cached(
                    "SELECT name, width_px, height_px, action_id FROM photograph WHERE photo_id = ?1",
                )?
                .query_row([their_photo], |r| Ok((r.get(0)?, r.get(1)?, r.get(2)?, r.get(3)?)))?;
            let action = action_of(tx, theirs, action)?;
            tx.prepare_cached(
                "INSERT INTO photograph (sha256, name, width_px, height_px, action_id) VALUES (?1, ?2, ?3, ?4, ?5)",
            )?
            .execute(params![sha256, name, width, height, action])?;
            tx.last_insert_rowid()
        };
        placements(tx, theirs, &sha256, photo, their_photo)?;
        merged.layers += layers(tx, theirs, photo, their_photo)?;
        merged.corrections += corrections(tx, act, theirs, photo, their_photo)?;
        carry_to_layers(tx, photo)?;
    }
    Ok(merged)
}

/// The row here of an action there, copied if need be.
fn action_of(tx: &Transaction<'_>, theirs: &Connection, action: i64) -> rusqlite::Result<i64> {
    let columns: [String; 6] = theirs
        .prepare_cached("SELECT uid, at, who, kind, software, detail FROM action WHERE action_id = ?1")?
        .query_row([action], |r| Ok([r.get(0)?, r.get(1)?, r.get(2)?, r.get(3)?, r.get(4)?, r.get(5)?]))?;
    tx.prepare_cached(
        "INSERT INTO action (uid, at, who, kind, software, detail) VALUES (?1, ?2, ?3, ?4, ?5, ?6)
         ON CONFLICT (uid) DO NOTHING",
    )?
    .execute(rusqlite::params_from_iter(&columns))?;
    tx.prepare_cached("SELECT action_id FROM action WHERE uid = ?1")?.query_row([&columns[0]], |r| r.get(0))
}

type Placed = (String, String, String, i64);

/// Where a photograph was said to be taken, oldest first: uid of the action, tank, date, action.
fn placed(conn: &Connection, photo: i64) -> rusqlite::Result<Vec<Placed>> {
    conn.prepare_cached(
        "SELECT a.uid, p.tank, p.date, a.action_id FROM placement p JOIN action a USING (action_id)
         WHERE p.photo_id = ?1 ORDER BY p.placement_id",
    )?
    .query_map([photo], |r| Ok((r.get(0)?, r.get(1)?, r.get(2)?, r.get(3)?)))?
    .collect()
}

fn placements(
    tx: &Transaction<'_>,
    theirs: &Connection,
    sha256: &str,
    photo: i64,
    their_photo: i64,
) -> Result<(), Failed> {
    let (here, there) = (placed(tx, photo)?, placed(theirs, their_photo)?);
    let (Some(ours), Some(new)) = (here.last(), there.last()) else {
        for (_, tank, date, action) in &there {
            let action = action_of(tx, theirs, *action)?;
            tx.prepare_cached(
                "INSERT INTO placement (photo_id, tank, date, action_id) VALUES (?1, ?2, ?3, ?4)",
            )?
            .execute(params![photo, tank, date, action])?;
        }
        return Ok(());
    };
    let same = |a: &Placed, b: &Placed| a.1 == b.1 && a.2 == b.2;
    if same(ours, new) || here.iter().any(|h| h.0 == new.0 && same(h, new)) {
        // Agreed, or theirs is what was corrected here since.
        return Ok(());
    }
    if there.iter().any(|t| t.0 == ours.0 && same(t, ours)) {
        let action = action_of(tx, theirs, new.3)?;
        tx.prepare_cached("INSERT INTO placement (photo_id, tank, date, action_id) VALUES (?1, ?2, ?3, ?4)")?
            .execute(params![photo, new.1, new.2, action])?;
        return Ok(());
    }
    Err(Failed::Refused {
        what: format!(
            "photograph {sha256}: a sample of {} on {} here, of {} on {} in the other ledger",
            ours.1, ours.2, new.1, new.2
        ),
        hint:
            "find out which is right and put the other right with `frygauge season move`, then merge again; \
               nothing was taken in"
                .into(),
    })
}

/// Copies the layers that are not here; returns how many.
fn layers(tx: &Transaction<'_>, theirs: &Connection, photo: i64, their_photo: i64) -> Result<usize, Failed> {
    let mut added = 0;
    let there: Vec<(i64, String, String, String, i64)> = theirs
        .prepare_cached(
            "SELECT l.layer_id, l.content_sha256, m.name, m.sha256, l.action_id FROM layer l JOIN model m USING (model_id)
             WHERE l.photo_id = ?1 ORDER BY l.layer_id",
        )?
        .query_map([their_photo], |r| Ok((r.get(0)?, r.get(1)?, r.get(2)?, r.get(3)?, r.get(4)?)))?
        .collect::<rusqlite::Result<_>>()?;
    for (layer, content, model, model_sha256, their_action) in there {
        tx.prepare_cached("INSERT INTO model (name, sha256) VALUES (?1, ?2) ON CONFLICT DO NOTHING")?
            .execute([&model, &model_sha256])?;
        let model_id: i64 = tx
            .prepare_cached("SELECT model_id FROM model WHERE name = ?1 AND sha256 = ?2")?
            .query_row([&model, &model_sha256], |r| r.get(0))?;
        let known = tx
            .prepare_cached(
                "SELECT 1 FROM layer WHERE photo_id = ?1 AND model_id = ?2 AND content_sha256 = ?3",
            )?
            .exists(params![photo, model_id, content])?;
        if known {
            continue;
        }
        added += 1;
        let action = action_of(tx, theirs, their_action)?;
        let mut row: Vec<rusqlite::types::Value> = theirs
            .prepare_cached(
                "SELECT content_sha256, status, reason, lighting, mm_per_px, mm_per_px_se, scale_source, fish, sharpness,
                     flags, seconds FROM layer WHERE layer_id = ?1",
            )?
            .query_row([layer], |r| (0..11).map(|i| r.get(i)).collect())?;
        row.extend([photo.into(), model_id.into(), action.into()]);
        tx.prepare_cached(
            "INSERT INTO layer (content_sha256, status, reason, lighting, mm_per_px, mm_per_px_se, scale_source, fish,
                 sharpness, flags, seconds, photo_id, model_id, action_id)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14)",
        )?
        .execute(rusqlite::params_from_iter(row))?;
        let new_layer = tx.last_insert_rowid();
        let mut fish = theirs.prepare_cached("SELECT * FROM fish WHERE layer_id = ?1 ORDER BY fish")?;
        let mut rows = fish.query([layer])?;
        while let Some(row) = rows.next()? {
            let mut values: Vec<rusqlite::types::Value> =
                (0..23).map(|i| row.get(i)).collect::<rusqlite::Result<_>>()?;
            values[0] = new_layer.into();
            tx.prepare_cached(
                "INSERT INTO fish VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16, ?17, ?18,
                     ?19, ?20, ?21, ?22, ?23)",
            )?
            .execute(rusqlite::params_from_iter(values))?;
        }
        // The later reading counts, whichever computer made it.
        let newest: Option<String> = tx
            .prepare_cached(
                "SELECT a.at FROM selection s JOIN action a USING (action_id) WHERE s.photo_id = ?1
                 ORDER BY s.selection_id DESC LIMIT 1",
            )?
            .query_row([photo], |r| r.get(0))
            .optional()?;
        let at: String =
            tx.query_row("SELECT at FROM action WHERE action_id = ?1", [action], |r| r.get(0))?;
        if newest.is_none_or(|n| n < at) {
            super::record::select(tx, photo, new_layer, action)?;
        }
    }
    Ok(added)
}

/// Copies the corrections that are not here; returns how many.
fn corrections(
    tx: &Transaction<'_>,
    act: &Act,
    theirs: &Connection,
    photo: i64,
    their_photo: i64,
) -> Result<usize, Failed> {
    let mut added = 0;
    let mut there = theirs.prepare_cached(
        "SELECT c.uid, c.kind, c.call, c.length_px, c.withdraws, c.snout_x_px, c.snout_y_px, c.x_px, c.y_px, c.tail_x_px,
             c.tail_y_px, c.total_length_px, c.note, c.fish, c.action_id, l.content_sha256, m.name, m.sha256, c.correction_id
         FROM correction c JOIN layer l USING (layer_id) JOIN model m USING (model_id)
         WHERE c.photo_id = ?1 ORDER BY c.correction_id",
    )?;
    let mut rows = there.query([their_photo])?;
    while let Some(row) = rows.next()? {
        let uid: String = row.get(0)?;
        if tx.prepare_cached("SELECT 1 FROM correction WHERE uid = ?1")?.exists([&uid])? {
            continue;
        }
        added += 1;
        act.row(tx)?;
        let action = action_of(tx, theirs, row.get(14)?)?;
        // The layer the person was looking at is here by now.
        let layer: i64 = tx
            .prepare_cached(
                "SELECT layer_id FROM layer JOIN model USING (model_id)
                 WHERE photo_id = ?1 AND content_sha256 = ?2 AND model.name = ?3 AND model.sha256 = ?4",
            )?
            .query_row(
                params![
                    photo,
                    row.get::<_, String>(15)?,
                    row.get::<_, String>(16)?,
                    row.get::<_, String>(17)?
                ],
                |r| r.get(0),
            )?;
        let mut values: Vec<rusqlite::types::Value> =
            (0..14).map(|i| row.get(i)).collect::<rusqlite::Result<_>>()?;
        values.extend([photo.into(), layer.into(), action.into()]);
        tx.prepare_cached(
            "INSERT INTO correction (uid, kind, call, length_px, withdraws, snout_x_px, snout_y_px, x_px, y_px, tail_x_px,
                 tail_y_px, total_length_px, note, fish, photo_id, layer_id, action_id)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16, ?17)",
        )?
        .execute(rusqlite::params_from_iter(values))?;
        let id = tx.last_insert_rowid();
        if let Some(fish) =
            row.get::<_, Option<i64>>(13)?.filter(|_| row.get::<_, String>(1).is_ok_and(|k| k != "withdraw"))
        {
            tx.prepare_cached(
                "INSERT INTO carried (layer_id, correction_id, fish, distance) VALUES (?1, ?2, ?3, 0)",
            )?
            .execute(params![layer, id, fish])?;
        }
    }
    Ok(added)
}
