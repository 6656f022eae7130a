//! Scales and labels as people meet them: what `score`, `scale` and `card` say of cards, rulers and dishes,
//! good ones and bad ones. All photographs are rendered.

use assert_cmd::Command;
use frygauge::render::card::{Graduation, View};
use frygauge::render::{Class, photograph};
use frygauge::scale::card::{Drawing, Geometry, Payload};
use image::{Rgb, RgbImage};
use std::collections::BTreeMap;
use std::path::Path;

/// One row of `photos.csv`, and how the run ended.
struct Scored {
    code: i32,
    said: String,
    row: BTreeMap<String, String>,
}

impl Scored {
    fn cell(&self, column: &str) -> &str {
        &self.row[column]
    }

    fn mm_per_px(&self) -> f64 {
        self.cell("mm_per_px").parse().unwrap_or_else(|_| panic!("no scale: {:?}", self.row))
    }

    fn flagged(&self, flag: &str) {
        assert!(self.cell("flags").split(';').any(|f| f == flag), "{flag} is not in {:?}", self.row);
    }
}

fn frygauge(dir: &Path, args: &[&str]) -> (i32, String, String) {
    let run = Command::cargo_bin("frygauge").unwrap().current_dir(dir).args(args).output().unwrap();
    let text = |b: &[u8]| String::from_utf8_lossy(b).split_whitespace().collect::<Vec<_>>().join(" ");
    (run.status.code().unwrap_or(-1), text(&run.stdout), text(&run.stderr))
}

/// Scores one photograph called `name` and reads its row.
fn score(dir: &Path, name: &str, options: &[&str]) -> Scored {
    let mut args = vec!["score", name, "--out", "results", "--replace"];
    args.extend(options);
    let (code, _, said) = frygauge(dir, &args);
    let table = dir.join("results/photos.csv");
    let mut reader = csv::Reader::from_path(table).unwrap_or_else(|e| panic!("{e}: {said}"));
    let names = reader.headers().unwrap().clone();
    let cells = reader.records().next().unwrap().unwrap();
    let row = names.iter().zip(&cells).map(|(n, c)| (n.to_owned(), c.to_owned())).collect();
    Scored { code, said, row }
}

/// Scores a picture without pictures and report.
fn score_picture(picture: &RgbImage, options: &[&str]) -> Scored {
    let dir = tempfile::tempdir().unwrap();
    picture.save(dir.path().join("a.png")).unwrap();
    let mut all = vec!["--no-pictures"];
    all.extend(options);
    score(dir.path(), "a.png", &all)
}

fn payload(geometry: Geometry, tank: &str) -> Payload {
    Payload { geometry, tank: Some(tank.into()), date: None }
}

/// Ink of a card whose top left corner lies at `at`, printed `size` times too large.
fn card_ink(drawing: &Drawing, at: [f64; 2], size: f64) -> impl Fn([f64; 2]) -> Option<f64> + '_ {
    move |p| {
        let q = [0, 1].map(|i| (p[i] - at[i]) / size);
        let on = (0..2).all(|i| (0.0..drawing.size[i]).contains(&q[i]));
        on.then(|| f64::from(u8::from(drawing.is_dark(q))))
    }
}

/// A plain photograph of a plane at ten pixels a millimetre.
fn taken(size_mm: [u32; 2], ink: impl Fn([f64; 2]) -> Option<f64>) -> RgbImage {
    let aim = size_mm.map(|s| f64::from(s) / 2.0);
    View::plain(size_mm.map(|s| 10 * s), 10.0, aim).take(1, ink)
}

/// A photograph of fish with a strip card laid over its lower edge.
fn fish_beside_card(tank: &str) -> (RgbImage, f64) {
    let fish = photograph(Class::LightPad, 3);
    let drawing = Drawing::new(&payload(Geometry::Strip, tank)).unwrap();
    let px = fish.truth.px_per_mm;
    let size = drawing.size.map(|s| (s * px) as u32);
    let mut view = View::plain(size, px, drawing.size.map(|s| s / 2.0));
    view.distance_mm = 1e6;
    let card = view.take(2, card_ink(&drawing, [0.0; 2], 1.0));
    let (w, h) = fish.image.dimensions();
    // The ground goes on below the fish: nothing of them is covered.
    let mut frame = RgbImage::from_fn(w.max(size[0] + 40), h + size[1] + 40, |x, y| {
        *fish.image.get_pixel(x.min(w - 1), y.min(h - 1))
    });
    image::imageops::replace(&mut frame, &fish.image, 0, 0);
    image::imageops::replace(&mut frame, &card, 20, i64::from(h) + 20);
    (frame, px)
}

