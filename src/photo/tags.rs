//! What the file says about itself: when it was taken, with what, at which resolution. Raw values; what
//! they mean in millimetres is for the scale stage to decide.

use super::Format;
use exif::{Exif, In, Tag, Value};
use jiff::civil::DateTime;
use std::io::Cursor;

/// Unit of a [`Resolution`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ResolutionUnit {
    /// The file gives a ratio of the sides only.
    None,
    /// Pixels to the inch.
    Inch,
    /// Pixels to the centimetre.
    Centimetre,
    /// Pixels to the metre (PNG).
    Metre,
}

/// Resolution tags as written. Cameras fill them with 72, 96, 180, 300 to the inch whatever the lens sees:
/// only microscope software writes values that mean anything.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Resolution {
    /// Pixels a unit along the width of the upright picture.
    pub x: f64,
    /// Pixels a unit along its height.
    pub y: f64,
    /// The unit.
    pub unit: ResolutionUnit,
}

/// What the file says about itself.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Tags {
    /// When it was taken, in the camera's own clock.
    pub taken: Option<DateTime>,
    /// Maker of the camera.
    pub make: Option<String>,
    /// Model of the camera.
    pub model: Option<String>,
    /// Lens or objective.
    pub lens: Option<String>,
    /// Focal length, millimetres.
    pub focal_length_mm: Option<f64>,
    /// Resolution tags, turned with the picture.
    pub resolution: Option<Resolution>,
    /// ImageDescription: free text, or OME-XML, where microscope software writes its calibration.
    pub description: Option<String>,
    /// EXIF orientation, 1-8; 1 when the file does not say.
    pub orientation: u16,
}

/// Reads the tags of `bytes`; what is missing or unreadable is left out, for a photograph does not depend
/// on it.
pub fn read(bytes: &[u8], format: Format) -> Tags {
    let mut tags = Tags { orientation: 1, ..Tags::default() };
    let exif = exif::Reader::new()
        .continue_on_error(true)
        .read_from_container(&mut Cursor::new(bytes))
        .or_else(|e| e.distill_partial_result(|_| ()))
        .ok();
    if let Some(exif) = &exif {
        from_exif(exif, &mut tags);
    }
    if format == Format::Png && tags.resolution.is_none() {
        tags.resolution = png_resolution(bytes);
    }
    if tags.orientation >= 5
        && let Some(r) = &mut tags.resolution
    {
        std::mem::swap(&mut r.x, &mut r.y);
    }
    tags
}

fn from_exif(exif: &Exif, tags: &mut Tags) {
    let field = |tag| exif.get_field(tag, In::PRIMARY).map(|f| &f.value);
    let text = |tag| field(tag).and_then(ascii);
    let number = |tag| field(tag).and_then(rational);
    tags.taken = [Tag::DateTimeOriginal, Tag::DateTimeDigitized, Tag::DateTime]
        .into_iter()
        .find_map(|tag| text(tag).and_then(|t| date_time(&t)));
    tags.make = text(Tag::Make);
    tags.model = text(Tag::Model);
    tags.lens = text(Tag::LensModel);
    tags.focal_length_mm = number(Tag::FocalLength);
    tags.description = text(Tag::ImageDescription);
    if let Some(value) = field(Tag::Orientation).and_then(|v| v.get_uint(0)) {
        tags.orientation = u16::try_from(value).ok().filter(|v| (1..=8).contains(v)).unwrap_or(1);
    }
    let unit = match field(Tag::ResolutionUnit).and_then(|v| v.get_uint(0)) {
        Some(1) => ResolutionUnit::None,
        Some(3) => ResolutionUnit::Centimetre,
        // TIFF 6.0: inch is the default.
        _ => ResolutionUnit::Inch,
    };
    if let (Some(x), Some(y)) = (number(Tag::XResolution), number(Tag::YResolution)) {
        tags.resolution = Some(Resolution { x, y, unit });
    }
}

fn ascii(value: &Value) -> Option<String> {
    let Value::Ascii(parts) = value else { return None };
    let text = String::from_utf8_lossy(parts.first()?).trim_matches(['\0', ' ', '\n', '\r']).to_owned();
    (!text.is_empty()).then_some(text)
}

fn rational(value: &Value) -> Option<f64> {
    let Value::Rational(parts) = value else { return None };
    let number = parts.first()?.to_f64();
    (number.is_finite() && number > 0.0).then_some(number)
}

/// `2026:05:02 09:14:00`; a clock that was never set (all zero, or before digital cameras) is no date.
fn date_time(text: &str) -> Option<DateTime> {
    let at = DateTime::strptime("%Y:%m:%d %H:%M:%S", text.get(..19)?).ok()?;
    (at.year() > 1990).then_some(at)
}

/// The `pHYs` chunk (PNG specification, third edition, 11.3.4.3), which stands before the picture data.
fn png_resolution(bytes: &[u8]) -> Option<Resolution> {
    let word = |at: usize| -> Option<u32> {
        bytes.get(at..at + 4).map(|b| u32::from_be_bytes([b[0], b[1], b[2], b[3]]))
    };
    let mut at = 8_usize;
    loop {
        let length = word(at)? as usize;
        match bytes.get(at + 4..at + 8)? {
            b"pHYs" => {
                let (x, y) = (f64::from(word(at + 8)?), f64::from(word(at + 12)?));
                let unit =
                    if bytes.get(at + 16) == Some(&1) { ResolutionUnit::Metre } else { ResolutionUnit::None };
                return (x > 0.0 && y > 0.0).then_some(Resolution { x, y, unit });
            }
            b"IDAT" | b"IEND" => return None,
            _ => at = at.checked_add(length)?.checked_add(12)?,
        }
    }
}
