//! Pictures as bytes.

use image::codecs::jpeg::JpegEncoder;
use image::{ExtendedColorType, ImageError, RgbImage};
use ndarray::Array3;

/// `image` as a baseline JPEG of `quality` 1-100.
///
/// # Errors
/// When the encoder refuses the size: a side of zero or above 65,535.
pub fn jpeg(image: &RgbImage, quality: u8) -> Result<Vec<u8>, ImageError> {
    let mut bytes = Vec::new();
    JpegEncoder::new_with_quality(&mut bytes, quality).encode(
        image.as_raw(),
        image.width(),
        image.height(),
        ExtendedColorType::Rgb8,
    )?;
    Ok(bytes)
}

/// A straightened fish as a picture: `values` has axes channel, row, column and is 1 on bare background.
///
/// Fish darker than the background are shown on a light grey; on a dark background the brightest
/// hundredth of the strip is shown white, so that both can be judged by eye.
pub fn strip_picture(values: &Array3<f32>) -> RgbImage {
    let (_, height, width) = values.dim();
    let mut sorted: Vec<f32> = values.iter().copied().filter(|v| v.is_finite()).collect();
    let at = sorted.len().saturating_sub(1) * 99 / 100;
    let high = if sorted.is_empty() { 1.0 } else { *sorted.select_nth_unstable_by(at, f32::total_cmp).1 };
    // Glints reach a little above the background on a light pad; a pale fish on a dark dish far above.
    let white = high.max(1.12);
    RgbImage::from_fn(width as u32, height as u32, |x, y| {
        let level = |c: usize| {
            let v = values[[c.min(values.dim().0 - 1), y as usize, x as usize]] / white;
            // Dark dishes leave most of the body in the lower half: a square root lifts it.
            let v = if white > 2.0 { v.max(0.0).sqrt() } else { v };
            (v * 250.0).clamp(0.0, 255.0) as u8
        };
        image::Rgb([level(0), level(1), level(2)])
    })
}
