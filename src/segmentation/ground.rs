//! The ground a photograph is searched on: lighting, the region that is lit as the dish is, the bare
//! background surfaces and the *ink*, the departure from bare background in the direction fish depart.

use super::background::{
    Surface, block_medians, block_statistic, neighbourhood_quantile, polynomial, weighted_smooth,
};
use crate::imaging::{
    Plane,
    blur::gaussian,
    components::{self, Region},
    plane::{noise_about_zero, quantile},
    reduce::{reduce, reduce_f32},
};
use crate::photo::Pixels;

/// Longest side of the reduced photograph aimed at, in pixels.
const SEARCH_SIDE: usize = 3000;
/// Blocks along the longer side.
const BLOCKS: usize = 88;
/// A block darker than this share of the bright blocks is lit otherwise: a surround, or a dish in one.
const LIT_OTHERWISE: f32 = 0.45;

/// What reaches this share of the way from the dark to the bright ground is lit as the bright one is …
const LIT_BESIDE: f32 = 0.15;
/// … and from this share of the dark ground on it is more than reflections of a pad's edge.
const LEAST_BESIDE: f64 = 0.003;

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
    /// Share of the lit ground that is brighter than bare background by a twelfth or more.
    pub glints: f32,
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
        self.soft = gaussian(&reduce_f32(&self.ink, 2), 1.2);
        self.soft_noise = noise_surface(&self.soft, (block / 2).max(2));
        self.noise = noise_surface(&self.ink, block);
    }

    /// What the walls add to the ink at photograph pixel `x`, `y`.
    pub fn haze_at(&self, x: f64, y: f64) -> f32 {
        let Some(haze) = &self.haze else { return 0.0 };
        let (x, y) = self.to_search(x, y);
        haze.bilinear(x.clamp(0.0, (haze.width - 1) as f64), y.clamp(0.0, (haze.height - 1) as f64))
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
        // Chroma is at half resolution already.
        let step = (factor / 2).max(1);
        let (w, h) = (c.width as usize, c.height as usize);
        [reduce(&c.cb, w, h, step), reduce(&c.cr, w, h, step)]
    });
    let block = (luma.width.max(luma.height) / BLOCKS).max(4);
    let medians = block_medians(&luma, block);
    let (polarity, lit_blocks) = decide(&luma, &medians, block);

    let surface = |medians: &Plane<f32>| -> Surface {
        // The lamp's fall-off first, then what it leaves, so that slopes do not pass for fish nor fish for slopes.
        let lamp = polynomial(medians, &lit_blocks);
        let mut rest = medians.clone();
        rest.data.iter_mut().zip(&lamp.data).for_each(|(r, l)| *r -= l);
        let mut prior = neighbourhood_quantile(&rest, &lit_blocks, 6, 0.5, 0.0);
        prior.data.iter_mut().zip(&lamp.data).for_each(|(p, l)| *p += l);
        Surface { blocks: refine(medians, &prior, &lit_blocks), block }
    };
    let luma_ground = surface(&medians);
    // A chroma block covers the same part of the photograph, in chroma pixels.
    let chroma_ground = chroma.as_ref().map(|planes| {
        planes.each_ref().map(|p| {
            let own = chroma_block(block, &luma, p);
            let mut s = surface(&fit_grid(&block_medians(p, own), &medians));
            s.block = block;
            s
        })
    });

    let mut ground = Ground {
        factor,
        polarity,
        luma: luma_ground,
        chroma: chroma_ground,
        lit: Plane::filled(luma.width, luma.height, true),
        ink: Plane::filled(luma.width, luma.height, 0.0),
        haze: None,
        noise: Surface { blocks: Plane::filled(1, 1, 0.0), block },
        soft: Plane::filled(1, 1, 0.0),
        soft_noise: Surface { blocks: Plane::filled(1, 1, 0.0), block },
        blue_share: 0.0,
        white: 255.0,
        clipped: 0.0,
        glints: 0.0,
    };
    ground.lit = lit_pixels(&luma, &ground.luma, &lit_blocks, polarity);
    match polarity {
        Polarity::DarkFish => bright_ground_ink(&mut ground, &luma, chroma.as_ref()),
        Polarity::BrightFish => dark_ground_ink(&mut ground, &luma),
    }
    let (mut lit, mut white, mut glints) = (0u32, 0u32, 0u32);
    for ((v, inside), ink) in luma.data.iter().zip(&ground.lit.data).zip(&ground.ink.data) {
        lit += u32::from(*inside);
        white += u32::from(*inside && *v >= 254.0);
        glints += u32::from(*inside && *ink < -1.0 / 12.0);
    }
    ground.clipped = white as f32 / lit.max(1) as f32;
    ground.glints = glints as f32 / lit.max(1) as f32;
    ground.ink = gaussian(&ground.ink, 1.0);
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
/// next to unlit ones do not; twice, the second time against the refined surface with a tighter limit.
fn refine(medians: &Plane<f32>, prior: &Plane<f32>, lit: &Plane<bool>) -> Plane<f32> {
    let (w, h) = (lit.width, lit.height);
    let inner = Plane {
        width: w,
        height: h,
        data: (0..w * h)
            .map(|i| {
                let (x, y) = ((i % w) as i64, (i / w) as i64);
                (-1..=1).all(|dy| (-1..=1).all(|dx| lit.get_or(x + dx, y + dy, true)))
            })
            .collect(),
    };
    let mut surface = prior.clone();
    for (times, share) in [(3.0, 0.008), (3.0, 0.005)] {
        let mut departures: Vec<f32> = (0..medians.data.len())
            .filter(|i| inner.data[*i])
            .map(|i| (medians.data[i] - surface.data[i]).abs())
            .collect();
        let spread = 1.4826 * quantile(&mut departures, 0.5).unwrap_or(0.0);
        let mut weight = medians.clone();
        for (i, w) in weight.data.iter_mut().enumerate() {
            let limit = (times * spread).max(share * surface.data[i]).max(0.6);
            *w = if inner.data[i] && (medians.data[i] - surface.data[i]).abs() <= limit { 1.0 } else { 0.0 };
        }
        surface = weighted_smooth(medians, &weight, &surface, 1.2);
    }
    surface
}

