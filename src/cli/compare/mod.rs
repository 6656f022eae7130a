//! `frygauge compare`: did a change help, with the tank as the unit.

mod html;
mod input;
mod text;

pub use html::section;
pub use input::arms_of_register;

use std::path::{Path, PathBuf};

use jiff::civil::Date;

use super::season::Season;
use super::{Context, Exit, Failure, Place};
use crate::report::to_csv;
use crate::stats::proportion::Method;
use crate::stats::t_test::Variances;
use crate::tank::compare::{Comparison, Design, MeasureResult, Options, TableError, compare};

/// Compare arms of tanks: the tank is the unit, never the fish.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
A design file is CSV with the columns tank and arm, and where they apply block, before and after
(dates of the samples round the change), stocked and alive (for survival times inflation), dip_depth.")]
pub struct Compare {
    /// Results folders, or tanks.csv files (also hand-made: tank, called, inflated)
    #[arg(value_name = "RESULTS")]
    results: Vec<PathBuf>,
    /// Design file: which tank belongs to which arm
    #[arg(long, value_name = "FILE")]
    design: Option<PathBuf>,
    /// Season folder: samples from its ledger, and arms from its register with --by-column
    #[arg(long, value_name = "DIR")]
    season: Option<PathBuf>,
    /// Treatment column of the season's register that names the arms
    #[arg(long, value_name = "COLUMN", conflicts_with = "design")]
    by_column: Option<String>,
    /// Arm the others are compared with; the design's first otherwise
    #[arg(long, value_name = "ARM")]
    control: Option<String>,
    /// Arms that are doses of one thing, from the least to the most: adds a trend
    #[arg(long, value_name = "ARM,ARM,…", value_delimiter = ',', conflicts_with = "control")]
    order: Vec<String>,
    /// Compare the samples of this date; the last one all tanks share otherwise
    #[arg(long, value_name = "YYYY-MM-DD", conflicts_with = "age")]
    date: Option<Date>,
    /// Compare the samples of this age, days post hatch
    #[arg(long, value_name = "DPH")]
    age: Option<f64>,
    /// Reviewed calls (CSV: truth, call, count), to correct for the caller's errors
    #[arg(long, value_name = "FILE")]
    validation: Option<PathBuf>,
    /// Take the arms' spread between tanks for one and the same; each its own otherwise
    #[arg(long)]
    pooled: bool,
    /// Guarantee each tank's limits (Clopper-Pearson) rather than hold them on average (Wilson)
    #[arg(long)]
    guaranteed: bool,
    /// Level of the intervals
    #[arg(long, value_name = "L")]
    level: Option<f64>,
    /// Write comparison.html, .svg, .csv, .json and comparison-tanks.csv to this folder
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
}

impl Compare {
    /// Runs it.
    ///
    /// # Errors
    /// A [`Failure`] that names the file, row and column at fault.
    pub fn run(&self, context: &Context) -> Result<Exit, Failure> {
        let options = self.options(context)?;
        let season = match &self.season {
            Some(folder) => Some(Season::locate(Some(folder), context)?),
            None if self.results.is_empty() => Some(Season::locate(None, context)?),
            None => None,
        };
        let mut samples = input::of_results(&self.results)?;
        let design = self.design(season.as_ref(), context)?;
        if let Some(season) = &season {
            let register = season.register(context)?;
            samples.extend(input::of_ledger(season, &register)?);
        }
        if samples.is_empty() {
            return Err(Failure::usage("there are no samples to compare")
                .hint("give results folders, or --season DIR with recorded samples"));
        }
        let comparison = compare(&samples, &design, &options).map_err(|e| self.at_design(e))?;
        for warning in &comparison.warnings {
            context.printer.warning(warning, None, None);
        }
        if options.validation.is_none() {
            context.printer.note(
                "Calls are taken as they are: give --validation FILE to correct for the caller's errors.",
            );
        }
        let json = to_json(&comparison);
        if context.json {
            context.printer.result(&json);
        } else {
            context.printer.result(text::of(&comparison).trim_end());
        }
        if let Some(out) = &self.out {
            write(out, &comparison, &json)?;
            context.printer.note(&format!("Written to {}.", out.display()));
        }
        Ok(Exit::Done)
    }

