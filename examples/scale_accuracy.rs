//! How well scales are read from rendered photographs: decoding, error, coverage, false finds.
//!
//! `cargo run --release --example scale_accuracy [-- card|ruler|none|time [count [px/module]]]`
//!
//! All photographs are rendered. Fish are taken to lie in the plane of the card, and the card to be
//! printed at its exact size: what is measured is the reading alone.

use frygauge::photo::Pixels;
use frygauge::pipeline::{Settings, score};
use frygauge::render::card::{Graduation, View};
use frygauge::render::{Class, encode_jpeg, photograph};
use frygauge::scale::card::{self, Drawing, Geometry, Payload};
use frygauge::scale::ruler;
use image::RgbImage;
use std::time::Instant;

fn main() {
    let mut args = std::env::args().skip(1);
    let what = args.next().unwrap_or_else(|| "all".into());
    let count: u64 = args.next().and_then(|n| n.parse().ok()).unwrap_or(200);
    let wants = |name: &str| what == "all" || what == name;
    if wants("card") {
        println!("rendered cards, {count} a line");
        println!("px/module  tilt  decoded  scale  rms error %  in 95 % interval");
        let only: Option<f64> = args.next().and_then(|n| n.parse().ok());
        for (module_px, tilt) in [(3.0, 0.0), (3.0, 20.0), (3.0, 25.0), (6.0, 0.0), (6.0, 20.0), (6.0, 25.0)]
        {
            if only.is_none_or(|o| o == module_px) {
                cards(count, module_px, tilt);
            }
        }
    }
    if wants("ruler") {
        rulers(count);
    }
    if wants("none") {
        without(count);
    }
    if wants("time") {
        times(count.min(24));
    }
}

/// What the searches for card and ruler add to the decoding and scoring of photographs, with and without them.
fn times(count: u64) {
    let model = frygauge::bladder::Model::standard().expect("the model built in");
    println!("photographs of 24 MP                  share of decoding and scoring   of decoding alone");
    println!("                                      card     ruler                  card     ruler");
    for with_card in [false, true] {
        let (mut card_s, mut ruler_s, mut rest_s, mut decode_s) = (0.0, 0.0, 0.0, 0.0);
        for seed in 0..count {
            let class = [Class::LightPad, Class::DarkDish, Class::PaleTray][seed as usize % 3];
            let mut picture = photograph(class, 90_000 + seed);
            picture.image = large(&picture.image, picture.truth.px_per_mm, with_card);
            let bytes = encode_jpeg(&picture, 90);
            let clock = Instant::now();
            let photo = frygauge::photo::decode(&bytes, "a.jpg").expect("our own JPEG");
            decode_s += clock.elapsed().as_secs_f64();
            let mut clock = Instant::now();
            let found = card::read(&photo.pixels);
            let this_card = clock.elapsed().as_secs_f64();
            assert_eq!(found.payload.is_some(), with_card, "seed {seed}");
            clock = Instant::now();
            let _ = ruler::read(&photo.pixels, None);
            let this_ruler = clock.elapsed().as_secs_f64();
            let scale = frygauge::scale::Options::default();
            clock = Instant::now();
            let _ = score(&photo, &Settings { model, scale: &scale });
            rest_s += clock.elapsed().as_secs_f64() - this_card - this_ruler;
            card_s += this_card;
            ruler_s += this_ruler;
        }
        println!(
            "{:36}  {:5.1}%  {:6.1}%                 {:5.1}%  {:6.1}%",
            if with_card { "with a card" } else { "without" },
            100.0 * card_s / (decode_s + rest_s),
            100.0 * ruler_s / (decode_s + rest_s),
            100.0 * card_s / decode_s,
            100.0 * ruler_s / decode_s
        );
    }
}

/// The photograph mirrored into every quarter of a frame of 24 MP, a strip card over its middle if wanted.
fn large(image: &RgbImage, px_per_mm: f64, with_card: bool) -> RgbImage {
    let (w, h) = image.dimensions();
    let fold = |v: u32, n: u32| if (v / n).is_multiple_of(2) { v % n } else { n - 1 - v % n };
    let mut frame = RgbImage::from_fn(6000, 4000, |x, y| *image.get_pixel(fold(x, w), fold(y, h)));
    if with_card {
        let payload = Payload { geometry: Geometry::Strip, tank: Some("P03".into()), date: None };
        let drawing = Drawing::new(&payload).expect("a short name");
        let px = px_per_mm.min(5800.0 / drawing.size[0]);
        let size = drawing.size.map(|s| (s * px) as u32);
        let view = View::plain(size, px, drawing.size.map(|s| s / 2.0));
        let card = view.take(1, |p| Some(f64::from(u8::from(drawing.is_dark(p)))));
        image::imageops::replace(&mut frame, &card, 100, 2000 - i64::from(size[1]) / 2);
    }
    frame
}

