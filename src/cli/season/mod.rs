//! `season`: the folder that keeps everything, its health and its copies.

mod new;
mod recording;
mod store;

pub use recording::Recording;
pub(super) use store::failed;
pub use store::{Recorder, Season};

use super::{Context, Exit, Failure, Place};
use crate::ledger::{Act, ActKind};
use jiff::civil::Date;
use std::path::PathBuf;

/// Arguments of `season`.
#[derive(Debug, clap::Args)]
pub struct Command {
    #[command(subcommand)]
    action: Action,
}

#[derive(Debug, clap::Subcommand)]
enum Action {
    /// Make a season folder: register and ledger
    New(new::New),
    /// Say whether register and ledger are sound, and what is wrong with them
    Check(Folder),
    /// Copy the ledger to one file, also while it is in use
    Backup(To),
    /// Write the whole ledger as CSV files and one JSON file
    Export(To),
    /// Take in the ledger of another computer
    Merge(Merge),
    /// Say that a photograph is of another tank or date
    Move(Move),
}

#[derive(Debug, clap::Args)]
struct Folder {
    /// Season folder
    #[arg(long, value_name = "DIR")]
    season: Option<PathBuf>,
}

#[derive(Debug, clap::Args)]
struct To {
    /// File (backup) or folder (export) to write; must not exist
    #[arg(value_name = "PATH")]
    to: PathBuf,
    #[command(flatten)]
    folder: Folder,
}

#[derive(Debug, clap::Args)]
struct Merge {
    /// The other ledger: its season.sqlite or a backup of it
    #[arg(value_name = "LEDGER")]
    other: PathBuf,
    #[command(flatten)]
    folder: Folder,
    /// Initials of who does it
    #[arg(long, value_name = "INITIALS")]
    by: Option<String>,
}

#[derive(Debug, clap::Args)]
struct Move {
    /// Name or SHA-256 of the photograph
    photo: String,
    /// Tank it is a sample of
    #[arg(long, value_name = "ID")]
    tank: String,
    /// Date it was taken
    #[arg(long, value_name = "YYYY-MM-DD")]
    date: Date,
    #[command(flatten)]
    folder: Folder,
    /// Initials of who says so
    #[arg(long, value_name = "INITIALS")]
    by: Option<String>,
}

impl Command {
    /// Runs it.
    ///
    /// # Errors
    /// A [`Failure`] that says where and what to do.
    pub fn run(&self, context: &Context) -> Result<Exit, Failure> {
        match &self.action {
            Action::New(new) => new.run(context),
            Action::Check(folder) => check(folder, context),
            Action::Backup(to) => {
                let season = Season::locate(to.folder.season.as_deref(), context)?;
                season.ledger_read_only()?.backup(&to.to).map_err(|e| store::failed(&e))?;
                context.printer.note(&format!("ledger copied to {}", to.to.display()));
                Ok(Exit::Done)
            }
            Action::Export(to) => {
                let season = Season::locate(to.folder.season.as_deref(), context)?;
                season.ledger_read_only()?.export(&to.to).map_err(|e| store::failed(&e))?;
                context.printer.note(&format!("ledger written to {}", to.to.display()));
                Ok(Exit::Done)
            }
            Action::Merge(merge) => {
                let season = Season::locate(merge.folder.season.as_deref(), context)?;
                let mut ledger = season.ledger()?;
                let detail = format!("from {}", merge.other.display());
                let mut act =
                    Act::now(&store::initials(merge.by.as_deref(), context), ActKind::Merge, &detail);
                let merged = ledger.merge(&mut act, &merge.other).map_err(|e| store::failed(&e))?;
                context.printer.note(&format!(
                    "new from {}: {} photographs, {} readings, {} corrections",
                    merge.other.display(),
                    merged.photographs,
                    merged.layers,
                    merged.corrections
                ));
                Ok(Exit::Done)
            }
            Action::Move(to) => {
                let season = Season::locate(to.folder.season.as_deref(), context)?;
                let register = season.register(context)?;
                let today = jiff::ZonedDateTime::now().date();
                crate::season::admit::admit(&register, Some(&to.tank), Some(to.date), today)
                    .map_err(|e| Failure::usage(format!("{}: {e}", to.photo)).hint(e.hint))?;
                let mut ledger = season.ledger()?;
                let mut act = Act::now(&store::initials(to.by.as_deref(), context), ActKind::Place, "");
                ledger
                    .move_photograph(&mut act, &to.photo, &to.tank, to.date)
                    .map_err(|e| store::failed(&e))?;
                context.printer.note(&format!("{} is now a sample of {} on {}", to.photo, to.tank, to.date));
                Ok(Exit::Done)
            }
        }
    }
}

/// Checks register and ledger; anything found makes the exit code 2.
fn check(folder: &Folder, context: &Context) -> Result<Exit, Failure> {
    let season = Season::locate(folder.season.as_deref(), context)?;
    let mut wrong = 0;
    let mut tell = |what: &str, place: Option<&Place>, hint: &str| {
        wrong += 1;
        context.printer.error(what, place, Some(hint));
    };
    let register = match season.read_register() {
        Ok(register) => Some(register),
        Err(problems) => {
            for problem in &problems {
                let failure = store::told(problem);
                tell(&failure.what, failure.place.as_ref(), &problem.hint);
            }
            None
        }
    };
    let ledger = season.ledger_read_only()?;
    let mut health = ledger.check().map_err(|e| store::failed(&e))?;
    if health.findings.is_empty() {
        health.findings.extend(store::findings(&ledger, register.as_ref())?);
    }
    for finding in &health.findings {
        tell(&format!("{}: {}", finding.place, finding.what), None, &finding.hint);
    }
    for lost in ledger.lost_corrections().map_err(|e| store::failed(&e))? {
        let what = format!(
            "{}: a {} correction by {} has no fish at its place in the reading that counts",
            lost.photo,
            lost.kind.replace('_', " "),
            lost.who
        );
        context.printer.warning(&what, None, Some("it is kept; look at the photograph and correct it again"));
    }
    if context.json {
        let json = serde_json::json!({
            "season": season.folder(), "ledger": health, "register_sound": register.is_some(), "wrong": wrong,
        });
        context.printer.result(&json.to_string());
    } else {
        for (table, rows) in &health.rows {
            context.printer.note(&format!("{table}: {rows} rows"));
        }
        let verdict = if wrong == 0 { "sound".into() } else { format!("{wrong} things to put right") };
        context.printer.result(&format!("{}: {verdict}", season.folder().display()));
    }
    Ok(if wrong == 0 { Exit::Done } else { Exit::SomeRefused })
}