/// Which way fish depart, and the blocks lit as the dish is.
fn decide(luma: &Plane<f32>, medians: &Plane<f32>, block: usize) -> (Polarity, Plane<bool>) {
    let all = medians.map(|_| true);
    let bright = quantile(&mut medians.data.clone(), 0.95).unwrap_or(0.0);
    let mut dark_blocks = medians.map(|m| m < LIT_OTHERWISE * bright);
    // Small dark islands are objects on a bright ground.
    let least = medians.data.len() / 50;
    let large = components::regions(&dark_blocks, least.max(4));
    dark_blocks = medians.map(|_| false);
    for region in &large {
        for &(x, y) in &region.pixels {
            dark_blocks.set(x as usize, y as usize, true);
        }
    }
    let dark_share = dark_blocks.data.iter().filter(|d| **d).count() as f64 / medians.data.len() as f64;
    if dark_share > 0.02 && bright > 60.0 {
        // Two grounds. The surround is the one that borders the frame.
        let (w, h) = (medians.width, medians.height);
        let border: Vec<(usize, usize)> = (0..w)
            .flat_map(|x| [(x, 0), (x, h - 1)])
            .chain((0..h).flat_map(|y| [(0, y), (w - 1, y)]))
            .collect();
        let dark_border =
            border.iter().filter(|(x, y)| dark_blocks.at(*x, *y)).count() as f64 / border.len() as f64;
        let level = |of: &Plane<bool>| {
            let mut inside: Vec<f32> =
                medians.data.iter().zip(&of.data).filter(|(_, in_it)| **in_it).map(|(m, _)| *m).collect();
            quantile(&mut inside, 0.5).unwrap_or(0.0)
        };
        let (outside, inside) = (level(&dark_blocks), level(&dark_blocks.map(|d| !d)));
        // Uneven light on one ground does not make two.
        let two = outside < LIT_OTHERWISE * inside;
        if two && dark_border < 0.35 && dark_share > 0.15 {
            // Bright islands are large fish.
            return (
                Polarity::BrightFish,
                inside_frame(&components::regions(&dark_blocks.map(|d| !d), 1), w, h),
            );
        }
        // A dark island within the pad is an object on it, however large.
        let pad = inside_frame(&large, w, h);
        // A pad is bright for the most part: pale walls round a dark floor make a dark dish.
        let in_pad = pad.data.iter().zip(&dark_blocks.data).filter(|(pad, _)| **pad);
        let dark_in_pad = in_pad.clone().filter(|(_, dark)| **dark).count();
        if two && 2 * dark_in_pad > in_pad.count() {
            return (Polarity::BrightFish, all);
        }
        if two && let Some(slender) = convex_whole(&pad) {
            // A pad lights what lies on it and nothing beside it; a pale ruler or card on a dark ground lies
            // among fish that are lit as it is.
            let beside_it = without_largest(&pad);
            let lit = lit_things(luma, &beside_it, block, outside + LIT_BESIDE * (inside - outside));
            match (lit > LEAST_BESIDE, slender < SLENDER) {
                (true, true) => return (Polarity::BrightFish, beside_it),
                (true, false) => return (Polarity::BrightFish, all),
                (false, true) => return (Polarity::DarkFish, pad),
                // One large pale fish.
                (false, false) => {}
            }
        }
    }
    let level = quantile(&mut medians.data.clone(), 0.5).unwrap_or(0.0);
    (polarity_by_departures(luma, medians, block, level), all)
}

