//! Rendered photographs as JPEG files, marked as rendered.

use super::Rendered;
use image::RgbImage;

/// What every file says in its `ImageDescription`.
pub const NOTICE: &str = "Rendered by frygauge: not a photograph, invented fish";

/// JPEG of a rendered photograph, baseline, 4:2:0, at `quality` (1-100, libjpeg's scale). The EXIF
/// `ImageDescription` says that it is rendered.
pub fn encode_jpeg(rendered: &Rendered, quality: u8) -> Vec<u8> {
    encode(&rendered.image, quality, Some(&exif(None)))
}

/// The same with a capture time, `YYYY:MM:DD HH:MM:SS` as EXIF 2.32 writes it.
pub fn encode_jpeg_taken(rendered: &Rendered, quality: u8, taken: &str) -> Vec<u8> {
    encode(&rendered.image, quality, Some(&exif(Some(taken))))
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

/// A little-endian TIFF directory with `ImageDescription` (0x010E), `Software` (0x0131) and, when
/// given, `DateTime` (0x0132) and `DateTimeOriginal` (0x9003 in the EXIF directory).
fn exif(taken: Option<&str>) -> Vec<u8> {
    let ascii = |text: &str| {
        let mut bytes = text.as_bytes().to_vec();
        bytes.push(0);
        bytes
    };
    let mut entries = vec![(0x010e_u16, ascii(NOTICE)), (0x0131, ascii("frygauge demo renderer"))];
    if let Some(taken) = taken {
        entries.push((0x0132, ascii(taken)));
    }
    let pointer = usize::from(taken.is_some());
    let directory = 2 + 12 * (entries.len() + pointer) + 4;
    let mut data: Vec<u8> = Vec::new();
    let base = 8 + directory;
    let mut out = b"II\x2a\0\x08\0\0\0".to_vec();
    out.extend(((entries.len() + pointer) as u16).to_le_bytes());
    for (tag, text) in &entries {
        out.extend(tag.to_le_bytes());
        out.extend(2u16.to_le_bytes());
        out.extend((text.len() as u32).to_le_bytes());
        out.extend(((base + data.len()) as u32).to_le_bytes());
        data.extend_from_slice(text);
        if data.len() % 2 == 1 {
            data.push(0);
        }
    }
    if let Some(taken) = taken {
        let at = base + data.len();
        out.extend(0x8769_u16.to_le_bytes());
        out.extend(4u16.to_le_bytes());
        out.extend(1u32.to_le_bytes());
        out.extend((at as u32).to_le_bytes());
        let text = ascii(taken);
        data.extend(1u16.to_le_bytes());
        data.extend(0x9003_u16.to_le_bytes());
        data.extend(2u16.to_le_bytes());
        data.extend((text.len() as u32).to_le_bytes());
        data.extend(((at + 18) as u32).to_le_bytes());
        data.extend(0u32.to_le_bytes());
        data.extend(text);
    }
    out.extend(0u32.to_le_bytes());
    out.extend(data);
    out
}
