//! Are a few fish breaking away from the rest? Future cannibals show as a second mode, as pairs in which the
//! small one fits, and as a spread of lengths that grows.
//!
//! Type II cannibalism (whole, head first) needs a length difference and is what the length rules are about. Type I
//! (tail first, incomplete) happens between siblings of equal length and no ratio covers it (Loadman, Moodie &
//! Mathias 1986; Baras, Kestemont & Mélard 2003, Aquaculture 219:241-255). No CV threshold for percids was found.

use std::collections::BTreeMap;

use jiff::civil::Date;
use serde::{Deserialize, Serialize};

use super::pairs::{PairRisk, pair_risk};
use super::relation::Relation;
use super::{DecisionError, Estimate, Sample, estimate::share_from_variance, sample};
use crate::stats::dip::{NullDips, dip};
use crate::stats::linear;
use crate::stats::mixture::{self, Mixture, NullRatios, Spread};
use crate::stats::moments::Moments;
use crate::stats::{Level, cv};

/// What is said beside every pair risk.
pub const NOT_COVERED: &str =
    "tail-first attacks on siblings of equal length are not covered by any ratio rule";

/// Fish that make a group; fewer are stray fish. Common practice, no source.
pub const GROUP: usize = 5;
/// Share of fish in a second mode that a sample must be able to show before it may deny one: 8 %.
pub const SMALLEST_MODE: f64 = 0.08;
/// Chance with which it must be able to show it.
const POWER: f64 = 0.8;
/// Distance of the means, in standard deviations, below which two modes are not told apart.
const SEPARATION: f64 = 2.0;
/// Distance of two groups, in standard deviations of logarithms, from which 100 fish show one of 8 % with a chance of about
/// 80 %: measured by `cargo run --release --example decision_truth`.
const STANDS_APART: f64 = 3.9;
const SIGNIFICANT: f64 = 0.05;
const SIMULATED: usize = 499;
const SEED: u64 = 20_260_420;

/// What may be said about a second mode.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "verdict")]
pub enum Verdict {
    /// There is one.
    Found,
    /// None was seen; one of up to this share of the fish could have been missed.
    NotSeen {
        /// Share of fish, a fraction.
        could_miss: f64,
    },
    /// The sample is too small to deny one.
    CannotTell {
        /// Fish needed to see a mode of [`SMALLEST_MODE`] with a chance of 80 %.
        needed: usize,
    },
}

/// The test for a second mode.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SecondMode {
    /// What may be said.
    pub verdict: Verdict,
    /// Fish tested.
    pub fish: usize,
    /// Median length of the lower group, mm.
    pub lower_mm: Option<f64>,
    /// Median length of the upper group, mm.
    pub upper_mm: Option<f64>,
    /// Share of the fish in the upper group, a fraction.
    pub upper_share: Option<Estimate>,
    /// Distance of the groups in standard deviations of logarithms.
    pub separation_sd: Option<f64>,
    /// Times the length of the rest from which a group would stand apart in a sample this uneven; nearer ones merge with it
    /// whatever the number of fish. `None` for fewer than two fish.
    pub stands_apart_from: Option<f64>,
    /// Length from which a fish more likely belongs to the upper group, mm.
    pub cut_mm: Option<f64>,
    /// The largest p of the likelihood-ratio tests, against a normal peak on lengths, their logarithms and their squares, and
    /// against the flattest peak on lengths; `None` when two groups were
    /// ruled out before, for want of two peaks, of distance or of fish.
    pub p: Option<f64>,
    /// p of Hartigans' dip test, shown beside it.
    pub dip_p: Option<f64>,
    /// The reason in words.
    pub reason: String,
}

/// Simulated null distributions, kept by sample size so that a night of tanks does not simulate each anew.
#[derive(Debug, Clone, Default)]
pub struct Nulls {
    by_size: BTreeMap<usize, Null>,
}

