//! How many fry, how many tanks: what a sampling plan can see before it is carried out.

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use serde::Serialize;

use crate::stats::proportion::Method;
use crate::stats::sample_size::{self, ArmPlan};
use crate::stats::simulate::tank_count;
use crate::stats::t_test::{Variances, two_groups};
use crate::stats::{Level, StatsError};

/// Intraclass correlation assumed when no season tells it: an assumption, common practice, no source.
pub const ASSUMED_ICC: f64 = 0.05;

/// Where the intraclass correlation came from.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "from", rename_all = "snake_case")]
pub enum IccSource {
    /// Given by the user.
    Given,
    /// Estimated from the season's own samples.
    Season {
        /// Tank samples behind it.
        samples: usize,
    },
    /// Neither: [`ASSUMED_ICC`].
    Assumed,
}

/// What is asked.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Question {
    /// Share expected inflated without the change, 0-1.
    pub expected: f64,
    /// Share hoped for with the change, 0-1.
    pub hoped: f64,
    /// Wanted half-width of a tank's interval, fraction.
    pub half_width: f64,
    /// Fry in the tank, for the finite-population correction.
    pub population: Option<f64>,
    /// Fry called a tank.
    pub fish: u64,
    /// Tanks an arm that can be had.
    pub tanks: usize,
    /// Intraclass correlation.
    pub icc: f64,
    /// Where it came from.
    pub icc_source: IccSource,
    /// Wanted power.
    pub power: f64,
    /// Confidence level.
    pub level: Level,
}

/// Fry for a tank's estimate.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FishNeeded {
    /// Expected share.
    pub expected: f64,
    /// Half-width.
    pub half_width: f64,
    /// Fry to call.
    pub fish: u64,
}

/// Tanks for a comparison.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TanksNeeded {
    /// Fry a tank.
    pub fish: u64,
    /// Tanks an arm; empty when no number of tanks below the limit is enough.
    pub tanks: Option<usize>,
    /// Power they give.
    pub power: Option<f64>,
}

/// What an affordable design can see.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Affordable {
    /// Tanks an arm.
    pub tanks: usize,
    /// Fry a tank.
    pub fish: u64,
    /// Power for the hoped-for difference.
    pub power: f64,
    /// Smallest difference seen with the wanted power; empty when even all against none is not.
    pub detectable: Option<f64>,
    /// Smallest p an exact permutation test can reach with these tanks.
    pub smallest_p: f64,
}

/// The answer.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Plan {
    /// What was asked.
    pub question: Question,
    /// Fry a tank for the wanted half-width, at the expected share and at others.
    pub fish: Vec<FishNeeded>,
    /// Tanks an arm for the hoped-for difference, by fry a tank.
    pub tanks: Vec<TanksNeeded>,
    /// What designs of two to eight tanks an arm, and the affordable one, can see.
    pub affordable: Vec<Affordable>,
    /// What a simulation of the affordable design really gets, when asked.
    pub simulated: Option<Simulated>,
}

/// Simulated performance of the affordable design.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Simulated {
    /// Repetitions.
    pub repetitions: usize,
    /// Share of tanks whose Wilson interval held the tank's expected share (at no correlation).
    pub tank_coverage: f64,
    /// Share of comparisons in which Welch's test found the hoped-for difference.
    pub power_welch: f64,
    /// The same with the pooled test.
    pub power_pooled: f64,
    /// Share of comparisons of equal arms in which Welch's test found a difference that was not there.
    pub false_alarms_welch: f64,
    /// The same with the pooled test.
    pub false_alarms_pooled: f64,
    /// The same when fish are counted as if each were a replicate: why that is not offered.
    pub false_alarms_counting_fish: f64,
    /// Share of Welch intervals that held the true difference.
    pub difference_coverage: f64,
}

