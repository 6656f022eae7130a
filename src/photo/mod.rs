//! Bytes to an oriented picture with its capture time and resolution tags; limits enforced.
//!
//! [`open`] reads a file, [`decode`] bytes in memory; a worker that reads many keeps a [`Buffers`] and calls
//! [`decode_with`]. [`list`] turns files and folders into the sorted photographs they hold. JPEG gives its
//! own Y, Cb and Cr; PNG, TIFF and WebP are converted with the same weights, so that formats agree.

mod banding;
mod error;
mod folder;
mod format;
mod jpeg;
pub(crate) mod orient;
mod raster;
mod shrink;
mod tags;

pub use banding::without_banding;
pub use error::{PhotoError, Who};
pub use folder::{Duplicate, Listing, Source, list, sha256};
pub use format::{Format, is_picture_name, sniff};
pub use tags::{Resolution, ResolutionUnit, Tags};

use std::path::Path;

/// Longest side read, in pixels.
pub const MAX_SIDE: u32 = 30_000;
/// Shortest side read, in pixels: a fish needs more than this.
pub const MIN_SIDE: u32 = 64;
/// Most pixels read, in millions.
pub const MAX_MEGAPIXELS: u32 = 220;
/// Most bytes read, in millions.
pub const MAX_MEGABYTES: u64 = 1_000;

/// A photograph: its picture, upright, and what its file says about itself.
#[derive(Debug, Clone)]
pub struct Photo {
    /// The picture.
    pub pixels: Pixels,
    /// What the file says about itself.
    pub tags: Tags,
    /// Format of the file.
    pub format: Format,
    /// What the user should know about the reading, as words for the `flags` column: `12_bit`.
    pub notes: Vec<&'static str>,
}

/// Memory a worker keeps from one photograph to the next: fresh pages cost as much time as decoding.
#[derive(Debug, Default)]
pub struct Buffers {
    planes: Vec<Vec<u8>>,
}

impl Buffers {
    /// Gives the memory of a photograph that is done with to the next one.
    pub fn recycle(&mut self, photo: Photo) {
        self.planes.push(photo.pixels.luma);
        if let Some(chroma) = photo.pixels.chroma {
            self.planes.extend([chroma.cb, chroma.cr]);
        }
        self.planes.sort_by_key(Vec::capacity);
        let surplus = self.planes.len().saturating_sub(3);
        self.planes.drain(..surplus);
    }

    /// A plane of `len` values, contents unspecified.
    fn take_plane(&mut self, len: usize) -> Vec<u8> {
        // The smallest that is large enough, or else the largest.
        let fit = self.planes.iter().position(|p| p.capacity() >= len);
        let mut plane = match fit.or(self.planes.len().checked_sub(1)) {
            Some(at) => self.planes.remove(at),
            None => Vec::new(),
        };
        plane.resize(len, 0);
        plane.truncate(len);
        plane
    }
}

/// Reads the photograph at `path`.
///
/// # Errors
/// [`PhotoError`], saying who must act and what to do.
pub fn open(path: &Path) -> Result<Photo, PhotoError> {
    decode(&read(path)?, &path.to_string_lossy())
}

/// Reads the bytes of the file at `path`, within [`MAX_MEGABYTES`].
///
/// # Errors
/// [`PhotoError::Unreadable`] and [`PhotoError::TooManyBytes`].
pub fn read(path: &Path) -> Result<Vec<u8>, PhotoError> {
    let unreadable = |source| PhotoError::Unreadable { path: path.to_path_buf(), source };
    let megabytes = std::fs::metadata(path).map_err(unreadable)?.len() / 1_000_000;
    if megabytes > MAX_MEGABYTES {
        return Err(PhotoError::TooManyBytes { megabytes, max_megabytes: MAX_MEGABYTES });
    }
    std::fs::read(path).map_err(unreadable)
}

/// Decodes a photograph held in memory. `name` only tells a camera raw file from the TIFF it looks like.
///
/// # Errors
/// [`PhotoError`], saying who must act and what to do.
///
/// ```
/// use frygauge::photo;
/// let error = photo::decode(b"dear diary", "IMG_0001.jpg").unwrap_err();
/// assert_eq!(error.to_string(), "not a photograph: the bytes are text");
/// ```
pub fn decode(bytes: &[u8], name: &str) -> Result<Photo, PhotoError> {
    decode_with(&mut Buffers::default(), bytes, name)
}

