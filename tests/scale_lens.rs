//! Lenses held against OpenCV: its chessboard photographs (Debian's package opencv-doc), the camera it
//! calibrates from them, the lens published with them; and what `scale --lens` and `score --lens` say.
//!
//! `tests/reference/scale/make_lens.py` writes the stored values; `.ci/test` installs the photographs.

use assert_cmd::Command;
use frygauge::photo;
use frygauge::render::card::View as Rendered;
use frygauge::scale::lens::{Lens, View, board, calibrate};
use frygauge::scale::{Scale, ScaleSource};
use frygauge::units::MmPerPx;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

#[path = "support/tools.rs"]
#[allow(dead_code)]
mod tools;

/// Where Debian's opencv-doc puts its photographs.
const BOARDS: &str = "/usr/share/doc/opencv-doc/examples/data";
const FRAME: (f64, f64) = (640.0, 480.0);

fn table(name: &str) -> Vec<Vec<String>> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference/scale").join(name);
    let mut reader = csv::Reader::from_path(path).unwrap();
    reader.records().map(|r| r.unwrap().iter().map(str::to_owned).collect()).collect()
}

fn number(cell: &str) -> f64 {
    cell.parse().unwrap()
}

/// Corners found by OpenCV, by photograph.
fn opencv_corners() -> BTreeMap<String, Vec<[f64; 2]>> {
    let mut all: BTreeMap<String, Vec<[f64; 2]>> = BTreeMap::new();
    for row in table("lens_corners.csv") {
        all.entry(row[0].clone()).or_default().push([number(&row[1]), number(&row[2])]);
    }
    all
}

fn squares() -> Vec<[f64; 2]> {
    (0..54).map(|i| [f64::from(i % 9), f64::from(i / 9)]).collect()
}

/// Value and standard deviation of each parameter that OpenCV calibrated.
fn opencv_camera() -> BTreeMap<String, (f64, f64)> {
    table("lens_camera.csv")
        .into_iter()
        .map(|r| (r[0].clone(), (number(&r[1]), r[2].parse().unwrap_or(f64::NAN))))
        .collect()
}

fn parameters(lens: &Lens) -> [f64; 8] {
    let Lens { focal, centre, radial, tangential } = lens;
    [focal[0], focal[1], centre[0], centre[1], radial[0], radial[1], tangential[0], tangential[1]]
}

const NAMES: [&str; 8] = frygauge::scale::lens::Calibration::NAMES;

/// Source: OpenCV's calibrateCameraExtended on the same corners with the same lens model. Both minimise the
/// same sum, so they agree to a small part of the standard errors, which agree too.
#[test]
fn the_camera_is_that_of_opencv() {
    let views: Vec<View> = opencv_corners().into_values().map(|px| View { mm: squares(), px }).collect();
    assert_eq!(views.len(), 13);
    let ours = calibrate(&views, FRAME).unwrap();
    let theirs = opencv_camera();
    assert!((ours.rms_px - theirs["rms"].0).abs() < 1e-4, "{} {}", ours.rms_px, theirs["rms"].0);
    for (i, name) in NAMES.iter().enumerate() {
        let ((value, sd), here) = (theirs[*name], parameters(&ours.lens)[i]);
        assert!((here - value).abs() < 0.05 * sd, "{name}: {here} for {value}, standard deviation {sd}");
        assert!((ours.se[i] / sd - 1.0).abs() < 0.02, "{name}: {} for {sd}", ours.se[i]);
    }
}

/// Source: OpenCV's undistortPoints with the lens published with the photographs (left_intrinsics.yml, five
/// terms), iterated to the end.
#[test]
fn points_are_straightened_as_opencv_does() {
    let lens = Lens {
        focal: [5.359_157_339_637e2; 2],
        centre: [3.422_831_547_331e2, 2.355_708_290_979e2],
        radial: [-2.663_726_090_966e-1, -3.858_889_892_230e-2, 2.383_915_308_088e-1],
        tangential: [1.783_194_704_285e-3, -2.812_210_044_112e-4],
    };
    let mut farthest = 0.0_f64;
    for row in table("lens_points.csv") {
        let [x, y, u, v] = [0, 1, 2, 3].map(|i| number(&row[i]));
        let ours = lens.straighten([x, y]);
        farthest = farthest.max((u - x).hypot(v - y));
        assert!((ours[0] - u).hypot(ours[1] - v) < 2e-4, "{row:?}: {ours:?}");
    }
    assert!(farthest > 30.0, "a lens worth straightening: {farthest} px");
}