/// Every block that is not in one of the `regions` that reach the frame.
fn inside_frame(regions: &[Region], w: usize, h: usize) -> Plane<bool> {
    let mut inside = Plane::filled(w, h, true);
    let reaches_frame =
        |r: &&Region| r.x0 == 0 || r.y0 == 0 || r.x1 as usize + 1 == w || r.y1 as usize + 1 == h;
    for &(x, y) in regions.iter().filter(reaches_frame).flat_map(|r| &r.pixels) {
        inside.set(x as usize, y as usize, false);
    }
    inside
}

/// Every block that is not in the largest region of `bright`.
fn without_largest(bright: &Plane<bool>) -> Plane<bool> {
    let mut rest = bright.map(|_| true);
    if let Some(largest) = components::regions(bright, 1).into_iter().max_by_key(|r| r.pixels.len()) {
        for (x, y) in largest.pixels {
            rest.set(x as usize, y as usize, false);
        }
    }
    rest
}

/// Share of the dark blocks' pixels that belong to things brighter than `limit`. What reaches the frame or comes
/// within two blocks of the bright ground does not count: clips and hands reach in from outside, and a pad glows.
fn lit_things(luma: &Plane<f32>, dark: &Plane<bool>, block: usize, limit: f32) -> f64 {
    let far = Plane {
        width: dark.width,
        height: dark.height,
        data: (0..dark.data.len())
            .map(|i| {
                let (x, y) = ((i % dark.width) as i64, (i / dark.width) as i64);
                (-2..=2).all(|dy| (-2..=2).all(|dx| dark.get_or(x + dx, y + dy, true)))
            })
            .collect(),
    };
    let place = |x: usize, y: usize| ((x / block).min(far.width - 1), (y / block).min(far.height - 1));
    let mut bright = luma.map(|v| v > limit);
    let mut all = 0u32;
    for y in 0..luma.height {
        for x in 0..luma.width {
            let (bx, by) = place(x, y);
            bright.data[y * luma.width + x] &= dark.at(bx, by);
            all += u32::from(dark.at(bx, by));
        }
    }
    let things: usize = components::regions(&bright, 24)
        .iter()
        .filter(|r| r.x0 > 0 && r.y0 > 0)
        .filter(|r| (r.x1 as usize) + 1 < luma.width && (r.y1 as usize) + 1 < luma.height)
        .filter(|r| {
            r.pixels.iter().all(|&(x, y)| {
                let (bx, by) = place(x as usize, y as usize);
                far.at(bx, by)
            })
        })
        .map(|r| r.pixels.len())
        .sum();
    things as f64 / f64::from(all.max(1))
}

