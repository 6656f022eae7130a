//! `watch`: scores photographs as a camera or phone delivers them, so that a bad one is taken again while the
//! sample is still on the bench.

use super::score::{
    Batch, Done, Finish, Options, ResultsFolder, SampleSheet, ScoreOptions, interrupted, stop_on_interrupt,
    tank_lines,
};
use super::season::Recording;
use super::{Context, Exit, Failure, Place};
use crate::photo::{self, Source};
use crate::records::{Call, PhotoStatus};
use std::collections::{HashMap, HashSet};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant, SystemTime};

/// Time between two looks at the folder.
const LOOK: Duration = Duration::from_millis(400);
/// A file that has not changed for this long is taken to be written; slower cards write in bursts.
const SETTLED: Duration = Duration::from_millis(1200);

/// Arguments of `watch`.
#[derive(Debug, clap::Args)]
pub struct Watch {
    /// Folder that photographs arrive in
    #[arg(value_name = "FOLDER")]
    folder: PathBuf,
    /// Results folder, kept up to date after every photograph
    #[arg(long, value_name = "DIR", default_value = "results")]
    out: PathBuf,
    /// Replace the results of an earlier run in the results folder
    #[arg(long)]
    replace: bool,
    /// End by itself when no photograph has come for this many seconds
    #[arg(long, value_name = "SECONDS")]
    idle: Option<u64>,
    #[command(flatten)]
    options: ScoreOptions,
}

/// A file as it looked last time.
#[derive(Debug, Clone, PartialEq)]
struct Look {
    bytes: u64,
    modified: Option<SystemTime>,
    since: Instant,
}

/// What the folder held so far.
#[derive(Debug, Default)]
struct Seen {
    /// Files that are not scored yet.
    waiting: HashMap<PathBuf, Look>,
    /// Files that are done with, as they looked then.
    finished: HashMap<PathBuf, (u64, Option<SystemTime>)>,
    /// Hashes of the photographs scored: a renamed file is not a new one.
    hashes: HashSet<String>,
}

impl Watch {
    /// Watches until Ctrl-C.
    ///
    /// # Errors
    /// A [`Failure`] when an argument is at fault or results cannot be written.
    pub fn run(&self, context: &Context) -> Result<Exit, Failure> {
        if !self.folder.is_dir() {
            return Err(Failure::usage("there is no such folder to watch")
                .at(Place::file(&self.folder))
                .hint("give the folder the camera or phone puts its photographs in"));
        }
        let mut options = Options::from(&self.options, &context.config)?;
        let sheet = SampleSheet::read_ahead(self.options.samples())?;
        let recording = Recording::begin(self.options.season(), &mut options, context)?;
        let folder = ResultsFolder::live(&self.out, self.replace)?;
        stop_on_interrupt();
        let finish = Finish::begin(&options, context);
        let mut done: Vec<(usize, Done)> = Vec::new();
        // From the first moment on the folder is known for results, and its pictures are not photographs.
        Finish::tables(&finish.gather(&done), &finish.provenance(true), &folder)?;
        context.printer.note(&format!("watching {}; Ctrl-C ends", self.folder.display()));
        let mut seen = Seen::default();
        let mut gone = false;
        let mut last = Instant::now();
        let batch = Batch { options: &options, sheet: &sheet, folder: &folder, context };
        while !interrupted() && self.idle.is_none_or(|s| last.elapsed() < Duration::from_secs(s)) {
            match photo::list(std::slice::from_ref(&self.folder)) {
                Ok(listing) => {
                    if std::mem::take(&mut gone) {
                        context.printer.note("the folder is back");
                    }
                    let ready = seen.ready(listing.sources);
                    if !ready.is_empty() {
                        recording.act_anew();
                        let (new, broken) = batch.run(&ready, done.len(), &|one| {
                            // Whoever stands at the bench hears at once what the season did not take.
                            if let Some(failure) = recording.photograph(one) {
                                context.printer.failure(&failure);
                            }
                        });
                        for (_, one) in &new {
                            context.printer.result(&line(one));
                        }
                        done.extend(new);
                        let found = finish.gather(&done);
                        Finish::tables(&found, &finish.provenance(true), &folder)?;
                        context.printer.result(&tank_lines(&found.tanks));
                        if let Some(failure) = broken {
                            recording.end();
                            return Err(failure);
                        }
                        last = Instant::now();
                    }
                }
                // A card pulled out comes back, perhaps.
                Err(error) if !gone => {
                    gone = true;
                    context.printer.warning(
                        &format!("the folder cannot be read: {error}"),
                        Some(&Place::file(&self.folder)),
                        Some("put the card or cable back; watching goes on"),
                    );
                }
                Err(_) => {}
            }
            std::thread::sleep(LOOK);
        }
        let wanted = done.len();
        let exit = finish.write(&done, wanted, folder)?;
        // Told when they happened; the exit code still says so.
        Ok(match recording.end() {
            (_, Some(broken)) => broken.exit,
            (left_out, None) if exit == Exit::Done && !left_out.is_empty() => Exit::SomeRefused,
            _ => exit,
        })
    }
}

impl Seen {
    /// The photographs that are written and not scored yet.
    fn ready(&mut self, sources: Vec<Source>) -> Vec<Source> {
        let now = Instant::now();
        let mut ready = Vec::new();
        let mut here = HashSet::new();
        for source in sources {
            here.insert(source.path.clone());
            let modified = std::fs::metadata(&source.path).and_then(|m| m.modified()).ok();
            if self.finished.get(&source.path) == Some(&(source.bytes, modified)) {
                continue;
            }
            let fresh = Look { bytes: source.bytes, modified, since: now };
            let look = self.waiting.entry(source.path.clone()).or_insert_with(|| fresh.clone());
            if look.bytes != fresh.bytes || look.modified != fresh.modified {
                *look = fresh;
            } else if now.duration_since(look.since) >= SETTLED {
                self.waiting.remove(&source.path);
                self.finished.insert(source.path.clone(), (source.bytes, modified));
                if self.is_new(&source.path) {
                    ready.push(source);
                }
            }
        }
        self.waiting.retain(|path, _| here.contains(path));
        ready
    }

    /// Whether the bytes at `path` have not been scored under another name. A file that cannot be read is
    /// new: scoring it says why.
    fn is_new(&mut self, path: &Path) -> bool {
        match photo::read(path) {
            Ok(bytes) => self.hashes.insert(photo::sha256(&bytes)),
            Err(_) => true,
        }
    }
}

/// One photograph as one line: name, fish, calls, and what to do.
fn line(done: &Done) -> String {
    let photo = &done.photo;
    if photo.status == PhotoStatus::Refused {
        let hint = done.hint.as_deref().unwrap_or_default();
        return format!("{}: not scored: {} ({hint})", photo.photo, photo.reason);
    }
    let count = |call: Call| done.fish.iter().filter(|f| f.use_call.is_yes() && f.call == call).count();
    let mut text = format!(
        "{}: {} fish, {} in, {} not, {} unsure",
        photo.photo,
        done.fish.len(),
        count(Call::Inflated),
        count(Call::NotInflated),
        count(Call::Unsure)
    );
    if photo.status == PhotoStatus::Retake {
        text.push_str("; TAKE AGAIN: ");
        text.push_str(&photo.reason);
    } else {
        text.push_str("; good");
        if !photo.reason.is_empty() {
            text.push_str(&format!(", but {}", photo.reason));
        }
    }
    text
}
