//! What `score` and `watch` do with a season: record every photograph as soon as it is finished.

use super::super::score::{Done, Options};
use super::super::{Context, Exit, Failure, Printer};
use super::{Recorder, Season};
use crate::ledger::{ModelRef, Recorded};
use crate::records::PhotoStatus;
use std::path::Path;
use std::sync::{Mutex, PoisonError};

/// The season that scored photographs go to, if they go to one.
#[derive(Debug)]
pub struct Recording {
    state: Option<Mutex<State>>,
    printer: Printer,
}

#[derive(Debug)]
struct State {
    recorder: Recorder,
    model: ModelRef,
    added: u32,
    again: u32,
    left_out: Vec<Failure>,
    broken: Option<Failure>,
}

impl Recording {
    /// Opens the season given or set; ages are then counted from the register's hatch dates. Without a season
    /// nothing is recorded.
    ///
    /// # Errors
    /// A [`Failure`] when register or ledger cannot be used.
    pub fn begin(
        (folder, by): (Option<&Path>, Option<&str>),
        options: &mut Options,
        context: &Context,
    ) -> Result<Self, Failure> {
        let printer = context.printer.clone();
        if folder.is_none() && context.config.season.is_none() {
            return Ok(Self { state: None, printer });
        }
        let season = Season::locate(folder, context)?;
        let how: Vec<String> =
            options.record.iter().map(|(name, value)| format!("{name}: {value}")).collect();
        let recorder = Recorder::open(&season, by, &how.join("; "), context)?;
        options.hatch_of = recorder.hatch_dates();
        let model = ModelRef { name: options.model().id.clone(), sha256: options.model_sha256.clone() };
        let state = State { recorder, model, added: 0, again: 0, left_out: Vec::new(), broken: None };
        Ok(Self { state: Some(Mutex::new(state)), printer })
    }

    /// Records one photograph in a transaction of its own; gives what went wrong. One that does not fit the
    /// register, and anything after the ledger has failed, is left out.
    pub fn photograph(&self, done: &Done) -> Option<Failure> {
        let mut state = self.state.as_ref()?.lock().unwrap_or_else(PoisonError::into_inner);
        // A file that is no photograph has nothing to record; the command names it as refused.
        if state.broken.is_some() || done.photo.status == PhotoStatus::Refused {
            return None;
        }
        let State { recorder, model, .. } = &mut *state;
        let (tank, date) = (done.sample.tank.as_deref(), done.sample.date);
        match recorder.record(&done.photo, tank, date, &done.fish, model) {
            Ok(Recorded::Nothing) => state.again += 1,
            Ok(_) => state.added += 1,
            Err(failure) => {
                if failure.exit == Exit::SomeRefused {
                    state.left_out.push(failure.clone());
                } else {
                    state.broken = Some(failure.clone());
                }
                return Some(failure);
            }
        }
        None
    }

    /// Photographs recorded from now on are an act of this moment.
    pub fn act_anew(&self) {
        if let Some(state) = &self.state {
            state.lock().unwrap_or_else(PoisonError::into_inner).recorder.act_anew();
        }
    }

    /// Says what was recorded, and gives what went wrong: photographs that were left out, and how the ledger
    /// failed if it did.
    pub fn end(self) -> (Vec<Failure>, Option<Failure>) {
        let Some(state) = self.state else { return (Vec::new(), None) };
        let state = state.into_inner().unwrap_or_else(PoisonError::into_inner);
        let mut left_out = state.left_out;
        left_out.sort_by(|a, b| a.what.cmp(&b.what));
        self.printer.note(&format!(
            "season: {} photographs recorded, {} were recorded before, {} left out",
            state.added,
            state.again,
            left_out.len()
        ));
        (left_out, state.broken)
    }
}
