//! Units in types: pixels, millimetres and the scale between them.
//!
//! Conversion between the two happens only through [`MmPerPx`], so a length in pixels cannot be
//! mistaken for one in millimetres.

use serde::{Deserialize, Serialize};

/// A length in pixels of the photograph as it is shown (after EXIF orientation).
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Px(pub f64);

/// A length in millimetres.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Mm(pub f64);

/// A scale: millimetres per pixel, finite and above zero.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(transparent)]
pub struct MmPerPx(f64);

impl MmPerPx {
    /// A scale of `mm_per_px` millimetres per pixel; `None` unless it is finite and above zero.
    ///
    /// ```
    /// use frygauge::units::MmPerPx;
    /// assert!(MmPerPx::new(0.025).is_some());
    /// assert!(MmPerPx::new(0.0).is_none() && MmPerPx::new(f64::NAN).is_none());
    /// ```
    pub fn new(mm_per_px: f64) -> Option<Self> {
        (mm_per_px.is_finite() && mm_per_px > 0.0).then_some(Self(mm_per_px))
    }

    /// The scale of a photograph with `px_per_mm` pixels to the millimetre.
    pub fn from_px_per_mm(px_per_mm: f64) -> Option<Self> {
        Self::new(1.0 / px_per_mm)
    }

    /// Millimetres per pixel.
    pub fn get(self) -> f64 {
        self.0
    }

    /// Pixels per millimetre.
    pub fn px_per_mm(self) -> f64 {
        1.0 / self.0
    }

    /// A length in pixels, in millimetres.
    ///
    /// ```
    /// use frygauge::units::{Mm, MmPerPx, Px};
    /// let scale = MmPerPx::new(0.5).unwrap();
    /// assert_eq!(scale.to_mm(Px(8.0)), Mm(4.0));
    /// ```
    pub fn to_mm(self, length: Px) -> Mm {
        Mm(length.0 * self.0)
    }

    /// A length in millimetres, in pixels.
    pub fn to_px(self, length: Mm) -> Px {
        Px(length.0 / self.0)
    }
}
