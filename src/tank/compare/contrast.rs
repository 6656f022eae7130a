//! Differences between arms of tank values.

use std::collections::BTreeMap;

use serde::Serialize;

use super::design::Kind;
use super::observe::{Observed, TankLine};
use super::{Options, words};
use crate::stats::cluster::{self, Count};
use crate::stats::misclassification::Rate;
use crate::stats::moments::Moments;
use crate::stats::permutation::{self, Permutation};
use crate::stats::t_test::{self, TTest};
use crate::stats::{Interval, StatsError, linear};

/// What is compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Measure {
    /// Inflated share of the called fish.
    Inflation,
    /// Mean total length, mm.
    Length,
    /// Survival times inflation: the share of the stocked fry that live with an inflated bladder.
    Viability,
}

impl Measure {
    /// Whether it is a fraction, printed as per cent and points.
    pub fn is_share(self) -> bool {
        self != Self::Length
    }

    /// Its name.
    pub fn name(self) -> &'static str {
        match self {
            Self::Inflation => "inflation",
            Self::Length => "mean length",
            Self::Viability => "survival times inflation",
        }
    }

    /// A tank's value in one sample.
    pub fn of(self, tank: &TankLine, observed: &Observed) -> Option<f64> {
        match self {
            Self::Inflation => observed.inflation,
            Self::Length => observed.mean_length_mm,
            Self::Viability => Some(tank.survival? * observed.inflation?),
        }
    }
}

/// Mean of the tank values of an arm.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ArmMean {
    /// Arm.
    pub arm: String,
    /// Tanks with a value.
    pub tanks: usize,
    /// Mean of the tank values (of the changes, in designs with a before).
    pub mean: f64,
    /// Standard deviation between tanks; empty for one tank.
    pub sd: Option<f64>,
    /// Limits over tanks; empty for one tank, or when tanks do not differ.
    pub interval: Option<Interval>,
    /// Why there is no interval.
    pub refusal: Option<String>,
}

/// The difference of two arms, or the mean change.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Contrast {
    /// The arm.
    pub arm: String,
    /// The arm it is compared with; empty for a change without control tanks.
    pub reference: Option<String>,
    /// Tanks (or blocks) of the two.
    pub units: (usize, usize),
    /// What a unit is: `tank` or `block`.
    pub unit: &'static str,
    /// Difference of the means, arm less reference.
    pub difference: f64,
    /// Student's t on tanks; empty where the design cannot give it.
    pub t: Option<TTest>,
    /// Exact permutation (or sign-flip) test; empty where the design cannot give it.
    pub permutation: Option<Permutation>,
    /// Why there is no interval and no p.
    pub refusal: Option<String>,
    /// The difference if every unsure fish spoke against it, and if every one spoke for it. Inflation only.
    pub unsure_bounds: Option<Interval>,
    /// The difference corrected for the caller's errors, with limits, when a validation set was given. Inflation only.
    pub corrected: Option<Caller>,
    /// A sentence for a manager.
    pub sentence: String,
}

/// A difference corrected for the caller's errors.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Caller {
    /// Corrected difference.
    pub difference: f64,
    /// Its limits, the error of sensitivity and specificity included.
    pub interval: Interval,
}

/// Change of the measure from one dose to the next.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Trend {
    /// Mean change a step.
    pub slope: f64,
    /// Its limits.
    pub interval: Option<Interval>,
    /// Degrees of freedom.
    pub df: usize,
    /// Exact permutation test of the trend.
    pub permutation: Permutation,
    /// A sentence for a manager.
    pub sentence: String,
}

/// Everything about one measure.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MeasureResult {
    /// What was compared.
    pub measure: Measure,
    /// Whether values are changes from before to after.
    pub is_change: bool,
    /// Arm means in order.
    pub arms: Vec<ArmMean>,
    /// Each arm against the first.
    pub contrasts: Vec<Contrast>,
    /// The trend, for ordered arms.
    pub trend: Option<Trend>,
    /// Intraclass correlation of fish within tanks (within arms). Description only. Inflation only.
    pub icc: Option<f64>,
    /// What it does to the variance of a tank of average size, 1 + (m-1)·icc. Description only.
    pub design_effect: Option<f64>,
}

/// The values of one arm with the tanks they belong to.
struct Arm<'a> {
    name: &'a str,
    tanks: Vec<&'a TankLine>,
    values: Vec<f64>,
}

