//! Areas, axes, depths, components, ellipses and lengths of shapes drawn by formula: against the formulas, and against
//! scikit-image, OpenCV and SciPy (`shapes/values.json`, written by `shapes/generate.py`).

use frygauge::imaging::{Plane, components, distance, ellipse, path, thin};
use serde_json::Value;
use std::f64::consts::PI;

const WIDTH: usize = 240;
const HEIGHT: usize = 200;

fn values() -> Value {
    serde_json::from_str(include_str!("shapes/values.json")).unwrap()
}

fn draw(inside: impl Fn(f64, f64) -> bool) -> Plane<bool> {
    let mut mask = Plane::filled(WIDTH, HEIGHT, false);
    for y in 0..HEIGHT {
        for x in 0..WIDTH {
            mask.set(x, y, inside(x as f64, y as f64));
        }
    }
    mask
}

/// Pixels within `half` of a curve.
fn near(curve: impl Fn(f64) -> [f64; 2], half: f64) -> Plane<bool> {
    let mut mask = Plane::filled(WIDTH, HEIGHT, false);
    for i in 0..4000 {
        let [px, py] = curve(f64::from(i) / 3999.0);
        for y in (py - half) as usize..=(py + half) as usize + 1 {
            for x in (px - half) as usize..=(px + half) as usize + 1 {
                if (x as f64 - px).powi(2) + (y as f64 - py).powi(2) <= half * half {
                    mask.set(x, y, true);
                }
            }
        }
    }
    mask
}

fn spiral(t: f64) -> [f64; 2] {
    let turn = 2.0 * PI * 1.6 * t;
    let r = 30.0 + 28.0 * turn / (2.0 * PI);
    [120.0 + r * turn.cos(), 100.0 + r * turn.sin()]
}

fn sine(t: f64) -> [f64; 2] {
    [30.0 + 180.0 * t, 100.0 + 35.0 * (2.0 * PI * 180.0 * t / 120.0).sin()]
}

