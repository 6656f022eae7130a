//! Sentences a manager can use.

use super::contrast::{Contrast, Measure, Trend};
use crate::stats::{Interval, Level};

/// A difference in the measure's unit, without sign: `31 points`, `0.42 mm`.
pub(super) fn amount(value: f64, measure: Measure) -> String {
    if measure.is_share() {
        let points = 100.0 * value.abs();
        let digits = usize::from(points < 9.95 && (points - points.round()).abs() > 0.05);
        format!("{points:.digits$} points")
    } else {
        format!("{:.2} mm", value.abs())
    }
}

/// Both limits, signed, without the unit.
fn limits(interval: Interval, measure: Measure) -> String {
    let one = |v: f64| if measure.is_share() { format!("{:.0}", 100.0 * v) } else { format!("{v:.2}") };
    // Rounding may leave a minus before a zero.
    let tidy = |s: String| {
        if s.trim_start_matches('-').chars().all(|c| c == '0' || c == '.') { s.replace('-', "") } else { s }
    };
    format!("{} to {}", tidy(one(interval.low)), tidy(one(interval.high)))
}

/// The limits in the direction the sentence speaks of: of how much less, when it says less.
fn along(interval: Interval, difference: f64) -> Interval {
    if difference >= 0.0 { interval } else { Interval { low: -interval.high, high: -interval.low } }
}

fn units(contrast: &Contrast) -> String {
    let (a, b) = contrast.units;
    let unit = contrast.unit;
    let s = |n: usize| if n == 1 { "" } else { "s" };
    if contrast.reference.is_none() || unit == "block" {
        format!("{a} {unit}{}", s(a))
    } else if a == b {
        format!("{a} {unit}{} an arm", s(a))
    } else {
        format!("{a} and {b} {unit}s")
    }
}

/// One sentence on one contrast.
pub(super) fn sentence(contrast: &Contrast, measure: Measure, is_change: bool, level: Level) -> String {
    let d = contrast.difference;
    let by = amount(d, measure);
    let head = match (&contrast.reference, is_change) {
        (None, _) => {
            let verb = if d >= 0.0 { "rose" } else { "fell" };
            format!("{} {verb} by {by} from before to after in arm {}", capital(measure.name()), contrast.arm)
        }
        (Some(reference), true) => {
            // Both arms may rise (or fall) with age: only how they differ is said.
            let than = if d >= 0.0 { "more" } else { "less" };
            let arm = &contrast.arm;
            format!("{} rose {by} {than} in arm {arm} than in arm {reference}", capital(measure.name()))
        }
        (Some(reference), false) => {
            let arm = &contrast.arm;
            let (more, less) = match measure {
                Measure::Inflation => ("more", "less"),
                Measure::Length => ("longer", "shorter"),
                Measure::Viability => ("higher", "lower"),
            };
            let way = if d >= 0.0 { more } else { less };
            match measure {
                Measure::Inflation => {
                    format!("Tanks of arm {arm} inflated {by} {way} than tanks of arm {reference}")
                }
                Measure::Length => format!("Fish of arm {arm} are {by} {way} than fish of arm {reference}"),
                Measure::Viability => {
                    format!("Survival times inflation is {by} {way} in arm {arm} than in arm {reference}")
                }
            }
        }
    };
    let Some(t) = contrast.t else {
        let why = contrast.refusal.as_deref().unwrap_or("the data do not allow an interval");
        return format!("{head} ({}): {why}.", units(contrast));
    };
    let toward = along(t.interval, d);
    let mut text = format!("{head}, {level} interval {}, {}", limits(toward, measure), units(contrast));
    text.push_str(if t.interval.contains(0.0) {
        ": the tanks do not rule out that there is no difference."
    } else {
        "."
    });
    text
}

/// One sentence on the trend over doses.
pub(super) fn trend(trend: &Trend, from: &str, to: &str, measure: Measure, level: Level) -> String {
    let way = if trend.slope >= 0.0 { "rises" } else { "falls" };
    let head = format!(
        "{} {way} by {} a step from arm {from} to arm {to}",
        capital(measure.name()),
        amount(trend.slope, measure)
    );
    match trend.interval.map(|i| along(i, trend.slope)) {
        None => format!("{head}: an arm has one tank, so no interval is given."),
        Some(i) if i.contains(0.0) => {
            format!(
                "{head}, {level} interval {}: the tanks do not rule out that there is no trend.",
                limits(i, measure)
            )
        }
        Some(i) => format!("{head}, {level} interval {}.", limits(i, measure)),
    }
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}
