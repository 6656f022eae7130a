//! What is tissue and what is shadow where the light comes from above.
//!
//! A shadow takes all colours alike; tissue, its pigments and its yolk take more of blue. The ink of a trunk is read
//! where blue is taken, and a shadow that covers more than the body does cannot stand in for it.

use crate::imaging::{Plane, plane::noise_about_zero, plane::quantile};
use crate::photo::Pixels;
use crate::segmentation::Ground;

/// Quantile of the colour in a candidate that is surely tissue where there is any.
const COLOURED: f64 = 0.9;
/// That colour, in standard deviations of the colour of bare ground, at least.
const PLAIN: f32 = 4.0;
/// Colour of tissue at least, as a share of it; trunks have less than gut and yolk.
const TISSUE: f32 = 0.25;
/// Least share of a candidate that is coloured.
const LEAST: f64 = 0.1;
/// Of bare ground every so many pixels are looked at.
const EVERY: usize = 7;

/// Median ink of the coloured pixels of a candidate, `own` of a crop whose first pixel is `x0`, `y0` of the photograph
/// and whose pixels are `bin` wide; `bare` are its pixels of bare ground. `None` in grey photographs and where nothing
/// in the candidate is plainly coloured.
pub fn tissue_ink(
    pixels: &Pixels,
    ground: &Ground,
    [x0, y0, bin]: [usize; 3],
    ink: &Plane<f32>,
    own: &Plane<bool>,
    bare: &Plane<bool>,
) -> Option<f32> {
    let colour = Colour::of(pixels, ground)?;
    let mut seen: Vec<(f32, f32)> = Vec::new();
    let mut outside: Vec<f32> = Vec::new();
    for y in 0..ink.height {
        for x in 0..ink.width {
            let i = y * ink.width + x;
            let at = || colour.at(x0 + x * bin + bin / 2, y0 + y * bin + bin / 2);
            if own.data[i] {
                seen.push((at(), ink.data[i]));
            } else if bare.data[i] && i.is_multiple_of(EVERY) {
                outside.push(at());
            }
        }
    }
    let offset = quantile(&mut outside, 0.5)?;
    let noise = noise_about_zero(outside.iter().map(|v| v - offset))?;
    let plain = quantile(&mut seen.iter().map(|(c, _)| c - offset).collect::<Vec<f32>>(), COLOURED)?;
    if plain < PLAIN * noise {
        return None;
    }
    let limit = offset + (TISSUE * plain).max(2.0 * noise);
    let mut coloured: Vec<f32> = seen.iter().filter(|(c, _)| *c >= limit).map(|(_, ink)| *ink).collect();
    if (coloured.len() as f64) < LEAST * seen.len() as f64 {
        return None;
    }
    quantile(&mut coloured, 0.5)
}

/// Reads how much more blue than luma a photograph's pixels take from the light behind them.
struct Colour<'a> {
    pixels: &'a Pixels,
    ground: &'a Ground,
    cb: &'a [u8],
    cb_width: usize,
}

impl<'a> Colour<'a> {
    /// `None` in grey photographs.
    fn of(pixels: &'a Pixels, ground: &'a Ground) -> Option<Self> {
        let chroma = pixels.chroma.as_ref()?;
        ground.chroma.as_ref()?;
        Some(Self { pixels, ground, cb: &chroma.cb, cb_width: chroma.width as usize })
    }

    fn at(&self, x: usize, y: usize) -> f32 {
        let (width, height) = (self.pixels.width as usize, self.pixels.height as usize);
        // The pixels that share one value of colour.
        let (cx, cy) = (x / 2, y / 2);
        let luma =
            |x: usize, y: usize| f32::from(self.pixels.luma[y.min(height - 1) * width + x.min(width - 1)]);
        let here = 0.25
            * (luma(2 * cx, 2 * cy)
                + luma(2 * cx + 1, 2 * cy)
                + luma(2 * cx, 2 * cy + 1)
                + luma(2 * cx + 1, 2 * cy + 1));
        let blue = here + 1.772 * (f32::from(self.cb[cy * self.cb_width + cx]) - 128.0);
        let (sx, sy) = self.ground.to_search(x as f64, y as f64);
        let [luma_bare, blue_bare] = self.ground.luma_and_blue(sx, sy);
        here / luma_bare.max(1.0) - blue / blue_bare.max(1.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::segmentation::prepare;
    use image::{DynamicImage, Rgb, RgbImage};

    const BODY: [usize; 4] = [180, 140, 260, 150];
    const SHADOW: [usize; 4] = [180, 150, 260, 172];

    /// What is read of a body beside its own broader shadow on a pale tray, and the ink of both.
    fn read(body: [u8; 3], colours: bool) -> (Option<f32>, [f32; 2]) {
        let within = |[x0, y0, x1, y1]: [usize; 4], x: u32, y: u32| {
            (x0..x1).contains(&(x as usize)) && (y0..y1).contains(&(y as usize))
        };
        let rgb = RgbImage::from_fn(480, 320, |x, y| {
            let level = match () {
                () if within(BODY, x, y) => body,
                () if within(SHADOW, x, y) => [140; 3],
                () => [200; 3],
            };
            // Grain of its own in each colour, the same for the four pixels that share one.
            let mixed = (x / 2).wrapping_mul(2_654_435_761).wrapping_add((y / 2).wrapping_mul(2_246_822_519));
            let grain = [8, 16, 24].map(|shift| ((mixed ^ (mixed >> 13)) >> shift) as u8 % 7);
            Rgb(std::array::from_fn(|c| level[c] - 3 + grain[c]))
        });
        let mut pixels = Pixels::from_rgb(&DynamicImage::from(rgb).to_rgb8());
        if !colours {
            pixels.chroma = None;
        }
        let ground = prepare(&pixels);
        let plane = |f: &dyn Fn(u32, u32) -> bool| Plane {
            width: 480,
            height: 320,
            data: (0..480 * 320).map(|i| f(i % 480, i / 480)).collect(),
        };
        let own = plane(&|x, y| within(BODY, x, y) || within(SHADOW, x, y));
        let bare = own.map(|own| !own);
        let ink = Plane {
            width: 480,
            height: 320,
            data: pixels.luma.iter().map(|v| 1.0 - f32::from(*v) / 200.0).collect(),
        };
        let at = |[x0, y0, x1, y1]: [usize; 4]| {
            let mut all: Vec<f32> = (y0..y1).flat_map(|y| ink.row(y)[x0..x1].to_vec()).collect();
            quantile(&mut all, 0.5).unwrap()
        };
        let levels = [at(BODY), at(SHADOW)];
        (tissue_ink(&pixels, &ground, [0, 0, 1], &ink, &own, &bare), levels)
    }

    #[test]
    fn the_ink_of_a_trunk_is_not_that_of_a_broader_shadow() {
        let (trunk, [body, shadow]) = read([140, 120, 60], true);
        assert!(body - shadow > 0.05, "{body} {shadow}");
        approx::assert_abs_diff_eq!(trunk.unwrap(), body, epsilon = 0.02);
    }

    #[test]
    fn without_colours_nothing_is_said() {
        assert_eq!(read([120, 120, 120], true).0, None);
        assert_eq!(read([140, 120, 60], false).0, None);
    }
}
