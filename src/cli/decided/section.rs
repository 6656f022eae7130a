//! The decision part of a page: what the fish's sizes say of each tank, and what must be said beside it.

use super::rows::word;
use crate::decision::Estimate;
use crate::decision::brief::{GrowthComparison, TankBrief};
use crate::decision::cannibals::{NOT_COVERED, SecondMode, Verdict};
use crate::decision::screen::{ScreenAdvice, Verdict as ScreenVerdict};
use crate::report::{STACK, chart::escape};
use std::collections::BTreeMap;
use std::fmt::Write as _;

/// A column of the table: its heading, and a tank's cell.
type Column = (&'static str, fn(&TankBrief) -> Option<String>);

const COLUMNS: [Column; 7] = [
    ("Mean length (mm)", |b| Some(limits(b.mean_length_mm.as_ref()?, 1.0, 1))),
    ("Growth (% a day)", |b| Some(limits(&b.growth.as_ref()?.specific_pct_per_day, 1.0, 1))),
    ("CV of length (%)", |b| Some(limits(&b.risk.as_ref()?.spread.last()?.cv?, 100.0, 0))),
    ("Fish breaking away", |b| Some(breaking(&b.risk.as_ref()?.second_mode))),
    ("Coarsest safe mesh", |b| Some(safe_mesh(b.screen.as_ref()?))),
    ("Next mesh", |b| next_mesh(b.screen.as_ref()?)),
    ("Weight of the tank (g)", |b| Some(limits(&b.biomass.as_ref()?.biomass_g?, 1.0, 0))),
];

/// The section as HTML, with its own heading; empty when there are no tanks. A column that no tank fills is left out.
pub fn section(briefs: &[TankBrief], compared: &[GrowthComparison]) -> String {
    if briefs.is_empty() {
        return String::new();
    }
    let shown: Vec<Column> =
        COLUMNS.into_iter().filter(|(_, cell)| briefs.iter().any(|b| cell(b).is_some())).collect();
    let mut out = String::from(
        "<section class=\"decisions\"><h2 id=\"size\">What the sizes say</h2>\n<div class=\"scroll\" tabindex=\"0\" role=\"group\" aria-label=\"Table\"><table class=\"stack\" role=\"table\"><thead role=\"rowgroup\"><tr role=\"row\">\
         <th scope=\"col\" role=\"columnheader\" class=\"words\">Tank</th>",
    );
    for (name, _) in &shown {
        let _ = write!(out, "<th scope=\"col\" role=\"columnheader\" class=\"words\">{name}</th>");
    }
    out.push_str("</tr></thead><tbody role=\"rowgroup\">");
    for b in briefs {
        let tank = escape(tank(b));
        let _ =
            write!(out, "<tr role=\"row\"><th scope=\"row\" role=\"rowheader\" class=\"words\">{tank}</th>");
        for (name, cell) in &shown {
            let text = cell(b).unwrap_or_else(|| "–".to_owned());
            let text = escape(&text);
            let _ = write!(out, "<td role=\"cell\" class=\"words\" data-name=\"{name}\">{text}</td>");
        }
        out.push_str("</tr>");
    }
    let _ = write!(
        out,
        "</tbody></table></div>\n<p class=\"small\">Newest sample of each tank, limits in brackets. Breaking away: a second \
         group of longer fish; {}. What each rests on: <code>frygauge grade</code>, <code>screen</code> and \
         <code>growth</code>.</p>",
        escape(NOT_COVERED)
    );
    for c in compared {
        let _ = write!(out, "<p>{}</p>", escape(&comparison(c)));
    }
    let unsaid = unsaid(briefs);
    if !unsaid.is_empty() {
        out.push_str("<details><summary>What could not be said</summary><ul>");
        for (reason, tanks) in unsaid {
            let _ = write!(out, "<li>{}: {}</li>", escape(&tanks.join(", ")), escape(&reason));
        }
        out.push_str("</ul></details>");
    }
    out.push_str("</section>\n");
    out
}

/// Growth of two treatments, in a sentence.
pub fn comparison(c: &GrowthComparison) -> String {
    let lead = format!("{} against {} ({} and {} tanks): ", c.first, c.second, c.tanks.0, c.tanks.1);
    let said = match &c.difference {
        Some(t) => format!(
            "growth differs by {:+.2} % a day ({:+.2} to {:+.2}; Welch's t on tanks, {:.1} df, p {:.3})",
            t.difference, t.interval.low, t.interval.high, t.df, t.p
        ),
        None => "no limits".into(),
    };
    let note = if c.note.is_empty() { String::new() } else { format!("; {}", c.note) };
    format!("{lead}{said}{note}")
}

/// Each reason once, with the tanks it holds for.
fn unsaid(briefs: &[TankBrief]) -> BTreeMap<String, Vec<String>> {
    let mut reasons: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for b in briefs {
        for reason in &b.not_said {
            // Reasons name their sample; it is not said twice.
            let reason =
                reason.replace(&format!("{}: ", b.sample), "").replace(&format!("{}: ", tank(b)), "");
            reasons.entry(reason).or_default().push(tank(b).to_owned());
        }
    }
    reasons
}

fn tank(b: &TankBrief) -> &str {
    b.tank.as_deref().unwrap_or("all fish")
}

/// The coarsest safe mesh in words.
pub fn safe_mesh(s: &ScreenAdvice) -> String {
    s.coarsest_safe.map_or_else(|| "none".into(), |i| format!("{} mm", s.meshes[i].opening_mm))
}

/// The mesh after it, and when; `None` when the coarsest owned is safe.
pub fn next_mesh(s: &ScreenAdvice) -> Option<String> {
    let m = s.meshes.get(s.coarsest_safe.map_or(0, |i| i + 1))?;
    let when = m.first_safe.map_or_else(
        || match m.verdict {
            ScreenVerdict::CannotTell => format!("{}, {} fish would", m.verdict.name(), m.needed),
            v => v.name().to_owned(),
        },
        |f| match f.cautious {
            Some(late) if late != f.expected => format!("{} to {late}", f.expected),
            Some(late) => late.to_string(),
            None => format!("{} or later", f.expected),
        },
    );
    Some(format!("{} mm: {when}", m.opening_mm))
}

fn limits(e: &Estimate, factor: f64, digits: usize) -> String {
    let v = |x: f64| format!("{:.digits$}", factor * x);
    if e.low == e.high {
        v(e.value)
    } else if e.low.is_finite() && e.high.is_finite() {
        format!("{} ({} to {})", v(e.value), v(e.low), v(e.high))
    } else {
        format!("{} (no limits)", v(e.value))
    }
}

/// What may be said of a second group, in a few words.
pub fn breaking(mode: &SecondMode) -> String {
    match (mode.verdict, mode.upper_share) {
        (Verdict::Found, Some(share)) => format!("yes: {} % of fish", limits(&share, 100.0, 0)),
        (Verdict::CannotTell { needed }, _) => format!("cannot tell: {needed} fish would"),
        (Verdict::NotSeen { could_miss }, _) => {
            let nearer = mode
                .stands_apart_from
                .map_or_else(String::new, |r| format!(", or any below {r:.1} times the rest,"));
            format!("none seen (up to {:.0} %{nearer} could be missed)", 100.0 * could_miss)
        }
        (v, None) => word(v).to_owned(),
    }
}

/// The section alone on a page that needs nothing else.
pub fn page(briefs: &[TankBrief], compared: &[GrowthComparison]) -> String {
    format!(
        "<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"><meta name=\"viewport\" \
         content=\"width=device-width, initial-scale=1\"><title>Growth</title><style>{STYLE}{STACK}</style></head>\
         <body><main><h1>Growth and size</h1>{}<p class=\"small\">Made by frygauge {}. Handling and grading live fish fall \
         under your welfare rules and licence; where health is concerned, ask the attending veterinarian.</p></main></body></html>\n",
        section(briefs, compared),
        env!("CARGO_PKG_VERSION")
    )
}

const STYLE: &str = "\
body{font:16px/1.5 system-ui,sans-serif;margin:0 auto;max-width:70rem;padding:1rem;color:#1a1a1a;background:#fff}\
h1{font-size:1.5rem;margin:0}h2{font-size:1.2rem;border-bottom:2px solid #16405b}.scroll{overflow-x:auto}\
.small{color:#444;font-size:.88rem}table{border-collapse:collapse;font-variant-numeric:tabular-nums}\
.decisions td{min-width:6rem}th,td{padding:.3rem .6rem;border-bottom:1px solid #ccc;text-align:left;vertical-align:top}\
@media print{body{font-size:10pt;padding:0}.scroll{overflow:visible}}";
