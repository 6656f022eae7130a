//! Reading photographs: against libjpeg-turbo's own decoding, across formats, and what is refused.
//!
//! The pictures in `tests/reference/photo` and the values beside them were made by `make.sh` there.

use frygauge::photo::{self, Photo, PhotoError, ResolutionUnit};
use std::path::{Path, PathBuf};

fn reference(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference/photo").join(name)
}

fn open(name: &str) -> Photo {
    photo::open(&reference(name)).unwrap_or_else(|e| panic!("{name}: {e}"))
}

fn bytes(name: &str) -> Vec<u8> {
    std::fs::read(reference(name)).unwrap()
}

/// Values of a binary PGM or PPM with 8 bits.
fn pnm(name: &str) -> Vec<u8> {
    let bytes = bytes(name);
    let image = image_values(&bytes);
    image.to_vec()
}

fn image_values(bytes: &[u8]) -> &[u8] {
    // Magic, width, height and maximum, each ended by one white space.
    let mut fields = 0;
    let end = bytes.iter().position(|b| {
        fields += usize::from(b.is_ascii_whitespace());
        fields == 4
    });
    &bytes[end.unwrap() + 1..]
}

fn worst(a: &[u8], b: &[u8]) -> u8 {
    assert_eq!(a.len(), b.len());
    a.iter().zip(b).map(|(x, y)| x.abs_diff(*y)).max().unwrap()
}

/// Source: libjpeg-turbo `djpeg -grayscale`. Tolerance one level: two inverse transforms may round apart.
#[test]
fn jpeg_luma_is_the_y_of_libjpeg() {
    for name in ["colour_420", "colour_444_progressive", "colour_422_restart", "grey"] {
        let photo = open(&format!("{name}.jpg"));
        assert_eq!((photo.pixels.width, photo.pixels.height), (97, 75));
        assert!(worst(&photo.pixels.luma, &pnm(&format!("{name}.y.pgm"))) <= 1, "{name}");
        assert_eq!(photo.pixels.chroma.is_none(), name == "grey");
    }
}

/// Source: libjpeg-turbo `djpeg`. Half-resolution colour cannot follow an edge, so the median is held.
#[test]
fn colour_comes_back_as_libjpeg_gives_it() {
    let photo = open("colour_444_progressive.jpg");
    let expected = pnm("colour_444_progressive.rgb.ppm");
    let mut errors: Vec<f32> = Vec::new();
    for y in 0..75 {
        for x in 0..97 {
            let at = 3 * (y * 97 + x);
            let rgb = photo.pixels.rgb(x as i64, y as i64);
            errors.extend(rgb.iter().zip(&expected[at..at + 3]).map(|(a, &b)| (a - f32::from(b)).abs()));
        }
    }
    errors.sort_by(f32::total_cmp);
    assert!(errors[errors.len() / 2] <= 1.0 && errors[errors.len() * 9 / 10] <= 6.0);
}

#[test]
fn formats_agree_on_one_scene() {
    let reference = open("rgba8.tif");
    for name in ["rgb16.tif", "lossless.webp"] {
        let photo = open(name);
        assert!(worst(&photo.pixels.luma, &reference.pixels.luma) <= 1, "{name}");
        assert!(photo.pixels.chroma.is_some() && photo.notes.is_empty(), "{name}");
    }
    let jpeg = open("colour_420.jpg");
    let mean = |v: &[u8]| v.iter().map(|&x| f64::from(x)).sum::<f64>() / v.len() as f64;
    assert!((mean(&jpeg.pixels.luma) - mean(&reference.pixels.luma)).abs() < 0.5);
    let chroma = |p: &Photo| p.pixels.chroma.as_ref().map(|c| (mean(&c.cb), mean(&c.cr))).unwrap();
    let (a, b) = (chroma(&jpeg), chroma(&reference));
    assert!((a.0 - b.0).abs() < 0.7 && (a.1 - b.1).abs() < 0.7, "{a:?} {b:?}");
}

#[test]
fn sixteen_bit_grey_keeps_its_brightness_also_when_only_twelve_bits_carry_light() {
    let full = open("grey16.tif");
    assert!(full.pixels.chroma.is_none() && full.notes.is_empty());
    let encode = |shift: u32| {
        let values: Vec<u16> = full.pixels.luma.iter().map(|&v| (u16::from(v) * 257) >> shift).collect();
        let image = image::ImageBuffer::<image::Luma<u16>, _>::from_raw(97, 75, values).unwrap();
        let mut out = std::io::Cursor::new(Vec::new());
        image::DynamicImage::from(image).write_to(&mut out, image::ImageFormat::Tiff).unwrap();
        out.into_inner()
    };
    for (shift, note) in [(4, "12_bit"), (6, "10_bit"), (2, "14_bit")] {
        let photo = photo::decode(&encode(shift), "microscope.tif").unwrap();
        assert_eq!(photo.notes, [note]);
        assert!(worst(&photo.pixels.luma, &full.pixels.luma) <= 1);
    }
}

