//! What the stages found, as rows of `fish.csv` and `photos.csv`.

use super::bounds::length_mm;
use super::{Scored, ScoredFish, centre};
use crate::fish::Flag;
use crate::photo::{Photo, PhotoError};
use crate::records::{Call, FishRow, PhotoRow, PhotoStatus};
use crate::scale::{Scale, Severity};
use crate::units::Px;
use jiff::civil::Date;

/// The sample a photograph belongs to.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Sample {
    /// Tank, when known.
    pub tank: Option<String>,
    /// Date, when known.
    pub date: Option<Date>,
    /// Age in days post hatch, when the hatch date is known.
    pub age_dph: Option<f64>,
}

/// The fish of one photograph as rows, numbered from 1.
pub fn fish_rows(name: &str, sample: &Sample, scored: &Scored) -> Vec<FishRow> {
    scored
        .fish
        .iter()
        .zip(1..)
        .map(|(f, number)| fish_row(name, sample, f, number, scored.scale.as_ref()))
        .collect()
}

fn fish_row(name: &str, sample: &Sample, scored: &ScoredFish, number: u32, scale: Option<&Scale>) -> FishRow {
    let fish = &scored.fish;
    let verdict = scored.verdict.as_ref();
    let [x, y] = centre(&fish.midline);
    let snout = fish.midline.first().copied().unwrap_or([x, y]);
    let tail = fish.midline.last().copied().unwrap_or([x, y]);
    let here = scale.map(|s| s.at(x, y));
    let in_mm = |length: Px| here.map(|s| s.to_mm(length).0);
    let length_mm = scale.map(|s| length_mm(s, fish).0);
    // The picture's own error and the scale's are independent.
    let length_se_mm = length_mm
        .zip(scale)
        .zip(in_mm(fish.length_se))
        .map(|((l, s), se)| se.hypot(l * s.relative_se_at(x, y)));
    let ellipse = verdict.and_then(|v| v.bladder);
    let flags: Vec<&str> = fish.flags.iter().copied().map(Flag::name).collect();
    FishRow {
        photo: name.to_owned(),
        tank: sample.tank.clone(),
        date: sample.date,
        age_dph: sample.age_dph,
        fish: number,
        x_px: round(x, 2),
        y_px: round(y, 2),
        snout_x_px: round(snout[0], 2),
        snout_y_px: round(snout[1], 2),
        tail_x_px: round(tail[0], 2),
        tail_y_px: round(tail[1], 2),
        total_length_px: round(fish.total_length.0, 2),
        total_length_mm: length_mm.map(|v| round(v, 4)),
        total_length_se_mm: length_se_mm.map(|v| round(v, 4)),
        depth_mm: in_mm(fish.depth).map(|v| round(v, 4)),
        view: fish.view,
        call: verdict.map_or(Call::Unsure, |v| v.call),
        p_inflated: verdict.map(|v| round(v.p_inflated, 4)),
        bladder_position: ellipse.map(|e| round(e.position, 4)),
        bladder_length_mm: ellipse.zip(length_mm).map(|(e, l)| round(e.length * l, 4)),
        bladder_height_mm: ellipse.zip(length_mm).map(|(e, l)| round(e.height * l, 4)),
        use_length: fish.use_length.into(),
        use_call: fish.use_call.into(),
        flags: flags.join(";"),
        vessel: fish.vessel,
        caller: "model".to_owned(),
        head_depth_mm: in_mm(fish.head_depth).map(|v| round(v, 4)),
    }
}

/// Rounded to `digits` decimals: what is written is no finer than what is known.
fn round(value: f64, digits: i32) -> f64 {
    let unit = 10_f64.powi(digits);
    (value * unit).round() / unit
}

/// The row of a photograph that was scored.
pub fn photo_row(name: &str, sha256: &str, photo: &Photo, scored: &Scored, seconds: f64) -> PhotoRow {
    let scale = scored.scale.as_ref();
    let advice = scored.advice.iter().map(|a| a.text.as_str());
    // What is worth knowing of the scale without a second photograph: sources that disagree, foreign symbols.
    let known = scored
        .scale_reasons
        .iter()
        .filter(|r| r.severity < Severity::Retake && r.flag != "no_scale")
        .map(|r| r.text.as_str());
    PhotoRow {
        photo: name.to_owned(),
        sha256: sha256.to_owned(),
        status: if scored.advice.is_empty() { PhotoStatus::Scored } else { PhotoStatus::Retake },
        reason: advice.chain(known).collect::<Vec<_>>().join("; "),
        width_px: Some(photo.pixels.width),
        height_px: Some(photo.pixels.height),
        lighting: Some(scored.lighting),
        mm_per_px: scale.map(|s| s.centre.get()),
        mm_per_px_se: scale.map(|s| s.centre.get() * s.relative_se),
        scale_source: scale.map(|s| s.source.name().to_owned()),
        fish: scored.fish.len() as u32,
        sharpness: scored.sharpness.map(|v| round(v, 2)),
        flags: photo
            .notes
            .iter()
            .copied()
            .chain(scored.scale_reasons.iter().map(|r| r.flag))
            .collect::<Vec<_>>()
            .join(";"),
        seconds: Some(round(seconds, 3)),
    }
}

/// The row of a photograph that could not be scored.
pub fn refused_row(name: &str, sha256: &str, error: &PhotoError) -> PhotoRow {
    PhotoRow {
        photo: name.to_owned(),
        sha256: sha256.to_owned(),
        status: PhotoStatus::Refused,
        reason: error.to_string(),
        width_px: None,
        height_px: None,
        lighting: None,
        mm_per_px: None,
        mm_per_px_se: None,
        scale_source: None,
        fish: 0,
        sharpness: None,
        flags: String::new(),
        seconds: None,
    }
}
