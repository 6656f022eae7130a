//! Photograph to candidate regions, each kept or refused with a reason.

use serde::Serialize;

/// A candidate that is not a fish, or not one that can be argued about.
#[derive(Debug, Clone, Serialize)]
pub struct Refused {
    /// Outline in pixels of the photograph, x then y, not closed.
    pub outline: Vec<[f64; 2]>,
    /// Why, in words for the annotated picture: `egg`, `bubble`, `ruler tick`, `too small`, …
    pub reason: &'static str,
}
