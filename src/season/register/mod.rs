//! The register: the files of the season folder that people edit in a spreadsheet or a text editor.
//!
//! | file | holds |
//! |---|---|
//! | `frygauge.toml` | name of the hatchery, species, treatment columns, expected inflation |
//! | `tanks.csv` | a line a tank: volume, hatch and stocking, temperature, screen, treatments |
//! | `events.csv` | a line an event: sprayer moved, surface skimmed, deaths counted, … |
//! | `temperatures.csv` | optional: daily water temperature, of one tank or of `all` |
//! | `species/NAME.toml` | optional: a species profile of one's own |
//!
//! All of it is read and checked before anything is done with it, and every mistake is reported with its
//! file, row and column: a spreadsheet is put right in one sitting.

mod events;
mod problem;
mod settings;
mod sheet;
mod tanks;
mod temperatures;

pub use events::{ALL_TANKS, Event, What};
pub use problem::{Problem, Problems};
pub use settings::{Expected, Settings};
pub use sheet::{Decimal, Sheet};
pub use tanks::Tank;
pub use temperatures::Temperatures;

use super::species::Profile;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// Name of the settings file.
pub const SETTINGS: &str = "frygauge.toml";
/// Name of the tank file.
pub const TANKS: &str = "tanks.csv";
/// Name of the event file.
pub const EVENTS: &str = "events.csv";
/// Name of the temperature log.
pub const TEMPERATURES: &str = "temperatures.csv";

/// Everything people typed about a season, checked.
#[derive(Debug, Clone)]
pub struct Register {
    /// Settings of the hatchery.
    pub settings: Settings,
    /// The tanks, in the order of the file.
    pub tanks: Vec<Tank>,
    /// The events, oldest first.
    pub events: Vec<Event>,
    /// The temperature log; empty without one.
    pub temperatures: Temperatures,
    /// The species profiles named, by name.
    pub profiles: BTreeMap<String, Profile>,
    /// The files as they are, by name.
    pub files: Vec<(String, Vec<u8>)>,
}

impl Register {
    /// Reads the register of the season in `folder`.
    ///
    /// # Errors
    /// Every mistake found, in the order of files and rows. Nothing is guessed.
    pub fn read(folder: &Path) -> Result<Self, Problems> {
        let mut problems = Problems::default();
        let mut files = Vec::new();
        let mut load = |name: &str, needed: bool, problems: &mut Problems| -> Option<(PathBuf, Vec<u8>)> {
            let path = folder.join(name);
            match std::fs::read(&path) {
                Ok(bytes) => {
                    files.push((name.to_owned(), bytes.clone()));
                    Some((path, bytes))
                }
                Err(e) if e.kind() == std::io::ErrorKind::NotFound && !needed => None,
                Err(e) => {
                    let hint = "make a season folder with `frygauge season new DIR`, or name the right one";
                    problems.add(Problem::new(&path, format!("cannot be read: {e}"), hint));
                    None
                }
            }
        };
        let settings = load(SETTINGS, true, &mut problems)
            .and_then(|(path, bytes)| Settings::parse(&path, &bytes, &mut problems));
        let tanks_file = load(TANKS, true, &mut problems);
        let events_file = load(EVENTS, false, &mut problems);
        let temperatures_file = load(TEMPERATURES, false, &mut problems);
        let Some(settings) = settings else { return Err(problems) };

        let tanks = tanks_file
            .and_then(|(path, bytes)| Sheet::parse(&path, &bytes, &mut problems))
            .map(|sheet| tanks::read(&sheet, &settings, &mut problems))
            .unwrap_or_default();
        let events = events_file
            .and_then(|(path, bytes)| Sheet::parse(&path, &bytes, &mut problems))
            .map(|sheet| events::read(&sheet, &tanks, &mut problems))
            .unwrap_or_default();
        let temperatures = temperatures_file
            .and_then(|(path, bytes)| Sheet::parse(&path, &bytes, &mut problems))
            .map(|sheet| temperatures::read(&sheet, &tanks, &mut problems))
            .unwrap_or_default();
        let mut profiles = BTreeMap::new();
        for tank in &tanks {
            if profiles.contains_key(&tank.species) {
                continue;
            }
            let own = folder.join("species").join(format!("{}.toml", tank.species));
            let profile = match std::fs::read_to_string(&own) {
                Ok(text) => {
                    files.push((format!("species/{}.toml", tank.species), text.clone().into_bytes()));
                    Profile::parse(&text)
                        .map_err(|e| Problem::new(&own, e, "see the profiles shipped with frygauge"))
                }
                Err(_) => Profile::shipped(&tank.species).ok_or_else(|| {
                    Problem::new(
                        &folder.join(TANKS),
                        format!("no profile of the species `{}`", tank.species),
                        &format!(
                            "known species: {}; a profile of your own goes into species/{}.toml",
                            Profile::names().join(", "),
                            tank.species
                        ),
                    )
                    .row(tank.row)
                    .column("species")
                }),
            };
            match profile {
                Ok(profile) => drop(profiles.insert(tank.species.clone(), profile)),
                Err(problem) => problems.add(problem),
            }
        }
        if problems.is_empty() {
            Ok(Self { settings, tanks, events, temperatures, profiles, files })
        } else {
            Err(problems)
        }
    }

    /// The tank called `name`.
    pub fn tank(&self, name: &str) -> Option<&Tank> {
        self.tanks.iter().find(|t| t.name == name)
    }

    /// The events of a tank, those of all tanks included, oldest first.
    pub fn events_of<'a>(&'a self, tank: &'a str) -> impl Iterator<Item = &'a Event> {
        self.events.iter().filter(move |e| e.tank == tank || e.tank == ALL_TANKS)
    }
}