/// A shape: its name, its picture, and for ribbons the length of the middle line and the half-width.
type Shape = (&'static str, Plane<bool>, Option<(f64, f64)>);

fn shapes() -> Vec<Shape> {
    let (sin, cos) = 0.5f64.sin_cos();
    let along = |curve: fn(f64) -> [f64; 2]| {
        path::length(&(0..=20_000).map(|i| curve(f64::from(i) / 20_000.0)).collect::<Vec<_>>())
    };
    vec![
        ("circle", draw(|x, y| (x - 100.2).powi(2) + (y - 90.7).powi(2) <= 30.4 * 30.4), None),
        (
            "ellipse",
            draw(|x, y| {
                let (u, v) = ((x - 120.0) * cos + (y - 100.0) * sin, (y - 100.0) * cos - (x - 120.0) * sin);
                (u / 80.0).powi(2) + (v / 22.5).powi(2) <= 1.0
            }),
            None,
        ),
        (
            "arc",
            draw(|x, y| {
                let turn = (y - 60.0).atan2(x - 120.0);
                ((x - 120.0).hypot(y - 60.0) - 80.0).abs() <= 7.0 && (0.3..=2.6).contains(&turn)
            }),
            Some((80.0 * 2.3, 7.0)),
        ),
        ("spiral", near(spiral, 5.0), Some((along(spiral), 5.0))),
        ("sine", near(sine, 6.0), Some((along(sine), 6.0))),
    ]
}

#[test]
fn areas_axes_and_depths_agree_with_other_libraries() {
    let expected = values();
    for (name, mask, _) in shapes() {
        let want = &expected[name];
        let number = |key: &str| want[key].as_f64().unwrap();
        let regions = components::regions(&mask, 1);
        assert_eq!(regions.len() as f64, number("components_opencv"), "{name}");
        let region = &regions[0];
        assert_eq!(region.pixels.len() as f64, number("area"), "{name}: area in pixels (scikit-image)");
        // scikit-image counts pixels as points; as unit squares each has a second moment of a twelfth of its own.
        let (major, minor) = region.axes();
        let as_points = |axis: f64| (axis * axis - 16.0 / 12.0).sqrt();
        let (major, minor) = (as_points(major), as_points(minor));
        assert!((major - number("major")).abs() < 1e-6, "{name}: {major} against {}", number("major"));
        assert!((minor - number("minor")).abs() < 1e-6, "{name}: {minor} against {}", number("minor"));
        let deepest = distance::euclidean(&mask).data.iter().copied().fold(0.0, f32::max);
        for key in ["deepest_scipy", "deepest_opencv"] {
            assert!((f64::from(deepest) - number(key)).abs() < 1e-4, "{name}: {deepest} against {key}");
        }
    }
}

#[test]
fn areas_and_axes_follow_the_formulas() {
    for (name, mask, ribbon) in shapes() {
        let region = &components::regions(&mask, 1)[0];
        let area = region.pixels.len() as f64;
        let formula = match (name, ribbon) {
            ("circle", _) => PI * 30.4 * 30.4,
            ("ellipse", _) => PI * 80.0 * 22.5,
            ("arc", Some((length, half))) => 2.0 * half * length,
            (_, Some((length, half))) => 2.0 * half * length + PI * half * half,
            _ => unreachable!(),
        };
        assert!((area / formula - 1.0).abs() < 0.012, "{name}: {area} pixels, {formula:.1} by the formula");
        let (major, minor) = region.axes();
        match name {
            "circle" => assert!((major - 60.8).abs() < 0.2 && (minor - 60.8).abs() < 0.2),
            "ellipse" => assert!((major - 160.0).abs() < 0.2 && (minor - 45.0).abs() < 0.2),
            _ => {}
        }
    }
}

#[test]
fn the_way_through_a_ribbon_is_as_long_as_the_formula_says() {
    for (name, mask, ribbon) in shapes() {
        let Some((length, half)) = ribbon else { continue };
        // As the reader walks: kept to the middle, between the pixels farthest apart within the body.
        let depth = distance::euclidean(&mask);
        let walk = depth.map(|d| if d > 0.0 { 1.0 } else { f32::INFINITY });
        let middle = depth.map(|d| if d > 0.0 { 1.0 / (0.5 + d).powi(2) } else { f32::INFINITY });
        let farthest = |from: usize| {
            let (total, _) = path::cheapest(&walk, from, |_| false);
            (0..total.len()).filter(|i| mask.data[*i]).max_by(|a, b| total[*a].total_cmp(&total[*b])).unwrap()
        };
        let a = farthest(mask.data.iter().position(|m| *m).unwrap());
        let b = farthest(a);
        let (_, before) = path::cheapest(&middle, a, |at| at == b);
        let line = path::smooth(&path::resample(&path::trace(&before, b, WIDTH), 65), 1.0);
        let way = path::length(&line);
        // The arc is cut square, the others end in half discs; the farthest pixels lie in corners or on the caps.
        let caps = if name == "arc" { 0.0 } else { 2.0 * half };
        let corners = if name == "arc" { 2.0 * half } else { 0.0 };
        assert!(
            way > 0.97 * (length + caps) && way < 1.03 * (length + caps) + corners,
            "{name}: way {way:.1}, formula {length:.1} and {caps} for the caps"
        );
    }
}

#[test]
fn skeletons_are_as_long_as_those_of_scikit_image() {
    let expected = values();
    for (name, mask, ribbon) in shapes() {
        let Some((_, half)) = ribbon else { continue };
        let mut thinned = mask.clone();
        thin::thin(&mut thinned);
        // The longest of the shortest ways within the skeleton.
        let cost = thinned.map(|p| if p { 1.0 } else { f32::INFINITY });
        let mut from = thinned.data.iter().position(|p| *p).unwrap();
        let mut way = 0.0;
        for _ in 0..2 {
            let (total, _) = path::cheapest(&cost, from, |_| false);
            from = (0..total.len())
                .filter(|i| thinned.data[*i])
                .max_by(|a, b| total[*a].total_cmp(&total[*b]))
                .unwrap();
            way = f64::from(total[from]);
        }
        let want = expected[name]["skeleton_way"].as_f64().unwrap();
        // Both follow Zhang & Suen; they differ in which pixel of a pair goes first, and so in whether an end that is
        // cut square keeps branches into its corners.
        let slack = if name == "arc" { 2.0 * half } else { 0.02 * want };
        assert!((way - want).abs() < slack, "{name}: {way} against {want}");
        assert_eq!(components::regions(&thinned, 1).len(), 1, "{name}: the skeleton stays in one piece");
    }
}

#[test]
fn components_agree_with_opencv_and_scikit_image() {
    let expected = &values()["blobs"];
    let mask = draw(|x, y| (x * 0.31).sin() * (y * 0.23).cos() + 0.4 * (0.05 * x * y / 40.0).sin() > 0.55);
    assert_eq!(mask.data.iter().filter(|p| **p).count() as u64, expected["pixels"].as_u64().unwrap());
    let found = components::regions(&mask, 1).len() as u64;
    assert_eq!(found, expected["components_opencv"].as_u64().unwrap());
    assert_eq!(found, expected["components_skimage"].as_u64().unwrap());
}

#[test]
fn an_ellipse_is_fitted_as_opencv_fits_it() {
    let (sin, cos) = 0.7f64.sin_cos();
    let points: Vec<[f64; 2]> = (0..60)
        .map(|i| {
            let t = 0.2 + f64::from(i) * 4.2 / 59.0;
            [
                100.0 + 60.0 * t.cos() * cos - 25.0 * t.sin() * sin,
                90.0 + 60.0 * t.cos() * sin + 25.0 * t.sin() * cos,
            ]
        })
        .collect();
    let fitted = ellipse::fit(&points).unwrap();
    let expected = &values()["ellipse_fit_opencv"];
    for (own, key) in [(fitted.x, "x"), (fitted.y, "y"), (fitted.a, "a"), (fitted.b, "b")] {
        let want = expected[key].as_f64().unwrap();
        assert!((own - want).abs() < 0.02, "{key}: {own} against OpenCV's {want}");
    }
    assert!((fitted.a - 60.0).abs() < 1e-6 && (fitted.b - 25.0).abs() < 1e-6);
}
