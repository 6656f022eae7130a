//! Draws what the reader sees in photographs: midlines of fish, boxes of refused candidates, and prints the
//! evidence for each. For those who work on the reader.
//!
//! `cargo run --release --example look -- OUT_DIR PHOTO…`

#[path = "accuracy/draw.rs"]
mod draw;

use draw::line;
use frygauge::fish::{Outcome, measure_all};
use frygauge::photo::{Pixels, without_banding};
use frygauge::segmentation::{find, prepare};
use image::RgbImage;

fn main() {
    let args: Vec<String> = std::env::args().skip(1).collect();
    for file in &args[1..] {
        let image = image::open(file).unwrap().to_rgb8();
        let name = std::path::Path::new(file).file_stem().unwrap().to_string_lossy().into_owned();
        look(&image, &format!("{}/{name}.png", args[0]));
    }
}

fn look(image: &RgbImage, out: &str) {
    let pixels = Pixels::from_rgb(image);
    let pixels = without_banding(&pixels);
    let mut clock = std::time::Instant::now();
    let mut lap = || std::mem::replace(&mut clock, std::time::Instant::now()).elapsed();
    let mut ground = prepare(&pixels);
    let prepared = lap();
    let mut seen = find(&mut ground);
    let found = lap();
    println!(
        "{out}: factor {} {:?} blue {:.2} clipped {:.3} glints {:.6} candidates {}",
        ground.factor,
        ground.polarity,
        ground.blue_share,
        ground.clipped,
        ground.glints,
        seen.candidates.len()
    );
    let mut canvas = image.clone();
    for v in &seen.vessels {
        println!("  vessel {v:.1?}");
        let points: Vec<[f64; 2]> = (0..=180)
            .map(|i| {
                let t = f64::from(i) * std::f64::consts::TAU / 180.0;
                let (s, c) = v.angle.sin_cos();
                let (p, q) = (v.a * t.cos(), v.b * t.sin());
                [v.x + p * c - q * s, v.y + p * s + q * c]
            })
            .collect();
        line(&mut canvas, &points, [255, 160, 0]);
    }
    for r in &seen.refused {
        println!("  refused {} at {:.0?}", r.reason, r.outline[0]);
        line(&mut canvas, &r.outline, [0, 200, 255]);
    }
    for o in measure_all(&pixels, &ground, &mut seen) {
        match o {
            Outcome::Fish(f, e) => {
                println!(
                    "  fish at {:.0},{:.0} length {:.1} depth {:.1} {:?} blur {:.2} p_head {:.2} {:?} {e:.2?}",
                    f.midline[32][0],
                    f.midline[32][1],
                    f.total_length.0,
                    f.depth.0,
                    f.view,
                    f.blur.0,
                    f.p_head,
                    f.flags
                );
                line(&mut canvas, &f.midline, [255, 0, 0]);
                line(&mut canvas, &f.outline, [0, 160, 0]);
                line(&mut canvas, &f.midline[..6], [0, 0, 255]);
            }
            Outcome::Refused(r, e) => {
                let e = e.map(|(e, _)| e);
                println!("  refused {} at {:.0?} {e:.2?}", r.reason, r.outline[0]);
                line(&mut canvas, &r.outline, [255, 0, 255]);
            }
        }
    }
    println!("  prepare {prepared:?} find {found:?} measure {:?}", lap());
    canvas.save(out).unwrap();
}
