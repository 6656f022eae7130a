//! The decision section of the morning report: one table, and what must be said beside it.

use super::rows::word;
use crate::decision::Estimate;
use crate::decision::brief::TankBrief;
use crate::decision::cannibals::{NOT_COVERED, Verdict};
use crate::report::chart::escape;
use std::fmt::Write as _;

/// The section as HTML, without a heading of the page; empty when there are no tanks.
pub fn section(briefs: &[TankBrief]) -> String {
    if briefs.is_empty() {
        return String::new();
    }
    let mut out = String::from(
        "<section class=\"decisions\"><h2>Size: growth, spread, screen</h2><table><thead><tr>\
         <th scope=\"col\">Tank</th><th scope=\"col\">Mean length (mm)</th><th scope=\"col\">Growth (%/day)</th>\
         <th scope=\"col\">CV of length</th><th scope=\"col\">Breaking away</th><th scope=\"col\">Coarsest safe mesh</th>\
         <th scope=\"col\">Next mesh</th><th scope=\"col\">Biomass (g)</th></tr></thead><tbody>",
    );
    for b in briefs {
        let cells = [
            b.tank.clone().unwrap_or_else(|| "all fish".into()),
            b.growth
                .as_ref()
                .and_then(|g| g.points.last())
                .map_or_else(none, |p| format!("{:.1}", p.mean_length_mm)),
            b.growth.as_ref().map_or_else(none, |g| limits(&g.specific_pct_per_day, 1.0, 1)),
            b.risk
                .as_ref()
                .and_then(|r| r.spread.last()?.cv)
                .map_or_else(none, |cv| format!("{} %", limits(&cv, 100.0, 0))),
            b.risk.as_ref().map_or_else(none, |r| breaking(r.second_mode.verdict, r.second_mode.upper_share)),
            b.screen.as_ref().map_or_else(none, |s| {
                s.coarsest_safe.map_or_else(|| "none".into(), |i| format!("{} mm", s.meshes[i].opening_mm))
            }),
            b.screen.as_ref().map_or_else(none, |s| {
                let next = s.coarsest_safe.map_or(0, |i| i + 1);
                s.meshes.get(next).map_or_else(none, |m| {
                    let when = m.first_safe.map_or_else(
                        || m.verdict.name().to_owned(),
                        |f| match f.cautious {
                            Some(late) => format!("{} to {late}", f.expected),
                            None => format!("{} or later", f.expected),
                        },
                    );
                    format!("{} mm: {when}", m.opening_mm)
                })
            }),
            b.biomass.as_ref().and_then(|w| w.biomass_g).map_or_else(none, |m| limits(&m, 1.0, 0)),
        ];
        out.push_str("<tr>");
        for (i, cell) in cells.iter().enumerate() {
            let (open, close) = if i == 0 { ("<th scope=\"row\">", "</th>") } else { ("<td>", "</td>") };
            let _ = write!(out, "{open}{}{close}", escape(cell));
        }
        out.push_str("</tr>");
    }
    let _ = write!(
        out,
        "</tbody></table><p>In brackets: limits. Breaking away: a second group of longer fish; {}.</p>",
        escape(NOT_COVERED)
    );
    let unsaid: Vec<String> = briefs
        .iter()
        .flat_map(|b| {
            let tank = b.tank.clone().unwrap_or_else(|| "all fish".into());
            b.not_said.iter().map(move |n| format!("<li>{}</li>", escape(&format!("{tank}: {n}"))))
        })
        .collect();
    if !unsaid.is_empty() {
        let _ = write!(
            out,
            "<details><summary>What could not be said</summary><ul>{}</ul></details>",
            unsaid.concat()
        );
    }
    out.push_str("</section>");
    out
}

fn none() -> String {
    "–".to_owned()
}

fn limits(e: &Estimate, factor: f64, digits: usize) -> String {
    let v = |x: f64| format!("{:.digits$}", factor * x);
    if e.low.is_finite() && e.high.is_finite() {
        format!("{} ({} to {})", v(e.value), v(e.low), v(e.high))
    } else {
        v(e.value)
    }
}

fn breaking(verdict: Verdict, upper: Option<Estimate>) -> String {
    match (verdict, upper) {
        (Verdict::Found, Some(share)) => format!("yes: {} % of fish", limits(&share, 100.0, 0)),
        (Verdict::CannotTell { needed }, _) => format!("cannot tell: {needed} fish would"),
        (Verdict::NotSeen { could_miss }, _) => {
            format!("none seen (up to {:.0} % could be missed)", 100.0 * could_miss)
        }
        (v, None) => word(v).to_owned(),
    }
}

/// The section alone on a page that needs nothing else.
pub fn page(briefs: &[TankBrief]) -> String {
    format!(
        "<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"><meta name=\"viewport\" \
         content=\"width=device-width, initial-scale=1\"><title>Growth</title><style>body{{font:16px/1.5 \
         system-ui,sans-serif;margin:1rem auto;max-width:70rem;padding:0 1rem;color:#1a1a1a}}.decisions{{overflow-x:auto}}\
         table{{border-collapse:collapse}}th,td{{padding:.3rem .6rem;border-bottom:1px solid #ccc;text-align:left}}\
         </style></head><body>{}</body></html>\n",
        section(briefs)
    )
}
