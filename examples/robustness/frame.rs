//! Random frames: rendered photographs of every class, small, spoilt in every way a camera, a cable or a hurry can
//! think of, and frames that show nothing at all.

use frygauge::render::{Class, scene};
use frygauge::scale::{Options, Wanted};
use frygauge::units::MmPerPx;
use image::codecs::jpeg::JpegEncoder;
use image::{DynamicImage, ImageFormat, RgbImage, imageops};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::io::Cursor;

/// A frame as a file, and what the search for its scale is told.
pub struct Frame {
    /// The file's bytes.
    pub bytes: Vec<u8>,
    /// Its scale: the right one, a wrong one, or none.
    pub scale: Options,
    /// How it came about, in words.
    pub story: String,
}

/// The frame of a seed.
pub fn draw(seed: u64) -> Frame {
    let rng = &mut ChaCha8Rng::seed_from_u64(seed);
    let mut story = Vec::new();
    let (image, px_per_mm) = picture(rng, seed, &mut story);
    let scale = match rng.random_range(0..8) {
        0 | 1 => None,
        // Somebody mistypes it.
        2 => Some(px_per_mm * rng.random_range(-2.0..2.0f64).exp()),
        _ => Some(px_per_mm),
    };
    story.push(scale.map_or("no scale".into(), |s| format!("{s:.1} px/mm, truly {px_per_mm:.1}")));
    let wanted = scale.and_then(MmPerPx::from_px_per_mm).map_or_else(Wanted::default, Wanted::Given);
    let bytes = file(rng, &image, &mut story);
    Frame { bytes, scale: Options { wanted, ..Options::default() }, story: story.join(", ") }
}

/// A picture and its true scale in pixels to the millimetre.
fn picture(rng: &mut ChaCha8Rng, seed: u64, story: &mut Vec<String>) -> (RgbImage, f64) {
    let (width, height) = (rng.random_range(300..=1200), rng.random_range(240..=900));
    if rng.random_range(0..12) == 0 {
        let image = nothing(rng, width, height, story);
        return (image, rng.random_range(10.0..200.0));
    }
    let class = Class::ALL[rng.random_range(0..Class::ALL.len())];
    let mut scene = scene(class, seed);
    scene.frame = Some([width, height]);
    // Half as wide a frame shows half as many millimetres, or as many at half the size.
    if rng.random_range(0..2) == 0 {
        scene.px_per_mm *= rng.random_range(0.3..1.0);
    }
    scene.fry.truncate(rng.random_range(0..=12));
    story.push(format!("{} {width} x {height}", class.name()));
    let mut image = scene.render().image;
    for _ in 0..rng.random_range(0..=3) {
        image = spoil(rng, image, story);
    }
    (image, scene.px_per_mm)
}

/// A frame without anything in it.
fn nothing(rng: &mut ChaCha8Rng, width: u32, height: u32, story: &mut Vec<String>) -> RgbImage {
    let level = rng.random::<u8>();
    let kind = ["black", "white", "even", "noise", "checks", "ramp"][rng.random_range(0..6)];
    let cell = rng.random_range(1..60);
    story.push(format!("{kind} {width} x {height}"));
    RgbImage::from_fn(width, height, |x, y| {
        image::Rgb(match kind {
            "black" => [0; 3],
            "white" => [255; 3],
            "even" => [level; 3],
            "noise" => rng.random(),
            "checks" => [if (x / cell + y / cell) % 2 == 0 { level } else { 255 - level }; 3],
            _ => [(x * 255 / width) as u8, (y * 255 / height) as u8, level],
        })
    })
}

