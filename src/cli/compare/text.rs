//! A comparison for the terminal, 80 columns.

use crate::cli::columns;
use crate::stats::Interval;
use crate::tank::compare::{Comparison, Contrast, Measure, MeasureResult, Observed, TankLine};

/// The comparison as text: tanks first, then arms, then differences.
pub fn of(c: &Comparison) -> String {
    let mut text = format!("Comparison: {}. Intervals at {}.\n\n", c.kind.title(), c.level);
    text += "Each tank, on its day (a random dip of that tank):\n";
    text += &tanks(c);
    text += "\n";
    for m in &c.measures {
        text += &measure(m, c);
    }
    text
}

fn tanks(c: &Comparison) -> String {
    let paired = c.tanks.iter().any(|t| t.before.is_some());
    let lengths = c.tanks.iter().any(|t| t.after.mean_length_mm.is_some());
    let mut header = vec!["tank", "arm"];
    if paired {
        header.push("when");
    }
    header.extend(["date", "dph", "called", "inflated", "interval"]);
    if lengths {
        header.extend(["mm", "interval"]);
    }
    let row = |t: &TankLine, when: &str, o: &Observed| {
        let mut cells = vec![t.tank.clone(), t.arm.clone()];
        if paired {
            cells.push(when.to_owned());
        }
        cells.extend([
            o.date.map_or_else(String::new, |d| d.to_string()),
            o.age_dph.map_or_else(String::new, |a| a.to_string()),
            o.called.to_string(),
            o.inflation.map_or_else(String::new, |p| format!("{:.1} %", 100.0 * p)),
            o.inflation_interval.map_or_else(String::new, |i| range(i, Measure::Inflation)),
        ]);
        if lengths {
            cells.extend([
                o.mean_length_mm.map_or_else(String::new, |l| format!("{l:.2}")),
                o.length_interval_mm.map_or_else(String::new, |i| range(i, Measure::Length)),
            ]);
        }
        cells
    };
    let rows: Vec<Vec<String>> = c
        .tanks
        .iter()
        .flat_map(|t| {
            let before = t.before.as_ref().map(|o| row(t, "before", o));
            let after = row(t, "after", &t.after);
            before.into_iter().chain([after])
        })
        .collect();
    columns(&header, &rows) + "\n"
}

fn measure(m: &MeasureResult, c: &Comparison) -> String {
    let mut text =
        format!("{}{}\n", heading(m.measure), if m.is_change { ", change from before to after" } else { "" });
    let rows: Vec<Vec<String>> = m
        .arms
        .iter()
        .map(|a| {
            vec![
                a.arm.clone(),
                a.tanks.to_string(),
                value(a.mean, m.measure),
                a.interval.map_or_else(|| a.refusal.clone().unwrap_or_default(), |i| range(i, m.measure)),
                a.sd.map_or_else(String::new, |s| value(s, m.measure)),
            ]
        })
        .collect();
    text += &columns(&["arm", "tanks", "mean of tanks", "interval", "SD between tanks"], &rows);
    text += "\n";
    for contrast in &m.contrasts {
        text += &wrapped(&contrast.sentence, "");
        for line in details(contrast, m.measure) {
            text += &wrapped(&line, "  ");
        }
    }
    if let Some(t) = &m.trend {
        text += &wrapped(&t.sentence, "");
        text += &wrapped(
            &format!(
                "df {}; permutation p {} (smallest possible {}).",
                t.df,
                p_value(t.permutation.p),
                p_value(t.permutation.smallest_p)
            ),
            "  ",
        );
    }
    if let (Some(icc), Some(effect)) = (m.icc, m.design_effect) {
        text += &wrapped(
            &format!(
                "Fish of one tank are alike: intraclass correlation {icc:.3}, design effect {effect:.1} (description, \
                 no test; {} tanks).",
                c.tanks.len()
            ),
            "",
        );
    }
    text + "\n"
}

/// The numbers behind a sentence.
pub fn details(c: &Contrast, measure: Measure) -> Vec<String> {
    let mut lines = Vec::new();
    if let Some(t) = c.t {
        lines.push(format!(
            "Difference {} ({}), t {:.2}, df {:.1}, p {}.",
            signed(c.difference, measure),
            range(t.interval, measure),
            t.t,
            t.df,
            p_value(t.p)
        ));
    }
    if let Some(p) = c.permutation.filter(|_| c.units.0 > 1 && c.units.1 > 1) {
        lines.push(format!(
            "{} permutation p {} (the smallest this many {}s can give is {}).",
            if p.exact { "Exact" } else { "Sampled" },
            p_value(p.p),
            c.unit,
            p_value(p.smallest_p)
        ));
    }
    if let Some(b) = c.unsure_bounds {
        lines.push(format!(
            "Whatever the unsure fish are, the difference of these samples lies between {} and {}.",
            signed(b.low, measure),
            signed(b.high, measure)
        ));
    }
    if let Some(k) = c.corrected {
        lines.push(format!(
            "Corrected for the caller's errors: {} ({}).",
            signed(k.difference, measure),
            range(k.interval, measure)
        ));
    }
    lines
}

/// Heading of a measure.
pub fn heading(measure: Measure) -> &'static str {
    match measure {
        Measure::Inflation => "Inflation",
        Measure::Length => "Mean length",
        Measure::Viability => "Survival times inflation (viability)",
    }
}

/// A value of the measure with its unit.
pub fn value(v: f64, measure: Measure) -> String {
    if measure.is_share() { format!("{:.1} %", 100.0 * v) } else { format!("{v:.2} mm") }
}

fn signed(v: f64, measure: Measure) -> String {
    if measure.is_share() { format!("{:+.1} points", 100.0 * v) } else { format!("{v:+.2} mm") }
}

/// Both limits without a unit.
pub fn range(i: Interval, measure: Measure) -> String {
    if measure.is_share() {
        format!("{:.1} to {:.1}", 100.0 * i.low, 100.0 * i.high)
    } else {
        format!("{:.2} to {:.2}", i.low, i.high)
    }
}

/// A p-value with two digits that count.
pub fn p_value(p: f64) -> String {
    if p < 0.00001 {
        "< 0.00001".to_owned()
    } else if p < 0.0001 {
        format!("{p:.5}")
    } else if p < 0.001 {
        format!("{p:.4}")
    } else if p < 0.1 {
        format!("{p:.3}")
    } else {
        format!("{p:.2}")
    }
}

fn wrapped(line: &str, indent: &str) -> String {
    let options = textwrap::Options::new(80)
        .initial_indent(indent)
        .subsequent_indent(indent)
        .word_splitter(textwrap::WordSplitter::NoHyphenation);
    // A number and its per cent sign stay on one line.
    let text = textwrap::fill(&line.replace(" %", "\u{a0}%"), options);
    text.replace('\u{a0}', " ") + "\n"
}