#[test]
fn a_card_beside_fish_gives_scale_tank_and_errors() {
    let dir = tempfile::tempdir().unwrap();
    let (picture, px_per_mm) = fish_beside_card("P03");
    picture.save(dir.path().join("a.png")).unwrap();
    let scored = score(dir.path(), "a.png", &["--date", "2026-05-02"]);
    assert_eq!(scored.cell("scale_source"), "card", "{:?} {}", scored.row, scored.said);
    assert!((scored.mm_per_px() * px_per_mm - 1.0).abs() < 0.005, "{:?}", scored.row);
    let mut fish = csv::Reader::from_path(dir.path().join("results/fish.csv")).unwrap();
    let names = fish.headers().unwrap().clone();
    let column = |name: &str| names.iter().position(|n| n == name).unwrap();
    let rows: Vec<csv::StringRecord> = fish.records().map(Result::unwrap).collect();
    assert!(!rows.is_empty());
    for row in rows {
        assert_eq!(&row[column("tank")], "P03");
        let [mm, se]: [f64; 2] =
            ["total_length_mm", "total_length_se_mm"].map(|c| row[column(c)].parse().unwrap());
        // The card's own error is in it: never below the printer's 0.2 %.
        assert!(se > 0.002 * mm, "{row:?}");
    }
}

#[test]
fn lengths_follow_a_measured_bar_and_a_known_height() {
    let drawing = Drawing::new(&payload(Geometry::Dish60, "P03")).unwrap();
    let picture = taken([96, 116], card_ink(&drawing, [4.0, 4.0], 1.0));
    let plain = score_picture(&picture, &[]).mm_per_px();
    assert!((plain / 0.1 - 1.0).abs() < 0.002, "{plain}");
    let shrunk = score_picture(&picture, &["--printed-bar-mm", "99.2"]).mm_per_px();
    assert!((shrunk / plain - 0.992).abs() < 1e-4, "{shrunk}");
    let lifted = score_picture(&picture, &["--floor-mm", "3", "--camera-mm", "300"]).mm_per_px();
    assert!((lifted / plain - 0.99).abs() < 1e-4, "{lifted}");
}

#[test]
fn two_cards_in_one_frame_give_neither_scale_nor_tank() {
    let [one, two] = ["P03", "P04"].map(|t| Drawing::new(&payload(Geometry::Strip, t)).unwrap());
    let picture = taken([140, 70], |p| {
        card_ink(&one, [5.0, 5.0], 1.0)(p).or_else(|| card_ink(&two, [5.0, 38.0], 1.0)(p))
    });
    let scored = score_picture(&picture, &[]);
    scored.flagged("two_cards");
    assert_eq!((scored.cell("status"), scored.cell("mm_per_px")), ("retake", ""));
    assert!(scored.cell("reason").contains("2 cards in the frame"), "{:?}", scored.row);
}

#[test]
fn a_torn_card_is_told_with_its_dots() {
    let drawing = Drawing::new(&payload(Geometry::Strip, "P03")).unwrap();
    let ink = card_ink(&drawing, [5.0, 5.0], 1.0);
    let picture = taken([140, 40], |p| if p[0] > 55.0 { None } else { ink(p) });
    let scored = score_picture(&picture, &[]);
    scored.flagged("card_hidden");
    assert_eq!((scored.cell("status"), scored.cell("mm_per_px")), ("retake", ""));
    assert!(scored.cell("reason").contains("of the card's 22 dots"), "{:?}", scored.row);
}

