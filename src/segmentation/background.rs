//! The bare background behind the fish: uneven light flattened, black surrounds left out.
//!
//! Works on a reduced photograph cut into square blocks. Each block's median is bare background wherever
//! fish cover less than half of it; medians over many blocks remove what still is fish, so that neither a
//! crowded dish nor one large fish under a microscope bends the surface.

use crate::imaging::{Plane, plane::quantile};
use nalgebra::{SMatrix, SVector};

/// A smooth surface known at the centres of square blocks.
#[derive(Debug, Clone)]
pub struct Surface {
    /// Values at block centres.
    pub blocks: Plane<f32>,
    /// Pixels to a block.
    pub block: usize,
}

/// What a surface was laid from.
#[derive(Debug, Clone)]
pub struct Laid {
    /// Median of every block.
    pub medians: Plane<f32>,
    /// The smooth surface that fits them best.
    pub lamp: Plane<f32>,
    /// 1 where a block was taken for bare ground, else 0.
    pub bare: Plane<f32>,
}

impl Surface {
    /// The surface at pixel `x`, `y`, bilinear between block centres.
    #[inline]
    pub fn at(&self, x: f64, y: f64) -> f32 {
        let b = self.block as f64;
        self.blocks.bilinear((x + 0.5) / b - 0.5, (y + 0.5) / b - 0.5)
    }

    /// The surface at every pixel of row `y`, written to `out`.
    pub fn row(&self, y: usize, out: &mut [f32]) {
        let b = self.block as f64;
        let fy = ((y as f64 + 0.5) / b - 0.5).clamp(0.0, (self.blocks.height - 1) as f64);
        let y0 = fy as usize;
        let y1 = (y0 + 1).min(self.blocks.height - 1);
        let weight = (fy - y0 as f64) as f32;
        let line: Vec<f32> = self
            .blocks
            .row(y0)
            .iter()
            .zip(self.blocks.row(y1))
            .map(|(a, c)| a * (1.0 - weight) + c * weight)
            .collect();
        // Level up to the first centre and from the last one on, straight between two.
        let (half, last) = (self.block / 2, line[line.len() - 1]);
        let (before, between) = out.split_at_mut(half.min(out.len()));
        before.fill(line[0]);
        let mut pieces = between.chunks_mut(self.block);
        // The first pixel of a piece lies so far behind a centre, in blocks.
        let first = (half as f64 + 0.5) / b - 0.5;
        for (ends, piece) in line.windows(2).zip(&mut pieces) {
            let step = (ends[1] - ends[0]) / b as f32;
            let start = ends[0] + first as f32 * (ends[1] - ends[0]);
            for (x, o) in piece.iter_mut().enumerate() {
                *o = start + x as f32 * step;
            }
        }
        pieces.for_each(|piece| piece.fill(last));
    }
}

/// How far from a block's median a value may lie to share in it, grey levels.
const WITHIN: f32 = 1.5;

/// Median of every block, from every second pixel of every second row; blocks cut by the edge included. Pixels are whole
/// grey levels, and on a dark ground half of one is more than a fin: the median is placed within its level by the mean
/// of what lies near it.
pub fn block_medians(plane: &Plane<f32>, block: usize) -> Plane<f32> {
    block_statistic(plane, block, |values| {
        let middle = quantile(values, 0.5).unwrap_or(0.0);
        let (sum, n) = values
            .iter()
            .filter(|v| (**v - middle).abs() <= WITHIN)
            .fold((0.0, 0), |(sum, n), v| (sum + v, n + 1));
        if n > 0 { sum / n as f32 } else { middle }
    })
}

/// `statistic` of every block's pixels, taken from every second pixel of every second row.
pub fn block_statistic(
    plane: &Plane<f32>,
    block: usize,
    statistic: impl Fn(&mut [f32]) -> f32,
) -> Plane<f32> {
    let (w, h) = (plane.width.div_ceil(block), plane.height.div_ceil(block));
    let mut values = Vec::with_capacity(block * block);
    let mut out = Plane::filled(w, h, 0.0);
    for by in 0..h {
        for bx in 0..w {
            values.clear();
            let x1 = ((bx + 1) * block).min(plane.width);
            for y in ((by * block)..((by + 1) * block).min(plane.height)).step_by(2) {
                values.extend(plane.row(y)[bx * block..x1].iter().step_by(2));
            }
            out.set(bx, by, statistic(&mut values));
        }
    }
    out
}

