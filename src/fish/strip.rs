//! The straightener: a bent fish resampled along its midline to a picture of fixed size.
//!
//! Body coordinates are fractions of total length: `along` from 0 at the snout to 1 at the end of the
//! tail fin, `above` the midline towards the back. [`BodyAxis`] maps them to the photograph; [`straighten`]
//! samples the photograph at the centre of every strip pixel.

use super::{STRIP_HEIGHT, STRIP_MARGIN, STRIP_PER_LENGTH, STRIP_WIDTH, Strip};
use crate::imaging::path;
use crate::imaging::plane::bilinear;
use crate::photo::{Chroma, Pixels};
use ndarray::Array3;

/// Standard deviation of the smoothing of the midline, as a fraction of total length. Detail of the line
/// finer than this is error of the line, not bend of the fish.
const SMOOTHING: f64 = 0.02;
/// Offsets on the inner side of a bend start to be drawn in at this fraction of the radius of curvature …
const BEND_FREE: f64 = 0.55;
/// … and never come closer to the centre of the bend than this fraction of it leaves.
const BEND_LIMIT: f64 = 0.9;
/// Darkest background that is divided by, in grey levels: below it ratios are noise.
const BACKGROUND_FLOOR: f32 = 6.0;
/// Spacing of the grid on which the background is asked for, in strip pixels.
const BACKGROUND_STEP: usize = 8;
/// Strip pixels per photograph pixel above which the cubic kernel shows less stair than the linear one.
const CUBIC_ABOVE: f64 = 1.5;

/// The smoothed axis of a fish: body coordinates to pixels of the photograph.
#[derive(Debug, Clone)]
pub struct BodyAxis {
    /// Evenly spaced points from the snout to the end of the tail.
    points: Vec<[f64; 2]>,
    /// Unit vectors towards the back at `points`.
    up: Vec<[f64; 2]>,
    /// Signed curvature at `points`, per pixel; positive bends towards the back.
    curvature: Vec<f64>,
    /// Unit vectors out of the snout and out of the tail.
    outward: [[f64; 2]; 2],
    length: f64,
}

impl BodyAxis {
    /// The axis of a fish from its `midline` (pixels, x then y, snout to the end of the tail fin) and
    /// whether its back is to the left of one who walks along it (as seen in the photograph, y down).
    pub fn new(midline: &[[f64; 2]], back_left: bool) -> Self {
        const N: usize = 161;
        let length = path::length(midline);
        let line = if length > 0.0 {
            path::resample(midline, N)
        } else {
            vec![midline.first().copied().unwrap_or_default(); N]
        };
        let points = path::smooth(&line, SMOOTHING * (N - 1) as f64);
        let side = if back_left { 1.0 } else { -1.0 };
        let last = N - 1;
        let tangent = |i: usize| {
            let (a, b) = (points[i.saturating_sub(2)], points[(i + 2).min(last)]);
            unit([b[0] - a[0], b[1] - a[1]])
        };
        let tangents: Vec<[f64; 2]> =
            path::smooth(&(0..N).map(tangent).collect::<Vec<_>>(), 3.0).into_iter().map(unit).collect();
        // Left of the walker in a picture whose y points down.
        let up: Vec<[f64; 2]> = tangents.iter().map(|t| [side * t[1], -side * t[0]]).collect();
        let step = length.max(1e-9) / last as f64;
        let bend: Vec<[f64; 2]> = (0..N)
            .map(|i| {
                let (lo, hi) = (i.saturating_sub(3), (i + 3).min(last));
                let (a, b) = (tangents[lo], tangents[hi]);
                let per_pixel = 1.0 / (step * (hi - lo) as f64);
                let u = up[i];
                [((b[0] - a[0]) * u[0] + (b[1] - a[1]) * u[1]) * per_pixel, 0.0]
            })
            .collect();
        let curvature = path::smooth(&bend, 4.0).into_iter().map(|c| c[0]).collect();
        let outward = [tangents[0].map(|v| -v), tangents[last]];
        Self { points, up, curvature, outward, length }
    }

    /// Length of the midline in pixels.
    pub fn length(&self) -> f64 {
        self.length
    }

