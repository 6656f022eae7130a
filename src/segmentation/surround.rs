//! Photographs with two grounds: a light pad and the bench round it, a dark dish and a pale wall, ruler or card in it.

use super::ground::Polarity;
use super::lighting::Light;
use crate::imaging::{
    Plane,
    components::{self, Region},
    plane::{noise_about_zero, quantile},
};

/// A block darker than this share of the bright blocks is lit otherwise: a surround, or a dish in one.
const LIT_OTHERWISE: f32 = 0.45;

/// Fewer dark blocks than this share are things on one ground.
const FEW: f64 = 0.02;

/// What reaches this share of the way from the dark to the bright ground is lit as the bright one is …
const LIT_BESIDE: f32 = 0.15;
/// … and from this share of the dark ground on it is more than reflections of a pad's edge.
const LEAST_BESIDE: f64 = 0.003;

/// A surround that is lit by the room is darker than this share of the pad …
const LIT_BY_ROOM: f32 = 0.8;
/// … covers this share of the blocks, and of those at the edge of the frame, at least …
const SURROUND: f64 = 0.15;
const SURROUND_AT_FRAME: f64 = 0.35;
/// … and its level steps to the pad's within three blocks: by this share of the difference along three quarters of the edge.
/// Uneven light does not. All four by trying, rendered pads and trays.
const STEP: f32 = 0.6;

/// How a photograph is lit that shows two grounds, a bright and a dark one; `None` where it shows one.
pub(super) fn two_grounds(luma: &Plane<f32>, medians: &Plane<f32>, block: usize) -> Option<Light> {
    let lit = |polarity, lit| Some(Light { polarity, lit, surround: 0.0 });
    let all = medians.map(|_| true);
    let bright = quantile(&mut medians.data.clone(), 0.95).unwrap_or(0.0);
    let surround = stepped_surround(medians);
    let stepped = surround.is_some();
    let (large, dark_blocks) = surround.unwrap_or_else(|| large_below(medians, LIT_OTHERWISE * bright));
    let dark_share = share(&dark_blocks);
    if dark_share > FEW && bright > 60.0 {
        // Two grounds. The surround is the one that borders the frame.
        let (w, h) = (medians.width, medians.height);
        let dark_border = share_at_frame(&dark_blocks);
        let (outside, inside) = levels(medians, &dark_blocks);
        // Uneven light on one ground does not make two, but a step does.
        let by_room = outside >= LIT_OTHERWISE * inside;
        let two = !by_room || stepped;
        if two && dark_border < SURROUND_AT_FRAME && dark_share > SURROUND {
            // Bright islands are large fish.
            let islands = inside_frame(&components::regions(&dark_blocks.map(|d| !d), 1), w, h);
            return lit(Polarity::BrightFish, islands);
        }
        // A dark island within the pad is an object on it, however large.
        let pad = inside_frame(&large, w, h);
        // A pad is bright for the most part: pale walls round a dark floor make a dark dish.
        let in_pad = pad.data.iter().zip(&dark_blocks.data).filter(|(pad, _)| **pad);
        let dark_in_pad = in_pad.clone().filter(|(_, dark)| **dark).count();
        if two && 2 * dark_in_pad > in_pad.count() {
            return lit(Polarity::BrightFish, all);
        }
        if two && let Some(slender) = convex_whole(&pad) {
            // A pad lights what lies on it and nothing beside it; a pale ruler or card on a dark ground lies
            // among fish that are lit as it is.
            let beside_it = without_largest(&pad);
            let (middle, grain) = level_and_grain(luma, &beside_it, block);
            let step = (LIT_BESIDE * (inside - outside)).max(GRAIN * grain);
            let bright = share_of_things(luma, &beside_it, block, |v| v > middle + step) > LEAST_BESIDE;
            let dark = || share_of_things(luma, &beside_it, block, |v| v < middle - step) > LEAST_BESIDE;
            // What holds things and is not much darker than a card is a tray.
            let tray = by_room && (bright || dark());
            match (bright, slender < SLENDER) {
                _ if tray => {}
                (true, true) => return lit(Polarity::BrightFish, beside_it),
                (true, false) => return lit(Polarity::BrightFish, all),
                (false, true) => {
                    let surround = outside / inside;
                    return Some(Light { polarity: Polarity::DarkFish, lit: pad, surround });
                }
                // One large pale fish.
                (false, false) => {}
            }
        }
    }
    None
}

/// Share of the blocks that are set.
fn share(blocks: &Plane<bool>) -> f64 {
    blocks.data.iter().filter(|d| **d).count() as f64 / blocks.data.len() as f64
}

