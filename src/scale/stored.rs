//! Scales kept for a microscope's objectives or a fixed camera.
//!
//! A stored scale belongs to one optical set-up, which no photograph can prove: it is used by name only,
//! and only for frames of the shape it was measured in. A frame of another size with the same shape is the
//! same view with other pixels, and the scale follows its width.

use super::{Scale, ScaleSource};
use crate::units::MmPerPx;
use jiff::civil::Date;
use serde::{Deserialize, Serialize};

/// A stored scale.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StoredScale {
    /// Its name: `stereo 2x`.
    pub name: String,
    /// Millimetres per pixel.
    pub mm_per_px: f64,
    /// Relative standard error.
    pub relative_se: f64,
    /// Width of the frame it was measured in, pixels.
    pub width_px: u32,
    /// Height of that frame.
    pub height_px: u32,
    /// What it was measured from.
    pub measured_from: String,
    /// When it was stored.
    pub stored: Date,
}

/// Why a stored scale cannot be used for a photograph.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("the stored scale {name:?} was measured in frames of {} by {} pixels, this one has {} by {}", measured.0, measured.1, frame.0, frame.1)]
pub struct OtherFrame {
    /// Name of the scale.
    pub name: String,
    /// Width and height it was measured in.
    pub measured: (u32, u32),
    /// Width and height of the photograph.
    pub frame: (u32, u32),
}

/// Most the sides' ratio may differ: rounding of a reduced frame.
const SHAPE: f64 = 0.004;

impl StoredScale {
    /// The scale of a photograph of `width` by `height` pixels.
    ///
    /// # Errors
    /// [`OtherFrame`] when the photograph's shape is another: it was cropped, or comes from another camera.
    pub fn scale(&self, width: u32, height: u32) -> Result<Scale, OtherFrame> {
        let sides = |a: u32, b: u32| (f64::from(a.max(b)), f64::from(a.min(b)));
        let ((long, short), (l, s)) = (sides(self.width_px, self.height_px), sides(width, height));
        let other = || OtherFrame {
            name: self.name.clone(),
            measured: (self.width_px, self.height_px),
            frame: (width, height),
        };
        if ((long / short) / (l / s) - 1.0).abs() > SHAPE {
            return Err(other());
        }
        let mm_per_px = MmPerPx::new(self.mm_per_px * long / l).ok_or_else(other)?;
        Ok(Scale::uniform(mm_per_px, self.relative_se, ScaleSource::Stored))
    }
}

#[cfg(test)]
mod tests {
    use super::StoredScale;

    #[test]
    fn a_stored_scale_follows_the_frame_s_width_and_refuses_another_shape() {
        let stored = StoredScale {
            name: "stereo 2x".into(),
            mm_per_px: 0.005,
            relative_se: 0.002,
            width_px: 4000,
            height_px: 3000,
            measured_from: "stage micrometer".into(),
            stored: jiff::civil::date(2026, 4, 20),
        };
        assert_eq!(stored.scale(2000, 1500).unwrap().centre.get(), 0.01);
        assert_eq!(stored.scale(1500, 2000).unwrap().centre.get(), 0.01);
        assert!(stored.scale(2000, 1200).is_err());
    }
}
