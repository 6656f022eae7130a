//! Writing what was scored: one transaction a photograph, nothing twice.

use super::follow::Place;
use super::{Ledger, LedgerError, follow};
use crate::records::{FishRow, PhotoRow};
use jiff::{Timestamp, civil::Date};
use rusqlite::{OptionalExtension as _, Transaction, TransactionBehavior, named_params, params};
use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};

/// What kind of thing somebody did.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ActKind {
    /// Scored photographs.
    Score,
    /// Corrected fish.
    Correct,
    /// Said that a photograph belongs to another tank or date.
    Place,
    /// Edited the register.
    Register,
    /// Took in the ledger of another computer.
    Merge,
}

impl ActKind {
    fn word(self) -> &'static str {
        match self {
            Self::Score => "score",
            Self::Correct => "correct",
            Self::Place => "place",
            Self::Register => "register",
            Self::Merge => "merge",
        }
    }
}

/// Who does something, when and with what; written once, with the first row that it adds.
#[derive(Debug, Clone)]
pub struct Act {
    who: String,
    kind: ActKind,
    detail: String,
    at: Timestamp,
    id: Option<i64>,
}

impl Act {
    /// An act of `who` (initials) at this moment; `detail` says with which options or files.
    pub fn now(who: &str, kind: ActKind, detail: &str) -> Self {
        Self::at(Timestamp::now(), who, kind, detail)
    }

    /// An act at a given moment.
    pub fn at(at: Timestamp, who: &str, kind: ActKind, detail: &str) -> Self {
        Self { who: who.into(), kind, detail: detail.into(), at, id: None }
    }

    /// The row of this act, written if it is not there yet. The number is remembered only after the
    /// transaction has been committed ([`Act::keep`]): a transaction that fails takes its act with it.
    pub(super) fn row(&self, tx: &Transaction<'_>) -> rusqlite::Result<i64> {
        if let Some(id) = self.id {
            return Ok(id);
        }
        let at = self.at.to_string();
        let software = env!("CARGO_PKG_VERSION");
        // Two acts of one person in one nanosecond on two computers would be one act; nothing else is.
        let uid = digest(&[&at, &self.who, self.kind.word(), software, &self.detail]);
        if let Some(id) =
            tx.query_row("SELECT action_id FROM action WHERE uid = ?1", [&uid], |r| r.get(0)).optional()?
        {
            return Ok(id);
        }
        tx.prepare_cached(
            "INSERT INTO action (uid, at, who, kind, software, detail) VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
        )?
        .execute(params![uid, at, self.who, self.kind.word(), software, self.detail])?;
        Ok(tx.last_insert_rowid())
    }

    pub(super) fn keep(&mut self, row: Option<i64>) {
        self.id = row.or(self.id);
    }

    pub(super) fn who(&self) -> &str {
        &self.who
    }

    pub(super) fn moment(&self) -> Timestamp {
        self.at
    }
}

/// The model that made the calls.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ModelRef {
    /// Its name and version.
    pub name: String,
    /// SHA-256 of the model file, lower-case hex.
    pub sha256: String,
}

/// One scored photograph on its way into the ledger.
#[derive(Debug, Clone, Copy)]
pub struct Scored<'a> {
    /// Its row; `seconds` does not count as content.
    pub photo: &'a PhotoRow,
    /// The tank sampled.
    pub tank: &'a str,
    /// The date of the sample.
    pub date: Date,
    /// Its fish, the model's own calls.
    pub fish: &'a [FishRow],
    /// The model.
    pub model: &'a ModelRef,
}

/// What recording a photograph added.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Recorded {
    /// A photograph the ledger did not know.
    Photograph,
    /// Another layer of a known photograph; `carried` corrections found their fish, `lost` did not.
    Layer {
        /// Corrections that found their fish in the new layer.
        carried: usize,
        /// Corrections that did not.
        lost: usize,
    },
    /// A layer that was there counts again.
    Reselected,
    /// Nothing: exactly this was recorded before.
    Nothing,
}

impl Ledger {
    /// Records one scored photograph in one transaction.
    ///
    /// # Errors
    /// [`LedgerError::Refused`] when the photograph is known as a sample of another tank or date, or when
    /// a row cannot be stored; otherwise what SQLite says. Nothing of the photograph is written then.
    pub fn record(&mut self, act: &mut Act, scored: &Scored<'_>) -> Result<Recorded, LedgerError> {
        validate(scored)?;
        let path = self.path().to_path_buf();
        let on = |e| LedgerError::from_sqlite(&path, e);
        let tx = self.conn.transaction_with_behavior(TransactionBehavior::Immediate).map_err(on)?;
        let Some((added, row)) = record_in(&tx, act, scored).map_err(|e| e.at(&path))? else {
            return Ok(Recorded::Nothing);
        };
        tx.commit().map_err(on)?;
        act.keep(Some(row));
        Ok(added)
    }
}

