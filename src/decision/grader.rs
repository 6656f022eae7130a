//! Where to set the grader: how many fish each bar spacing keeps and lets through, and what that does to the
//! spread of lengths on either side.
//!
//! Whether a fish is retained depends on its size over the opening alone (geometrical similarity, Baranov 1948; FAO
//! X7788E, ch. 3), so a curve counted at one spacing serves the others. Without a counted split the steepness of
//! the curve is not known: it is then swept over a stated range and the widest limits are given.

use serde::{Deserialize, Serialize};

use super::estimate::share_from_variance;
use super::shape::{self, Dimension};
use super::{DecisionError, Estimate, Sample};
use crate::stats::Level;
use crate::stats::selection::{Design, Selection, SizeClass, fit, logistic};

use super::sides::unsafe_pairs;
pub use super::sides::{Side, misorder};

const TWO_LN_3: f64 = 2.1972245773362196;
/// Selection ranges tried without a counted split, as a share of the bar spacing; common practice, no source.
pub const SWEPT_RANGES: [f64; 3] = [0.05, 0.10, 0.20];
/// Share of pairs allowed to exceed a safe ratio: one in a hundred; common practice, no source.
pub const UNSAFE_PAIRS: f64 = 0.01;

/// What decides whether a fish is retained.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum SizeUsed {
    /// Width across the body, seen from above.
    Width,
    /// Depth from the side, because no widths were seen. Where fish are deeper than wide it overstates what is retained.
    DepthForWidth,
    /// Total length, by a split that was counted by length.
    Length,
}

impl SizeUsed {
    /// Its words.
    pub fn name(self) -> &'static str {
        match self {
            Self::Width => "body width",
            Self::DepthForWidth => "body depth (no widths seen)",
            Self::Length => "total length",
        }
    }
}

/// A split that was counted: the curve, the spacing it was made at, and the size it is in.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CountedSplit {
    /// The fitted curve.
    pub curve: Selection,
    /// Bar spacing it was counted at, mm.
    pub spacing_mm: f64,
    /// Size the classes were in.
    pub size: SizeUsed,
    /// Fish counted.
    pub fish: f64,
}

/// Fits the curve of a counted split.
///
/// # Errors
/// [`DecisionError`] when the counts cannot be fitted, or the curve does not rise with size.
pub fn calibrate(
    classes: &[SizeClass],
    design: Design,
    spacing_mm: f64,
    size: SizeUsed,
) -> Result<CountedSplit, DecisionError> {
    if !(spacing_mm.is_finite() && spacing_mm > 0.0) {
        return Err(DecisionError::new(
            format!("a bar spacing of {spacing_mm} mm"),
            "give it in millimetres, above 0",
        ));
    }
    let curve = fit(classes, design)?;
    let fish = classes.iter().map(|c| c.retained + c.other).sum();
    Ok(CountedSplit { curve, spacing_mm, size, fish })
}

/// How retention is known.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Retention {
    /// From a counted split.
    Counted(CountedSplit),
    /// Half of the fish as wide as the spacing are held; the selection range is swept over [`SWEPT_RANGES`].
    Assumed,
}

/// One curve at one spacing: logit = a + b · size.
#[derive(Debug, Clone, Copy)]
struct Curve {
    a: f64,
    b: f64,
    /// Covariance of a and b.
    covariance: [f64; 3],
}

impl Retention {
    /// Curves at this spacing: one when counted, the swept ones (middle first) when assumed.
    fn curves(&self, spacing_mm: f64) -> Vec<Curve> {
        match self {
            Self::Counted(split) => {
                // The same fish size over opening is retained alike, so size is rescaled to the counted spacing.
                let k = split.spacing_mm / spacing_mm;
                let [aa, ab, bb] = split.curve.covariance;
                vec![Curve { a: split.curve.a, b: split.curve.b * k, covariance: [aa, ab * k, bb * k * k] }]
            }
            Self::Assumed => [SWEPT_RANGES[1], SWEPT_RANGES[0], SWEPT_RANGES[2]]
                .map(|range| Curve {
                    a: -TWO_LN_3 / range,
                    b: TWO_LN_3 / (range * spacing_mm),
                    covariance: [0.0; 3],
                })
                .to_vec(),
        }
    }
}