/// Compares one measure; `None` when some arm has no value of it.
pub(super) fn measure(
    measure: Measure,
    tanks: &[TankLine],
    names: &[String],
    kind: Kind,
    options: &Options,
    warnings: &mut Vec<String>,
) -> Option<MeasureResult> {
    let is_change = matches!(kind, Kind::BeforeAfter | Kind::BeforeAfterControl);
    if is_change && measure == Measure::Viability {
        // Survival is counted once, so there is no change of it.
        return None;
    }
    let value = |t: &TankLine| -> Option<f64> {
        let after = measure.of(t, &t.after)?;
        if !is_change {
            return Some(after);
        }
        Some(after - measure.of(t, t.before.as_ref()?)?)
    };
    let arms: Vec<Arm> = names
        .iter()
        .map(|name| {
            let (tanks, values) =
                tanks.iter().filter(|t| t.arm == *name).filter_map(|t| Some((t, value(t)?))).unzip();
            Arm { name, tanks, values }
        })
        .collect();
    if arms.iter().any(|a| a.values.is_empty()) {
        if arms.iter().any(|a| !a.values.is_empty()) {
            warnings.push(format!("{}: not every arm has it, so it is not compared", measure.name()));
        }
        return None;
    }
    for a in &arms {
        let without = tanks.iter().filter(|t| t.arm == a.name).count() - a.values.len();
        if without > 0 && measure != Measure::Inflation {
            warnings.push(format!("{}: {without} tanks of arm {} have none", measure.name(), a.name));
        }
    }
    let means: Vec<ArmMean> = arms.iter().map(|a| arm_mean(a, measure, is_change, options)).collect();
    let contrasts: Vec<Contrast> = if kind == Kind::BeforeAfter {
        vec![change(&arms[0], measure, options)]
    } else {
        arms[1..].iter().map(|a| contrast(a, &arms[0], measure, is_change, options, warnings)).collect()
    };
    let trend = (kind == Kind::Doses).then(|| trend(&arms, measure, options)).flatten();
    caveats(measure, &arms, contrasts.len(), warnings);
    let counts: Vec<Vec<Count>> = arms
        .iter()
        .map(|a| {
            let count = |o: &Observed| Count { successes: o.inflated as f64, n: o.called as f64 };
            a.tanks.iter().map(|t| count(&t.after)).collect()
        })
        .collect();
    let groups: Vec<&[Count]> = counts.iter().map(Vec::as_slice).collect();
    let anova = (measure == Measure::Inflation).then(|| cluster::anova(&groups)).flatten();
    Some(MeasureResult {
        measure,
        is_change,
        arms: means,
        contrasts,
        trend,
        icc: anova.map(|a| a.icc),
        design_effect: anova.map(|a| cluster::design_effect(a.m0, a.icc)),
    })
}

fn arm_mean(arm: &Arm, measure: Measure, is_change: bool, options: &Options) -> ArmMean {
    let moments = Moments::of(&arm.values);
    // Shares near 0 or 1 are skewed: their limits are Wilson's on the fish the arm is worth. Changes and lengths take t.
    let limits = if measure.is_share() && !is_change {
        cluster::arm_share(&arm.values, options.level)
    } else {
        t_test::one_group(&arm.values, options.level).map(|t| t.interval)
    };
    let (interval, refusal) = match limits {
        Ok(interval) => (Some(interval), None),
        Err(StatsError::TooFew(_)) => (None, Some("one tank: described only".to_owned())),
        Err(_) => (None, Some("no tank-to-tank variation seen".to_owned())),
    };
    ArmMean {
        arm: arm.name.to_owned(),
        tanks: arm.values.len(),
        mean: moments.map_or(0.0, |m| m.mean()),
        sd: moments.and_then(|m| m.sd()),
        interval,
        refusal,
    }
}

const ONE_TANK: &str = "one tank per treatment: the difference between these two tanks can be described but not attributed \
     to the treatment; no confidence interval or p-value is given";

