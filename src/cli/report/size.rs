//! What sizes and treatments say, worked out for the morning report and handed to it as finished text and records.

use crate::cli::compare;
use crate::cli::decided::{
    breaking, grade_rows, growth_row, next_mesh, percent, safe_mesh, screen_rows, section, share,
};
use crate::cli::{Failure, columns};
use crate::decision::biomass::WeightLaw;
use crate::decision::brief::{self, BriefOptions, GrowthComparison, Stock, TankBrief};
use crate::decision::cannibals::Nulls;
use crate::decision::grader::{self, GradeAdvice, GradeRequest, Retention};
use crate::decision::relation::{self, Quantity, Relation};
use crate::decision::{Estimate, from_rows, without_fragments};
use crate::records::FishRow;
use crate::report::chart::escape;
use crate::report::to_csv;
use crate::season::course::{Course, alive};
use crate::season::register::Register;
use crate::stats::Level;
use crate::tank::compare::{Comparison, Options, TankSample};
use jiff::civil::Date;
use std::collections::BTreeMap;
use std::fmt::Write as _;

/// Who can eat whom, when the register names no rule.
const PREY_RULE: &str = "perch-brabrand-2001";

/// Everything the report shows besides the courses of inflation.
#[derive(Debug)]
pub struct Size {
    tanks: Vec<TankBrief>,
    growth: Vec<GrowthComparison>,
    left_out: Vec<String>,
    grading: Vec<GradeAdvice>,
    /// By treatment column: the comparison, or why there is none.
    treatments: Vec<(String, Result<Comparison, String>)>,
}

impl Size {
    /// Works it out from the fish and courses up to `as_of`; `models` names what called each sample.
    ///
    /// # Errors
    /// A [`Failure`] when the register names a profile that does not exist.
    pub fn of(
        register: &Register,
        fish: &[FishRow],
        courses: &[Course],
        models: &BTreeMap<(String, Date), String>,
        as_of: Date,
    ) -> Result<Self, Failure> {
        let fish: Vec<FishRow> =
            fish.iter().filter(|f| f.date.is_some_and(|d| d <= as_of)).cloned().collect();
        let options = options(register)?;
        let mut nulls = Nulls::default();
        let (samples, left_out) = without_fragments(from_rows(&fish));
        let by_tank = brief::by_tank(&samples);
        let column = register.settings.treatments.first();
        let stock = |name: Option<&str>| {
            let Some(tank) = name.and_then(|n| register.tank(n)) else { return Stock::default() };
            Stock {
                fish: alive(register, tank, as_of).map(|n| Estimate::exact(n as f64)),
                volume_l: tank.volume_l,
                treatment: column.and_then(|c| tank.treatments.get(c)).cloned(),
            }
        };
        let mut tanks = Vec::new();
        let mut grading = Vec::new();
        for samples in &by_tank {
            let Some(newest) = samples.last() else { continue };
            let stock = stock(newest.tank.as_deref());
            let Some(mut told) = brief::of_tank(samples, &stock, &options, &mut nulls) else { continue };
            if !register.settings.graders_mm.is_empty() {
                let advice = grader::advise(&GradeRequest {
                    sample: newest,
                    retention: &Retention::Assumed,
                    spacings_mm: &register.settings.graders_mm,
                    goal: None,
                    tank_fish: stock.fish,
                    handling_length_mm: register.settings.handling_length_mm,
                    level: Level::P95,
                });
                match advice {
                    Ok(advice) => grading.push(advice),
                    Err(e) => told.not_said.push(format!("grader: {}", e.what)),
                }
            }
            tanks.push(told);
        }
        let growth = brief::compare_growth(&tanks, Level::P95);
        let treatments = compared(register, courses, models, as_of);
        Ok(Self { tanks, growth, left_out, grading, treatments })
    }

    /// Lengths that cannot be fish of their sample and were left out, in words.
    pub fn left_out(&self) -> &[String] {
        &self.left_out
    }