/// A symbol with any text, six pixels a module.
fn symbol(text: &str) -> RgbImage {
    let code = qrcode::QrCode::new(text).unwrap();
    let side = code.width();
    let dark = code.to_colors();
    RgbImage::from_fn(600, 600, |x, y| {
        let [u, v] = [x, y].map(|s| (s as usize).wrapping_sub(150) / 6);
        let on = u < side && v < side && dark[v * side + u] == qrcode::Color::Dark;
        Rgb([if on { 30 } else { 215 }; 3])
    })
}

#[test]
fn foreign_symbols_are_shown_escaped_and_never_followed() {
    let dir = tempfile::tempdir().unwrap();
    let text = "http://example.org/<script>alert(1)</script>";
    symbol(text).save(dir.path().join("a.png")).unwrap();
    let scored = score(dir.path(), "a.png", &[]);
    scored.flagged("foreign_code");
    assert_eq!(scored.cell("mm_per_px"), "");
    let page = std::fs::read_to_string(dir.path().join("results/report.html")).unwrap();
    assert!(!page.contains("<script>alert"), "the symbol's text is markup in the report");
    assert!(!page.contains("href=\"http://example.org"), "the symbol's text is a link in the report");
}

#[test]
fn cards_of_another_version_and_damaged_texts_are_refused() {
    let other = score_picture(&symbol("FRYGAUGE/2/D90/P03/2026-05-02"), &[]);
    other.flagged("card_version");
    assert!(other.cell("reason").contains("another version"), "{:?}", other.row);
    let damaged = score_picture(&symbol("FRYGAUGE/1/D91/P03/"), &[]);
    damaged.flagged("card_unreadable");
    assert_eq!((damaged.cell("status"), damaged.cell("mm_per_px")), ("retake", ""));
}

#[test]
fn a_card_on_a_screen_at_the_wrong_size_is_caught_by_a_ruler() {
    let drawing = Drawing::new(&payload(Geometry::Strip, "P03")).unwrap();
    let ruler = Graduation::millimetres(100);
    let frame = |size: f64| {
        taken([160, 75], |p| {
            card_ink(&drawing, [5.0, 5.0], size)(p)
                .or_else(|| ruler.ink([p[0] - 20.0, p[1] - 46.0], 0.2, 3.5))
        })
    };
    let right = score_picture(&frame(1.0), &[]);
    assert_eq!(right.cell("scale_source"), "card");
    assert!(!right.cell("flags").contains("card_wrong_size"), "{:?}", right.row);
    let wrong = score_picture(&frame(1.15), &[]);
    wrong.flagged("card_wrong_size");
    assert_eq!(wrong.cell("status"), "retake");
    assert!(wrong.cell("reason").contains("check bar measures 115."), "{:?}", wrong.row);
}

#[test]
fn rulers_give_the_scale_and_short_ones_and_inches_do_not() {
    let frame = |ruler: Graduation| taken([110, 70], |p| ruler.ink([p[0] - 15.0, p[1] - 20.0], 0.2, 3.5));
    let read = score_picture(&frame(Graduation::millimetres(80)), &[]);
    assert_eq!(read.cell("scale_source"), "ruler");
    assert!((read.mm_per_px() / 0.1 - 1.0).abs() < 0.005, "{:?}", read.row);
    let short = score_picture(&frame(Graduation::millimetres(15)), &[]);
    short.flagged("ruler_short");
    assert_eq!(short.cell("mm_per_px"), "");
    let inches = Graduation { pitch_mm: 25.4 / 16.0, longer: &[2, 4, 8, 16], ticks: 49 };
    let inches = score_picture(&frame(inches), &[]);
    inches.flagged("ruler_inches");
    assert_eq!(inches.cell("mm_per_px"), "");
}

#[test]
fn scales_that_disagree_are_told() {
    let ruler = Graduation::millimetres(80);
    let picture = taken([110, 70], |p| ruler.ink([p[0] - 15.0, p[1] - 20.0], 0.2, 3.5));
    let agree = score_picture(&picture, &["--px-per-mm", "10.1"]);
    assert_eq!(agree.cell("scale_source"), "given");
    assert!(!agree.cell("flags").contains("scale_disagrees"), "{:?}", agree.row);
    let off = score_picture(&picture, &["--px-per-mm", "10.6"]);
    off.flagged("scale_disagrees");
    assert!((off.mm_per_px() - 1.0 / 10.6).abs() < 1e-6, "what was typed is kept");
}