/// What the grader should do.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Goal {
    /// Hold back the largest share (a fraction).
    RemoveLargest(f64),
    /// Two equal halves.
    Even,
    /// Length CV of both sides at most this (a fraction).
    MaxCv(f64),
    /// In each side at most [`UNSAFE_PAIRS`] of pairs differ by more than this ratio of lengths.
    SafeRatio(f64),
}

/// What one spacing does.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Split {
    /// Clear opening between bars, mm.
    pub spacing_mm: f64,
    /// Fish held back.
    pub retained: Side,
    /// Fish that swim through.
    pub passed: Side,
    /// See [`misorder`].
    pub misorder: Option<f64>,
    /// How far it is from the goal; 0 when met. `None` when a side is too small to say, or no goal was set.
    pub distance: Option<f64>,
    /// Finer or coarser than every fish, and the like.
    pub note: Option<String>,
    /// Chance of being retained of each of [`GradeAdvice::fish`].
    #[serde(skip)]
    pub kept: Vec<f64>,
}

/// What the sample, the grader and the user bring.
#[derive(Debug, Clone)]
pub struct GradeRequest<'a> {
    /// The sample.
    pub sample: &'a Sample,
    /// How retention is known.
    pub retention: &'a Retention,
    /// Spacings owned, mm; when empty, spacings across the sizes of the fish are tried.
    pub spacings_mm: &'a [f64],
    /// What the grader should do.
    pub goal: Option<Goal>,
    /// Fish in the tank.
    pub tank_fish: Option<Estimate>,
    /// Length below which fish are not to be handled, mm.
    pub handling_length_mm: Option<f64>,
    /// Level of the limits.
    pub level: Level,
}

/// The advice.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct GradeAdvice {
    /// Which sample.
    pub sample: String,
    /// Fish measured.
    pub measured: usize,
    /// Fish whose own size was seen; the others' was predicted from length.
    pub size_seen: usize,
    /// Which size decides.
    pub size: SizeUsed,
    /// Each spacing, by rising opening.
    pub splits: Vec<Split>,
    /// Index of the best spacing for the goal.
    pub best: Option<usize>,
    /// Whether the best spacing meets the goal.
    pub goal_met: Option<bool>,
    /// Reasons not to grade yet; empty when there are none.
    pub not_yet: Vec<String>,
    /// What the numbers rest on.
    pub assumptions: Vec<String>,
    /// What would change the advice.
    pub would_change: Vec<String>,
    /// Length and size of each fish, mm, by rising length.
    #[serde(skip)]
    pub fish: Vec<[f64; 2]>,
}

/// Half-width of the retained share above which a sample is too small to set a grader by: 15 points; common practice, no source.
const WIDEST_HALF: f64 = 0.15;

/// A fish as the grader sees it: length, size, and whether the size is a prediction.
struct Graded {
    length: f64,
    size: f64,
    predicted: bool,
}

/// Nodes standing for normal scatter: standard normal quantiles at 1/18, 3/18, … 17/18.
const SCATTER: [f64; 9] = [-1.593, -0.967, -0.589, -0.282, 0.0, 0.282, 0.589, 0.967, 1.593];

/// Works out the advice.
///
/// # Errors
/// [`DecisionError`] for a sample no advice can rest on, a spacing or goal that is not usable, or sizes that were not seen.
pub fn advise(request: &GradeRequest<'_>) -> Result<GradeAdvice, DecisionError> {
    super::sample::check(request.sample)?;
    check_request(request)?;
    let sizes = Sizes::of(request)?;
    let mut advice = GradeAdvice {
        sample: request.sample.name(),
        measured: sizes.fish.len(),
        size_seen: sizes.fish.iter().filter(|f| !f.predicted).count(),
        size: sizes.used,
        splits: Vec::new(),
        best: None,
        goal_met: None,
        not_yet: Vec::new(),
        assumptions: Vec::new(),
        would_change: Vec::new(),
        fish: sizes.fish.iter().map(|f| [f.length, f.size]).collect(),
    };
    advice.splits = candidates(request, &sizes).into_iter().map(|s| sizes.split(request, s)).collect();
    advice.best = best(&advice.splits, request.goal);
    // Where a target is given as a limit, distance 0 meets it; where as a share, its own limits must hold it.
    advice.goal_met = match (request.goal, advice.best.map(|i| &advice.splits[i])) {
        (Some(Goal::MaxCv(_) | Goal::SafeRatio(_)), Some(s)) => s.distance.map(|d| d <= ALIKE),
        (Some(Goal::RemoveLargest(q)), Some(s)) => {
            Some(s.retained.share.low <= q && q <= s.retained.share.high)
        }
        (Some(Goal::Even), Some(s)) => Some(s.retained.share.low <= 0.5 && 0.5 <= s.retained.share.high),
        _ => None,
    };
    reasons_against(request, &mut advice);
    words(request, &sizes, &mut advice);
    Ok(advice)
}

