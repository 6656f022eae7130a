//! `screen`: which outlet screen is safe now, and when the next one will be.

use super::decided::{json, paragraph, percent, screen_rows};
use super::measured::{self, Measured};
use super::{Context, Exit, Failure, columns, write_files};
use crate::decision::screen::{self, Mesh, ScreenAdvice, ScreenRequest, Verdict};
use crate::decision::{Estimate, growth};
use crate::report::to_csv;
use std::path::PathBuf;

/// Say which outlet screen is safe for the fish measured, and when the next one will be
#[derive(Debug, clap::Args)]
pub struct Screen {
    #[command(flatten)]
    fish: Measured,
    /// Meshes owned: 400um,500um,1mm,2mm
    #[arg(long, value_name = "OPENING,…", value_delimiter = ',', required = true, value_parser = measured::mesh)]
    mesh: Vec<f64>,
    /// How much wider the worst hole is than the nominal opening; measure it
    #[arg(long, value_name = "SHARE", default_value = "15%", value_parser = measured::share)]
    tolerance: f64,
    /// Largest share of fish that may be small enough to pass
    #[arg(long, value_name = "SHARE", default_value = "1%", value_parser = measured::share)]
    promise: f64,
    /// Growth in length, % per day, where samples do not tell it
    #[arg(long, value_name = "PCT")]
    growth: Option<f64>,
    /// Write screen.csv and screen.json to this folder
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
}

impl Screen {
    /// Runs the command.
    ///
    /// # Errors
    /// A [`Failure`] when the fish or an option cannot be used; nothing is written then.
    pub fn run(&self, context: &Context) -> Result<Exit, Failure> {
        if self.growth.is_some_and(|g| !(g.is_finite() && g.abs() < 100.0)) {
            return Err(
                Failure::usage("growth must be a number of % per day").hint("larvae grow by 1 to 10 % a day")
            );
        }
        let loaded = self.fish.load(context)?;
        let mut tanks: Vec<ScreenAdvice> = Vec::new();
        for samples in &loaded.tanks {
            let Some(newest) = samples.last() else { continue };
            let seen = growth::of_tank(samples, loaded.level).ok().map(|g| g.specific_pct_per_day);
            tanks.push(screen::advise(&ScreenRequest {
                sample: newest,
                openings_mm: &self.mesh,
                tolerance: self.tolerance,
                promise: self.promise,
                growth_pct_per_day: self.growth.map(Estimate::exact).or(seen),
                level: loaded.level,
            })?);
        }
        if let Some(folder) = &self.out {
            let rows: Vec<_> = tanks.iter().flat_map(screen_rows).collect();
            let csv =
                to_csv(&rows, &[]).map_err(|e| Failure::usage(format!("cannot write the table: {e}")))?;
            write_files(folder, &[("screen.csv", csv), ("screen.json", json(&tanks)?.into_bytes())])?;
            context.printer.note(&format!("tables are in {}", folder.display()));
        }
        if context.json {
            context.printer.result(&json(&tanks)?);
        } else {
            let texts: Vec<String> = tanks.iter().map(|t| self.text(t)).collect();
            context.printer.result(&texts.join("\n\n"));
        }
        Ok(Exit::Done)
    }

    fn text(&self, a: &ScreenAdvice) -> String {
        let mut lines = vec![a.sample.clone(), String::new()];
        let rows: Vec<Vec<String>> = a.meshes.iter().map(row).collect();
        lines.push(columns(
            &["mesh mm", "worst hole", "could pass", "at most", "verdict", "safe from"],
            &rows,
        ));
        let basis = a.meshes.first().map_or("", |m| m.deciding.basis.name());
        lines.push(paragraph(
            "  ",
            &format!("could pass: fish whose {basis} is less than the worst hole; at most: one-sided limit of their share"),
        ));
        lines.push(String::new());
        let advice = match a.coarsest_safe.map(|i| &a.meshes[i]) {
            Some(m) => format!(
                "{} mm is safe: at most {} of the fish could pass, {} was the promise",
                m.opening_mm,
                percent(m.deciding.upper),
                percent(self.promise)
            ),
            None => match a.meshes.first() {
                Some(m) if m.verdict == Verdict::CannotTell => format!(
                    "no mesh can be promised yet: {} of {} could pass {} mm, so up to {} could still be small enough; measure {} fish",
                    m.deciding.could_pass,
                    m.deciding.seen,
                    m.opening_mm,
                    percent(m.deciding.upper),
                    m.needed
                ),
                _ => "no mesh of these is safe yet".to_owned(),
            },
        };
        lines.push(paragraph("advice: ", &advice));
        for m in a.meshes.iter().filter(|m| m.note.is_some()) {
            lines.push(paragraph(
                "note: ",
                &format!("{} mm: {}", m.opening_mm, m.note.as_deref().unwrap_or_default()),
            ));
        }
        // The other dimensions beside it: of each, how many could pass every mesh.
        let others = a.meshes.first().map_or(0, |m| m.others.len());
        for k in 0..others {
            let passing: Vec<String> = a
                .meshes
                .iter()
                .filter_map(|m| Some(format!("{} mm {}", m.opening_mm, m.others.get(k)?.could_pass)))
                .collect();
            let Some(o) = a.meshes.first().and_then(|m| m.others.get(k)) else { continue };
            lines.push(paragraph(
                "beside it: ",
                &format!("by {} of {} fish could pass {}", o.basis.name(), o.seen, passing.join(", ")),
            ));
        }
        for w in &a.assumptions {
            lines.push(paragraph("rests on: ", w));
        }
        for w in &a.would_change {
            lines.push(paragraph("would change it: ", w));
        }
        lines.join("\n")
    }
}

fn row(m: &Mesh) -> Vec<String> {
    let when = match (m.verdict, m.first_safe) {
        (Verdict::Safe, _) => "now".to_owned(),
        (_, None) => "not known".to_owned(),
        (_, Some(f)) => match f.cautious {
            Some(late) if late != f.expected => format!("{} to {late}", f.expected),
            Some(late) => late.to_string(),
            None => format!("{} or later", f.expected),
        },
    };
    vec![
        format!("{}", m.opening_mm),
        format!("{:.3}", m.worst_hole_mm),
        format!("{} of {}", m.deciding.could_pass, m.deciding.seen),
        percent(m.deciding.upper),
        m.verdict.name().to_owned(),
        when,
    ]
}