/// The null distributions at one sample size.
#[derive(Debug, Clone)]
struct Null {
    /// Likelihood ratios of one normal peak.
    normal: NullRatios,
    /// Likelihood ratios of the flattest peak.
    flat: NullRatios,
    /// Fish of a simulated sample.
    size: usize,
    dips: NullDips,
}

impl Nulls {
    /// The distributions for `n` fish; sizes are rounded, for they change slowly with size.
    fn of(&mut self, n: usize) -> &Null {
        let step = if n < 100 {
            10
        } else if n < 500 {
            50
        } else {
            250
        };
        let size = (n.div_ceil(step) * step).min(mixture::LARGEST_SIMULATED);
        self.by_size.entry(size).or_insert_with(|| Null {
            normal: NullRatios::simulate(size, SIMULATED, SEED),
            flat: NullRatios::simulate_flat(size, SIMULATED, SEED),
            size,
            dips: NullDips::simulate(size, SIMULATED, SEED),
        })
    }
}

/// Looks for a second mode. It is found only when two normals of common standard deviation fit better than one on
/// lengths, on their logarithms and on their squares alike (so that a skewed but single peak is not taken for two), and
/// on lengths better than they would fit the flattest single peak; when the density fitted to lengths has two peaks, the
/// groups lie more than 2 standard deviations apart on each, and either group holds [`GROUP`] fish.
///
/// # Errors
/// [`DecisionError`] for a sample no advice can rest on.
pub fn second_mode(sample: &Sample, nulls: &mut Nulls) -> Result<SecondMode, DecisionError> {
    sample::check(sample)?;
    let lengths = sample.lengths();
    let n = lengths.len();
    let needed = fish_needed();
    let mut mode = SecondMode {
        verdict: if n < needed {
            Verdict::CannotTell { needed }
        } else {
            Verdict::NotSeen { could_miss: missable(n) }
        },
        fish: n,
        lower_mm: None,
        upper_mm: None,
        upper_share: None,
        separation_sd: None,
        stands_apart_from: Moments::of(&lengths.iter().map(|l| l.ln()).collect::<Vec<f64>>())
            .and_then(|m| m.sd())
            .map(|sd| (STANDS_APART * sd).exp()),
        cut_mm: None,
        p: None,
        dip_p: None,
        reason: String::new(),
    };
    // Plain lengths, their logarithms and their squares: a single peak that is skewed either way looks like two on
    // one of these scales, but not on all.
    let scales =
        [f64::ln, |l: f64| l, |l: f64| l * l].map(|f| lengths.iter().map(|l| f(*l)).collect::<Vec<f64>>());
    let fits: Vec<(Mixture, f64)> = scales.iter().filter_map(|x| mixture::compare(x).ok()).collect();
    if n < 2 * GROUP || fits.len() < scales.len() {
        mode.reason = if n < 2 * GROUP {
            format!("{n} fish cannot show two groups")
        } else {
            "all lengths are equal".into()
        };
        return Ok(mode);
    }
    let logs = &scales[0];
    let separation = fits.iter().map(|(m, _)| separation(m)).fold(f64::INFINITY, f64::min);
    let in_upper = logs.iter().filter(|x| fits[0].0.posterior_upper(**x) > 0.5).count();
    let ruled_out = if !fits[1].0.has_two_peaks() {
        Some("the lengths show one peak".to_owned())
    } else if separation <= SEPARATION {
        Some(format!("two groups would lie only {separation:.1} standard deviations apart"))
    } else if in_upper.min(n - in_upper) < GROUP {
        let stray = in_upper.min(n - in_upper);
        Some(format!("{stray} fish stand apart: too few to be called a group"))
    } else {
        None
    };
    if let Some(reason) = ruled_out {
        mode.reason = reason;
        return Ok(mode);
    }
    let null = nulls.of(n);
    let p = fits.iter().map(|(_, ratio)| null.normal.p_value(*ratio)).fold(0.0, f64::max);
    // Against a normal peak the ratio hardly depends on the number of fish; against a flat one it grows with it.
    let p = p.max(null.flat.p_value(fits[1].1 * null.size as f64 / n as f64));
    mode.p = Some(p);
    mode.dip_p = dip(&lengths).map(|d| null.dips.p_value(d));
    if p > SIGNIFICANT {
        mode.reason = format!("one group, if a broad one, explains the lengths as well (p {p:.2})");
        return Ok(mode);
    }
    mode.verdict = Verdict::Found;
    let log = mixture::two(logs, Spread::Common)?;
    let (lower, upper) = (log.components[0], log.components[1]);
    mode.lower_mm = Some(lower.mean.exp());
    mode.upper_mm = Some(upper.mean.exp());
    mode.separation_sd = Some(separation);
    // As if each fish's group were known; with the groups this far apart it nearly is.
    mode.upper_share =
        Some(share_from_variance(upper.share, upper.share * (1.0 - upper.share) / n as f64, n, Level::P95));
    mode.cut_mm = cut(&log).map(f64::exp);
    mode.reason = format!(
        "two groups {separation:.1} standard deviations apart fit better than one (p {}{p:.3})",
        if p <= 1.0 / (SIMULATED as f64 + 1.0) { "≤ " } else { "" }
    );
    Ok(mode)
}

