//! A strip to features, a calibrated probability and the call: inflated, not inflated or unsure.

use crate::records::Call;

/// What the caller says about one fish.
#[derive(Debug, Clone, PartialEq)]
pub struct Verdict {
    /// Calibrated probability that the bladder holds gas.
    pub p_inflated: f64,
    /// The call at the model's thresholds.
    pub call: Call,
    /// The bladder seen, when one was: in body coordinates.
    pub bladder: Option<Ellipse>,
}

/// A bladder outline in body coordinates: fractions of total length.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ellipse {
    /// Centre along the midline, 0 at the snout, 1 at the end of the tail fin.
    pub position: f64,
    /// Centre above the midline (towards the back), as a fraction of total length.
    pub above: f64,
    /// Full length along the body.
    pub length: f64,
    /// Full height across the body.
    pub height: f64,
}
