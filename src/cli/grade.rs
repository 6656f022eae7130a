//! `grade`: where to set the grader, and what each setting does.

use super::decided::{figures, file_name, grade_chart, grade_rows, json, paragraph, percent, share};
use super::measured::{self, Loaded, Measured};
use super::{Context, Exit, Failure, Place, columns, write_files};
use crate::decision::Estimate;
use crate::decision::cannibals::{self, Nulls, Risk, Verdict};
use crate::decision::grader::{self, Goal, GradeAdvice, GradeRequest, Retention, SizeUsed};
use crate::decision::relation::Quantity;
use crate::report::to_csv;
use crate::season::register::Problems;
use crate::stats::selection::{Design, SizeClass};
use serde::Serialize;
use std::path::{Path, PathBuf};

/// Say where to set the grader, how many fish go each way, and when not to grade
#[derive(Debug, clap::Args)]
pub struct Grade {
    #[command(flatten)]
    fish: Measured,
    /// Bar spacings owned, mm; without any, spacings across the fish are tried
    #[arg(long, value_name = "MM,…", value_delimiter = ',', value_parser = measured::spacing)]
    spacing: Vec<f64>,
    #[command(flatten)]
    goal: GoalArgs,
    /// A split that was counted: CSV with width_mm, depth_mm or length_mm, retained, and passed (or unsorted)
    #[arg(long, value_name = "FILE", requires = "counted_at")]
    counts: Option<PathBuf>,
    /// Bar spacing the split was counted at, mm
    #[arg(long, value_name = "MM", value_parser = measured::spacing)]
    counted_at: Option<f64>,
    /// Do not grade while fish are shorter than this, mm
    #[arg(long, value_name = "MM")]
    handling_length: Option<f64>,
    /// Rules of who can eat whom; see profiles/prey.toml
    #[arg(long, value_name = "NAME,…", value_delimiter = ',', default_value = "perch-brabrand-2001")]
    prey_rule: Vec<String>,
    /// Write grade.csv, grade.json and one chart a tank to this folder
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
}

/// What the grader should do.
#[derive(Debug, clap::Args)]
#[group(multiple = false)]
struct GoalArgs {
    /// Hold back this share of the fish, the largest: 10%
    #[arg(long, value_name = "SHARE", value_parser = measured::share)]
    remove_largest: Option<f64>,
    /// Two halves
    #[arg(long, value_name = "even")]
    split: Option<Even>,
    /// CV of length on both sides at most this: 12%
    #[arg(long, value_name = "CV", value_parser = measured::share)]
    max_cv: Option<f64>,
    /// On either side at most 1 % of pairs differ by more than this ratio of lengths
    #[arg(long, value_name = "R")]
    safe_ratio: Option<f64>,
}

#[derive(Debug, Clone, Copy, clap::ValueEnum)]
enum Even {
    Even,
}

/// What is said of one tank.
#[derive(Debug, Serialize)]
struct TankGrade {
    advice: GradeAdvice,
    cannibals: Risk,
}

impl Grade {
    /// Runs the command.
    ///
    /// # Errors
    /// A [`Failure`] when the fish, the counts or an option cannot be used; nothing is written then.
    pub fn run(&self, context: &Context) -> Result<Exit, Failure> {
        let loaded = self.fish.load(context)?;
        let retention = self.retention(context)?;
        let rules = loaded.relations(
            &self.prey_rule,
            &[Quantity::PreyLengthMm, Quantity::GapeHeightMm, Quantity::GapeWidthMm],
        )?;
        let mut nulls = Nulls::default();
        let mut tanks = Vec::new();
        for samples in &loaded.tanks {
            let Some(newest) = samples.last() else { continue };
            let stock = loaded.stock_of(samples);
            self.counts_fit(&retention, stock.fish)?;
            let advice = grader::advise(&GradeRequest {
                sample: newest,
                retention: &retention,
                spacings_mm: &self.spacing,
                goal: self.goal(),
                tank_fish: stock.fish,
                handling_length_mm: self.handling_length,
                level: loaded.level,
            })?;
            let cannibals = cannibals::judge(samples, &rules, stock.fish, loaded.level, &mut nulls)?;
            tanks.push(TankGrade { advice, cannibals });
        }
        if let Some(folder) = &self.out {
            write_files(folder, &files(&tanks)?)?;
            context.printer.note(&format!("tables and charts are in {}", folder.display()));
        }
        if context.json {
            context.printer.result(&json(&tanks)?);
        } else {
            let texts: Vec<String> = tanks.iter().map(|t| text(t, self.goal(), &loaded)).collect();
            context.printer.result(&texts.join("\n\n"));
        }
        Ok(Exit::Done)
    }

