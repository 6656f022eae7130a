//! Axes: range, ticks and the words at them.

use jiff::ToSpan;
use jiff::civil::Date;

/// An axis: what it measures and how its ticks are written.
#[derive(Debug, Clone)]
pub struct Axis {
    pub(super) label: String,
    pub(super) kind: Kind,
    low: Option<f64>,
    high: Option<f64>,
}

#[derive(Debug, Clone)]
pub(super) enum Kind {
    Number,
    Count,
    Percent,
    Categories(Vec<String>),
    Days(Date),
}

impl Axis {
    /// An axis of numbers; put the unit in the label.
    pub fn number(label: impl Into<String>) -> Self {
        Self { label: label.into(), kind: Kind::Number, low: None, high: None }
    }

    /// An axis of counts from zero: ticks stand at whole numbers only.
    pub fn counts(label: impl Into<String>) -> Self {
        Self { label: label.into(), kind: Kind::Count, low: Some(0.0), high: None }
    }

    /// An axis of fractions written as per cent, 0 to 100 % unless told otherwise.
    pub fn percent(label: impl Into<String>) -> Self {
        Self { label: label.into(), kind: Kind::Percent, low: Some(0.0), high: Some(1.0) }
    }

    /// An axis of names; a point's place is the index of its name.
    pub fn categories<S: Into<String>>(label: impl Into<String>, names: impl IntoIterator<Item = S>) -> Self {
        let names: Vec<String> = names.into_iter().map(Into::into).collect();
        let high = (names.len() as f64 - 0.5).max(0.5);
        Self { label: label.into(), kind: Kind::Categories(names), low: Some(-0.5), high: Some(high) }
    }

    /// An axis of dates; a point's place is its number of days after `first`.
    pub fn days(label: impl Into<String>, first: Date) -> Self {
        Self { label: label.into(), kind: Kind::Days(first), low: None, high: None }
    }

    /// Fixes the lower end.
    #[must_use]
    pub fn from(mut self, low: f64) -> Self {
        self.low = Some(low);
        self
    }

    /// Fixes the upper end.
    #[must_use]
    pub fn to(mut self, high: f64) -> Self {
        self.high = Some(high);
        self
    }

    /// The range shown for values from `low` to `high`: fixed ends, else widened to whole ticks.
    pub(super) fn range(&self, low: f64, high: f64) -> (f64, f64) {
        let (mut a, mut b) = (self.low.unwrap_or(low), self.high.unwrap_or(high));
        if !(a.is_finite() && b.is_finite()) {
            (a, b) = (0.0, 1.0);
        }
        if b - a <= f64::EPSILON * a.abs().max(1.0) {
            (a, b) = (a - 0.5, b + 0.5);
        }
        let step = step(b - a);
        if self.low.is_none() {
            a = (a / step).floor() * step;
        }
        if self.high.is_none() {
            b = (b / step).ceil() * step;
        }
        (a, b)
    }

    /// Places and words of the ticks in a range.
    pub(super) fn ticks(&self, low: f64, high: f64) -> Vec<(f64, String)> {
        if let Kind::Categories(names) = &self.kind {
            return names.iter().enumerate().map(|(i, n)| (i as f64, n.clone())).collect();
        }
        let mut step = step(high - low);
        if matches!(self.kind, Kind::Days(_) | Kind::Count) {
            step = step.max(1.0).ceil();
        }
        let first = (low / step - 1e-9).ceil() as i64;
        let last = (high / step + 1e-9).floor() as i64;
        (first..=last).map(|i| (i as f64 * step, self.word(i as f64 * step, step))).collect()
    }

    /// `value` as the axis writes it, to the precision of `step`.
    pub(super) fn word(&self, value: f64, step: f64) -> String {
        // Minus zero would be written with its sign.
        let value = if value == 0.0 { 0.0 } else { value };
        match &self.kind {
            Kind::Number => format!("{value:.*}", decimals(step)),
            Kind::Count => format!("{value:.0}"),
            Kind::Percent => format!("{:.*} %", decimals(step * 100.0), value * 100.0),
            Kind::Categories(names) => names.get(value.round() as usize).cloned().unwrap_or_default(),
            Kind::Days(first) => first
                .checked_add((value.round() as i64).days())
                .map_or_else(|_| String::new(), |d| d.strftime("%m-%d").to_string()),
        }
    }

    /// `value` as a table writes it: a date in full, numbers to four significant digits.
    pub(super) fn cell(&self, value: f64) -> String {
        match &self.kind {
            Kind::Days(first) => first
                .checked_add((value.round() as i64).days())
                .map_or_else(|_| String::new(), |d| d.to_string()),
            Kind::Percent => format!("{:.1} %", value * 100.0),
            Kind::Number if value == value.round() && value.abs() < 1e9 => format!("{value:.0}"),
            Kind::Number => format!("{value:.*}", decimals(value.abs() / 100.0)),
            Kind::Count | Kind::Categories(_) => self.word(value, 1.0),
        }
    }
}

/// A step of 1, 2 or 5 times a power of ten that divides `span` in four to eight.
fn step(span: f64) -> f64 {
    let raw = (span / 5.0).max(f64::MIN_POSITIVE);
    let power = 10_f64.powf(raw.log10().floor());
    match raw / power {
        r if r < 1.5 => power,
        r if r < 3.5 => 2.0 * power,
        r if r < 7.5 => 5.0 * power,
        _ => 10.0 * power,
    }
}

/// Decimals that show a step.
fn decimals(step: f64) -> usize {
    if step > 0.0 { (-(step.log10() + 1e-9).floor()).clamp(0.0, 6.0) as usize } else { 0 }
}