fn contrast(
    arm: &Arm,
    reference: &Arm,
    measure: Measure,
    is_change: bool,
    options: &Options,
    warnings: &mut Vec<String>,
) -> Contrast {
    let mean = |v: &[f64]| Moments::of(v).map_or(0.0, |m| m.mean());
    if let Some(blocks) = block_differences(arm, reference, warnings) {
        let mut c = paired(&blocks, options);
        c.unit = "block";
        arm.name.clone_into(&mut c.arm);
        c.reference = Some(reference.name.to_owned());
        c.sentence = words::sentence(&c, measure, is_change, options.level);
        return c;
    }
    let (first, second) = (&arm.values, &reference.values);
    let mut c = Contrast {
        arm: arm.name.to_owned(),
        reference: Some(reference.name.to_owned()),
        units: (first.len(), second.len()),
        unit: "tank",
        difference: mean(first) - mean(second),
        t: None,
        permutation: None,
        refusal: None,
        unsure_bounds: None,
        corrected: None,
        sentence: String::new(),
    };
    if first.len() < 2 || second.len() < 2 {
        c.refusal = Some(ONE_TANK.to_owned());
    } else {
        match t_test::two_groups(first, second, options.variances, options.level) {
            Ok(mut t) => {
                if measure.is_share() && !is_change {
                    t.interval = t.interval.clipped(-1.0, 1.0);
                }
                c.t = Some(t);
            }
            Err(_) => {
                c.refusal = Some(
                    "no tank-to-tank variation seen in either arm: an interval of no width would mean nothing".to_owned(),
                );
            }
        }
        c.permutation = permutation::two_groups(first, second).ok();
    }
    if measure == Measure::Inflation {
        c.unsure_bounds = unsure_bounds(arm, reference, is_change);
        c.corrected = c.t.and_then(|t| corrected(&t, options));
    }
    c.sentence = words::sentence(&c, measure, is_change, options.level);
    c
}

/// The mean change of tanks that have no control.
fn change(arm: &Arm, measure: Measure, options: &Options) -> Contrast {
    let mut c = paired(&arm.values, options);
    arm.name.clone_into(&mut c.arm);
    c.sentence = words::sentence(&c, measure, true, options.level);
    c
}

/// Student's t and sign flips on differences within pairs.
fn paired(differences: &[f64], options: &Options) -> Contrast {
    let mut c = Contrast {
        arm: String::new(),
        reference: None,
        units: (differences.len(), differences.len()),
        unit: "tank",
        difference: Moments::of(differences).map_or(0.0, |m| m.mean()),
        t: None,
        permutation: None,
        refusal: None,
        unsure_bounds: None,
        corrected: None,
        sentence: String::new(),
    };
    if differences.len() < 2 {
        c.refusal = Some(
            "one unit: the change can be described, but nothing says how much such a unit changes anyway; no \
             confidence interval or p-value is given"
                .to_owned(),
        );
        return c;
    }
    match t_test::one_group(differences, options.level) {
        Ok(t) => c.t = Some(t),
        Err(_) => {
            c.refusal =
                Some("all units changed alike: an interval of no width would mean nothing".to_owned());
        }
    }
    c.permutation = permutation::sign_flip(differences).ok();
    c
}

/// Differences of the arms' means within each block that holds both; `None` when the tanks have no blocks.
fn block_differences(arm: &Arm, reference: &Arm, warnings: &mut Vec<String>) -> Option<Vec<f64>> {
    let by_block = |a: &Arm| -> Option<BTreeMap<String, Vec<f64>>> {
        let mut map: BTreeMap<String, Vec<f64>> = BTreeMap::new();
        for (t, v) in a.tanks.iter().zip(&a.values) {
            map.entry(t.block.clone()?).or_default().push(*v);
        }
        Some(map)
    };
    let blocked = arm.tanks.iter().chain(&reference.tanks).filter(|t| t.block.is_some()).count();
    let (Some(first), Some(second)) = (by_block(arm), by_block(reference)) else {
        if blocked > 0 {
            warnings.push(format!(
                "only {blocked} tanks of arms {} and {} name a block: blocks are not used",
                arm.name, reference.name
            ));
        }
        return None;
    };
    let mean = |v: &Vec<f64>| v.iter().sum::<f64>() / v.len() as f64;
    let differences: Vec<f64> =
        first.iter().filter_map(|(block, v)| Some(mean(v) - mean(second.get(block)?))).collect();
    let lone = first.len() + second.len() - 2 * differences.len();
    if lone > 0 {
        warnings.push(format!(
            "{lone} blocks hold only one of the arms {} and {} and tell nothing of their difference",
            arm.name, reference.name
        ));
    }
    if differences.is_empty() {
        warnings.push("no block holds both arms: blocks are not used".to_owned());
        return None;
    }
    Some(differences)
}

