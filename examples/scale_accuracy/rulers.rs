//! Rulers in rendered views: read right, refused, or misread; how far the scale is off, and where.

use frygauge::photo::{Pixels, Tags};
use frygauge::render::card::{Graduation, View};
use frygauge::scale::{Options, ScaleSource, auto, ruler};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// Errors of a scale: their squares, and how many the 95 % interval holds.
#[derive(Default)]
struct Errors {
    squares: f64,
    covered: u32,
    count: u32,
}

impl Errors {
    fn add(&mut self, error: f64, se: f64) {
        self.squares += error * error;
        self.covered += u32::from(error.abs() < 1.96 * se);
        self.count += 1;
    }

    fn line(&self) -> String {
        let n = f64::from(self.count.max(1));
        format!("{:7.3}  {:11.1}%", 100.0 * (self.squares / n).sqrt(), 100.0 * f64::from(self.covered) / n)
    }
}

/// Millimetres must be read as such or not at all, halves as halves, inches never.
///
/// Cameras stand from 0.7 (a phone) to 4 frame widths away and tilt up to 6 degrees; rulers are wrong by
/// 0.2 % (one standard deviation). The scale is held against the truth on the ruler, where only the reading
/// counts, and at places anywhere in the frame, where tilt, lens and the ruler's own error do.
pub fn rulers(count: u64) {
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
    println!(
        "                                                             on the ruler           anywhere in the frame"
    );
    println!(
        "graduation             read  refused  not seen  factor errors  rms %  in 95 % interval  rms %  in 95 % interval"
    );
    let first = crate::first();
    for (name, graduation, pitch) in kinds {
        let (mut read, mut refused, mut wrong) = (0u32, 0u32, 0u32);
        let (mut on, mut anywhere) = (Errors::default(), Errors::default());
        for seed in first..first + count {
            let mut dice = ChaCha8Rng::seed_from_u64(seed);
            let mut view =
                View::drawn(seed, [1600, 1200], 12.0 + (seed % 14) as f64, [30.0, 15.0], 0.1, 30.0);
            view.mirrored = false;
            if graduation.pitch_mm < 1.0 {
                view.px_per_mm += 8.0;
            }
            let widths = 0.7 * (4.0_f64 / 0.7).powf(dice.random());
            view.distance_mm = widths * 1600.0 / view.px_per_mm;
            view.blur = view.blur.min(0.12 * view.px_per_mm * graduation.pitch_mm);
            let width = [0.12, 0.18, 0.25][seed as usize % 3] * graduation.pitch_mm.min(1.0);
            let normal: f64 = (0..12).map(|_| dice.random::<f64>()).sum::<f64>() - 6.0;
            let stretch = 1.0 + 0.002 * normal;
            let ink = |p: [f64; 2]| graduation.ink(p.map(|v| v / stretch), width, 3.0);
            let pixels = Pixels::from_rgb(&view.take(seed, ink));
            let show = std::env::var_os("SHOW").is_some();
            let found = match ruler::read(&pixels, None, None) {
                Some(Ok(found)) => found,
                other => {
                    refused += u32::from(other.is_some());
                    if show && pitch.is_some() {
                        println!(
                            "  missed: seed {seed} {other:?} px/mm {:.1} blur {:.2} ink {:.2}/{:.2}",
                            view.px_per_mm, view.blur, view.ink, view.paper
                        );
                    }
                    continue;
                }
            };
            // Truth along the ruler, between its ends.
            let (a, b) = (view.to_mm(found.ends[0]), view.to_mm(found.ends[1]));
            let mm = (a[0] - b[0]).hypot(a[1] - b[1]) / stretch;
            let px = (found.ends[0][0] - found.ends[1][0]).hypot(found.ends[0][1] - found.ends[1][1]);
            let error = found.mm_per_px / (mm / px) - 1.0;
            if error.abs() > 0.1 || pitch.is_none() {
                wrong += 1;
                if show {
                    println!("  wrong: seed {seed} {found:?}");
                }
                continue;
            }
            read += 1;
            let options = Options { floor_mm: Some(0.0), ..Options::default() };
            let Some(scale) = auto(&pixels, &Tags::default(), &options).scale else { continue };
            assert_eq!(scale.source, ScaleSource::Ruler);
            // On the ruler: five millimetres of it near its middle, by the ruler's own marks.
            let middle = [0, 1].map(|i| f64::midpoint(found.ends[0][i], found.ends[1][i]));
            let unit = [0, 1].map(|i| (found.ends[1][i] - found.ends[0][i]) / px * 2.5 / found.mm_per_px);
            let piece = [-1.0, 1.0].map(|s| [0, 1].map(|i| middle[i] + s * unit[i]));
            let (p, q) = (view.to_mm(piece[0]), view.to_mm(piece[1]));
            on.add(
                scale.length(&piece).0 * stretch / (p[0] - q[0]).hypot(p[1] - q[1]) - 1.0,
                found.relative_se,
            );
            for _ in 0..3 {
                let at = [1600.0, 1200.0].map(|s: f64| s * dice.random_range(0.05..0.95));
                let error = scale.at(at[0], at[1]).get() / view.mm_per_px(at) - 1.0;
                let se = scale.relative_se_at(at[0], at[1]);
                anywhere.add(error, se);
                if show && error.abs() > 3.0 * se {
                    println!("  off: seed {seed} {:.2} % se {:.2} % {found:?}", 100.0 * error, 100.0 * se);
                }
            }
        }
        let n = count as f64;
        let unseen = count - u64::from(read) - u64::from(refused) - u64::from(wrong);
        println!(
            "{name:22} {:4.1}%  {:6.1}%  {:7.1}%  {wrong:13}  {}       {}",
            100.0 * f64::from(read) / n,
            100.0 * f64::from(refused) / n,
            100.0 * unseen as f64 / n,
            on.line(),
            anywhere.line()
        );
    }
}
