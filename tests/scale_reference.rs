//! Scales and cards held against what nobody here wrote: OpenCV, chessboards of Debian's opencv-doc,
//! `qrencode`, ZBar, Poppler, ISO 216 and ANSI Y14.1, and rulers drawn by a script of another language.
//!
//! `.ci/test` installs the programs; `tests/reference/scale` holds the generators of the stored values.

use frygauge::photo::Pixels;
use frygauge::scale::card::{self, CardProblem, Geometry, Paper, Payload, Sheet};
use frygauge::scale::ruler::{self, RulerProblem};
use frygauge::scale::{Bending, Field, Scale, ScaleSource};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::Command;

#[path = "support/tools.rs"]
#[allow(dead_code)]
mod tools;

fn stored(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference/scale").join(name)
}

fn table(name: &str) -> Vec<Vec<String>> {
    let mut reader = csv::Reader::from_path(stored(name)).unwrap();
    reader.records().map(|r| r.unwrap().iter().map(str::to_owned).collect()).collect()
}

fn number(cell: &str) -> f64 {
    cell.parse().unwrap()
}

/// Whether the programs of the system are there.
fn there(programs: &[&str]) -> bool {
    programs.iter().all(|p| tools::tool(p, &[PathBuf::from(p)]).is_some())
}

/// Runs a program of the system and gives its standard output.
fn system(program: &str, args: &[&str]) -> String {
    let run = Command::new(program).args(args).output().unwrap();
    assert!(run.status.success(), "{program}: {}", String::from_utf8_lossy(&run.stderr));
    String::from_utf8_lossy(&run.stdout).into_owned()
}

fn open(path: &Path) -> Pixels {
    frygauge::photo::open(path).unwrap().pixels
}

/// Corners of a chessboard in millimetres and pixels.
#[derive(Default)]
struct Board {
    mm: Vec<[f64; 2]>,
    as_taken: Vec<[f64; 2]>,
    lens_removed: Vec<[f64; 2]>,
}

fn boards() -> BTreeMap<String, Board> {
    let mut boards: BTreeMap<String, Board> = BTreeMap::new();
    for row in table("chessboard.csv") {
        let board = boards.entry(row[0].clone()).or_default();
        let pair = |i: usize| [number(&row[i]), number(&row[i + 1])];
        board.mm.push(pair(1));
        board.as_taken.push(pair(3));
        board.lens_removed.push(pair(5));
    }
    boards
}

fn through(h: &[f64], [x, y]: [f64; 2]) -> [f64; 2] {
    let w = h[6] * x + h[7] * y + h[8];
    [(h[0] * x + h[1] * y + h[2]) / w, (h[3] * x + h[4] * y + h[5]) / w]
}

/// Source: OpenCV's findHomography on corners of the chessboards in Debian's opencv-doc
/// (`make_chessboard.py`). Both minimise the reprojection error, so they agree to a few thousandths of a
/// pixel; the scale follows from the plane.
#[test]
fn planes_are_those_of_opencv() {
    let boards = boards();
    for row in table("chessboard_planes.csv") {
        let board = &boards[&row[0]];
        let px = if row[1] == "as_taken" { &board.as_taken } else { &board.lens_removed };
        let frame = (number(&row[2]), number(&row[3]));
        let field = Field::fit(&board.mm, px, frame, Bending::None).unwrap();
        let rms = number(&row[4]);
        assert!((field.rms_px - rms).abs() < 0.002 * rms + 0.0005, "{row:?}: {}", field.rms_px);
        let h: Vec<f64> = row[5..].iter().map(|c| number(c)).collect();
        for mm in &board.mm {
            let (ours, theirs) = (field.to_px(*mm), through(&h, *mm));
            let off = (ours[0] - theirs[0]).hypot(ours[1] - theirs[1]);
            assert!(off < 0.02, "{} {}: {off} px", row[0], row[1]);
        }
        // Area of a small square of the board in their plane against our scale in its middle.
        let middle = [100.0, 62.5];
        let [a, b, c, d] = [[-0.5, 0.0], [0.5, 0.0], [0.0, -0.5], [0.0, 0.5]]
            .map(|o| through(&h, [middle[0] + o[0], middle[1] + o[1]]));
        let area = ((b[0] - a[0]) * (d[1] - c[1]) - (b[1] - a[1]) * (d[0] - c[0])).abs();
        let ours = field.mm_per_px(through(&h, middle));
        assert!((ours * area.sqrt() - 1.0).abs() < 2e-4, "{} {}", row[0], row[1]);
    }
}

