//! Records to HTML, CSV, JSON, charts and annotated pictures; templates beside it.
//!
//! Sees records and finished numbers only, never the stages that made them.

pub mod annotate;
pub mod chart;
mod page;
mod picture;
mod results;
pub mod season;

/// Style by which a table of class `stack` stands on a narrow screen as a list of each row's named cells.
pub const STACK: &str = include_str!("templates/stack.css");

pub use page::{CloseUp, Page, PhotoSection, photo_section};
pub use picture::{jpeg, strip_picture};
pub use results::{Provenance, Results, to_csv};
