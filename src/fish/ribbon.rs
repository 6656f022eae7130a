//! The body straightened along its midline, in ink: the frame in which ends, widths, eyes and sides are read.

use super::crop::Crop;
use super::midline::extended;
use crate::imaging::{Plane, path};

/// Columns to one line length.
pub const COLUMNS: usize = 240;
/// Columns beyond each end.
pub const BEYOND: usize = 36;
/// Rows on each side of the midline.
pub const SIDE: usize = 48;

/// Ink straightened along a line.
#[derive(Debug)]
pub struct Ribbon {
    /// Columns run from `BEYOND` steps before the line's start to `BEYOND` steps behind its end; row `SIDE`
    /// is the line; rows above it lie to the left of the walk (image y down). Disallowed pixels are NaN.
    pub ink: Plane<f32>,
    /// Crop pixels to a column and to a row.
    pub step: f64,
    /// Length of the line in crop pixels.
    pub length: f64,
}

/// Sum and count of the allowed pixels above and left of every corner of a ribbon's pixels (a summed-area table; Crow
/// 1984, doi 10.1145/800031.808600).
pub struct Sums(Plane<[f64; 2]>);

impl Sums {
    /// Mean ink of the square of `radius` round column `c` and row `r`, which lies within the ribbon; 0 where nothing is
    /// allowed.
    pub fn mean(&self, c: usize, r: usize, radius: usize) -> f32 {
        let ([x0, x1], [y0, y1]) = ([c - radius, c + radius + 1], [r - radius, r + radius + 1]);
        let corners = [self.0.at(x1, y1), self.0.at(x0, y1), self.0.at(x1, y0), self.0.at(x0, y0)];
        let [sum, n] = [0, 1].map(|i| corners[0][i] - corners[1][i] - corners[2][i] + corners[3][i]);
        if n > 0.0 { (sum / n) as f32 } else { 0.0 }
    }
}

impl Ribbon {
    /// Straightens the crop along `line`.
    pub fn new(crop: &Crop, line: &[[f64; 2]]) -> Self {
        let length = path::length(line);
        let step = length / COLUMNS as f64;
        let reach = BEYOND as f64 * step;
        let width = COLUMNS + 2 * BEYOND + 1;
        let long = extended(line, reach, reach);
        let points = path::resample(&long, width);
        let tangents = path::tangents(&points);
        // Normals smoothed over the width of the body keep rows from folding at bends.
        let tangents: Vec<[f64; 2]> = (0..width)
            .map(|i| {
                let (mut x, mut y) = (0.0, 0.0);
                for t in &tangents[i.saturating_sub(6)..(i + 7).min(width)] {
                    x += t[0];
                    y += t[1];
                }
                let l = x.hypot(y).max(1e-9);
                [x / l, y / l]
            })
            .collect();
        let mut ink = Plane::filled(width, 2 * SIDE + 1, f32::NAN);
        for (r, row) in ink.data.chunks_exact_mut(width).enumerate() {
            // Left of the walk, seen with y down, is (t_y, -t_x).
            let n = (SIDE as f64 - r as f64) * step;
            for (out, (p, t)) in row.iter_mut().zip(points.iter().zip(&tangents)) {
                let (x, y) = (p[0] + n * t[1], p[1] - n * t[0]);
                if crop.allowed.nearest_or(x, y, false) {
                    *out = crop.ink.bilinear(x, y);
                }
            }
        }
        Self { ink, step, length }
    }

    /// Sums over its rectangles.
    pub fn sums(&self) -> Sums {
        let (w, h) = (self.ink.width, self.ink.height);
        let mut sums = Plane::filled(w + 1, h + 1, [0.0f64; 2]);
        for y in 0..h {
            let mut row = [0.0; 2];
            for (x, v) in self.ink.row(y).iter().enumerate() {
                if v.is_finite() {
                    row = [row[0] + f64::from(*v), row[1] + 1.0];
                }
                let [sum, n] = sums.at(x + 1, y);
                sums.set(x + 1, y + 1, [sum + row[0], n + row[1]]);
            }
        }
        Sums(sums)
    }

    /// The ribbon of the same line walked the other way.
    pub fn reversed(mut self) -> Self {
        self.ink.data.reverse();
        self
    }

    /// The column of arc length `s` (crop pixels from the line's start).
    pub fn column(&self, s: f64) -> f64 {
        s / self.step + BEYOND as f64
    }

    /// Arc length of a column.
    pub fn arc(&self, column: f64) -> f64 {
        (column - BEYOND as f64) * self.step
    }

    /// Mean ink of a column within `half` rows of the line; NaN pixels left out, `None` if all are.
    pub fn mean(&self, column: usize, half: usize) -> Option<f32> {
        let (mut sum, mut n) = (0.0, 0);
        for r in SIDE - half..=SIDE + half {
            let v = self.ink.at(column, r);
            if v.is_finite() {
                sum += v;
                n += 1;
            }
        }
        (n > 0).then(|| sum / n as f32)
    }
}
