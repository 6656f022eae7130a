//! PNG, TIFF and WebP to brightness and half-resolution colour, with the weights of JPEG's Y.

use super::{Buffers, Chroma, Format, MAX_MEGAPIXELS, MAX_SIDE, PhotoError, Pixels, check_size};
use image::codecs::{png::PngDecoder, tiff::TiffDecoder, webp::WebPDecoder};
use image::{DynamicImage, ExtendedColorType, ImageDecoder, ImageError, Limits};
use std::io::Cursor;

/// Decodes a PNG, TIFF or WebP; `notes` receives what the user should know.
///
/// # Errors
/// [`PhotoError`] for animated, damaged, cut-short, too large or too small pictures.
pub fn decode(
    bytes: &[u8],
    format: Format,
    buffers: &mut Buffers,
    notes: &mut Vec<&'static str>,
) -> Result<Pixels, PhotoError> {
    let cursor = Cursor::new(bytes);
    let animated = |format| PhotoError::Unsupported { format, advice: "export one frame as PNG or JPEG" };
    match format {
        Format::Png => {
            png_size(bytes)?;
            let decoder = PngDecoder::with_limits(cursor, limits()).map_err(failed)?;
            if decoder.is_apng().map_err(failed)? {
                return Err(animated("an animated PNG"));
            }
            pixels(decoder, buffers, notes)
        }
        Format::WebP => {
            let decoder = WebPDecoder::new(cursor).map_err(failed)?;
            if decoder.has_animation() {
                return Err(animated("an animated WebP"));
            }
            pixels(decoder, buffers, notes)
        }
        Format::Tiff | Format::Jpeg => pixels(TiffDecoder::new(cursor).map_err(failed)?, buffers, notes),
    }
}

fn limits() -> Limits {
    let mut limits = Limits::default();
    limits.max_image_width = Some(MAX_SIDE);
    limits.max_image_height = Some(MAX_SIDE);
    // Sixteen-bit RGBA is the widest pixel.
    limits.max_alloc = Some(u64::from(MAX_MEGAPIXELS) * 1_000_000 * 8 + (64 << 20));
    limits
}

/// The size in a PNG's first chunk, checked before any memory is taken for it.
fn png_size(bytes: &[u8]) -> Result<(), PhotoError> {
    let header = bytes.get(16..24).ok_or_else(|| PhotoError::Truncated {
        detail: format!("it stops inside the header ({} bytes)", bytes.len()),
    })?;
    let side =
        |i: usize| u64::from(u32::from_be_bytes([header[i], header[i + 1], header[i + 2], header[i + 3]]));
    check_size(side(0), side(4))
}

fn failed(error: ImageError) -> PhotoError {
    let detail: String = error.to_string().lines().next().unwrap_or_default().chars().take(120).collect();
    match error {
        ImageError::IoError(e) if e.kind() == std::io::ErrorKind::UnexpectedEof => {
            PhotoError::Truncated { detail: "the picture data stop early".into() }
        }
        ImageError::Unsupported(_) => PhotoError::Unsupported {
            format: "this kind of PNG, TIFF or WebP",
            advice: "export it as 8-bit or 16-bit grey or RGB, uncompressed or LZW",
        },
        _ if detail.contains("unexpected end")
            || detail.contains("UnexpectedEof")
            || detail.contains("end of file") =>
        {
            PhotoError::Truncated { detail: "the picture data stop early".into() }
        }
        _ => PhotoError::Damaged { detail },
    }
}