fn check_request(request: &GradeRequest<'_>) -> Result<(), DecisionError> {
    if let Some(bad) = request.spacings_mm.iter().find(|s| !(s.is_finite() && **s > 0.0)) {
        return Err(DecisionError::new(
            format!("a bar spacing of {bad} mm"),
            "give spacings in millimetres, above 0",
        ));
    }
    let (usable, range) = match request.goal {
        Some(Goal::RemoveLargest(q)) => (q > 0.0 && q < 1.0, "a share between 0 and 100 %"),
        Some(Goal::MaxCv(c)) => (c > 0.0 && c < 1.0, "a CV between 0 and 100 %"),
        Some(Goal::SafeRatio(r)) => (r > 1.0 && r.is_finite(), "a ratio above 1"),
        _ => (true, ""),
    };
    if !usable {
        return Err(DecisionError::new(
            format!("the goal {:?} is out of range", request.goal),
            format!("give {range}"),
        ));
    }
    if let Some(t) = request.tank_fish
        && t.value < request.sample.fish.len() as f64
    {
        return Err(DecisionError::new(
            format!(
                "{} fish were measured but the tank is said to hold {}",
                request.sample.fish.len(),
                t.value
            ),
            "check the number of fish in the tank",
        ));
    }
    Ok(())
}

struct Sizes {
    used: SizeUsed,
    /// By rising length.
    fish: Vec<Graded>,
    /// Scatter of ln size about its prediction, and standard error of the prediction's mean.
    scatter: f64,
    line_se: f64,
}

impl Sizes {
    fn of(request: &GradeRequest<'_>) -> Result<Self, DecisionError> {
        let fish = &request.sample.fish;
        let wanted = match request.retention {
            Retention::Counted(split) => Some(split.size),
            Retention::Assumed => None,
        };
        let sort = |mut v: Vec<Graded>| {
            v.sort_by(|a, b| a.length.total_cmp(&b.length).then(a.size.total_cmp(&b.size)));
            v
        };
        if wanted == Some(SizeUsed::Length) {
            let fish =
                fish.iter().map(|f| Graded { length: f.length_mm, size: f.length_mm, predicted: false });
            return Ok(Self {
                used: SizeUsed::Length,
                fish: sort(fish.collect()),
                scatter: 0.0,
                line_se: 0.0,
            });
        }
        let widths = fish.iter().filter(|f| f.width_mm.is_some()).count();
        let (used, dimension) = match wanted {
            Some(SizeUsed::DepthForWidth) => (SizeUsed::DepthForWidth, Dimension::Depth),
            Some(_) => (SizeUsed::Width, Dimension::Width),
            None if widths >= shape::FEWEST.min(fish.len()) && widths > 0 => {
                (SizeUsed::Width, Dimension::Width)
            }
            None => (SizeUsed::DepthForWidth, Dimension::Depth),
        };
        let missing = fish.iter().filter(|f| dimension.of(f).is_none()).count();
        let law = if missing > 0 { Some(shape::fit(fish, dimension)?.law) } else { None };
        let fish = fish.iter().filter_map(|f| {
            let own = dimension.of(f);
            let size = own.or_else(|| law.as_ref().map(|l| l.median_at(f.length_mm)))?;
            Some(Graded { length: f.length_mm, size, predicted: own.is_none() })
        });
        let line = law.map(|l| l.line);
        Ok(Self {
            used,
            fish: sort(fish.collect()),
            scatter: line.and_then(|l| l.residual_sd).unwrap_or(0.0),
            line_se: line.and_then(|l| l.se_at(l.mean_x)).unwrap_or(0.0),
        })
    }

    /// Chance of being retained, fish by fish, and its derivatives along a, b and ln size.
    fn chances(&self, curve: &Curve) -> Vec<[f64; 4]> {
        let one = |size: f64| {
            let r = logistic(curve.a + curve.b * size);
            let slope = r * (1.0 - r);
            [r, slope, slope * size, slope * curve.b * size]
        };
        self.fish
            .iter()
            .map(|f| {
                if !f.predicted || self.scatter == 0.0 {
                    let mut c = one(f.size);
                    c[3] = if f.predicted { c[3] } else { 0.0 };
                    return c;
                }
                let mut sum = [0.0; 4];
                for z in SCATTER {
                    for (s, v) in sum.iter_mut().zip(one(f.size * (z * self.scatter).exp())) {
                        *s += v / SCATTER.len() as f64;
                    }
                }
                sum
            })
            .collect()
    }

