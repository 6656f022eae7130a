//! The ground a photograph is searched on: lighting, the region that is lit as the dish is, the bare
//! background surfaces and the *ink*, the departure from bare background in the direction fish depart.

use super::background::{Laid, Surface, block_medians, neighbourhood_quantile, polynomial, weighted_smooth};
use super::glints::{self, Lamp};
use super::{ink, lighting};
use crate::imaging::{
    Plane,
    blur::smooth,
    plane::quantile,
    reduce::{reduce, reduce_f32},
};
use crate::photo::Pixels;

/// Longest side of the reduced photograph aimed at, in pixels.
const SEARCH_SIDE: usize = 3000;
/// Blocks along the longer side.
const BLOCKS: usize = 88;
/// Whether fish are darker or brighter than what is behind them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Polarity {
    /// Bright background, darker fish.
    DarkFish,
    /// Dark background, brighter fish.
    BrightFish,
}

/// A photograph made ready for the search.
#[derive(Debug, Clone)]
pub struct Ground {
    /// Photograph pixels to one search pixel, each way.
    pub factor: usize,
    /// Which way fish depart from the background.
    pub polarity: Polarity,
    /// Bare background in luma; block size in search pixels.
    pub luma: Surface,
    /// What the surfaces of luma and of the blue and red differences were laid from.
    pub(super) laid: Vec<Laid>,
    /// Bare background in the blue and red differences, `None` for grey photographs.
    pub chroma: Option<[Surface; 2]>,
    /// Search pixels that are lit as the dish is; the rest (black surround, bench) is not searched.
    pub lit: Plane<bool>,
    /// Departure from bare background as a fraction of it (bright background), or of the brightest
    /// fish tissue (dark background); positive where fish are. Smoothed by one search pixel.
    pub ink: Plane<f32>,
    /// What the walls of the vessels add to the ink beside them (their haze), taken out of it already;
    /// `None` without walls.
    pub haze: Option<Plane<f32>>,
    /// What shadows add to the ink, at the resolution of `soft`; `None` where none were learnt.
    pub shadow: Option<Plane<f32>>,
    /// Standard deviation of `ink` on bare background, by block.
    pub noise: Surface,
    /// Ink smoothed by two and a half search pixels, at half the search resolution: brings out bodies too faint
    /// for `ink`.
    pub soft: Plane<f32>,
    /// Standard deviation of `soft` on bare background, by block.
    pub soft_noise: Surface,
    /// Share of blue in the ink (the rest is luma); 0 for grey photographs and dark backgrounds.
    pub blue_share: f32,
    /// What one unit of ink is in grey levels on a dark background.
    pub white: f32,
    /// Share of the lit ground at the upper end of the range (254 and above).
    pub clipped: f32,
    /// Share of the lit ground that is brighter by a twelfth or more than bare background is anywhere.
    pub glints: f32,
    /// Where the lamp itself shows on a bright ground lit from above: what is under it is not seen, and the ink there is
    /// drawn in from beside; `None` where it shows nowhere.
    pub lamp: Option<Lamp>,
}

/// Share of the lit ground brighter than bare background from which on the light comes from above: light
/// from below leaves nothing brighter than itself but thin refracted lines.
const REFLECTED: f32 = 2e-4;

impl Ground {
    /// Whether a bright ground is lit from above (pale tray): there are glints, and shadows.
    pub fn lit_from_above(&self) -> bool {
        self.polarity == Polarity::DarkFish && self.glints > REFLECTED
    }

    /// Takes the softer ink and the noise from the ink as it is.
    pub(super) fn settle(&mut self) {
        let block = self.luma.block;
        self.soft = reduce_f32(&self.ink, 2);
        smooth(&mut self.soft, 1.2);
        self.soft_noise = ink::noise_surface(&self.soft, (block / 2).max(2));
        self.noise = ink::noise_surface(&self.ink, block);
    }

    /// Whether the lamp itself shows within `near` search pixels of photograph pixel `x`, `y`.
    pub fn lamp_near(&self, x: f64, y: f64, near: i64) -> bool {
        let Some(lamp) = &self.lamp else { return false };
        let (x, y) = self.to_search(x, y);
        lamp.is_near(x.round() as i64, y.round() as i64, near)
    }

