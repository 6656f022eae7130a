//! `report`: the season so far, from the ledger.

mod size;

use super::season::{Season, failed};
use super::{Context, Exit, Failure, Place, columns, write_whole};
use crate::ledger::Sample;
use crate::records::{FishRow, TankRow};
use crate::report::season::{Added, SeasonReport, days, json, page, tanks};
use crate::report::to_csv;
use crate::season::admit::admit;
use crate::season::course::{Course, courses};
use crate::season::register::Register;
use crate::tank::{SampledPhoto, SummaryOptions};
use jiff::civil::Date;
use size::Size;
use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

/// Arguments of `report`.
#[derive(Debug, clap::Args)]
pub struct Report {
    /// Season folder
    #[arg(long, value_name = "DIR")]
    season: Option<PathBuf>,
    /// Folder for report.html, its tables as CSV and report.json; `report` in the season folder by default
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Day of the report; the day of the newest sample by default
    #[arg(long, value_name = "YYYY-MM-DD")]
    date: Option<Date>,
}

impl Report {
    /// Writes the report and prints the tanks in order of need.
    ///
    /// # Errors
    /// A [`Failure`] when register or ledger cannot be read, or the report cannot be written.
    pub fn run(&self, context: &Context) -> Result<Exit, Failure> {
        let season = Season::locate(self.season.as_deref(), context)?;
        let register = season.register(context)?;
        let ledger = season.ledger_read_only()?;
        let samples = ledger.samples().map_err(|e| failed(&e))?;
        let Some(as_of) = self.date.or_else(|| samples.iter().map(|s| s.date).max()) else {
            return Err(Failure::usage("no photograph has been scored for this season")
                .at(Place::file(season.folder()))
                .hint("score some with `frygauge score PHOTOS --season DIR`"));
        };
        let mut oddities: Vec<String> = Vec::new();
        let mut fitting: Vec<Sample> = Vec::new();
        for sample in samples {
            match admit(&register, Some(&sample.tank), Some(sample.date), sample.date) {
                Ok(_) => fitting.push(sample),
                Err(refusal) => {
                    oddities.push(format!("{} is left out: {refusal}; {}", sample.photo.photo, refusal.hint));
                }
            }
        }
        for lost in ledger.lost_corrections().map_err(|e| failed(&e))? {
            oddities.push(format!(
                "{}: a {} correction by {} has no fish at its place in the reading that counts; it is kept",
                lost.photo,
                lost.kind.replace('_', " "),
                lost.who
            ));
        }
        let sampled: Vec<SampledPhoto> = fitting.iter().map(|s| sampled(s, &register)).collect();
        let models: BTreeMap<(String, Date), String> = fitting
            .iter()
            .map(|s| ((s.tank.clone(), s.date), format!("{} {:.8}", s.model.name, s.model.sha256)))
            .collect();
        let provenance = provenance(&season, &fitting, &ledger);
        let photos: Vec<_> = fitting.iter().map(|s| (s.tank.clone(), s.date, s.photo.clone())).collect();
        let fish: Vec<FishRow> = fitting.into_iter().flat_map(|s| aged(s, &register)).collect();
        let courses = courses(&register, &fish, &sampled, as_of, &SummaryOptions::default());
        let size = Size::of(&register, &fish, &courses, &models, as_of)?;
        drop(fish);
        oddities.extend(size.left_out().iter().cloned());
        let added = Added {
            html: size.html(),
            json: size.json().map_err(|e| unwritten(Path::new("report.json"), &e.to_string()))?,
        };
        let report = SeasonReport {
            name: &register.settings.name,
            as_of,
            courses: &courses,
            treatments: &register.settings.treatments,
            photos: &photos,
            oddities: &oddities,
            sources: &sources(&register),
            provenance: &provenance,
            added: &added,
        };
        let out = self.out.clone().unwrap_or_else(|| season.folder().join("report"));
        write(&report, &size, &out)?;
        if context.json {
            context.printer.result(&json(&report).map_err(|e| unwritten(&out, &e.to_string()))?);
        } else {
            let text = [lines(&courses), size.text()].join("\n\n");
            context.printer.result(text.trim_end());
        }
        for odd in &oddities {
            context.printer.warning(odd, None, None);
        }
        context.printer.note(&format!("open {}", out.join("report.html").display()));
        Ok(Exit::Done)
    }
}

/// A photograph with the age that the register gives it.
fn sampled(sample: &Sample, register: &Register) -> SampledPhoto {
    let age = age(register, &sample.tank, sample.date);
    SampledPhoto::new(&sample.photo, Some(sample.tank.clone()), Some(sample.date), age)
}

fn aged(sample: Sample, register: &Register) -> Vec<FishRow> {
    let age_dph = age(register, &sample.tank, sample.date);
    let name = sample.photo.sha256;
    let mut fish = sample.fish;
    for row in &mut fish {
        row.age_dph = age_dph;
        if row.photo.is_empty() {
            row.photo.clone_from(&name);
        }
    }
    fish
}