/// Sources: the photographs; corners of OpenCV's findChessboardCorners and cornerSubPix; the intrinsics
/// published with them (focal length 535.9, axis 342.3, 235.6, from another detection with other terms).
#[test]
fn corners_and_camera_from_photographs_are_those_of_opencv() {
    let Some(folder) = tools::tool("opencv-doc", &[PathBuf::from(BOARDS)]) else { return };
    let (mut squares_of, mut count, mut worst) = (0.0, 0.0, 0.0_f64);
    let mut views = Vec::new();
    for (name, theirs) in opencv_corners() {
        let pixels = photo::open(&folder.join(&name)).unwrap().pixels;
        let ours = board::corners(&pixels, 9, 6).unwrap_or_else(|| panic!("{name}: no board"));
        for q in &theirs {
            let near = ours.iter().map(|p| (p[0] - q[0]).hypot(p[1] - q[1])).fold(f64::INFINITY, f64::min);
            assert!(near < 1.0, "{name}: no corner near {q:?}");
            squares_of += near * near;
            count += 1.0;
            worst = worst.max(near);
        }
        views.push(View { mm: squares(), px: ours });
    }
    let rms = f64::sqrt(squares_of / count);
    println!("corners: {rms:.3} px rms from OpenCV's, {worst:.3} px at most");
    assert!(rms < 0.1, "corners differ by {rms} px rms");
    let ours = calibrate(&views, FRAME).unwrap();
    let theirs = opencv_camera();
    println!("residual {:.4} px, OpenCV {:.4} px; {:?}", ours.rms_px, theirs["rms"].0, ours.lens);
    // No worse than with their corners, and the same camera within two of their standard deviations.
    assert!(ours.rms_px < 1.1 * theirs["rms"].0, "{}", ours.rms_px);
    for (i, name) in NAMES.iter().enumerate() {
        let (value, sd) = theirs[*name];
        let here = parameters(&ours.lens)[i];
        assert!((here - value).abs() < 2.0 * sd, "{name}: {here} for {value}, standard deviation {sd}");
    }
    assert!((ours.lens.focal[0] / 535.9 - 1.0).abs() < 0.01);
    assert!((ours.lens.centre[0] - 342.3).hypot(ours.lens.centre[1] - 235.6) < 4.0);
}

fn frygauge(dir: &Path, args: &[&str]) -> (i32, String, String) {
    let run = Command::cargo_bin("frygauge").unwrap().current_dir(dir).args(args).output().unwrap();
    let text = |b: &[u8]| String::from_utf8_lossy(b).split_whitespace().collect::<Vec<_>>().join(" ");
    (run.status.code().unwrap_or(-1), text(&run.stdout), text(&run.stderr))
}

/// A rendered camera: focal length and bend at the corner are the same in every photograph.
fn rendered(tilt: f64, axis: f64, aim: [f64; 2]) -> Rendered {
    let mut view = Rendered::plain([1200, 900], 10.0, aim);
    view.distance_mm = 140.0;
    view.bend = -0.04;
    view.tilt = tilt;
    view.tilt_axis = axis;
    view
}

fn chessboard([x, y]: [f64; 2]) -> Option<f64> {
    let on = (-8.0..88.0).contains(&x) && (-8.0..68.0).contains(&y);
    let square = (x / 10.0).floor() + (y / 10.0).floor();
    let inside = (0.0..80.0).contains(&x) && (0.0..60.0).contains(&y);
    on.then(|| f64::from(u8::from(inside && square.rem_euclid(2.0) < 0.5)))
}