    fn options(&self, context: &Context) -> Result<Options, Failure> {
        let level = super::level_of(self.level.or(context.config.level))?;
        if self.age.is_some_and(|a| !a.is_finite() || a < 0.0) {
            return Err(Failure::usage("--age is not an age").hint("give days post hatch, such as 9"));
        }
        let validation = self.validation.as_deref().map(crate::cli::validation::read).transpose()?;
        Ok(Options {
            level,
            method: if self.guaranteed { Method::ClopperPearson } else { Method::Wilson },
            variances: if self.pooled { Variances::Pooled } else { Variances::Welch },
            date: self.date,
            age_dph: self.age,
            validation,
        })
    }

    fn design(&self, season: Option<&Season>, context: &Context) -> Result<Design, Failure> {
        let design = match (&self.design, &self.by_column, season) {
            (Some(path), _, _) => {
                let file = input::open(path)?;
                Design::read(file).map_err(|e| at(e, path))?
            }
            (None, Some(column), Some(season)) => {
                let register = season.register(context)?;
                input::arms_of_register(&register, column, self.date)?
            }
            (None, Some(_), None) => {
                return Err(Failure::usage("--by-column needs a season's register").hint("give --season DIR"));
            }
            (None, None, _) => {
                return Err(Failure::usage("nothing says which tank belongs to which arm")
                    .hint("give --design FILE (CSV: tank, arm), or --season DIR --by-column COLUMN"));
            }
        };
        let design = if self.order.is_empty() {
            design
        } else {
            let order: Vec<String> = self.order.iter().map(|a| a.trim().to_owned()).collect();
            design.with_order(&order).map_err(|e| self.at_design(e))?
        };
        match &self.control {
            Some(control) => design.with_control(control).map_err(|e| self.at_design(e)),
            None => Ok(design),
        }
    }

    /// A complaint about the design, at its file where a row is meant.
    fn at_design(&self, error: TableError) -> Failure {
        match &self.design {
            Some(path) => at(error, path),
            None => Failure::usage(error.what).hint(error.hint),
        }
    }
}

/// A table's complaint as a failure.
fn at(error: TableError, file: &Path) -> Failure {
    let mut place = Place::file(file);
    if let Some(row) = error.row {
        place = place.row(row);
    }
    if let Some(column) = error.column {
        place = place.column(column);
    }
    Failure::usage(error.what).at(place).hint(error.hint)
}

fn to_json(comparison: &Comparison) -> String {
    // Every number of a comparison is finite, so it can always be written.
    serde_json::to_string_pretty(comparison).unwrap_or_default()
}

/// A row of `comparison.csv`: one contrast.
#[derive(serde::Serialize)]
struct ContrastRow<'a> {
    #[serde(skip_serializing_if = "str::is_empty")]
    treatment: &'a str,
    measure: &'a str,
    arm: &'a str,
    reference: &'a str,
    unit: &'a str,
    units_arm: usize,
    units_reference: usize,
    difference: f64,
    difference_low: Option<f64>,
    difference_high: Option<f64>,
    df: Option<f64>,
    p_t: Option<f64>,
    p_permutation: Option<f64>,
    p_permutation_smallest: Option<f64>,
    difference_corrected: Option<f64>,
    difference_corrected_low: Option<f64>,
    difference_corrected_high: Option<f64>,
    difference_unsure_low: Option<f64>,
    difference_unsure_high: Option<f64>,
    refusal: &'a str,
    sentence: &'a str,
}

/// The contrasts of several comparisons as CSV, each with the treatment column it is of.
///
/// # Errors
/// When a row cannot be written.
pub fn table(comparisons: &[(&str, &Comparison)]) -> Result<Vec<u8>, csv::Error> {
    let rows: Vec<ContrastRow> = comparisons
        .iter()
        .flat_map(|(column, c)| c.measures.iter().flat_map(|m| contrast_rows(m, column)))
        .collect();
    to_csv(&rows, &["treatment", "measure"])
}