    /// What the walls add to the ink at photograph pixel `x`, `y`.
    pub fn haze_at(&self, x: f64, y: f64) -> f32 {
        let Some(haze) = &self.haze else { return 0.0 };
        let (x, y) = self.to_search(x, y);
        haze.bilinear(x, y)
    }

    /// What shadows add to the ink at photograph pixel `x`, `y`.
    pub fn shadow_at(&self, x: f64, y: f64) -> f32 {
        let Some(shadow) = &self.shadow else { return 0.0 };
        let (x, y) = self.to_search(x, y);
        shadow.bilinear(0.5 * (x - 0.5), 0.5 * (y - 0.5))
    }

    /// Luma and blue of bare background at search pixel `x`, `y`; of grey photographs the same twice.
    pub fn luma_and_blue(&self, x: f64, y: f64) -> [f32; 2] {
        let luma = self.luma.at(x, y);
        [luma, self.chroma.as_ref().map_or(luma, |[cb, _]| luma + 1.772 * (cb.at(x, y) - 128.0))]
    }

    /// Bare background at photograph pixel `x`, `y` as red, green and blue.
    pub fn background_rgb(&self, x: f64, y: f64) -> [f32; 3] {
        let (sx, sy) = self.to_search(x, y);
        let luma = self.luma.at(sx, sy);
        let Some([cb, cr]) = &self.chroma else { return [luma; 3] };
        let (cb, cr) = (cb.at(sx, sy) - 128.0, cr.at(sx, sy) - 128.0);
        [luma + 1.402 * cr, luma - 0.344_136 * cb - 0.714_136 * cr, luma + 1.772 * cb]
    }

    /// Photograph coordinates to search coordinates.
    pub fn to_search(&self, x: f64, y: f64) -> (f64, f64) {
        let f = self.factor as f64;
        ((x - 0.5 * (f - 1.0)) / f, (y - 0.5 * (f - 1.0)) / f)
    }

    /// Search coordinates to photograph coordinates.
    pub fn to_photo(&self, x: f64, y: f64) -> [f64; 2] {
        let f = self.factor as f64;
        [x * f + 0.5 * (f - 1.0), y * f + 0.5 * (f - 1.0)]
    }

    /// Ink of one photograph pixel with luma `luma` and blue `blue` over bare background of `ground_luma`
    /// and `ground_blue`.
    #[inline]
    pub fn ink_of(&self, luma: f32, blue: f32, ground_luma: f32, ground_blue: f32) -> f32 {
        match self.polarity {
            Polarity::DarkFish => {
                let luma_ink = 1.0 - luma / ground_luma.max(1.0);
                let blue_ink = 1.0 - blue / ground_blue.max(1.0);
                luma_ink + self.blue_share * (blue_ink - luma_ink)
            }
            Polarity::BrightFish => (luma - ground_luma) / self.white,
        }
    }
}

