//! `frygauge card`: printable scale cards.

use super::{Context, Exit, Failure, Place, write_whole};
use crate::scale::card::{Geometry, Paper, Payload, Sheet, SheetError};
use jiff::civil::Date;
use std::path::{Path, PathBuf};

/// Arguments.
#[derive(Debug, clap::Args)]
pub struct Card {
    /// File to write: .pdf at true size, or .svg (one file a page)
    #[arg(long, short, value_name = "FILE", default_value = "frygauge-cards.pdf")]
    out: PathBuf,
    /// A card for this tank; may be given several times
    #[arg(long, value_name = "ID")]
    tank: Vec<String>,
    /// A card for every tank of this table (CSV with a column `tank`)
    #[arg(long, value_name = "FILE", conflicts_with = "tank")]
    register: Option<PathBuf>,
    /// Date on the cards; leave out for cards that are wiped and used again
    #[arg(long, value_name = "YYYY-MM-DD")]
    date: Option<Date>,
    /// Layout of the card
    #[arg(long, value_enum, default_value_t = Layout::D90, value_name = "LAYOUT")]
    layout: Layout,
    /// Paper
    #[arg(long, value_enum, default_value_t = Size::A4, value_name = "PAPER")]
    paper: Size,
    /// Length in millimetres at which the 100 mm check bar came out of the printer before
    #[arg(long, value_name = "MM")]
    printed_bar_mm: Option<f64>,
}

#[derive(Debug, Clone, Copy, clap::ValueEnum)]
enum Layout {
    /// A ring of dots round a dish of up to 94 mm
    D90,
    /// A ring of dots round a dish of up to 64 mm
    D60,
    /// A strip beside a dish or tray
    S100,
}

#[derive(Debug, Clone, Copy, clap::ValueEnum)]
enum Size {
    /// ISO A4, 210 by 297 mm
    A4,
    /// US Letter, 8.5 by 11 in
    Letter,
}

impl Card {
    /// Writes the cards.
    ///
    /// # Errors
    /// A [`Failure`] when a tank's name does not fit or a file cannot be read or written.
    pub fn run(&self, context: &Context) -> Result<Exit, Failure> {
        let geometry = match self.layout {
            Layout::D90 => Geometry::Dish90,
            Layout::D60 => Geometry::Dish60,
            Layout::S100 => Geometry::Strip,
        };
        let paper = match self.paper {
            Size::A4 => Paper::A4,
            Size::Letter => Paper::Letter,
        };
        let tanks = match &self.register {
            Some(file) => tanks(file)?,
            None => self.tank.clone(),
        };
        let card = |tank: Option<&String>| Payload { geometry, tank: tank.cloned(), date: self.date };
        let mut payloads: Vec<Payload> = tanks.iter().map(|t| card(Some(t))).collect();
        if payloads.is_empty() {
            // Blank cards carry scale only: fill a page with them.
            let blank = card(None);
            payloads = vec![blank.clone(); Sheet::capacity(&blank, paper).max(1)];
        }
        let sheet = Sheet::new(&payloads, paper, self.printed_bar_mm).map_err(|e| {
            let hint = match &e {
                SheetError::Payload(_) => "shorten the tank's name",
                SheetError::Bar(_) => "measure the bar again, in millimetres between its outer ends",
                SheetError::Pdf(_) => "write SVG instead: --out cards.svg",
            };
            Failure::usage(e.to_string()).hint(hint)
        })?;
        let kind = self.out.extension().and_then(|e| e.to_str()).map(str::to_ascii_lowercase);
        let files: Vec<(PathBuf, Vec<u8>)> = match kind.as_deref() {
            Some("pdf") => {
                let pdf = sheet.pdf().map_err(|e| Failure::usage(e.to_string()))?;
                vec![(self.out.clone(), pdf)]
            }
            Some("svg") => {
                let pages = sheet.svg();
                let many = pages.len() > 1;
                let name = |i: usize| {
                    let stem = self.out.file_stem().unwrap_or_default().to_string_lossy();
                    if many {
                        self.out.with_file_name(format!("{stem}-{}.svg", i + 1))
                    } else {
                        self.out.clone()
                    }
                };
                pages.into_iter().enumerate().map(|(i, p)| (name(i), p.into_bytes())).collect()
            }
            _ => {
                return Err(Failure::usage("cards are written as PDF or SVG")
                    .at(Place::file(&self.out))
                    .hint("end the name with .pdf or .svg"));
            }
        };
        for (path, bytes) in files {
            write_whole(&path, &bytes).map_err(|e| {
                Failure::usage(format!("cannot write the cards: {e}"))
                    .at(Place::file(&path))
                    .hint("give a folder that exists with --out")
            })?;
            if context.json {
                context
                    .printer
                    .result(&serde_json::json!({ "file": path, "cards": payloads.len() }).to_string());
            } else {
                context.printer.result(&path.display().to_string());
            }
        }
        context.printer.note(&format!(
            "{} cards on {} pages. Print at 100 % (no fitting to the page) and measure the long line: if it is not \
             100 mm, print again with --printed-bar-mm and what you measured. Keep cards dry or laminate them matt.",
            payloads.len(),
            sheet.pages()
        ));
        Ok(Exit::Done)
    }
}

/// The tanks of a table, in its order, each once.
fn tanks(file: &Path) -> Result<Vec<String>, Failure> {
    let place = || Place::file(file);
    let bad = |e: csv::Error| {
        let row = e.position().map(csv::Position::line);
        let place = row.map_or(place(), |r| place().row(r));
        Failure::usage(format!("cannot read the tanks: {e}"))
            .at(place)
            .hint("give a CSV file with a column tank")
    };
    let mut reader =
        csv::ReaderBuilder::new().trim(csv::Trim::All).flexible(true).from_path(file).map_err(bad)?;
    let header = reader.headers().map_err(bad)?.clone();
    let column = header
        .iter()
        .position(|h| h.trim_start_matches('\u{feff}').eq_ignore_ascii_case("tank"))
        .ok_or_else(|| {
            Failure::usage("there is no column tank").at(place().row(1)).hint("name a column tank")
        })?;
    let mut tanks: Vec<String> = Vec::new();
    for record in reader.records() {
        let record = record.map_err(bad)?;
        let tank = record.get(column).unwrap_or_default();
        if !tank.is_empty() && !tanks.iter().any(|t| t == tank) {
            tanks.push(tank.to_owned());
        }
    }
    if tanks.is_empty() {
        return Err(Failure::usage("the table names no tank")
            .at(place())
            .hint("list tanks in the column tank"));
    }
    Ok(tanks)
}