/// Answers `question`.
///
/// # Errors
/// [`StatsError`] for numbers out of range, or when no number of fish is enough.
///
/// ```
/// use frygauge::decision::plan::{IccSource, Question, plan};
/// use frygauge::stats::Level;
/// let q = Question {
///     expected: 0.75, hoped: 0.9, half_width: 0.1, population: None, fish: 30, tanks: 4, icc: 0.0,
///     icc_source: IccSource::Given, power: 0.8, level: Level::P95,
/// };
/// let p = plan(q).unwrap();
/// assert_eq!(p.tanks.iter().find(|t| t.fish == 30).unwrap().tanks, Some(5));
/// ```
pub fn plan(question: Question) -> Result<Plan, StatsError> {
    let q = &question;
    if q.tanks < 2 {
        return Err(StatsError::TooFew("each arm needs two tanks to show what tanks do anyway".into()));
    }
    let mut shares = vec![0.5, 0.7, 0.8, 0.9, 0.95, q.expected];
    shares.sort_by(f64::total_cmp);
    shares.dedup();
    let mut widths = vec![0.05, 0.1, 0.15, q.half_width];
    widths.sort_by(f64::total_cmp);
    widths.dedup();
    let mut fish = Vec::new();
    for &expected in &shares {
        for &half_width in &widths {
            let n = sample_size::fish_for_share(expected, half_width, q.population, q.level)?;
            fish.push(FishNeeded { expected, half_width, fish: n });
        }
    }
    let arm = |fish: u64| ArmPlan {
        first: q.expected,
        second: q.hoped,
        fish: fish as f64,
        icc: q.icc,
        level: q.level,
    };
    let mut sizes = vec![10, 20, 30, 50, 100, q.fish];
    sizes.sort_unstable();
    sizes.dedup();
    let mut tanks = Vec::new();
    for &size in &sizes {
        tanks.push(match arm(size).tanks(q.power) {
            Ok((tanks, power)) => TanksNeeded { fish: size, tanks: Some(tanks), power: Some(power) },
            Err(StatsError::NotEstimable(_)) => TanksNeeded { fish: size, tanks: None, power: None },
            Err(e) => return Err(e),
        });
    }
    let mut counts: Vec<usize> = (2..=8).chain([q.tanks]).collect();
    counts.sort_unstable();
    counts.dedup();
    let mut affordable = Vec::new();
    for &count in &counts {
        affordable.push(Affordable {
            tanks: count,
            fish: q.fish,
            power: arm(q.fish).power(count)?,
            detectable: detectable(q, count)?,
            smallest_p: crate::stats::permutation::smallest_two_group_p(count, count),
        });
    }
    Ok(Plan { question, fish, tanks, affordable, simulated: None })
}

/// The smallest difference from the expected share, upwards or, where there is no room, downwards, seen with the wanted power.
fn detectable(q: &Question, tanks: usize) -> Result<Option<f64>, StatsError> {
    let power = |second: f64| {
        ArmPlan { first: q.expected, second, fish: q.fish as f64, icc: q.icc, level: q.level }.power(tanks)
    };
    // The spread of a tank's share changes with the share itself, so the difference is searched, not solved.
    let towards = if q.hoped >= q.expected { 1.0 } else { 0.0 };
    let at = |d: f64| q.expected + (towards - q.expected) * d;
    // At a share of exactly 0 or 1 tanks do not vary, which flatters: stop just short.
    let most = 0.995;
    if (towards - q.expected).abs() < 1e-9 || power(at(most))? < q.power {
        return Ok(None);
    }
    let (mut low, mut high) = (0.0, most);
    for _ in 0..50 {
        let middle = 0.5 * (low + high);
        if power(at(middle))? < q.power {
            low = middle;
        } else {
            high = middle;
        }
    }
    Ok(Some((at(high) - q.expected).abs()))
}

