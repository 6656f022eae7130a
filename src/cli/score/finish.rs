//! From finished photographs to tables, the report page and the words on the terminal.

use super::Options;
use super::folder::ResultsFolder;
use super::work::{Done, part_name};
use crate::cli::decided::section;
use crate::cli::{Context, Exit, Failure, columns};
use crate::decision::brief::{BriefOptions, Stock, by_tank, of_tank};
use crate::decision::cannibals::Nulls;
use crate::decision::{from_rows, without_fragments};
use crate::records::{FishRow, PhotoRow, PhotoStatus, TankRow};
use crate::report::{Page, Provenance, Results, to_csv};
use crate::tank::{SampledPhoto, SummaryOptions, summarise};
use std::io::Write as _;
use std::sync::atomic::{AtomicBool, Ordering};

static INTERRUPTED: AtomicBool = AtomicBool::new(false);

/// Makes the first Ctrl-C ask the workers to stop after their photograph; a second ends the program at once.
pub fn stop_on_interrupt() {
    // A handler that is already set (by an earlier command of the same process) does the same.
    let _ = ctrlc::set_handler(|| {
        if INTERRUPTED.swap(true, Ordering::SeqCst) {
            std::process::exit(i32::from(Exit::Stopped.code()));
        }
        let _ =
            writeln!(std::io::stderr(), "stopping after the photographs under way; Ctrl-C again to give up");
    });
}

/// Whether a person asked to stop.
pub fn interrupted() -> bool {
    INTERRUPTED.load(Ordering::SeqCst)
}

/// A run to be finished.
#[derive(Debug)]
pub struct Finish<'a> {
    options: &'a Options,
    context: &'a Context,
    started: String,
}

/// Everything a run found, in order.
#[derive(Debug)]
pub struct Found {
    /// The photographs.
    pub photos: Vec<PhotoRow>,
    /// The fish.
    pub fish: Vec<FishRow>,
    /// The tanks.
    pub tanks: Vec<TankRow>,
}

impl<'a> Finish<'a> {
    /// Notes when the run began.
    pub fn begin(options: &'a Options, context: &'a Context) -> Self {
        Self { options, context, started: jiff::ZonedDateTime::now().strftime("%Y-%m-%d %H:%M").to_string() }
    }

    /// Writes tables and page, puts the folder in place, and prints the tanks and what is to be put right.
    ///
    /// # Errors
    /// A [`Failure`] when results cannot be written.
    pub fn write(
        &self,
        done: &[(usize, Done)],
        wanted: usize,
        folder: ResultsFolder,
    ) -> Result<Exit, Failure> {
        let complete = done.len() == wanted;
        let hints: Vec<Option<String>> = done.iter().map(|(_, d)| d.hint.clone()).collect();
        let order: Vec<usize> = done.iter().map(|(index, _)| *index).collect();
        let found = self.gather(done);
        let provenance = self.provenance(complete);
        Self::tables(&found, &provenance, &folder)?;
        if self.options.pictures {
            self.page(&found, &provenance, &order, &folder)?;
        }
        let out = folder.out().display().to_string();
        folder.place()?;
        self.tell(&found, &hints, &provenance)?;
        self.context.printer.note(&format!("results in {out}"));
        if !complete {
            let left = wanted - found.photos.len();
            self.context.printer.warning(
                &format!("stopped early: {left} of {wanted} photographs were not come to"),
                None,
                Some("what was finished is kept; run again to score all"),
            );
            return Ok(Exit::Stopped);
        }
        let refused = found.photos.iter().any(|p| p.status == PhotoStatus::Refused);
        Ok(if refused { Exit::SomeRefused } else { Exit::Done })
    }

    /// Rows of the photographs and fish, and the tanks' estimates from them.
    pub fn gather(&self, done: &[(usize, Done)]) -> Found {
        let sampled: Vec<SampledPhoto> = done
            .iter()
            .map(|(_, d)| SampledPhoto::new(&d.photo, d.sample.tank.clone(), d.sample.date, d.sample.age_dph))
            .collect();
        let photos = done.iter().map(|(_, d)| d.photo.clone()).collect();
        let fish: Vec<FishRow> = done.iter().flat_map(|(_, d)| d.fish.iter().cloned()).collect();
        let validation = self.options.validation.as_ref();
        let options = SummaryOptions { level: self.options.level, validation, ..SummaryOptions::default() };
        let tanks = summarise(&fish, &sampled, &options);
        Found { photos, fish, tanks }
    }

    /// Where the results come from.
    pub fn provenance(&self, complete: bool) -> Provenance {
        Provenance {
            version: env!("CARGO_PKG_VERSION").to_owned(),
            model: self.options.model().id.clone(),
            model_sha256: self.options.model_sha256.clone(),
            options: self.options.record.clone(),
            started: self.started.clone(),
            complete,
        }
    }

    /// Writes the tables.
    ///
    /// # Errors
    /// A [`Failure`] when results cannot be written.
    pub fn tables(found: &Found, provenance: &Provenance, folder: &ResultsFolder) -> Result<(), Failure> {
        let broken = |e: String| Failure::stopped(format!("cannot write a table: {e}"));
        let fish = to_csv(&found.fish, &FishRow::COLUMNS).map_err(|e| broken(e.to_string()))?;
        let tanks = to_csv(&found.tanks, &TankRow::COLUMNS).map_err(|e| broken(e.to_string()))?;
        let photos = to_csv(&found.photos, &PhotoRow::COLUMNS).map_err(|e| broken(e.to_string()))?;
        folder.write("fish.csv", &fish)?;
        folder.write("tanks.csv", &tanks)?;
        folder.write("photos.csv", &photos)?;
        folder.write("results.json", &json(found, provenance)?)
    }