    /// The sections of the page.
    pub fn html(&self) -> String {
        let mut html = section(&self.tanks, &self.growth);
        html += &self.grading_html();
        for (column, result) in &self.treatments {
            match result {
                Ok(c) => html += &compare::section(c, column),
                Err(why) => {
                    let _ = writeln!(
                        html,
                        "<section class=\"comparison\"><h2>Did it help? {}</h2><p>Not compared: {}.</p></section>",
                        escape(column),
                        escape(why)
                    );
                }
            }
        }
        html
    }

    fn grading_html(&self) -> String {
        let Some(first) = self.grading.first() else { return String::new() };
        let mut html = String::from(
            "<section class=\"decisions\"><h2 id=\"graders\">What each grader would hold back</h2>\n<div class=\"scroll\" tabindex=\"0\" role=\"group\" aria-label=\"Table\">\
             <table><thead><tr><th scope=\"col\" class=\"words\">Tank</th>",
        );
        for s in &first.splits {
            let _ = write!(html, "<th scope=\"col\">{} mm bars</th>", s.spacing_mm);
        }
        html.push_str("<th scope=\"col\" class=\"words\">Not yet, because</th></tr></thead><tbody>");
        for a in &self.grading {
            let _ = write!(html, "<tr><th scope=\"row\" class=\"words\">{}</th>", escape(&a.sample));
            for s in &a.splits {
                let _ = write!(html, "<td class=\"whole\">{}</td>", escape(&share(&s.retained.share)));
            }
            let _ = write!(html, "<td class=\"words long\">{}</td></tr>", escape(&a.not_yet.join("; ")));
        }
        let sizes: std::collections::BTreeSet<&str> = self.grading.iter().map(|a| a.size.name()).collect();
        let _ = write!(
            html,
            "</tbody></table></div>\n<p class=\"small\">Share of fish held back, limits in brackets, by {}. No counted split \
             is known here, so the steepness of the grader is assumed over a range and the widest limits are given; \
             <code>frygauge grade --counts</code> narrows them and sets the grader to a goal.</p></section>\n",
            sizes.into_iter().collect::<Vec<_>>().join(" or ")
        );
        html
    }

    /// The same as records for JSON.
    ///
    /// # Errors
    /// When a record cannot be written as JSON.
    pub fn json(&self) -> Result<serde_json::Value, serde_json::Error> {
        let treatments: BTreeMap<&str, serde_json::Value> = self
            .treatments
            .iter()
            .map(|(column, result)| {
                let value = match result {
                    Ok(c) => serde_json::to_value(c)?,
                    Err(why) => serde_json::json!({ "not_compared": why }),
                };
                Ok((column.as_str(), value))
            })
            .collect::<Result<_, serde_json::Error>>()?;
        Ok(serde_json::json!({
            "tanks": self.tanks,
            "growth_by_treatment": self.growth,
            "grading": self.grading,
            "comparisons": treatments,
        }))
    }

    /// The same as CSV: sizes, screens, graders, comparisons; a table without rows is left out.
    ///
    /// # Errors
    /// When a table cannot be written.
    pub fn tables(&self) -> Result<Vec<(&'static str, Vec<u8>)>, csv::Error> {
        let mut files = Vec::new();
        let growth: Vec<_> = self.tanks.iter().map(growth_row).collect();
        let screens: Vec<_> =
            self.tanks.iter().filter_map(|b| b.screen.as_ref()).flat_map(screen_rows).collect();
        let graders: Vec<_> = self.grading.iter().flat_map(grade_rows).collect();
        if !growth.is_empty() {
            files.push(("size.csv", to_csv(&growth, &[])?));
        }
        if !screens.is_empty() {
            files.push(("screens.csv", to_csv(&screens, &[])?));
        }
        if !graders.is_empty() {
            files.push(("graders.csv", to_csv(&graders, &[])?));
        }
        let compared: Vec<_> = self
            .treatments
            .iter()
            .filter_map(|(column, result)| Some((column.as_str(), result.as_ref().ok()?)))
            .collect();
        if !compared.is_empty() {
            files.push(("comparisons.csv", compare::table(&compared)?));
        }
        Ok(files)
    }

