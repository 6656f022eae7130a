//! Why advice cannot be given, and what would help.

use crate::stats::StatsError;

/// Advice that could not be computed.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{what}")]
pub struct DecisionError {
    /// What is wrong, one sentence without a full stop.
    pub what: String,
    /// What to do.
    pub hint: String,
}

impl DecisionError {
    /// An error with its hint.
    pub fn new(what: impl Into<String>, hint: impl Into<String>) -> Self {
        Self { what: what.into(), hint: hint.into() }
    }
}

impl From<StatsError> for DecisionError {
    fn from(error: StatsError) -> Self {
        let hint = match &error {
            StatsError::TooFew(_) => "measure more fish",
            StatsError::NotUsable(_) => "correct the value",
            StatsError::NotEstimable(_) => "data that vary more are needed",
        };
        Self::new(error.to_string(), hint)
    }
}