/// As [`decode`], with memory kept from one photograph to the next.
///
/// # Errors
/// [`PhotoError`], saying who must act and what to do.
pub fn decode_with(buffers: &mut Buffers, bytes: &[u8], name: &str) -> Result<Photo, PhotoError> {
    let format = sniff(bytes)?;
    if format == Format::Tiff && format::is_raw_name(name) {
        return Err(PhotoError::Unsupported {
            format: "camera raw",
            advice: "export it as JPEG first (quality 90 or more)",
        });
    }
    let mut notes = Vec::new();
    let pixels = match format {
        Format::Jpeg => jpeg::decode(bytes, buffers)?,
        Format::Png | Format::Tiff | Format::WebP => raster::decode(bytes, format, buffers, &mut notes)?,
    };
    let tags = tags::read(bytes, format);
    let pixels = orient::upright(pixels, tags.orientation);
    Ok(Photo { pixels, tags, format, notes })
}

/// Refuses sizes no photograph of fish has, before memory is taken for them.
fn check_size(width: u64, height: u64) -> Result<(), PhotoError> {
    let most = u64::from(MAX_MEGAPIXELS) * 1_000_000;
    if width.max(height) > u64::from(MAX_SIDE) || width * height > most {
        return Err(PhotoError::TooLarge {
            width,
            height,
            max_side: MAX_SIDE,
            max_megapixels: MAX_MEGAPIXELS,
        });
    }
    if width.min(height) < u64::from(MIN_SIDE) {
        return Err(PhotoError::TooSmall { width: width as u32, height: height as u32, min_side: MIN_SIDE });
    }
    Ok(())
}

/// A decoded photograph, upright (EXIF orientation applied).
#[derive(Debug, Clone)]
pub struct Pixels {
    /// Width in pixels.
    pub width: u32,
    /// Height in pixels.
    pub height: u32,
    /// Brightness, row by row from the top left, `width * height` values: the Y of JPEG (ITU-R BT.601,
    /// full range) whatever the file format, so that formats agree.
    pub luma: Vec<u8>,
    /// Colour at half resolution; `None` for a grey photograph.
    pub chroma: Option<Chroma>,
}

/// The two colour-difference planes of JPEG (ITU-R BT.601, full range, 128 is neutral) at half resolution.
#[derive(Debug, Clone)]
pub struct Chroma {
    /// Half the photograph's width, rounded up.
    pub width: u32,
    /// Half the photograph's height, rounded up.
    pub height: u32,
    /// Blue difference, row by row.
    pub cb: Vec<u8>,
    /// Red difference, row by row.
    pub cr: Vec<u8>,
}

impl Pixels {
    /// Red, green and blue (0-255) at column `x` and row `y`; coordinates outside are clamped to the frame.
    pub fn rgb(&self, x: i64, y: i64) -> [f32; 3] {
        let x = x.clamp(0, i64::from(self.width) - 1) as usize;
        let y = y.clamp(0, i64::from(self.height) - 1) as usize;
        let luma = f32::from(self.luma[y * self.width as usize + x]);
        let Some(chroma) = &self.chroma else { return [luma; 3] };
        let at = (y / 2) * chroma.width as usize + x / 2;
        rgb_of(luma, f32::from(chroma.cb[at]), f32::from(chroma.cr[at]))
    }
}

/// Red, green and blue of a pixel (JFIF 1.02, conversion to RGB).
fn rgb_of(luma: f32, cb: f32, cr: f32) -> [f32; 3] {
    let (cb, cr) = (cb - 128.0, cr - 128.0);
    [luma + 1.402 * cr, luma - 0.344_136 * cb - 0.714_136 * cr, luma + 1.772 * cb]
        .map(|v| v.clamp(0.0, 255.0))
}

impl Pixels {
    /// A photograph from red, green and blue; chroma is averaged over squares of four pixels.
    pub fn from_rgb(image: &image::RgbImage) -> Self {
        raster::rgb_to_pixels(image.as_raw(), image.width(), image.height(), &mut Buffers::default())
    }
}
