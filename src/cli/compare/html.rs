//! A comparison as a chart and as a section of a page.

use super::text::{details, heading, range, value};
use crate::report::chart::{Axis, Chart, Panel, Point, escape};
use crate::tank::compare::{Comparison, Measure, MeasureResult, TankLine};

/// Tanks as dots within arms with their limits, arm means, and the differences beside them.
pub fn chart(c: &Comparison) -> Chart {
    let sentences: Vec<&str> =
        c.measures.iter().flat_map(|m| m.contrasts.iter().map(|k| k.sentence.as_str())).collect();
    let title = format!("Comparison: {}", c.kind.title());
    let mut chart = Chart::new(title, sentences.join(" ")).columns(2);
    for m in &c.measures {
        chart = chart.panel(tanks_panel(m, c)).panel(difference_panel(m, c));
    }
    chart
}

/// Where tank `i` of `n` stands beside its arm's place, leaving room for the mean.
fn beside(i: usize, n: usize) -> f64 {
    -0.32 + 0.5 * (i as f64 + 0.5) / n as f64
}

fn tanks_panel(m: &MeasureResult, c: &Comparison) -> Panel {
    let axis = match m.measure {
        Measure::Inflation => "Inflated",
        Measure::Length => "Mean total length",
        Measure::Viability => "Alive and inflated",
    };
    let y = match (m.measure.is_share(), m.is_change) {
        (true, false) => Axis::percent(axis),
        (true, true) => Axis::percent(format!("{axis}, change")).from(-1.0).to(1.0),
        (false, false) => Axis::number("Mean total length, mm"),
        (false, true) => Axis::number("Change of mean total length, mm"),
    };
    let mut points = Vec::new();
    for (place, arm) in c.arms.iter().enumerate() {
        let tanks: Vec<&TankLine> = c.tanks.iter().filter(|t| t.arm == *arm).collect();
        for (i, t) in tanks.iter().enumerate() {
            let Some(after) = m.measure.of(t, &t.after) else { continue };
            let at = place as f64 + beside(i, tanks.len());
            if m.is_change {
                if let Some(before) = t.before.as_ref().and_then(|b| m.measure.of(t, b)) {
                    points.push(Point::new(at, after - before));
                }
                continue;
            }
            let limits = match m.measure {
                Measure::Inflation => t.after.inflation_interval,
                Measure::Length => t.after.length_interval_mm,
                // The counts of survivors have no limits of their own here.
                Measure::Viability => None,
            };
            let point = Point::new(at, after);
            points.push(match limits {
                Some(l) => point.interval(l.low, l.high),
                None => point,
            });
        }
    }
    let means = m.arms.iter().enumerate().map(|(place, a)| {
        let point = Point::new(place as f64 + 0.34, a.mean);
        match a.interval {
            Some(i) => point.interval(i.low, i.high),
            None => point,
        }
    });
    Panel::new(Axis::categories("Arm", c.arms.iter().map(String::as_str)), y)
        .title(short(m.measure))
        .points("Tank", points)
        .points("Mean", means.collect::<Vec<_>>())
}

/// A name that leaves room for the legend beside it.
fn short(measure: Measure) -> &'static str {
    match measure {
        Measure::Inflation => "Inflation",
        Measure::Length => "Length",
        Measure::Viability => "Viability",
    }
}

fn difference_panel(m: &MeasureResult, c: &Comparison) -> Panel {
    let names: Vec<String> = m
        .contrasts
        .iter()
        .map(|k| match &k.reference {
            Some(r) => format!("{} − {r}", k.arm),
            None => format!("{}, after − before", k.arm),
        })
        .collect();
    let scale = if m.measure.is_share() { 100.0 } else { 1.0 };
    let unit = if m.measure.is_share() { "Difference, points" } else { "Difference, mm" };
    let points = m.contrasts.iter().enumerate().map(|(i, k)| {
        let point = Point::new(i as f64, scale * k.difference);
        match k.t {
            Some(t) => point.interval(scale * t.interval.low, scale * t.interval.high),
            None => point.label("no interval"),
        }
    });
    Panel::new(Axis::categories("", names), Axis::number(unit))
        .title(format!("Difference, {} interval", c.level))
        .points("Difference of means", points.collect::<Vec<_>>())
        .level(0.0, "no difference")
}

