//! JPEG to brightness and half-resolution colour, in the file's own Y, Cb and Cr.
//!
//! The decoder hands out the three interleaved at full resolution; they are taken apart at once and in place, so that
//! the memory is given back before the search needs its own.

use super::{Buffers, Chroma, MAX_SIDE, PhotoError, Pixels, check_size};
use zune_core::bytestream::ZCursor;
use zune_core::colorspace::ColorSpace;
use zune_core::options::DecoderOptions;
use zune_jpeg::JpegDecoder;
use zune_jpeg::errors::DecodeErrors;

/// Decodes a JPEG.
///
/// # Errors
/// [`PhotoError`] for CMYK, damaged, cut-short, too large or too small pictures.
pub fn decode(bytes: &[u8], buffers: &mut Buffers) -> Result<Pixels, PhotoError> {
    check_whole(bytes)?;
    let options =
        DecoderOptions::new_fast().set_max_width(MAX_SIDE as usize).set_max_height(MAX_SIDE as usize);
    let mut decoder = JpegDecoder::new_with_options(ZCursor::new(bytes), options);
    decoder.decode_headers().map_err(|e| damaged(&e))?;
    let info = decoder.info().ok_or_else(|| PhotoError::Damaged { detail: "no frame header".into() })?;
    check_size(u64::from(info.width), u64::from(info.height))?;
    let (width, height) = (u32::from(info.width), u32::from(info.height));
    let input = decoder.input_colorspace().unwrap_or(ColorSpace::YCbCr);
    let output = match input {
        ColorSpace::Luma => ColorSpace::Luma,
        ColorSpace::YCbCr => ColorSpace::YCbCr,
        ColorSpace::RGB => ColorSpace::RGB,
        _ => {
            return Err(PhotoError::Unsupported {
                format: "CMYK JPEG (made for printing)",
                advice: "give the photograph as the camera made it, or export it as RGB (sRGB) JPEG",
            });
        }
    };
    decoder.set_options(options.jpeg_set_out_colorspace(output));
    let pixels = width as usize * height as usize;
    if output == ColorSpace::Luma {
        let mut luma = buffers.take_plane(pixels);
        decoder.decode_into(&mut luma).map_err(|e| damaged(&e))?;
        return Ok(Pixels { width, height, luma, chroma: None });
    }
    let mut interleaved = buffers.take_plane(pixels * 3);
    decoder.decode_into(&mut interleaved).map_err(|e| damaged(&e))?;
    Ok(if output == ColorSpace::YCbCr {
        split_ycbcr(interleaved, width, height, buffers)
    } else {
        super::raster::rgb_to_pixels(&interleaved, width, height, buffers)
    })
}

/// Interleaved Y, Cb, Cr to planes; colour is the mean of each two by two pixels.
fn split_ycbcr(mut interleaved: Vec<u8>, width: u32, height: u32, buffers: &mut Buffers) -> Pixels {
    let (w, h) = (width as usize, height as usize);
    let (cw, ch) = (w.div_ceil(2), h.div_ceil(2));
    let mut cb = buffers.take_plane(cw * ch);
    let mut cr = buffers.take_plane(cw * ch);
    for y in 0..h {
        if y % 2 == 0 {
            let row = &interleaved[3 * w * y..3 * w * (y + 1)];
            let below = if y + 1 < h { &interleaved[3 * w * (y + 1)..3 * w * (y + 2)] } else { row };
            let at = y / 2 * cw;
            halve(row, below, &mut cb[at..at + cw], &mut cr[at..at + cw]);
        }
        // The row's brightness goes to where rows stood that are done with; only the first overlaps itself.
        if y == 0 {
            for x in 0..w {
                interleaved[x] = interleaved[3 * x];
            }
            continue;
        }
        let (done, rest) = interleaved.split_at_mut(3 * w * y);
        for (value, pixel) in done[w * y..w * (y + 1)].iter_mut().zip(rest.chunks_exact(3)) {
            *value = pixel[0];
        }
    }
    interleaved.truncate(w * h);
    interleaved.shrink_to_fit();
    Pixels {
        width,
        height,
        luma: interleaved,
        chroma: Some(Chroma { width: cw as u32, height: ch as u32, cb, cr }),
    }
}

