//! Pictures nobody here made: photographic cut-outs of animals laid on a rendered light pad, their lengths against the
//! geodesic lengths of their masks by fast marching (scikit-fmm); and the photographs that come with scikit-image, their
//! regions against scikit-image, SciPy and OpenCV.
//!
//! The cut-outs are those of the Debian package tuxpaint-stamps-default (GPL-2) and are read where it puts them; the
//! photographs are read from scikit-image's own wheel, unpacked below target. Neither is copied. `open_pictures/*.py`
//! wrote what they are held against.

#[path = "support/tools.rs"]
mod tools;

use frygauge::bladder::Model;
use frygauge::fish::{Outcome, measure_all};
use frygauge::imaging::{Plane, components};
use frygauge::photo;
use frygauge::pipeline::{self, Settings};
use frygauge::records::Lighting;
use frygauge::records::refusal;
use frygauge::render::{Scene, encode_jpeg};
use frygauge::scale::{Options, Wanted};
use frygauge::segmentation::{Polarity, find, prepare};
use frygauge::units::MmPerPx;
use image::{RgbImage, Rgba32FImage, RgbaImage, imageops};
use serde_json::Value;
use std::path::PathBuf;

const STAMPS: &str = "/usr/share/tuxpaint/stamps/animals";

/// Cells of a photograph, each with one cut-out: columns, rows and side in pixels.
const CELLS: [u32; 2] = [3, 2];
const CELL: u32 = 800;

/// A cut-out as it lies on the pad.
struct Laid {
    picture: Rgba32FImage,
    middle: [f32; 2],
    turn: f32,
}

/// The cut-out drawn out along its columns and resized by `scale`.
fn sized(stamp: &RgbaImage, stretch: f64, scale: f64) -> Rgba32FImage {
    let width = (f64::from(stamp.width()) * stretch * scale).round() as u32;
    let height = (f64::from(stamp.height()) * scale).round() as u32;
    let float = image::DynamicImage::ImageRgba8(stamp.clone()).to_rgba32f();
    imageops::resize(&float, width, height, imageops::FilterType::Triangle)
}

/// Lays a cut-out on a photograph: what passes through falls with its opacity and its own tone.
fn lay(onto: &mut RgbImage, laid: &Laid) {
    let (w, h) = (laid.picture.width() as f32, laid.picture.height() as f32);
    let (sin, cos) = laid.turn.sin_cos();
    for (x, y, p) in onto.enumerate_pixels_mut() {
        let (dx, dy) = (x as f32 - laid.middle[0], y as f32 - laid.middle[1]);
        let (u, v) = (dx * cos + dy * sin + 0.5 * w, dy * cos - dx * sin + 0.5 * h);
        let Some(s) = imageops::interpolate_bilinear(&laid.picture, u, v) else { continue };
        let [r, g, b, alpha] = s.0;
        for (to, tone) in p.0.iter_mut().zip([r, g, b]) {
            *to = (f32::from(*to) * (1.0 - alpha * (0.75 - 0.35 * tone))).round() as u8;
        }
    }
}

