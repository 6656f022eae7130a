//! What a calibrated lens does to lengths over the frame.

use frygauge::photo::{Pixels, Tags};
use frygauge::render::card::{Graduation, View};
use frygauge::scale::card::{Drawing, Geometry, Payload};
use frygauge::scale::lens::{self, Lens, board, calibrate};
use frygauge::scale::stored::StoredLens;
use frygauge::scale::{Options, auto};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

const FRAME: [u32; 2] = [1600, 1200];
/// Focal length in pixels: a field of view of 65 degrees across the diagonal.
const FOCAL: f64 = 1570.0;
/// Length of the lines measured: a fry.
const LINE_MM: f64 = 8.0;

/// A camera with this bend at the corner, at a distance that shows `width_mm`.
fn camera(bend: f64, width_mm: f64, aim: [f64; 2]) -> View {
    let mut view = View::plain(FRAME, f64::from(FRAME[0]) / width_mm, aim);
    view.distance_mm = FOCAL / view.px_per_mm;
    view.bend = bend;
    view
}

/// The lens from twelve photographs of a chessboard of 12 by 9 squares of 10 mm.
fn calibrated(bend: f64, dice: &mut ChaCha8Rng) -> Option<lens::Calibration> {
    let square = |[x, y]: [f64; 2]| {
        let on = (-8.0..128.0).contains(&x) && (-8.0..98.0).contains(&y);
        let inside = (0.0..120.0).contains(&x) && (0.0..90.0).contains(&y);
        on.then(|| f64::from(u8::from(inside && ((x / 10.0).floor() + (y / 10.0).floor()) % 2.0 == 0.0)))
    };
    let mm: Vec<[f64; 2]> = (0..88).map(|i| [f64::from(i % 11), f64::from(i / 11)]).collect();
    let mut views = Vec::new();
    for i in 0..12u64 {
        let aim = [60.0 + dice.random_range(-18.0..18.0), 45.0 + dice.random_range(-14.0..14.0)];
        let mut view = camera(bend, dice.random_range(150.0..190.0), aim);
        view.tilt = dice.random_range(0.25..0.6);
        view.tilt_axis = i as f64 * 0.9;
        view.turn = dice.random_range(-0.3..0.3);
        let pixels = Pixels::from_rgb(&view.take(i, square));
        if let Some(px) = board::corners(&pixels, 11, 8) {
            views.push(lens::View { mm: mm.clone(), px });
        }
    }
    calibrate(&views, (f64::from(FRAME[0]), f64::from(FRAME[1]))).ok()
}

fn stored(lens: Lens) -> StoredLens {
    StoredLens {
        name: "rendered".into(),
        make: None,
        model: None,
        focal_length_mm: None,
        width_px: FRAME[0],
        height_px: FRAME[1],
        photos: 12,
        rms_px: 0.0,
        reach: 1.0,
        stored: jiff::civil::Date::ZERO,
        lens,
    }
}

/// Lines of a fry's length anywhere in the frame, measured by a card or a ruler at its lower edge, with the
/// lens and without.
pub fn lenses(count: u64) {
    println!(
        "lines of {LINE_MM} mm anywhere in rendered frames, {count} frames a line, scale from the lower edge"
    );
    println!("bend at the corner  source  error without the lens %   with it %");
    println!("                              rms  worst                 rms  worst");
    for bend in [-0.02, -0.05, 0.03] {
        let mut dice = ChaCha8Rng::seed_from_u64(7);
        let Some(found) = calibrated(bend, &mut dice) else {
            println!("{bend:18}  not calibrated");
            continue;
        };
        if std::env::var_os("SHOW").is_some() {
            println!("  {found:?}");
        }
        for source in ["card", "ruler"] {
            let mut errors = [Vec::new(), Vec::new()];
            // The same cameras and lines in every row.
            let mut dice = ChaCha8Rng::seed_from_u64(8);
            for seed in 0..count {
                let payload = Payload { geometry: Geometry::Strip, tank: None, date: None };
                let drawing = Drawing::new(&payload).expect("a blank card");
                // Strip and ruler lie along the lower edge of a frame 140 mm wide.
                let mut view = camera(bend, 140.0, [64.0, -20.0]);
                view.tilt = dice.random_range(0.0..0.02);
                view.tilt_axis = dice.random_range(0.0..std::f64::consts::TAU);
                let ruler = Graduation::millimetres(120);
                let image = view.take(seed, |p: [f64; 2]| match source {
                    "card" => {
                        let on = (-1.0..129.0).contains(&p[0]) && (-1.0..27.0).contains(&p[1]);
                        on.then(|| f64::from(u8::from(drawing.is_dark(p))))
                    }
                    _ => ruler.ink([p[0] - 4.0, p[1]], 0.2, 3.0),
                });
                let pixels = Pixels::from_rgb(&image);
                let lines: Vec<[[f64; 2]; 2]> = (0..40)
                    .map(|_| {
                        let at = [0, 1].map(|i| f64::from(FRAME[i]) * dice.random_range(0.06..0.94));
                        let turn: f64 = dice.random_range(0.0..std::f64::consts::TAU);
                        // To where the view sees a point 8 mm away: a few steps of Newton's would do; so
                        // would the local scale, for the truth is measured between the ends all the same.
                        let long = LINE_MM / view.mm_per_px(at);
                        [at, [at[0] + long * turn.cos(), at[1] + long * turn.sin()]]
                    })
                    .collect();
                for (i, lens) in [None, Some(stored(found.lens))].into_iter().enumerate() {
                    let options = Options { floor_mm: Some(0.0), lens, ..Options::default() };
                    let Some(scale) = auto(&pixels, &Tags::default(), &options).scale else { continue };
                    for [a, b] in &lines {
                        let (p, q) = (view.to_mm(*a), view.to_mm(*b));
                        let truth = (p[0] - q[0]).hypot(p[1] - q[1]);
                        errors[i].push(scale.length(&[*a, *b]).0 / truth - 1.0);
                    }
                }
            }
            let figures = errors.map(|e| {
                let rms = (e.iter().map(|v| v * v).sum::<f64>() / e.len().max(1) as f64).sqrt();
                let worst = e.iter().map(|v| v.abs()).fold(0.0, f64::max);
                format!("{:5.2}  {:5.2}", 100.0 * rms, 100.0 * worst)
            });
            println!("{:17.0}%  {source:6}  {}               {}", 100.0 * bend, figures[0], figures[1]);
        }
    }
}
