//! The haze inside a round wall and beside a straight one: what the wall reflects, shades and scatters on to the ground
//! beside it.
//!
//! It changes fast with the distance from the wall and slowly along it, so that at every distance a low Fourier
//! series in the angle describes it; a straight wall is laid out on half a circle. The series is fitted by least
//! absolute deviations (iteratively reweighted least squares, Schlossmacher 1973, doi
//! 10.1080/01621459.1973.10481416): a fish along a ninth of a round wall (40 degrees) hardly moves it, one along a
//! third would; beside straight walls it is stiffer.

use super::beside::{BIN, ORDER, SECTORS, Side};
use super::ground::{Ground, Polarity};
use crate::imaging::{Plane, ellipse::Ellipse, plane::quantile};
use nalgebra::{SMatrix, SVector};

/// The last part of the bins, as a share, over which the haze fades out.
const FADE: f64 = 0.3;
/// Bins that a straight edge itself takes.
const EDGE: usize = 3;
/// What is lighter on one side of a step, as a share of what is darker on the other, and what is darker there as a share
/// of that (by trying, rendered rulers and trays).
const STEP: f64 = 0.3;
/// Pixels of a bin in one sector that are enough for a median.
const ENOUGH_PIXELS: f64 = 40.0;
/// Terms of the longest series.
const TERMS: usize = 2 * ORDER + 1;
/// Share of the sectors that must be in the frame.
const LEAST_SEEN: f64 = 0.25;
/// Rounds of reweighting.
const ROUNDS: usize = 12;
/// What harmonics cost, as observations at zero: keeps the series calm where part of the circle is not seen.
const CALM: f64 = 0.5;
/// The same of harmonics that are not used.
const HELD: f64 = 1e9;
/// Most light the haze can take away.
const DARKEST: f32 = 0.7;

/// Takes the haze of each vessel's wall, and of straight edges from end to end, out of the ink and keeps it in
/// [`Ground::haze`]; search pixels.
pub fn take_out(ground: &mut Ground, vessels: &[Ellipse], edges: &[[[f64; 2]; 2]]) {
    let mut haze = Plane::filled(ground.ink.width, ground.ink.height, 0.0f32);
    for vessel in vessels {
        read(&haze, ground, Side::Inside(*vessel)).lay(&mut haze, ground);
    }
    for &[from, to] in edges {
        let both = [-1.0, 1.0].map(|side| read(&haze, ground, Side::Beside { from, to, side }));
        if !is_step(&both.each_ref().map(Course::levels)) {
            both.into_iter().for_each(|course| course.lay(&mut haze, ground));
        }
    }
    for (ink, h) in ground.ink.data.iter_mut().zip(&haze.data) {
        *ink = without(*ink, *h, ground.polarity);
    }
    ground.haze = Some(haze);
    ground.settle();
}

/// Ink without the haze over it: on a bright ground both absorb one behind the other, on a dark one their light
/// adds up.
#[inline]
pub fn without(ink: f32, haze: f32, polarity: Polarity) -> f32 {
    match polarity {
        Polarity::DarkFish => (ink - haze) / (1.0 - haze),
        Polarity::BrightFish => ink - haze,
    }
}

/// The haze on one side of a wall: a series for each bin of distances.
struct Course {
    side: Side,
    series: Vec<Option<SVector<f64, TERMS>>>,
}

/// Reads the haze on one side of a wall, what was found beside others taken off.
fn read(haze: &Plane<f32>, ground: &Ground, side: Side) -> Course {
    let mut values = vec![Vec::new(); side.bins() * SECTORS];
    let cell = side.length() / side.sectors() as f64 * BIN;
    let every = ((cell / ENOUGH_PIXELS) as usize).max(1);
    let [columns, rows] = side.window(haze.width, haze.height);
    let place = side.places();
    for y in rows {
        // Shifted from row to row, so that no column is left out.
        for x in columns.clone().skip(y * 3 % every).step_by(every) {
            if let Some((depth, [dx, dy])) = place(x as f64, y as f64).filter(|_| ground.lit.at(x, y)) {
                let turn = dy.atan2(dx) / std::f64::consts::TAU + 0.5;
                let sector = ((turn * SECTORS as f64) as usize).min(SECTORS - 1);
                let ink = without(ground.ink.at(x, y), haze.at(x, y), ground.polarity);
                values[depth as usize * SECTORS + sector].push(ink);
            }
        }
    }
    let medians: Vec<Option<f32>> = values.iter_mut().map(|v| quantile(v, 0.5)).collect();
    let series = medians.chunks(SECTORS).map(|bin| fit(bin, side.sectors(), side.harmonics())).collect();
    drop(place);
    Course { side, series }
}

