//! A season folder as the commands use it: register and ledger together.

use super::super::{Context, Failure, Place};
use crate::ledger::{
    Act, ActKind, EventRow, Finding, Ledger, LedgerError, ModelRef, Recorded, RegisterFile, RegisterRows,
    Scored, TankEntry,
};
use crate::records::{FishRow, PhotoRow};
use crate::season::admit::admit;
use crate::season::register::{Problem, Problems, Register};
use jiff::civil::Date;
use std::path::{Path, PathBuf};

/// A season folder.
#[derive(Debug, Clone)]
pub struct Season {
    folder: PathBuf,
}

/// Name of the ledger in the season folder.
pub const LEDGER: &str = "season.sqlite";

impl Season {
    /// The season folder given, else that of the settings, else the current folder if it is one.
    ///
    /// # Errors
    /// A [`Failure`] when none is given and the current folder is not one.
    pub fn locate(given: Option<&Path>, context: &Context) -> Result<Self, Failure> {
        if let Some(folder) = given.or(context.config.season.as_deref()) {
            return Ok(Self { folder: folder.into() });
        }
        if Path::new(LEDGER).exists() {
            return Ok(Self { folder: PathBuf::from(".") });
        }
        Err(Failure::usage("no season folder given")
            .hint("give --season DIR, or season = \"DIR\" in frygauge.toml; make one with `frygauge season new DIR`"))
    }

    /// The folder.
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// The register, or everything that is wrong with it.
    ///
    /// # Errors
    /// [`Problems`].
    pub fn read_register(&self) -> Result<Register, Problems> {
        Register::read(&self.folder)
    }

    /// The register; all mistakes but the last are printed, the last is the failure.
    ///
    /// # Errors
    /// A [`Failure`] for the last mistake.
    pub fn register(&self, context: &Context) -> Result<Register, Failure> {
        self.read_register().map_err(|problems| {
            let mut failures: Vec<Failure> = problems.iter().map(told).collect();
            let last = failures.pop().unwrap_or_else(|| Failure::usage("the register cannot be read"));
            for failure in &failures {
                context.printer.failure(failure);
            }
            last
        })
    }

    /// The ledger, to read and write.
    ///
    /// # Errors
    /// A [`Failure`] from what the ledger says.
    pub fn ledger(&self) -> Result<Ledger, Failure> {
        Ledger::open(&self.folder.join(LEDGER)).map_err(|e| failed(&e))
    }

    /// The ledger, to read; one of an older version is brought up to date first, where that can be.
    ///
    /// # Errors
    /// A [`Failure`] from what the ledger says.
    pub fn ledger_read_only(&self) -> Result<Ledger, Failure> {
        let path = self.folder.join(LEDGER);
        let opened = match Ledger::open_read_only(&path) {
            Err(LedgerError::OlderReadOnly { .. }) => {
                Ledger::open(&path).and_then(|_| Ledger::open_read_only(&path))
            }
            other => other,
        };
        opened.map_err(|e| failed(&e))
    }

    /// Takes over what changed in the register into the ledger, so that nothing typed is lost.
    ///
    /// # Errors
    /// A [`Failure`] from what the ledger says.
    pub fn keep_register(&self, register: &Register, who: &str) -> Result<usize, Failure> {
        let mut act = Act::now(who, ActKind::Register, "");
        self.ledger()?.sync_register(&mut act, &rows(register)).map_err(|e| failed(&e))
    }
}

/// Records scored photographs in a season, each in its own transaction.
#[derive(Debug)]
pub struct Recorder {
    register: Register,
    ledger: Ledger,
    act: Act,
    who: String,
    options: String,
}

impl Recorder {
    /// Opens the season to record in: reads the register, takes it over into the ledger. `options` says with
    /// which options the photographs are scored.
    ///
    /// # Errors
    /// A [`Failure`]; nothing is recorded then.
    pub fn open(
        season: &Season,
        by: Option<&str>,
        options: &str,
        context: &Context,
    ) -> Result<Self, Failure> {
        let register = season.register(context)?;
        let who = initials(by, context);
        season.keep_register(&register, &who)?;
        let act = Act::now(&who, ActKind::Score, options);
        Ok(Self { register, ledger: season.ledger()?, act, who, options: options.to_owned() })
    }

    /// What is recorded from now on is an act of this moment: a watch lasts for hours.
    pub fn act_anew(&mut self) {
        self.act = Act::now(&self.who, ActKind::Score, &self.options);
    }

