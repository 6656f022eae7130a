//! Scales kept for a microscope's objectives or a fixed camera, and lenses kept for a camera.
//!
//! A stored scale belongs to one optical set-up, which no photograph can prove: it is used by name only,
//! and only for frames of the shape it was measured in. A frame of another size with the same shape is the
//! same view with other pixels, and the scale follows its width.

use super::lens::Lens;
use super::{Scale, ScaleSource};
use crate::photo::{Pixels, Tags, orient::swapped};
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

/// A stored lens: how one camera at one focal length bends straight lines.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StoredLens {
    /// Its name: `stand camera`.
    pub name: String,
    /// Maker and model the camera writes into its photographs, when it writes any.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub make: Option<String>,
    /// See `make`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub model: Option<String>,
    /// Focal length the camera writes, millimetres.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub focal_length_mm: Option<f64>,
    /// Width of its frames as the sensor gives them, pixels.
    pub width_px: u32,
    /// Height of its frames.
    pub height_px: u32,
    /// Photographs it was calibrated from.
    pub photos: u32,
    /// Root mean square distance of the chessboards' corners from the fit, pixels.
    pub rms_px: f64,
    /// How far from the centre of the frame corners were seen, as a share of the half-diagonal.
    pub reach: f64,
    /// When it was stored.
    pub stored: Date,
    /// The lens, in pixels of those frames.
    pub lens: Lens,
}

/// Why a stored lens cannot be used for a photograph.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("the stored lens {name:?} was not used: it belongs to {lens}, this photograph comes from {photo}")]
pub struct OtherCamera {
    /// Name of the lens.
    pub name: String,
    /// Camera, frame and focal length of the lens.
    pub lens: String,
    /// Those of the photograph.
    pub photo: String,
}

/// Most the focal length written may differ, as a share: cameras round it.
const SAME_FOCAL: f64 = 0.01;

impl StoredLens {
    /// The lens for a photograph turned upright: `pixels` and `tags` are the photograph's.
    ///
    /// # Errors
    /// [`OtherCamera`] when maker, model, size of the frame or focal length are not those it was calibrated
    /// with: a lens is never applied to another camera.
    pub fn lens_of(&self, pixels: &Pixels, tags: &Tags) -> Result<Lens, OtherCamera> {
        let (width, height) = swapped(pixels.width, pixels.height, tags.orientation);
        let focal = match (self.focal_length_mm, tags.focal_length_mm) {
            (Some(a), Some(b)) => (a / b - 1.0).abs() <= SAME_FOCAL,
            (a, b) => a.is_none() && b.is_none(),
        };
        let same = self.make == tags.make
            && self.model == tags.model
            && (self.width_px, self.height_px) == (width, height);
        if same && focal {
            return Ok(self.lens.turned(tags.orientation, width, height));
        }
        let photo =
            camera(tags.make.as_deref(), tags.model.as_deref(), tags.focal_length_mm, (width, height));
        Err(OtherCamera { name: self.name.clone(), lens: self.camera(), photo })
    }

    /// Camera, frame and focal length in words.
    pub fn camera(&self) -> String {
        camera(
            self.make.as_deref(),
            self.model.as_deref(),
            self.focal_length_mm,
            (self.width_px, self.height_px),
        )
    }
}

fn camera(make: Option<&str>, model: Option<&str>, focal: Option<f64>, frame: (u32, u32)) -> String {
    let mut words: Vec<String> = [make, model].into_iter().flatten().map(|t| format!("{t:?}")).collect();
    if words.is_empty() {
        words.push("a camera that writes no name".into());
    }
    let focal = focal.map_or_else(String::new, |f| format!(" at {f} mm"));
    format!("{}{focal}, {} by {} pixels", words.join(" "), frame.0, frame.1)
}

#[cfg(test)]
mod tests {
    use super::{StoredLens, StoredScale};
    use crate::photo::{Pixels, Tags};
    use crate::scale::lens::Lens;

    #[test]
    fn a_stored_lens_is_used_for_its_own_camera_only() {
        let stored = StoredLens {
            name: "stand".into(),
            make: Some("Maker".into()),
            model: Some("One".into()),
            focal_length_mm: Some(60.0),
            width_px: 120,
            height_px: 80,
            photos: 8,
            rms_px: 0.2,
            reach: 0.9,
            stored: jiff::civil::date(2026, 4, 20),
            lens: Lens {
                focal: [200.0, 201.0],
                centre: [61.0, 38.0],
                radial: [-0.1, 0.0, 0.0],
                tangential: [0.0; 2],
            },
        };
        let frame = |width: u32, height: u32| Pixels {
            width,
            height,
            luma: vec![0; (width * height) as usize],
            chroma: None,
        };
        let tags = Tags {
            make: Some("Maker".into()),
            model: Some("One".into()),
            focal_length_mm: Some(60.0),
            orientation: 1,
            ..Tags::default()
        };
        assert_eq!(stored.lens_of(&frame(120, 80), &tags), Ok(stored.lens));
        // Held upright, the same sensor's frame stands on end.
        let upright = Tags { orientation: 6, ..tags.clone() };
        assert_eq!(stored.lens_of(&frame(80, 120), &upright).unwrap().focal, [201.0, 200.0]);
        for other in [
            Tags { model: Some("Two".into()), ..tags.clone() },
            Tags { model: None, ..tags.clone() },
            Tags { focal_length_mm: Some(55.0), ..tags.clone() },
            Tags { focal_length_mm: None, ..tags.clone() },
            upright,
        ] {
            assert!(stored.lens_of(&frame(120, 80), &other).is_err(), "{other:?}");
        }
        let error = stored.lens_of(&frame(60, 40), &tags).unwrap_err().to_string();
        assert!(error.contains("60 by 40") && error.contains("120 by 80"), "{error}");
    }

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