/// Views of a card: how many decode, how far the scale is off.
fn cards(count: u64, module_px: f64, tilt: f64) {
    let (mut decoded, mut scaled, mut squares, mut covered, mut points) = (0, 0, 0.0, 0, 0);
    for seed in 0..count {
        let geometry = Geometry::ALL[seed as usize % 3];
        let payload = Payload { geometry, tank: Some(format!("P{:02}", seed % 12 + 1)), date: None };
        let drawing = Drawing::new(&payload).expect("a short name");
        let [w, h] = geometry.size();
        let px_per_mm = module_px / 0.6;
        let side = ((w.hypot(h) + 16.0) * px_per_mm) as u32;
        let aim = [w / 2.0, h / 2.0];
        let mut view = View::drawn(seed, [side, side], px_per_mm, aim, tilt.to_radians(), 0.5 * w);
        view.blur = view.blur.min(0.45 * module_px);
        // What covers the symbol itself hides what it says: those are not reading errors.
        let symbol = geometry.symbol_at().map(|v| v + 8.7);
        view.cover.retain(|(at, r, _)| (at[0] - symbol[0]).hypot(at[1] - symbol[1]) > r + 14.0);
        let lit = view.clone();
        view.glare.retain(|(at, r, _)| {
            let mm = lit.to_mm(*at);
            (mm[0] - symbol[0]).hypot(mm[1] - symbol[1]) > 3.0 * r / px_per_mm + 14.0
        });
        let ink = |p: [f64; 2]| {
            let on = (-1.0..w + 1.0).contains(&p[0]) && (-1.0..h + 1.0).contains(&p[1]);
            on.then(|| f64::from(u8::from(drawing.is_dark(p))))
        };
        let pixels = Pixels::from_rgb(&view.take(seed, ink));
        let found = card::read(&pixels);
        if found.payload.as_ref() == Some(&payload) {
            decoded += 1;
        } else if std::env::var_os("SHOW").is_some() {
            println!(
                "  not decoded: seed {seed} blur {:.2} ink {:.2}/{:.2} {:?}",
                view.blur, view.ink, view.paper, found.problems
            );
            let _ =
                view.take(seed, ink).save(std::env::temp_dir().join(format!("scale_{module_px}_{seed}.png")));
        }
        let Some(card) = found.card else {
            if std::env::var_os("SHOW").is_some() {
                println!("  no scale: seed {seed} {:?}", found.problems);
                let _ = view
                    .take(seed, ink)
                    .save(std::env::temp_dir().join(format!("scale_{module_px}_{seed}.png")));
            }
            continue;
        };
        scaled += 1;
        // Where fish would be: at places round the middle of the card.
        for (u, v) in [(0.3, 0.5), (0.5, 0.5), (0.7, 0.6)] {
            let near = card.field.to_px([u * w, v * h]);
            let truth = view.mm_per_px(near);
            let error = card.field.mm_per_px(near) / truth - 1.0;
            let se = card.field.relative_se(near);
            squares += error * error;
            covered += u32::from(error.abs() < 1.96 * se);
            points += 1;
            if std::env::var_os("SHOW").is_some() && error.abs() > 0.006 {
                println!(
                    "  off: seed {seed} {geometry:?} {:.3} % se {:.3} % dots {:?} rms {:.3} px",
                    100.0 * error,
                    100.0 * se,
                    card.dots,
                    card.field.rms_px
                );
            }
        }
    }
    println!(
        "{module_px:9}  {tilt:4}  {:6.1}%  {:4.1}%  {:11.3}  {:15.1}%",
        100.0 * f64::from(decoded) / count as f64,
        100.0 * f64::from(scaled) / count as f64,
        100.0 * (squares / f64::from(points)).sqrt(),
        100.0 * f64::from(covered) / f64::from(points)
    );
}

