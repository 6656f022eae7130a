//! Photograph to millimetres per pixel, with its standard error and where it came from.
//!
//! [`auto`] is the entry: it looks for a printed card, a ruler, a dish wall of known diameter, resolution
//! tags and a stored scale, takes the best, holds the others against it and says what it found. It never
//! guesses: without any of these there is no scale, only advice. Labels printed on a card come back with
//! the decision; [`labels`] reconciles them with sample sheet, folder names and EXIF.

mod auto;
mod away;
pub mod card;
pub mod dish;
mod field;
pub mod labels;
pub mod lens;
pub mod ruler;
pub mod stored;
mod tags;

pub use auto::{Decision, Options, Reading, Reason, Severity, Wanted, auto};
pub use field::{Bending, Field};

use self::away::Away;
use self::lens::Lens;
use crate::photo::Pixels;
use crate::units::{Mm, MmPerPx};

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
    /// Relative standard error of the scale at the centre of the frame (0.01 is one per cent).
    pub relative_se: f64,
    /// Where it came from.
    pub source: ScaleSource,
    field: Option<Field>,
    /// Straightens pixels where no field does.
    lens: Option<Lens>,
    /// What distance from where the scale was read adds to its error.
    away: Option<Away>,
    /// Multiplies lengths on the field's plane: fish that lie nearer the camera look larger.
    lift: f64,
    /// Relative standard error shared by the whole frame: print, height of the fish, reference object.
    shared_se: f64,
}

impl Scale {
    /// A scale that is the same everywhere in the frame.
    pub fn uniform(mm_per_px: MmPerPx, relative_se: f64, source: ScaleSource) -> Self {
        Self {
            centre: mm_per_px,
            relative_se,
            source,
            field: None,
            lens: None,
            away: None,
            lift: 1.0,
            shared_se: relative_se,
        }
    }

    /// The same scale through a calibrated lens: lengths are measured between straightened pixels. `None`
    /// leaves it as it is.
    #[must_use]
    pub fn through(self, lens: Option<Lens>) -> Self {
        Self { lens, field: self.field.map(|f| f.through(lens)), ..self }
    }

    /// The same scale, less sure the farther from where it was read.
    fn read_at(self, away: Away, frame: (f64, f64)) -> Self {
        let middle = [(frame.0 - 1.0) / 2.0, (frame.1 - 1.0) / 2.0];
        Self { away: Some(away), relative_se: self.relative_se.hypot(away.relative_se(middle)), ..self }
    }

    /// A scale that follows a plane. `lift` multiplies its lengths, `shared_se` is the relative standard
    /// error common to the frame, `frame` the width and height in pixels. `None` when the plane has no
    /// finite scale at the centre of the frame (its horizon runs through the photograph).
    pub fn on_plane(
        field: Field,
        lift: f64,
        shared_se: f64,
        frame: (f64, f64),
        source: ScaleSource,
    ) -> Option<Self> {
        let middle = [(frame.0 - 1.0) / 2.0, (frame.1 - 1.0) / 2.0];
        let centre = MmPerPx::new(field.mm_per_px(middle) * lift)?;
        let relative_se = field.relative_se(middle).hypot(shared_se);
        relative_se.is_finite().then_some(Self {
            centre,
            relative_se,
            source,
            field: Some(field),
            lens: None,
            away: None,
            lift,
            shared_se,
        })
    }

    /// Scale at pixel `x`, `y`: the mean over directions where the plane is tilted.
    pub fn at(&self, x: f64, y: f64) -> MmPerPx {
        let here = match (&self.field, &self.lens) {
            (Some(field), _) => field.mm_per_px([x, y]) * self.lift,
            (None, Some(lens)) => self.centre.get() * lens.stretch([x, y]),
            (None, None) => self.centre.get(),
        };
        MmPerPx::new(here).unwrap_or(self.centre)
    }

    /// Relative standard error of the scale at pixel `x`, `y`.
    pub fn relative_se_at(&self, x: f64, y: f64) -> f64 {
        let away = self.away.map_or(0.0, |a| a.relative_se([x, y]));
        let field = self.field.as_ref().map_or(0.0, |f| f.relative_se([x, y]));
        self.shared_se.hypot(field).hypot(away)
    }

    /// Length in millimetres of a line through `points` (pixels, x then y), on the plane they lie in.
    ///
    /// ```
    /// use frygauge::scale::{Scale, ScaleSource};
    /// use frygauge::units::MmPerPx;
    /// let scale = Scale::uniform(MmPerPx::new(0.5).unwrap(), 0.01, ScaleSource::Given);
    /// assert_eq!(scale.length(&[[0.0, 0.0], [3.0, 4.0], [3.0, 8.0]]).0, 4.5);
    /// ```
    pub fn length(&self, points: &[[f64; 2]]) -> Mm {
        let pieces =
            |points: &[[f64; 2]]| -> f64 { points.windows(2).map(|w| field::distance(w[0], w[1])).sum() };
        match &self.field {
            None => {
                let straight = |lens: &Lens| points.iter().map(|p| lens.straighten(*p)).collect::<Vec<_>>();
                let px = self.lens.as_ref().map_or_else(|| pieces(points), |lens| pieces(&straight(lens)));
                Mm(px * self.centre.get())
            }
            Some(plane) => {
                let mm: Vec<[f64; 2]> = points.iter().map(|p| plane.to_mm(*p)).collect();
                Mm(pieces(&mm) * self.lift)
            }
        }
    }

    /// The plane the scale follows, when it changes over the frame.
    pub fn field(&self) -> Option<&Field> {
        self.field.as_ref()
    }
}

/// Brightness at a place, bilinear, clamped to the frame.
fn sample(pixels: &Pixels, x: f64, y: f64) -> f32 {
    let (w, h) = (pixels.width as usize, pixels.height as usize);
    let x = x.clamp(0.0, (w - 1) as f64);
    let y = y.clamp(0.0, (h - 1) as f64);
    let (x0, y0) = (x as usize, y as usize);
    let (x1, y1) = ((x0 + 1).min(w - 1), (y0 + 1).min(h - 1));
    let (fx, fy) = ((x - x0 as f64) as f32, (y - y0 as f64) as f32);
    let at = |x: usize, y: usize| f32::from(pixels.luma[y * w + x]);
    let top = at(x0, y0) * (1.0 - fx) + at(x1, y0) * fx;
    let bottom = at(x0, y1) * (1.0 - fx) + at(x1, y1) * fx;
    top * (1.0 - fy) + bottom * fy
}