#[test]
fn exif_turns_the_picture_and_gives_time_camera_and_resolution() {
    let (plain, turned) = (open("colour_420.jpg"), open("tagged_turned_right.jpg"));
    assert_eq!((turned.pixels.width, turned.pixels.height), (75, 97));
    for (x, y) in [(0_usize, 0_usize), (74, 0), (10, 90), (33, 41)] {
        // Turned right: the column from the left is the row from the bottom.
        assert_eq!(turned.pixels.luma[y * 75 + x], plain.pixels.luma[(74 - x) * 97 + y]);
    }
    let tags = &turned.tags;
    assert_eq!(tags.taken.map(|t| t.to_string()).as_deref(), Some("2026-05-02T09:14:07"));
    assert_eq!((tags.make.as_deref(), tags.model.as_deref()), (Some("Invented"), Some("Bench 1")));
    let resolution = tags.resolution.unwrap();
    assert_eq!((resolution.x, resolution.y, resolution.unit), (200.0, 300.0, ResolutionUnit::Inch));
    assert_eq!(plain.tags.taken, None);
}

#[test]
fn png_resolution_is_read_from_its_own_chunk() {
    let mut png = std::io::Cursor::new(Vec::new());
    image::GrayImage::new(80, 70).write_to(&mut png, image::ImageFormat::Png).unwrap();
    let mut bytes = png.into_inner();
    // After the signature (8) and IHDR (25): a pHYs chunk of 40,000 and 20,000 pixels to the metre. Its
    // checksum is zero: this reader of tags does not check it, the decoder only warns.
    let mut chunk = vec![0, 0, 0, 9];
    chunk.extend(b"pHYs");
    chunk.extend(40_000_u32.to_be_bytes());
    chunk.extend(20_000_u32.to_be_bytes());
    chunk.push(1);
    let crc = crc32(&chunk[4..]);
    chunk.extend(crc.to_be_bytes());
    bytes.splice(33..33, chunk);
    let resolution = photo::decode(&bytes, "a.png").unwrap().tags.resolution.unwrap();
    assert_eq!((resolution.x, resolution.y, resolution.unit), (40_000.0, 20_000.0, ResolutionUnit::Metre));
}

/// CRC of PNG (ISO 3309), the slow obvious way.
fn crc32(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(!0_u32, |crc, &b| {
        (0..8).fold(crc ^ u32::from(b), |c, _| if c & 1 == 1 { (c >> 1) ^ 0xEDB8_8320 } else { c >> 1 })
    })
}

#[test]
fn cmyk_is_refused_with_advice() {
    let error = photo::open(&reference("refused_cmyk.jpg")).unwrap_err();
    assert!(matches!(error, PhotoError::Unsupported { .. }) && error.hint().contains("RGB"), "{error}");
}

/// Whatever the length, a JPEG that ends early is refused: the decoder would fill the rest with grey.
#[test]
fn every_truncated_jpeg_is_refused() {
    for name in ["colour_420.jpg", "colour_444_progressive.jpg", "grey.jpg"] {
        let whole = bytes(name);
        for length in (0..whole.len() - 1).step_by(7) {
            assert!(
                photo::decode(&whole[..length], name).is_err(),
                "{name} cut at {length} of {}",
                whole.len()
            );
        }
    }
}

#[test]
fn truncated_png_tiff_and_webp_are_refused() {
    for name in ["rgba8.tif", "grey16.tif", "lossless.webp"] {
        let whole = bytes(name);
        for part in [4, 3, 2] {
            let cut = &whole[..whole.len() * part / 5];
            assert!(photo::decode(cut, name).is_err(), "{name} cut to {part}/5");
        }
    }
}

/// Damage anywhere gives a picture or an error, never a panic.
#[test]
fn damaged_bytes_never_panic() {
    for name in [
        "colour_420.jpg",
        "colour_444_progressive.jpg",
        "rgba8.tif",
        "lossless.webp",
        "tagged_turned_right.jpg",
    ] {
        let whole = bytes(name);
        for i in (0..whole.len()).step_by(whole.len() / 150 + 1) {
            let mut broken = whole.clone();
            broken[i] ^= 0x5A;
            let _ = photo::decode(&broken, name);
        }
    }
}

#[test]
fn a_header_of_50_000_by_50_000_pixels_takes_no_memory() {
    let mut jpeg = bytes("colour_420.jpg");
    let frame = jpeg.windows(2).position(|w| w == [0xFF, 0xC0]).unwrap();
    jpeg[frame + 5..frame + 9].copy_from_slice(&[0xC3, 0x50, 0xC3, 0x50]);
    assert!(matches!(photo::decode(&jpeg, "a.jpg"), Err(PhotoError::TooLarge { width: 50_000, .. })));
    let mut png = std::io::Cursor::new(Vec::new());
    image::GrayImage::new(80, 70).write_to(&mut png, image::ImageFormat::Png).unwrap();
    let mut png = png.into_inner();
    png[16..24].copy_from_slice(&[0, 0, 0xC3, 0x50, 0, 0, 0xC3, 0x50]);
    assert!(matches!(photo::decode(&png, "a.png"), Err(PhotoError::TooLarge { width: 50_000, .. })));
}