/// Longest over shortest axis from which on a bright region is no light pad but a ruler or a fish.
const SLENDER: f64 = 4.0;

/// Longest over shortest axis of the bright blocks where nearly all lie in one convex region, as a light pad, a card
/// or a ruler does. Large pale fish on a dark ground are several or bent.
fn convex_whole(bright: &Plane<bool>) -> Option<f64> {
    let total = bright.data.iter().filter(|b| **b).count();
    let largest = components::regions(bright, 4).into_iter().max_by_key(|r| r.pixels.len())?;
    let (major, minor) = largest.axes();
    let hull = convex_area(&largest.pixels);
    (largest.pixels.len() * 10 >= total * 8 && largest.pixels.len() as f64 >= 0.75 * hull && minor >= 6.0)
        .then(|| major / minor)
}

/// Area of the convex hull of unit squares at `pixels` (Andrew 1979, doi 10.1016/0020-0190(79)90072-3).
fn convex_area(pixels: &[(u32, u32)]) -> f64 {
    let mut points: Vec<(f64, f64)> = pixels
        .iter()
        .flat_map(|&(x, y)| {
            let (x, y) = (f64::from(x), f64::from(y));
            [(x, y), (x + 1.0, y), (x, y + 1.0), (x + 1.0, y + 1.0)]
        })
        .collect();
    points.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
    points.dedup();
    let chain = |points: &mut dyn Iterator<Item = (f64, f64)>| {
        let mut hull: Vec<(f64, f64)> = Vec::new();
        for p in points {
            while let [.., a, b] = hull[..] {
                if (b.0 - a.0) * (p.1 - a.1) - (b.1 - a.1) * (p.0 - a.0) > 0.0 {
                    break;
                }
                hull.pop();
            }
            hull.push(p);
        }
        hull
    };
    let mut hull = chain(&mut points.iter().copied());
    hull.extend(chain(&mut points.iter().rev().copied()));
    let n = hull.len();
    0.5 * (0..n).map(|i| hull[i].0 * hull[(i + 1) % n].1 - hull[(i + 1) % n].0 * hull[i].1).sum::<f64>().abs()
}

/// One ground: fish depart to the side where the strong departures are, unless the level leaves no room.
fn polarity_by_departures(luma: &Plane<f32>, medians: &Plane<f32>, block: usize, level: f32) -> Polarity {
    if level > 120.0 {
        return Polarity::DarkFish;
    }
    let surface =
        Surface { blocks: neighbourhood_quantile(medians, &medians.map(|_| true), 6, 0.5, level), block };
    let mut line = vec![0.0; luma.width];
    let mut departures = Vec::with_capacity(luma.data.len() / 4);
    for y in (0..luma.height).step_by(2) {
        surface.row(y, &mut line);
        departures.extend(luma.row(y).iter().zip(&line).step_by(2).map(|(v, g)| v - g));
    }
    let noise = noise_about_zero(departures.iter().copied()).unwrap_or(1.0).max(0.5);
    let sum = |sign: f32| -> f64 {
        departures.iter().map(|d| d * sign).filter(|d| *d > 8.0 * noise).map(f64::from).sum()
    };
    if sum(1.0) > sum(-1.0) { Polarity::BrightFish } else { Polarity::DarkFish }
}