    fn goal(&self) -> Option<Goal> {
        let g = &self.goal;
        g.remove_largest
            .map(Goal::RemoveLargest)
            .or(g.split.map(|Even::Even| Goal::Even))
            .or(g.max_cv.map(Goal::MaxCv))
            .or(g.safe_ratio.map(Goal::SafeRatio))
    }

    /// Refuses a split of more fish than the tank holds.
    fn counts_fit(&self, retention: &Retention, tank: Option<Estimate>) -> Result<(), Failure> {
        let (Retention::Counted(split), Some(tank), Some(path)) = (retention, tank, &self.counts) else {
            return Ok(());
        };
        if split.fish <= tank.high {
            return Ok(());
        }
        Err(Failure::usage(format!(
            "{:.0} fish were counted at the grader but the tank is said to hold {:.0}",
            split.fish, tank.high
        ))
        .at(Place::file(path))
        .hint("check the counts and the number of fish in the tank"))
    }

    fn retention(&self, context: &Context) -> Result<Retention, Failure> {
        let (Some(path), Some(spacing)) = (&self.counts, self.counted_at) else {
            return Ok(Retention::Assumed);
        };
        let (classes, design, size) = counts(path, context)?;
        let split = grader::calibrate(&classes, design, spacing, size)
            .map_err(|e| Failure::from(e).at(Place::file(path)))?;
        Ok(Retention::Counted(split))
    }
}

/// The counted split of a file.
fn counts(path: &Path, context: &Context) -> Result<(Vec<SizeClass>, Design, SizeUsed), Failure> {
    let sheet = measured::sheet(path, context)?;
    let sizes = [
        ("width_mm", SizeUsed::Width),
        ("depth_mm", SizeUsed::DepthForWidth),
        ("length_mm", SizeUsed::Length),
    ];
    let of_file = |what: &str, hint: &str| Failure::usage(what).at(Place::file(path).row(1)).hint(hint);
    let there: Vec<_> = sizes.into_iter().filter(|(name, _)| sheet.has(name)).collect();
    let [(column, size)] = there[..] else {
        return Err(of_file("the counts need one column of size", "name it width_mm, depth_mm or length_mm"));
    };
    let (other, design) = match (sheet.has("passed"), sheet.has("unsorted")) {
        (true, false) => ("passed", Design::BothSidesCounted),
        (false, true) => ("unsorted", Design::UnsortedFreeSplit),
        _ => {
            return Err(of_file(
                "the counts need a column passed, or a column unsorted",
                "passed: the fish that went through; unsorted: a sample taken before grading",
            ));
        }
    };
    let mut problems = Problems::default();
    sheet.expect(
        &[column, "retained", other],
        &[],
        "other columns are not read: leave them out",
        &mut problems,
    );
    let mut classes = Vec::new();
    for row in sheet.rows() {
        for name in [column, "retained", other] {
            row.needed(name, &mut problems);
        }
        let size = row.positive(column, &mut problems);
        let (retained, rest) = (row.count("retained", &mut problems), row.count(other, &mut problems));
        if let (Some(size), Some(retained), Some(rest)) = (size, retained, rest) {
            classes.push(SizeClass { size, retained: retained as f64, other: rest as f64 });
        }
    }
    measured::settle(&problems, context)?;
    Ok((classes, design, size))
}