#[test]
fn one_by_one_is_too_small() {
    let mut png = std::io::Cursor::new(Vec::new());
    image::GrayImage::new(1, 1).write_to(&mut png, image::ImageFormat::Png).unwrap();
    assert!(matches!(photo::decode(&png.into_inner(), "a.png"), Err(PhotoError::TooSmall { .. })));
}

/// Eighty segments of 64 kB that call themselves EXIF and hold nothing of the kind: the picture is read all
/// the same, for it does not depend on them.
#[test]
fn huge_and_broken_exif_does_not_hide_the_picture() {
    let plain = bytes("colour_420.jpg");
    let mut segment = vec![0xFF, 0xE1, 0xFF, 0xFF];
    segment.extend(b"Exif\0\0MM\0*");
    segment.resize(2 + 0xFFFF, 0xA5);
    let mut jpeg = plain[..2].to_vec();
    jpeg.extend(segment.repeat(80));
    jpeg.extend(&plain[2..]);
    let photo = photo::decode(&jpeg, "a.jpg").unwrap();
    assert_eq!(photo.pixels.luma, open("colour_420.jpg").pixels.luma);
    assert_eq!(photo.tags.taken, None);
}

#[test]
fn animated_png_is_refused() {
    let mut png = std::io::Cursor::new(Vec::new());
    image::GrayImage::new(80, 70).write_to(&mut png, image::ImageFormat::Png).unwrap();
    let mut bytes = png.into_inner();
    // An animation control chunk of two frames, after the signature (8) and IHDR (25).
    let mut chunk = vec![0, 0, 0, 8];
    chunk.extend(b"acTL\0\0\0\x02\0\0\0\0");
    let crc = crc32(&chunk[4..]);
    chunk.extend(crc.to_be_bytes());
    bytes.splice(33..33, chunk);
    let error = photo::decode(&bytes, "a.png").unwrap_err();
    assert_eq!(error.to_string(), "an animated PNG is not read");
    assert!(error.hint().contains("one frame"));
}

#[test]
fn buffers_reused_across_photographs_change_nothing() {
    let mut buffers = photo::Buffers::default();
    for name in ["colour_420.jpg", "grey.jpg", "rgb16.tif", "tagged_turned_right.jpg", "colour_420.jpg"] {
        let reused = photo::decode_with(&mut buffers, &bytes(name), name).unwrap();
        let fresh = open(name);
        assert_eq!(reused.pixels.luma, fresh.pixels.luma, "{name}");
        assert_eq!(reused.pixels.chroma.as_ref().map(|c| &c.cb), fresh.pixels.chroma.as_ref().map(|c| &c.cb));
        buffers.recycle(reused);
    }
}

#[test]
fn folders_are_walked_sorted_and_each_photograph_is_taken_once() {
    let dir = tempfile::tempdir().unwrap();
    let put = |name: &str, from: &str| {
        let path = dir.path().join(name);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::copy(reference(from), path).unwrap();
    };
    put("P02/2026-05-02/one.jpg", "colour_420.jpg");
    put("P01/2026-05-02/one.jpg", "grey.jpg");
    put("P01/2026-05-02/copy of one.jpg", "grey.jpg");
    put("P01/.thumbnails/one.jpg", "rgb16.tif");
    put("results/pictures/one.jpg", "colour_422_restart.jpg");
    std::fs::write(dir.path().join("results/results.json"), "{}").unwrap();
    std::fs::write(dir.path().join("results/fish.csv"), "").unwrap();
    std::fs::write(dir.path().join("samples.csv"), "photo,tank,date\n").unwrap();
    let listing = photo::list(&[dir.path().to_path_buf()]).unwrap();
    let names: Vec<&str> = listing.sources.iter().map(|s| s.name.as_str()).collect();
    assert_eq!(names, ["P01/2026-05-02/copy of one.jpg", "P02/2026-05-02/one.jpg"]);
    assert_eq!(listing.duplicates.len(), 1);
    assert_eq!(listing.duplicates[0].kept, "P01/2026-05-02/copy of one.jpg");
    assert_eq!(listing.others, 1);
    // Two folders given by themselves: the names would both be `2026-05-02/one.jpg`.
    let listing = photo::list(&[dir.path().join("P01"), dir.path().join("P02")]).unwrap();
    let names: Vec<&str> = listing.sources.iter().map(|s| s.name.as_str()).collect();
    assert_eq!(names, ["2026-05-02/copy of one.jpg", "P02/2026-05-02/one.jpg"]);
}

#[test]
fn a_missing_path_is_for_the_operator() {
    let error = photo::list(&[PathBuf::from("/nowhere/at all")]).unwrap_err();
    assert_eq!(error.who(), photo::Who::Operator);
}