/// Simulates the affordable design `repetitions` times; the same seed gives the same numbers.
///
/// # Errors
/// [`StatsError::TooFew`] without repetitions or with fewer than two tanks an arm.
pub fn simulate(q: &Question, repetitions: usize, seed: u64) -> Result<Simulated, StatsError> {
    if repetitions == 0 || q.tanks < 2 || q.fish == 0 {
        return Err(StatsError::TooFew("a simulation needs repetitions, fish and two tanks an arm".into()));
    }
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut held = 0usize;
    let (mut found, mut alarms) = ([0usize; 2], [0usize; 2]);
    let (mut naive, mut covered) = (0usize, 0usize);
    let critical = q.level.z();
    for _ in 0..repetitions {
        let x = tank_count(&mut rng, q.expected, 0.0, q.fish);
        held +=
            usize::from(Method::Wilson.interval(x, q.fish, q.level).is_some_and(|i| i.contains(q.expected)));
        let mut arm = |share: f64| -> Vec<u64> {
            (0..q.tanks).map(|_| tank_count(&mut rng, share, q.icc, q.fish)).collect()
        };
        let (control, same, treated) = (arm(q.expected), arm(q.expected), arm(q.hoped));
        let shares = |v: &[u64]| -> Vec<f64> { v.iter().map(|x| *x as f64 / q.fish as f64).collect() };
        for (i, variances) in [Variances::Welch, Variances::Pooled].into_iter().enumerate() {
            // Arms without any variation give no interval, so they find nothing.
            if let Ok(t) = two_groups(&shares(&treated), &shares(&control), variances, q.level) {
                found[i] += usize::from(!t.interval.contains(0.0));
                covered += usize::from(i == 0 && t.interval.contains(q.hoped - q.expected));
            }
            if let Ok(t) = two_groups(&shares(&same), &shares(&control), variances, q.level) {
                alarms[i] += usize::from(!t.interval.contains(0.0));
            }
        }
        naive += usize::from(fish_test_rejects(&same, &control, q.fish, critical));
    }
    let share = |count: usize| count as f64 / repetitions as f64;
    Ok(Simulated {
        repetitions,
        tank_coverage: share(held),
        power_welch: share(found[0]),
        power_pooled: share(found[1]),
        false_alarms_welch: share(alarms[0]),
        false_alarms_pooled: share(alarms[1]),
        false_alarms_counting_fish: share(naive),
        difference_coverage: share(covered),
    })
}

/// Whether a test that takes every fish for a replicate finds a difference.
fn fish_test_rejects(a: &[u64], b: &[u64], fish: u64, critical: f64) -> bool {
    let n = (a.len() as u64 * fish) as f64;
    let (x, y) = (a.iter().sum::<u64>() as f64, b.iter().sum::<u64>() as f64);
    let p = (x + y) / (2.0 * n);
    let variance = 2.0 * p * (1.0 - p) / n;
    variance > 0.0 && ((x - y) / n).abs() > critical * variance.sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn question() -> Question {
        Question {
            expected: 0.75,
            hoped: 0.9,
            half_width: 0.1,
            population: None,
            fish: 50,
            tanks: 4,
            icc: 0.05,
            icc_source: IccSource::Given,
            power: 0.8,
            level: Level::P95,
        }
    }

    #[test]
    fn the_simulation_agrees_with_the_formula_and_shows_what_counting_fish_does() {
        let q = question();
        let s = simulate(&q, 3000, 1).unwrap();
        let formula = plan(q.clone()).unwrap().affordable.iter().find(|a| a.tanks == 4).unwrap().power;
        // Three standard errors of 3,000 repetitions are below .03.
        assert!((s.power_pooled - formula).abs() < 0.03, "{} {formula}", s.power_pooled);
        assert!(s.false_alarms_welch < 0.06 && s.false_alarms_counting_fish > 0.2, "{s:?}");
        assert_eq!(s, simulate(&q, 3000, 1).unwrap());
    }

    #[test]
    fn a_detectable_difference_is_detected_with_the_wanted_power() {
        let q = question();
        let d = detectable(&q, 6).unwrap().unwrap();
        let arm =
            ArmPlan { first: q.expected, second: q.expected + d, fish: 50.0, icc: 0.05, level: q.level };
        assert!((arm.power(6).unwrap() - 0.8).abs() < 1e-6);
        assert!(plan(Question { tanks: 1, ..question() }).is_err());
        assert!(plan(Question { icc: f64::NAN, ..question() }).is_err());
        assert!(plan(Question { half_width: 0.0, ..question() }).is_err());
    }
}