/// One more thing gone wrong.
fn spoil(rng: &mut ChaCha8Rng, mut image: RgbImage, story: &mut Vec<String>) -> RgbImage {
    let (width, height) = image.dimensions();
    let each = |image: &mut RgbImage, f: &mut dyn FnMut(f32) -> f32| {
        image.iter_mut().for_each(|v| *v = f(f32::from(*v)).clamp(0.0, 255.0) as u8);
    };
    let word = match rng.random_range(0..15) {
        0 => {
            imageops::flip_horizontal_in_place(&mut image);
            "mirrored"
        }
        1 => {
            image = imageops::rotate90(&image);
            "turned"
        }
        2 => {
            let gain = rng.random_range(1.2..4.0);
            each(&mut image, &mut |v| gain * v);
            "clipped white"
        }
        3 => {
            let gain = rng.random_range(0.02..0.4);
            each(&mut image, &mut |v| gain * v);
            "dark"
        }
        4 => {
            let sd = rng.random_range(2.0..80.0);
            each(&mut image, &mut |v| v + sd * (rng.random::<f32>() + rng.random::<f32>() - 1.0));
            "noisy"
        }
        5 => {
            let share = rng.random_range(0.0005..0.2);
            each(&mut image, &mut |v| {
                if rng.random::<f32>() < share { 255.0 * f32::from(rng.random::<bool>()) } else { v }
            });
            "dead and hot pixels"
        }
        6 => {
            each(&mut image, &mut |v| 255.0 - v);
            "negative"
        }
        7 => {
            let step = rng.random_range(16.0..128.0f32);
            each(&mut image, &mut |v| step * (v / step).round());
            "few grey levels"
        }
        8 => {
            let (w, h) = (rng.random_range(1..=width), rng.random_range(1..=height.min(90)));
            let (x, y) = (rng.random_range(0..=width - w), rng.random_range(0..=height - h));
            image = imageops::crop_imm(&image, x, y, w, h).to_image();
            if rng.random() {
                image = imageops::rotate90(&image);
            }
            "a strip"
        }
        9 => {
            let small =
                imageops::thumbnail(&image, (width / rng.random_range(2..12)).max(1), (height / 4).max(1));
            image = imageops::resize(&small, width, height, imageops::FilterType::Triangle);
            "soft"
        }
        10 => {
            let (period, depth) = (rng.random_range(2.0..80.0f32), rng.random_range(0.02..0.6f32));
            let turn = rng.random_range(0.0..3.2f32);
            for (x, y, p) in image.enumerate_pixels_mut() {
                let t = (x as f32 * turn.cos() + y as f32 * turn.sin()) * std::f32::consts::TAU / period;
                p.0 = p.0.map(|v| (f32::from(v) * (1.0 - depth * (0.5 + 0.5 * t.sin()))) as u8);
            }
            "banded"
        }
        11 => {
            let (left, level) = (rng.random_range(0..width), rng.random::<u8>());
            for (x, _, p) in image.enumerate_pixels_mut() {
                if x > left {
                    p.0 = [level; 3];
                }
            }
            "half hidden"
        }
        12 => {
            for p in image.pixels_mut() {
                p.0 = [p.0[1]; 3];
            }
            "grey"
        }
        13 => {
            let gains: [f32; 3] = [0; 3].map(|_| rng.random_range(0.0..1.6));
            for p in image.pixels_mut() {
                p.0 = std::array::from_fn(|c| (gains[c] * f32::from(p.0[c])).min(255.0) as u8);
            }
            "miscoloured"
        }
        _ => {
            let stretch = rng.random_range(0.25..4.0);
            let side = |v: u32, f: f32| ((v as f32 * f) as u32).clamp(1, 1600);
            image = imageops::resize(&image, side(width, stretch), height, imageops::FilterType::Triangle);
            "drawn out"
        }
    };
    story.push(word.into());
    image
}

/// The picture as the bytes of a file, now and then a broken one.
fn file(rng: &mut ChaCha8Rng, image: &RgbImage, story: &mut Vec<String>) -> Vec<u8> {
    let mut bytes = Vec::new();
    let whole = DynamicImage::ImageRgb8(image.clone());
    let (picture, format) = match rng.random_range(0..10) {
        0 => (whole, ImageFormat::Png),
        1 => (DynamicImage::ImageLuma16(whole.to_luma16()), ImageFormat::Png),
        2 => (DynamicImage::ImageRgba8(whole.to_rgba8()), ImageFormat::Tiff),
        3 => (DynamicImage::ImageLuma8(whole.to_luma8()), ImageFormat::Jpeg),
        _ => (whole, ImageFormat::Jpeg),
    };
    if format == ImageFormat::Jpeg {
        let quality = rng.random_range(3..=98);
        story.push(format!("quality {quality}"));
        let encoder = JpegEncoder::new_with_quality(&mut bytes, quality);
        picture.write_with_encoder(encoder).expect("a picture of this size encodes");
    } else {
        story.push(format!("{format:?} {:?}", picture.color()));
        picture.write_to(&mut Cursor::new(&mut bytes), format).expect("a picture of this size encodes");
    }
    match rng.random_range(0..25) {
        0 => {
            bytes.truncate(rng.random_range(0..bytes.len()));
            story.push("cut short".into());
        }
        1 => {
            for _ in 0..rng.random_range(1..30) {
                let at = rng.random_range(0..bytes.len());
                bytes[at] = rng.random();
            }
            story.push("bytes changed".into());
        }
        _ => {}
    }
    bytes
}
