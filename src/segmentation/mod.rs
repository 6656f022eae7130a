//! Photograph to candidate regions, each kept or refused with a reason.
//!
//! [`find`] flattens the light, decides which way fish depart from the background and returns every
//! region that departs enough to argue about. What a region is, is decided with full resolution by
//! [`crate::fish`]; here only what cannot be a fish by size or place is refused.

mod background;
mod beneath;
mod beside;
mod candidates;
mod edges;
mod glints;
mod ground;
mod haze;
mod ink;
mod lighting;
mod shadow;
mod surround;
mod wall_search;
mod walls;

pub use candidates::{Candidate, Found, Labels, WALL, box_of, find};
pub use glints::bridge;
pub use ground::{Ground, Polarity, prepare};
pub use haze::without as without_haze;

use serde::Serialize;

/// A candidate that is not a fish, or not one that can be argued about.
#[derive(Debug, Clone, Serialize)]
pub struct Refused {
    /// Outline in pixels of the photograph, x then y, not closed.
    pub outline: Vec<[f64; 2]>,
    /// Why, in words for the annotated picture: `egg`, `bubble`, `ruler tick`, `too small`, …
    pub reason: &'static str,
}
