//! One photograph from pixels to calls: the only place that runs the stages in turn.
//!
//! [`score`] runs them; [`fish_rows`] and [`photo_row`] write what they found as records;
//! [`retake`] says whether the photograph should be taken again, and why.

mod bounds;
mod retake;
mod rows;

pub use retake::{Advice, Facts, RULES, Rule, retake};
pub use rows::{Sample, fish_rows, photo_row, refused_row};

use crate::bladder::{self, Context, Model, Verdict};
use crate::fish::{self, Fish, Flag, Outcome, Strip};
use crate::photo::{self, Photo};
use crate::records::Lighting;
use crate::scale::{self, Scale};
use crate::segmentation::{self, Polarity, Refused};

/// How to score.
#[derive(Debug, Clone, Copy)]
pub struct Settings<'a> {
    /// The bladder caller.
    pub model: &'a Model,
    /// What the search for a scale may use.
    pub scale: &'a scale::Options,
    /// Whether the straightened pictures of the fish are kept, half a megabyte each.
    pub strips: bool,
}

/// A measured fish and its call; `None` when it does not count for the call.
#[derive(Debug)]
pub struct ScoredFish {
    /// The fish.
    pub fish: Fish,
    /// The call.
    pub verdict: Option<Verdict>,
    /// The straightened picture of it, where [`Settings::strips`] asks for it.
    pub strip: Option<Strip>,
}

/// What one photograph shows.
#[derive(Debug)]
pub struct Scored {
    /// The fish, from the top of the frame to the bottom.
    pub fish: Vec<ScoredFish>,
    /// Everything looked at that is none.
    pub refused: Vec<Refused>,
    /// How the dish was lit.
    pub lighting: Lighting,
    /// Its scale, when one was found.
    pub scale: Option<Scale>,
    /// What the card in the frame says.
    pub card: Option<scale::card::Payload>,
    /// What to know about the scale.
    pub scale_reasons: Vec<scale::Reason>,
    /// Median blur of the fish, standard deviation in pixels.
    pub sharpness: Option<f64>,
    /// Why it should be taken again, most important first; at most three.
    pub advice: Vec<Advice>,
}

/// Scores one photograph.
pub fn score(photo: &Photo, settings: &Settings) -> Scored {
    let pixels = &*photo::without_banding(&photo.pixels);
    let mut measure = scale::auto(pixels, &photo.tags, settings.scale);
    let mut ground = segmentation::prepare(pixels);
    let mut found = segmentation::find(&mut ground);
    let lighting = match ground.polarity {
        Polarity::BrightFish => Lighting::Dark,
        Polarity::DarkFish if ground.lit_from_above() => Lighting::Pale,
        Polarity::DarkFish => Lighting::Transmitted,
    };
    let mut fish = Vec::new();
    let mut refused = std::mem::take(&mut found.refused);
    for outcome in fish::measure_all(pixels, &ground, &mut found) {
        match outcome {
            Outcome::Fish(one, _) if measure.printed.iter().any(|o| inside(o, centre(&one.midline))) => {
                refused.push(Refused { outline: one.outline, reason: "print on the card or ruler" });
            }
            Outcome::Fish(one, _) => fish.push(*one),
            Outcome::Refused(one, _) => refused.push(one),
        }
    }
    // Sizes that no fry has: most of them speak against the scale, a few against themselves.
    if let Some(doubt) = measure.scale.as_ref().and_then(|scale| bounds::doubt(&fish, scale)) {
        measure.scale = None;
        measure.reasons.push(doubt);
    }
    fish.retain(|one| {
        let reason = bounds::impossible(one, measure.scale.as_ref());
        refused.extend(reason.map(|reason| Refused { outline: one.outline.clone(), reason }));
        reason.is_none()
    });
    // Numbered as a reader's eye goes: in bands from the top, each from the left.
    let band = f64::from(pixels.height) / 12.0;
    let place = |f: &Fish| centre(&f.midline);
    fish.sort_by(|a, b| {
        let (a, b) = (place(a), place(b));
        (a[1] / band)
            .floor()
            .total_cmp(&(b[1] / band).floor())
            .then(a[0].total_cmp(&b[0]))
            .then(a[1].total_cmp(&b[1]))
    });
    let fish: Vec<ScoredFish> = fish
        .into_iter()
        .map(|mut fish| {
            let strip = (fish.use_call || settings.strips).then(|| fish.straightened(pixels, &ground));
            let called = strip.as_ref().filter(|_| fish.use_call);
            let mut verdict = called
                .map(|strip| bladder::call(strip, &Context::of(&fish, strip, lighting), settings.model));
            if let Some(v) = &mut verdict
                && v.bladder.is_some_and(|b| !bounds::inside_body(&b, &fish))
            {
                // The call rests on the whole picture; where the outline is wrong only its size is not given.
                (v.bladder, v.size) = (None, bladder::Size::None);
            }
            if verdict.as_ref().is_some_and(|v| v.size == bladder::Size::OverInflated) {
                fish.flag(Flag::OverInflated);
            }
            ScoredFish { fish, verdict, strip: strip.filter(|_| settings.strips) }
        })
        .collect();
    let scale::Decision { scale, reasons: scale_reasons, card, .. } = measure;
    let facts = Facts::gather(&fish, f64::from(ground.clipped), scale.is_some());
    let advice = retake(&facts, &scale_reasons);
    Scored { sharpness: facts.blur_px, advice, fish, refused, lighting, scale, card, scale_reasons }
}

/// The middle point of a midline.
fn centre(midline: &[[f64; 2]]) -> [f64; 2] {
    midline.get(midline.len() / 2).copied().unwrap_or([0.0; 2])
}

/// Whether `point` lies inside the closed polygon `outline` (even-odd rule).
fn inside(outline: &[[f64; 2]], [x, y]: [f64; 2]) -> bool {
    let edges = outline.iter().zip(outline.iter().cycle().skip(1));
    edges
        .filter(|(a, b)| (a[1] > y) != (b[1] > y) && x < a[0] + (y - a[1]) / (b[1] - a[1]) * (b[0] - a[0]))
        .count()
        % 2
        == 1
}