fn separation(m: &Mixture) -> f64 {
    (m.components[1].mean - m.components[0].mean) / m.components[0].sd
}

/// Where the two components of common standard deviation are equally likely.
fn cut(m: &Mixture) -> Option<f64> {
    let [a, b] = m.components.as_slice() else { return None };
    Some(0.5 * (a.mean + b.mean) + a.sd * a.sd * (a.share / b.share).ln() / (b.mean - a.mean))
}

/// Chance that at least [`GROUP`] of `n` fish belong to a mode of this share.
fn chance_of_group(n: usize, share: f64) -> f64 {
    let mut term = (1.0 - share).powi(n as i32);
    let mut fewer = 0.0;
    for k in 0..GROUP.min(n + 1) {
        fewer += term;
        term *= (n - k) as f64 / (k + 1) as f64 * share / (1.0 - share);
    }
    1.0 - fewer
}

/// Fish needed to see a mode of [`SMALLEST_MODE`]: [`GROUP`] of it in the sample with a chance of 80 %.
pub fn fish_needed() -> usize {
    (GROUP..10_000).find(|&n| chance_of_group(n, SMALLEST_MODE) >= POWER).unwrap_or(10_000)
}

/// The share of a mode that `n` fish would show with a chance of just 80 %.
fn missable(n: usize) -> f64 {
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..50 {
        let middle = 0.5 * (low + high);
        if chance_of_group(n, middle) < POWER {
            low = middle;
        } else {
            high = middle;
        }
    }
    high
}

/// Spread of lengths on one date.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SpreadPoint {
    /// Date.
    pub date: Option<Date>,
    /// Fish.
    pub fish: usize,
    /// Coefficient of variation of length, a fraction; `None` for one fish or equal lengths.
    pub cv: Option<Estimate>,
}

/// The risk in one tank.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Risk {
    /// Which sample.
    pub sample: String,
    /// Second mode.
    pub second_mode: SecondMode,
    /// Pairs, by each rule.
    pub pairs: Vec<PairRisk>,
    /// Spread of lengths at each date.
    pub spread: Vec<SpreadPoint>,
    /// Change of the CV per day, a fraction per day; needs three dates.
    pub cv_per_day: Option<Estimate>,
    /// Fish to take out: the upper group, when one was found and the tank's number is known.
    pub to_remove: Option<Estimate>,
    /// Always [`NOT_COVERED`].
    pub caution: String,
}