fn pixels(
    mut decoder: impl ImageDecoder,
    buffers: &mut Buffers,
    notes: &mut Vec<&'static str>,
) -> Result<Pixels, PhotoError> {
    let (width, height) = decoder.dimensions();
    check_size(u64::from(width), u64::from(height))?;
    decoder.set_limits(limits()).map_err(failed)?;
    if matches!(decoder.original_color_type(), ExtendedColorType::Cmyk8 | ExtendedColorType::Cmyk16) {
        return Err(PhotoError::Unsupported {
            format: "CMYK TIFF (made for printing)",
            advice: "give the photograph as the camera made it, or export it as RGB",
        });
    }
    let image = DynamicImage::from_decoder(decoder).map_err(failed)?;
    let grey = |luma: Vec<u8>| Pixels { width, height, luma, chroma: None };
    Ok(match image {
        DynamicImage::ImageLuma8(image) => grey(image.into_raw()),
        DynamicImage::ImageLumaA8(image) => {
            grey(image.as_raw().chunks_exact(2).map(|p| over_white(p[0], p[1])).collect())
        }
        DynamicImage::ImageLuma16(image) => {
            let shift = significant_shift(image.as_raw(), notes);
            grey(image.as_raw().iter().map(|&v| (v >> shift) as u8).collect())
        }
        DynamicImage::ImageLumaA16(image) => {
            let values: Vec<u16> = image.as_raw().chunks_exact(2).map(|p| p[0]).collect();
            let shift = significant_shift(&values, notes);
            grey(values.iter().map(|&v| (v >> shift) as u8).collect())
        }
        DynamicImage::ImageRgb8(image) => rgb_to_pixels(image.as_raw(), width, height, buffers),
        DynamicImage::ImageRgba8(image) => {
            let rgb: Vec<u8> = image
                .as_raw()
                .chunks_exact(4)
                .flat_map(|p| [over_white(p[0], p[3]), over_white(p[1], p[3]), over_white(p[2], p[3])])
                .collect();
            rgb_to_pixels(&rgb, width, height, buffers)
        }
        DynamicImage::ImageRgb16(image) => {
            let shift = significant_shift(image.as_raw(), notes);
            let rgb: Vec<u8> = image.as_raw().iter().map(|&v| (v >> shift) as u8).collect();
            rgb_to_pixels(&rgb, width, height, buffers)
        }
        DynamicImage::ImageRgba16(image) => {
            let values: Vec<u16> = image.as_raw().chunks_exact(4).flat_map(|p| [p[0], p[1], p[2]]).collect();
            let shift = significant_shift(&values, notes);
            let rgb: Vec<u8> = values.iter().map(|&v| (v >> shift) as u8).collect();
            rgb_to_pixels(&rgb, width, height, buffers)
        }
        _ => {
            return Err(PhotoError::Unsupported {
                format: "a picture of floating-point numbers",
                advice: "export it as 8-bit or 16-bit grey or RGB",
            });
        }
    })
}

/// A transparent pixel shows the white page behind it.
fn over_white(value: u8, alpha: u8) -> u8 {
    if alpha == 255 {
        return value;
    }
    let (value, alpha) = (u32::from(value), u32::from(alpha));
    ((value * alpha + 255 * (255 - alpha) + 127) / 255) as u8
}

/// How far to shift sixteen-bit values to eight bits. Microscope cameras of 10, 12 and 14 bits write their
/// counts unscaled, so the largest value tells how many bits carry light; shifting by eight would leave
/// a black picture.
fn significant_shift(values: &[u16], notes: &mut Vec<&'static str>) -> u32 {
    let bits = (16 - values.iter().copied().max().unwrap_or(0).leading_zeros()).max(8);
    match bits {
        9..=10 => notes.push("10_bit"),
        11..=12 => notes.push("12_bit"),
        13..=14 => notes.push("14_bit"),
        _ => {}
    }
    // Sensors come with an even number of bits: a picture that uses 11 of 12 is merely not fully exposed.
    bits.next_multiple_of(2).saturating_sub(8)
}

/// Interleaved red, green, blue to brightness and half-resolution colour.
///
/// # References
/// JFIF 1.02 (ITU-T T.871), conversion from RGB; 16-bit fixed point, rounded.
pub(super) fn rgb_to_pixels(rgb: &[u8], width: u32, height: u32, buffers: &mut Buffers) -> Pixels {
    let (w, h) = (width as usize, height as usize);
    let (cw, ch) = (w.div_ceil(2), h.div_ceil(2));
    let mut luma = buffers.take_plane(w * h);
    let mut cb = buffers.take_plane(cw * ch);
    let mut cr = buffers.take_plane(cw * ch);
    for (value, p) in luma.iter_mut().zip(rgb.chunks_exact(3)) {
        *value = luma_of(p[0], p[1], p[2]);
    }
    for cy in 0..ch {
        for cx in 0..cw {
            let mut sum = [0_i32; 3];
            for (dy, dx) in [(0, 0), (0, 1), (1, 0), (1, 1)] {
                let at = 3 * ((2 * cy + dy).min(h - 1) * w + (2 * cx + dx).min(w - 1));
                for (s, &v) in sum.iter_mut().zip(&rgb[at..at + 3]) {
                    *s += i32::from(v);
                }
            }
            let [r, g, b] = sum;
            // The sum of four pixels: two bits more than one.
            let difference = |x: i32| ((x + (128 << 18) + (1 << 17)) >> 18).clamp(0, 255) as u8;
            cb[cy * cw + cx] = difference(-11059 * r - 21709 * g + 32768 * b);
            cr[cy * cw + cx] = difference(32768 * r - 27439 * g - 5329 * b);
        }
    }
    Pixels { width, height, luma, chroma: Some(Chroma { width: cw as u32, height: ch as u32, cb, cr }) }
}

/// Y of JPEG: 0.299 red, 0.587 green, 0.114 blue.
fn luma_of(r: u8, g: u8, b: u8) -> u8 {
    ((19595 * u32::from(r) + 38470 * u32::from(g) + 7471 * u32::from(b) + 32768) >> 16) as u8
}
