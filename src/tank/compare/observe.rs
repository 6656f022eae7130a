//! From samples and a design to one line a tank, with warnings about what differs besides the treatment.

use std::collections::{BTreeMap, BTreeSet};

use jiff::civil::Date;
use serde::Serialize;

use super::design::Kind;
use super::{Design, Options, TableError, TankSample};
use crate::stats::{Interval, Level};

/// Ages that differ by more than this many days within a comparison are warned about (common practice, no source).
const SAME_AGE_DAYS: f64 = 0.5;
/// Tanks with fewer called fish are warned about (common practice, no source).
const FEW_CALLED: u64 = 10;

/// One sample as the comparison sees it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Observed {
    /// Date.
    pub date: Option<Date>,
    /// Age in days post hatch.
    pub age_dph: Option<f64>,
    /// Fish called.
    pub called: u64,
    /// Of these, inflated.
    pub inflated: u64,
    /// Fish unsure.
    pub unsure: u64,
    /// Inflated share of the called; empty when no fish was called.
    pub inflation: Option<f64>,
    /// Its limits, for this tank on this day.
    pub inflation_interval: Option<Interval>,
    /// Fish measured.
    pub measured: u64,
    /// Mean total length, mm.
    pub mean_length_mm: Option<f64>,
    /// Its limits by Student's t.
    pub length_interval_mm: Option<Interval>,
}

impl Observed {
    fn of(sample: &TankSample, options: &Options) -> Self {
        Self {
            date: sample.date,
            age_dph: sample.age_dph,
            called: sample.called,
            inflated: sample.inflated,
            unsure: sample.unsure,
            inflation: (sample.called > 0).then(|| sample.inflated as f64 / sample.called as f64),
            inflation_interval: options.method.interval(sample.inflated, sample.called, options.level),
            measured: sample.measured,
            mean_length_mm: sample.mean_length_mm,
            length_interval_mm: length_interval(sample, options.level),
        }
    }
}

fn length_interval(sample: &TankSample, level: Level) -> Option<Interval> {
    let (mean, sd) = (sample.mean_length_mm?, sample.sd_length_mm?);
    let n = sample.measured as f64;
    (sample.measured > 1).then(|| Interval::around(mean, level.t(n - 1.0) * sd / n.sqrt()))?
}

/// A tank in its arm.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TankLine {
    /// Tank.
    pub tank: String,
    /// Arm.
    pub arm: String,
    /// Block, if any.
    pub block: Option<String>,
    /// The sample before the change, in designs that have one.
    pub before: Option<Observed>,
    /// The sample compared.
    pub after: Observed,
    /// Share of the stocked fry that lived, when counted.
    pub survival: Option<f64>,
    /// Model that made the calls.
    pub model: Option<String>,
    /// Depth of the dip.
    pub dip_depth: Option<String>,
}

/// One line a tank of the design, in order of arms, then names.
pub(super) fn lines(
    samples: &[TankSample],
    design: &Design,
    options: &Options,
    warnings: &mut Vec<String>,
) -> Result<Vec<TankLine>, TableError> {
    let mut by_tank: BTreeMap<&str, BTreeMap<Option<Date>, &TankSample>> = BTreeMap::new();
    for s in samples {
        if by_tank.entry(&s.tank).or_default().insert(s.date, s).is_some() {
            return Err(TableError::whole(
                format!(
                    "two samples of tank {}{}",
                    s.tank,
                    s.date.map_or_else(String::new, |d| format!(" of {d}"))
                ),
                "name each results folder once; score photographs of one sample together",
            ));
        }
    }
    let unknown = design.tanks.iter().find(|t| !by_tank.contains_key(t.tank.as_str()));
    if let Some(t) = unknown {
        let known: Vec<&str> = by_tank.keys().copied().take(12).collect();
        return Err(TableError {
            what: format!("tank {} of the design has no sample", t.tank),
            row: t.row,
            column: t.row.map(|_| "tank".to_owned()),
            hint: if known.is_empty() {
                "the results hold no tanks".to_owned()
            } else {
                format!("there are samples of {}", known.join(", "))
            },
        });
    }
    let common = common_date(&by_tank, design, options);
    let mut lines = Vec::new();
    for t in &design.tanks {
        let of_tank = &by_tank[t.tank.as_str()];
        let wanted = t.after.or(options.date).or(if options.age_dph.is_some() { None } else { common });
        let after = match (wanted, options.age_dph) {
            (Some(date), _) => of_tank.get(&Some(date)).copied(),
            (None, Some(age)) => nearest_age(of_tank, age),
            (None, None) => of_tank.values().next_back().copied(),
        };
        let Some(after) = after else {
            let when = wanted.map_or_else(
                || format!("at {} dph", options.age_dph.unwrap_or_default()),
                |d| format!("of {d}"),
            );
            warnings.push(format!("tank {} has no sample {when} and is left out", t.tank));
            continue;
        };
        let before = match t.before {
            None => None,
            Some(date) => {
                let Some(sample) = of_tank.get(&Some(date)).copied() else {
                    warnings.push(format!("tank {} has no sample of {date} and is left out", t.tank));
                    continue;
                };
                Some(sample)
            }
        };
        if design.kind() == Kind::BeforeAfterControl && before.is_none() {
            warnings.push(format!("tank {} has no date before the change and is left out", t.tank));
            continue;
        }
        if after.called == 0 || before.is_some_and(|b| b.called == 0) {
            warnings.push(format!("tank {} has no called fish: it has no inflation", t.tank));
        }
        let survival = match (t.stocked, t.alive) {
            (Some(stocked), Some(alive)) if stocked > 0 => Some(alive as f64 / stocked as f64),
            _ => None,
        };
        lines.push(TankLine {
            tank: t.tank.clone(),
            arm: t.arm.clone(),
            block: t.block.clone(),
            before: before.map(|s| Observed::of(s, options)),
            after: Observed::of(after, options),
            survival,
            model: after.model.clone(),
            dip_depth: t.dip_depth.clone().or_else(|| after.dip_depth.clone()),
        });
    }
    let arms = design.arms();
    if let Some(empty) = arms.iter().find(|a| !lines.iter().any(|l| l.arm == **a)) {
        return Err(TableError::whole(
            format!("arm {empty} has no tank with a sample to compare"),
            warnings.first().cloned().unwrap_or_else(|| "check the dates of the design".into()),
        ));
    }
    lines.sort_by(|a, b| {
        let place = |l: &TankLine| arms.iter().position(|arm| *arm == l.arm);
        (place(a), &a.tank).cmp(&(place(b), &b.tank))
    });
    Ok(lines)
}