/// Views of rulers: millimetres must be read right or not at all, halves as halves, inches never.
fn rulers(count: u64) {
    let kinds = [
        ("millimetres", Graduation::millimetres(80), Some(1.0)),
        ("half millimetres", Graduation { pitch_mm: 0.5, longer: &[2, 10, 20], ticks: 161 }, Some(0.5)),
        (
            "sixteenths of an inch",
            Graduation { pitch_mm: 25.4 / 16.0, longer: &[2, 4, 8, 16], ticks: 65 },
            None,
        ),
    ];
    println!("rendered rulers, {count} a line");
    println!("graduation             read  refused  not seen  factor errors  rms error %  in 95 % interval");
    for (name, graduation, pitch) in kinds {
        let (mut read, mut refused, mut wrong, mut covered) = (0u32, 0u32, 0u32, 0u32);
        let mut squares = 0.0;
        for seed in 0..count {
            let mut view =
                View::drawn(seed, [1600, 1200], 12.0 + (seed % 14) as f64, [30.0, 15.0], 0.1, 30.0);
            view.mirrored = false;
            if graduation.pitch_mm < 1.0 {
                view.px_per_mm += 8.0;
            }
            view.blur = view.blur.min(0.12 * view.px_per_mm * graduation.pitch_mm);
            let width = [0.12, 0.18, 0.25][seed as usize % 3] * graduation.pitch_mm.min(1.0);
            let ink = |p: [f64; 2]| graduation.ink(p, width, 3.0);
            let pixels = Pixels::from_rgb(&view.take(seed, ink));
            match ruler::read(&pixels, None) {
                Some(Ok(found)) => {
                    let middle = [0, 1].map(|i| f64::midpoint(found.ends[0][i], found.ends[1][i]));
                    // Truth along the ruler, between its ends.
                    let (a, b) = (view.to_mm(found.ends[0]), view.to_mm(found.ends[1]));
                    let mm = (a[0] - b[0]).hypot(a[1] - b[1]);
                    let px = (found.ends[0][0] - found.ends[1][0]).hypot(found.ends[0][1] - found.ends[1][1]);
                    let error = found.mm_per_px / (mm / px) - 1.0;
                    let _ = middle;
                    if error.abs() > 0.1 || pitch.is_none() {
                        wrong += 1;
                        if std::env::var_os("SHOW").is_some() {
                            println!("  wrong: seed {seed} {found:?}");
                        }
                        continue;
                    }
                    read += 1;
                    squares += error * error;
                    covered += u32::from(error.abs() < 1.96 * found.relative_se.hypot(0.003));
                }
                other => {
                    refused += u32::from(other.is_some());
                    if std::env::var_os("SHOW").is_some() && pitch.is_some() {
                        println!(
                            "  missed: seed {seed} {other:?} px/mm {:.1} blur {:.2} ink {:.2}/{:.2}",
                            view.px_per_mm, view.blur, view.ink, view.paper
                        );
                        let _ =
                            view.take(seed, ink).save(std::env::temp_dir().join(format!("ruler_{seed}.png")));
                    }
                }
            }
        }
        let n = count as f64;
        let unseen = count - u64::from(read) - u64::from(refused) - u64::from(wrong);
        println!(
            "{name:22} {:4.1}%  {:6.1}%  {:7.1}%  {wrong:13}  {:11.3}  {:15.1}%",
            100.0 * f64::from(read) / n,
            100.0 * f64::from(refused) / n,
            100.0 * unseen as f64 / n,
            100.0 * (squares / f64::from(read.max(1))).sqrt(),
            100.0 * f64::from(covered) / f64::from(read.max(1))
        );
    }
}

/// Photographs without card or ruler: what is found in them all the same.
fn without(count: u64) {
    let classes = [
        Class::LightPad,
        Class::DarkDish,
        Class::PaleTray,
        Class::Crowded,
        Class::WellsWithEggs,
        Class::PhoneBlur,
    ];
    let (mut false_cards, mut false_rulers, mut doubts, mut without) = (0, 0, 0, 0);
    for seed in 0..count {
        let picture = photograph(classes[seed as usize % classes.len()], 70_000 + seed);
        // Some of these scenes hold a ruler of their own.
        if picture.truth.others.iter().any(|o| o.0 == "ruler") {
            continue;
        }
        without += 1;
        let pixels = Pixels::from_rgb(&picture.image);
        let found = card::read(&pixels);
        false_cards += u32::from(found.payload.is_some() || !found.problems.is_empty());
        if let Some(found) = ruler::read(&pixels, None) {
            if std::env::var_os("SHOW").is_some() {
                println!("  ruler: {} {found:?}", picture.truth.px_per_mm);
                let _ = picture.image.save(std::env::temp_dir().join(format!("none_{seed}.png")));
            }
            false_rulers += u32::from(found.is_ok());
            doubts += u32::from(found.is_err());
        }
    }
    println!("photographs without card or ruler: {without}");
    println!("cards seen in them: {false_cards}; rulers: {false_rulers}; graduations doubted: {doubts}");
}
