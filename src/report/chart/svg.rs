//! Drawing a chart: plain SVG 1.1, no script, no font of its own, no colour that carries meaning alone.

use super::axis::Kind as AxisKind;
use super::{Chart, Kind, Panel, Point, Series, escape};
use std::fmt::Write as _;

const WIDTH: f64 = 720.0;
const FONT: f64 = 13.0;
const WIDEST_BAR: f64 = 64.0;
/// Mean width of a letter of a sans-serif face, as a share of its size.
const LETTER: f64 = 0.56;

/// Inks of different lightness, so that they stay apart in grey: dark blue, orange, grey-green, red-brown.
const INKS: [&str; 4] = ["#16405b", "#c8741a", "#5f7f6a", "#7a1f3d"];
const DASHES: [&str; 4] = ["", "7 4", "2 3", "10 3 2 3"];

struct Frame {
    left: f64,
    top: f64,
    width: f64,
    height: f64,
    x: (f64, f64),
    y: (f64, f64),
}

impl Frame {
    fn px(&self, x: f64) -> f64 {
        self.left + (x - self.x.0) / (self.x.1 - self.x.0) * self.width
    }
    fn py(&self, y: f64) -> f64 {
        let y = y.clamp(self.y.0.min(self.y.1), self.y.1.max(self.y.0));
        self.top + self.height - (y - self.y.0) / (self.y.1 - self.y.0) * self.height
    }
}

pub(super) fn draw(chart: &Chart) -> String {
    let columns = chart.columns.min(chart.panels.len().max(1));
    let cell = WIDTH / columns as f64;
    let height = if columns > 1 { 220.0 } else { 280.0 };
    let rows = chart.panels.len().div_ceil(columns);
    let mut out = String::new();
    // The identifiers tie title and description to the drawing; they must differ between drawings of a page.
    let id = fnv(&format!("{}{}{}", chart.title, chart.description, chart.panels.len()));
    let _ = write!(
        out,
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDTH} {}\" role=\"img\" aria-labelledby=\"t{id} d{id}\" \
         font-family=\"system-ui, sans-serif\" font-size=\"{FONT}\" fill=\"#1a1a1a\">\
         <title id=\"t{id}\">{}</title><desc id=\"d{id}\">{}</desc><rect width=\"100%\" height=\"100%\" fill=\"#fff\"/>",
        rows as f64 * height,
        escape(&chart.title),
        escape(&chart.description),
    );
    for (i, panel) in chart.panels.iter().enumerate() {
        let at = ((i % columns) as f64 * cell, (i / columns) as f64 * height);
        panel_svg(&mut out, panel, at, (cell, height));
    }
    out.push_str("</svg>");
    out
}

fn panel_svg(out: &mut String, panel: &Panel, (left, top): (f64, f64), (width, height): (f64, f64)) {
    let frame = frame(panel, (left, top), (width, height));
    let named: Vec<(usize, &Series)> = panel
        .series
        .iter()
        .enumerate()
        .filter(|(_, s)| !s.name.is_empty() && panel.series.len() > 1)
        .collect();
    if !panel.title.is_empty() {
        text(out, frame.left, top + 18.0, "start", "font-weight=\"600\"", &panel.title);
    }
    axes(out, panel, &frame, (top, height));
    for rule in &panel.rules {
        let (x1, y1, x2, y2) = if rule.vertical {
            (frame.px(rule.at), frame.top, frame.px(rule.at), frame.top + frame.height)
        } else {
            (frame.left, frame.py(rule.at), frame.left + frame.width, frame.py(rule.at))
        };
        line(out, (x1, y1), (x2, y2), "stroke=\"#555\" stroke-dasharray=\"4 3\"");
        if rule.vertical {
            let right = x1 > frame.left + 0.7 * frame.width;
            let (dx, anchor) = if right { (-4.0, "end") } else { (4.0, "start") };
            text(out, x1 + dx, frame.top + 12.0, anchor, "font-size=\"11\"", &rule.label);
        } else {
            text(out, x2 - 2.0, y1 - 4.0, "end", "font-size=\"11\"", &rule.label);
        }
    }
    for (i, series) in panel.series.iter().enumerate() {
        series_svg(out, series, i, &frame);
    }
    let mut x = frame.left + frame.width;
    for &(i, series) in named.iter().rev() {
        x -= series.name.chars().count() as f64 * FONT * LETTER;
        text(out, x, top + 18.0, "start", "", &series.name);
        x -= 14.0;
        match series.kind {
            Kind::Points => mark(out, x, top + 14.0, i),
            Kind::Line => line(out, (x - 10.0, top + 14.0), (x + 8.0, top + 14.0), &stroke(i)),
            Kind::Bars { .. } => {
                let _ = write!(
                    out,
                    "<rect x=\"{:.1}\" y=\"{:.1}\" width=\"10\" height=\"10\" {}/>",
                    x - 5.0,
                    top + 9.0,
                    bar_paint(i)
                );
            }
        }
        x -= 22.0;
    }
}