/// The same of the blocks at the edge of the frame.
fn share_at_frame(blocks: &Plane<bool>) -> f64 {
    let (w, h) = (blocks.width, blocks.height);
    let border = (0..w).flat_map(|x| [(x, 0), (x, h - 1)]).chain((0..h).flat_map(|y| [(0, y), (w - 1, y)]));
    border.clone().filter(|(x, y)| blocks.at(*x, *y)).count() as f64 / border.count() as f64
}

/// The large regions of blocks darker than `limit`, and their blocks. Small dark islands are objects on a bright ground.
fn large_below(medians: &Plane<f32>, limit: f32) -> (Vec<Region>, Plane<bool>) {
    let large = components::regions(&medians.map(|m| m < limit), (medians.data.len() / 50).max(4));
    let mut dark = medians.map(|_| false);
    for &(x, y) in large.iter().flat_map(|region| &region.pixels) {
        dark.set(x as usize, y as usize, true);
    }
    (large, dark)
}

/// Median level of the dark blocks and of the others.
fn levels(medians: &Plane<f32>, dark: &Plane<bool>) -> (f32, f32) {
    let level = |of: bool| {
        let inside = medians.data.iter().zip(&dark.data).filter(|(_, dark)| **dark == of);
        quantile(&mut inside.map(|(m, _)| *m).collect::<Vec<f32>>(), 0.5).unwrap_or(0.0)
    };
    (level(true), level(false))
}

/// The blocks of a bench round a pad, also of one that the room lights: the darker of two levels (Otsu 1979, doi
/// 10.1109/TSMC.1979.4310076) with a sharp step between them.
fn stepped_surround(medians: &Plane<f32>) -> Option<(Vec<Region>, Plane<bool>)> {
    let grey = medians.data.iter().map(|m| m.round().clamp(0.0, 255.0) as u8).collect();
    let grey = image::GrayImage::from_raw(medians.width as u32, medians.height as u32, grey)?;
    let (large, dark) = large_below(medians, f32::from(imageproc::contrast::otsu_level(&grey)) + 1.0);
    let (outside, inside) = levels(medians, &dark);
    let surrounds = share(&dark) >= SURROUND && share_at_frame(&dark) >= SURROUND_AT_FRAME;
    if !surrounds || outside >= LIT_BY_ROOM * inside {
        return None;
    }
    let mut steps = Vec::new();
    for y in 0..dark.height {
        for x in 0..dark.width {
            for (nx, ny) in [(x + 3, y), (x, y + 3)] {
                if nx < dark.width && ny < dark.height && dark.at(x, y) != dark.at(nx, ny) {
                    steps.push((medians.at(x, y) - medians.at(nx, ny)).abs());
                }
            }
        }
    }
    (quantile(&mut steps, 0.25)? >= STEP * (inside - outside)).then_some((large, dark))
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

/// Share of the dark blocks' pixels that belong to things which stand out from them. What reaches the frame or comes
/// within two blocks of the bright ground does not count: clips and hands reach in from outside, and a pad glows.
fn share_of_things(
    luma: &Plane<f32>,
    dark: &Plane<bool>,
    block: usize,
    stands_out: impl Fn(f32) -> bool,
) -> f64 {
    let far = dark.inner(2);
    let mut things = luma.map(stands_out);
    let mut all = 0u32;
    for y in 0..luma.height {
        for x in 0..luma.width {
            let dark = dark.at(x / block, y / block);
            things.data[y * luma.width + x] &= dark;
            all += u32::from(dark);
        }
    }
    let things: usize = components::regions(&things, 24)
        .iter()
        .filter(|r| r.x0 > 0 && r.y0 > 0)
        .filter(|r| (r.x1 as usize) + 1 < luma.width && (r.y1 as usize) + 1 < luma.height)
        .filter(|r| r.pixels.iter().all(|&(x, y)| far.at(x as usize / block, y as usize / block)))
        .map(|r| r.pixels.len())
        .sum();
    things as f64 / f64::from(all.max(1))
}

/// Times the spread of its pixels that the grain of a bench stands out from it at most.
const GRAIN: f32 = 6.0;

/// Median of the dark blocks' pixels and the standard deviation of their grain.
fn level_and_grain(luma: &Plane<f32>, dark: &Plane<bool>, block: usize) -> (f32, f32) {
    let mut values: Vec<f32> = (0..luma.height)
        .step_by(3)
        .flat_map(|y| (0..luma.width).step_by(3).map(move |x| (x, y)))
        .filter(|&(x, y)| dark.at(x / block, y / block))
        .map(|(x, y)| luma.at(x, y))
        .collect();
    let middle = quantile(&mut values, 0.5).unwrap_or(0.0);
    (middle, noise_about_zero(values.iter().map(|v| v - middle)).unwrap_or(0.0))
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
