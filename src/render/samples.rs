//! The twelve photographs of `sample-images/`.

use super::dice::Dice;
use super::scene::Vessels;
use super::season::HATCH;
use super::{Rendered, Scene};
use crate::records::Lighting;
use jiff::ToSpan;
use jiff::civil::Date;

/// A photograph of the sample set.
#[derive(Debug, Clone)]
pub struct SampleImage {
    /// File name.
    pub name: String,
    /// Tank.
    pub tank: &'static str,
    /// Day of the sample.
    pub date: Date,
    /// Capture time as EXIF writes it.
    pub taken: String,
    /// The photograph and what is in it.
    pub rendered: Rendered,
}

/// What to draw: tank, lighting, pixels per millimetre, number of fish, share inflated.
const PLAN: [(&str, Lighting, f64, usize, f64); 12] = [
    ("P02", Lighting::Transmitted, 32.0, 16, 0.88),
    ("P05", Lighting::Transmitted, 32.0, 16, 0.20),
    ("P08", Lighting::Transmitted, 32.0, 15, 0.25),
    ("P11", Lighting::Transmitted, 32.0, 16, 0.92),
    ("P02", Lighting::Dark, 36.0, 10, 0.88),
    ("P05", Lighting::Dark, 36.0, 10, 0.20),
    ("P08", Lighting::Pale, 36.0, 10, 0.25),
    ("P11", Lighting::Pale, 36.0, 10, 0.92),
    ("P02", Lighting::Transmitted, 110.0, 3, 0.88),
    ("P05", Lighting::Transmitted, 110.0, 3, 0.20),
    ("P08", Lighting::Transmitted, 32.0, 12, 0.25),
    ("P11", Lighting::Transmitted, 110.0, 2, 0.92),
];

/// The twelve photographs: four tanks at 10 dph, two of them (P05, P08) with a failing sprayer; light pads, a dark dish,
/// a pale tray, a microscope, and a pad that fills part of its frame.
pub fn sample_images() -> Vec<SampleImage> {
    let age = 10;
    let day = HATCH.saturating_add(age.days());
    PLAN.iter()
        .enumerate()
        .map(|(i, (tank, lighting, px_per_mm, n, share))| {
            let mut dice = Dice::new(20_260_430, i as u64);
            // The shares are met as nearly as whole fish allow, so that so small a set tells its story.
            let gas = (share * *n as f64).round() as usize;
            let mut inflated: Vec<bool> = (0..*n).map(|k| k < gas).collect();
            dice.shuffle(&mut inflated);
            let lengths: Vec<f64> = (0..*n).map(|_| 8.3 * (0.08 * dice.normal()).exp()).collect();
            let mut scene =
                Scene::sample(&lengths, &inflated, age as f64, *lighting, *px_per_mm, 4100 + i as u64);
            let microscope = *px_per_mm > 100.0;
            if microscope {
                scene.style.camera.vignette = 0.25;
                scene.style.camera.blur = 1.4;
                scene.style.things.clear();
            } else if i == 10 {
                scene.style.pad_share = Some(0.55);
                scene.frame = Some([1700, 1300]);
            } else if i % 3 == 0 {
                scene.style.vessels = Vessels::Dish(1.05);
            }
            let kind = match (microscope, lighting) {
                (true, _) => "microscope",
                (_, Lighting::Transmitted) => "light-pad",
                (_, Lighting::Dark) => "dark-dish",
                (_, Lighting::Pale) => "pale-tray",
            };
            SampleImage {
                name: format!("{tank}-{kind}-{:02}.jpg", i + 1),
                tank,
                date: day,
                taken: format!("{} 08:{:02}:00", day.to_string().replace('-', ":"), 3 * i),
                rendered: scene.render(),
            }
        })
        .collect()
}
