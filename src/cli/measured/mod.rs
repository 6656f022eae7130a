//! Measured fish for the decision commands: from a results folder, any CSV with a length column, or a season.

mod table;
mod values;

pub use table::{settle, sheet};
pub use values::{mesh, share, spacing, stock_number};

use super::{Context, Failure, Place, Season};
use crate::decision::brief::{Stock, by_tank};
use crate::decision::relation::{self, Form, Quantity, Relation};
use crate::decision::{DecisionError, Estimate, Sample, State, from_rows, without_fragments};
use crate::season::course::alive;
use crate::stats::Level;
use jiff::civil::Date;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// Where the fish come from.
#[derive(Debug, clap::Args)]
pub struct Measured {
    /// Results folder, its fish.csv, or any CSV with a length column
    #[arg(value_name = "FILE|DIR", required_unless_present = "season")]
    input: Option<PathBuf>,
    /// Season folder: take the fish of its ledger
    #[arg(long, value_name = "DIR", conflicts_with = "input")]
    season: Option<PathBuf>,
    /// Only this tank
    #[arg(long, value_name = "ID")]
    tank: Option<String>,
    /// What tanks hold: CSV with tank, fish and, where known, fish_low, fish_high, volume_l, treatment
    #[arg(long, value_name = "FILE")]
    tanks: Option<PathBuf>,
    /// Fish in the tank: a number, or number,low,high
    #[arg(long, value_name = "N[,LOW,HIGH]", value_parser = stock_number)]
    tank_fish: Option<Estimate>,
    /// Lengths of preserved fish brought back to life: a factor above 1, or the name of a profile
    #[arg(long, value_name = "FACTOR|NAME")]
    shrinkage: Option<String>,
    /// Relations of your own, in the form of profiles/*.toml
    #[arg(long, value_name = "FILE")]
    profiles: Option<PathBuf>,
}

/// The fish read, and what is known of their tanks.
#[derive(Debug)]
pub struct Loaded {
    /// Samples of each tank by rising date, all in the state of the newest.
    pub tanks: Vec<Vec<Sample>>,
    stock: BTreeMap<String, Stock>,
    tank_fish: Option<Estimate>,
    /// Relations of the user's own.
    pub profiles: Vec<Relation>,
    /// Level of the limits.
    pub level: Level,
}

impl Loaded {
    /// What is known of the tank of these samples.
    pub fn stock_of(&self, samples: &[Sample]) -> Stock {
        let tank = samples.last().and_then(|s| s.tank.as_deref()).unwrap_or_default();
        let mut stock = self.stock.get(tank).cloned().unwrap_or_default();
        stock.fish = self.tank_fish.or(stock.fish);
        stock
    }

    /// The relations called `names`.
    ///
    /// # Errors
    /// A [`Failure`] naming those there are.
    pub fn relations(&self, names: &[String], kinds: &[Quantity]) -> Result<Vec<Relation>, Failure> {
        names
            .iter()
            .map(|name| {
                let mut refused = None;
                for kind in kinds {
                    match relation::find(&self.profiles, *kind, name) {
                        Ok(r) => return Ok(r),
                        Err(e) => refused = refused.or(Some(e)),
                    }
                }
                Err(refused
                    .map_or_else(|| Failure::usage(format!("no profile is called {name}")), Failure::from))
            })
            .collect()
    }
}

impl From<DecisionError> for Failure {
    fn from(error: DecisionError) -> Self {
        Self::usage(error.what).hint(error.hint)
    }
}

impl Measured {
    /// Reads the fish.
    ///
    /// # Errors
    /// A [`Failure`] with file, row and column.
    pub fn load(&self, context: &Context) -> Result<Loaded, Failure> {
        let mut stock = BTreeMap::new();
        let mut samples = match (&self.season, &self.input) {
            (Some(season), _) => from_season(season, context, &mut stock)?,
            (None, Some(input)) => table::read(&fish_file(input), context)?,
            (None, None) => {
                return Err(Failure::usage("no fish were given").hint("name a results folder or a CSV file"));
            }
        };
        if let Some(tank) = &self.tank {
            samples.retain(|s| s.tank.as_ref() == Some(tank));
            if samples.is_empty() {
                return Err(
                    Failure::usage(format!("no fish of tank {tank}")).hint("check the name of the tank")
                );
            }
        }
        if let Some(file) = &self.tanks {
            stock.extend(table::read_stock(file, context)?);
        }
        let profiles = match &self.profiles {
            None => Vec::new(),
            Some(path) => {
                let text = std::fs::read_to_string(path).map_err(|e| cannot_read(path, &e))?;
                relation::parse(&text).map_err(|e| Failure::from(e).at(Place::file(path)))?
            }
        };
        let samples = self.unshrunk(samples, &profiles, context)?;
        for s in &samples {
            crate::decision::check(s)?;
        }
        let tanks = by_tank(&samples);
        if tanks.is_empty() {
            return Err(Failure::usage("no fish with a length in millimetres")
                .hint("score the photographs with a scale; only fish that count for length are used"));
        }
        if self.tank_fish.is_some() && tanks.len() > 1 {
            return Err(Failure::usage(format!("--tank-fish is of one tank, but there are {}", tanks.len()))
                .hint("choose one with --tank, or give the numbers of all with --tanks FILE"));
        }
        let level = context.config.level.and_then(Level::new).unwrap_or_default();
        Ok(Loaded { tanks, stock, tank_fish: self.tank_fish, profiles, level })
    }

