//! `frygauge plan`: how many fry, how many tanks.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use super::season::Season;
use super::{Context, Exit, Failure, columns};
use crate::decision::plan::{self, ASSUMED_ICC, IccSource, Plan, Question};
use crate::report::chart::{Axis, Chart, Panel, Point};
use crate::stats::cluster::{Count, anova};
use crate::stats::sample_size::fish_for_share;
use crate::tank::{SampledPhoto, SummaryOptions, summarise};

/// Repetitions of a simulation: a share of .05 is then known to within .003 (one standard error).
const REPETITIONS: usize = 5000;

/// How many fry to dip, how many tanks to use, and what that can see.
#[derive(Debug, clap::Args)]
pub struct PlanCommand {
    /// Share you expect inflated without the change, 0 to 1
    #[arg(long, value_name = "P", default_value_t = 0.8)]
    inflation: f64,
    /// Share you hope for with the change; 15 points better (or worse, where there is no room) otherwise
    #[arg(long, value_name = "P")]
    hoped: Option<f64>,
    /// Wanted precision of one tank's share: half the width of its interval, 0 to 0.5
    #[arg(long, value_name = "H", default_value_t = 0.1)]
    half_width: f64,
    /// Fry in the tank, when the dip takes a sizeable part of them
    #[arg(long, value_name = "N")]
    population: Option<u64>,
    /// Fry called a tank
    #[arg(long, value_name = "N", default_value_t = 30)]
    fish: u64,
    /// Tanks an arm you can have
    #[arg(long, value_name = "K", default_value_t = 4)]
    tanks: usize,
    /// Intraclass correlation of fish within tanks; from the season's ledger, else an assumption
    #[arg(long, value_name = "R")]
    icc: Option<f64>,
    /// Chance to see the difference when it is there
    #[arg(long, value_name = "B", default_value_t = 0.8)]
    power: f64,
    /// Season folder whose samples tell the intraclass correlation
    #[arg(long, value_name = "DIR")]
    season: Option<PathBuf>,
    /// Simulate the design you can have: what coverage, power and false alarms it really gets
    #[arg(long)]
    simulate: bool,
    /// Seed of the simulation
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
    /// Level of the intervals
    #[arg(long, value_name = "L")]
    level: Option<f64>,
    /// Write plan.svg and plan.json to this folder
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
}

impl PlanCommand {
    /// Runs it.
    ///
    /// # Errors
    /// A [`Failure`] for numbers out of range and for a season that cannot be read.
    pub fn run(&self, context: &Context) -> Result<Exit, Failure> {
        let (icc, icc_source) = self.icc(context)?;
        for (name, value) in [("--inflation", Some(self.inflation)), ("--hoped", self.hoped)] {
            if value.is_some_and(|v| !(0.0..=1.0).contains(&v)) {
                return Err(Failure::usage(format!("{name} is not between 0 and 1"))
                    .hint("shares are fractions: write 0.85 for 85 %"));
            }
        }
        let question = Question {
            expected: self.inflation,
            hoped: self.hoped.unwrap_or(if self.inflation <= 0.84 {
                self.inflation + 0.15
            } else {
                self.inflation - 0.15
            }),
            half_width: self.half_width,
            population: self.population.map(|n| n as f64),
            fish: self.fish,
            tanks: self.tanks,
            icc,
            icc_source,
            power: self.power,
            level: super::level_of(self.level.or(context.config.level))?,
        };
        let wrong = |e: crate::stats::StatsError| {
            Failure::usage(e.to_string()).hint("see frygauge plan --help for what each number means")
        };
        let mut plan = plan::plan(question).map_err(wrong)?;
        if self.simulate {
            plan.simulated = Some(plan::simulate(&plan.question, REPETITIONS, self.seed).map_err(wrong)?);
        }
        let json = serde_json::to_string_pretty(&plan).unwrap_or_default();
        if context.json {
            context.printer.result(&json);
        } else {
            context.printer.result(text(&plan).trim_end());
        }
        if let Some(out) = &self.out {
            let files = [
                ("plan.svg", chart(&plan).to_svg().into_bytes()),
                ("plan.json", format!("{json}\n").into_bytes()),
            ];
            super::write_files(out, &files)?;
            context.printer.note(&format!("Written to {}.", out.display()));
        }
        Ok(Exit::Done)
    }