fn age(register: &Register, tank: &str, date: Date) -> Option<f64> {
    Some(crate::season::age::dph(register.tank(tank)?.hatch, date) as f64)
}

fn sources(register: &Register) -> Vec<(String, String)> {
    let mut rows = Vec::new();
    for (name, profile) in &register.profiles {
        for (what, sourced) in profile.values() {
            rows.push((format!("{name}: {what} {}", sourced.value), sourced.source.clone()));
        }
        if let Some(note) = &profile.note {
            rows.push((format!("{name}: note"), note.clone()));
        }
    }
    rows
}

fn provenance(season: &Season, samples: &[Sample], ledger: &crate::ledger::Ledger) -> Vec<(String, String)> {
    let list = |of: &dyn Fn(&Sample) -> String| {
        let mut all: Vec<String> = samples.iter().map(of).collect();
        all.sort();
        all.dedup();
        all.join("; ")
    };
    vec![
        ("Report by".into(), format!("frygauge {}", env!("CARGO_PKG_VERSION"))),
        ("Scored by".into(), list(&|s| format!("frygauge {}", s.software))),
        ("Model".into(), list(&|s| format!("{} (SHA-256 {})", s.model.name, s.model.sha256))),
        ("Ledger".into(), format!("{}, version {}", ledger.path().display(), crate::ledger::NEWEST)),
        ("Season folder".into(), season.folder().display().to_string()),
    ]
}

/// Writes the files, each whole or not at all.
fn write(report: &SeasonReport<'_>, size: &Size, out: &Path) -> Result<(), Failure> {
    let broken = |e: &dyn std::fmt::Display| unwritten(out, &e.to_string());
    fs::create_dir_all(out).map_err(|e| broken(&e))?;
    let put = |name: &str, bytes: &[u8]| -> Result<(), Failure> {
        write_whole(&out.join(name), bytes).map_err(|e| broken(&e))
    };
    put("report.html", page(report).map_err(|e| broken(&e))?.as_bytes())?;
    put("tanks.csv", &to_csv(&tanks(report.courses), &["order", "tank"]).map_err(|e| broken(&e))?)?;
    put("days.csv", &days_csv(report.courses).map_err(|e| broken(&e))?)?;
    for (name, bytes) in size.tables().map_err(|e| broken(&e))? {
        put(name, &bytes)?;
    }
    put("report.json", json(report).map_err(|e| broken(&e))?.as_bytes())
}

fn days_csv(courses: &[Course]) -> Result<Vec<u8>, csv::Error> {
    let mut writer = csv::WriterBuilder::new().has_headers(false).from_writer(Vec::new());
    writer.write_record(TankRow::COLUMNS.iter().chain(&[
        "degree_days",
        "band_low",
        "band_high",
        "calls_by_people",
    ]))?;
    for day in days(courses) {
        writer.serialize((&day.row, day.degree_days, day.band_low, day.band_high, day.calls_by_people))?;
    }
    writer.into_inner().map_err(|e| e.into_error().into())
}

fn unwritten(out: &Path, error: &str) -> Failure {
    Failure::stopped(format!("cannot write the report: {error}"))
        .at(Place::file(out))
        .hint("give a folder you may write to with --out")
}

/// The tanks as lines of at most 80 columns: first those that need somebody, each with its reason.
fn lines(courses: &[Course]) -> String {
    let rows: Vec<Vec<String>> = courses
        .iter()
        .map(|c| {
            let row = c.today().map(|d| &d.row);
            let percent = |v: Option<f64>| v.map(|v| format!("{:.0} %", 100.0 * v)).unwrap_or_default();
            let range = |low: Option<f64>, high: Option<f64>| match (low, high) {
                (Some(low), Some(high)) => format!("{:.0}-{:.0} %", 100.0 * low, 100.0 * high),
                _ => String::new(),
            };
            let band = c.today().and_then(|d| d.band);
            vec![
                c.tank.name.clone(),
                c.today().map(|d| format!("{}", d.dph)).unwrap_or_default(),
                percent(row.and_then(|r| r.inflation)),
                range(row.and_then(|r| r.inflation_low), row.and_then(|r| r.inflation_high)),
                range(band.map(|b| b.low), band.map(|b| b.high)),
                c.alerts.first().map_or("-".into(), |a| a.rule.name().to_owned()),
            ]
        })
        .collect();
    let mut text = columns(&["tank", "dph", "inflated", "limits", "band", "attention"], &rows);
    for course in courses {
        for alert in &course.alerts {
            let line = format!("{}: {}: {}", course.tank.name, alert.rule.name(), alert.reason);
            text.push('\n');
            text.push_str(&textwrap::fill(&line, textwrap::Options::new(80).subsequent_indent("  ")));
        }
    }
    text
}
