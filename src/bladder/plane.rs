//! The planes of a strip that the caller looks at, and where the body is in them.

use crate::fish::{STRIP_HEIGHT, STRIP_PER_LENGTH, STRIP_WIDTH, Strip};
use ndarray::Axis;

/// A plane of numbers with bilinear reading; places outside take the value at the edge.
#[derive(Debug, Clone)]
pub struct Plane {
    /// Columns.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// Row by row from the top left.
    pub data: Vec<f32>,
}

impl Plane {
    /// The value at column `x` and row `y`, centres of the first at zero.
    pub fn at(&self, x: f32, y: f32) -> f32 {
        let x = x.clamp(0.0, (self.width - 1) as f32);
        let y = y.clamp(0.0, (self.height - 1) as f32);
        let (i, j) = ((x as usize).min(self.width - 2), (y as usize).min(self.height - 2));
        let (fx, fy) = (x - i as f32, y - j as f32);
        let at = j * self.width + i;
        let (a, b) = (self.data[at], self.data[at + 1]);
        let (c, d) = (self.data[at + self.width], self.data[at + self.width + 1]);
        let (upper, lower) = (a + fx * (b - a), c + fx * (d - c));
        upper + fy * (lower - upper)
    }

    /// The plane reduced to half: means of two by two.
    #[must_use]
    pub fn half(&self) -> Self {
        let (width, height) = (self.width / 2, self.height / 2);
        let mut data = Vec::with_capacity(width * height);
        for y in 0..height {
            let upper = &self.data[2 * y * self.width..][..self.width];
            let lower = &self.data[(2 * y + 1) * self.width..][..self.width];
            data.extend(
                (0..width)
                    .map(|x| 0.25 * (upper[2 * x] + upper[2 * x + 1] + lower[2 * x] + lower[2 * x + 1])),
            );
        }
        Self { width, height, data }
    }

    /// Mean over the columns `x` and rows `y` (half open), cut to the plane; 0 where nothing is left.
    pub fn mean(&self, x: std::ops::Range<i64>, y: std::ops::Range<i64>) -> f32 {
        let (x0, x1) = (x.start.max(0) as usize, x.end.clamp(0, self.width as i64) as usize);
        let (y0, y1) = (y.start.max(0) as usize, y.end.clamp(0, self.height as i64) as usize);
        if x0 >= x1 || y0 >= y1 {
            return 0.0;
        }
        let sum: f32 =
            (y0..y1).map(|r| self.data[r * self.width + x0..r * self.width + x1].iter().sum::<f32>()).sum();
        sum / ((x1 - x0) * (y1 - y0)) as f32
    }
}

/// How a strip is turned before it is looked at, when head or back are in doubt.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Turn {
    /// Snout and tail change places.
    pub ends: bool,
    /// Back and belly change places.
    pub sides: bool,
}

/// A strip as the caller sees it, head left and back up as far as is assumed.
#[derive(Debug, Clone)]
pub struct Look {
    /// Brightness against bare background, full resolution.
    pub luma: Plane,
    /// The same at half resolution.
    pub half: Plane,
    /// Red minus blue over brightness, half resolution: above zero is amber, zero is colourless.
    pub warmth: Plane,
    /// Row of the upper edge of the body in each column of the half-resolution plane.
    pub upper: Vec<f32>,
    /// Row of its lower edge.
    pub lower: Vec<f32>,
    /// Typical difference of the trunk from bare background, positive: the contrast of this fish.
    pub contrast: f32,
    /// Mean brightness of the trunk against bare background.
    pub trunk: f32,
    /// Noise of one pixel of the full-resolution plane, in the same units.
    pub noise: f32,
    /// Finest detail over coarser detail of the trunk: small in a blurred picture.
    pub sharpness: f32,
}

/// Tissue stands this far above the ground once a picture on a dark ground is made comparable.
const DARK_TISSUE: f32 = 0.25;