/// Either side of a transaction's failure, before the file's name is put to it.
pub(super) enum Failed {
    Sqlite(rusqlite::Error),
    Refused { what: String, hint: String },
}

impl From<rusqlite::Error> for Failed {
    fn from(error: rusqlite::Error) -> Self {
        Self::Sqlite(error)
    }
}

impl Failed {
    pub(super) fn at(self, path: &std::path::Path) -> LedgerError {
        match self {
            Self::Sqlite(error) => LedgerError::from_sqlite(path, error),
            Self::Refused { what, hint } => LedgerError::Refused { what, hint },
        }
    }
}

/// Adds what is not there yet; `None` when nothing had to be added.
fn record_in(
    tx: &Transaction<'_>,
    act: &Act,
    scored: &Scored<'_>,
) -> Result<Option<(Recorded, i64)>, Failed> {
    let photo = scored.photo;
    let known: Option<i64> = tx
        .prepare_cached("SELECT photo_id FROM photograph WHERE sha256 = ?1")?
        .query_row([&photo.sha256], |r| r.get(0))
        .optional()?;
    let content = content_sha256(photo, scored.fish);
    if let Some(photo_id) = known {
        stays_where_it_is(tx, photo_id, scored)?;
        let layer: Option<i64> = tx
            .prepare_cached(
                "SELECT layer_id FROM layer JOIN model USING (model_id)
                 WHERE photo_id = ?1 AND content_sha256 = ?2 AND name = ?3 AND model.sha256 = ?4",
            )?
            .query_row(params![photo_id, content, scored.model.name, scored.model.sha256], |r| r.get(0))
            .optional()?;
        if let Some(layer_id) = layer {
            let current: i64 =
                tx.query_row("SELECT layer_id FROM current_layer WHERE photo_id = ?1", [photo_id], |r| {
                    r.get(0)
                })?;
            if current == layer_id {
                return Ok(None);
            }
            let action = act.row(tx)?;
            select(tx, photo_id, layer_id, action)?;
            return Ok(Some((Recorded::Reselected, action)));
        }
        let action = act.row(tx)?;
        let layer_id = add_layer(tx, photo_id, action, scored, &content)?;
        let (carried, lost) = carry_all(tx, photo_id, layer_id, scored.fish)?;
        return Ok(Some((Recorded::Layer { carried, lost }, action)));
    }
    let action = act.row(tx)?;
    tx.prepare_cached(
        "INSERT INTO photograph (sha256, name, width_px, height_px, action_id) VALUES (?1, ?2, ?3, ?4, ?5)",
    )?
    .execute(params![photo.sha256, photo.photo, photo.width_px, photo.height_px, action])?;
    let photo_id = tx.last_insert_rowid();
    place(tx, photo_id, scored.tank, scored.date, action)?;
    add_layer(tx, photo_id, action, scored, &content)?;
    Ok(Some((Recorded::Photograph, action)))
}

/// A photograph cannot silently become a sample of another tank or day.
fn stays_where_it_is(tx: &Transaction<'_>, photo_id: i64, scored: &Scored<'_>) -> Result<(), Failed> {
    let (tank, date): (String, String) = tx
        .prepare_cached("SELECT tank, date FROM current_placement WHERE photo_id = ?1")?
        .query_row([photo_id], |r| Ok((r.get(0)?, r.get(1)?)))?;
    if tank == scored.tank && date == scored.date.to_string() {
        return Ok(());
    }
    Err(Failed::Refused {
        what: format!(
            "{}: recorded before as a sample of {tank} on {date}, now said to be of {} on {}",
            scored.photo.photo, scored.tank, scored.date
        ),
        hint:
            "if the first was wrong, put it right with `frygauge season move PHOTO --tank ID --date DATE`; \
               if the photograph was copied into the wrong folder, remove the copy"
                .into(),
    })
}

/// Appends where a photograph was taken.
pub(super) fn place(
    tx: &Transaction<'_>,
    photo_id: i64,
    tank: &str,
    date: Date,
    action: i64,
) -> rusqlite::Result<()> {
    tx.prepare_cached("INSERT INTO placement (photo_id, tank, date, action_id) VALUES (?1, ?2, ?3, ?4)")?
        .execute(params![photo_id, tank, date.to_string(), action])?;
    Ok(())
}

/// Makes a layer the one that counts.
pub(super) fn select(
    tx: &Transaction<'_>,
    photo_id: i64,
    layer_id: i64,
    action: i64,
) -> rusqlite::Result<()> {
    tx.prepare_cached("INSERT INTO selection (photo_id, layer_id, action_id) VALUES (?1, ?2, ?3)")?
        .execute(params![photo_id, layer_id, action])?;
    Ok(())
}