/// The comparison as a section of a page; `of` names what was compared, where the page compares several things.
pub fn section(c: &Comparison, of: &str) -> String {
    let of = if of.is_empty() { String::new() } else { format!("{}: ", escape(&capital(of))) };
    let mut html = format!(
        "<section class=\"comparison\"><h2>Did it help? {of}{}</h2>\n<p class=\"small\">Tanks are the unit. Intervals at \
         {}. Limits of a tank are for the fish of that tank on that day.</p>\n",
        if of.is_empty() { capital(c.kind.title()) } else { c.kind.title().to_owned() },
        c.level
    );
    html += &tank_table(c);
    for m in &c.measures {
        html += &format!("<h3>{}</h3>\n", heading(m.measure));
        for k in &m.contrasts {
            html += &format!("<p><strong>{}</strong></p>\n", escape(&k.sentence));
            for line in details(k, m.measure) {
                html += &format!("<p class=\"small\">{}</p>\n", escape(&line));
            }
        }
        if let Some(t) = &m.trend {
            html += &format!("<p><strong>{}</strong></p>\n", escape(&t.sentence));
        }
        html += "<div class=\"scroll\" tabindex=\"0\" role=\"group\" aria-label=\"Table\"><table><thead><tr><th class=\"words\">Arm</th><th>Tanks</th><th>Mean of tanks</th>\
                 <th>Interval</th></tr></thead><tbody>";
        for a in &m.arms {
            let limits = a
                .interval
                .map_or_else(|| escape(a.refusal.as_deref().unwrap_or("")), |i| range(i, m.measure));
            html += &format!(
                "<tr><td class=\"words\">{}</td><td>{}</td><td>{}</td><td>{limits}</td></tr>",
                escape(&a.arm),
                a.tanks,
                value(a.mean, m.measure)
            );
        }
        html += "</tbody></table></div>\n";
        if let (Some(icc), Some(effect)) = (m.icc, m.design_effect) {
            html += &format!(
                "<p class=\"small\">Fish of one tank are alike: intraclass correlation {icc:.3}, design effect {effect:.1} \
                 (description, no test).</p>\n"
            );
        }
    }
    html += &chart(c).to_html();
    if !c.warnings.is_empty() {
        html += "\n<h3>Mind</h3>\n<ul>";
        for w in &c.warnings {
            html += &format!("<li>{}.</li>", escape(&capital(w)));
        }
        html += "</ul>";
    }
    html + "\n</section>\n"
}

/// Every tank with its limits.
fn tank_table(c: &Comparison) -> String {
    let paired = c.tanks.iter().any(|t| t.before.is_some());
    let mut html = format!(
        "<div class=\"scroll\" tabindex=\"0\" role=\"group\" aria-label=\"Table\"><table><thead><tr><th class=\"words\">Tank</th><th class=\"words\">Arm</th>{}<th \
         class=\"words\">Date</th><th>Age, dph</th><th>Called</th><th>Inflated</th><th>Interval</th><th>Length, mm</th>\
         <th>Interval</th></tr></thead><tbody>",
        if paired { "<th class=\"words\">When</th>" } else { "" }
    );
    for t in &c.tanks {
        for (when, o) in t.before.iter().map(|o| ("before", o)).chain([("after", &t.after)]) {
            let cell = |v: Option<String>| format!("<td>{}</td>", v.unwrap_or_default());
            html += &format!(
                "<tr><td class=\"words\">{}</td><td class=\"words\">{}</td>{}<td class=\"words\">{}</td>",
                escape(&t.tank),
                escape(&t.arm),
                if paired { format!("<td class=\"words\">{when}</td>") } else { String::new() },
                o.date.map_or_else(String::new, |d| d.to_string())
            );
            html += &cell(o.age_dph.map(|a| a.to_string()));
            html += &cell(Some(o.called.to_string()));
            html += &cell(o.inflation.map(|p| value(p, Measure::Inflation)));
            html += &cell(o.inflation_interval.map(|i| range(i, Measure::Inflation)));
            html += &cell(o.mean_length_mm.map(|l| format!("{l:.2}")));
            html += &cell(o.length_interval_mm.map(|i| range(i, Measure::Length)));
            html += "</tr>";
        }
    }
    html + "</tbody></table></div>\n"
}

/// The section alone on a page that needs nothing else.
pub fn page(c: &Comparison) -> String {
    format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n<meta name=\"viewport\" \
         content=\"width=device-width, initial-scale=1\">\n<title>Comparison of tanks</title>\n<style>\n{STYLE}</style>\n\
         </head>\n<body>\n<main>\n<h1>Comparison of tanks</h1>\n{}<p class=\"small\">Made by frygauge {}. Estimates from photographs and counts: decisions on \
         live fish are taken by those responsible for them, with the attending veterinarian where health or \
         welfare is concerned.</p>\n</main>\n</body>\n</html>\n",
        section(c, ""),
        env!("CARGO_PKG_VERSION")
    )
}

const STYLE: &str = "\
body { margin: 0 auto; max-width: 64rem; padding: 1rem; font: 16px/1.45 system-ui, sans-serif; color: #1a1a1a; background: #fff; }
h1 { font-size: 1.5rem; margin: 0; } h2 { font-size: 1.25rem; border-bottom: 2px solid #16405b; } h3 { margin: 1.2rem 0 .2rem; font-size: 1rem; } p { margin: .3rem 0; }
.small { color: #444; font-size: .85rem; } .scroll, .drawing { overflow-x: auto; }
table { border-collapse: collapse; font-variant-numeric: tabular-nums; } th, td { padding: .25rem .6rem; border-bottom: 1px solid #ccc; text-align: right; white-space: nowrap; }
.words { text-align: left; } figure { margin: 1rem 0; } figcaption { font-weight: 600; } .chart svg { min-width: 34rem; width: 100%; height: auto; }
@media print { .scroll, .drawing { overflow: visible; } .chart svg { min-width: 0; } tr, .chart { break-inside: avoid; } details { display: none; } }
";

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}