    fn icc(&self, context: &Context) -> Result<(f64, IccSource), Failure> {
        if let Some(icc) = self.icc {
            return Ok((icc, IccSource::Given));
        }
        let season: Option<&Path> = self.season.as_deref().or(context.config.season.as_deref());
        if let Some(folder) = season {
            let season = Season::locate(Some(folder), context)?;
            if let Some((icc, samples)) = season_icc(&season, context)? {
                return Ok((icc, IccSource::Season { samples }));
            }
            context
                .printer
                .note("The season has too few tanks of one treatment and age to tell their correlation.");
        }
        Ok((ASSUMED_ICC, IccSource::Assumed))
    }
}

/// Intraclass correlation of the season's tanks within one date and one set of treatments, and how many tank samples told it.
fn season_icc(season: &Season, context: &Context) -> Result<Option<(f64, usize)>, Failure> {
    let register = season.register(context)?;
    let kept =
        season.ledger_read_only()?.samples().map_err(|e| Failure::usage(e.to_string()).hint(e.hint()))?;
    let mut photos = Vec::new();
    let mut fish = Vec::new();
    for sample in kept {
        photos.push(SampledPhoto::new(&sample.photo, Some(sample.tank), Some(sample.date), None));
        fish.extend(sample.fish);
    }
    let mut groups: BTreeMap<(Option<jiff::civil::Date>, Vec<String>), Vec<Count>> = BTreeMap::new();
    for row in summarise(&fish, &photos, &SummaryOptions::default()) {
        if row.called < 2 {
            continue;
        }
        let treatments: Vec<String> = register
            .tank(&row.tank)
            .map(|t| t.treatments.iter().map(|(k, v)| format!("{k}={v}")).collect())
            .unwrap_or_default();
        groups
            .entry((row.date, treatments))
            .or_default()
            .push(Count { successes: f64::from(row.inflated), n: f64::from(row.called) });
    }
    let several: Vec<&[Count]> = groups.values().filter(|g| g.len() > 1).map(Vec::as_slice).collect();
    let samples: usize = several.iter().map(|g| g.len()).sum();
    // Fewer degrees of freedom than this say next to nothing of a correlation.
    if samples < several.len() + 6 {
        return Ok(None);
    }
    Ok(anova(&several).map(|a| (a.icc.clamp(0.0, 1.0), samples)))
}

fn percent(p: f64) -> String {
    let text = format!("{:.1}", 100.0 * p);
    format!("{} %", text.strip_suffix(".0").unwrap_or(&text))
}