/// Pixels lit as the dish is. The surround grows from unlit blocks through pixels that look like it, and is
/// widened by the blur of its edge.
fn lit_pixels(luma: &Plane<f32>, ground: &Surface, blocks: &Plane<bool>, polarity: Polarity) -> Plane<bool> {
    let (w, h) = (luma.width, luma.height);
    let mut lit = Plane::filled(w, h, true);
    if blocks.data.iter().all(|lit| *lit) {
        return lit;
    }
    let b = ground.block;
    let mut front: Vec<(usize, usize)> = Vec::new();
    let mut line = vec![0.0; w];
    let mut like_surround = Plane::filled(w, h, false);
    for y in 0..h {
        ground.row(y, &mut line);
        for x in 0..w {
            let ratio = luma.at(x, y) / line[x].max(1.0);
            let like = match polarity {
                Polarity::DarkFish => ratio < 0.72,
                Polarity::BrightFish => ratio > 1.6,
            };
            let unlit = !blocks.at(x / b, y / b);
            like_surround.set(x, y, like);
            if unlit && like {
                lit.set(x, y, false);
                front.push((x, y));
            }
        }
    }
    // An eye at the edge must not open the way through a fish: growth ends after two blocks.
    for _ in 0..2 * b {
        front = grow(&mut lit, &front, |x, y| like_surround.at(x, y));
    }
    let mut edge: Vec<(usize, usize)> =
        (0..h).flat_map(|y| (0..w).map(move |x| (x, y))).filter(|&(x, y)| !lit.at(x, y)).collect();
    for _ in 0..(b / 4).max(4) {
        edge = grow(&mut lit, &edge, |_, _| true);
    }
    lit
}

/// Clears `lit` next to `front` where `may` allows it; returns the cleared pixels.
fn grow(
    lit: &mut Plane<bool>,
    front: &[(usize, usize)],
    may: impl Fn(usize, usize) -> bool,
) -> Vec<(usize, usize)> {
    let mut next = Vec::new();
    for &(x, y) in front {
        for (nx, ny) in [(x.wrapping_sub(1), y), (x + 1, y), (x, y.wrapping_sub(1)), (x, y + 1)] {
            if nx < lit.width && ny < lit.height && lit.at(nx, ny) && may(nx, ny) {
                lit.set(nx, ny, false);
                next.push((nx, ny));
            }
        }
    }
    next
}

fn bright_ground_ink(ground: &mut Ground, luma: &Plane<f32>, chroma: Option<&[Plane<f32>; 2]>) {
    let (w, h) = (luma.width, luma.height);
    let mut luma_line = vec![0.0; w];
    let mut luma_ink = Plane::filled(w, h, 0.0f32);
    let mut blue_ink = chroma.map(|_| Plane::filled(w, h, 0.0f32));
    let mut cb_line = vec![0.0; w];
    let mut spread = vec![0.0; w];
    for y in 0..h {
        ground.luma.row(y, &mut luma_line);
        if let (Some([cb, _]), Some([cb_ground, _]), Some(out)) = (chroma, &ground.chroma, &mut blue_ink) {
            cb_ground.row(y, &mut cb_line);
            let (sx, sy) = (luma.width.div_ceil(cb.width), luma.height.div_ceil(cb.height));
            let row = cb.row((y / sy).min(cb.height - 1));
            for (piece, cb) in spread.chunks_mut(sx).zip(row) {
                piece.fill(cb - 128.0);
            }
            let out = &mut out.data[y * w..(y + 1) * w];
            let bare = luma_line.iter().zip(&cb_line);
            for (((o, v), cb), (luma, cb_bare)) in out.iter_mut().zip(luma.row(y)).zip(&spread).zip(bare) {
                *o = 1.0 - (v + 1.772 * cb) / (luma + 1.772 * (cb_bare - 128.0)).max(1.0);
            }
        }
        let out = &mut luma_ink.data[y * w..(y + 1) * w];
        for ((o, v), bare) in out.iter_mut().zip(luma.row(y)).zip(&luma_line) {
            *o = 1.0 - v / bare.max(1.0);
        }
    }
    if let Some(blue) = blue_ink {
        ground.blue_share = blue_share(&luma_ink, &blue, &ground.lit);
        for (l, b) in luma_ink.data.iter_mut().zip(&blue.data) {
            *l += ground.blue_share * (b - *l);
        }
    }
    for (ink, lit) in luma_ink.data.iter_mut().zip(&ground.lit.data) {
        if !lit {
            *ink = 0.0;
        }
    }
    ground.ink = luma_ink;
}

