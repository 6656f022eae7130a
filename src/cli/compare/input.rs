//! Samples and arms from files, the ledger and the register.

use std::fs::File;
use std::path::{Path, PathBuf};

use super::at;
use crate::cli::season::Season;
use crate::cli::{Failure, Place};
use crate::season::register::{Register, What};
use crate::tank::compare::{Design, TankSample};
use crate::tank::{SampledPhoto, SummaryOptions, summarise};

/// A file opened for reading.
pub fn open(path: &Path) -> Result<File, Failure> {
    File::open(path).map_err(|e| {
        Failure::usage(format!("cannot be read: {e}")).at(Place::file(path)).hint("check the path")
    })
}

/// The samples of results folders and of `tanks.csv` files; a folder's calls name its model.
pub fn of_results(paths: &[PathBuf]) -> Result<Vec<TankSample>, Failure> {
    let mut samples = Vec::new();
    for path in paths {
        let is_folder = path.is_dir();
        let table = if is_folder { path.join("tanks.csv") } else { path.clone() };
        if is_folder && !table.exists() {
            return Err(Failure::usage("is no results folder: it holds no tanks.csv")
                .at(Place::file(path))
                .hint("score the photographs first: frygauge score PHOTOS --out DIR"));
        }
        let mut found = TankSample::read(open(&table)?).map_err(|e| at(e, &table))?;
        if is_folder {
            let model = model_of(&path.join("results.json"));
            for sample in &mut found {
                if sample.model.is_none() {
                    sample.model.clone_from(&model);
                }
            }
        }
        samples.extend(found);
    }
    Ok(samples)
}

/// Name of the model that made a folder's calls, with the start of its hash, when the folder says it.
fn model_of(results: &Path) -> Option<String> {
    let json: serde_json::Value =
        serde_json::from_reader(std::io::BufReader::new(File::open(results).ok()?)).ok()?;
    let provenance = json.get("provenance")?;
    let name = provenance.get("model")?.as_str()?;
    let hash = provenance.get("model_sha256").and_then(|h| h.as_str()).unwrap_or("");
    Some(named(name, hash))
}

fn named(name: &str, hash: &str) -> String {
    let short: String = hash.chars().take(8).collect();
    if short.is_empty() { name.to_owned() } else { format!("{name} {short}") }
}

/// The samples of a season's ledger, with ages from its register.
pub fn of_ledger(season: &Season, register: &Register) -> Result<Vec<TankSample>, Failure> {
    let ledger = season.ledger_read_only()?;
    let kept = ledger.samples().map_err(|e| Failure::usage(e.to_string()).hint(e.hint()))?;
    let mut photos = Vec::new();
    let mut fish = Vec::new();
    let mut models: std::collections::BTreeMap<(String, jiff::civil::Date), String> =
        std::collections::BTreeMap::new();
    for sample in kept {
        let age = register.tank(&sample.tank).map(|t| crate::season::age::dph(t.hatch, sample.date) as f64);
        let model = named(&sample.model.name, &sample.model.sha256);
        let all = models.entry((sample.tank.clone(), sample.date)).or_default();
        if !all.contains(&model) {
            if !all.is_empty() {
                all.push_str(" and ");
            }
            all.push_str(&model);
        }
        photos.push(SampledPhoto::new(&sample.photo, Some(sample.tank), Some(sample.date), age));
        fish.extend(sample.fish);
    }
    let rows = summarise(&fish, &photos, &SummaryOptions::default());
    Ok(rows
        .iter()
        .map(|row| {
            let model = row.date.and_then(|d| models.get(&(row.tank.clone(), d)).cloned());
            TankSample { model, ..TankSample::from(row) }
        })
        .collect())
}

/// The arms a register's treatment column names, with the survivors counted up to the date `on`.
pub fn arms_of_register(
    register: &Register,
    column: &str,
    on: Option<jiff::civil::Date>,
) -> Result<Design, Failure> {
    let known: std::collections::BTreeSet<&str> =
        register.tanks.iter().flat_map(|t| t.treatments.keys().map(String::as_str)).collect();
    if !known.contains(column) {
        let names: Vec<&str> = known.into_iter().collect();
        return Err(Failure::usage(format!("the register has no treatment column {column}")).hint(
            if names.is_empty() {
                "name it in the season's frygauge.toml, treatments = [\"…\"], and fill it in tanks.csv"
                    .to_owned()
            } else {
                format!("its treatment columns are {}", names.join(", "))
            },
        ));
    }
    let mut design = Design::from_treatments(
        register.tanks.iter().map(|t| (t.name.as_str(), t.treatments.get(column).map(String::as_str))),
    );
    for assigned in &mut design.tanks {
        // The last count of the living, up to the date compared, against the number stocked.
        let counted = register.events.iter().rev().find(|e| {
            e.what == What::Survivors && e.tank == assigned.tank && on.is_none_or(|on| e.date <= on)
        });
        let stocked = register.tank(&assigned.tank).and_then(|t| t.stocked_number);
        if let (Some(alive), Some(stocked)) = (counted.and_then(|e| e.number), stocked)
            && alive <= stocked
        {
            (assigned.stocked, assigned.alive) = (Some(stocked), Some(alive));
        }
    }
    Ok(design)
}