impl Look {
    /// Looks at `strip`, turned.
    ///
    /// The bare ground is taken from the strip's own outer rows and becomes 1 in every channel. On a dark
    /// ground a ratio to it says nothing, so there the trunk is made to stand a fixed step above it.
    pub fn new(strip: &Strip, turn: Turn, dark_ground: bool) -> Self {
        let (w, h) = (STRIP_WIDTH, STRIP_HEIGHT);
        let mut planes: [Vec<f32>; 3] = std::array::from_fn(|_| Vec::with_capacity(w * h));
        for (c, plane) in planes.iter_mut().enumerate() {
            for y in 0..h {
                let row = if turn.sides { h - 1 - y } else { y };
                let row = strip.values.index_axis(Axis(0), c).index_axis_move(Axis(0), row);
                if turn.ends {
                    plane.extend(row.iter().rev());
                } else {
                    plane.extend(row.iter());
                }
            }
        }
        let ground = planes.each_ref().map(|p| outer_median(p));
        let step = if dark_ground {
            let trunk = trunk_level(&planes[1]) - ground[1];
            DARK_TISSUE / trunk.max(0.02)
        } else {
            1.0
        };
        for (plane, ground) in planes.iter_mut().zip(ground) {
            if dark_ground {
                plane.iter_mut().for_each(|v| *v = (1.0 + step * (*v - ground)).clamp(0.3, 6.0));
            } else {
                // What is far from the background expected is no ground but a neighbour.
                let ground = ground.clamp(0.92, 1.08);
                plane.iter_mut().for_each(|v| *v = (*v / ground).min(6.0));
            }
        }
        let [red, green, blue] = planes;
        let luma: Vec<f32> =
            red.iter().zip(&green).zip(&blue).map(|((r, g), b)| 0.299 * r + 0.587 * g + 0.114 * b).collect();
        let plane = |data| Plane { width: w, height: h, data };
        let luma = plane(luma);
        let half = luma.half();
        let (red, blue) = (plane(red).half(), plane(blue).half());
        let warmth = half
            .data
            .iter()
            .zip(red.data.iter().zip(&blue.data))
            .map(|(l, (r, b))| (r - b) / l.max(0.15))
            .collect();
        let warmth = Plane { width: half.width, height: half.height, data: warmth };
        // Noise falls where strip pixels are means of photograph pixels.
        let noise = step * strip.noise / strip.pixels_per_strip_pixel.max(1.0);
        let mut look = Self {
            luma,
            half,
            warmth,
            upper: Vec::new(),
            lower: Vec::new(),
            contrast: 0.0,
            trunk: 1.0,
            noise,
            sharpness: 0.0,
        };
        look.find_body();
        look.sharpness = look.detail();
        look
    }

    /// Column of the half-resolution plane at `along` (fraction of total length).
    pub fn half_column(along: f32) -> f32 {
        0.5 * (along * STRIP_PER_LENGTH as f32 + crate::fish::STRIP_MARGIN as f32) - 0.5
    }

    /// Row of the half-resolution plane at `above` (fraction of total length above the midline).
    pub fn half_row(above: f32) -> f32 {
        0.5 * (0.5 * STRIP_HEIGHT as f32 - above * STRIP_PER_LENGTH as f32) - 0.5
    }

    /// Mean step between neighbours along the trunk over the mean step across four pixels.
    fn detail(&self) -> f32 {
        let w = self.luma.width;
        let (mut fine, mut coarse) = (0.0, 0.0);
        for x in (2 * Look::half_column(0.03) as usize..2 * Look::half_column(0.6) as usize).step_by(2) {
            let rows = 2 * self.upper[x / 2] as usize..=2 * self.lower[x / 2] as usize + 1;
            for y in rows.step_by(2) {
                let at = y * w + x;
                let d = &self.luma.data;
                fine += (d[at + 1] - d[at]).abs() + (d[at + w] - d[at]).abs();
                coarse += (d[at + 4] - d[at]).abs() + (d[(at + 4 * w).min(d.len() - 1)] - d[at]).abs();
            }
        }
        fine / coarse.max(1e-4)
    }

