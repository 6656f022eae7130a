//! `demo`: the invented Brackenmere season, drawn and scored.

use super::report::Report;
use super::score::Score;
use super::season;
use super::{ColorChoice, Config, Context, Exit, Failure, Place, Printer, write_whole};
use crate::render::season::{DemoSample, HATCH, PX_PER_MM, Season, brackenmere};
use crate::render::{Tags, TrueFish, encode_jpeg_tagged};
use clap::Parser;
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

/// Quality of the season's JPEG files: small, as the demo is.
const QUALITY: u8 = 82;

/// Arguments of `demo`.
#[derive(Debug, clap::Args)]
pub struct Demo {
    /// Folder to make: photographs, truth, register, results
    #[arg(value_name = "DIR")]
    dir: PathBuf,
    /// Draws another season of the same hatchery
    #[arg(long, value_name = "N", default_value_t = 2026)]
    seed: u64,
    /// Draw only the first days
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u8).range(1..=14))]
    days: Option<u8>,
    /// Draw the photographs and write the register, and score nothing
    #[arg(long)]
    no_score: bool,
}

/// A command's arguments read on their own.
#[derive(Debug, Parser)]
struct Alone<T: clap::Args> {
    #[command(flatten)]
    command: T,
}

impl Demo {
    /// Draws the season, writes it, and scores it.
    ///
    /// # Errors
    /// A [`Failure`] when the folder holds something already or cannot be written, and those of `season new`
    /// and `score`.
    pub fn run(&self, context: &Context) -> Result<Exit, Failure> {
        let taken = fs::read_dir(&self.dir).is_ok_and(|mut entries| entries.next().is_some());
        if taken || self.dir.is_file() {
            return Err(Failure::usage("the folder for the demo is not empty")
                .at(Place::file(&self.dir))
                .hint("name a folder that does not exist yet"));
        }
        let mut season = brackenmere(self.seed);
        if let Some(days) = self.days {
            season.keep_days(i64::from(days));
        }
        let existed = self.dir.is_dir();
        self.make_season(&season, context).inspect_err(|_| self.take_away(existed))?;
        let (photographs, kept) = (self.dir.join("photographs"), self.dir.join("season"));
        context.printer.note(&format!(
            "{} rendered photographs in {}: invented fish, hatched {HATCH}, {PX_PER_MM} px/mm",
            season.samples.len(),
            photographs.display()
        ));
        if self.no_score {
            return Ok(Exit::Done);
        }
        let results = self.dir.join("results");
        let sheet = self.dir.join("samples.csv");
        let score = alone::<Score>(&[
            text(&photographs)?,
            "--out",
            text(&results)?,
            "--samples",
            text(&sheet)?,
            "--season",
            text(&kept)?,
            "--by",
            "AK",
        ])?;
        // The whole season's samples would fill the terminal; the report's tanks follow.
        let step = Context {
            printer: context.printer.without_results(),
            config: context.config.clone(),
            ..*context
        };
        let exit = score.run(&step)?;
        // The morning report names the page to open.
        alone::<Report>(&["--season", text(&kept)?, "--out", text(&self.dir.join("report"))?])?
            .run(context)?;
        Ok(exit)
    }

    /// Draws the photographs and writes the register.
    fn make_season(&self, season: &Season, context: &Context) -> Result<(), Failure> {
        let photographs = self.dir.join("photographs");
        for tank in &season.tanks {
            make(&photographs.join(&tank.tank))?;
        }
        let kept = self.dir.join("season");
        let new = alone::<season::Command>(&[
            "new",
            text(&kept)?,
            "--name",
            "Brackenmere Hatchery (invented)",
            "--treatments",
            "sprayer",
        ])?;
        // Its advice is for a person who starts an empty season.
        let quiet =
            Context { printer: Printer::new(ColorChoice::Auto, true), config: Config::default(), ..*context };
        new.run(&quiet)?;
        expect_inflation(&kept.join("frygauge.toml"))?;
        write(&kept.join("tanks.csv"), season.tanks_csv().as_bytes())?;
        write(&kept.join("events.csv"), season.events_csv().as_bytes())?;
        write(&self.dir.join("samples.csv"), season.samples_csv().as_bytes())?;
        write(&self.dir.join("README.md"), README.as_bytes())?;
        let truth = draw(season, &photographs, context)?;
        write(&self.dir.join("truth.csv"), truth.as_bytes())?;
        Ok(())
    }

    /// Takes away what there is of a season that could not be made whole: the folder was empty, or not there.
    fn take_away(&self, existed: bool) {
        // What cannot be taken away stays; the failure that led here is told.
        if existed {
            let entries = fs::read_dir(&self.dir).into_iter().flatten().flatten();
            for path in entries.map(|entry| entry.path()) {
                let _ = if path.is_dir() { fs::remove_dir_all(&path) } else { fs::remove_file(&path) };
            }
        } else {
            let _ = fs::remove_dir_all(&self.dir);
        }
    }
}