    /// Preserved samples corrected, and said so; fresh ones as they are.
    fn unshrunk(
        &self,
        samples: Vec<Sample>,
        own: &[Relation],
        context: &Context,
    ) -> Result<Vec<Sample>, Failure> {
        let preserved = samples.iter().filter(|s| matches!(s.state, State::Preserved(_))).count();
        let Some(how) = &self.shrinkage else {
            if preserved > 0 {
                context.printer.warning(
                    &format!(
                        "{preserved} samples of preserved fish: lengths as measured, shorter than alive"
                    ),
                    None,
                    Some("correct them with --shrinkage; they are never pooled with fresh fish"),
                );
            }
            return Ok(samples);
        };
        if preserved == 0 {
            return Err(Failure::usage("--shrinkage is given, but no fish are said to be preserved")
                .hint("a column `preserved` says how they were: leave it out, or empty, for fresh fish"));
        }
        let relation = match how.parse::<f64>() {
            Ok(factor) if factor > 1.0 && factor < 2.0 => Relation {
                name: format!("your factor {factor}"),
                quantity: Quantity::LiveLengthMm,
                species: String::new(),
                form: Form::Linear,
                a: 0.0,
                b: factor,
                points: Vec::new(),
                low_mm: None,
                high_mm: None,
                source: "your factor".into(),
                note: String::new(),
            },
            Ok(factor) => {
                return Err(Failure::usage(format!("a shrinkage factor of {factor}")).hint(
                    "give length alive over length preserved, above 1: 1.05 for fish that shrank by 4.8 %",
                ));
            }
            Err(_) => relation::find(own, Quantity::LiveLengthMm, how)?,
        };
        context.printer.note(&format!(
            "lengths of {preserved} preserved samples corrected by {} ({})",
            relation.name, relation.source
        ));
        samples
            .into_iter()
            .map(
                |s| {
                    if s.state == State::Fresh {
                        Ok(s)
                    } else {
                        s.corrected(&relation).map_err(Failure::from)
                    }
                },
            )
            .collect()
    }
}

/// Photographed samples without what cannot be one fish of them, which is said.
pub(super) fn sound(samples: Vec<Sample>, context: &Context) -> Vec<Sample> {
    let (samples, said) = without_fragments(samples);
    for line in &said {
        context.printer.warning(line, None, Some("look at it in the photograph; correct it if it is a fish"));
    }
    samples
}

fn fish_file(input: &Path) -> PathBuf {
    if input.is_dir() { input.join("fish.csv") } else { input.to_path_buf() }
}

pub(super) fn cannot_read(path: &Path, error: &std::io::Error) -> Failure {
    Failure::usage(format!("cannot read the file: {error}"))
        .at(Place::file(path))
        .hint("give a results folder that `frygauge score` wrote, or a CSV file")
}

fn from_season(
    folder: &Path,
    context: &Context,
    stock: &mut BTreeMap<String, Stock>,
) -> Result<Vec<Sample>, Failure> {
    let season = Season::locate(Some(folder), context)?;
    let register = season.register(context)?;
    for tank in &register.tanks {
        let fish = alive(&register, tank, Date::MAX).map(|n| Estimate::exact(n as f64));
        let treatment = tank.treatments.values().next().cloned();
        stock.insert(tank.name.clone(), Stock { fish, volume_l: tank.volume_l, treatment });
    }
    if stock.values().any(|s| s.fish.is_some()) {
        context
            .printer
            .note("numbers of fish: as counted last, else stocked less the deaths counted; fish that were eaten or never found are still in them; --tanks FILE gives better ones");
    }
    let ledger = season.ledger_read_only()?;
    let photos = ledger.samples().map_err(|e| Failure::usage(e.to_string()).hint(e.hint()))?;
    let rows: Vec<_> = photos.into_iter().flat_map(|p| p.fish).collect();
    Ok(sound(from_rows(&rows), context))
}