/// Source: the same chessboards and the lens published with them (left_intrinsics.yml: k1 -0.266, five
/// terms). One radial term must take out nearly all of what the published lens takes out, and what it does
/// to a square of 25 mm must show in lengths.
#[test]
fn one_radial_term_does_the_work_of_the_published_lens() {
    for (name, board) in boards() {
        let frame = (640.0, 480.0);
        let flat = Field::fit(&board.mm, &board.as_taken, frame, Bending::None).unwrap();
        let bent = Field::fit(&board.mm, &board.as_taken, frame, Bending::Unknown).unwrap();
        let published = Field::fit(&board.mm, &board.lens_removed, frame, Bending::None).unwrap();
        assert!(bent.radial() < -0.05, "{name}: a barrel lens, {}", bent.radial());
        assert!(bent.rms_px < 0.45 * flat.rms_px, "{name}: {} of {}", bent.rms_px, flat.rms_px);
        assert!(bent.rms_px < 2.0 * published.rms_px, "{name}: {} of {}", bent.rms_px, published.rms_px);
        let scale = Scale::on_plane(bent, 1.0, 0.0, frame, ScaleSource::Card).unwrap();
        let (mut squares, mut count) = (0.0, 0.0);
        for i in (0..54).filter(|i| i % 9 < 8) {
            let side = scale.length(&[board.as_taken[i], board.as_taken[i + 1]]).0;
            squares += (side / 25.0 - 1.0).powi(2);
            count += 1.0;
        }
        // A corner is found to about 0.2 px of some 30 a square: 1 % of a single side.
        let rms = f64::sqrt(squares / count);
        assert!(rms < 0.012, "{name}: sides of 25 mm are off by {:.2} % rms", 100.0 * rms);
    }
}

fn payload(geometry: Geometry, tank: &str) -> Payload {
    Payload { geometry, tank: Some(tank.into()), date: None }
}

/// Source of the symbols: Debian's qrencode (libqrencode), in the modes it chooses itself.
#[test]
fn symbols_of_another_encoder_are_read() {
    if !there(&["qrencode"]) {
        return;
    }
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("symbol.png");
    let path = file.to_str().unwrap();
    for (level, module) in [("L", "3"), ("M", "5"), ("Q", "8")] {
        system(
            "qrencode",
            &["-o", path, "-l", level, "-s", module, "-v", "3", "FRYGAUGE/1/S100/P07/2026-05-02"],
        );
        let found = card::read(&framed(&open(&file), 400), None);
        let said = found.payload.expect("decoded");
        assert_eq!((said.tank.as_deref(), said.geometry), (Some("P07"), Geometry::Strip));
        assert_eq!(said.date.map(|d| d.to_string()).as_deref(), Some("2026-05-02"));
        assert!(matches!(found.problems[..], [CardProblem::FewDots { .. }]), "{:?}", found.problems);
    }
    system("qrencode", &["-o", path, "-s", "5", "https://example.org/<script>"]);
    let found = card::read(&framed(&open(&file), 400), None);
    assert_eq!(found.problems, [CardProblem::Foreign("https://example.org/<script>".into())]);
    system("qrencode", &["-o", path, "-s", "5", "FRYGAUGE/2/D90/P03/"]);
    let found = card::read(&framed(&open(&file), 400), None);
    assert_eq!(found.problems, [CardProblem::OtherVersion("FRYGAUGE/2/D90/P03/".into())]);
}

/// A picture in the middle of a pale bench.
fn framed(picture: &Pixels, side: u32) -> Pixels {
    let mut frame = image::RgbImage::from_pixel(side, side, image::Rgb([205; 3]));
    let [x0, y0] = [picture.width, picture.height].map(|s| (side - s) / 2);
    for y in 0..picture.height {
        for x in 0..picture.width {
            let v = picture.luma[(y * picture.width + x) as usize];
            frame.put_pixel(x0 + x, y0 + y, image::Rgb([v; 3]));
        }
    }
    Pixels::from_rgb(&frame)
}

/// A page of a PDF as Poppler draws it at a resolution.
fn page(pdf: &[u8], dots_per_inch: u32) -> (tempfile::TempDir, PathBuf) {
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("cards.pdf");
    std::fs::write(&file, pdf).unwrap();
    let root = dir.path().join("page");
    let resolution = dots_per_inch.to_string();
    system(
        "pdftoppm",
        &["-png", "-r", &resolution, "-singlefile", file.to_str().unwrap(), root.to_str().unwrap()],
    );
    (dir, root.with_extension("png"))
}