    /// The place in the photograph (x, y) of a point in body coordinates.
    ///
    /// On the inner side of a tight bend, offsets are drawn in so that no two points change places.
    ///
    /// ```
    /// use frygauge::fish::strip::BodyAxis;
    /// let axis = BodyAxis::new(&[[10.0, 50.0], [110.0, 50.0]], true);
    /// let [x, y] = axis.place(0.5, 0.1);
    /// assert!((x - 60.0).abs() < 1e-6 && (y - 40.0).abs() < 1e-6);
    /// ```
    pub fn place(&self, along: f64, above: f64) -> [f64; 2] {
        let (base, up, curvature) = self.frame(along);
        let v = draw_in(above * self.length, curvature);
        [base[0] + v * up[0], base[1] + v * up[1]]
    }

    /// Point, direction to the back and curvature at `along`.
    fn frame(&self, along: f64) -> ([f64; 2], [f64; 2], f64) {
        let last = self.points.len() - 1;
        if along <= 0.0 || along >= 1.0 {
            let (i, o, beyond) = if along <= 0.0 {
                (0, self.outward[0], -along)
            } else {
                (last, self.outward[1], along - 1.0)
            };
            let d = beyond * self.length;
            return ([self.points[i][0] + d * o[0], self.points[i][1] + d * o[1]], self.up[i], 0.0);
        }
        let t = along * last as f64;
        let i = (t as usize).min(last - 1);
        let f = t - i as f64;
        let mix = |a: [f64; 2], b: [f64; 2]| [a[0] + f * (b[0] - a[0]), a[1] + f * (b[1] - a[1])];
        let curvature = self.curvature[i] + f * (self.curvature[i + 1] - self.curvature[i]);
        (mix(self.points[i], self.points[i + 1]), unit(mix(self.up[i], self.up[i + 1])), curvature)
    }
}

/// An offset towards the back, kept short of the centre of the bend it points to.
fn draw_in(offset: f64, curvature: f64) -> f64 {
    let towards = offset * curvature;
    if towards <= BEND_FREE {
        return offset;
    }
    let room = BEND_LIMIT - BEND_FREE;
    offset / towards * (BEND_FREE + room * (1.0 - (-(towards - BEND_FREE) / room).exp()))
}

fn unit(v: [f64; 2]) -> [f64; 2] {
    let n = v[0].hypot(v[1]);
    if n > 0.0 { [v[0] / n, v[1] / n] } else { [1.0, 0.0] }
}

/// Straightens one fish.
///
/// `midline` goes from the snout tip to the end of the tail fin in pixels of the photograph, x then y.
/// `back_left` says that the back is to the left of one who walks along it, as seen in the photograph.
/// `background` gives the bare background (red, green, blue, 0-255) at x, y.
///
/// Where the photograph is finer than the strip, each strip pixel is the mean of as many samples as it
/// covers pixels; where it is much coarser, samples are taken with the Catmull-Rom kernel, else linearly.
pub fn straighten(
    pixels: &Pixels,
    midline: &[[f64; 2]],
    back_left: bool,
    background: impl Fn(f64, f64) -> [f32; 3],
) -> Strip {
    let axis = BodyAxis::new(midline, back_left);
    let per_strip = axis.length() / STRIP_PER_LENGTH as f64;
    let fine = if per_strip <= 1.0 { 1 } else { (per_strip.ceil() as usize).min(12) };
    let cubic = per_strip * CUBIC_ABOVE < 1.0;
    let inverse = inverse_background(&axis, background);

    let mut values = Array3::<f32>::zeros((3, STRIP_HEIGHT, STRIP_WIDTH));
    let mut columns = Vec::with_capacity(fine);
    for column in 0..STRIP_WIDTH {
        columns.clear();
        columns.extend((0..fine).map(|k| axis.frame(along(column as f64 + (k as f64 + 0.5) / fine as f64))));
        let (base, up, curvature) = axis.frame(along(column as f64 + 0.5));
        for row in 0..STRIP_HEIGHT {
            let mut luma = 0.0;
            for &(base, up, curvature) in &columns {
                for k in 0..fine {
                    let v = draw_in(
                        above(row as f64 + (k as f64 + 0.5) / fine as f64) * axis.length(),
                        curvature,
                    );
                    let (x, y) = (base[0] + v * up[0], base[1] + v * up[1]);
                    luma += if cubic { sample_cubic(pixels, x, y) } else { sample_linear(pixels, x, y) };
                }
            }
            luma /= (fine * fine) as f32;
            let rgb = match &pixels.chroma {
                None => [luma; 3],
                Some(chroma) => {
                    let v = draw_in(above(row as f64 + 0.5) * axis.length(), curvature);
                    let [cb, cr] = sample_chroma(chroma, base[0] + v * up[0], base[1] + v * up[1]);
                    // JFIF 1.02, conversion to RGB.
                    [luma + 1.402 * cr, luma - 0.344_136 * cb - 0.714_136 * cr, luma + 1.772 * cb]
                }
            };
            let inverse = inverse.at(row, column);
            for c in 0..3 {
                values[[c, row, column]] = rgb[c].clamp(0.0, 255.0) * inverse[c];
            }
        }
    }
    let noise = noise(pixels, &axis, &inverse);
    Strip { values, pixels_per_strip_pixel: per_strip as f32, noise }
}

