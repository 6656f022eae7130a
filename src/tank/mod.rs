//! Many fish to a tank's proportions, lengths and intervals; comparisons of tanks.
//!
//! [`summarise`] turns the fish of a run into one [`TankRow`](crate::records::TankRow) a tank and date. Its
//! intervals are for the fish in that tank on that day, taken as a random dip; they say nothing of a treatment,
//! for which tanks are the unit.

pub mod compare;
mod summary;
mod validation;

pub use summary::{SampledPhoto, SummaryOptions, summarise};
pub use validation::Validation;
