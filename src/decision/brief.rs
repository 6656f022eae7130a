//! The decision part of the morning report: for each tank what its newest sample says about size.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::biomass::{self, Biomass, WeightLaw};
use super::cannibals::{self, Nulls, Risk};
use super::growth::{self, TankGrowth};
use super::relation::Relation;
use super::screen::{self, ScreenAdvice, ScreenRequest};
use super::{DecisionError, Estimate, Sample};
use crate::stats::Level;
use crate::stats::moments::Moments;
use crate::stats::t_test::{TTest, Variances, two_groups};

/// What is known of a tank besides its samples.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Stock {
    /// Fish in it.
    pub fish: Option<Estimate>,
    /// Volume, litres.
    pub volume_l: Option<f64>,
    /// Its treatment, when tanks are compared.
    pub treatment: Option<String>,
}

/// What a season sets for all tanks.
#[derive(Debug, Clone)]
pub struct BriefOptions {
    /// Meshes owned, mm; none leaves the screen out.
    pub openings_mm: Vec<f64>,
    /// Excess of the worst hole, a fraction.
    pub tolerance: f64,
    /// Share of fish that may be small enough, a fraction.
    pub promise: f64,
    /// Prey or gape rules.
    pub rules: Vec<Relation>,
    /// Weight relation; `None` uses weighed fish where there are any.
    pub weight: Option<WeightLaw>,
    /// Level of the limits.
    pub level: Level,
}

impl Default for BriefOptions {
    fn default() -> Self {
        Self {
            openings_mm: Vec::new(),
            tolerance: screen::TOLERANCE,
            promise: screen::PROMISE,
            rules: Vec::new(),
            weight: None,
            level: Level::P95,
        }
    }
}

/// One tank.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TankBrief {
    /// Tank; `None` when no tank was given.
    pub tank: Option<String>,
    /// Its treatment.
    pub treatment: Option<String>,
    /// The newest sample's name.
    pub sample: String,
    /// Mean length of the newest sample, mm; limits need two fish that differ.
    pub mean_length_mm: Option<Estimate>,
    /// Second mode, pairs and spread.
    pub risk: Option<Risk>,
    /// Length at age.
    pub growth: Option<TankGrowth>,
    /// Outlet screen.
    pub screen: Option<ScreenAdvice>,
    /// Weight.
    pub biomass: Option<Biomass>,
    /// What could not be said, and why.
    pub not_said: Vec<String>,
}

/// The samples in the state of the newest, by rising date, for each tank. Fish in another state stay apart.
pub fn by_tank(samples: &[Sample]) -> Vec<Vec<Sample>> {
    let mut tanks: BTreeMap<Option<String>, Vec<Sample>> = BTreeMap::new();
    for s in samples {
        tanks.entry(s.tank.clone()).or_default().push(s.clone());
    }
    tanks
        .into_values()
        .map(|mut of_tank| {
            of_tank.sort_by(|a, b| a.date.cmp(&b.date).then(b.state.cmp(&a.state)));
            let state = of_tank.last().map(|s| s.state.clone());
            of_tank.retain(|s| Some(&s.state) == state.as_ref());
            of_tank
        })
        .collect()
}

/// Everything about one tank; `samples` as [`by_tank`] gives them.
pub fn of_tank(
    samples: &[Sample],
    stock: &Stock,
    options: &BriefOptions,
    nulls: &mut Nulls,
) -> Option<TankBrief> {
    let newest = samples.last()?;
    let mut not_said = Vec::new();
    let mut keep = |what: &str, e: DecisionError| not_said.push(format!("{what}: {}", e.what));
    let risk = cannibals::judge(samples, &options.rules, stock.fish, options.level, nulls)
        .map_err(|e| keep("cannibalism", e))
        .ok();
    let growth = growth::of_tank(samples, options.level).map_err(|e| keep("growth", e)).ok();
    let screen = (!options.openings_mm.is_empty())
        .then(|| {
            let request = ScreenRequest {
                sample: newest,
                openings_mm: &options.openings_mm,
                tolerance: options.tolerance,
                promise: options.promise,
                growth_pct_per_day: growth.as_ref().map(|g| g.specific_pct_per_day),
                level: options.level,
            };
            screen::advise(&request).map_err(|e| keep("screen", e)).ok()
        })
        .flatten();
    let weighed = newest.fish.iter().any(|f| f.weight_g.is_some());
    let law = match (&options.weight, weighed) {
        (Some(law), _) => Some(Ok(law.clone())),
        (None, true) => Some(WeightLaw::fitted(&newest.fish)),
        (None, false) => None,
    };
    let biomass = law.and_then(|law| {
        law.and_then(|l| biomass::of_sample(newest, &l, stock.fish, stock.volume_l, options.level))
            .map_err(|e| keep("weight", e))
            .ok()
    });
    Some(TankBrief {
        tank: newest.tank.clone(),
        treatment: stock.treatment.clone(),
        sample: newest.name(),
        mean_length_mm: Moments::of(&newest.lengths()).map(|m| {
            m.mean_interval(options.level).map_or(Estimate::exact(m.mean()), |i| Estimate::new(m.mean(), i))
        }),
        risk,
        growth,
        screen,
        biomass,
        not_said,
    })
}

/// Growth of two treatments compared with tanks as the unit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct GrowthComparison {
    /// First treatment.
    pub first: String,
    /// Second treatment.
    pub second: String,
    /// Tanks of either.
    pub tanks: (usize, usize),
    /// Difference of specific growth rates, % per day, by Welch's t on tanks; `None` with one tank in an arm.
    pub difference: Option<TTest>,
    /// What to know.
    pub note: String,
}

/// Compares every pair of treatments in alphabetical order.
pub fn compare_growth(briefs: &[TankBrief], level: Level) -> Vec<GrowthComparison> {
    let mut arms: BTreeMap<&str, Vec<f64>> = BTreeMap::new();
    for b in briefs {
        if let (Some(t), Some(g)) = (&b.treatment, &b.growth) {
            arms.entry(t).or_default().push(g.specific_pct_per_day.value);
        }
    }
    let arms: Vec<(&str, Vec<f64>)> = arms.into_iter().collect();
    let mut all = Vec::new();
    for (i, (first, a)) in arms.iter().enumerate() {
        for (second, b) in &arms[i + 1..] {
            let difference = two_groups(a, b, Variances::Welch, level).ok();
            let note = if a.len() < 2 || b.len() < 2 {
                "one tank per treatment: the difference between these tanks can be described but not attributed to the treatment"
            } else if a.len() == 2 || b.len() == 2 {
                "two tanks in an arm: the limits are very wide"
            } else {
                ""
            };
            all.push(GrowthComparison {
                first: (*first).to_owned(),
                second: (*second).to_owned(),
                tanks: (a.len(), b.len()),
                difference,
                note: note.to_owned(),
            });
        }
    }
    all
}
