//! Cards in rendered views, and what is seen where there is neither card nor ruler.

use frygauge::photo::Pixels;
use frygauge::render::card::View;
use frygauge::render::{Class, photograph};
use frygauge::scale::card::{self, Drawing, Geometry, Payload};
use frygauge::scale::ruler;

/// Views of a card: how many decode, how far the scale is off.
pub fn cards(count: u64, module_px: f64, tilt: f64) {
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
        let found = card::read(&pixels, None);
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

/// Photographs without card or ruler: what is found in them all the same.
pub fn without(count: u64) {
    let classes = [
        Class::LightPad,
        Class::DarkDish,
        Class::PaleTray,
        Class::Crowded,
        Class::WellsWithEggs,
        Class::PhoneBlur,
    ];
    let (mut false_cards, mut false_rulers, mut doubts, mut without) = (0, 0, 0, 0);
    let first = crate::first();
    for seed in first..first + count {
        let picture = photograph(classes[seed as usize % classes.len()], 70_000 + seed);
        // Some of these scenes hold a ruler of their own.
        if picture.truth.others.iter().any(|o| o.0 == "ruler") {
            continue;
        }
        without += 1;
        let pixels = Pixels::from_rgb(&picture.image);
        let found = card::read(&pixels, None);
        false_cards += u32::from(found.payload.is_some() || !found.problems.is_empty());
        if let Some(found) = ruler::read(&pixels, None, None) {
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
