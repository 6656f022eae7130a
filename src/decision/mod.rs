//! Advice with its reason and what would change it: grader, outlet screen, cannibalism risk, growth, number and biomass.
//!
//! Everything starts from a [`Sample`]: measured fish of one tank, date and state. [`grader::advise`] sets the
//! grader, [`screen::advise`] the outlet screen, [`cannibals::judge`] looks for fish that break away,
//! [`growth::of_tank`] and [`biomass::of_sample`] say how fast they grow and what they weigh,
//! [`plan::plan`] how many fry and tanks the next question takes. No value of a species is assumed: published relations are loaded by name
//! ([`relation`]) and never used outside their sizes.

mod error;
mod estimate;
mod sample;
mod sides;

pub mod biomass;
pub mod brief;
pub mod cannibals;
pub mod grader;
pub mod growth;
pub mod pairs;
pub mod plan;
pub mod relation;
pub mod screen;
pub mod shape;

pub use error::DecisionError;
pub use estimate::Estimate;
pub use sample::{MeasuredFish, Sample, State, check, from_rows, without_fragments};