    /// Contrast of the trunk, then its upper and lower edge in every column.
    fn find_body(&mut self) {
        let plane = &self.half;
        let (w, h) = (plane.width, plane.height);
        let middle = h as f32 / 2.0 - 0.5;
        let column = |along: f32| Self::half_column(along) as usize;
        // Trunk: close about the midline behind the head.
        let mut near: Vec<f32> = Vec::new();
        let mut signed = 0.0;
        for x in column(0.12)..column(0.6) {
            for y in h / 2 - 3..h / 2 + 3 {
                let d = plane.data[y * w + x] - 1.0;
                near.push(d.abs());
                signed += d;
            }
        }
        self.trunk = 1.0 + signed / near.len() as f32;
        let at = near.len() * 3 / 5;
        self.contrast = near.select_nth_unstable_by(at, f32::total_cmp).1.max(0.01);
        let noise = 0.6 * self.noise;
        let threshold = (0.3 * self.contrast).max(2.5 * noise).max(0.008);
        // Columns are smoothed along the body before the edge is looked for.
        let (mut upper, mut lower) = (Vec::with_capacity(w), Vec::with_capacity(w));
        let reach = 2_usize;
        for x in 0..w {
            let (x0, x1) = (x.saturating_sub(reach), (x + reach + 1).min(w));
            let differs = |y: usize| {
                let row = &plane.data[y * w + x0..y * w + x1];
                let mean = row.iter().map(|v| v - 1.0).sum::<f32>() / row.len() as f32;
                let spread = row.iter().map(|v| (v - 1.0).abs()).sum::<f32>() / row.len() as f32;
                mean.abs().max(0.7 * spread) > threshold
            };
            let edge = |rows: &mut dyn Iterator<Item = usize>| {
                let mut last = middle;
                let mut gap = 0;
                for y in rows {
                    if differs(y) {
                        last = y as f32;
                        gap = 0;
                    } else {
                        gap += 1;
                        if gap > 3 {
                            break;
                        }
                    }
                }
                last
            };
            upper.push(edge(&mut (0..h / 2).rev()));
            lower.push(edge(&mut (h / 2..h)));
        }
        self.upper = running_median(&upper, 5);
        self.lower = running_median(&lower, 5);
    }
}

/// Running median over `2 * reach + 1` values.
fn running_median(values: &[f32], reach: usize) -> Vec<f32> {
    (0..values.len())
        .map(|i| {
            let mut window = values[i.saturating_sub(reach)..(i + reach + 1).min(values.len())].to_vec();
            let middle = window.len() / 2;
            *window.select_nth_unstable_by(middle, f32::total_cmp).1
        })
        .collect()
}

/// Median of the rows farthest from the fish.
fn outer_median(plane: &[f32]) -> f32 {
    const ROWS: usize = 9;
    let n = ROWS * STRIP_WIDTH;
    let mut values: Vec<f32> =
        plane[..n].iter().chain(&plane[plane.len() - n..]).step_by(3).copied().collect();
    let middle = values.len() / 2;
    *values.select_nth_unstable_by(middle, f32::total_cmp).1
}

/// Median brightness close about the midline behind the head.
fn trunk_level(plane: &[f32]) -> f32 {
    let columns = |along: f32| (along * STRIP_PER_LENGTH as f32) as usize + crate::fish::STRIP_MARGIN;
    let mut values = Vec::new();
    for y in STRIP_HEIGHT / 2 - 6..STRIP_HEIGHT / 2 + 6 {
        values.extend_from_slice(&plane[y * STRIP_WIDTH + columns(0.12)..y * STRIP_WIDTH + columns(0.6)]);
    }
    let middle = values.len() / 2;
    *values.select_nth_unstable_by(middle, f32::total_cmp).1
}
