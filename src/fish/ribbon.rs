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