fn contrast_rows<'a>(m: &'a MeasureResult, treatment: &'a str) -> impl Iterator<Item = ContrastRow<'a>> {
    m.contrasts.iter().map(move |c| ContrastRow {
        treatment,
        measure: m.measure.name(),
        arm: &c.arm,
        reference: c.reference.as_deref().unwrap_or(""),
        unit: c.unit,
        units_arm: c.units.0,
        units_reference: c.units.1,
        difference: c.difference,
        difference_low: c.t.map(|t| t.interval.low),
        difference_high: c.t.map(|t| t.interval.high),
        df: c.t.map(|t| t.df),
        p_t: c.t.map(|t| t.p),
        p_permutation: c.permutation.map(|p| p.p),
        p_permutation_smallest: c.permutation.map(|p| p.smallest_p),
        difference_corrected: c.corrected.map(|c| c.difference),
        difference_corrected_low: c.corrected.map(|c| c.interval.low),
        difference_corrected_high: c.corrected.map(|c| c.interval.high),
        difference_unsure_low: c.unsure_bounds.map(|b| b.low),
        difference_unsure_high: c.unsure_bounds.map(|b| b.high),
        refusal: c.refusal.as_deref().unwrap_or(""),
        sentence: &c.sentence,
    })
}

/// A row of `comparison-tanks.csv`: one tank at one moment.
#[derive(serde::Serialize)]
struct TankMoment<'a> {
    tank: &'a str,
    arm: &'a str,
    block: &'a str,
    moment: &'a str,
    date: Option<Date>,
    age_dph: Option<f64>,
    called: u64,
    inflated: u64,
    unsure: u64,
    inflation: Option<f64>,
    inflation_low: Option<f64>,
    inflation_high: Option<f64>,
    mean_length_mm: Option<f64>,
    mean_length_low_mm: Option<f64>,
    mean_length_high_mm: Option<f64>,
    survival: Option<f64>,
}

fn tank_rows(c: &Comparison) -> Vec<TankMoment<'_>> {
    c.tanks
        .iter()
        .flat_map(|t| {
            let before = t.before.as_ref().map(|o| ("before", o));
            let word = if before.is_some() { "after" } else { "" };
            before.into_iter().chain([(word, &t.after)]).map(move |(moment, o)| TankMoment {
                tank: &t.tank,
                arm: &t.arm,
                block: t.block.as_deref().unwrap_or(""),
                moment,
                date: o.date,
                age_dph: o.age_dph,
                called: o.called,
                inflated: o.inflated,
                unsure: o.unsure,
                inflation: o.inflation,
                inflation_low: o.inflation_interval.map(|i| i.low),
                inflation_high: o.inflation_interval.map(|i| i.high),
                mean_length_mm: o.mean_length_mm,
                mean_length_low_mm: o.length_interval_mm.map(|i| i.low),
                mean_length_high_mm: o.length_interval_mm.map(|i| i.high),
                survival: t.survival.filter(|_| moment != "before"),
            })
        })
        .collect()
}

fn write(out: &Path, comparison: &Comparison, json: &str) -> Result<(), Failure> {
    let rows: Vec<ContrastRow> = comparison.measures.iter().flat_map(|m| contrast_rows(m, "")).collect();
    let table = |bytes: Result<Vec<u8>, csv::Error>| {
        bytes.map_err(|e| Failure::usage(format!("a table cannot be written: {e}")))
    };
    let files = [
        ("comparison.html", html::page(comparison).into_bytes()),
        ("comparison.svg", html::chart(comparison).to_svg().into_bytes()),
        ("comparison.csv", table(to_csv(&rows, &["measure"]))?),
        ("comparison-tanks.csv", table(to_csv(&tank_rows(comparison), &["tank"]))?),
        ("comparison.json", format!("{json}\n").into_bytes()),
    ];
    super::write_files(out, &files)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tank::compare::TankSample;

    #[test]
    fn every_tank_moment_and_contrast_is_a_row() {
        let s = TankSample::read("tank,called,inflated\na,50,40\nb,50,45\nc,50,20\nd,50,25\n".as_bytes())
            .unwrap();
        let d = Design::read("tank,arm\na,x\nb,x\nc,y\nd,y\n".as_bytes()).unwrap();
        let c = compare(&s, &d, &Options::default()).unwrap();
        assert_eq!(tank_rows(&c).len(), 4);
        assert_eq!(c.measures.iter().flat_map(|m| contrast_rows(m, "")).count(), 1);
    }
}