    /// Hatch dates of the registered tanks.
    pub fn hatch_dates(&self) -> std::collections::BTreeMap<String, Date> {
        self.register.tanks.iter().map(|t| (t.name.clone(), t.hatch)).collect()
    }

    /// Records one photograph.
    ///
    /// # Errors
    /// A [`Failure`] when the photograph cannot be a sample of this tank and date, or cannot be written;
    /// nothing of it is recorded then. [`Failure::exit`] tells whether to go on with the next
    /// (`SomeRefused`) or to stop (`Stopped`).
    pub fn record(
        &mut self,
        photo: &PhotoRow,
        tank: Option<&str>,
        date: Option<Date>,
        fish: &[FishRow],
        model: &ModelRef,
    ) -> Result<Recorded, Failure> {
        let go_on = |what: String, hint: String| {
            let mut failure = Failure::usage(what).hint(hint);
            failure.exit = super::super::Exit::SomeRefused;
            failure
        };
        let today = jiff::ZonedDateTime::now().date();
        let tank = admit(&self.register, tank, date, today)
            .map_err(|e| go_on(format!("{}: {e}", photo.photo), e.hint.clone()))?;
        let date = date.unwrap_or(today);
        let scored = Scored { photo, tank: &tank.name, date, fish, model };
        self.ledger.record(&mut self.act, &scored).map_err(|e| match e {
            LedgerError::Refused { what, hint } => go_on(what, hint),
            other => {
                let mut failure = failed(&other);
                failure.exit = super::super::Exit::Stopped;
                failure
            }
        })
    }
}

/// Initials given, else those of the settings, else the name of the login.
pub(super) fn initials(given: Option<&str>, context: &Context) -> String {
    let login = || ["USER", "LOGNAME", "USERNAME"].into_iter().find_map(|v| std::env::var(v).ok());
    given
        .map(str::to_owned)
        .or_else(|| context.config.by.clone())
        .or_else(login)
        .filter(|who| !who.trim().is_empty())
        .unwrap_or_else(|| "unknown".into())
}

/// What the ledger says, as a failure of the command.
pub(in crate::cli) fn failed(error: &LedgerError) -> Failure {
    Failure::usage(error.to_string()).hint(error.hint())
}

/// A mistake of the register, as a failure of the command.
pub(super) fn told(problem: &Problem) -> Failure {
    let mut place = Place::file(&problem.file);
    if let Some(row) = problem.row {
        place = place.row(row);
    }
    if let Some(column) = &problem.column {
        place = place.column(column.clone());
    }
    Failure::usage(problem.what.clone()).at(place).hint(problem.hint.clone())
}

/// The register as rows of the ledger.
fn rows(register: &Register) -> RegisterRows {
    let files = register.files.iter();
    let tanks = register.tanks.iter().map(|t| TankEntry {
        tank: t.name.clone(),
        species: Some(t.species.clone()),
        volume_l: t.volume_l,
        hatch_date: Some(t.hatch),
        stocked_date: t.stocked,
        stocked_number: t.stocked_number,
        temperature_c: t.temperature_c,
        screen_mm: t.screen_mm,
        treatments: t.treatments.clone(),
        notes: t.notes.clone(),
    });
    let events = register.events.iter().map(|e| EventRow {
        date: e.date,
        time: e.time,
        tank: e.tank.clone(),
        what: e.what.name().into(),
        value: e.value.clone(),
        number: e.number.map(|n| n as f64),
        note: e.note.clone(),
        who: e.who.clone(),
    });
    RegisterRows {
        files: files
            .map(|(name, content)| RegisterFile { name: name.clone(), content: content.clone() })
            .collect(),
        tanks: tanks.collect(),
        events: events.collect(),
    }
}

/// Samples that do not fit the register any more.
pub(super) fn findings(ledger: &Ledger, register: Option<&Register>) -> Result<Vec<Finding>, Failure> {
    let Some(register) = register else { return Ok(Vec::new()) };
    let today = jiff::ZonedDateTime::now().date();
    let samples = ledger.samples().map_err(|e| failed(&e))?;
    Ok(samples
        .iter()
        .filter_map(|s| {
            let refusal = admit(register, Some(&s.tank), Some(s.date), today.max(s.date)).err()?;
            Some(Finding { place: s.photo.photo.clone(), what: refusal.what, hint: refusal.hint })
        })
        .collect())
}