    /// The share retained with its limits: sampling of fish, curve, and prediction of sizes together.
    fn share(&self, curve: &Curve, chances: &[[f64; 4]], level: Level) -> Estimate {
        let n = chances.len() as f64;
        let mean = |i: usize| chances.iter().map(|c| c[i]).sum::<f64>() / n;
        let share = mean(0);
        let spread = if chances.len() > 1 {
            chances.iter().map(|c| (c[0] - share).powi(2)).sum::<f64>() / (n - 1.0)
        } else {
            0.25
        };
        let (da, db, dw) = (mean(1), mean(2), mean(3));
        let [aa, ab, bb] = curve.covariance;
        let of_curve = da * da * aa + 2.0 * da * db * ab + db * db * bb;
        let variance = spread / n + of_curve + (dw * self.line_se).powi(2);
        share_from_variance(share, variance, chances.len(), level)
    }

    fn split(&self, request: &GradeRequest<'_>, spacing_mm: f64) -> Split {
        let curves = request.retention.curves(spacing_mm);
        let chances = self.chances(&curves[0]);
        let mut share = self.share(&curves[0], &chances, request.level);
        for curve in &curves[1..] {
            share = share.widened_by(self.share(curve, &self.chances(curve), request.level));
        }
        let lengths: Vec<f64> = self.fish.iter().map(|f| f.length).collect();
        let kept: Vec<f64> = chances.iter().map(|c| c[0]).collect();
        let gone: Vec<f64> = kept.iter().map(|k| 1.0 - k).collect();
        let side = |weights: &[f64], share: Estimate| {
            Side::of(&lengths, weights, share, request.tank_fish, request.level)
        };
        let (retained, passed) = (side(&kept, share), side(&gone, share.complement()));
        let distance = request.goal.and_then(|goal| match goal {
            Goal::RemoveLargest(q) => Some((share.value - q).abs()),
            Goal::Even => Some((share.value - 0.5).abs()),
            Goal::MaxCv(most) => {
                let worst = retained.cv_length?.value.max(passed.cv_length?.value);
                Some((worst - most).max(0.0))
            }
            Goal::SafeRatio(ratio) => {
                let small = share.value.min(1.0 - share.value) < 0.02;
                let bad = unsafe_pairs(&lengths, &kept, ratio)?.max(unsafe_pairs(&lengths, &gone, ratio)?);
                (!small).then(|| (bad - UNSAFE_PAIRS).max(0.0))
            }
        });
        let (least, most) =
            self.fish.iter().fold((f64::INFINITY, 0.0_f64), |(l, m), f| (l.min(f.size), m.max(f.size)));
        let note = match self.used {
            SizeUsed::Length => None,
            _ if spacing_mm < least => Some("finer than every fish measured".to_owned()),
            _ if spacing_mm > most => Some("coarser than every fish measured".to_owned()),
            _ => None,
        };
        Split { spacing_mm, misorder: misorder(&lengths, &kept), retained, passed, distance, note, kept }
    }
}

/// The spacings owned, or 0.05 mm steps (coarser when that makes too many) across the fish's sizes.
fn candidates(request: &GradeRequest<'_>, sizes: &Sizes) -> Vec<f64> {
    let mut spacings = request.spacings_mm.to_vec();
    if spacings.is_empty() {
        let scale = match request.retention {
            // A curve by length says at which spacing a length is held half.
            Retention::Counted(c) => c.spacing_mm / c.curve.l50(),
            Retention::Assumed => 1.0,
        };
        let low = sizes.fish.iter().map(|f| f.size).fold(f64::INFINITY, f64::min) * scale;
        let high = sizes.fish.iter().map(|f| f.size).fold(0.0, f64::max) * scale;
        let step =
            [0.05, 0.1, 0.25, 0.5, 1.0, 2.5].into_iter().find(|s| (high - low) / s <= 40.0).unwrap_or(5.0);
        let first = (low / step).ceil().max(1.0) as i64;
        spacings = (first..=(high / step).floor() as i64).map(|i| i as f64 * step).collect();
        if spacings.is_empty() {
            spacings.push(first as f64 * step);
        }
    }
    spacings.sort_by(f64::total_cmp);
    spacings.dedup();
    spacings
}

