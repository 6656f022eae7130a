//! The demo world: photographs drawn from first principles, with known truth. Independent of the reader.
//!
//! A [`Scene`] first decides where everything lies (`stage` for background, vessels and lamp; `look` and `anatomy` for the
//! larvae; `pose` and `layout` for how they lie), then paints it in linear light, and last takes the picture:
//!
//! - `body` turns a larva into a layer that absorbs (Beer-Lambert, each colour its own density), scatters, and bends light
//!   at the wall of its gas bladder and oil globule (`optics`: Snell's law, Fresnel's equations, the lamp's angular size);
//! - `clutter` and `marks` draw what is not a fish: bubbles by the same optics, eggs, shells, feed, fibres, letters, rulers;
//! - `tilt` is the camera's perspective and `camera` its blur, noise, tone curve, sharpening and JPEG.
//!
//! [`Class`] names the kinds of photographs accuracy is reported on; [`season`] and [`sample_images`] tell the story of the
//! invented Brackenmere Hatchery. Ranges are wide on purpose: where a published figure exists it stands beside the
//! constant, and everything else is a guess that nothing may lean on. What it does not draw: waves on the water, more
//! than one lamp, shadows of vessel walls, fish out of the plane of the dish.

#![allow(clippy::needless_range_loop, reason = "loops over the three colours index several arrays at once")]

mod anatomy;
mod backdrop;
mod body;
mod camera;
mod canvas;
pub mod card;
mod classes;
mod clutter;
mod dice;
mod jpeg;
mod layout;
mod look;
mod marks;
mod optics;
mod outline;
mod pose;
mod samples;
mod scene;
pub mod season;
mod stage;
mod tilt;
mod truth;

use crate::records::{Lighting, View};
use image::RgbImage;

#[cfg(test)]
mod tests;

pub use classes::{photograph, scene, scene_under, whole_dish};
pub use jpeg::{NOTICE, Tags, encode_jpeg, encode_jpeg_tagged};
pub use samples::{SampleImage, sample_images};
pub use scene::{Fry, Scene};

/// A kind of photograph to draw; each draws its own parameters from wide ranges.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Class {
    /// Dish on a light pad, 36-46 px/mm.
    LightPad,
    /// Dark dish, light from the side or above, 40 px/mm.
    DarkDish,
    /// Pale tray, light from above, 40 px/mm.
    PaleTray,
    /// Dissecting microscope, one to five fish, 100-250 px/mm.
    Microscope,
    /// 45 fish, half of them touching.
    Crowded,
    /// 20-26 px/mm, noisy and soft.
    CoarseNoisy,
    /// No fish: debris, bubbles, glints.
    Empty,
    /// A light pad that fills part of a black frame.
    PadInPart,
    /// A well plate with eggs, shells and letters.
    WellsWithEggs,
    /// Trunk contrast 3-8 %, tail fin 1-3 %.
    Translucent,
    /// C and S bends to 120 degrees.
    Bent,
    /// Pairs and triples touching and crossing.
    TouchingPairs,
    /// Phone: motion and focus blur, noise, quality-60 JPEG, colour casts.
    PhoneBlur,
    /// 4 to 30 mm in one frame, 12-60 px/mm.
    MixedSizes,
}

/// A drawn photograph and what is in it.
#[derive(Debug, Clone)]
pub struct Rendered {
    /// The photograph.
    pub image: RgbImage,
    /// What is in it.
    pub truth: Truth,
}

/// What is in a drawn photograph.
#[derive(Debug, Clone)]
pub struct Truth {
    /// Pixels per millimetre at the centre of the frame.
    pub px_per_mm: f64,
    /// How it was lit.
    pub lighting: Lighting,
    /// Inner diameter of the dish, millimetres, where there is just one and it is round.
    pub dish_mm: Option<f64>,
    /// The fish.
    pub fish: Vec<TrueFish>,
    /// Everything else that could be taken for a fish: kind and place in pixels.
    pub others: Vec<(&'static str, [f64; 2])>,
}

/// A fish in a drawn photograph. Coordinates are pixels of the image, x right, y down, pixel centres
/// at whole numbers.
#[derive(Debug, Clone)]
pub struct TrueFish {
    /// From the snout tip to the end of the tail fin.
    pub midline: Vec<[f64; 2]>,
    /// Total length along the body.
    pub total_length_mm: f64,
    /// The same in pixels, perspective included.
    pub total_length_px: f64,
    /// Greatest depth without the fin fold, in pixels.
    pub depth_px: f64,
    /// Whether the bladder holds gas.
    pub inflated: bool,
    /// Bladder centre as a fraction of total length, when it holds gas.
    pub bladder_position: Option<f64>,
    /// Bladder length as a fraction of total length, when it holds gas.
    pub bladder_length: Option<f64>,
    /// From where it is seen.
    pub view: View,
    /// Whether the back is to the left of the midline walked from snout to tail, seen in the image
    /// (y down); `None` in top view.
    pub back_left: Option<bool>,
    /// Touches or crosses another fish.
    pub touching: bool,
    /// Cut by the frame.
    pub cut: bool,
    /// Dish or well it lies in, from 1.
    pub vessel: Option<u32>,
}