/// The colour of two rows of interleaved pixels as one row of means of two by two.
fn halve(row: &[u8], below: &[u8], cb: &mut [u8], cr: &mut [u8]) {
    let pairs = row.chunks_exact(6).zip(below.chunks_exact(6));
    for (((a, b), cb), cr) in pairs.zip(cb.iter_mut()).zip(cr.iter_mut()) {
        let mean = |i: usize| {
            ((u16::from(a[i]) + u16::from(a[i + 3]) + u16::from(b[i]) + u16::from(b[i + 3]) + 2) / 4) as u8
        };
        *cb = mean(1);
        *cr = mean(2);
    }
    let rest = row.chunks_exact(6).remainder().iter().zip(below.chunks_exact(6).remainder());
    let mut alone = rest.map(|(a, b)| (u16::from(*a) + u16::from(*b)).div_ceil(2) as u8).skip(1);
    if let (Some(last_cb), Some(last_cr)) = (alone.next(), alone.next()) {
        cb[cb.len() - 1] = last_cb;
        cr[cr.len() - 1] = last_cr;
    }
}

fn damaged(error: &DecodeErrors) -> PhotoError {
    match error {
        DecodeErrors::LargeDimensions(_) => PhotoError::TooLarge {
            width: 0,
            height: 0,
            max_side: MAX_SIDE,
            max_megapixels: super::MAX_MEGAPIXELS,
        },
        DecodeErrors::ExhaustedData => PhotoError::Truncated { detail: "the picture data stop early".into() },
        other => {
            let text = format!("{other:?}");
            PhotoError::Damaged {
                detail: text.lines().next().unwrap_or_default().chars().take(120).collect(),
            }
        }
    }
}

/// Walks the segments to the end-of-image marker: the decoder fills what is missing with grey, which must
/// never be scored. Also reads the frame size, before any memory is taken for it.
fn check_whole(bytes: &[u8]) -> Result<(), PhotoError> {
    let truncated = |what: &str| PhotoError::Truncated { detail: format!("{what} ({} bytes)", bytes.len()) };
    let mut at = 2;
    loop {
        // Fill bytes may stand before a marker.
        while bytes.get(at) == Some(&0xFF) && bytes.get(at + 1) == Some(&0xFF) {
            at += 1;
        }
        let (Some(&0xFF), Some(&marker)) = (bytes.get(at), bytes.get(at + 1)) else {
            return if at + 1 >= bytes.len() {
                Err(truncated("no end-of-image marker"))
            } else {
                Err(PhotoError::Damaged { detail: format!("no marker where one belongs, at byte {at}") })
            };
        };
        at += 2;
        match marker {
            0xD9 => return Ok(()),
            0x01 | 0xD0..=0xD8 => continue,
            _ => {}
        }
        let Some(length) = bytes.get(at..at + 2).map(|b| usize::from(u16::from_be_bytes([b[0], b[1]])))
        else {
            return Err(truncated("it stops inside a header"));
        };
        if length < 2 {
            return Err(PhotoError::Damaged { detail: format!("a segment of {length} bytes at byte {at}") });
        }
        if matches!(marker, 0xC0..=0xCF)
            && !matches!(marker, 0xC4 | 0xC8 | 0xCC)
            && let Some(frame) = bytes.get(at + 3..at + 7)
        {
            let side = |i: usize| u64::from(u16::from_be_bytes([frame[i], frame[i + 1]]));
            check_size(side(2), side(0))?;
        }
        at += length;
        if marker == 0xDA {
            // Entropy-coded data: a marker is 0xFF followed by neither a stuffed zero nor a restart.
            loop {
                let Some(step) = bytes.get(at..).and_then(|rest| rest.iter().position(|&b| b == 0xFF)) else {
                    return Err(truncated("the picture data stop early"));
                };
                at += step;
                match bytes.get(at + 1) {
                    None => return Err(truncated("the picture data stop early")),
                    Some(0x00 | 0xD0..=0xD7) => at += 2,
                    Some(0xFF) => at += 1,
                    Some(_) => break,
                }
            }
        }
        if at > bytes.len() {
            return Err(truncated("it stops inside a header"));
        }
    }
}
