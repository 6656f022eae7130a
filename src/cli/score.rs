//! `score`: photographs in, a folder of results out.

mod finish;
mod folder;
mod options;
mod samples;
mod work;

use super::season::Recording;
use super::{Context, Exit, Failure};
use crate::photo::{self, Source};
use indicatif::{ProgressBar, ProgressStyle};
use std::path::PathBuf;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Mutex, PoisonError};

pub use finish::{Finish, interrupted, stop_on_interrupt, tank_lines};
pub use folder::ResultsFolder;
pub use options::{Options, ScoreOptions};
pub use samples::SampleSheet;
pub use work::Done;

use work::Worker;

/// Arguments of `score`.
#[derive(Debug, clap::Args)]
pub struct Score {
    /// Photographs, or folders of them
    #[arg(required = true, value_name = "PHOTOS")]
    photos: Vec<PathBuf>,
    /// Results folder
    #[arg(long, value_name = "DIR", default_value = "results")]
    out: PathBuf,
    /// Replace the results of an earlier run in the results folder
    #[arg(long)]
    replace: bool,
    #[command(flatten)]
    options: ScoreOptions,
}

impl Score {
    /// Scores the photographs and writes the results folder.
    ///
    /// # Errors
    /// A [`Failure`] before anything is written when an argument, a path, the sample sheet or the model is at
    /// fault, and one that keeps what was finished when results cannot be written.
    pub fn run(&self, context: &Context) -> Result<Exit, Failure> {
        stop_on_interrupt();
        let mut options = Options::from(&self.options, &context.config)?;
        let listing = photo::list(&self.photos).map_err(|e| samples::unreadable(&e))?;
        if listing.sources.is_empty() {
            let given: Vec<String> = self.photos.iter().map(|p| p.display().to_string()).collect();
            return Err(Failure::usage(format!("no photographs in {}", given.join(", ")))
                .hint("give JPEG, PNG, TIFF or WebP photographs, or a folder that holds some"));
        }
        let sheet = match self.options.samples() {
            Some(path) => SampleSheet::read(path, &listing.sources, &listing.duplicates)?,
            None => SampleSheet::default(),
        };
        let recording = Recording::begin(self.options.season(), &mut options, context)?;
        let folder = ResultsFolder::stage(&self.out, self.replace)?;
        for twin in &listing.duplicates {
            let what = format!("{} is left out: its bytes are those of {}", twin.name, twin.kept);
            context.printer.warning(&what, None, None);
        }
        let finish = Finish::begin(&options, context);
        let bar = progress(listing.sources.len(), context);
        let fish = AtomicUsize::new(0);
        let batch = Batch { options: &options, sheet: &sheet, folder: &folder, context };
        let (done, broken) = batch.run(&listing.sources, 0, &|one| {
            // Told at the end, in order.
            recording.photograph(one);
            let found = fish.fetch_add(one.fish.len(), Ordering::Relaxed) + one.fish.len();
            bar.set_message(format!("{found} fish"));
            bar.inc(1);
        });
        bar.finish_and_clear();
        if let Some(failure) = broken.as_ref().filter(|_| done.is_empty() || self.replace) {
            // A full disk must not cost the results that stand there, nor leave tables of nothing.
            let _ = recording.end();
            return Err(failure.clone());
        }
        if done.is_empty() && interrupted() {
            // Nothing must not take the place of earlier results.
            let _ = recording.end();
            return Err(Failure::stopped("stopped before a photograph was finished: nothing was written")
                .hint("run again to score them"));
        }
        let exit = finish.write(&done, listing.sources.len(), folder)?;
        let (left_out, lost) = recording.end();
        for failure in &left_out {
            context.printer.failure(failure);
        }
        match broken.or(lost) {
            Some(failure) => Err(failure),
            None if exit == Exit::Done && !left_out.is_empty() => Ok(Exit::SomeRefused),
            None => Ok(exit),
        }
    }
}

/// How a batch of photographs is scored.
#[derive(Debug)]
pub struct Batch<'a> {
    /// How to score.
    pub options: &'a Options,
    /// Which sample a photograph belongs to.
    pub sheet: &'a SampleSheet,
    /// Where pictures go.
    pub folder: &'a ResultsFolder,
    /// The command's surroundings.
    pub context: &'a Context,
}

impl Batch<'_> {
    /// Scores `sources`, one photograph a worker, until all are done, a person interrupts, or results cannot
    /// be written; gives what was finished, each with its place counted from `first`. `each` is told of every
    /// photograph as it is finished.
    pub fn run(
        &self,
        sources: &[Source],
        first: usize,
        each: &(dyn Fn(&Done) + Sync),
    ) -> (Vec<(usize, Done)>, Option<Failure>) {
        let next = AtomicUsize::new(0);
        let done = Mutex::new(Vec::with_capacity(sources.len()));
        let broken: Mutex<Option<Failure>> = Mutex::new(None);
        let work = || {
            let mut worker = Worker::new(self.options, self.sheet, self.folder);
            loop {
                let index = next.fetch_add(1, Ordering::Relaxed);
                if index >= sources.len() || interrupted() || lock(&broken).is_some() {
                    return;
                }
                match worker.run(&sources[index], first + index) {
                    Ok(one) => {
                        each(&one);
                        lock(&done).push((first + index, one));
                    }
                    Err(failure) => {
                        lock(&broken).get_or_insert(failure);
                        return;
                    }
                }
            }
        };
        std::thread::scope(|scope| {
            for _ in 1..self.context.jobs.min(sources.len()).max(1) {
                scope.spawn(work);
            }
            work();
        });
        let mut done = done.into_inner().unwrap_or_else(PoisonError::into_inner);
        done.sort_by_key(|(index, _)| *index);
        (done, broken.into_inner().unwrap_or_else(PoisonError::into_inner))
    }
}

/// A worker that panicked must not take the others' results with it.
fn lock<T>(mutex: &Mutex<T>) -> std::sync::MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

fn progress(photographs: usize, context: &Context) -> ProgressBar {
    if !context.printer.shows_progress() {
        return ProgressBar::hidden();
    }
    let bar = ProgressBar::new(photographs as u64);
    let style = ProgressStyle::with_template("{bar:24} {pos}/{len} photographs, {msg}, {eta} left");
    bar.set_style(style.unwrap_or_else(|_| ProgressStyle::default_bar()));
    bar.set_message("0 fish");
    bar
}