/// Adds a layer with its fish and makes it the one that counts.
fn add_layer(
    tx: &Transaction<'_>,
    photo_id: i64,
    action: i64,
    scored: &Scored<'_>,
    content: &str,
) -> rusqlite::Result<i64> {
    let (photo, model) = (scored.photo, scored.model);
    tx.prepare_cached("INSERT INTO model (name, sha256) VALUES (?1, ?2) ON CONFLICT DO NOTHING")?
        .execute([&model.name, &model.sha256])?;
    tx.prepare_cached(
        "INSERT INTO layer (photo_id, model_id, content_sha256, status, reason, lighting, mm_per_px, mm_per_px_se,
             scale_source, fish, sharpness, flags, seconds, action_id)
         SELECT :photo_id, model_id, :content, :status, :reason, :lighting, :mm_per_px, :mm_per_px_se,
             :scale_source, :fish, :sharpness, :flags, :seconds, :action
         FROM model WHERE name = :model AND sha256 = :model_sha256",
    )?
    .execute(named_params! {
        ":photo_id": photo_id, ":content": content, ":status": word(&photo.status), ":reason": photo.reason,
        ":lighting": photo.lighting.as_ref().map(word), ":mm_per_px": photo.mm_per_px,
        ":mm_per_px_se": photo.mm_per_px_se, ":scale_source": photo.scale_source,
        ":fish": scored.fish.len() as i64, ":sharpness": photo.sharpness, ":flags": photo.flags,
        ":seconds": photo.seconds, ":action": action, ":model": model.name, ":model_sha256": model.sha256,
    })?;
    let layer_id = tx.last_insert_rowid();
    let mut insert = tx.prepare_cached(
        "INSERT INTO fish VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16, ?17, ?18,
             ?19, ?20, ?21, ?22, ?23)",
    )?;
    for fish in scored.fish {
        insert.execute(params![
            layer_id,
            fish.fish,
            fish.x_px,
            fish.y_px,
            fish.snout_x_px,
            fish.snout_y_px,
            fish.tail_x_px,
            fish.tail_y_px,
            fish.total_length_px,
            fish.total_length_mm,
            fish.total_length_se_mm,
            fish.depth_mm,
            word(&fish.view),
            word(&fish.call),
            fish.p_inflated,
            fish.bladder_position,
            fish.bladder_length_mm,
            fish.bladder_height_mm,
            word(&fish.use_length),
            word(&fish.use_call),
            fish.flags,
            fish.vessel,
            fish.head_depth_mm,
        ])?;
    }
    select(tx, photo_id, layer_id, action)?;
    Ok(layer_id)
}

/// Lets every correction of the photograph find its fish in a layer just added.
fn carry_all(
    tx: &Transaction<'_>,
    photo_id: i64,
    layer_id: i64,
    fish: &[FishRow],
) -> rusqlite::Result<(usize, usize)> {
    let fish: Vec<(i64, Place)> = fish.iter().map(|f| (i64::from(f.fish), Place::of(f))).collect();
    carry(tx, photo_id, layer_id, &fish)
}

/// Matches the corrections of a photograph that are not yet carried into `layer_id` to its fish.
///
/// Returns how many found their fish and how many did not.
pub(super) fn carry(
    tx: &Transaction<'_>,
    photo_id: i64,
    layer_id: i64,
    fish: &[(i64, Place)],
) -> rusqlite::Result<(usize, usize)> {
    // Corrections of one fish of one layer share its place: they are matched as one.
    let mut select = tx.prepare_cached(
        "SELECT correction_id, snout_x_px, snout_y_px, x_px, y_px, tail_x_px, tail_y_px, total_length_px
         FROM correction WHERE photo_id = ?1 AND kind <> 'withdraw'
           AND correction_id NOT IN (SELECT correction_id FROM carried WHERE layer_id = ?2)
         ORDER BY correction_id",
    )?;
    let waiting: Vec<(i64, Place)> = select
        .query_map(params![photo_id, layer_id], |row| Ok((row.get(0)?, Place::from_row(row, 1)?)))?
        .collect::<rusqlite::Result<_>>()?;
    let mut places: Vec<(Place, Vec<i64>)> = Vec::new();
    for (id, place) in waiting {
        match places.iter_mut().find(|(p, _)| *p == place) {
            Some((_, ids)) => ids.push(id),
            None => places.push((place, vec![id])),
        }
    }
    let wanted: Vec<Place> = places.iter().map(|(p, _)| *p).collect();
    let found: Vec<Place> = fish.iter().map(|(_, p)| *p).collect();
    let (mut carried, mut lost) = (0, 0);
    let mut insert = tx.prepare_cached(
        "INSERT INTO carried (layer_id, correction_id, fish, distance) VALUES (?1, ?2, ?3, ?4)",
    )?;
    for ((_, ids), hit) in places.iter().zip(follow::matches(&wanted, &found)) {
        let Some(hit) = hit else {
            lost += ids.len();
            continue;
        };
        for id in ids {
            insert.execute(params![layer_id, id, fish[hit.index].0, hit.distance])?;
            carried += 1;
        }
    }
    Ok((carried, lost))
}