/// Sources: ISO 216 (A4 is 210 by 297 mm), ANSI/ASME Y14.1 (size A is 8.5 by 11 in), Poppler's pdftoppm at
/// 254 dots to the inch, which is ten to the millimetre; ZBar reads the symbols.
#[test]
fn printed_cards_have_their_true_size() {
    if !there(&["pdftoppm", "zbarimg"]) {
        return;
    }
    for (paper, millimetres) in [(Paper::A4, [210.0, 297.0]), (Paper::Letter, [8.5 * 25.4, 11.0 * 25.4])] {
        for geometry in Geometry::ALL {
            let sheet = Sheet::new(&[payload(geometry, "P03")], paper, None).unwrap();
            let (_dir, file) = page(&sheet.pdf().unwrap(), 254);
            let pixels = open(&file);
            let [w, h] = [pixels.width, pixels.height].map(f64::from);
            assert!((w - 10.0 * millimetres[0]).abs() <= 1.0, "{paper:?}: {w} px");
            assert!((h - 10.0 * millimetres[1]).abs() <= 1.0, "{paper:?}: {h} px");
            let found = card::read(&pixels, None);
            let card = found.card.unwrap_or_else(|| panic!("{geometry:?}: {:?}", found.problems));
            assert!(!card.mirrored && card.dots.0 == card.dots.1, "{geometry:?}: {:?}", card.dots);
            let scale = card.field.mm_per_px([w / 2.0, h / 2.0]);
            assert!((scale / 0.1 - 1.0).abs() < 5e-4, "{geometry:?} on {paper:?}: {scale} mm/px");
            // The check bar, measured in the picture itself.
            let [from, to] = geometry.bar().map(|p| card.field.to_px(p));
            let bar = dark_run(&pixels, from, to);
            assert!((bar - 1000.0).abs() < 2.5, "{geometry:?}: the bar is {bar} px of 1000");
            let read = system("zbarimg", &["--raw", "-q", file.to_str().unwrap()]);
            assert_eq!(read.trim(), format!("FRYGAUGE/1/{}/P03/", geometry.id()));
        }
    }
}

/// A printer that made 99.2 mm of the bar is given a bar of 100 / 0.992 mm; Poppler measures it.
#[test]
fn a_printer_that_shrinks_is_given_a_longer_bar() {
    if !there(&["pdftoppm"]) {
        return;
    }
    let sheet = Sheet::new(&[payload(Geometry::Dish90, "P03")], Paper::A4, Some(99.2)).unwrap();
    let (_dir, file) = page(&sheet.pdf().unwrap(), 254);
    let pixels = open(&file);
    let card = card::read(&pixels, None).card.unwrap();
    let [from, to] = Geometry::Dish90.bar().map(|p| card.field.to_px(p));
    let bar = dark_run(&pixels, from, to);
    assert!((bar - 1000.0 / 0.992).abs() < 2.5, "{bar} px");
}

/// Length of the longest dark run along a line a little longer than from `a` to `b`, in pixels.
fn dark_run(pixels: &Pixels, a: [f64; 2], b: [f64; 2]) -> f64 {
    let long = (b[0] - a[0]).hypot(b[1] - a[1]);
    let [ux, uy] = [(b[0] - a[0]) / long, (b[1] - a[1]) / long];
    let steps = ((long + 40.0) * 4.0) as usize;
    let (mut run, mut best) = (0, 0);
    for i in 0..steps {
        let t = i as f64 / 4.0 - 20.0;
        let [x, y] = [a[0] + t * ux, a[1] + t * uy].map(|v| v.round() as usize);
        run = if pixels.luma[y * pixels.width as usize + x] < 128 { run + 1 } else { 0 };
        best = best.max(run);
    }
    best as f64 / 4.0
}

/// Source: rulers drawn by Pillow (`make_rulers.py`); the scale is in the file's name.
#[test]
fn rulers_of_another_hand_are_read_right_or_refused() {
    for (name, pitches) in [
        ("millimetres-13.7-px-31-deg.jpg", &[1.0][..]),
        ("steel-millimetres-17.3-px--64-deg.jpg", &[1.0]),
        ("close-up-millimetres-43.0-px-7-deg.jpg", &[1.0]),
        // Beyond the ends of its half-millimetre ticks this is a ruler of whole millimetres.
        ("half-millimetres-21.0-px-12-deg.jpg", &[0.5, 1.0]),
    ] {
        let truth = number(name.split("-px-").next().unwrap().rsplit('-').next().unwrap());
        let found = ruler::read(&open(&stored(name)), None, None).expect("seen").expect("read");
        assert!(pitches.contains(&found.pitch_mm), "{name}: {} mm", found.pitch_mm);
        let error = found.mm_per_px * truth - 1.0;
        assert!(error.abs() < 0.003, "{name}: {:.2} % off", 100.0 * error);
    }
    let inches = ruler::read(&open(&stored("sixteenth-inches-14.4-px--22-deg.jpg")), None, None);
    assert_eq!(inches.expect("seen").expect_err("inches").problem, RulerProblem::Inches);
}