#[test]
fn lengths_of_photographic_cut_outs_agree_with_their_masks() {
    let Some(stamps) = tools::tool("tuxpaint-stamps-default", &[PathBuf::from(STAMPS)]) else { return };
    let expected: Value = serde_json::from_str(include_str!("open_pictures/cutouts.json")).unwrap();
    let model = Model::standard().unwrap();
    let animals: Vec<(&String, &Value)> =
        expected.as_object().unwrap().iter().filter(|(name, _)| name.contains('/')).collect();
    let mut errors = Vec::new();
    let mut told = Vec::new();
    let (mut laid, mut overlooked) = (0, false);
    for stretched in 0..3 {
        for (length_mm, px_per_mm) in [(8.0, 40.0), (15.0, 28.0), (25.0, 20.0)] {
            let mut scene =
                Scene::sample(&[], &[], 10.0, Lighting::Transmitted, px_per_mm, 3 + stretched as u64);
            scene.frame = Some([CELLS[0] * CELL, CELLS[1] * CELL]);
            let mut drawn = scene.render();
            let mut middles = Vec::new();
            for (i, (name, of_stretches)) in (0u32..).zip(&animals) {
                let want = &of_stretches[stretched];
                let number = |key: &str| want[key].as_f64().unwrap();
                let stamp = image::open(stamps.join(format!("{name}.png"))).unwrap().to_rgba8();
                let place = |n: u32| (n as f32 + 0.5) * CELL as f32;
                let middle = [place(i % CELLS[0]), place(i / CELLS[0])];
                let picture = sized(&stamp, number("stretch"), length_mm * px_per_mm / number("length"));
                lay(
                    &mut drawn.image,
                    &Laid { picture, middle, turn: 0.9 * (i + 1) as f32 + stretched as f32 },
                );
                middles.push((format!("{name} {} times as long, {length_mm} mm", number("stretch")), middle));
            }
            let bytes = encode_jpeg(&drawn, 92);
            if let Some(dir) = std::env::var_os("FRYGAUGE_KEEP") {
                std::fs::write(PathBuf::from(dir).join(format!("{stretched}-{length_mm}.jpg")), &bytes)
                    .unwrap();
            }
            let photo = photo::decode(&bytes, "cutouts.jpg").unwrap();
            let wanted = Wanted::Given(MmPerPx::from_px_per_mm(px_per_mm).unwrap());
            let scale = Options { wanted, ..Options::default() };
            let read = pipeline::score(&photo, &Settings { model, scale: &scale, strips: false });
            let rows = pipeline::fish_rows("cutouts", &pipeline::Sample::default(), &read);
            for (what, [x, y]) in middles {
                laid += 1;
                let near =
                    |px: f64, py: f64| (px - f64::from(x)).hypot(py - f64::from(y)) < 0.3 * f64::from(CELL);
                let of: Vec<_> = rows.iter().filter(|r| near(r.x_px, r.y_px)).collect();
                if let [one] = of.as_slice() {
                    let error = one.total_length_mm.unwrap() / length_mm - 1.0;
                    told.push(format!("{what}: {:+.2} % {}", 100.0 * error, one.flags));
                    errors.push(error);
                } else {
                    let refused = read.refused.iter().filter(|r| {
                        let n = r.outline.len() as f64;
                        near(
                            r.outline.iter().map(|p| p[0]).sum::<f64>() / n,
                            r.outline.iter().map(|p| p[1]).sum::<f64>() / n,
                        )
                    });
                    let reasons: Vec<&str> = refused.map(|r| r.reason).collect();
                    overlooked |= reasons.iter().all(|r| *r == refusal::TOO_LITTLE);
                    told.push(format!("{what}: {} fish; refused {reasons:?}", of.len()));
                }
            }
        }
    }
    // A midline bends with the body where the shortest way through the mask cuts corners, and runs to the middle of the
    // tail where that runs to one tip of it: a bias of a per cent or two and single fish of six are no error of either.
    let told = told.join("\n");
    let n = errors.len() as f64;
    let bias = errors.iter().sum::<f64>() / n;
    let mean = errors.iter().map(|e| e.abs()).sum::<f64>() / n;
    let largest = errors.iter().map(|e| e.abs()).fold(0.0, f64::max);
    assert!(
        bias.abs() < 0.02 && mean < 0.025 && largest < 0.07,
        "bias {bias:.4}, mean error {mean:.4}\n{told}"
    );
    // Silhouettes show no eye, and a slug is no fish: some may be refused, by name, but none is overlooked.
    assert!(3 * errors.len() >= 2 * laid, "{} of {laid} measured\n{told}", errors.len());
    assert!(!overlooked, "some were not even refused\n{told}");
}

fn of_scikit_image(name: &str) -> Option<Plane<u8>> {
    let folder = tools::below_target("open_pictures/skimage/data");
    let file = tools::tool("scikit-image's pictures", &[folder])?.join(format!("{name}.png"));
    let grey = image::open(file).unwrap().to_luma8();
    Some(Plane { width: grey.width() as usize, height: grey.height() as usize, data: grey.into_raw() })
}

fn expected_regions() -> Value {
    serde_json::from_str(include_str!("open_pictures/regions.json")).unwrap()
}