/// A dish of 60 mm inner diameter, its wall 1.5 mm thick, seen at a tilt (degrees), off the middle by
/// `shift` millimetres.
fn dish(tilt: f64, shift: f64) -> RgbImage {
    let squeeze = tilt.to_radians().cos();
    taken([90, 84], |[x, y]| {
        let (dx, dy) = (x - 45.0 - shift, (y - 42.0) / squeeze);
        let r = dx.hypot(dy);
        Some(match r {
            r if r < 30.0 => 0.05,
            r if r < 31.5 => 0.55,
            _ => 0.2,
        })
    })
}

#[test]
fn a_dish_of_known_diameter_gives_the_scale_tilt_taken_out() {
    for tilt in [0.0, 15.0, 25.0] {
        let read = score_picture(&dish(tilt, 1.3), &["--dish-mm", "60"]);
        assert_eq!(read.cell("scale_source"), "dish", "tilt {tilt}: {:?}", read.row);
        // The scale is the mean over directions: a tilted plane shows fewer pixels a millimetre.
        let truth = 0.1 / tilt.to_radians().cos().sqrt();
        assert!((read.mm_per_px() / truth - 1.0).abs() < 0.01, "tilt {tilt}: {:?}", read.row);
    }
}

#[test]
fn a_dish_cut_by_the_frame_is_refused() {
    let cut = score_picture(&dish(0.0, 22.0), &["--dish-mm", "60"]);
    cut.flagged("dish_cut");
    assert_eq!((cut.cell("status"), cut.cell("mm_per_px")), ("retake", ""));
    let none = score_picture(&taken([80, 60], |_| Some(0.1)), &["--dish-mm", "60"]);
    none.flagged("no_dish");
}

#[test]
fn a_card_that_names_another_tank_than_the_folder_refuses_the_photograph() {
    let dir = tempfile::tempdir().unwrap();
    let (picture, _) = fish_beside_card("P03");
    std::fs::create_dir_all(dir.path().join("P04/2026-05-02")).unwrap();
    picture.save(dir.path().join("P04/2026-05-02/a.png")).unwrap();
    let scored = score(dir.path(), "P04/2026-05-02/a.png", &["--no-pictures"]);
    assert_eq!((scored.code, scored.cell("status")), (2, "refused"));
    let reason = scored.cell("reason");
    assert!(reason.contains("card says \"P03\"") && reason.contains("folder says \"P04\""), "{reason}");
    let fish = std::fs::read_to_string(dir.path().join("results/fish.csv")).unwrap();
    assert_eq!(fish.lines().count(), 1, "fish of an unknown tank count for none");
    // A tank on the command line that agrees with the folder does not overrule the card.
    let given = score(dir.path(), "P04/2026-05-02/a.png", &["--no-pictures", "--tank", "P04"]);
    assert_eq!(given.cell("status"), "refused");
}

