//! Fits the bladder model built into the program, on rendered photographs, and prints what it reaches on
//! rendered photographs it has not seen.
//!
//! `cargo run --release --example fit_model` writes `models/standard/model.json` and the measured tables
//! of `CARD.md` beside it; the same source gives the same files. `-- --study` compares kinds of model, also
//! with one lighting left out of the fit, instead.
//! `--keep DIR` keeps the examples between runs; `--sheet DIR` writes pictures of the worst calls.

mod collect;
mod report;
mod sheet;

use anyhow::{Context as _, Result, bail};
use collect::{CLASSES, Seen, Set, gather};
use frygauge::bladder::learn::{self, Example, Recipe};
use frygauge::bladder::model::Provenance;
use frygauge::bladder::{Model, conv, net};
use frygauge::records::Lighting;
use std::path::{Path, PathBuf};

/// What the command line asks for.
struct Ask {
    study: bool,
    keep: Option<PathBuf>,
    sheet: Option<PathBuf>,
    out: PathBuf,
    scale: f64,
}

fn ask() -> Result<Ask> {
    let mut ask = Ask {
        study: false,
        keep: None,
        sheet: None,
        out: PathBuf::from("models/standard/model.json"),
        scale: 1.0,
    };
    let mut words = std::env::args().skip(1);
    while let Some(word) = words.next() {
        let mut value = || words.next().with_context(|| format!("{word} needs a value"));
        match word.as_str() {
            "--study" => ask.study = true,
            "--keep" => ask.keep = Some(value()?.into()),
            "--sheet" => ask.sheet = Some(value()?.into()),
            "--out" => ask.out = value()?.into(),
            "--scale" => ask.scale = value()?.parse().context("--scale takes a number")?,
            other => bail!("unknown option {other}"),
        }
    }
    Ok(ask)
}

fn examples(seen: &[Seen]) -> Vec<Example> {
    seen.iter().map(|s| s.example.clone()).collect()
}

/// The recipe of the standard model. By the study's Brier scores nets on the features add nothing to a convolutional
/// net; with half of the photographs one net of 14 passes had .0329 on the test photographs, one of 40 passes .0286,
/// three of 30 passes .0245.
fn recipe() -> Recipe {
    let picture = |seed| conv::Fit { epochs: 30, rate: 2e-3, decay: 0.02, seed };
    Recipe {
        nets: Vec::new(),
        conv: vec![picture(1), picture(2), picture(3)],
        cost_of_unsure: COST_OF_UNSURE,
    }
}

/// An unsure fish is looked at by a person in the close-up pictures; a wrong call stays in the tank's share. Ten
/// looks to one wrong call is an assumption, stated in CARD.md.
const COST_OF_UNSURE: f64 = 0.1;

/// Both kinds, as the study compares them.
fn both_kinds() -> Recipe {
    let net =
        |seed| net::Fit { hidden: vec![24, 8], epochs: 30, rate: 4e-3, decay: 0.03, jitter: 0.15, seed };
    let picture = |seed| conv::Fit { epochs: 14, rate: 2e-3, decay: 0.02, seed };
    Recipe { nets: vec![net(1), net(2), net(3)], conv: vec![picture(1)], cost_of_unsure: COST_OF_UNSURE }
}

/// Logistic regression on the same numbers.
fn logistic() -> Recipe {
    let net = net::Fit { hidden: vec![], epochs: 30, rate: 4e-3, decay: 0.01, jitter: 0.05, seed: 1 };
    Recipe { nets: vec![net], conv: Vec::new(), cost_of_unsure: COST_OF_UNSURE }
}

