//! Which format the bytes are in, told from the bytes and never from the name.

use super::PhotoError;

/// A format that is read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Format {
    /// JPEG, baseline or progressive.
    Jpeg,
    /// PNG, one picture.
    Png,
    /// TIFF, its first page.
    Tiff,
    /// WebP, one picture.
    WebP,
}

const TO_JPEG: &str = "export it as JPEG first (quality 90 or more)";
const FROM_PHONE: &str =
    "set the phone's camera to its most compatible format (JPEG), or export these photographs as JPEG";

/// The format of `bytes`.
///
/// # Errors
/// [`PhotoError::Empty`], [`PhotoError::Unsupported`] for formats that are known and not read, and
/// [`PhotoError::NotAPhotograph`] for anything else.
pub fn sniff(bytes: &[u8]) -> Result<Format, PhotoError> {
    let unsupported = |format, advice| Err(PhotoError::Unsupported { format, advice });
    match bytes {
        [] => Err(PhotoError::Empty),
        [0xFF, 0xD8, 0xFF, ..] => Ok(Format::Jpeg),
        [0x89, b'P', b'N', b'G', 0x0D, 0x0A, 0x1A, 0x0A, ..] => Ok(Format::Png),
        [b'I', b'I', 42 | 43, 0, ..] | [b'M', b'M', 0, 42 | 43, ..] => {
            // Camera raw files are TIFF inside; the first page is a thumbnail, which must not be scored.
            if bytes.get(8..10) == Some(b"CR") {
                return unsupported("camera raw (CR2)", TO_JPEG);
            }
            Ok(Format::Tiff)
        }
        [b'R', b'I', b'F', b'F', _, _, _, _, b'W', b'E', b'B', b'P', ..] => Ok(Format::WebP),
        [_, _, _, _, b'f', b't', b'y', b'p', brand @ ..] => {
            let brand = brand.get(..4).unwrap_or_default();
            match brand {
                b"heic" | b"heix" | b"hevc" | b"hevx" | b"heim" | b"heis" | b"mif1" | b"msf1" => {
                    unsupported("HEIC", FROM_PHONE)
                }
                b"avif" | b"avis" => unsupported("AVIF", TO_JPEG),
                b"crx " => unsupported("camera raw (CR3)", TO_JPEG),
                _ => unsupported("video", "give photographs: a single frame is too coarse to call a bladder"),
            }
        }
        [b'G', b'I', b'F', b'8', ..] => unsupported("GIF", "export it as PNG or JPEG"),
        [b'B', b'M', ..] if bytes.len() > 54 => unsupported("BMP", "export it as PNG or JPEG"),
        [b'%', b'P', b'D', b'F', ..] => unsupported("PDF", "give the photograph itself as JPEG"),
        _ if bytes.iter().take(512).all(|&b| b == b'\n' || b == b'\r' || b == b'\t' || b >= b' ') => {
            Err(PhotoError::NotAPhotograph { found: "text" })
        }
        _ => Err(PhotoError::NotAPhotograph { found: "of no picture format" }),
    }
}

/// Whether a file of this name is taken from a folder: the formats read, and those that deserve a
/// refusal with advice rather than silence.
pub fn is_picture_name(name: &str) -> bool {
    const EXTENSIONS: [&str; 18] = [
        "jpg", "jpeg", "jpe", "png", "tif", "tiff", "webp", "heic", "heif", "avif", "cr2", "cr3", "nef",
        "arw", "dng", "orf", "raf", "rw2",
    ];
    name.rsplit_once('.').is_some_and(|(_, e)| EXTENSIONS.iter().any(|x| e.eq_ignore_ascii_case(x)))
}

/// Whether the name is that of a camera raw file, whose bytes may look like TIFF.
pub fn is_raw_name(name: &str) -> bool {
    const RAW: [&str; 7] = ["cr2", "nef", "arw", "dng", "orf", "raf", "rw2"];
    name.rsplit_once('.').is_some_and(|(_, e)| RAW.iter().any(|x| e.eq_ignore_ascii_case(x)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn heic_is_refused_with_advice_for_the_phone() {
        let error = sniff(b"\0\0\0\x18ftypheic\0\0\0\0mif1heic").unwrap_err();
        assert_eq!(error.to_string(), "HEIC is not read");
        assert!(error.hint().contains("JPEG"));
    }

    #[test]
    fn text_under_a_picture_name_is_called_text() {
        let error = sniff(b"photo,tank,date\n").unwrap_err();
        assert_eq!(error.to_string(), "not a photograph: the bytes are text");
    }

    #[test]
    fn empty_is_its_own_error() {
        assert!(matches!(sniff(b""), Err(PhotoError::Empty)));
    }

    #[test]
    fn names_are_matched_whatever_their_case() {
        assert!(is_picture_name("IMG_1.JPG") && is_picture_name("a.TIFF") && is_picture_name("x.heic"));
        assert!(!is_picture_name("samples.csv") && !is_picture_name("jpg"));
    }
}
