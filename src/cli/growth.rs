//! `growth`: length at age, how fast, how even, and what the tank weighs.

use super::decided::{comparison, figures, growth_row, json, limits, page, paragraph};
use super::grade::risk_lines;
use super::measured::{self, Measured};
use super::{Context, Exit, Failure, columns, write_files};
use crate::decision::biomass::WeightLaw;
use crate::decision::brief::{self, BriefOptions, GrowthComparison, TankBrief};
use crate::decision::cannibals::Nulls;
use crate::decision::growth::Method;
use crate::decision::relation::Quantity;
use crate::report::to_csv;
use serde::Serialize;
use std::path::PathBuf;

/// Say how fast the fish grow, how uneven they are, what they weigh, and whether some break away
#[derive(Debug, clap::Args)]
pub struct Growth {
    #[command(flatten)]
    fish: Measured,
    /// Weight of a fish by its length: a name of profiles/weight.toml; else a column weight_g of weighed fish is fitted
    #[arg(long, value_name = "NAME")]
    weight: Option<String>,
    /// Meshes owned, to say when the next is safe: 400um,500um,1mm
    #[arg(long, value_name = "OPENING,…", value_delimiter = ',', value_parser = measured::mesh)]
    mesh: Vec<f64>,
    /// Rules of who can eat whom; see profiles/prey.toml
    #[arg(long, value_name = "NAME,…", value_delimiter = ',', default_value = "perch-brabrand-2001")]
    prey_rule: Vec<String>,
    /// Write growth.csv and growth.json to this folder
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
}

#[derive(Debug, Serialize)]
struct Told {
    tanks: Vec<TankBrief>,
    treatments: Vec<GrowthComparison>,
}

impl Growth {
    /// Runs the command.
    ///
    /// # Errors
    /// A [`Failure`] when the fish or an option cannot be used; nothing is written then.
    pub fn run(&self, context: &Context) -> Result<Exit, Failure> {
        let loaded = self.fish.load(context)?;
        let rules = loaded.relations(
            &self.prey_rule,
            &[Quantity::PreyLengthMm, Quantity::GapeHeightMm, Quantity::GapeWidthMm],
        )?;
        let weight = match &self.weight {
            None => None,
            Some(name) => {
                let relation = crate::decision::relation::find(&loaded.profiles, Quantity::WeightG, name)?;
                Some(WeightLaw::of_relation(relation)?)
            }
        };
        let options = BriefOptions {
            openings_mm: self.mesh.clone(),
            rules,
            weight,
            level: loaded.level,
            ..BriefOptions::default()
        };
        let mut nulls = Nulls::default();
        let tanks: Vec<TankBrief> = loaded
            .tanks
            .iter()
            .filter_map(|samples| brief::of_tank(samples, &loaded.stock_of(samples), &options, &mut nulls))
            .collect();
        let treatments = brief::compare_growth(&tanks, loaded.level);
        let told = Told { tanks, treatments };
        if let Some(folder) = &self.out {
            let rows: Vec<_> = told.tanks.iter().map(growth_row).collect();
            let csv =
                to_csv(&rows, &[]).map_err(|e| Failure::usage(format!("cannot write the table: {e}")))?;
            let page = page(&told.tanks, &told.treatments).into_bytes();
            let told = json(&told)?.into_bytes();
            write_files(folder, &[("growth.csv", csv), ("growth.json", told), ("growth.html", page)])?;
            context.printer.note(&format!("tables are in {}", folder.display()));
        }
        if context.json {
            context.printer.result(&json(&told)?);
            return Ok(Exit::Done);
        }
        let mut texts: Vec<String> = told.tanks.iter().map(text).collect();
        if !told.treatments.is_empty() {
            texts.push(
                told.treatments.iter().map(|c| paragraph("", &comparison(c))).collect::<Vec<_>>().join("\n"),
            );
        }
        context.printer.result(&texts.join("\n\n"));
        Ok(Exit::Done)
    }
}

fn text(b: &TankBrief) -> String {
    let treatment = b.treatment.as_ref().map_or_else(String::new, |t| format!(" ({t})"));
    let mut lines = vec![format!("{}{treatment}", b.sample)];
    if let Some(g) = &b.growth {
        let rows: Vec<Vec<String>> = g
            .points
            .iter()
            .map(|p| {
                let age = p.age_dph.map_or_else(|| "-".into(), |a| format!("{a:.0}"));
                let range = p.limits_mm.map_or_else(|| "-".into(), |(l, h)| format!("{l:.2} to {h:.2}"));
                vec![p.date.to_string(), age, p.fish.to_string(), format!("{:.2}", p.mean_length_mm), range]
            })
            .collect();
        lines.push(columns(&["date", "dph", "fish", "mean mm", "limits"], &rows));
        let how = match g.method {
            Method::Regression => "a line through the dates",
            Method::TwoSamples => "two samples; day-to-day differences of the dip are not in the limits",
        };
        lines.push(paragraph(
            "growth: ",
            &format!(
                "{}, {} ({how}; {} fish)",
                limits(&g.increment_mm_per_day, "mm a day"),
                limits(&g.specific_pct_per_day, "% a day"),
                g.state
            ),
        ));
    }
    if let Some(r) = &b.risk {
        if let Some(cv) = r.spread.last().and_then(|s| s.cv) {
            lines.push(paragraph("evenness: ", &format!("CV of length {}", limits(&cv.times(100.0), "%"))));
        }
        lines.extend(risk_lines(r));
    }
    if let Some(w) = &b.biomass {
        let mut said = format!(
            "mean {}; {} to the gram",
            limits(&w.mean_weight_g.times(1000.0), "mg"),
            limits(&w.number_per_gram, "fish")
        );
        if let Some(m) = w.biomass_g {
            said.push_str(&format!("; the tank {}", limits(&m, "g")));
        }
        if let Some(d) = w.fry_per_litre {
            said.push_str(&format!("; {} fry to the litre", figures(d.value)));
        }
        lines.push(paragraph("weight: ", &said));
        lines.push(paragraph("  ", &format!("by {}; {}", w.law, w.caution)));
    }
    if let Some(s) = &b.screen {
        let words: Vec<String> =
            s.meshes.iter().map(|m| format!("{} mm {}", m.opening_mm, m.verdict.name())).collect();
        lines.push(paragraph("screen: ", &format!("{} (`frygauge screen` says more)", words.join(", "))));
    }
    for n in &b.not_said {
        lines.push(paragraph("not said: ", n));
    }
    lines.join("\n")
}