/// Refuses what the ledger could not give back as it was.
fn validate(scored: &Scored<'_>) -> Result<(), LedgerError> {
    let photo = scored.photo;
    let refuse = |what: String| {
        Err(LedgerError::Refused {
            what,
            hint: "score the photograph again; if it stays so, report it".into(),
        })
    };
    if photo.sha256.len() != 64 || !photo.sha256.bytes().all(|b| matches!(b, b'0'..=b'9' | b'a'..=b'f')) {
        return refuse(format!("{}: no SHA-256 of its bytes", photo.photo));
    }
    if scored.tank.trim().is_empty() {
        return refuse(format!("{}: no tank", photo.photo));
    }
    let mut numbers: Vec<u32> = scored.fish.iter().map(|f| f.fish).collect();
    numbers.sort_unstable();
    if numbers.windows(2).any(|w| w[0] == w[1]) {
        return refuse(format!("{}: two fish have one number", photo.photo));
    }
    // SQLite stores NaN as NULL: it would come back as another thing.
    for fish in scored.fish {
        if !reals(fish).into_iter().flatten().all(f64::is_finite) {
            return refuse(format!("{}: fish {} has a measure that is not a number", photo.photo, fish.fish));
        }
    }
    let scale = [photo.mm_per_px, photo.mm_per_px_se, photo.sharpness, photo.seconds];
    if !scale.into_iter().flatten().all(f64::is_finite) {
        return refuse(format!("{}: a measure that is not a number", photo.photo));
    }
    Ok(())
}

/// The measures of a fish in column order.
fn reals(fish: &FishRow) -> [Option<f64>; 15] {
    [
        Some(fish.x_px),
        Some(fish.y_px),
        Some(fish.snout_x_px),
        Some(fish.snout_y_px),
        Some(fish.tail_x_px),
        Some(fish.tail_y_px),
        Some(fish.total_length_px),
        fish.total_length_mm,
        fish.total_length_se_mm,
        fish.depth_mm,
        fish.p_inflated,
        fish.bladder_position,
        fish.bladder_length_mm,
        fish.bladder_height_mm,
        fish.head_depth_mm,
    ]
}

/// SHA-256 of what was read in a photograph: every column that the model, the scale and the picture
/// decide, and none that tells when, where, by whom or how fast.
pub(super) fn content_sha256(photo: &PhotoRow, fish: &[FishRow]) -> String {
    let mut hash = Sha256::new();
    let mut text = |t: &str| {
        hash.update((t.len() as u64).to_le_bytes());
        hash.update(t);
    };
    text(&word(&photo.status));
    text(&photo.reason);
    text(&photo.lighting.as_ref().map(word).unwrap_or_default());
    text(photo.scale_source.as_deref().unwrap_or_default());
    text(&photo.flags);
    for value in [photo.mm_per_px, photo.mm_per_px_se, photo.sharpness] {
        text(&bits(value));
    }
    let mut order: Vec<&FishRow> = fish.iter().collect();
    order.sort_by_key(|f| f.fish);
    for fish in order {
        text(&fish.fish.to_string());
        for value in reals(fish) {
            text(&bits(value));
        }
        for value in [word(&fish.view), word(&fish.call), word(&fish.use_length), word(&fish.use_call)] {
            text(&value);
        }
        text(&fish.flags);
        text(&fish.vessel.map(|v| v.to_string()).unwrap_or_default());
    }
    hex(&hash.finalize())
}

/// A number as its bits; `-0` is `0`, as in the file.
fn bits(value: Option<f64>) -> String {
    value.map(|v| format!("{:x}", (v + 0.0).to_bits())).unwrap_or_default()
}

/// The word a column holds for an enum of the records.
pub(super) fn word<T: Serialize>(value: &T) -> String {
    match serde_json::to_value(value) {
        Ok(serde_json::Value::String(word)) => word,
        other => unreachable!("records' enums serialise to words, got {other:?}"),
    }
}

/// Lower-case hex of some bytes.
pub(super) fn hex(bytes: &[u8]) -> String {
    use std::fmt::Write as _;
    bytes.iter().fold(String::with_capacity(2 * bytes.len()), |mut text, b| {
        let _ = write!(text, "{b:02x}");
        text
    })
}

/// SHA-256 of some texts, each with its length.
pub(super) fn digest(parts: &[&str]) -> String {
    let mut hash = Sha256::new();
    for part in parts {
        hash.update((part.len() as u64).to_le_bytes());
        hash.update(part);
    }
    hex(&hash.finalize())
}
