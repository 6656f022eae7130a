//! A ruler's millimetre graduation anywhere in the frame, at any angle.
//!
//! Small tiles of a reduced photograph are searched for parallel strokes at one distance; neighbouring
//! tiles that agree make a band; the band is straightened at full resolution, its ticks are counted one by
//! one, and the pattern of their lengths says what the distance is: every fifth and tenth tick longer means
//! millimetres, every second half millimetres, halves of halves inches. A graduation whose pattern says
//! neither is refused, for a wrong guess is wrong by two or by 25.4.
//!
//! A ruler divided into tenths of an inch shows the pattern of millimetres and cannot be told from it.

mod band;
mod pattern;
mod ticks;

use super::lens::Lens;
use crate::photo::Pixels;

/// A graduation that was read.
#[derive(Debug, Clone, PartialEq)]
pub struct Ruler {
    /// Millimetres per pixel along the ruler, at its middle.
    pub mm_per_px: f64,
    /// That middle, in straightened pixels: as many ticks to one side as to the other.
    pub middle: [f64; 2],
    /// Relative standard error from the ticks alone.
    pub relative_se: f64,
    /// Relative change of the ticks' spacing in pixels over one half-diagonal of the frame along the ruler:
    /// tilt, and what the lens does.
    pub gradient: f64,
    /// Standard error of the gradient.
    pub gradient_se: f64,
    /// The lens the scale is seen through: the calibrated one, or one radial term from the ticks.
    pub lens: Lens,
    /// Standard error of the displacement the lens makes at the corner, relative.
    pub bend_se: f64,
    /// Length of the graduation read, millimetres.
    pub length_mm: f64,
    /// Distance of neighbouring ticks, millimetres.
    pub pitch_mm: f64,
    /// Ends of the graduation, pixels.
    pub ends: [[f64; 2]; 2],
    /// Outline of the strokes, pixels.
    pub outline: Vec<[f64; 2]>,
}

/// Why strokes that look like a graduation give no scale.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RulerProblem {
    /// Divided into halves of halves: inches.
    Inches,
    /// The lengths of the ticks do not tell what they are apart.
    Unclear,
    /// Less than 20 mm of it is seen; whole millimetres.
    Short(u32),
}

/// A graduation that gives no scale.
#[derive(Debug, Clone, PartialEq)]
pub struct Unread {
    /// Why.
    pub problem: RulerProblem,
    /// Outline of the strokes, pixels.
    pub outline: Vec<[f64; 2]>,
}

/// Shortest graduation read, millimetres.
pub const LEAST_MM: f64 = 20.0;

/// What was found of a ruler: `None` when there is nothing like one. `division_mm` is the distance of
/// neighbouring ticks where it is known, as on a stage micrometer; their pattern then is not asked. The scale is one
/// of pixels straightened by the calibrated `lens`, or else by the radial term that makes the ticks even.
pub fn read(pixels: &Pixels, division_mm: Option<f64>, lens: Option<&Lens>) -> Option<Result<Ruler, Unread>> {
    let mut unread = None;
    for band in band::find(pixels) {
        let Some(ticks) = ticks::count(pixels, &band).filter(|t| t.even(pixels, lens)) else { continue };
        let pitch = match division_mm {
            Some(mm) => Ok(mm),
            None => pattern::pitch_mm(&ticks.lengths, &ticks.indices),
        };
        match pitch {
            Ok(pitch_mm) => {
                let span = f64::from(ticks.indices.last()? - ticks.indices.first()?);
                let length_mm = span * pitch_mm;
                if length_mm < LEAST_MM && division_mm.is_none() {
                    let problem = RulerProblem::Short(length_mm as u32);
                    unread = Some(Unread { problem, outline: ticks.outline() });
                    continue;
                }
                return Some(Ok(ticks.ruler(pitch_mm, length_mm, pixels, lens)));
            }
            Err(problem) => {
                // A dozen strokes may be anything; a long row of them is a graduation.
                if ticks.indices.len() >= 25 || problem == RulerProblem::Inches {
                    unread = unread.or_else(|| Some(Unread { problem, outline: ticks.outline() }));
                }
            }
        }
    }
    unread.map(Err)
}