/// The plan as text, 80 columns.
fn text(plan: &Plan) -> String {
    let q = &plan.question;
    let mut text = format!("Plan, intervals at {}.\n\n", q.level);
    let asked = plan
        .fish
        .iter()
        .find(|f| f.expected == q.expected && f.half_width == q.half_width)
        .map_or(0, |f| f.fish);
    text += &wrapped(&format!(
        "One tank: call {asked} fry to know its share to within {} either side, when about {} are inflated. Dip at \
         random and from all depths; a few more, as some fry cannot be called.",
        points(q.half_width),
        percent(q.expected)
    ));
    let mut widths: Vec<f64> = plan.fish.iter().map(|f| f.half_width).collect();
    widths.sort_by(f64::total_cmp);
    widths.dedup();
    let heads: Vec<String> = widths.iter().map(|w| format!("±{}", points(*w))).collect();
    let header: Vec<&str> =
        std::iter::once("expected inflated").chain(heads.iter().map(String::as_str)).collect();
    let mut shares: Vec<f64> = plan.fish.iter().map(|f| f.expected).collect();
    shares.dedup();
    let rows: Vec<Vec<String>> = shares
        .iter()
        .map(|s| {
            let fish = plan.fish.iter().filter(|f| f.expected == *s).map(|f| f.fish.to_string());
            std::iter::once(percent(*s)).chain(fish).collect()
        })
        .collect();
    text += &(columns(&header, &rows) + "\n\n");

    let source = match q.icc_source {
        IccSource::Given => "given".to_owned(),
        IccSource::Season { samples } => format!("from {samples} tank samples of the season"),
        IccSource::Assumed => "an assumption: no season told it; common practice, no source".to_owned(),
    };
    text += &wrapped(&format!(
        "A change, from {} to {} inflated, to be seen with a chance of {}. Fish of one tank are alike: intraclass \
         correlation {} ({source}). More tanks help; more fish in a tank soon do not.",
        percent(q.expected),
        percent(q.hoped),
        percent(q.power),
        (q.icc * 1000.0).round() / 1000.0
    ));
    let rows: Vec<Vec<String>> = plan
        .tanks
        .iter()
        .map(|t| {
            vec![
                t.fish.to_string(),
                t.tanks.map_or_else(|| "more than 500".to_owned(), |k| k.to_string()),
                t.power.map_or_else(String::new, percent),
            ]
        })
        .collect();
    text += &(columns(&["fry a tank", "tanks an arm", "chance to see it"], &rows) + "\n\n");

    text += &wrapped(&format!("What designs with {} fry a tank can see:", q.fish));
    let rows: Vec<Vec<String>> = plan
        .affordable
        .iter()
        .map(|a| {
            vec![
                format!("{}{}", a.tanks, if a.tanks == q.tanks { " (yours)" } else { "" }),
                percent(a.power),
                a.detectable.map_or_else(|| "none".to_owned(), points),
                format!("{:.4}", a.smallest_p),
            ]
        })
        .collect();
    text += &(columns(
        &["tanks an arm", "chance to see the change", "smallest change seen", "smallest exact p"],
        &rows,
    ) + "\n\n");
    if let Some(s) = &plan.simulated {
        text += &wrapped(&format!(
            "Simulated, {} times, {} tanks an arm with {} fry each:",
            s.repetitions, q.tanks, q.fish
        ));
        let rows = [
            ("one tank's interval holds its share", s.tank_coverage),
            ("interval of the difference holds it (Welch)", s.difference_coverage),
            ("the change is seen (Welch, the default)", s.power_welch),
            ("the change is seen (pooled)", s.power_pooled),
            ("a change is seen that is not there (Welch)", s.false_alarms_welch),
            ("a change is seen that is not there (pooled)", s.false_alarms_pooled),
            ("the same, counting fish as replicates: never do", s.false_alarms_counting_fish),
        ]
        .map(|(what, share)| vec![what.to_owned(), percent(share)]);
        text += &(columns(&["what happened", "how often"], &rows) + "\n");
    }
    text
}

fn points(d: f64) -> String {
    let text = format!("{:.1}", 100.0 * d);
    format!("{} points", text.strip_suffix(".0").unwrap_or(&text))
}

fn wrapped(line: &str) -> String {
    textwrap::fill(line, textwrap::Options::new(80).word_splitter(textwrap::WordSplitter::NoHyphenation))
        + "\n"
}

/// Chance to see the change against tanks an arm, and fry against precision.
fn chart(plan: &Plan) -> Chart {
    let q = &plan.question;
    let power = plan.affordable.iter().map(|a| Point::new(a.tanks as f64, a.power)).collect::<Vec<_>>();
    let fish = (3..=20).filter_map(|points| {
        let n = fish_for_share(q.expected, f64::from(points) / 100.0, q.population, q.level).ok()?;
        Some(Point::new(f64::from(points), n as f64))
    });
    let yours = plan.affordable.iter().find(|a| a.tanks == q.tanks);
    let description = format!(
        "With {} tanks an arm and {} fry a tank, a change from {} to {} is seen with a chance of {}.",
        q.tanks,
        q.fish,
        percent(q.expected),
        percent(q.hoped),
        yours.map_or_else(String::new, |a| percent(a.power))
    );
    Chart::new("Plan: tanks and fry", description)
        .columns(2)
        .panel(
            Panel::new(Axis::number("Tanks an arm").from(0.0), Axis::percent("Chance to see the change"))
                .title(format!("{} fry a tank", q.fish))
                .line("Chance", power)
                .level(q.power, "wanted"),
        )
        .panel(
            Panel::new(Axis::number("Half-width, points").from(0.0), Axis::number("Fry to call").from(0.0))
                .title(format!("At {} inflated", percent(q.expected)))
                .line("Fry", fish),
        )
}