#[test]
fn stored_scales_are_measured_kept_listed_and_used() {
    let dir = tempfile::tempdir().unwrap();
    let dir = dir.path();
    // A stage micrometer: lines every 0.1 mm, twelve pixels apart.
    let lines = Graduation { pitch_mm: 1.2, longer: &[5, 10], ticks: 61 };
    taken([100, 50], |p| lines.ink([p[0] - 14.0, p[1] - 20.0], 0.25, 4.0)).save(dir.join("m.png")).unwrap();
    let measure = ["scale", "measure", "stereo 2x", "m.png", "--division-mm", "0.1"];
    let (code, out, err) = frygauge(dir, &measure);
    assert_eq!(code, 0, "{err}");
    let px_per_mm: f64 = out.split_whitespace().nth(2).unwrap().parse().unwrap();
    assert!((px_per_mm / 120.0 - 1.0).abs() < 0.003, "{out}");
    let (code, _, err) = frygauge(dir, &measure);
    assert!(code == 1 && err.contains("stored already") && err.contains("hint:"), "{err}");
    let (code, _, err) =
        frygauge(dir, &["scale", "store", "fixed", "--px-per-mm", "20", "--frame", "640x480"]);
    assert_eq!(code, 0, "{err}");
    let (_, out, _) = frygauge(dir, &["scale", "list"]);
    assert!(out.contains("fixed") && out.contains("stereo 2x") && out.contains("1000x500"), "{out}");
    let (_, json, _) = frygauge(dir, &["scale", "list", "--json"]);
    assert_eq!(
        serde_json::from_str::<serde_json::Value>(&json).unwrap()["scales"].as_array().unwrap().len(),
        2
    );

    taken([100, 50], |_| Some(0.1)).save(dir.join("a.png")).unwrap();
    let used = score(dir, "a.png", &["--no-pictures", "--stored-scale", "stereo 2x"]);
    assert_eq!(used.cell("scale_source"), "stored");
    assert!((used.mm_per_px() * px_per_mm - 1.0).abs() < 1e-3, "{:?}", used.row);
    let other = score(dir, "a.png", &["--no-pictures", "--stored-scale", "fixed"]);
    other.flagged("stored_scale_other_frame");
    assert_eq!(other.cell("mm_per_px"), "");
    let (code, _, err) = frygauge(dir, &["score", "a.png", "--stored-scale", "stereo 4x", "--out", "r2"]);
    assert!(code == 1 && err.contains("stored are: fixed, stereo 2x"), "{err}");
}

#[test]
fn scale_refuses_what_it_cannot_measure_and_writes_nothing() {
    let dir = tempfile::tempdir().unwrap();
    let dir = dir.path();
    taken([60, 40], |_| Some(0.1)).save(dir.join("bare.png")).unwrap();
    for (args, part) in [
        (vec!["scale", "measure", "x", "bare.png"], "no graduation was found"),
        (vec!["scale", "measure", "x", "absent.png"], "absent.png"),
        (vec!["scale", "measure", "x", "bare.png", "--division-mm", "0"], "--division-mm"),
        (vec!["scale", "store", "x", "--px-per-mm", "0", "--frame", "10x10"], "above zero"),
        (vec!["scale", "store", "x", "--px-per-mm", "9", "--frame", "wide"], "4000x3000"),
    ] {
        let (code, _, err) = frygauge(dir, &args);
        assert!(code == 1 && err.contains(part) && err.contains("hint:"), "{args:?}: {err}");
    }
    assert!(!dir.join("frygauge-scales.toml").exists());
    std::fs::write(dir.join("frygauge-scales.toml"), "[[scale]]\nname = 3\n").unwrap();
    let (code, _, err) = frygauge(dir, &["scale", "list"]);
    assert!(code == 1 && err.contains("frygauge-scales.toml") && err.contains("row 2"), "{err}");
}

#[test]
fn cards_are_written_for_tanks_of_a_register_and_refused_clearly() {
    let dir = tempfile::tempdir().unwrap();
    let dir = dir.path();
    std::fs::write(dir.join("tanks.csv"), "tank,volume\nP01,200\nP02,200\nP03,200\n").unwrap();
    let (code, _, err) = frygauge(dir, &["card", "--register", "tanks.csv", "--layout", "s100"]);
    assert_eq!(code, 0, "{err}");
    assert!(std::fs::read(dir.join("frygauge-cards.pdf")).unwrap().starts_with(b"%PDF"));
    let (code, _, err) = frygauge(dir, &["card", "--tank", "P03", "--out", "c.svg", "--paper", "letter"]);
    assert_eq!(code, 0, "{err}");
    let svg = std::fs::read_to_string(dir.join("c.svg")).unwrap();
    assert!(svg.contains("215.9mm") && svg.contains("279.4mm"), "{}", &svg[..200]);
    let long = "x".repeat(90);
    for (args, part) in [
        (vec!["card", "--tank", &long], "too long"),
        (vec!["card", "--printed-bar-mm", "70"], "90 to 110"),
        (vec!["card", "--register", "absent.csv"], "absent.csv"),
        (vec!["card", "--out", "card.docx"], "docx"),
    ] {
        let (code, _, err) = frygauge(dir, &args);
        assert!(code == 1 && err.contains(part) && err.contains("hint:"), "{args:?}: {err}");
    }
}
