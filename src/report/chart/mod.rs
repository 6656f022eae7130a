//! Charts as self-contained SVG: described for screen readers, told apart by shape and dash as well as
//! tone, with the numbers they show as a table beside them.
//!
//! ```
//! use frygauge::report::chart::{Axis, Chart, Panel, Point};
//! let svg = Chart::new("Inflation by tank", "P02 lags behind P01.")
//!     .panel(
//!         Panel::new(Axis::categories("Tank", ["P01", "P02"]), Axis::percent("Inflated"))
//!             .points("2026-05-02", [Point::new(0.0, 0.9).interval(0.8, 0.95), Point::new(1.0, 0.4).interval(0.3, 0.5)]),
//!     )
//!     .to_svg();
//! assert!(svg.contains("<title") && svg.contains("P02 lags"));
//! ```

mod axis;
mod svg;
mod table;

pub use axis::Axis;
pub use table::Table;

/// A chart: one or more panels, a title, and a description that says what there is to see.
#[derive(Debug, Clone)]
pub struct Chart {
    title: String,
    description: String,
    panels: Vec<Panel>,
    columns: usize,
}

impl Chart {
    /// A chart without panels yet. `description` is read out by screen readers: say what the chart shows.
    pub fn new(title: impl Into<String>, description: impl Into<String>) -> Self {
        Self { title: title.into(), description: description.into(), panels: Vec::new(), columns: 1 }
    }

    /// Adds a panel.
    #[must_use]
    pub fn panel(mut self, panel: Panel) -> Self {
        self.panels.push(panel);
        self
    }

    /// Sets how many panels stand side by side; one by default.
    #[must_use]
    pub fn columns(mut self, columns: usize) -> Self {
        self.columns = columns.max(1);
        self
    }

    /// The chart as an `<svg>` element.
    pub fn to_svg(&self) -> String {
        svg::draw(self)
    }

    /// The numbers the chart shows.
    pub fn table(&self) -> Table {
        table::of(self)
    }

    /// The chart as a `<figure>`: caption, drawing, and the numbers in a table that opens on demand.
    pub fn to_html(&self) -> String {
        format!(
            "<figure class=\"chart\"><figcaption>{}</figcaption><div class=\"drawing\" tabindex=\"0\" role=\"group\" aria-label=\"Chart\">{}</div>\
             <details><summary>Numbers</summary>{}</details></figure>",
            escape(&self.title),
            self.to_svg(),
            self.table().to_html()
        )
    }
}

/// One pair of axes and what is drawn on them.
#[derive(Debug, Clone)]
pub struct Panel {
    title: String,
    x: Axis,
    y: Axis,
    series: Vec<Series>,
    rules: Vec<Rule>,
}

impl Panel {
    /// An empty panel.
    pub fn new(x: Axis, y: Axis) -> Self {
        Self { title: String::new(), x, y, series: Vec::new(), rules: Vec::new() }
    }

    /// Sets the line above the panel.
    #[must_use]
    pub fn title(mut self, title: impl Into<String>) -> Self {
        self.title = title.into();
        self
    }

    /// Adds points, each with its interval where it has one. Series take marks of different shapes in turn.
    #[must_use]
    pub fn points(self, name: impl Into<String>, points: impl IntoIterator<Item = Point>) -> Self {
        self.add(name, Kind::Points, points)
    }

    /// Adds a line through points; intervals become a band about it. Lines are dashed in different ways in turn.
    #[must_use]
    pub fn line(self, name: impl Into<String>, points: impl IntoIterator<Item = Point>) -> Self {
        self.add(name, Kind::Line, points)
    }

    /// Adds bars from zero, `width` wide in units of the x axis; intervals become whiskers.
    #[must_use]
    pub fn bars(self, name: impl Into<String>, width: f64, points: impl IntoIterator<Item = Point>) -> Self {
        self.add(name, Kind::Bars { width }, points)
    }

    /// Adds a histogram of `values`: counts in bins `bin` wide, edges at multiples of `bin`, each holding
    /// its lower edge. A `bin` that is not above zero, and values that are not finite, add nothing.
    #[must_use]
    pub fn histogram(self, name: impl Into<String>, bin: f64, values: &[f64]) -> Self {
        let mut counts = std::collections::BTreeMap::<i64, u32>::new();
        if bin > 0.0 {
            for v in values.iter().filter(|v| v.is_finite()) {
                *counts.entry((v / bin).floor() as i64).or_default() += 1;
            }
        }
        let bars: Vec<Point> =
            counts.into_iter().map(|(i, n)| Point::new((i as f64 + 0.5) * bin, f64::from(n))).collect();
        self.bars(name, bin, bars)
    }

    /// Adds a vertical rule at `x`: an event, such as a sprayer moved.
    #[must_use]
    pub fn event(mut self, x: f64, label: impl Into<String>) -> Self {
        self.rules.push(Rule { at: x, vertical: true, label: label.into() });
        self
    }

    /// Adds a horizontal rule at `y`: a limit or a target.
    #[must_use]
    pub fn level(mut self, y: f64, label: impl Into<String>) -> Self {
        self.rules.push(Rule { at: y, vertical: false, label: label.into() });
        self
    }

    fn add(mut self, name: impl Into<String>, kind: Kind, points: impl IntoIterator<Item = Point>) -> Self {
        let points = points.into_iter().filter(|p| p.x.is_finite() && p.y.is_finite()).collect();
        self.series.push(Series { name: name.into(), kind, points });
        self
    }
}

/// A value with its interval and label.
#[derive(Debug, Clone, PartialEq)]
pub struct Point {
    x: f64,
    y: f64,
    interval: Option<(f64, f64)>,
    label: String,
}

impl Point {
    /// A value without an interval. On a category axis `x` is the index of the category.
    pub fn new(x: f64, y: f64) -> Self {
        Self { x, y, interval: None, label: String::new() }
    }

    /// Sets the interval.
    #[must_use]
    pub fn interval(mut self, low: f64, high: f64) -> Self {
        self.interval = (low.is_finite() && high.is_finite()).then_some((low, high));
        self
    }

    /// The same at another place of the x axis.
    #[must_use]
    pub fn at(mut self, x: f64) -> Self {
        self.x = x;
        self
    }

    /// The same moved along the x axis, so that marks of one category stand side by side.
    #[must_use]
    pub fn shifted(mut self, by: f64) -> Self {
        self.x += by;
        self
    }

    /// The value.
    pub fn value(&self) -> f64 {
        self.y
    }

    /// Sets a word written beside the mark.
    #[must_use]
    pub fn label(mut self, label: impl Into<String>) -> Self {
        self.label = label.into();
        self
    }
}

#[derive(Debug, Clone)]
struct Series {
    name: String,
    kind: Kind,
    points: Vec<Point>,
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Kind {
    Points,
    Line,
    Bars { width: f64 },
}

#[derive(Debug, Clone)]
struct Rule {
    at: f64,
    vertical: bool,
    label: String,
}

/// `text` with the characters that HTML and SVG give a meaning written as references. Characters XML 1.0
/// does not allow are dropped: one would make a browser refuse the whole drawing.
pub(crate) fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            '\t' | '\n' | '\r' => out.push(' '),
            c if c.is_control() || matches!(c, '\u{FFFE}' | '\u{FFFF}') => {}
            c => out.push(c),
        }
    }
    out
}

#[cfg(test)]
mod tests;