    /// Joins the photographs' parts to the report page.
    ///
    /// # Errors
    /// A [`Failure`] when results cannot be written.
    pub fn page(
        &self,
        found: &Found,
        provenance: &Provenance,
        order: &[usize],
        folder: &ResultsFolder,
    ) -> Result<(), Failure> {
        let size = size(&found.fish);
        let page = Page {
            photos: &found.photos,
            tanks: &found.tanks,
            fish: &found.fish,
            provenance,
            level: f64::from(self.options.level),
            size: &size,
        };
        let broken = |e: askama::Error| Failure::stopped(format!("cannot write the report page: {e}"));
        let (head, tail) = (page.head().map_err(broken)?, page.tail().map_err(broken)?);
        folder.write_with("report.html", |file| {
            file.write_all(head.as_bytes())?;
            for (&index, photo) in order.iter().zip(&found.photos) {
                if photo.status != PhotoStatus::Refused {
                    let mut part = std::fs::File::open(folder.path(&part_name(index)))?;
                    std::io::copy(&mut part, file)?;
                }
            }
            file.write_all(tail.as_bytes())?;
            file.write_all(b"\n")
        })?;
        let _ = std::fs::remove_dir_all(folder.path(".parts"));
        Ok(())
    }

    /// Tanks to stdout, what is to be put right to stderr.
    fn tell(&self, found: &Found, hints: &[Option<String>], provenance: &Provenance) -> Result<(), Failure> {
        let printer = &self.context.printer;
        if self.context.json {
            printer.result(String::from_utf8_lossy(&json(found, provenance)?).trim_end());
        } else {
            printer.result(&tank_lines(&found.tanks));
        }
        for (photo, hint) in found.photos.iter().zip(hints) {
            match photo.status {
                PhotoStatus::Refused => {
                    printer.error(&format!("{}: {}", photo.photo, photo.reason), None, hint.as_deref());
                }
                PhotoStatus::Retake => {
                    printer.note(&format!("take again: {}: {}", photo.photo, photo.reason));
                }
                PhotoStatus::Scored if photo.reason.is_empty() => {}
                PhotoStatus::Scored => {
                    printer.warning(&format!("{}: {}", photo.photo, photo.reason), None, None);
                }
            }
        }
        if found.fish.iter().any(|f| f.total_length_mm.is_none()) {
            printer.warning(
                "no scale for some photographs: their lengths are in pixels only",
                None,
                Some("put the scale card or a ruler beside the dish, or give --px-per-mm or --dish-mm"),
            );
        }
        Ok(())
    }
}

/// What the sizes of a run's fish say: spread, fish that break away, and growth where the run holds several dates.
fn size(fish: &[FishRow]) -> String {
    let (samples, left_out) = without_fragments(from_rows(fish));
    let dates: std::collections::BTreeSet<_> = samples.iter().filter_map(|s| s.date).collect();
    let options = BriefOptions::default();
    let mut nulls = Nulls::default();
    let briefs: Vec<_> = by_tank(&samples)
        .iter()
        .filter_map(|samples| of_tank(samples, &Stock::default(), &options, &mut nulls))
        .map(|mut told| {
            if dates.len() < 2 {
                // One day tells no growth, and need not say so tank by tank.
                told.not_said.retain(|reason| !reason.starts_with("growth"));
            }
            told.not_said.extend(left_out.iter().filter(|said| said.starts_with(&told.sample)).cloned());
            told
        })
        .collect();
    section(&briefs, &[])
}

fn json(found: &Found, provenance: &Provenance) -> Result<Vec<u8>, Failure> {
    Results { provenance, photos: &found.photos, tanks: &found.tanks, fish: &found.fish }
        .to_json()
        .map_err(|e| Failure::stopped(format!("cannot write results as JSON: {e}")))
}

/// The tanks as lines of at most 80 columns.
pub fn tank_lines(tanks: &[TankRow]) -> String {
    let percent = |v: Option<f64>| v.map(|v| format!("{:.0} %", 100.0 * v)).unwrap_or_default();
    let rows: Vec<Vec<String>> = tanks
        .iter()
        .map(|t| {
            let limits = match (t.inflation_low, t.inflation_high) {
                (Some(low), Some(high)) => format!("{:.0}-{:.0} %", 100.0 * low, 100.0 * high),
                _ => String::new(),
            };
            vec![
                t.tank.clone(),
                t.date.map(|d| d.to_string()).unwrap_or_default(),
                t.fish.to_string(),
                percent(t.inflation),
                limits,
                t.unsure.to_string(),
                t.mean_length_mm.map(|v| format!("{v:.2}")).unwrap_or_default(),
                t.cv_length.map(|v| format!("{:.1} %", 100.0 * v)).unwrap_or_default(),
            ]
        })
        .collect();
    let mut text =
        columns(&["tank", "date", "fish", "inflated", "limits", "unsure", "length mm", "CV"], &rows);
    for t in tanks.iter().filter(|t| !t.notes.is_empty()) {
        let note = format!("{}: {}", t.tank, t.notes);
        text.push('\n');
        text.push_str(&textwrap::fill(&note, textwrap::Options::new(80).subsequent_indent("  ")));
    }
    text
}