/// Share `q` of the values within `radius` blocks, over blocks where `inside` holds; blocks whose
/// neighbourhood holds fewer than four such blocks keep `fallback`.
pub fn neighbourhood_quantile(
    blocks: &Plane<f32>,
    inside: &Plane<bool>,
    radius: usize,
    q: f64,
    fallback: f32,
) -> Plane<f32> {
    let (w, h) = (blocks.width, blocks.height);
    let mut out = Plane::filled(w, h, fallback);
    let mut values = Vec::with_capacity((2 * radius + 1).pow(2));
    for y in 0..h {
        for x in 0..w {
            values.clear();
            for ny in y.saturating_sub(radius)..=(y + radius).min(h - 1) {
                for nx in x.saturating_sub(radius)..=(x + radius).min(w - 1) {
                    if inside.at(nx, ny) {
                        values.push(blocks.at(nx, ny));
                    }
                }
            }
            if values.len() >= 4
                && let Some(v) = quantile(&mut values, q)
            {
                out.set(x, y, v);
            }
        }
    }
    out
}

/// Mean over blocks where `weight` is above zero, weighted by it and by a Gaussian of `sigma` blocks; where
/// nothing near carries weight the value of `prior` stands in with a small weight.
pub fn weighted_smooth(
    blocks: &Plane<f32>,
    weight: &Plane<f32>,
    prior: &Plane<f32>,
    sigma: f64,
) -> Plane<f32> {
    let (w, h) = (blocks.width, blocks.height);
    let radius = (2.5 * sigma).ceil() as i64;
    let mut out = prior.clone();
    for y in 0..h {
        for x in 0..w {
            let (mut sum, mut total) = (0.02 * prior.at(x, y), 0.02);
            for dy in -radius..=radius {
                for dx in -radius..=radius {
                    let (nx, ny) = (x as i64 + dx, y as i64 + dy);
                    let inside = weight.get_or(nx, ny, 0.0);
                    if inside > 0.0 {
                        let g = (-0.5 * ((dx * dx + dy * dy) as f64) / (sigma * sigma)).exp() as f32 * inside;
                        // The departure from the prior is averaged, so that a slope does not bias edges.
                        sum += g
                            * (blocks.at(nx as usize, ny as usize) - prior.at(nx as usize, ny as usize)
                                + prior.at(x, y));
                        total += g;
                    }
                }
            }
            out.set(x, y, sum / total);
        }
    }
    out
}

/// The cubic surface that fits the blocks where `inside` holds, by least squares with Tukey's weights
/// (Beaton & Tukey 1974, doi 10.1080/00401706.1974.10489171): lamps fall off smoothly, fish are outliers. The
/// median everywhere when there are too few blocks.
pub fn polynomial(blocks: &Plane<f32>, inside: &Plane<bool>) -> Plane<f32> {
    const TERMS: usize = 10;
    let (w, h) = (blocks.width, blocks.height);
    let half = 0.5 * w.max(h) as f64;
    let basis = |i: usize| -> SVector<f64, TERMS> {
        let x = ((i % w) as f64 - 0.5 * w as f64) / half;
        let y = ((i / w) as f64 - 0.5 * h as f64) / half;
        SVector::from([1.0, x, y, x * x, x * y, y * y, x * x * x, x * x * y, x * y * y, y * y * y])
    };
    let used: Vec<usize> = (0..w * h).filter(|i| inside.data[*i]).collect();
    let mut values: Vec<f32> = used.iter().map(|i| blocks.data[*i]).collect();
    let middle = quantile(&mut values, 0.5).unwrap_or(0.0);
    let mut fitted = blocks.map(|_| middle);
    if used.len() < 6 * TERMS {
        return fitted;
    }
    let mut limit = f32::INFINITY;
    for _ in 0..6 {
        let mut normal = SMatrix::<f64, TERMS, TERMS>::zeros();
        let mut right = SVector::<f64, TERMS>::zeros();
        for &i in &used {
            let u = f64::from((blocks.data[i] - fitted.data[i]) / limit);
            let weight = if u.abs() >= 1.0 { 0.0 } else { (1.0 - u * u).powi(2) };
            let b = basis(i);
            normal += b * b.transpose() * weight;
            right += b * (f64::from(blocks.data[i]) * weight);
        }
        let Some(c) = normal.cholesky().map(|f| f.solve(&right)) else { break };
        for i in 0..w * h {
            fitted.data[i] = basis(i).dot(&c) as f32;
        }
        let mut away: Vec<f32> = used.iter().map(|i| (blocks.data[*i] - fitted.data[*i]).abs()).collect();
        // Tukey's constant 4.685 times the robust standard deviation.
        limit = (4.685 * 1.4826 * quantile(&mut away, 0.5).unwrap_or(0.0)).max(1.0);
    }
    fitted
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_row_equals_the_points() {
        let s =
            Surface { blocks: Plane { width: 3, height: 2, data: vec![1., 5., 2., 8., 3., 9.] }, block: 4 };
        let mut row = [0.0; 12];
        for y in 0..8 {
            s.row(y, &mut row);
            for (x, v) in row.iter().enumerate() {
                assert!((v - s.at(x as f64, y as f64)).abs() < 1e-5);
            }
        }
    }
}
