//! The caller's own error rate, from fish whose true state a person established.

use serde::{Deserialize, Serialize};

use crate::records::Call;
use crate::stats::misclassification::{Corrected, Rate, lang_reiczigel};
use crate::stats::proportion::Method;
use crate::stats::{Interval, Level, StatsError};

/// Reviewed calls counted by truth and call: the caller's validation set.
///
/// Only fish that were called count towards sensitivity and specificity, as only they count towards inflation;
/// unsure fish are kept apart by their truth, so that a caller which is unsure of one kind more often shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Validation {
    /// Inflated and called so.
    pub inflated_right: u64,
    /// Inflated, called not inflated.
    pub inflated_wrong: u64,
    /// Not inflated and called so.
    pub not_inflated_right: u64,
    /// Not inflated, called inflated.
    pub not_inflated_wrong: u64,
    /// Inflated, call unsure.
    pub inflated_unsure: u64,
    /// Not inflated, call unsure.
    pub not_inflated_unsure: u64,
}

impl Validation {
    /// Counts `count` fish of one truth and call.
    ///
    /// # Errors
    /// [`StatsError::NotUsable`] when the truth itself is unsure: such a fish validates nothing.
    pub fn add(&mut self, truth: Call, call: Call, count: u64) -> Result<(), StatsError> {
        let cell = match (truth, call) {
            (Call::Unsure, _) => {
                return Err(StatsError::NotUsable("a fish of unsure truth cannot validate a call".into()));
            }
            (Call::Inflated, Call::Inflated) => &mut self.inflated_right,
            (Call::Inflated, Call::NotInflated) => &mut self.inflated_wrong,
            (Call::Inflated, Call::Unsure) => &mut self.inflated_unsure,
            (Call::NotInflated, Call::NotInflated) => &mut self.not_inflated_right,
            (Call::NotInflated, Call::Inflated) => &mut self.not_inflated_wrong,
            (Call::NotInflated, Call::Unsure) => &mut self.not_inflated_unsure,
        };
        *cell = cell.saturating_add(count);
        Ok(())
    }

    /// Share of truly inflated fish, among those called, that were called inflated; `None` without any.
    pub fn sensitivity(&self) -> Option<Rate> {
        rate(self.inflated_right, self.inflated_wrong)
    }

    /// Share of truly uninflated fish, among those called, that were called so; `None` without any.
    pub fn specificity(&self) -> Option<Rate> {
        rate(self.not_inflated_right, self.not_inflated_wrong)
    }

    /// Limits of the sensitivity.
    pub fn sensitivity_interval(&self, method: Method, level: Level) -> Option<Interval> {
        method.interval(self.inflated_right, self.inflated_right + self.inflated_wrong, level)
    }

    /// Limits of the specificity.
    pub fn specificity_interval(&self, method: Method, level: Level) -> Option<Interval> {
        method.interval(self.not_inflated_right, self.not_inflated_right + self.not_inflated_wrong, level)
    }

    /// The inflated share behind `inflated` of `called` calls.
    ///
    /// # Errors
    /// [`StatsError::TooFew`] without calls or without checked fish of either kind; [`StatsError::NotEstimable`]
    /// when the caller does no better than chance.
    ///
    /// ```
    /// use frygauge::stats::Level;
    /// use frygauge::tank::Validation;
    /// let checked = Validation { inflated_right: 95, inflated_wrong: 5, not_inflated_right: 97, not_inflated_wrong: 3, ..Default::default() };
    /// let c = checked.correct(45, 50, Level::P95).unwrap();
    /// assert!((c.estimate - (0.9 + 0.97 - 1.0) / (0.95 + 0.97 - 1.0)).abs() < 1e-12);
    /// ```
    pub fn correct(&self, inflated: u64, called: u64, level: Level) -> Result<Corrected, StatsError> {
        let (Some(sensitivity), Some(specificity)) = (self.sensitivity(), self.specificity()) else {
            return Err(StatsError::TooFew("the validation set needs called fish of both kinds".into()));
        };
        if called == 0 {
            return Err(StatsError::TooFew("no fish were called".into()));
        }
        lang_reiczigel(inflated as f64 / called as f64, called as f64, sensitivity, specificity, level)
    }
}

fn rate(right: u64, wrong: u64) -> Option<Rate> {
    let n = right + wrong;
    (n > 0).then(|| Rate { value: right as f64 / n as f64, n: n as f64 })
}