fn frame(panel: &Panel, (left, top): (f64, f64), (width, height): (f64, f64)) -> Frame {
    let mut x = (f64::INFINITY, f64::NEG_INFINITY);
    let mut y = x;
    let grow = |range: &mut (f64, f64), v: f64| *range = (range.0.min(v), range.1.max(v));
    for series in &panel.series {
        for p in &series.points {
            let half = if let Kind::Bars { width } = series.kind { width / 2.0 } else { 0.0 };
            grow(&mut x, p.x - half);
            grow(&mut x, p.x + half);
            grow(&mut y, p.y);
            if let Some((low, high)) = p.interval {
                grow(&mut y, low);
                grow(&mut y, high);
            }
            if half > 0.0 {
                grow(&mut y, 0.0);
            }
        }
    }
    for rule in &panel.rules {
        grow(if rule.vertical { &mut x } else { &mut y }, rule.at);
    }
    let (x, y) = (panel.x.range(x.0, x.1), panel.y.range(y.0, y.1));
    let widest = panel.y.ticks(y.0, y.1).iter().map(|(_, w)| w.chars().count()).max().unwrap_or(0);
    let gutter = widest as f64 * FONT * LETTER + 34.0;
    let above = 30.0;
    let below = if slanted(panel, width - gutter - 14.0) { 74.0 } else { 46.0 };
    Frame {
        left: left + gutter,
        top: top + above,
        width: width - gutter - 14.0,
        height: height - above - below,
        x,
        y,
    }
}

/// Whether category names are too long to stand side by side.
fn slanted(panel: &Panel, width: f64) -> bool {
    let AxisKind::Categories(names) = &panel.x.kind else { return false };
    let longest = names.iter().map(|n| n.chars().count()).max().unwrap_or(0) as f64;
    longest * FONT * LETTER + 6.0 > width / names.len().max(1) as f64
}

fn axes(out: &mut String, panel: &Panel, frame: &Frame, (top, height): (f64, f64)) {
    for (v, word) in panel.y.ticks(frame.y.0, frame.y.1) {
        let y = frame.py(v);
        line(out, (frame.left, y), (frame.left + frame.width, y), "stroke=\"#ddd\"");
        text(out, frame.left - 6.0, y + 4.5, "end", "", &word);
    }
    let slanted = slanted(panel, frame.width);
    let base = frame.top + frame.height;
    let mut free = f64::NEG_INFINITY;
    for (v, word) in panel.x.ticks(frame.x.0, frame.x.1) {
        let x = frame.px(v);
        line(out, (x, base), (x, base + 4.0), "stroke=\"#1a1a1a\"");
        if slanted {
            let word: String =
                if word.chars().count() > 14 { word.chars().take(13).chain(['…']).collect() } else { word };
            let turn = format!("font-size=\"11\" transform=\"rotate(-35 {x:.1} {:.1})\"", base + 14.0);
            text(out, x, base + 14.0, "end", &turn, &word);
            continue;
        }
        // A word that would touch the one before is left out; its tick stays.
        let half = word.chars().count() as f64 * FONT * LETTER / 2.0;
        // The last word may not run out of the panel.
        let x = x.min(frame.left + frame.width + 12.0 - half);
        if x - half > free {
            text(out, x, base + 18.0, "middle", "", &word);
            free = x + half + 4.0;
        }
    }
    line(out, (frame.left, base), (frame.left + frame.width, base), "stroke=\"#1a1a1a\"");
    text(out, frame.left + frame.width / 2.0, top + height - 8.0, "middle", "", &panel.x.label);
    // Left of the widest tick, as far as the gutter was made for it.
    let widest =
        panel.y.ticks(frame.y.0, frame.y.1).iter().map(|(_, w)| w.chars().count()).max().unwrap_or(0);
    let (x, y) = (frame.left - widest as f64 * FONT * LETTER - 18.0, frame.top + frame.height / 2.0);
    text(out, x, y, "middle", &format!("transform=\"rotate(-90 {x:.1} {y:.1})\""), &panel.y.label);
}