fn files(tanks: &[TankGrade]) -> Result<Vec<(String, Vec<u8>)>, Failure> {
    let rows: Vec<_> = tanks.iter().flat_map(|t| grade_rows(&t.advice)).collect();
    let csv = to_csv(&rows, &[]).map_err(|e| Failure::usage(format!("cannot write the table: {e}")))?;
    let mut files =
        vec![("grade.csv".to_owned(), csv), ("grade.json".to_owned(), json(&tanks)?.into_bytes())];
    for t in tanks {
        let which = t.advice.best.unwrap_or_else(|| most_even(&t.advice));
        if let Some(chart) = grade_chart(&t.advice, which) {
            let name = t.advice.sample.split([' ', ',']).next().filter(|_| t.advice.sample != "all fish");
            files.push((format!("grade_{}.svg", file_name(name)), chart.to_svg().into_bytes()));
        }
    }
    Ok(files)
}

fn most_even(advice: &GradeAdvice) -> usize {
    let off = |i: &usize| (advice.splits[*i].retained.share.value - 0.5).abs();
    (0..advice.splits.len()).min_by(|a, b| off(a).total_cmp(&off(b))).unwrap_or(0)
}

/// At most this many spacings are shown; the tables hold all.
const SHOWN: usize = 12;

fn text(t: &TankGrade, goal: Option<Goal>, loaded: &Loaded) -> String {
    let a = &t.advice;
    let mut lines = vec![
        format!("{}: {} fish measured, sized by {}", a.sample, a.measured, a.size.name()),
        String::new(),
    ];
    let centre = a.best.unwrap_or_else(|| most_even(a));
    let first = centre.saturating_sub(SHOWN / 2).min(a.splits.len().saturating_sub(SHOWN));
    let rows: Vec<Vec<String>> = a
        .splits
        .iter()
        .enumerate()
        .skip(first)
        .take(SHOWN)
        .map(|(i, s)| {
            let mean = |v: Option<f64>| v.map_or_else(|| "-".into(), |v| format!("{v:.1}"));
            let cv = |e: Option<Estimate>| e.map_or_else(|| "-".into(), |e| percent(e.value));
            vec![
                format!("{:.3}", s.spacing_mm).trim_end_matches('0').trim_end_matches('.').to_owned(),
                if a.best == Some(i) { "best".into() } else { String::new() },
                share(&s.retained.share),
                mean(s.retained.mean_length_mm),
                cv(s.retained.cv_length),
                percent(s.passed.share.value),
                mean(s.passed.mean_length_mm),
                cv(s.passed.cv_length),
                s.misorder.map_or_else(|| "-".into(), percent),
            ]
        })
        .collect();
    lines.push(columns(&["bars mm", "", "retained", "mm", "CV", "passed", "mm", "CV", "misorder"], &rows));
    lines.push(paragraph(
        "  ",
        &format!(
            "retained: share of fish with {} limits; misorder: chance that of one fish from each side the passed one is the longer (50 % is no better than chance)",
            loaded.level
        ),
    ));
    if a.splits.len() > SHOWN {
        lines.push(format!("  {} of {} spacings shown; --out DIR writes all", SHOWN, a.splits.len()));
    }
    lines.push(String::new());
    advice_lines(a, goal, &mut lines);
    lines.push(String::new());
    lines.extend(risk_lines(&t.cannibals));
    lines.join("\n")
}

