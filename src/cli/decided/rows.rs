//! One row a tank and spacing, a tank and mesh, a tank.

use jiff::civil::Date;
use serde::Serialize;

use crate::decision::Estimate;
use crate::decision::brief::TankBrief;
use crate::decision::cannibals::Verdict;
use crate::decision::grader::GradeAdvice;
use crate::decision::screen::ScreenAdvice;

/// A row of `grade.csv`: shares and CVs are fractions, lengths and spacings millimetres.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[allow(missing_docs)] // the names are the column names and say it
pub struct GradeRow {
    pub sample: String,
    pub spacing_mm: f64,
    pub best: bool,
    pub retained: f64,
    pub retained_low: f64,
    pub retained_high: f64,
    pub passed: f64,
    pub passed_low: f64,
    pub passed_high: f64,
    pub retained_fish: Option<f64>,
    pub retained_fish_low: Option<f64>,
    pub retained_fish_high: Option<f64>,
    pub passed_fish: Option<f64>,
    pub passed_fish_low: Option<f64>,
    pub passed_fish_high: Option<f64>,
    pub retained_mean_length_mm: Option<f64>,
    pub retained_p05_length_mm: Option<f64>,
    pub retained_p95_length_mm: Option<f64>,
    pub retained_cv_length: Option<f64>,
    pub retained_cv_length_low: Option<f64>,
    pub retained_cv_length_high: Option<f64>,
    pub passed_mean_length_mm: Option<f64>,
    pub passed_p05_length_mm: Option<f64>,
    pub passed_p95_length_mm: Option<f64>,
    pub passed_cv_length: Option<f64>,
    pub passed_cv_length_low: Option<f64>,
    pub passed_cv_length_high: Option<f64>,
    pub misorder: Option<f64>,
    pub note: String,
}

type Parts = (Option<f64>, Option<f64>, Option<f64>);

/// Value and limits; what is not finite is missing.
fn parts(e: Option<Estimate>) -> Parts {
    let finite = |v: f64| v.is_finite().then_some(v);
    e.map_or((None, None, None), |e| (finite(e.value), finite(e.low), finite(e.high)))
}

/// The rows of one tank.
pub fn grade_rows(advice: &GradeAdvice) -> Vec<GradeRow> {
    let row = |(i, s): (usize, &crate::decision::grader::Split)| {
        let ((kept, kept_low, kept_high), (gone, gone_low, gone_high)) =
            (parts(s.retained.fish), parts(s.passed.fish));
        let ((r_cv, r_low, r_high), (p_cv, p_low, p_high)) =
            (parts(s.retained.cv_length), parts(s.passed.cv_length));
        let notes =
            s.note.iter().cloned().chain(advice.not_yet.iter().map(|r| format!("do not grade yet: {r}")));
        GradeRow {
            sample: advice.sample.clone(),
            spacing_mm: s.spacing_mm,
            best: advice.best == Some(i),
            retained: s.retained.share.value,
            retained_low: s.retained.share.low,
            retained_high: s.retained.share.high,
            passed: s.passed.share.value,
            passed_low: s.passed.share.low,
            passed_high: s.passed.share.high,
            retained_fish: kept,
            retained_fish_low: kept_low,
            retained_fish_high: kept_high,
            passed_fish: gone,
            passed_fish_low: gone_low,
            passed_fish_high: gone_high,
            retained_mean_length_mm: s.retained.mean_length_mm,
            retained_p05_length_mm: s.retained.p05_length_mm,
            retained_p95_length_mm: s.retained.p95_length_mm,
            retained_cv_length: r_cv,
            retained_cv_length_low: r_low,
            retained_cv_length_high: r_high,
            passed_mean_length_mm: s.passed.mean_length_mm,
            passed_p05_length_mm: s.passed.p05_length_mm,
            passed_p95_length_mm: s.passed.p95_length_mm,
            passed_cv_length: p_cv,
            passed_cv_length_low: p_low,
            passed_cv_length_high: p_high,
            misorder: s.misorder,
            note: notes.collect::<Vec<_>>().join("; "),
        }
    };
    advice.splits.iter().enumerate().map(row).collect()
}

/// A row of `screen.csv`.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[allow(missing_docs)]
pub struct ScreenRow {
    pub tank: Option<String>,
    pub date: Option<Date>,
    pub opening_mm: f64,
    pub worst_hole_mm: f64,
    pub basis: &'static str,
    pub seen: usize,
    pub could_pass: usize,
    pub could_pass_upper: f64,
    pub verdict: &'static str,
    pub fish_needed: u64,
    pub first_safe: Option<Date>,
    pub first_safe_cautious: Option<Date>,
    pub note: String,
}

/// The rows of one tank.
pub fn screen_rows(advice: &ScreenAdvice) -> Vec<ScreenRow> {
    let row = |m: &crate::decision::screen::Mesh| ScreenRow {
        tank: advice.tank.clone(),
        date: advice.date,
        opening_mm: m.opening_mm,
        worst_hole_mm: m.worst_hole_mm,
        basis: m.deciding.basis.name(),
        seen: m.deciding.seen,
        could_pass: m.deciding.could_pass,
        could_pass_upper: m.deciding.upper,
        verdict: m.verdict.name(),
        fish_needed: m.needed,
        first_safe: m.first_safe.map(|f| f.expected),
        first_safe_cautious: m.first_safe.and_then(|f| f.cautious),
        note: m.note.clone().unwrap_or_default(),
    };
    advice.meshes.iter().map(row).collect()
}

