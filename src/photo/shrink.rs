//! The photograph smaller, for looking at.

use super::Pixels;
use image::RgbImage;

impl Pixels {
    /// How many times smaller (each way) the photograph must be for its longer side to be at most `side`.
    pub fn factor_for(&self, side: u32) -> u32 {
        self.width.max(self.height).div_ceil(side.max(1)).max(1)
    }

    /// The photograph `factor` times smaller each way: the mean of each block of pixels. What is left over at the
    /// right and lower edge is dropped.
    pub fn shrunk(&self, factor: u32) -> RgbImage {
        let k = factor.max(1) as usize;
        let (w, h) = (self.width as usize, self.height as usize);
        let (ow, oh) = ((w / k).max(1), (h / k).max(1));
        let mut out = RgbImage::new(ow as u32, oh as u32);
        for (y, row) in out.chunks_exact_mut(3 * ow).enumerate() {
            for (x, pixel) in row.chunks_exact_mut(3).enumerate() {
                let luma = mean(&self.luma, w, h, [x * k, y * k], k);
                let (mut cb, mut cr) = (128.0, 128.0);
                if let Some(chroma) = &self.chroma {
                    let (cw, ch) = (chroma.width as usize, chroma.height as usize);
                    let at = [x * k / 2, y * k / 2];
                    cb = mean(&chroma.cb, cw, ch, at, k.div_ceil(2));
                    cr = mean(&chroma.cr, cw, ch, at, k.div_ceil(2));
                }
                // Colour values are already rounded to bytes by the camera; whole ones do for looking.
                for (value, v) in pixel.iter_mut().zip(super::rgb_of(luma, cb, cr)) {
                    *value = v.round() as u8;
                }
            }
        }
        out
    }
}

/// Mean of the `k` by `k` values from `x`, `y` on, as far as they lie inside.
fn mean(plane: &[u8], w: usize, h: usize, [x, y]: [usize; 2], k: usize) -> f32 {
    let (x1, y1) = ((x + k).min(w), (y + k).min(h));
    let sum: u32 =
        (y..y1).map(|y| plane[y * w + x..y * w + x1].iter().map(|&v| u32::from(v)).sum::<u32>()).sum();
    sum as f32 / ((x1 - x) * (y1 - y)).max(1) as f32
}
