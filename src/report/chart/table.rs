//! The numbers behind a chart.

use super::{Chart, escape};

/// A table of text: a header and rows of as many cells.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Table {
    /// Words above the columns.
    pub header: Vec<String>,
    /// The rows.
    pub rows: Vec<Vec<String>>,
}

impl Table {
    /// The table as HTML.
    pub fn to_html(&self) -> String {
        let cells = |tag: &str, cells: &[String]| -> String {
            cells.iter().map(|c| format!("<{tag}>{}</{tag}>", escape(c))).collect()
        };
        let head = cells("th scope=\"col\"", &self.header).replace("</th scope=\"col\">", "</th>");
        let body: String = self.rows.iter().map(|r| format!("<tr>{}</tr>", cells("td", r))).collect();
        format!("<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>")
    }
}

/// Columns that no row fills are left out.
pub(super) fn of(chart: &Chart) -> Table {
    let first = chart.panels.first();
    let x = first.map_or("", |p| p.x.label.as_str());
    let y = first.map_or("", |p| p.y.label.as_str());
    let header = ["Panel", "Series", x, y, "Lower limit", "Upper limit", "Note"];
    let mut rows: Vec<Vec<String>> = Vec::new();
    for panel in &chart.panels {
        for series in &panel.series {
            for p in &series.points {
                let limit = |v: Option<f64>| v.map_or_else(String::new, |v| panel.y.cell(v));
                rows.push(vec![
                    panel.title.clone(),
                    series.name.clone(),
                    panel.x.cell(p.x),
                    panel.y.cell(p.y),
                    limit(p.interval.map(|i| i.0)),
                    limit(p.interval.map(|i| i.1)),
                    p.label.clone(),
                ]);
            }
        }
        for rule in &panel.rules {
            let (x, y) = if rule.vertical {
                (panel.x.cell(rule.at), String::new())
            } else {
                (String::new(), panel.y.cell(rule.at))
            };
            rows.push(vec![
                panel.title.clone(),
                String::new(),
                x,
                y,
                String::new(),
                String::new(),
                rule.label.clone(),
            ]);
        }
    }
    let used: Vec<bool> = (0..header.len()).map(|i| rows.iter().any(|r| !r[i].is_empty())).collect();
    let keep = |cells: Vec<String>| -> Vec<String> {
        cells.into_iter().zip(&used).filter_map(|(c, &u)| u.then_some(c)).collect()
    };
    Table { header: keep(header.map(String::from).to_vec()), rows: rows.into_iter().map(keep).collect() }
}