/// A row of `growth.csv`: one tank.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[allow(missing_docs)]
pub struct GrowthRow {
    pub tank: Option<String>,
    pub treatment: Option<String>,
    pub sample: String,
    pub mean_length_mm: Option<f64>,
    pub mean_length_mm_low: Option<f64>,
    pub mean_length_mm_high: Option<f64>,
    pub increment_mm_per_day: Option<f64>,
    pub increment_mm_per_day_low: Option<f64>,
    pub increment_mm_per_day_high: Option<f64>,
    pub specific_pct_per_day: Option<f64>,
    pub specific_pct_per_day_low: Option<f64>,
    pub specific_pct_per_day_high: Option<f64>,
    pub cv_length: Option<f64>,
    pub cv_length_low: Option<f64>,
    pub cv_length_high: Option<f64>,
    pub cv_per_day: Option<f64>,
    pub cv_per_day_low: Option<f64>,
    pub cv_per_day_high: Option<f64>,
    pub second_mode: Option<&'static str>,
    pub upper_share: Option<f64>,
    pub upper_share_low: Option<f64>,
    pub upper_share_high: Option<f64>,
    pub cut_mm: Option<f64>,
    pub pair_risk: Option<f64>,
    pub pair_risk_low: Option<f64>,
    pub pair_risk_high: Option<f64>,
    pub mean_weight_g: Option<f64>,
    pub mean_weight_g_low: Option<f64>,
    pub mean_weight_g_high: Option<f64>,
    pub number_per_gram: Option<f64>,
    pub number_per_gram_low: Option<f64>,
    pub number_per_gram_high: Option<f64>,
    pub biomass_g: Option<f64>,
    pub biomass_g_low: Option<f64>,
    pub biomass_g_high: Option<f64>,
    pub fry_per_litre: Option<f64>,
    pub notes: String,
}

/// The word of a verdict on a second mode.
pub fn word(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Found => "found",
        Verdict::NotSeen { .. } => "none seen",
        Verdict::CannotTell { .. } => "cannot tell",
    }
}

/// The row of one tank.
pub fn growth_row(b: &TankBrief) -> GrowthRow {
    let (g, r, w) = (b.growth.as_ref(), b.risk.as_ref(), b.biomass.as_ref());
    let (mean, mean_low, mean_high) = parts(b.mean_length_mm);
    let (inc, inc_low, inc_high) = parts(g.map(|g| g.increment_mm_per_day));
    let (sgr, sgr_low, sgr_high) = parts(g.map(|g| g.specific_pct_per_day));
    let (cv, cv_low, cv_high) = parts(r.and_then(|r| r.spread.last()?.cv));
    let (trend, trend_low, trend_high) = parts(r.and_then(|r| r.cv_per_day));
    let (upper, upper_low, upper_high) = parts(r.and_then(|r| r.second_mode.upper_share));
    let (pair, pair_low, pair_high) = parts(r.and_then(|r| r.pairs.first()?.share));
    let (weight, weight_low, weight_high) = parts(w.map(|w| w.mean_weight_g));
    let (per_gram, per_gram_low, per_gram_high) = parts(w.map(|w| w.number_per_gram));
    let (mass, mass_low, mass_high) = parts(w.and_then(|w| w.biomass_g));
    GrowthRow {
        tank: b.tank.clone(),
        treatment: b.treatment.clone(),
        sample: b.sample.clone(),
        mean_length_mm: mean,
        mean_length_mm_low: mean_low,
        mean_length_mm_high: mean_high,
        increment_mm_per_day: inc,
        increment_mm_per_day_low: inc_low,
        increment_mm_per_day_high: inc_high,
        specific_pct_per_day: sgr,
        specific_pct_per_day_low: sgr_low,
        specific_pct_per_day_high: sgr_high,
        cv_length: cv,
        cv_length_low: cv_low,
        cv_length_high: cv_high,
        cv_per_day: trend,
        cv_per_day_low: trend_low,
        cv_per_day_high: trend_high,
        second_mode: r.map(|r| word(r.second_mode.verdict)),
        upper_share: upper,
        upper_share_low: upper_low,
        upper_share_high: upper_high,
        cut_mm: r.and_then(|r| r.second_mode.cut_mm),
        pair_risk: pair,
        pair_risk_low: pair_low,
        pair_risk_high: pair_high,
        mean_weight_g: weight,
        mean_weight_g_low: weight_low,
        mean_weight_g_high: weight_high,
        number_per_gram: per_gram,
        number_per_gram_low: per_gram_low,
        number_per_gram_high: per_gram_high,
        biomass_g: mass,
        biomass_g_low: mass_low,
        biomass_g_high: mass_high,
        fry_per_litre: w.and_then(|w| Some(w.fry_per_litre?.value)),
        notes: b.not_said.join("; "),
    }
}