/// Judges a tank by its samples, by rising date; the last one is today's.
///
/// # Errors
/// [`DecisionError`] when there is no sample, or one no advice can rest on.
pub fn judge(
    samples: &[Sample],
    rules: &[Relation],
    tank_fish: Option<Estimate>,
    level: Level,
    nulls: &mut Nulls,
) -> Result<Risk, DecisionError> {
    let newest = samples.last().ok_or_else(|| DecisionError::new("no sample", "measure some fish"))?;
    let second_mode = second_mode(newest, nulls)?;
    let pairs = rules.iter().map(|r| pair_risk(newest, r, level)).collect::<Result<Vec<_>, _>>()?;
    // Fresh and preserved lengths are never set side by side.
    let spread: Vec<SpreadPoint> =
        samples.iter().filter(|s| s.state == newest.state).map(|s| spread_of(s, level)).collect();
    let dated: Vec<(f64, f64)> =
        spread.iter().filter_map(|p| Some((f64::from(day(p.date?)), p.cv?.value))).collect();
    let (x, y): (Vec<f64>, Vec<f64>) = dated.into_iter().unzip();
    let cv_per_day =
        linear::fit(&x, &y).ok().and_then(|f| f.slope_interval(level).map(|i| Estimate::new(f.slope, i)));
    let to_remove = second_mode.upper_share.and_then(|s| tank_fish.map(|t| t.product(s)));
    Ok(Risk {
        sample: newest.name(),
        second_mode,
        pairs,
        spread,
        cv_per_day,
        to_remove,
        caution: NOT_COVERED.into(),
    })
}

fn spread_of(sample: &Sample, level: Level) -> SpreadPoint {
    let m = Moments::of(&sample.lengths());
    let cv = m.and_then(|m| {
        let value = m.cv().filter(|v| *v > 0.0)?;
        Some(Estimate::new(value, cv::interval(value, m.n(), level)?))
    });
    SpreadPoint { date: sample.date, fish: sample.fish.len(), cv }
}

/// Days since 1970-01-01.
pub(super) fn day(date: Date) -> i32 {
    let epoch = jiff::civil::date(1970, 1, 1);
    date.since((jiff::Unit::Day, epoch)).map_or(0, |s| s.get_days())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::decision::sample::{MeasuredFish, State};

    fn sample(lengths: &[f64]) -> Sample {
        let fish = lengths.iter().map(|&length_mm| MeasuredFish { length_mm, ..MeasuredFish::default() });
        Sample { tank: None, date: None, age_dph: None, state: State::Fresh, fish: fish.collect() }
    }

    /// Evenly spaced quantiles of a triangle stand for a single peak.
    fn body(n: usize, mean: f64, half: f64) -> Vec<f64> {
        (0..n)
            .map(|i| {
                let u = (i as f64 + 0.5) / n as f64;
                let t = if u < 0.5 { (2.0 * u).sqrt() - 1.0 } else { 1.0 - (2.0 * (1.0 - u)).sqrt() };
                mean + half * t
            })
            .collect()
    }

    #[test]
    fn sixteen_of_two_hundred_at_one_and_a_half_are_found_and_two_of_thirty_are_not_judged() {
        let mut nulls = Nulls::default();
        let mut lengths = body(184, 12.0, 2.5);
        lengths.extend(body(16, 18.0, 2.5));
        let mode = second_mode(&sample(&lengths), &mut nulls).unwrap();
        assert_eq!(mode.verdict, Verdict::Found, "{mode:?}");
        assert!(
            (mode.upper_share.unwrap().value - 0.08).abs() < 0.01
                && (mode.upper_mm.unwrap() - 18.0).abs() < 0.4
        );
        let cut = mode.cut_mm.unwrap();
        assert!(lengths.iter().filter(|l| **l > cut).count().abs_diff(16) <= 1);
        let mut few = body(28, 12.0, 2.5);
        few.extend([18.0, 18.3]);
        let mode = second_mode(&sample(&few), &mut nulls).unwrap();
        assert!(
            matches!(mode.verdict, Verdict::CannotTell { needed } if needed > 60 && needed < 100),
            "{mode:?}"
        );
    }

    #[test]
    fn equal_lengths_and_a_single_fish_get_no_verdict_on_modes() {
        let mut nulls = Nulls::default();
        for lengths in [vec![9.0; 200], vec![9.0]] {
            let mode = second_mode(&sample(&lengths), &mut nulls).unwrap();
            assert!(!matches!(mode.verdict, Verdict::Found));
        }
    }
}
