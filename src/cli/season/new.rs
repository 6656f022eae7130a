//! `season new`: a folder with an empty register and an empty ledger.

use super::super::{Context, Exit, Failure, Place};
use super::store::{LEDGER, failed};
use crate::ledger::Ledger;
use crate::season::register::{EVENTS, SETTINGS, TANKS, TEMPERATURES, What};
use crate::season::species::Profile;
use jiff::civil::Date;
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

/// Arguments of `season new`.
#[derive(Debug, clap::Args)]
pub struct New {
    /// Folder to make
    #[arg(value_name = "DIR")]
    folder: PathBuf,
    /// Name for the report's title
    #[arg(long, default_value = "", hide_default_value = true)]
    name: String,
    /// Species profile
    #[arg(long, default_value = "pikeperch", value_name = "NAME")]
    species: String,
    /// Tanks, separated by commas: a row of tanks.csv each
    #[arg(long, value_delimiter = ',', value_name = "ID")]
    tanks: Vec<String>,
    /// Hatch date of these tanks
    #[arg(long, requires = "tanks", value_name = "YYYY-MM-DD")]
    hatch: Option<Date>,
    /// Water temperature of these tanks in degrees Celsius
    #[arg(long, requires = "tanks", value_name = "C")]
    temperature: Option<f64>,
    /// Treatment columns of tanks.csv, separated by commas
    #[arg(long, value_delimiter = ',', default_value = "sprayer,light", value_name = "COLUMN")]
    treatments: Vec<String>,
}

impl New {
    /// Makes the folder.
    ///
    /// # Errors
    /// A [`Failure`] when there is a season already, or the folder cannot be written; nothing is left then.
    pub fn run(&self, context: &Context) -> Result<Exit, Failure> {
        let Some(profile) = Profile::shipped(&self.species) else {
            return Err(Failure::usage(format!("no profile of the species `{}`", self.species))
                .hint(format!("known species: {}", Profile::names().join(", "))));
        };
        if !self.tanks.is_empty() && self.hatch.is_none() {
            return Err(Failure::usage("tanks without a hatch date").hint("give --hatch YYYY-MM-DD"));
        }
        let files = [
            (SETTINGS, self.settings(&profile)),
            (TANKS, self.tank_rows()),
            (EVENTS, "date,time,tank,what,value,number,note,who\n".to_owned()),
            (TEMPERATURES, "date,tank,temperature_c,note\n".to_owned()),
        ];
        for name in files.iter().map(|(name, _)| *name).chain([LEDGER]) {
            let path = self.folder.join(name);
            if path.exists() {
                return Err(Failure::usage("there is a season here already, and it is left as it is")
                    .at(Place::file(path))
                    .hint("choose another folder"));
            }
        }
        let written: Result<(), Failure> =
            fs::create_dir_all(&self.folder).map_err(|e| unwritable(&self.folder, &e)).and_then(|()| {
                for (name, text) in &files {
                    let path = self.folder.join(name);
                    fs::write(&path, text).map_err(|e| unwritable(&path, &e))?;
                }
                Ledger::create(&self.folder.join(LEDGER)).map(drop).map_err(|e| failed(&e))
            });
        if let Err(failure) = written {
            // These files were not there before: what is there now is ours.
            for name in files.iter().map(|(name, _)| *name).chain([LEDGER]) {
                let _ = fs::remove_file(self.folder.join(name));
            }
            return Err(failure);
        }
        context.printer.note(&format!(
            "season made in {}: fill in {TANKS}, then score with --season",
            self.folder.display()
        ));
        if let Some(note) = &profile.note {
            context.printer.note(&format!("{}: {note}", profile.name));
        }
        Ok(Exit::Done)
    }

    fn settings(&self, profile: &Profile) -> String {
        let quoted: Vec<String> = self.treatments.iter().map(|t| format!("{t:?}")).collect();
        let mut text = format!(
            "# Settings of this season; see docs/register.md.\n\n[hatchery]\nname = {:?}\nspecies = {:?}\n\
             # Columns of tanks.csv that are treatments.\ntreatments = [{}]\n\
             # Days between the samples of a tank while its window is open.\nsample_every_days = 1\n",
            self.name,
            profile.name,
            quoted.join(", ")
        );
        text.push_str(
            "\n# First and last day post hatch on which bladders fill, where your stock differs from the profile.\n\
             # window_dph = [4, 13]\n\
             \n# Inflated share you expect of a good tank, by age: fractions, from your own records.\n\
             # Without it a tank is compared with the other tanks only.\n\
             # expected_inflation = [\n#     { dph = 6, low = 0.20, high = 0.45 },\n\
             #     { dph = 9, low = 0.50, high = 0.80 },\n# ]\n",
        );
        let words: Vec<&str> = What::ALL.into_iter().map(What::name).collect();
        let _ = write!(text, "\n# Words of the column `what` in events.csv: {}.\n", words.join(", "));
        text
    }

    fn tank_rows(&self) -> String {
        let mut text =
            "tank,hatch_date,stocked_date,stocked_number,species,volume_l,temperature_c,screen_mm".to_owned();
        for treatment in &self.treatments {
            let _ = write!(text, ",{treatment}");
        }
        text.push_str(",notes\n");
        let temperature = self.temperature.map(|t| t.to_string()).unwrap_or_default();
        for tank in &self.tanks {
            let hatch = self.hatch.map(|d| d.to_string()).unwrap_or_default();
            let more = ",".repeat(self.treatments.len() + 1);
            let _ = writeln!(text, "{},{hatch},,,,,{temperature},{more}", quoted(tank.trim()));
        }
        text
    }
}

/// A cell that may hold anything.
fn quoted(cell: &str) -> String {
    if cell.contains([',', '"', '\n']) {
        format!("\"{}\"", cell.replace('"', "\"\""))
    } else {
        cell.to_owned()
    }
}

fn unwritable(path: &Path, error: &std::io::Error) -> Failure {
    Failure::usage(format!("cannot be written: {error}"))
        .at(Place::file(path))
        .hint("choose a folder you may write to")
}