impl Course {
    /// Typical ink in each bin, as far as it is known.
    fn levels(&self) -> Vec<f64> {
        self.series.iter().flatten().map(|series| series[0]).collect()
    }

    /// Adds this haze to what was found beside other walls.
    fn lay(&self, haze: &mut Plane<f32>, ground: &Ground) {
        let bins = self.series.len();
        let place = self.side.places();
        let [columns, rows] = self.side.window(haze.width, haze.height);
        for y in rows {
            for x in columns.clone() {
                let Some((depth, away)) = place(x as f64, y as f64) else { continue };
                // Between the middles of two bins, straight.
                let at = (depth - 0.5).clamp(0.0, (bins - 1) as f64);
                let (low, part) = (at as usize, at.fract());
                let Some((a, b)) = self.series[low].zip(self.series[(low + 1).min(bins - 1)]) else {
                    continue;
                };
                let terms = terms(away);
                let h = a.dot(&terms) + part * (b.dot(&terms) - a.dot(&terms));
                let share = ((1.0 - depth / bins as f64) / FADE).clamp(0.0, 1.0);
                let both = together(haze.at(x, y), (share * h) as f32, ground.polarity);
                haze.set(x, y, both.min(DARKEST));
            }
        }
    }
}

/// Whether the typical ink in each bin to both sides of a straight edge is that of a step: a ruler or a card ends in one
/// as well, and the ground beside it, flattened across the step, goes the other way and never comes back.
fn is_step(both: &[Vec<f64>; 2]) -> bool {
    let [a, b] = both.each_ref().map(|levels| {
        let beside = levels.iter().skip(EDGE);
        beside.fold([0.0_f64; 2], |[low, high], v| [low.min(*v), high.max(*v)])
    });
    let against = |[low, high]: [f64; 2], other: [f64; 2]| -low > STEP * other[1] && high < STEP * -low;
    against(a, b) || against(b, a)
}

/// Two hazes one over the other: what [`without`] both leaves.
fn together(a: f32, b: f32, polarity: Polarity) -> f32 {
    match polarity {
        Polarity::DarkFish => a + b - a * b,
        Polarity::BrightFish => a + b,
    }
}

/// The terms of the series in the direction of `away`: one, then cosine and sine of every multiple of its angle.
fn terms([x, y]: [f64; 2]) -> SVector<f64, TERMS> {
    let r = (x * x + y * y).sqrt().max(1e-9);
    let (cos, sin) = (x / r, y / r);
    let mut terms = SVector::zeros();
    let (mut c, mut s) = (1.0, 0.0);
    terms[0] = 1.0;
    for k in 1..=ORDER {
        (c, s) = (c * cos - s * sin, s * cos + c * sin);
        (terms[2 * k - 1], terms[2 * k]) = (c, s);
    }
    terms
}

/// The direction of the middle of a sector.
fn middle(sector: usize) -> [f64; 2] {
    let (sin, cos) = (((sector as f64 + 0.5) / SECTORS as f64 - 0.5) * std::f64::consts::TAU).sin_cos();
    [cos, sin]
}

