//! Photograph to millimetres per pixel, with its standard error and where it came from.

use crate::units::{Mm, MmPerPx, Px};

/// Where a scale came from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum ScaleSource {
    /// Given by the user for these photographs.
    Given,
    /// The printed scale card in the frame.
    Card,
    /// A ruler in the frame.
    Ruler,
    /// The dish wall, its inner diameter given by the user.
    Dish,
    /// Resolution tags in the file.
    Tags,
    /// A scale stored for this camera or microscope objective.
    Stored,
}

impl ScaleSource {
    /// The word written in `photos.csv`.
    pub fn name(self) -> &'static str {
        match self {
            Self::Given => "given",
            Self::Card => "card",
            Self::Ruler => "ruler",
            Self::Dish => "dish",
            Self::Tags => "tags",
            Self::Stored => "stored",
        }
    }
}

/// The scale of one photograph: millimetres per pixel, which may change over the frame.
#[derive(Debug, Clone)]
pub struct Scale {
    /// Scale at the centre of the frame.
    pub centre: MmPerPx,
    /// Relative standard error of the scale (0.01 is one per cent).
    pub relative_se: f64,
    /// Where it came from.
    pub source: ScaleSource,
}

impl Scale {
    /// A scale that is the same everywhere in the frame.
    pub fn uniform(mm_per_px: MmPerPx, relative_se: f64, source: ScaleSource) -> Self {
        Self { centre: mm_per_px, relative_se, source }
    }

    /// Scale at pixel `x`, `y`.
    pub fn at(&self, _x: f64, _y: f64) -> MmPerPx {
        self.centre
    }

    /// Length in millimetres of a line through `points` (pixels, x then y), each piece at its own scale.
    pub fn length(&self, points: &[[f64; 2]]) -> Mm {
        let mm = points.windows(2).map(|w| {
            let (dx, dy) = (w[1][0] - w[0][0], w[1][1] - w[0][1]);
            let middle = self.at(0.5 * (w[0][0] + w[1][0]), 0.5 * (w[0][1] + w[1][1]));
            middle.to_mm(Px(dx.hypot(dy))).0
        });
        Mm(mm.sum())
    }
}
