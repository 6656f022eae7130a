//! Components, contours and distance transforms of what the search finds in rendered photographs, against the system's
//! OpenCV.
//!
//! `cargo test --release --features opencv --test opencv` (Debian: libopencv-dev, clang, libclang-dev).
#![cfg(feature = "opencv")]

use frygauge::imaging::{Plane, components, distance};
use frygauge::photo::Pixels;
use frygauge::render::{Class, photograph};
use frygauge::segmentation::{find, prepare};
use opencv::core::{CV_32F, Mat, MatTraitConst, Point, Vector};
use opencv::imgproc;

/// What the search finds in rendered photographs, one mask each: whatever belongs to a candidate.
fn masks() -> Vec<Plane<bool>> {
    [Class::LightPad, Class::DarkDish, Class::PaleTray, Class::Crowded]
        .into_iter()
        .map(|class| {
            let drawn = photograph(class, 4_100_001);
            let seen = find(&mut prepare(&Pixels::from_rgb(&drawn.image)));
            let (w, h) = (seen.labels.width, seen.labels.height);
            let mut mask = Plane::filled(w, h, false);
            for candidate in &seen.candidates {
                candidate.region.pixels.iter().for_each(|&(x, y)| mask.set(x as usize, y as usize, true));
            }
            mask
        })
        .collect()
}

fn mat(mask: &Plane<bool>) -> Mat {
    let rows: Vec<Vec<u8>> =
        mask.data.chunks(mask.width).map(|row| row.iter().map(|b| u8::from(*b) * 255).collect()).collect();
    Mat::from_slice_2d(&rows).unwrap()
}

/// The same 8-connected components with the same areas (`cv::connectedComponentsWithStats`).
#[test]
fn components_are_those_of_opencv() {
    for mask in masks() {
        let [mut labels, mut stats, mut centres] = std::array::from_fn(|_| Mat::default());
        let found = imgproc::connected_components_with_stats(
            &mat(&mask),
            &mut labels,
            &mut stats,
            &mut centres,
            8,
            opencv::core::CV_32S,
        )
        .unwrap();
        let mut theirs: Vec<usize> =
            (1..found).map(|i| *stats.at_2d::<i32>(i, imgproc::CC_STAT_AREA).unwrap() as usize).collect();
        let mut ours: Vec<usize> = components::regions(&mask, 1).iter().map(|r| r.pixels.len()).collect();
        ours.sort_unstable();
        theirs.sort_unstable();
        assert!(ours.len() > 10, "{} components", ours.len());
        assert_eq!(ours, theirs);
    }
}

/// The outer contour of each component encloses its pixels, holes filled: by the theorem of Pick (1899, from memory) a polygon through
/// pixel centres with `b` of them on it has area `pixels - b / 2 - 1` (`cv::findContours`, `cv::contourArea`).
#[test]
fn contours_enclose_the_pixels_of_the_components() {
    for mask in masks() {
        let mut compared = 0;
        for region in components::regions(&mask, 200) {
            let (w, h) = (region.width() as usize + 2, region.height() as usize + 2);
            let mut own = Plane::filled(w, h, false);
            for &(x, y) in &region.pixels {
                own.set((x - region.x0) as usize + 1, (y - region.y0) as usize + 1, true);
            }
            components::fill_holes(&mut own, w * h);
            let mut contours = Vector::<Vector<Point>>::new();
            imgproc::find_contours(
                &mat(&own),
                &mut contours,
                imgproc::RETR_EXTERNAL,
                imgproc::CHAIN_APPROX_NONE,
                Point::default(),
            )
            .unwrap();
            assert_eq!(contours.len(), 1);
            let contour = contours.get(0).unwrap();
            let area = imgproc::contour_area(&contour, false).unwrap();
            let pixels = own.data.iter().filter(|b| **b).count() as f64;
            // Where a body is one pixel thin the contour passes it twice: each such pixel is counted twice in b.
            let mut on: Vec<(i32, i32)> = contour.iter().map(|p| (p.x, p.y)).collect();
            let all = on.len();
            on.sort_unstable();
            on.dedup();
            let twice = (all - on.len()) as f64;
            assert!((area + 0.5 * all as f64 + 1.0 - pixels).abs() <= twice, "{area} {all} {pixels}");
            compared += 1;
        }
        assert!(compared > 5, "{compared} contours");
    }
}

/// The same distances to the nearest pixel outside (`cv::distanceTransform` with the exact mask).
#[test]
fn distances_are_those_of_opencv() {
    for mut mask in masks() {
        // Beyond the raster counts as outside here; there it does not count.
        let (w, h) = (mask.width, mask.height);
        for x in 0..w {
            mask.set(x, 0, false);
            mask.set(x, h - 1, false);
        }
        for y in 0..h {
            mask.set(0, y, false);
            mask.set(w - 1, y, false);
        }
        let mut theirs = Mat::default();
        imgproc::distance_transform(
            &mat(&mask),
            &mut theirs,
            imgproc::DIST_L2,
            imgproc::DIST_MASK_PRECISE,
            CV_32F,
        )
        .unwrap();
        let ours = distance::euclidean(&mask);
        for y in 0..h {
            for x in 0..w {
                let their = *theirs.at_2d::<f32>(y as i32, x as i32).unwrap();
                assert!((ours.at(x, y) - their).abs() < 1e-3, "{x} {y}: {} {their}", ours.at(x, y));
            }
        }
    }
}