/// The series of so many `harmonics` with the least sum of absolute departures from what the sectors show, `None` where too
/// few of the `all` that the wall takes are seen.
fn fit(sectors: &[Option<f32>], all: usize, harmonics: usize) -> Option<SVector<f64, TERMS>> {
    let seen: Vec<(SVector<f64, TERMS>, f64)> =
        sectors.iter().enumerate().filter_map(|(s, v)| Some((terms(middle(s)), f64::from((*v)?)))).collect();
    if (seen.len() as f64) < LEAST_SEEN * all as f64 {
        return None;
    }
    let mut weights = vec![1.0; seen.len()];
    let mut series = SVector::zeros();
    for _ in 0..ROUNDS {
        let mut normal = SMatrix::<f64, TERMS, TERMS>::zeros();
        let mut right = SVector::<f64, TERMS>::zeros();
        for ((t, v), w) in seen.iter().zip(&weights) {
            normal += *w * t * t.transpose();
            right += *w * *v * t;
        }
        let typical = weights.iter().sum::<f64>() / weights.len() as f64;
        for i in 1..TERMS {
            let harmonic = i.div_ceil(2);
            let cost = if harmonic > harmonics { HELD } else { CALM * (harmonic as f64).powi(2) };
            normal[(i, i)] += cost * typical;
        }
        series = normal.cholesky()?.solve(&right);
        let mut sizes: Vec<f32> = seen.iter().map(|(t, v)| (v - series.dot(t)).abs() as f32).collect();
        let least = f64::from(0.3 * quantile(&mut sizes, 0.5)?).max(1e-5);
        for ((t, v), w) in seen.iter().zip(&mut weights) {
            *w = 1.0 / (v - series.dot(t)).abs().max(least);
        }
    }
    Some(series)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A wall bright on one side, with something along a ninth of it.
    fn sectors(with_fish: bool) -> Vec<Option<f32>> {
        (0..SECTORS)
            .map(|s| {
                let turn = (s as f32 + 0.5) / SECTORS as f32 * std::f32::consts::TAU;
                let fish = if with_fish && s < SECTORS / 9 { 0.2 } else { 0.0 };
                Some(0.1 + 0.05 * turn.cos() + 0.02 * (2.0 * turn).sin() + fish)
            })
            .collect()
    }

    #[test]
    fn a_fish_along_a_ninth_of_the_wall_hardly_moves_the_series() {
        let clean = fit(&sectors(false), SECTORS, ORDER).unwrap();
        let with_fish = fit(&sectors(true), SECTORS, ORDER).unwrap();
        for s in 0..SECTORS {
            let t = terms(middle(s));
            let truth = f64::from(sectors(false)[s].unwrap());
            assert!((clean.dot(&t) - truth).abs() < 0.01, "sector {s}: {}", clean.dot(&t) - truth);
            assert!((with_fish.dot(&t) - truth).abs() < 0.03, "sector {s}: {}", with_fish.dot(&t) - truth);
        }
    }

    #[test]
    fn a_wall_hardly_seen_has_no_series() {
        let mut few = sectors(false);
        few[12..].fill(None);
        assert!(fit(&few, SECTORS, ORDER).is_none());
    }

    /// Levels to both sides of a wall and of a ruler: a wall's haze thins out to both sides; a ruler is dark on one, and the
    /// ground flattened across its edge goes the other way on the other.
    #[test]
    fn the_edge_of_a_ruler_is_a_step_and_that_of_a_wall_is_none() {
        let thins_out = |from: f64| -> Vec<f64> {
            (0..40)
                .map(|bin| if bin < EDGE { 0.4 } else { from * (-f64::from(bin as u32) / 6.0).exp() })
                .collect()
        };
        assert!(!is_step(&[thins_out(0.12), thins_out(0.05)]));
        assert!(is_step(&[thins_out(0.12), thins_out(-0.1)]));
        assert!(is_step(&[thins_out(-0.1), thins_out(0.12)]));
        // The bright plastic of a wall ends in its other, dark edge.
        let mut plastic = thins_out(-0.1);
        plastic[20] = 0.15;
        assert!(!is_step(&[thins_out(0.12), plastic]));
    }

    /// The haze of a straight wall, stronger to one end of it, is taken out on both sides, and a fish across it stays.
    #[test]
    fn the_haze_of_a_straight_wall_goes_and_a_fish_in_it_stays() {
        let (w, h) = (400, 240);
        let haze = |x: usize, y: usize| {
            let d = (y as f64 - 120.0).abs();
            (0.1 + 0.1 * x as f64 / w as f64) * (-d / 10.0).exp()
        };
        let fish = |x: usize, y: usize| (180..230).contains(&x) && (128..140).contains(&y);
        let mut ink = Plane::filled(w, h, 0.0f32);
        for y in 0..h {
            for x in 0..w {
                let body = if fish(x, y) { 0.2 } else { 0.0 };
                ink.set(x, y, (1.0 - (1.0 - haze(x, y)) * (1.0 - body)) as f32);
            }
        }
        let grey = image::GrayImage::from_pixel(w as u32, h as u32, image::Luma([200]));
        let even = crate::photo::Pixels::from_rgb(&image::DynamicImage::from(grey).to_rgb8());
        let mut ground = crate::segmentation::prepare(&even);
        ground.ink = ink;
        take_out(&mut ground, &[], &[[[0.0, 120.0], [399.0, 120.0]]]);
        for (x, y, left) in [(60, 126, 0.0), (340, 128, 0.0), (340, 110, 0.0), (205, 134, 0.2)] {
            assert!((ground.ink.at(x, y) - left).abs() < 0.02, "{x} {y}: {}", ground.ink.at(x, y));
        }
    }
}