const README: &str = "# The Brackenmere season

Everything here is **rendered**: Brackenmere Hatchery, its tanks, its fish and its crew are invented, and every photograph
says so in its EXIF `ImageDescription`.

- `photographs/TANK/DATE.jpg`: a sample of about 30 pikeperch larvae on a light pad, 28 px/mm (in the files' resolution tags)
- `samples.csv`: which tank and date each photograph is
- `truth.csv`: what was drawn: every fish with its length, its bladder and its place
- `season/`: the register (tanks, events) and the ledger
- `results/`: what `frygauge score` made of the photographs
- `report/`: the morning report of the season's last day, and its tables as CSV and JSON; `frygauge report --season season --date 2026-04-28` shows another
";

/// What Brackenmere expects of a good tank at 17 °C, by age: as invented as the hatchery.
const EXPECTED: &str = "expected_inflation = [
    { dph = 4, low = 0.00, high = 0.12 },
    { dph = 6, low = 0.08, high = 0.35 },
    { dph = 8, low = 0.45, high = 0.75 },
    { dph = 10, low = 0.75, high = 0.95 },
    { dph = 13, low = 0.82, high = 0.98 },
]
";

/// Adds the hatchery's expectation to the `[hatchery]` table of its settings.
fn expect_inflation(settings: &Path) -> Result<(), Failure> {
    let text = fs::read_to_string(settings).map_err(|e| unwritable(settings, &e))?;
    write(settings, format!("{text}\n{EXPECTED}").as_bytes())
}

/// Draws every sample of the season into `folder`; gives the truth as CSV.
fn draw(season: &Season, folder: &Path, context: &Context) -> Result<String, Failure> {
    let next = AtomicUsize::new(0);
    let rows: Mutex<Vec<(usize, Result<String, Failure>)>> = Mutex::new(Vec::new());
    let work = || {
        loop {
            let index = next.fetch_add(1, Ordering::Relaxed);
            let Some(sample) = season.samples.get(index) else { return };
            let row = draw_one(sample, folder);
            if row.is_err() {
                // One that cannot be written is enough: no more are begun.
                next.store(season.samples.len(), Ordering::Relaxed);
            }
            rows.lock().unwrap_or_else(std::sync::PoisonError::into_inner).push((index, row));
        }
    };
    std::thread::scope(|scope| {
        for _ in 1..context.jobs.max(1) {
            scope.spawn(work);
        }
        work();
    });
    let mut rows = rows.into_inner().unwrap_or_else(std::sync::PoisonError::into_inner);
    rows.sort_by_key(|(index, _)| *index);
    let mut truth = String::from(
        "photo,tank,date,age_dph,fish,total_length_mm,inflated,snout_x_px,snout_y_px,tail_x_px,tail_y_px\n",
    );
    for (_, row) in rows {
        truth.push_str(&row?);
    }
    Ok(truth)
}

fn draw_one(sample: &DemoSample, folder: &Path) -> Result<String, Failure> {
    let drawn = sample.photograph();
    let taken = sample.taken();
    let tags = Tags { taken: Some(&taken), px_per_mm: Some(PX_PER_MM) };
    write(&folder.join(sample.photo()), &encode_jpeg_tagged(&drawn, QUALITY, &tags))?;
    let mut rows = String::new();
    for (i, fish) in drawn.truth.fish.iter().enumerate() {
        let TrueFish { midline, total_length_mm, inflated, .. } = fish;
        let (snout, tail) = (midline[0], midline[midline.len() - 1]);
        let _ = writeln!(
            rows,
            "{},{},{},{},{},{total_length_mm:.3},{},{:.1},{:.1},{:.1},{:.1}",
            sample.photo(),
            sample.tank,
            sample.date,
            sample.age_dph,
            i + 1,
            if *inflated { "yes" } else { "no" },
            snout[0],
            snout[1],
            tail[0],
            tail[1]
        );
    }
    Ok(rows)
}

fn make(folder: &Path) -> Result<(), Failure> {
    fs::create_dir_all(folder).map_err(|e| unwritable(folder, &e))
}

fn write(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    write_whole(path, bytes).map_err(|e| unwritable(path, &e))
}

fn unwritable(path: &Path, error: &std::io::Error) -> Failure {
    Failure::stopped(format!("cannot write the demo: {error}"))
        .at(Place::file(path))
        .hint("choose a folder you may write to, with about 30 MB free")
}

/// A path as an argument.
fn text(path: &Path) -> Result<&str, Failure> {
    path.to_str().ok_or_else(|| {
        Failure::usage("the folder's name is not UTF-8 text")
            .at(Place::file(path))
            .hint("choose another name")
    })
}

/// The arguments of another command, as if typed.
fn alone<T: clap::Args>(args: &[&str]) -> Result<T, Failure> {
    Alone::<T>::try_parse_from(std::iter::once("frygauge").chain(args.iter().copied()))
        .map(|alone| alone.command)
        .map_err(|e| Failure::usage(e.to_string()))
}