/// The latest date on which every tank of the design was sampled.
fn common_date(
    by_tank: &BTreeMap<&str, BTreeMap<Option<Date>, &TankSample>>,
    design: &Design,
    options: &Options,
) -> Option<Date> {
    if options.date.is_some() || design.tanks.iter().any(|t| t.after.is_some()) {
        return None;
    }
    let mut dates = design
        .tanks
        .iter()
        .map(|t| -> BTreeSet<Date> { by_tank[t.tank.as_str()].keys().filter_map(|d| *d).collect() });
    let first = dates.next()?;
    let all = dates.fold(first, |all, of_tank| all.intersection(&of_tank).copied().collect());
    all.last().copied()
}

fn nearest_age<'a>(of_tank: &BTreeMap<Option<Date>, &'a TankSample>, age: f64) -> Option<&'a TankSample> {
    of_tank
        .values()
        .filter_map(|s| Some((s.age_dph.map(|a| (a - age).abs())?, *s)))
        .filter(|(distance, _)| *distance <= SAME_AGE_DAYS)
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, s)| s)
}

/// One of a tank's samples.
type Pick = fn(&TankLine) -> Option<&Observed>;

/// Warns about everything that differs between the arms besides the treatment.
pub(super) fn warn(tanks: &[TankLine], kind: Kind, warnings: &mut Vec<String>) {
    let moments: Vec<(&str, Pick)> = if tanks.iter().any(|t| t.before.is_some()) {
        vec![(" before the change", |t| t.before.as_ref()), (" after the change", |t| Some(&t.after))]
    } else {
        vec![("", |t| Some(&t.after))]
    };
    for (when, pick) in moments {
        let ages: Vec<(&TankLine, f64)> = tanks.iter().filter_map(|t| Some((t, pick(t)?.age_dph?))).collect();
        let (young, old) =
            (ages.iter().min_by(|a, b| a.1.total_cmp(&b.1)), ages.iter().max_by(|a, b| a.1.total_cmp(&b.1)));
        if let (Some(young), Some(old)) = (young, old)
            && old.1 - young.1 > SAME_AGE_DAYS
        {
            warnings.push(format!(
                "ages differ{when}: {} is {} dph, {} is {} dph. Inflation and length rise with age; compare at one age",
                young.0.tank, young.1, old.0.tank, old.1
            ));
        }
        if ages.is_empty() {
            let dates: BTreeSet<Date> = tanks.iter().filter_map(|t| pick(t)?.date).collect();
            if dates.len() > 1 {
                warnings.push(format!("samples are of different dates{when} and their ages are not known"));
            }
        }
    }
    let missing = tanks.iter().filter(|t| t.after.date.is_none()).count();
    if missing > 0 && missing < tanks.len() {
        warnings.push(format!("{missing} of {} samples have no date", tanks.len()));
    }
    let differs = |of: fn(&TankLine) -> Option<&String>| -> Option<String> {
        let mut by_arm: BTreeMap<&str, BTreeSet<&str>> = BTreeMap::new();
        for t in tanks {
            by_arm.entry(&t.arm).or_default().extend(of(t).map(String::as_str));
        }
        let values: BTreeSet<&str> = by_arm.values().flatten().copied().collect();
        (values.len() > 1).then(|| values.into_iter().collect::<Vec<_>>().join(", "))
    };
    if let Some(depths) = differs(|t| t.dip_depth.as_ref()) {
        warnings.push(format!(
            "samples were dipped at different depths ({depths}). Uninflated fry sit deeper: dip all tanks alike"
        ));
    }
    if let Some(models) = differs(|t| t.model.as_ref()) {
        warnings.push(format!(
            "calls were made by different models ({models}). Score all photographs with one model"
        ));
    }
    for t in tanks {
        let least = t.before.iter().chain([&t.after]).map(|o| o.called).min().unwrap_or(0);
        if (1..FEW_CALLED).contains(&least) {
            warnings.push(format!("tank {} has only {least} called fish", t.tank));
        }
    }
    if kind == Kind::BeforeAfter {
        warnings.push(
            "without control tanks the change cannot be told from age: inflation and length rise with age anyway".into(),
        );
    }
}