/// Body coordinate of a place along the strip, columns counted from the left edge of the first.
fn along(column: f64) -> f64 {
    (column - STRIP_MARGIN as f64) / STRIP_PER_LENGTH as f64
}

/// Body coordinate of a place across the strip, rows counted from the upper edge of the first.
fn above(row: f64) -> f64 {
    (0.5 * STRIP_HEIGHT as f64 - row) / STRIP_PER_LENGTH as f64
}

/// One over the background on a coarse grid over the strip; it varies slowly.
struct InverseBackground {
    columns: usize,
    values: Vec<[f32; 3]>,
}

fn inverse_background(axis: &BodyAxis, background: impl Fn(f64, f64) -> [f32; 3]) -> InverseBackground {
    let columns = STRIP_WIDTH.div_ceil(BACKGROUND_STEP) + 1;
    let rows = STRIP_HEIGHT.div_ceil(BACKGROUND_STEP) + 1;
    let mut values = Vec::with_capacity(rows * columns);
    for r in 0..rows {
        for c in 0..columns {
            let [x, y] = axis.place(along((c * BACKGROUND_STEP) as f64), above((r * BACKGROUND_STEP) as f64));
            values.push(background(x, y).map(|b| 1.0 / b.max(BACKGROUND_FLOOR)));
        }
    }
    InverseBackground { columns, values }
}

impl InverseBackground {
    fn at(&self, row: usize, column: usize) -> [f32; 3] {
        let (r, c) = (row / BACKGROUND_STEP, column / BACKGROUND_STEP);
        let step = BACKGROUND_STEP as f32;
        let fy = ((row % BACKGROUND_STEP) as f32 + 0.5) / step;
        let fx = ((column % BACKGROUND_STEP) as f32 + 0.5) / step;
        let at = r * self.columns + c;
        let (a, b) = (self.values[at], self.values[at + 1]);
        let (d, e) = (self.values[at + self.columns], self.values[at + self.columns + 1]);
        std::array::from_fn(|k| {
            let upper = a[k] + fx * (b[k] - a[k]);
            let lower = d[k] + fx * (e[k] - d[k]);
            upper + fy * (lower - upper)
        })
    }
}

fn sample_linear(pixels: &Pixels, x: f64, y: f64) -> f32 {
    bilinear(&pixels.luma, pixels.width as usize, pixels.height as usize, x, y)
}

/// Catmull-Rom interpolation of brightness (Keys 1981, doi 10.1109/TASSP.1981.1163711, a = -1/2).
fn sample_cubic(pixels: &Pixels, x: f64, y: f64) -> f32 {
    let (w, h) = (i64::from(pixels.width), i64::from(pixels.height));
    let (i, j) = (x.floor(), y.floor());
    let (wx, wy) = (cubic_weights((x - i) as f32), cubic_weights((y - j) as f32));
    let (i, j) = (i as i64, j as i64);
    let columns: [usize; 4] = std::array::from_fn(|k| (i + k as i64 - 1).clamp(0, w - 1) as usize);
    let mut sum = 0.0;
    for (k, wy) in wy.iter().enumerate() {
        let start = ((j + k as i64 - 1).clamp(0, h - 1) * w) as usize;
        let row = &pixels.luma[start..start + w as usize];
        let across: f32 = columns.iter().zip(&wx).map(|(&c, w)| w * f32::from(row[c])).sum();
        sum += wy * across;
    }
    sum
}

fn cubic_weights(t: f32) -> [f32; 4] {
    let (t2, t3) = (t * t, t * t * t);
    [
        0.5 * (-t3 + 2.0 * t2 - t),
        0.5 * (3.0 * t3 - 5.0 * t2 + 2.0),
        0.5 * (-3.0 * t3 + 4.0 * t2 + t),
        0.5 * (t3 - t2),
    ]
}

