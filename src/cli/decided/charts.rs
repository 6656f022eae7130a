//! What a grader does, drawn: the fish, the curve, and the fish on either side.

use crate::decision::grader::{GradeAdvice, SizeUsed};
use crate::report::chart::{Axis, Chart, Panel, Point};
use std::collections::BTreeMap;

/// Fish, retention curve, and both sides at the split `which`; `None` when there is no such split.
pub fn grade_chart(advice: &GradeAdvice, which: usize) -> Option<Chart> {
    let split = advice.splits.get(which)?;
    let lengths: Vec<f64> = advice.fish.iter().map(|f| f[0]).collect();
    let bin = bin(&lengths)?;
    let at = format!("{} mm", trim(split.spacing_mm));
    let mut kept = BTreeMap::<i64, (f64, f64)>::new();
    for (l, k) in lengths.iter().zip(&split.kept) {
        let side = kept.entry((l / bin).floor() as i64).or_default();
        side.0 += k;
        side.1 += 1.0 - k;
    }
    let bars = |pick: &dyn Fn(&(f64, f64)) -> f64| -> Vec<Point> {
        kept.iter().map(|(i, v)| Point::new((*i as f64 + 0.5) * bin, pick(v))).collect()
    };
    let mut curve: Vec<(f64, f64)> =
        advice.fish.iter().map(|f| f[1]).zip(split.kept.iter().copied()).collect();
    curve.sort_by(|a, b| a.0.total_cmp(&b.0));
    curve.dedup_by(|a, b| a.0 == b.0);
    let mut retention =
        Panel::new(Axis::number(format!("{} (mm)", capital(advice.size.name()))), Axis::percent("Retained"))
            .title(format!("Retention at {at}"))
            .line("", curve.into_iter().map(|(x, y)| Point::new(x, y)));
    if advice.size != SizeUsed::Length {
        retention = retention.event(split.spacing_mm, "spacing");
    }
    let share = &split.retained.share;
    let description = format!(
        "{} fish of {}. At {at} {:.0} % are retained ({:.0} to {:.0} %); mean lengths {} mm retained, {} mm passed.",
        advice.measured,
        advice.sample,
        100.0 * share.value,
        100.0 * share.low,
        100.0 * share.high,
        split.retained.mean_length_mm.map_or_else(|| "-".into(), |v| format!("{v:.1}")),
        split.passed.mean_length_mm.map_or_else(|| "-".into(), |v| format!("{v:.1}")),
    );
    let length = || Axis::number("Total length (mm)");
    Some(
        Chart::new(format!("Grading {} at {at}", advice.sample), description)
            .panel(
                Panel::new(length(), Axis::number("Fish measured"))
                    .title("All fish")
                    .histogram("", bin, &lengths),
            )
            .panel(retention)
            .panel(
                Panel::new(length(), Axis::number("Fish expected"))
                    .title("Both sides")
                    .bars("retained", bin, bars(&|v| v.0))
                    .bars("passed", bin, bars(&|v| v.1)),
            ),
    )
}

/// A round bin width that makes about twenty bins.
fn bin(lengths: &[f64]) -> Option<f64> {
    let low = lengths.iter().copied().fold(f64::INFINITY, f64::min);
    let high = lengths.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if !(high - low).is_finite() {
        return None;
    }
    let wanted = ((high - low) / 20.0).max(0.05);
    let power = 10f64.powf(wanted.log10().floor());
    [1.0, 2.0, 2.5, 5.0, 10.0].into_iter().map(|m| m * power).find(|b| *b >= wanted)
}

fn trim(v: f64) -> String {
    format!("{v:.3}").trim_end_matches('0').trim_end_matches('.').to_owned()
}

fn capital(word: &str) -> String {
    let mut letters = word.chars();
    letters.next().map_or_else(String::new, |c| c.to_uppercase().chain(letters).collect())
}
