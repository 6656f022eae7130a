//! Rendered photographs as JPEG files, marked as rendered.

use super::Rendered;
use image::RgbImage;

/// What every file says in its `ImageDescription`.
pub const NOTICE: &str = "Rendered by frygauge: not a photograph, invented fish";

/// What a camera writes into its files besides the picture.
#[derive(Debug, Clone, Default)]
pub struct Tags<'a> {
    /// Capture time, `YYYY:MM:DD HH:MM:SS` as EXIF 2.32 writes it.
    pub taken: Option<&'a str>,
    /// Pixels per millimetre, written as resolution per centimetre, as calibrated microscope cameras do.
    pub px_per_mm: Option<f64>,
}

/// JPEG of a rendered photograph, baseline, 4:2:0, at `quality` (1-100, libjpeg's scale). The EXIF
/// `ImageDescription` says that it is rendered.
///
/// ```
/// use frygauge::render::{Class, encode_jpeg, photograph};
/// let bytes = encode_jpeg(&photograph(Class::Microscope, 1), 80);
/// assert_eq!(bytes[..2], [0xff, 0xd8]);
/// ```
pub fn encode_jpeg(rendered: &Rendered, quality: u8) -> Vec<u8> {
    encode_jpeg_tagged(rendered, quality, &Tags::default())
}

/// The same with more `tags`.
pub fn encode_jpeg_tagged(rendered: &Rendered, quality: u8, tags: &Tags) -> Vec<u8> {
    encode(&rendered.image, quality, Some(&exif(tags)))
}

fn encode(image: &RgbImage, quality: u8, exif: Option<&[u8]>) -> Vec<u8> {
    let mut bytes = Vec::new();
    let mut encoder = jpeg_encoder::Encoder::new(&mut bytes, quality.clamp(1, 100));
    encoder.set_sampling_factor(jpeg_encoder::SamplingFactor::F_2_2);
    if let Some(exif) = exif {
        let marked = encoder.add_exif_metadata(exif);
        debug_assert!(marked.is_ok(), "far below the 64 KiB limit of a segment");
    }
    let (width, height) = (image.width() as u16, image.height() as u16);
    let done = encoder.encode(image.as_raw(), width, height, jpeg_encoder::ColorType::Rgb);
    debug_assert!(done.is_ok(), "a rendered picture has a side of at most 65535 and writing to memory works");
    bytes
}

/// The picture as it comes back from a JPEG file of `quality`.
pub(super) fn round_trip(image: &RgbImage, quality: u8) -> RgbImage {
    let bytes = encode(image, quality, None);
    image::load_from_memory_with_format(&bytes, image::ImageFormat::Jpeg)
        .map_or_else(|_| image.clone(), |decoded| decoded.to_rgb8())
}

/// A little-endian TIFF directory (TIFF 6.0, EXIF 2.32) with the notice and `tags`.
fn exif(tags: &Tags) -> Vec<u8> {
    const ASCII: u16 = 2;
    const SHORT: u16 = 3;
    const LONG: u16 = 4;
    const RATIONAL: u16 = 5;
    let ascii = |text: &str| {
        let mut bytes = text.as_bytes().to_vec();
        bytes.push(0);
        bytes
    };
    // Tag, type, count, value; tags must ascend.
    let mut entries: Vec<(u16, u16, u32, Vec<u8>)> = Vec::new();
    let mut put = |tag: u16, kind: u16, value: Vec<u8>| {
        let unit = match kind {
            ASCII => 1,
            SHORT => 2,
            LONG => 4,
            _ => 8,
        };
        entries.push((tag, kind, value.len() as u32 / unit, value));
    };
    put(0x010e, ASCII, ascii(NOTICE));
    if let Some(px_per_mm) = tags.px_per_mm {
        // Per centimetre, to a thousandth.
        let per_cm = (px_per_mm * 10_000.0).round() as u32;
        let rational = [per_cm.to_le_bytes(), 1000u32.to_le_bytes()].concat();
        put(0x011a, RATIONAL, rational.clone());
        put(0x011b, RATIONAL, rational);
        put(0x0128, SHORT, 3u16.to_le_bytes().to_vec());
    }
    put(0x0131, ASCII, ascii("frygauge demo renderer"));
    if let Some(taken) = tags.taken {
        put(0x0132, ASCII, ascii(taken));
        put(0x8769, LONG, vec![0; 4]);
    }
    let base = 8 + 2 + 12 * entries.len() + 4;
    let mut data: Vec<u8> = Vec::new();
    let mut out = b"II\x2a\0\x08\0\0\0".to_vec();
    out.extend((entries.len() as u16).to_le_bytes());
    let long: usize = entries.iter().filter(|e| e.3.len() > 4).map(|e| e.3.len().next_multiple_of(2)).sum();
    for (tag, kind, count, value) in &entries {
        out.extend(tag.to_le_bytes());
        out.extend(kind.to_le_bytes());
        out.extend(count.to_le_bytes());
        if *tag == 0x8769 {
            // The EXIF directory follows everything else.
            out.extend(((base + long) as u32).to_le_bytes());
        } else if value.len() <= 4 {
            let mut short = value.clone();
            short.resize(4, 0);
            out.extend(short);
        } else {
            out.extend(((base + data.len()) as u32).to_le_bytes());
            data.extend_from_slice(value);
            data.resize(data.len().next_multiple_of(2), 0);
        }
    }
    out.extend(0u32.to_le_bytes());
    out.extend(data);
    if let Some(taken) = tags.taken {
        let text = ascii(taken);
        let at = out.len() as u32 + 18;
        out.extend(1u16.to_le_bytes());
        // DateTimeOriginal.
        out.extend(0x9003_u16.to_le_bytes());
        out.extend(ASCII.to_le_bytes());
        out.extend((text.len() as u32).to_le_bytes());
        out.extend(at.to_le_bytes());
        out.extend(0u32.to_le_bytes());
        out.extend(text);
    }
    out
}