fn main() -> Result<()> {
    let ask = ask()?;
    let set = |set: Set| gather(set, ask.scale, ask.keep.as_deref());
    let (fit, calibrate, test) = (set(Set::Fit)?, set(Set::Calibrate)?, set(Set::Test)?);
    println!("examples: {} to fit, {} to calibrate, {} to test", fit.len(), calibrate.len(), test.len());
    let card = ask.out.with_file_name("CARD.md");
    if ask.study {
        let table = study(&fit, &calibrate, &test);
        println!("{table}");
        return into_card(&card, "study", &table);
    }
    let counts = |seen: &[Seen], set: Set| {
        CLASSES
            .iter()
            .map(|(class, _)| {
                let of = seen.iter().filter(|s| s.class == *class);
                let mut photographs: Vec<u64> = of.clone().map(|s| s.seed).collect();
                photographs.dedup();
                (format!("{class:?}"), set.first_seed(), photographs.len(), of.count())
            })
            .collect()
    };
    let provenance = Provenance {
        command: "cargo run --release --example fit_model".to_owned(),
        data: "rendered photographs, read by the program's own reader, disturbed".to_owned(),
        fitted_on: counts(&fit, Set::Fit),
        calibrated_on: counts(&calibrate, Set::Calibrate),
    };
    let model = learn::fit("standard-1", &examples(&fit), &examples(&calibrate), &recipe(), provenance);
    let text = serde_json::to_string(&model)?;
    if let Some(folder) = ask.out.parent() {
        std::fs::create_dir_all(folder)?;
    }
    std::fs::write(&ask.out, text + "\n").with_context(|| format!("cannot write {}", ask.out.display()))?;
    println!("calibration {:?}\nthresholds {:?}", model.calibration, model.thresholds);
    println!("\nfitted on\n{}", report::tables(&model, &fit));
    let tables = report::tables(&model, &test);
    println!("\ntest\n{tables}");
    let t = model.thresholds;
    let bands = format!(
        "Not inflated below a probability of {}, inflated from {}; between them unsure.",
        t.not_inflated_below, t.inflated_from
    );
    into_card(&card, "measured", &format!("{bands}\n\n{tables}"))?;
    if let Some(folder) = &ask.sheet {
        sheet::write(folder, &model, &test)?;
    }
    Ok(())
}

/// Kinds of model against each other, on all lightings and with one lighting left out of the fit.
fn study(fit: &[Seen], calibrate: &[Seen], test: &[Seen]) -> String {
    let provenance = || Provenance {
        command: String::new(),
        data: String::new(),
        fitted_on: Vec::new(),
        calibrated_on: Vec::new(),
    };
    let mut text = String::from(
        "| left out of the fit | tested on | kind | fish | called | accuracy | Brier | log loss |\n|---|---|---|---|---|---|---|---|\n",
    );
    for left_out in [None, Some(Lighting::Transmitted), Some(Lighting::Dark), Some(Lighting::Pale)] {
        let keep = |seen: &[Seen]| -> Vec<Example> {
            seen.iter().filter(|s| Some(s.example.lighting) != left_out).map(|s| s.example.clone()).collect()
        };
        let (fit, calibrate) = (keep(fit), keep(calibrate));
        let tested: Vec<&Seen> =
            test.iter().filter(|s| left_out.is_none_or(|l| s.example.lighting == l)).collect();
        let both = learn::fit("study", &fit, &calibrate, &both_kinds(), provenance());
        let mut features = Model { conv: Vec::new(), ..both.clone() };
        learn::calibrate_model(&mut features, &calibrate);
        let mut picture = Model { nets: Vec::new(), ..both.clone() };
        learn::calibrate_model(&mut picture, &calibrate);
        let line = learn::fit("study", &fit, &calibrate, &logistic(), provenance());
        let kinds = [
            ("logistic regression on features", line),
            ("nets on features", features),
            ("convolutional net", picture),
            ("nets and convolutional net", both),
        ];
        for (kind, model) in &kinds {
            let row = report::Row::of(model, &tested);
            let name = left_out.map_or("nothing".to_owned(), |l| format!("{l:?}").to_lowercase());
            let on = left_out.map_or("all".to_owned(), |l| format!("{l:?}").to_lowercase());
            let row = format!(
                "| {name} | {on} | {kind} | {} | {:.3} | {:.3} | {:.4} | {:.3} |\n",
                row.fish, row.called, row.accuracy, row.brier, row.log_loss
            );
            eprint!("{row}");
            text += &row;
        }
    }
    text
}

/// Puts `table` into the card between its marks `<!-- name -->` and `<!-- end name -->`.
fn into_card(card: &Path, name: &str, table: &str) -> Result<()> {
    let text = std::fs::read_to_string(card).with_context(|| format!("cannot read {}", card.display()))?;
    let (open, close) = (format!("<!-- {name} -->"), format!("<!-- end {name} -->"));
    let (Some(from), Some(to)) = (text.find(&open), text.find(&close)) else {
        bail!("{} has no place for {name}", card.display());
    };
    let text = format!("{}{open}\n{}\n{}", &text[..from], table.trim(), &text[to..]);
    Ok(std::fs::write(card, text)?)
}