/// Makes a photograph ready for the search.
pub fn prepare(pixels: &Pixels) -> Ground {
    let (width, height) = (pixels.width as usize, pixels.height as usize);
    let factor = width.max(height).div_ceil(SEARCH_SIDE).max(1);
    let luma = reduce(&pixels.luma, width, height, factor);
    let chroma = pixels.chroma.as_ref().map(|c| {
        // At half resolution already, and so it stays.
        let (w, h) = (c.width as usize, c.height as usize);
        [reduce(&c.cb, w, h, factor), reduce(&c.cr, w, h, factor)]
    });
    let block = (luma.width.max(luma.height) / BLOCKS).max(4);
    let medians = block_medians(&luma, block);
    let light = lighting::decide(&luma, &medians, block);
    let (polarity, lit_blocks) = (light.polarity, &light.lit);

    let mut laid = Vec::new();
    let mut surface = |medians: Plane<f32>| -> Surface {
        // The lamp's fall-off first, then what it leaves, so that slopes do not pass for fish nor fish for slopes.
        let lamp = polynomial(&medians, lit_blocks);
        let mut rest = medians.clone();
        rest.data.iter_mut().zip(&lamp.data).for_each(|(r, l)| *r -= l);
        let mut prior = neighbourhood_quantile(&rest, lit_blocks, 6, 0.5, 0.0);
        prior.data.iter_mut().zip(&lamp.data).for_each(|(p, l)| *p += l);
        let (blocks, bare) = refine(&medians, prior, lit_blocks);
        laid.push(Laid { medians, lamp, bare });
        Surface { blocks, block }
    };
    let luma_ground = surface(medians.clone());
    // A chroma block covers the same part of the photograph, in chroma pixels.
    let chroma_ground = chroma.as_ref().map(|planes| {
        planes.each_ref().map(|p| {
            let own = chroma_block(block, &luma, p);
            let mut s = surface(fit_grid(&block_medians(p, own), &medians));
            s.block = block;
            s
        })
    });

    let mut ground = Ground {
        factor,
        polarity,
        luma: luma_ground,
        laid,
        chroma: chroma_ground,
        lit: Plane::filled(luma.width, luma.height, true),
        ink: Plane::filled(luma.width, luma.height, 0.0),
        haze: None,
        shadow: None,
        noise: Surface { blocks: Plane::filled(1, 1, 0.0), block },
        soft: Plane::filled(1, 1, 0.0),
        soft_noise: Surface { blocks: Plane::filled(1, 1, 0.0), block },
        blue_share: 0.0,
        white: 255.0,
        clipped: 0.0,
        glints: 0.0,
        lamp: None,
    };
    ground.lit = lighting::lit_pixels(&luma, &ground.luma, &light);
    match polarity {
        Polarity::DarkFish => ink::on_bright(&mut ground, &luma, chroma.as_ref()),
        Polarity::BrightFish => ink::on_dark(&mut ground, &luma),
    }
    let lit = ground.lit.data.iter().filter(|lit| **lit).count().max(1) as f32;
    let white = luma.data.iter().zip(&ground.lit.data).filter(|(v, lit)| **lit && **v >= 254.0).count();
    ground.clipped = white as f32 / lit;
    ground.glints = glints::count(&luma, &ground, lit_blocks) as f32 / lit;
    if ground.lit_from_above() {
        ground.lamp = glints::lamp(&luma, &ground, lit_blocks);
    }
    if let Some(lamp) = &ground.lamp {
        glints::bridge(&mut ground.ink, |x, y| lamp.across(x, y));
    }
    drop((luma, chroma));
    smooth(&mut ground.ink, 1.0);
    ground.settle();
    ground
}

/// Chroma pixels to a block, for a chroma plane that may be coarser than the search.
fn chroma_block(block: usize, luma: &Plane<f32>, chroma: &Plane<f32>) -> usize {
    ((block * chroma.width) as f64 / luma.width as f64).round().max(1.0) as usize
}

/// Crops or extends a grid by its last column and row to the size of `like`.
fn fit_grid(grid: &Plane<f32>, like: &Plane<f32>) -> Plane<f32> {
    let mut out = like.clone();
    for y in 0..like.height {
        for x in 0..like.width {
            out.set(x, y, grid.at(x.min(grid.width - 1), y.min(grid.height - 1)));
        }
    }
    out
}

/// Refines a coarse surface: blocks close to it carry weight, the rest (fish, walls, marks) and the blocks
/// next to unlit ones do not; twice, the second time against the refined surface with a tighter limit. Returns the surface
/// and the last weights.
fn refine(medians: &Plane<f32>, prior: Plane<f32>, lit: &Plane<bool>) -> (Plane<f32>, Plane<f32>) {
    let inner = lit.inner(1);
    let mut weight = prior.clone();
    let mut surface = prior;
    for (times, share) in [(3.0, 0.008), (3.0, 0.005)] {
        let mut departures: Vec<f32> = (0..medians.data.len())
            .filter(|i| inner.data[*i])
            .map(|i| (medians.data[i] - surface.data[i]).abs())
            .collect();
        let spread = 1.4826 * quantile(&mut departures, 0.5).unwrap_or(0.0);
        for (i, w) in weight.data.iter_mut().enumerate() {
            let limit = (times * spread).max(share * surface.data[i]).max(0.6);
            *w = if inner.data[i] && (medians.data[i] - surface.data[i]).abs() <= limit { 1.0 } else { 0.0 };
        }
        surface = weighted_smooth(medians, &weight, &surface, 1.2);
    }
    (surface, weight)
}
