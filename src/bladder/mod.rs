//! A strip to features, a calibrated probability and the call: inflated, not inflated or unsure.
//!
//! [`call`] is the entry. [`plane`] gives what is looked at, [`ellipse`] finds closed outlines in body
//! coordinates, [`features`] turns them into numbers, [`conv`] reads the picture itself, and [`model`]
//! weighs both into a probability. [`net`] and [`learn`] are how a model is fitted.

mod error;
mod layers;

pub mod conv;
pub mod ellipse;
pub mod features;
pub mod learn;
pub mod model;
pub mod net;
pub mod plane;

pub use error::ModelError;
pub use model::Model;

use crate::fish::{Fish, Strip};
use crate::records::{Call, Lighting, View};
use plane::{Look, Turn};

/// What is known about a fish besides its strip.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Context {
    /// How the photograph was lit.
    pub lighting: Lighting,
    /// From where the fish is seen.
    pub view: View,
    /// Probability that the strip's left end is the head.
    pub p_head: f64,
    /// Probability that the strip's upper side is the back; one half where sides are alike.
    pub p_back: f64,
    /// Photograph pixels to one strip pixel, as in the strip.
    pub pixels_per_strip_pixel: f32,
}

impl Context {
    /// What is known about a measured fish, of which `strip` was straightened, in a photograph lit this way.
    pub fn of(fish: &Fish, strip: &Strip, lighting: Lighting) -> Self {
        Self {
            lighting,
            view: fish.view,
            p_head: fish.p_head,
            p_back: if fish.view == View::Top { 0.5 } else { 1.0 },
            pixels_per_strip_pixel: strip.pixels_per_strip_pixel.max(1e-3),
        }
    }
}

/// What the caller says about one fish.
#[derive(Debug, Clone, PartialEq)]
pub struct Verdict {
    /// Calibrated probability that the bladder holds gas.
    pub p_inflated: f64,
    /// The call at the model's thresholds.
    pub call: Call,
    /// The bladder seen, when the call is inflated: in body coordinates.
    pub bladder: Option<Ellipse>,
    /// Whether the size of the bladder seen goes with the call.
    pub size: Size,
}

/// The size of the bladder seen, against published figures.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Size {
    /// No bladder was called, so there is no size to judge.
    None,
    /// As expected.
    Plausible,
    /// No longer than a failed bladder: under 4 % of total length, the middle of the 3 to 5 % that a failed
    /// bladder never exceeds in sea bass and sea bream (Chatain 1986).
    AsFailed,
    /// Longer than a fifth of the fish, where over-inflation starts in a larva (from memory). Fish of 40 to
    /// 50 mm have 20 to 30 % (Chatain 1986), beyond what this program scores.
    OverInflated,
}

impl Size {
    /// Longest failed bladder, fraction of total length.
    const FAILED: f64 = 0.04;
    /// Longest bladder of a larva that is not over-inflated, fraction of total length.
    const OVER: f64 = 0.20;

    fn of(bladder: Option<&Ellipse>) -> Self {
        match bladder {
            None => Self::None,
            Some(e) if e.length < Self::FAILED => Self::AsFailed,
            Some(e) if e.length > Self::OVER => Self::OverInflated,
            Some(_) => Self::Plausible,
        }
    }
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

/// The other way round is weighed in when its probability is at least this.
const DOUBT: f64 = 0.1;

/// Calls one fish.
///
/// Where it is not certain which end is the head or which side the back, the strip is judged both ways and
/// the probabilities are weighed by how likely each way is.
pub fn call(strip: &Strip, context: &Context, model: &Model) -> Verdict {
    let ways = |p: f64| {
        if p >= 1.0 - DOUBT {
            vec![(false, 1.0)]
        } else if p <= DOUBT {
            vec![(true, 1.0)]
        } else {
            vec![(false, p), (true, 1.0 - p)]
        }
    };
    // From above both sides are alike: there is no other way to weigh in.
    let sides = if context.p_back == 0.5 { vec![(false, 1.0)] } else { ways(context.p_back) };
    let mut p_inflated = 0.0;
    let mut best: Option<(f64, Ellipse)> = None;
    for (ends, p_ends) in ways(context.p_head) {
        for &(turned, p_sides) in &sides {
            let look = Look::new(strip, Turn { ends, sides: turned }, context.lighting == Lighting::Dark);
            let seen = features::describe(&look, context);
            let picture = (!model.conv.is_empty()).then(|| conv::input(&look, context));
            let p = model.probability(model.logits(&seen.values, picture.as_ref()));
            let weight = p_ends * p_sides;
            p_inflated += weight * p;
            if best.as_ref().is_none_or(|(w, _)| weight * p > *w) {
                // In coordinates of the strip as given.
                let mut e = ellipse(&look, &seen.oval);
                if ends {
                    e.position = 1.0 - e.position;
                }
                if turned {
                    e.above = -e.above;
                }
                best = Some((weight * p, e));
            }
        }
    }
    let p_inflated = p_inflated.clamp(0.0, 1.0);
    let call = model.call_at(p_inflated);
    let bladder = best.map(|(_, e)| e).filter(|_| call == Call::Inflated);
    Verdict { p_inflated, call, bladder, size: Size::of(bladder.as_ref()) }
}

/// An oval of the half-resolution plane in body coordinates.
fn ellipse(look: &Look, oval: &ellipse::Oval) -> Ellipse {
    let fraction = 2.0 / crate::fish::STRIP_PER_LENGTH as f32;
    Ellipse {
        position: f64::from(features::along(oval.x)),
        above: f64::from(features::above(look, oval.y)),
        length: f64::from(2.0 * oval.a * fraction),
        height: f64::from(2.0 * oval.b * fraction),
    }
}

#[cfg(test)]
mod tests;