#[test]
fn a_calibrated_lens_is_stored_used_and_never_for_another_camera() {
    let dir = tempfile::tempdir().unwrap();
    let dir = dir.path();
    let mut args =
        vec!["scale".to_owned(), "--name".into(), "stand".into(), "--corners".into(), "7x5".into()];
    args.push("--lens".into());
    for i in 0..8 {
        let shift = [(40.0 - 6.0, 30.0), (40.0, 30.0 - 5.0), (46.0, 30.0), (40.0, 35.0)][i % 4];
        let view = rendered(0.42, 0.8 * i as f64, [shift.0, shift.1]);
        let name = format!("board-{i}.png");
        view.take(i as u64, chessboard).save(dir.join(&name)).unwrap();
        args.push(name);
    }
    let args: Vec<&str> = args.iter().map(String::as_str).collect();
    let (code, out, err) = frygauge(dir, &args);
    assert_eq!(code, 0, "{out} {err}");
    assert!(out.contains("stand: 8 photographs") && out.contains("1200 by 900 pixels"), "{out}");
    let focal: f64 = out.split("focal length ").nth(1).unwrap().split(' ').next().unwrap().parse().unwrap();
    // 10 px/mm at 140 mm; the renderer's lens model is another one, so not to the last digit.
    assert!((focal / 1400.0 - 1.0).abs() < 0.02, "{focal}");
    let (_, list, _) = frygauge(dir, &["scale", "list"]);
    assert!(list.contains("stand") && list.contains("1200x900"), "{list}");
    let (code, _, err) = frygauge(dir, &args);
    assert!(code == 1 && err.contains("stored already") && err.contains("--replace"), "{err}");

    // Three centimetres of ruler in a corner: its scale holds where it lies, in the middle with the lens only.
    let ruler = frygauge::render::card::Graduation::millimetres(30);
    let view = rendered(0.0, 0.0, [50.0, -28.0]);
    view.take(9, |p| ruler.ink(p, 0.25, 3.5)).save(dir.join("a.png")).unwrap();
    let scale = |out: &str, extra: &[&str]| -> (f64, String) {
        let all = [&["score", "a.png", "--out", out, "--no-pictures", "--floor-mm", "0"], extra].concat();
        let (_, _, err) = frygauge(dir, &all);
        let mut rows =
            csv::Reader::from_path(dir.join(out).join("photos.csv")).unwrap_or_else(|_| panic!("{err}"));
        let names = rows.headers().unwrap().clone();
        let row = rows.records().next().unwrap().unwrap();
        let cell = |n: &str| row[names.iter().position(|h| h == n).unwrap()].to_owned();
        (cell("mm_per_px").parse().unwrap_or_else(|_| panic!("{row:?}")), cell("flags"))
    };
    let truth = view.mm_per_px([599.5, 449.5]);
    let (without, _) = scale("r", &[]);
    let (with, flags) = scale("r1", &["--lens", "stand"]);
    let [without, with] = [without, with].map(|s| (s / truth - 1.0).abs());
    // The ticks themselves show much of the bend; the lens that was stored is another measurement of it.
    assert!(with < 0.004 && without < 0.004 && with != without, "with {with}, without {without}");
    assert!(!flags.contains("lens"), "{flags}");

    // A scale typed in knows nothing of the lens: eight millimetres in a corner are off without it.
    let kept: toml::Table =
        std::fs::read_to_string(dir.join("frygauge-scales.toml")).unwrap().parse().unwrap();
    let lens: Lens = kept["lens"][0]["lens"].clone().try_into().unwrap();
    let plain = Scale::uniform(MmPerPx::new(0.1).unwrap(), 0.002, ScaleSource::Given);
    for line in [[[60.0, 60.0], [110.0, 115.0]], [[1120.0, 830.0], [1060.0, 790.0]]] {
        let [a, b] = line.map(|p| view.to_mm(p));
        let truth = (a[0] - b[0]).hypot(a[1] - b[1]);
        let off = |s: &Scale| (s.length(&line).0 / truth - 1.0).abs();
        let (without, with) = (off(&plain), off(&plain.clone().through(Some(lens))));
        // Somewhat beyond where the boards were seen.
        assert!(with < 0.015 && without > 5.0 * with, "with {with}, without {without}");
    }

    // Half the size: another frame, so the lens is not used, and that is told.
    let small = Rendered { frame: [600, 450], px_per_mm: 5.0, ..view };
    small.take(9, |p| ruler.ink(p, 0.4, 3.5)).save(dir.join("a.png")).unwrap();
    let run = ["score", "a.png", "--out", "r2", "--no-pictures", "--px-per-mm", "5", "--lens", "stand"];
    let (_, _, err) = frygauge(dir, &run);
    let rows = std::fs::read_to_string(dir.join("r2/photos.csv")).unwrap_or_else(|_| panic!("{err}"));
    assert!(rows.contains("lens_of_other_camera") && rows.contains("600 by 450 pixels"), "{rows}");
    let (code, _, err) = frygauge(dir, &["score", "a.png", "--out", "r3", "--lens", "other"]);
    assert!(code == 1 && err.contains("stored are: stand"), "{err}");
}

#[test]
fn scale_refuses_boards_that_determine_no_camera() {
    let dir = tempfile::tempdir().unwrap();
    let dir = dir.path();
    // Never tilted: the focal length cannot be told from the distance.
    let mut flat = vec!["scale".to_owned(), "--corners".into(), "7x5".into(), "--lens".into()];
    for i in 0..5 {
        let view = rendered(0.0, 0.0, [38.0 + f64::from(i), 30.0]);
        let name = format!("flat-{i}.png");
        view.take(i as u64, chessboard).save(dir.join(&name)).unwrap();
        flat.push(name);
    }
    let flat: Vec<&str> = flat.iter().map(String::as_str).collect();
    let other = Rendered { frame: [500, 450], ..rendered(0.1, 0.0, [40.0, 30.0]) };
    other.take(1, chessboard).save(dir.join("other.png")).unwrap();
    for (args, part) in [
        (flat.clone(), "focal length cannot be told"),
        (flat[..7].to_vec(), "3 photographs show the whole board"),
        ([&flat[..], &["other.png"]].concat(), "another camera"),
        (vec!["scale", "--lens", "flat-0.png"], "0 photographs show the whole board"),
        (vec!["scale", "--lens", "flat-0.png", "--corners", "2x9"], "3 to 60 inner corners"),
        (vec!["scale", "--lens", "absent.png"], "absent.png"),
        (vec!["scale", "--name", "x"], "--lens"),
    ] {
        let (code, _, err) = frygauge(dir, &args);
        assert!(code != 0 && err.contains(part), "{args:?}: {err}");
    }
    assert!(!dir.join("frygauge-scales.toml").exists());
}