/// Colour differences at a pixel of the photograph; a chroma sample covers two by two pixels.
fn sample_chroma(chroma: &Chroma, x: f64, y: f64) -> [f32; 2] {
    let (x, y) = (0.5 * (x - 0.5), 0.5 * (y - 0.5));
    [&chroma.cb, &chroma.cr]
        .map(|plane| bilinear(plane, chroma.width as usize, chroma.height as usize, x, y) - 128.0)
}

/// Standard deviation of the noise of the background's brightness, as a fraction of the background.
///
/// From second differences along rows of the photograph at places beside the fish, by their median size, so
/// that edges and specks do not count: a second difference has six times the variance of white noise, and
/// the median absolute value of a normal variable is 0.6745 standard deviations.
fn noise(pixels: &Pixels, axis: &BodyAxis, inverse: &InverseBackground) -> f32 {
    let (w, h) = (i64::from(pixels.width), i64::from(pixels.height));
    let mut differences = Vec::new();
    for row in [2, 8, STRIP_HEIGHT - 9, STRIP_HEIGHT - 3] {
        for column in (0..STRIP_WIDTH).step_by(2) {
            let [x, y] = axis.place(along(column as f64 + 0.5), above(row as f64 + 0.5));
            let (x, y) = (x.round() as i64, y.round() as i64);
            if x < 1 || y < 0 || x > w - 2 || y > h - 1 {
                continue;
            }
            let at = (y * w + x) as usize;
            let p = |i: usize| f32::from(pixels.luma[i]);
            let [r, g, b] = inverse.at(row, column);
            differences.push((p(at - 1) - 2.0 * p(at) + p(at + 1)).abs() * (r + g + b) / 3.0);
        }
    }
    if differences.is_empty() {
        return 0.0;
    }
    let middle = differences.len() / 2;
    let (_, median, _) = differences.select_nth_unstable_by(middle, f32::total_cmp);
    *median / 0.6745 / 6.0_f32.sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A grey picture drawn from `f`.
    fn picture(width: u32, height: u32, f: impl Fn(f64, f64) -> f64) -> Pixels {
        let luma = (0..height)
            .flat_map(|y| (0..width).map(move |x| (x, y)))
            .map(|(x, y)| f(f64::from(x), f64::from(y)).round().clamp(0.0, 255.0) as u8)
            .collect();
        Pixels { width, height, luma, chroma: None }
    }

    fn arc(radius: f64, degrees: f64) -> Vec<[f64; 2]> {
        (0..=100)
            .map(|i| {
                let a = (f64::from(i) / 100.0 * degrees).to_radians();
                [400.0 + radius * a.sin(), 400.0 - radius * a.cos()]
            })
            .collect()
    }

    /// Body coordinates of a pixel about `arc`, whose centre is below it: its back is left when `above` > 0.
    fn body(x: f64, y: f64, radius: f64, degrees: f64) -> (f64, f64) {
        let length = radius * degrees.to_radians();
        let (dx, dy) = (x - 400.0, 400.0 - y);
        (dx.atan2(dy) * radius / length, (dx.hypot(dy) - radius) / length)
    }

    #[test]
    fn a_blob_in_body_coordinates_lands_where_it_belongs() {
        for (radius, degrees) in [(300.0, 60.0), (120.0, 120.0), (370.0, 30.0)] {
            let draw = |x: f64, y: f64| {
                let (s, v) = body(x, y, radius, degrees);
                200.0 - 150.0 * (-((s - 0.35).powi(2) + (v - 0.04).powi(2)) / (2.0 * 0.02_f64.powi(2))).exp()
            };
            let pixels = picture(1000, 800, draw);
            let strip = straighten(&pixels, &arc(radius, degrees), true, |_, _| [200.0; 3]);
            let mut sums = [0.0_f64; 3];
            for ((c, row, column), &v) in strip.values.indexed_iter() {
                if c == 1 {
                    let w = f64::from((1.0 - v).max(0.0));
                    sums[0] += w;
                    sums[1] += w * along(column as f64 + 0.5);
                    sums[2] += w * above(row as f64 + 0.5);
                }
            }
            let (s, v) = (sums[1] / sums[0], sums[2] / sums[0]);
            assert!((s - 0.35).abs() < 0.004 && (v - 0.04).abs() < 0.004, "{radius}: {s} {v}");
        }
    }

    #[test]
    fn the_back_is_up_whichever_way_the_fish_lies() {
        // Darker above the line y = 60.
        let pixels = picture(400, 120, |_, y| if y < 60.0 { 100.0 } else { 200.0 });
        let (right, left) = ([[20.0, 60.0], [380.0, 60.0]], [[380.0, 60.0], [20.0, 60.0]]);
        for (line, back_left) in [(right, true), (left, false)] {
            let strip = straighten(&pixels, &line, back_left, |_, _| [200.0; 3]);
            assert!(strip.values[[0, 20, 176]] < 0.6 && strip.values[[0, 90, 176]] > 0.9);
        }
        let strip = straighten(&pixels, &right, false, |_, _| [200.0; 3]);
        assert!(strip.values[[0, 20, 176]] > 0.9);
    }

    #[test]
    fn neighbours_in_a_tight_bend_never_change_places() {
        let line = arc(40.0, 170.0);
        let axis = BodyAxis::new(&line, false);
        let length = axis.length();
        for i in 0..320 {
            let (s, step) = (f64::from(i) / 320.0, 1.0 / 320.0);
            for row in 0..STRIP_HEIGHT {
                let v = above(row as f64);
                let (a, b) = (axis.place(s, v), axis.place(s + step, v));
                let (base, next) = (axis.place(s, 0.0), axis.place(s + step, 0.0));
                let forward = (b[0] - a[0]) * (next[0] - base[0]) + (b[1] - a[1]) * (next[1] - base[1]);
                assert!(forward > 0.0, "at {s} {v}, length {length}");
            }
        }
    }

    #[test]
    fn fine_photographs_are_averaged_and_coarse_ones_interpolated() {
        // A checkerboard finer than the strip turns to its mean; a ramp stays a ramp.
        let checks = picture(1400, 600, |x, y| if ((x + y) as i64) % 2 == 0 { 50.0 } else { 150.0 });
        let strip = straighten(&checks, &[[60.0, 300.0], [1340.0, 300.0]], true, |_, _| [100.0; 3]);
        assert!(strip.values.iter().all(|v| (v - 1.0).abs() < 0.2));
        assert!((strip.pixels_per_strip_pixel - 4.0).abs() < 0.01);
        let ramp = picture(140, 60, |x, _| 40.0 + x);
        let strip = straighten(&ramp, &[[20.0, 30.0], [120.0, 30.0]], true, |_, _| [100.0; 3]);
        let expected = (40.0 + 20.0 + 100.0 * along(176.5)) / 100.0;
        assert!((f64::from(strip.values[[0, 56, 176]]) - expected).abs() < 0.01);
    }

    #[test]
    fn noise_is_that_of_the_background() {
        use rand::{RngExt, SeedableRng};
        let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(1);
        let mut pixels = picture(400, 200, |_, _| 0.0);
        for p in &mut pixels.luma {
            // Sum of twelve uniform variables: variance one.
            let z: f64 = (0..12).map(|_| rng.random::<f64>()).sum::<f64>() - 6.0;
            *p = (160.0 + 4.0 * z).round() as u8;
        }
        let strip = straighten(&pixels, &[[40.0, 100.0], [360.0, 100.0]], true, |_, _| [160.0; 3]);
        assert!((strip.noise - 0.025).abs() < 0.005, "{}", strip.noise);
    }

    #[test]
    fn colour_is_kept_and_degenerate_lines_do_not_panic() {
        let mut pixels = picture(300, 100, |_, _| 120.0);
        pixels.chroma = Some(Chroma { width: 150, height: 50, cb: vec![100; 7500], cr: vec![150; 7500] });
        let strip = straighten(&pixels, &[[10.0, 50.0], [290.0, 50.0]], true, |_, _| [100.0; 3]);
        let [r, g, b] = pixels.rgb(150, 50);
        for (c, v) in [r, g, b].into_iter().enumerate() {
            assert!((strip.values[[c, 56, 100]] - v / 100.0).abs() < 0.01);
        }
        for line in [vec![], vec![[5.0, 5.0]], vec![[5.0, 5.0]; 3], vec![[-50.0, -9.0], [900.0, 400.0]]] {
            assert!(straighten(&pixels, &line, true, |_, _| [0.0; 3]).values.iter().all(|v| v.is_finite()));
        }
    }
}