/// The difference when all unsure fish of one arm are taken for inflated and of the other for not, both ways round.
fn unsure_bounds(arm: &Arm, reference: &Arm, is_change: bool) -> Option<Interval> {
    let any = arm
        .tanks
        .iter()
        .chain(&reference.tanks)
        .any(|t| t.after.unsure > 0 || t.before.as_ref().is_some_and(|b| b.unsure > 0));
    if !any {
        return None;
    }
    let share = |o: &Observed, as_inflated: bool| {
        let judged = (o.called + o.unsure) as f64;
        let inflated = o.inflated + if as_inflated { o.unsure } else { 0 };
        inflated as f64 / judged
    };
    let mean = |a: &Arm, as_inflated: bool| {
        let sum: f64 = a
            .tanks
            .iter()
            .map(|t| {
                let after = share(&t.after, as_inflated);
                match &t.before {
                    Some(before) if is_change => after - share(before, !as_inflated),
                    _ => after,
                }
            })
            .sum();
        sum / a.tanks.len() as f64
    };
    Interval::new(
        (mean(arm, false) - mean(reference, true)).max(-1.0 - f64::from(u8::from(is_change))),
        (mean(arm, true) - mean(reference, false)).min(1.0 + f64::from(u8::from(is_change))),
    )
}

/// Calls with sensitivity se and specificity sp shrink every difference of shares by g = se + sp - 1: divide by it, and
/// carry its error by the delta method.
fn corrected(t: &TTest, options: &Options) -> Option<Caller> {
    let v = options.validation.as_ref()?;
    let (se, sp) = (v.sensitivity()?, v.specificity()?);
    let gain = se.value + sp.value - 1.0;
    if gain <= 1e-9 {
        return None;
    }
    // Drawn in by one and one, so that a faultless validation set still has an error.
    let variance = |r: Rate| {
        let p = (r.value * r.n + 1.0) / (r.n + 2.0);
        p * (1.0 - p) / (r.n + 2.0)
    };
    let difference = t.difference / gain;
    let relative = (variance(se) + variance(sp)) / (gain * gain);
    let error = ((t.se / gain).powi(2) + difference * difference * relative).sqrt();
    let interval = Interval::around(difference, options.level.t(t.df) * error)?;
    Some(Caller { difference, interval })
}

fn trend(arms: &[Arm], measure: Measure, options: &Options) -> Option<Trend> {
    let (scores, values): (Vec<f64>, Vec<f64>) =
        arms.iter().enumerate().flat_map(|(i, a)| a.values.iter().map(move |v| (i as f64, *v))).unzip();
    let line = linear::fit(&scores, &values).ok()?;
    let permutation = permutation::trend(&scores, &values).ok()?;
    // Every arm needs a second tank: otherwise nothing shows what tanks of one arm do anyway.
    let replicated = arms.iter().all(|a| a.values.len() > 1);
    let interval = line.slope_interval(options.level).filter(|i| replicated && i.half_width() > 0.0);
    let mut t = Trend { slope: line.slope, interval, df: line.df(), permutation, sentence: String::new() };
    t.sentence = words::trend(&t, arms[0].name, arms.last()?.name, measure, options.level);
    Some(t)
}

/// Warnings that come from the numbers themselves.
fn caveats(measure: Measure, arms: &[Arm], contrasts: usize, warnings: &mut Vec<String>) {
    for a in arms {
        match a.values.len() {
            1 if measure == Measure::Inflation => {
                warnings.push(format!("arm {} has one tank: it can be described, not compared", a.name));
            }
            2 if measure == Measure::Inflation => {
                warnings.push(format!("arm {} has 2 tanks: its interval is very wide", a.name));
            }
            _ => {}
        }
    }
    if measure == Measure::Inflation && arms.len() > 1 {
        let sds: Vec<f64> = arms.iter().filter_map(|a| Moments::of(&a.values)?.sd()).collect();
        let near_one = arms.iter().any(|a| Moments::of(&a.values).is_some_and(|m| m.mean() > 0.95));
        let (least, most) = sds.iter().fold((f64::INFINITY, 0.0f64), |(l, m), s| (l.min(*s), m.max(*s)));
        if near_one && most > 3.0 * least {
            warnings.push(
                "an arm lies near 100 % and the arms differ in spread: intervals there hold less often than they say"
                    .into(),
            );
        }
    }
    if measure == Measure::Inflation && contrasts > 1 {
        warnings.push(format!(
            "{contrasts} arms are compared with one: each interval stands alone, and the more comparisons, the more \
             likely one misleads"
        ));
    }
}