fn series_svg(out: &mut String, series: &Series, i: usize, frame: &Frame) {
    let ink = INKS[i % INKS.len()];
    match series.kind {
        Kind::Points => {
            for p in &series.points {
                whisker(out, p, frame, ink);
                mark(out, frame.px(p.x), frame.py(p.y), i);
            }
        }
        Kind::Line => {
            let path = |f: &dyn Fn(&Point) -> f64, points: &mut dyn Iterator<Item = &Point>| -> String {
                points.map(|p| format!("{:.1},{:.1} ", frame.px(p.x), frame.py(f(p)))).collect()
            };
            let banded: Vec<&Point> = series.points.iter().filter(|p| p.interval.is_some()).collect();
            if banded.len() > 1 {
                let high = path(&|p| p.interval.map_or(p.y, |i| i.1), &mut banded.iter().copied());
                let low = path(&|p| p.interval.map_or(p.y, |i| i.0), &mut banded.iter().rev().copied());
                let _ = write!(out, "<polygon points=\"{high}{low}\" fill=\"{ink}\" fill-opacity=\"0.16\"/>");
            }
            let points = path(&|p| p.y, &mut series.points.iter());
            let _ = write!(out, "<polyline points=\"{points}\" fill=\"none\" {}/>", stroke(i));
        }
        Kind::Bars { width } => {
            for p in &series.points {
                // A lone bar as wide as its panel would look like an area.
                let half = (frame.px(p.x + width / 2.0) - frame.px(p.x)).min(WIDEST_BAR / 2.0) - 0.5;
                let (x1, x2) = (frame.px(p.x) - half, frame.px(p.x) + half);
                let (zero, y) = (frame.py(0.0), frame.py(p.y));
                let _ = write!(
                    out,
                    "<rect x=\"{x1:.1}\" y=\"{:.1}\" width=\"{:.1}\" height=\"{:.1}\" {}/>",
                    y.min(zero),
                    (x2 - x1).max(0.5),
                    (zero - y).abs(),
                    bar_paint(i)
                );
                whisker(out, p, frame, "#1a1a1a");
            }
        }
    }
    for p in series.points.iter().filter(|p| !p.label.is_empty()) {
        let x = frame.px(p.x);
        let (dx, anchor) = if x > frame.left + 0.85 * frame.width { (-8.0, "end") } else { (8.0, "start") };
        text(out, x + dx, frame.py(p.y) + 4.0, anchor, "font-size=\"11\"", &p.label);
    }
}

fn whisker(out: &mut String, p: &Point, frame: &Frame, ink: &str) {
    let Some((low, high)) = p.interval else { return };
    let (x, low, high) = (frame.px(p.x), frame.py(low), frame.py(high));
    let paint = format!("stroke=\"{ink}\" stroke-width=\"1.5\"");
    line(out, (x, low), (x, high), &paint);
    for y in [low, high] {
        line(out, (x - 4.0, y), (x + 4.0, y), &paint);
    }
}

/// Marks differ in shape, and every second one is hollow.
fn mark(out: &mut String, x: f64, y: f64, i: usize) {
    let ink = INKS[i % INKS.len()];
    let paint = format!(
        "fill=\"{}\" stroke=\"{ink}\" stroke-width=\"1.8\"",
        if i.is_multiple_of(2) { ink } else { "#fff" }
    );
    let _ = match i % 4 {
        0 => write!(out, "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"4.2\" {paint}/>"),
        1 => {
            write!(out, "<rect x=\"{:.1}\" y=\"{:.1}\" width=\"8\" height=\"8\" {paint}/>", x - 4.0, y - 4.0)
        }
        2 => write!(
            out,
            "<polygon points=\"{x:.1},{:.1} {:.1},{:.1} {:.1},{:.1}\" {paint}/>",
            y - 5.5,
            x + 5.0,
            y + 4.0,
            x - 5.0,
            y + 4.0
        ),
        _ => write!(
            out,
            "<polygon points=\"{x:.1},{:.1} {:.1},{y:.1} {x:.1},{:.1} {:.1},{y:.1}\" {paint}/>",
            y - 5.5,
            x + 5.5,
            y + 5.5,
            x - 5.5
        ),
    };
}

fn stroke(i: usize) -> String {
    let (ink, dash) = (INKS[i % INKS.len()], DASHES[i % DASHES.len()]);
    format!("stroke=\"{ink}\" stroke-width=\"2\" stroke-dasharray=\"{dash}\"")
}

fn bar_paint(i: usize) -> String {
    let ink = INKS[i % INKS.len()];
    // Every second series is hollow, so that overlaid histograms stay apart.
    let fill = if i.is_multiple_of(2) { "0.55" } else { "0" };
    format!("fill=\"{ink}\" fill-opacity=\"{fill}\" stroke=\"{ink}\" stroke-width=\"1.2\"")
}

fn line(out: &mut String, (x1, y1): (f64, f64), (x2, y2): (f64, f64), paint: &str) {
    let _ = write!(out, "<line x1=\"{x1:.1}\" y1=\"{y1:.1}\" x2=\"{x2:.1}\" y2=\"{y2:.1}\" {paint}/>");
}

fn text(out: &mut String, x: f64, y: f64, anchor: &str, paint: &str, words: &str) {
    if !words.is_empty() {
        let words = escape(words);
        let _ =
            write!(out, "<text x=\"{x:.1}\" y=\"{y:.1}\" text-anchor=\"{anchor}\" {paint}>{words}</text>");
    }
}

/// A short name for `text`: FNV-1a, 32 bits, in hexadecimal.
fn fnv(text: &str) -> String {
    let hash = text.bytes().fold(0x811c_9dc5_u32, |h, b| (h ^ u32::from(b)).wrapping_mul(0x0100_0193));
    format!("{hash:08x}")
}
