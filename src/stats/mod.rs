//! Numeric algorithms with references: pure functions, no knowledge of fish or files.
//!
//! Every function takes plain numbers and returns `None` (or a [`StatsError`]) when the data cannot
//! answer: nothing here panics on data, and nothing returns NaN. The test target `reference` holds each
//! method against values computed elsewhere.
//!
//! Conventions shared by all methods: an interval at confidence level 1 - α has α/2 in either tail;
//! no successes make the lower limit of a proportion exactly 0, all successes the upper exactly 1;
//! a sample of none has no estimate and no interval.

mod interval;
mod numeric;

// One sample.
pub mod bootstrap;
pub mod cv;
pub mod finite_population;
pub mod moments;
pub mod proportion;
pub mod quantile;
pub mod dip;
pub mod mixture;

// Two samples of independent values.
pub mod difference;
pub mod exact_test;
pub mod ks;
pub mod rank;
pub mod spread;

// Groups: fish in tanks, tanks in arms.
pub mod beta_binomial;
pub mod cluster;
pub mod permutation;
pub mod t_test;

// Curves, calls and time.
pub mod agreement;
pub mod control;
pub mod growth;
pub mod linear;
pub mod logistic;
pub mod misclassification;
pub mod selection;

// Planning.
pub mod noncentral_t;
pub mod sample_size;
pub mod simulate;

pub use interval::{Interval, Level, StatsError};
