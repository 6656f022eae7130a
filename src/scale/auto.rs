//! The best scale a photograph offers, held against the others it offers.

use super::{Scale, ScaleSource, tags};
use crate::photo::{Pixels, Tags};
use crate::units::MmPerPx;

/// Which scale the user wants.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum Wanted {
    /// The best there is: card, ruler, dish of known diameter, resolution tags, stored scale.
    #[default]
    Auto,
    /// This one; the others are only held against it.
    Given(MmPerPx),
    /// From this source or not at all.
    Only(ScaleSource),
}

/// What the search for a scale may use.
#[derive(Debug, Clone, Default)]
pub struct Options {
    /// Which scale the user wants.
    pub wanted: Wanted,
    /// Inner diameter of the dish, millimetres.
    pub dish_mm: Option<f64>,
    /// Height of the fish above the card, ruler or dish rim's plane, millimetres: the thickness of the dish
    /// floor and half a fish. Zero says that they lie in one plane; `None` that nobody measured.
    pub floor_mm: Option<f64>,
    /// Distance from the lens to the fish, millimetres.
    pub camera_mm: Option<f64>,
    /// Measured length of the card's 100 mm check bar, millimetres.
    pub printed_bar_mm: Option<f64>,
    /// Scale stored for this camera or objective.
    pub stored: Option<Scale>,
}

/// How serious a [`Reason`] is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// Worth knowing.
    Note,
    /// May make lengths wrong.
    Warning,
    /// The photograph should be taken again.
    Retake,
}

/// Something to tell about a photograph's scale.
#[derive(Debug, Clone, PartialEq)]
pub struct Reason {
    /// How serious it is.
    pub severity: Severity,
    /// Word for the `flags` column.
    pub flag: &'static str,
    /// What happened and what to do, one sentence without a full stop. Text read from the photograph is
    /// escaped.
    pub text: String,
}

/// One source's own scale, before the best is chosen.
#[derive(Debug, Clone)]
pub struct Reading {
    /// The scale.
    pub scale: Scale,
    /// How it was read: dots used, residual, what was assumed.
    pub detail: String,
}

/// What was found.
#[derive(Debug, Clone, Default)]
pub struct Decision {
    /// The scale; `None` when nothing says it: lengths stay in pixels.
    pub scale: Option<Scale>,
    /// Every scale found, best first.
    pub readings: Vec<Reading>,
    /// What the user should know.
    pub reasons: Vec<Reason>,
    /// Outlines (pixels) inside which printed marks lie, and no fish.
    pub printed: Vec<Vec<[f64; 2]>>,
}

impl Decision {
    /// The most serious reason.
    pub fn worst(&self) -> Option<&Reason> {
        self.reasons.iter().rev().max_by_key(|r| r.severity)
    }

    fn tell(&mut self, severity: Severity, flag: &'static str, text: impl Into<String>) {
        self.reasons.push(Reason { severity, flag, text: text.into() });
    }
}

/// Relative standard error taken for a scale typed by the user, who measured it once.
const GIVEN_SE: f64 = 0.002;
/// Relative standard error taken for resolution tags written by microscope software.
const TAGS_SE: f64 = 0.005;

/// Finds the scale of a photograph; see the module's words for the order.
pub fn auto(_pixels: &Pixels, tags: &Tags, options: &Options) -> Decision {
    let mut decision = Decision::default();
    if let Wanted::Given(mm_per_px) = options.wanted {
        let scale = Scale::uniform(mm_per_px, GIVEN_SE, ScaleSource::Given);
        decision.readings.push(Reading { scale, detail: "given for this run".into() });
    }
    if let Some(mm_per_px) = tags::read(tags) {
        let scale = Scale::uniform(mm_per_px, TAGS_SE, ScaleSource::Tags);
        decision.readings.push(Reading { scale, detail: "resolution written in the file".into() });
    }
    if let Some(stored) = &options.stored {
        decision.readings.push(Reading { scale: stored.clone(), detail: "stored scale".into() });
    }
    choose(&mut decision, options);
    decision
}

/// Takes the first reading that is wanted.
fn choose(decision: &mut Decision, options: &Options) {
    let wanted = |r: &&Reading| match options.wanted {
        Wanted::Auto | Wanted::Given(_) => true,
        Wanted::Only(source) => r.scale.source == source,
    };
    decision.scale = decision.readings.iter().find(wanted).map(|r| r.scale.clone());
    if decision.scale.is_none() {
        decision.tell(
            Severity::Warning,
            "no_scale",
            "no scale found, lengths stay in pixels: lay a printed card (frygauge card) or a millimetre ruler \
             beside the dish, or give --dish-mm or --px-per-mm",
        );
    }
}