#[test]
fn regions_of_photographs_agree_with_other_libraries() {
    for name in ["coins", "page"] {
        let Some(picture) = of_scikit_image(name) else { return };
        let expected = &expected_regions()[name];
        let count = |key: &str| expected[key].as_u64().unwrap();
        let limit = count("limit") as u8;
        let mut mask =
            picture.map(|v| if expected["brighter"] == Value::Bool(true) { v >= limit } else { v < limit });
        assert_eq!(mask.data.iter().filter(|p| **p).count() as u64, count("pixels"), "{name}");
        let mut regions = components::regions(&mask, 1);
        regions.sort_by_key(|r| std::cmp::Reverse(r.pixels.len()));
        assert_eq!(regions.len() as u64, count("components"), "{name}: scikit-image");
        assert_eq!(regions.len() as u64, count("components_opencv"), "{name}: OpenCV");
        let areas: Vec<u64> = regions.iter().map(|r| r.pixels.len() as u64).collect();
        assert_eq!(Value::from(areas), expected["areas"], "{name}");
        for want in expected["largest"].as_array().unwrap() {
            let number = |key: &str, i: usize| want[key][i].as_f64().unwrap();
            let area = want["area"].as_f64().unwrap();
            // Both count pixels as points, ours as unit squares with a second moment of a twelfth of their own. The sums
            // are exact but for rounding; axes of nearly straight lines are the root of a small difference.
            let agrees = |r: &components::Region| {
                let (major, minor) = r.axes();
                let [long, short] = [major, minor].map(|a| (a / 4.0).powi(2) - 1.0 / 12.0);
                let axes = [long, short].map(|l| 4.0 * l.max(0.0).sqrt());
                // Hu's first two invariants (Hu 1962, doi 10.1109/TIT.1962.1057692) are the sum and the squared
                // difference of the principal second moments over the area.
                let hu = [(long + short) / area, ((long - short) / area).powi(2)];
                (0..2).all(|i| {
                    (axes[i] - number("axes", i)).abs() < 1e-6 && (hu[i] - number("hu", i)).abs() < 1e-9
                })
            };
            let same_size = regions.iter().filter(|r| r.pixels.len() as f64 == area);
            assert!(
                same_size.clone().any(agrees),
                "{name}: {want} among {:?}",
                same_size.map(components::Region::axes).collect::<Vec<_>>()
            );
        }
        components::fill_holes(&mut mask, usize::MAX);
        assert_eq!(mask.data.iter().filter(|p| **p).count() as u64, count("pixels_filled"), "{name}: SciPy");
        assert_eq!(components::regions(&mask, 1).len() as u64, count("components_filled"), "{name}");
    }
}

/// 24 coins on a dark, unevenly lit cloth: each is found, hardly anything else is, and none is a fish.
#[test]
fn every_coin_is_found_and_none_is_a_fish() {
    let Some(picture) = of_scikit_image("coins") else { return };
    let (width, height) = (picture.width as u32, picture.height as u32);
    let pixels = photo::Pixels { width, height, luma: picture.data, chroma: None };
    let mut ground = prepare(&pixels);
    assert_eq!(ground.polarity, Polarity::BrightFish);
    let mut found = find(&mut ground);
    let boxes: Vec<[f64; 4]> = found
        .candidates
        .iter()
        .map(|c| {
            let r = &c.region;
            let ([x0, y0], [x1, y1]) = (
                ground.to_photo(f64::from(r.x0), f64::from(r.y0)),
                ground.to_photo(f64::from(r.x1), f64::from(r.y1)),
            );
            [x0, y0, x1, y1]
        })
        .collect();
    let expected = expected_regions();
    let coins = expected["coin_places"].as_array().unwrap();
    assert_eq!(coins.len(), 24);
    for coin in coins {
        let [x, y, area] = ["x", "y", "area"].map(|key| coin[key].as_f64().unwrap());
        let holding: Vec<&[f64; 4]> =
            boxes.iter().filter(|b| b[0] < x && x < b[2] && b[1] < y && y < b[3]).collect();
        // Its box is as large as that of a disc of the coin's area, to three tenths: the cloth glows beside some and hides rims of others.
        let side = 2.0 * (area / std::f64::consts::PI).sqrt();
        let sized = |b: &&&[f64; 4]| [b[2] - b[0], b[3] - b[1]].iter().all(|s| (s / side - 1.0).abs() < 0.3);
        assert_eq!(
            holding.iter().filter(sized).count(),
            1,
            "coin at {x:.0}, {y:.0}, {side:.0} wide: {holding:.0?}"
        );
    }
    assert!(boxes.len() <= 30, "{} candidates", boxes.len());
    let fish =
        measure_all(&pixels, &ground, &mut found).iter().filter(|o| matches!(o, Outcome::Fish(..))).count();
    assert_eq!(fish, 0);
}
