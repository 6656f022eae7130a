//! Confidence levels, intervals and the one error of the statistics.

use serde::{Deserialize, Serialize};

use super::numeric::{normal_quantile, t_quantile};

/// Why a statistic could not be computed.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum StatsError {
    /// Too few values or groups; says what is needed.
    #[error("too few data: {0}")]
    TooFew(String),
    /// A value that is not a number, or outside its range.
    #[error("not usable: {0}")]
    NotUsable(String),
    /// The data do not determine the answer (no variation, complete separation, flat curve).
    #[error("not estimable: {0}")]
    NotEstimable(String),
}

/// A confidence level: strictly between 0 and 1, 0.95 unless asked otherwise.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(try_from = "f64", into = "f64")]
pub struct Level(f64);

impl Level {
    /// 95 %.
    pub const P95: Self = Self(0.95);
    /// 90 %.
    pub const P90: Self = Self(0.90);

    /// The level `confidence`, a fraction; `None` unless it lies strictly between 0 and 1.
    ///
    /// ```
    /// use frygauge::stats::Level;
    /// assert!(Level::new(0.9).is_some());
    /// assert!(Level::new(95.0).is_none() && Level::new(f64::NAN).is_none());
    /// ```
    pub fn new(confidence: f64) -> Option<Self> {
        (confidence > 0.0 && confidence < 1.0).then_some(Self(confidence))
    }

    /// The level as a fraction.
    pub fn get(self) -> f64 {
        self.0
    }

    /// α = 1 - level.
    pub fn alpha(self) -> f64 {
        1.0 - self.0
    }

    /// α/2, the probability in either tail.
    pub fn tail(self) -> f64 {
        0.5 * (1.0 - self.0)
    }

    /// The normal quantile at 1 - α/2 (1.96 at 95 %).
    pub fn z(self) -> f64 {
        normal_quantile(0.5 + 0.5 * self.0)
    }

    /// Student's t at 1 - α/2 with `df` > 0 degrees of freedom (not necessarily whole).
    pub fn t(self, df: f64) -> f64 {
        t_quantile(0.5 + 0.5 * self.0, df)
    }
}

impl Default for Level {
    fn default() -> Self {
        Self::P95
    }
}

impl TryFrom<f64> for Level {
    type Error = StatsError;

    fn try_from(confidence: f64) -> Result<Self, StatsError> {
        Self::new(confidence).ok_or_else(|| StatsError::NotUsable(format!("confidence level {confidence}")))
    }
}

impl From<Level> for f64 {
    fn from(level: Level) -> f64 {
        level.0
    }
}

impl std::fmt::Display for Level {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        // 99.9 must not print as 99.90000000000001.
        let percent = (self.0 * 1e6).round() / 1e4;
        write!(f, "{percent} %")
    }
}

/// Lower and upper limit, `low <= high`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Interval {
    /// Lower limit.
    pub low: f64,
    /// Upper limit.
    pub high: f64,
}

impl Interval {
    /// The interval from `low` to `high`; `None` when either is not a number or they are reversed.
    pub fn new(low: f64, high: f64) -> Option<Self> {
        (low <= high).then_some(Self { low, high })
    }

    /// `centre` minus and plus `half`.
    pub fn around(centre: f64, half: f64) -> Option<Self> {
        Self::new(centre - half, centre + half)
    }

    /// Cut to `low..=high`.
    #[must_use]
    pub fn clipped(self, low: f64, high: f64) -> Self {
        Self { low: self.low.clamp(low, high), high: self.high.clamp(low, high) }
    }

    /// Whether it holds `value`, limits included.
    pub fn contains(self, value: f64) -> bool {
        self.low <= value && value <= self.high
    }

    /// Half of its width.
    pub fn half_width(self) -> f64 {
        0.5 * (self.high - self.low)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn level_prints_as_a_person_would_write_it() {
        assert_eq!(Level::P95.to_string(), "95 %");
        assert_eq!(Level::new(0.999).unwrap().to_string(), "99.9 %");
    }

    #[test]
    fn reversed_or_nan_limits_are_no_interval() {
        assert!(Interval::new(1.0, 0.0).is_none());
        assert!(Interval::new(f64::NAN, 0.0).is_none());
    }
}
