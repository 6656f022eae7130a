//! Numeric algorithms with references: pure functions, no knowledge of fish or files.
//!
//! Every function takes plain numbers and returns `None` (or a [`StatsError`]) when the data cannot
//! answer: nothing here panics on data, and nothing returns NaN. `tests/reference.rs` holds each
//! method against values computed elsewhere.
//!
//! Conventions shared by all methods: an interval at confidence level 1 - α has α/2 in either tail;
//! no successes make the lower limit of a proportion exactly 0, all successes the upper exactly 1;
//! a sample of none has no estimate and no interval.

mod interval;
mod numeric;

pub mod cv;
pub mod dip;
pub mod finite_population;
pub mod linear;
pub mod misclassification;
pub mod mixture;
pub mod moments;
pub mod noncentral_t;
pub mod proportion;
pub mod quantile;
pub mod selection;

pub use interval::{Interval, Level, StatsError};