/// Side of the squares, search pixels, over which the noise of luma and blue is judged: what is faint is found and
/// measured by its area, and the colour of compressed photographs is wrong by whole blocks, which no average over
/// neighbours mends.
const FAINT_SIDE: usize = 6;
/// What compression leaves wrong in the blue of a whole block, as a share of white: a chroma step of 14 levels
/// (ITU-T T.81 table K.2 at quality 60, scaled as is common) over eight, in blue, over the square root of twelve.
const COARSE_BLUE: f32 = 0.0035;
/// Least noise of such squares.
const LEAST_NOISE: f32 = 0.0005;

/// The share of blue that serves best: bodies absorb about twice as much blue as luma, so channels are
/// weighted as for a signal of 1 in luma and 2 in blue over their own noise (the matched combination of two
/// measurements with independent noise).
fn blue_share(luma: &Plane<f32>, blue: &Plane<f32>, lit: &Plane<bool>) -> f32 {
    let inside = |p: &Plane<f32>| {
        let means = reduce_f32(p, FAINT_SIDE);
        let at = |i: usize| (i % means.width * FAINT_SIDE, i / means.width * FAINT_SIDE);
        let lit = (0..means.data.len()).filter(|i| lit.at(at(*i).0, at(*i).1));
        noise_about_zero(lit.map(|i| means.data[i])).unwrap_or(0.01).max(LEAST_NOISE)
    };
    let (nl, nb) = (inside(luma), inside(blue));
    let (wl, wb) = (1.0 / (nl * nl), 1.0 / (nb * nb + COARSE_BLUE * COARSE_BLUE));
    wb / (wl + wb)
}

fn dark_ground_ink(ground: &mut Ground, luma: &Plane<f32>) {
    let (w, h) = (luma.width, luma.height);
    let mut line = vec![0.0; w];
    let mut ink = Plane::filled(w, h, 0.0f32);
    for y in 0..h {
        ground.luma.row(y, &mut line);
        for x in 0..w {
            if ground.lit.at(x, y) {
                ink.set(x, y, luma.at(x, y) - line[x]);
            }
        }
    }
    let mut above: Vec<f32> = ink.data.iter().step_by(3).copied().filter(|v| *v > 0.0).collect();
    let noise = quantile(&mut above.clone(), 0.5).unwrap_or(1.0);
    above.retain(|v| *v > 8.0 * noise);
    ground.white = quantile(&mut above, 0.75).unwrap_or(100.0).max(10.0);
    for v in &mut ink.data {
        *v /= ground.white;
    }
    ground.ink = ink;
}

/// Standard deviation of the ink on bare background, by block: medians over neighbours, so that fish do not
/// count as noise.
fn noise_surface(ink: &Plane<f32>, block: usize) -> Surface {
    let own = block_statistic(ink, block, |values| {
        let middle = quantile(values, 0.5).unwrap_or(0.0);
        values.iter_mut().for_each(|v| *v = (*v - middle).abs());
        1.4826 * quantile(values, 0.4).unwrap_or(0.0) * 1.286
    });
    let lit =
        Plane { width: own.width, height: own.height, data: own.data.iter().map(|v| *v > 0.0).collect() };
    let fallback =
        quantile(&mut own.data.iter().copied().filter(|v| *v > 0.0).collect::<Vec<_>>(), 0.5).unwrap_or(0.01);
    let blocks = neighbourhood_quantile(&own, &lit, 5, 0.4, fallback);
    Surface { blocks: blocks.map(|v| v.max(0.001)), block }
}