    /// The same for the terminal, at most 80 columns wide.
    pub fn text(&self) -> String {
        if self.tanks.is_empty() {
            return String::new();
        }
        let dash = || "-".to_owned();
        let rows: Vec<Vec<String>> = self
            .tanks
            .iter()
            .map(|b| {
                let growth = b.growth.as_ref();
                vec![
                    b.tank.clone().unwrap_or_else(|| "all".into()),
                    b.mean_length_mm.map_or_else(dash, |e| format!("{:.1}", e.value)),
                    growth.map_or_else(dash, |g| {
                        let e = &g.specific_pct_per_day;
                        if e.low.is_finite() {
                            format!("{:.1} ({:.1} to {:.1})", e.value, e.low, e.high)
                        } else {
                            format!("{:.1}", e.value)
                        }
                    }),
                    b.risk
                        .as_ref()
                        .and_then(|r| r.spread.last()?.cv)
                        .map_or_else(dash, |cv| percent(cv.value)),
                    b.risk.as_ref().map_or_else(dash, |r| {
                        let words = breaking(&r.second_mode);
                        words.split(['(', ':']).next().unwrap_or_default().trim().to_owned()
                    }),
                    b.screen.as_ref().map_or_else(dash, safe_mesh),
                    b.screen.as_ref().and_then(next_mesh).map_or_else(dash, |m| {
                        m.split(" to ").flat_map(|part| part.split(',')).next().unwrap_or_default().to_owned()
                    }),
                ]
            })
            .collect();
        let mut text = columns(&["tank", "mm", "% a day", "CV", "breaking away", "mesh", "next mesh"], &rows);
        for (column, result) in &self.treatments {
            let Ok(c) = result else { continue };
            for contrast in c.measures.iter().flat_map(|m| &m.contrasts) {
                text.push('\n');
                text += &crate::cli::decided::paragraph(&format!("{column}: "), &contrast.sentence);
            }
        }
        text
    }
}

fn options(register: &Register) -> Result<BriefOptions, Failure> {
    let settings = &register.settings;
    let prey = [Quantity::PreyLengthMm, Quantity::GapeHeightMm, Quantity::GapeWidthMm];
    let rule = |name: &str| -> Result<Relation, Failure> {
        prey.iter()
            .find_map(|kind| relation::find(&[], *kind, name).ok())
            .map_or_else(|| relation::find(&[], Quantity::PreyLengthMm, name), Ok)
            .map_err(Failure::from)
    };
    let rules = if settings.prey_rules.is_empty() {
        vec![rule(PREY_RULE)?]
    } else {
        settings.prey_rules.iter().map(|name| rule(name)).collect::<Result<_, _>>()?
    };
    let weight = match &settings.weight {
        None => None,
        Some(name) => Some(WeightLaw::of_relation(relation::find(&[], Quantity::WeightG, name)?)?),
    };
    let mut openings_mm = settings.meshes_mm.clone();
    if openings_mm.is_empty() {
        openings_mm = register.tanks.iter().filter_map(|t| t.screen_mm).collect();
    }
    openings_mm.sort_by(f64::total_cmp);
    openings_mm.dedup();
    Ok(BriefOptions { openings_mm, rules, weight, ..BriefOptions::default() })
}

/// Every treatment column of the register with two arms or more, compared on tanks.
fn compared(
    register: &Register,
    courses: &[Course],
    models: &BTreeMap<(String, Date), String>,
    as_of: Date,
) -> Vec<(String, Result<Comparison, String>)> {
    let samples: Vec<TankSample> = courses
        .iter()
        .flat_map(|c| &c.days)
        .map(|day| {
            let model = models.get(&(day.row.tank.clone(), day.date)).cloned();
            TankSample { model, ..TankSample::from(&day.row) }
        })
        .collect();
    let mut all = Vec::new();
    for column in &register.settings.treatments {
        let arms: std::collections::BTreeSet<&String> =
            register.tanks.iter().filter_map(|t| t.treatments.get(column)).collect();
        if arms.len() < 2 {
            continue;
        }
        let result =
            compare::arms_of_register(register, column, Some(as_of)).map_err(|e| e.what).and_then(|design| {
                crate::tank::compare::compare(&samples, &design, &Options::default()).map_err(|e| e.what)
            });
        all.push((column.clone(), result));
    }
    all
}