/// Distances of CV or of unsafe pairs that differ by no more than this are taken as equal; common practice, no source.
const ALIKE: f64 = 0.01;

/// Least distance from the goal. For limits on CV or on pairs the least is flat and a sample places it badly:
/// of all spacings nearly as good, the one that splits most evenly.
fn best(splits: &[Split], goal: Option<Goal>) -> Option<usize> {
    let alike = if matches!(goal, Some(Goal::MaxCv(_) | Goal::SafeRatio(_))) { ALIKE } else { 0.0 };
    let least = splits.iter().filter_map(|s| s.distance).min_by(f64::total_cmp)?;
    let uneven = |i: usize| (splits[i].retained.share.value - 0.5).abs();
    (0..splits.len())
        .filter(|&i| splits[i].distance.is_some_and(|d| d <= least + alike))
        .min_by(|&i, &j| uneven(i).total_cmp(&uneven(j)).then(j.cmp(&i)))
}

fn reasons_against(request: &GradeRequest<'_>, advice: &mut GradeAdvice) {
    let n = request.sample.fish.len();
    if let Some(least) = request.handling_length_mm {
        let short = request.sample.fish.iter().filter(|f| f.length_mm < least).count();
        if short > 0 {
            advice
                .not_yet
                .push(format!("{short} of {n} fish are shorter than the handling length of {least} mm"));
        }
    }
    let shown = advice.best.and_then(|i| advice.splits.get(i)).or_else(|| {
        advice.splits.iter().min_by(|a, b| {
            let off = |s: &Split| (s.retained.share.value - 0.5).abs();
            off(a).total_cmp(&off(b))
        })
    });
    if let Some(split) = shown {
        let (p, z) = (split.retained.share.value, request.level.z());
        let of_sampling = z * (p * (1.0 - p) / n as f64).sqrt();
        if of_sampling > WIDEST_HALF || n < 20 {
            let need = ((z / WIDEST_HALF).powi(2) * p * (1.0 - p)).ceil().max(20.0);
            advice.not_yet.push(format!(
                "{n} fish are too few to set a grader by: the share retained is known to {:.0} points only; measure {need:.0}",
                100.0 * of_sampling.max(0.5 * (split.retained.share.high - split.retained.share.low))
            ));
        }
        if split.misorder.is_some_and(|m| m > 0.4) {
            advice
                .not_yet
                .push("the fish differ so little that the split is hardly better than chance".into());
        }
    }
    if let Retention::Counted(split) = request.retention
        && split.curve.b - request.level.z() * split.curve.b_se() <= 0.0
    {
        advice
            .not_yet
            .push("the counted split is not better than chance: its curve may not rise with size".into());
    }
    if request.goal.is_some() && advice.best.is_none() {
        advice.not_yet.push("no spacing leaves enough fish on both sides to judge the goal".into());
    }
}

fn words(request: &GradeRequest<'_>, sizes: &Sizes, advice: &mut GradeAdvice) {
    match request.retention {
        Retention::Counted(split) => advice.assumptions.push(format!(
            "retention from {:.0} fish counted at {} mm: half held at {:.3} mm of {}, selection range {:.3} mm",
            split.fish,
            split.spacing_mm,
            split.curve.l50(),
            split.size.name(),
            split.curve.selection_range()
        )),
        Retention::Assumed => {
            advice.assumptions.push(
                "no split was counted: half of the fish as wide as the spacing are taken to be held, and the \
                 selection range to be 5 to 20 % of the spacing (common practice, no source)"
                    .into(),
            );
            advice.would_change.push("grade a few hundred fish, count both sides by size, and give the counts".into());
        }
    }
    if sizes.used == SizeUsed::DepthForWidth {
        advice.assumptions.push(
            "no widths were seen: depth stands in, and where fish are deeper than wide fewer are retained than shown".into(),
        );
        advice.would_change.push("photograph some fish from above".into());
    }
    let predicted = advice.measured - advice.size_seen;
    if predicted > 0 {
        advice.assumptions.push(format!(
            "{} was seen in {} fish and predicted from length in {predicted}",
            sizes.used.name(),
            advice.size_seen
        ));
    }
    advice.assumptions.push("the sample is a fair dip of the tank, and every fish meets the bars".into());
}
