//! Draws what the reader sees in photographs: midlines of fish, boxes of refused candidates, and prints the
//! evidence for each. For those who work on the reader.
//!
//! `cargo run --release --example look -- OUT_DIR PHOTO…`

use frygauge::fish::{Outcome, measure_all};
use frygauge::photo::Pixels;
use frygauge::segmentation::{find, prepare};
use image::{Rgb, RgbImage};

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
    let mut clock = std::time::Instant::now();
    let mut lap = || std::mem::replace(&mut clock, std::time::Instant::now()).elapsed();
    let ground = prepare(&pixels);
    let prepared = lap();
    let seen = find(&ground);
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
        line(&mut canvas, &points, Rgb([255, 160, 0]));
    }
    for r in &seen.refused {
        println!("  refused {} at {:.0?}", r.reason, r.outline[0]);
        line(&mut canvas, &r.outline, Rgb([0, 200, 255]));
    }
    for o in measure_all(&pixels, &ground, &seen) {
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
                line(&mut canvas, &f.midline, Rgb([255, 0, 0]));
                line(&mut canvas, &f.outline, Rgb([0, 160, 0]));
                line(&mut canvas, &f.midline[..6], Rgb([0, 0, 255]));
            }
            Outcome::Refused(r, e) => {
                let e = e.map(|(e, _)| e);
                println!("  refused {} at {:.0?} {e:.2?}", r.reason, r.outline[0]);
                line(&mut canvas, &r.outline, Rgb([255, 0, 255]));
            }
        }
    }
    println!("  prepare {prepared:?} find {found:?} measure {:?}", lap());
    canvas.save(out).unwrap();
}

fn line(canvas: &mut RgbImage, points: &[[f64; 2]], colour: Rgb<u8>) {
    for w in points.windows(2) {
        let n = (w[1][0] - w[0][0]).hypot(w[1][1] - w[0][1]).ceil().max(1.0) as usize * 2;
        for k in 0..=n {
            let f = k as f64 / n as f64;
            let (x, y) = (w[0][0] + f * (w[1][0] - w[0][0]), w[0][1] + f * (w[1][1] - w[0][1]));
            if x >= 0.0 && y >= 0.0 && x < f64::from(canvas.width()) && y < f64::from(canvas.height()) {
                canvas.put_pixel(x as u32, y as u32, colour);
            }
        }
    }
}