fn advice_lines(a: &GradeAdvice, goal: Option<Goal>, lines: &mut Vec<String>) {
    for reason in &a.not_yet {
        lines.push(paragraph("do not grade yet: ", reason));
    }
    if let Some(best) = a.best.and_then(|i| a.splits.get(i)) {
        let aim = match goal {
            Some(Goal::RemoveLargest(q)) => format!("hold back the largest {}", percent(q)),
            Some(Goal::Even) => "make two halves".into(),
            Some(Goal::MaxCv(c)) => format!("keep the CV of both sides at {} or less", percent(c)),
            Some(Goal::SafeRatio(r)) => format!("keep pairs on either side within {r} times"),
            None => String::new(),
        };
        let met = if a.goal_met == Some(false) { "; no spacing reaches it, this comes nearest" } else { "" };
        let fish = best.retained.fish.zip(best.passed.fish).map_or_else(String::new, |(r, p)| {
            format!(
                ": {:.0} fish retained ({:.0} to {:.0}), {:.0} passed ({:.0} to {:.0})",
                r.value, r.low, r.high, p.value, p.low, p.high
            )
        });
        let when = if a.not_yet.is_empty() { "set" } else { "when it is time, set" };
        lines.push(paragraph(
            "advice: ",
            &format!("{when} {} mm to {aim}{met}{fish}", figures(best.spacing_mm)),
        ));
    } else if goal.is_none() {
        lines.push(paragraph(
            "advice: ",
            "none without a goal: --remove-largest 10%, --split even, --max-cv 12% or --safe-ratio 1.5",
        ));
    }
    for s in a.splits.iter().filter(|s| s.note.is_some()) {
        lines.push(paragraph(
            "note: ",
            &format!("{} mm is {}", figures(s.spacing_mm), s.note.as_deref().unwrap_or_default()),
        ));
    }
    for w in &a.assumptions {
        lines.push(paragraph("rests on: ", w));
    }
    for w in &a.would_change {
        lines.push(paragraph("would change it: ", w));
    }
}

/// What is said of cannibalism, line by line.
pub(super) fn risk_lines(r: &Risk) -> Vec<String> {
    let m = &r.second_mode;
    let verdict = match m.verdict {
        Verdict::Found => {
            let size = m.upper_share.zip(m.upper_mm).zip(m.cut_mm).map_or_else(String::new, |((s, u), c)| {
                format!(": {} of fish near {u:.1} mm, from {c:.1} mm on", share(&s))
            });
            let remove = r.to_remove.map_or_else(String::new, |n| {
                format!("; to take out {:.0} fish ({:.0} to {:.0})", n.value, n.low, n.high)
            });
            format!("a second group of longer fish{size}{remove}")
        }
        Verdict::NotSeen { could_miss } => {
            let nearer = m.stands_apart_from.map_or_else(String::new, |ratio| {
                format!(", or any less than {ratio:.1} times as long as the rest")
            });
            format!(
                "no second group seen in {} fish; one of up to {}{nearer} could be missed",
                m.fish,
                percent(could_miss)
            )
        }
        Verdict::CannotTell { needed } => {
            format!("cannot tell from {} fish whether some break away; {needed} would", m.fish)
        }
    };
    let mut lines = vec![paragraph("cannibalism: ", &format!("{verdict} ({})", m.reason))];
    for p in &r.pairs {
        lines.push(paragraph(
            "  ",
            &match p.share {
                Some(s) => format!(
                    "pairs in which the longer could take the shorter: {} by {} ({}, {})",
                    share(&s),
                    p.rule,
                    p.species,
                    p.range
                ),
                None => format!("{} says nothing of these lengths: it holds for {}", p.rule, p.range),
            },
        ));
        if p.share.is_some() && p.outside > 0 {
            lines.push(paragraph(
                "  ",
                &format!("{} of {} fish lie outside its lengths as eaters", p.outside, p.fish),
            ));
        }
        if let (Some(from), n) = (p.shortest_eater_mm, p.eaters_of_median) {
            lines.push(paragraph(
                "  ",
                &format!("{n} fish, from {from:.1} mm, could take one of median length"),
            ));
        }
    }
    if let Some(trend) = r.cv_per_day {
        lines.push(paragraph(
            "  ",
            &format!(
                "CV of length changes by {:+.2} points a day ({:+.2} to {:+.2})",
                100.0 * trend.value,
                100.0 * trend.low,
                100.0 * trend.high
            ),
        ));
    }
    lines.push(paragraph("  ", &r.caution));
    lines
}
