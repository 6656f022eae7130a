//! How a photograph is lit: whether fish are darker or brighter than what is behind them, and which part of the
//! frame is lit as the dish is.

use super::background::{Surface, neighbourhood_quantile};
use super::ground::Polarity;
use crate::imaging::{
    Plane,
    components::{self, Region},
    plane::{noise_about_zero, quantile},
};

/// A block darker than this share of the bright blocks is lit otherwise: a surround, or a dish in one.
const LIT_OTHERWISE: f32 = 0.45;

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
/// Uneven light does not.
const STEP: f32 = 0.6;

/// How a photograph is lit.
pub(super) struct Light {
    /// Which way fish depart.
    pub polarity: Polarity,
    /// Blocks lit as the dish is.
    pub lit: Plane<bool>,
    /// Level of what surrounds a light pad, as a share of the pad's; 0 without a surround.
    pub surround: f32,
}

/// Which way fish depart, and the blocks lit as the dish is.
pub(super) fn decide(luma: &Plane<f32>, medians: &Plane<f32>, block: usize) -> Light {
    let lit = |polarity, lit| Light { polarity, lit, surround: 0.0 };
    let all = medians.map(|_| true);
    let bright = quantile(&mut medians.data.clone(), 0.95).unwrap_or(0.0);
    let mut darkest = LIT_OTHERWISE;
    let (mut large, mut dark_blocks) = large_below(medians, LIT_OTHERWISE * bright);
    if let Some(surround) = room_lit_surround(medians).filter(|_| share(&dark_blocks) <= 0.02) {
        darkest = LIT_BY_ROOM;
        (large, dark_blocks) = surround;
    }
    let dark_share = share(&dark_blocks);
    if dark_share > 0.02 && bright > 60.0 {
        // Two grounds. The surround is the one that borders the frame.
        let (w, h) = (medians.width, medians.height);
        let dark_border = share_at_frame(&dark_blocks);
        let (outside, inside) = levels(medians, &dark_blocks);
        // Uneven light on one ground does not make two.
        let two = outside < darkest * inside;
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
            let bright = share_of_things(luma, &beside_it, block, |v| v > middle + step);
            let dark = share_of_things(luma, &beside_it, block, |v| v < middle - step);
            // What holds dark things and is not much darker than a card is a tray.
            let tray = darkest > LIT_OTHERWISE && bright.max(dark) > LEAST_BESIDE;
            match (bright > LEAST_BESIDE, slender < SLENDER) {
                _ if tray => {}
                (true, true) => return lit(Polarity::BrightFish, beside_it),
                (true, false) => return lit(Polarity::BrightFish, all),
                (false, true) => {
                    let surround = outside / inside;
                    return Light { polarity: Polarity::DarkFish, lit: pad, surround };
                }
                // One large pale fish.
                (false, false) => {}
            }
        }
    }
    let level = quantile(&mut medians.data.clone(), 0.5).unwrap_or(0.0);
    lit(polarity_by_departures(luma, medians, block, level), all)
}

/// Share of the blocks that are set, and of those at the edge of the frame.
fn share(blocks: &Plane<bool>) -> f64 {
    blocks.data.iter().filter(|d| **d).count() as f64 / blocks.data.len() as f64
}

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

/// The blocks of a bench that the room lights round a pad: the darker of two levels (Otsu 1979, doi
/// 10.1109/TSMC.1979.4310076) with a sharp step between them.
fn room_lit_surround(medians: &Plane<f32>) -> Option<(Vec<Region>, Plane<bool>)> {
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
    let mut things = luma.map(stands_out);
    let mut all = 0u32;
    for y in 0..luma.height {
        for x in 0..luma.width {
            let (bx, by) = place(x, y);
            things.data[y * luma.width + x] &= dark.at(bx, by);
            all += u32::from(dark.at(bx, by));
        }
    }
    let things: usize = components::regions(&things, 24)
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

/// Times the spread of its pixels that the grain of a bench stands out from it at most.
const GRAIN: f32 = 6.0;

/// Median of the dark blocks' pixels and the standard deviation of their grain.
fn level_and_grain(luma: &Plane<f32>, dark: &Plane<bool>, block: usize) -> (f32, f32) {
    let place = |x: usize, y: usize| ((x / block).min(dark.width - 1), (y / block).min(dark.height - 1));
    let mut values: Vec<f32> = (0..luma.height)
        .step_by(3)
        .flat_map(|y| (0..luma.width).step_by(3).map(move |x| (x, y)))
        .filter(|&(x, y)| {
            let (bx, by) = place(x, y);
            dark.at(bx, by)
        })
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

/// Ground brighter than this is a bright one, unless what is brighter than it outweighs what is darker by far …
const GREY: f32 = 120.0;
/// … so many times: pale fish on grey do by three times and more, bubbles and glints among dark fish by a fifth (by trying,
/// rendered photographs, those of pale fish brought up to grey).
const OUTWEIGHS: f64 = 2.0;
/// Luma from which on a pixel may show the lamp, whichever way fish depart.
const LAMP: f32 = 240.0;

/// One ground: fish depart to the side where the strong departures are.
fn polarity_by_departures(luma: &Plane<f32>, medians: &Plane<f32>, block: usize, level: f32) -> Polarity {
    let surface =
        Surface { blocks: neighbourhood_quantile(medians, &medians.map(|_| true), 6, 0.5, level), block };
    let mut line = vec![0.0; luma.width];
    let mut departures = Vec::with_capacity(luma.data.len() / 4);
    for y in (0..luma.height).step_by(2) {
        surface.row(y, &mut line);
        let row = luma.row(y).iter().zip(&line).step_by(2);
        // On a bright ground what shows the lamp says nothing.
        departures.extend(row.filter(|(v, _)| level <= GREY || **v < LAMP).map(|(v, bare)| v - bare));
    }
    let noise = noise_about_zero(departures.iter().copied()).unwrap_or(1.0).max(0.5);
    let sum = |sign: f32| -> f64 {
        departures.iter().map(|d| d * sign).filter(|d| *d > 8.0 * noise).map(f64::from).sum()
    };
    let most = if level > GREY { OUTWEIGHS } else { 1.0 };
    if sum(1.0) > most * sum(-1.0) { Polarity::BrightFish } else { Polarity::DarkFish }
}

/// Darker than this share of the ground at a pad's edge is the surround, or something like it.
const LIKE_SURROUND: f32 = 0.72;

/// Pixels lit as the dish is. The surround grows from unlit blocks through pixels that look like it, and is
/// widened by the blur of its edge.
pub(super) fn lit_pixels(luma: &Plane<f32>, ground: &Surface, light: &Light) -> Plane<bool> {
    let (w, h) = (luma.width, luma.height);
    let (blocks, polarity) = (&light.lit, light.polarity);
    let mut lit = Plane::filled(w, h, true);
    if blocks.data.iter().all(|lit| *lit) {
        return lit;
    }
    let b = ground.block;
    let mut front: Vec<(usize, usize)> = Vec::new();
    let mut line = vec![0.0; w];
    let mut like_surround = Plane::filled(w, h, false);
    // Half way between both grounds.
    let darker = LIKE_SURROUND.max(0.5 * (1.0 + light.surround));
    // Blocks far from lit ones: whatever grain they have is the surround's.
    let within = |bx: usize, by: usize| {
        let (bx, by) = (bx as i64, by as i64);
        (-1..=1).all(|dy| (-1..=1).all(|dx| !blocks.get_or(bx + dx, by + dy, false)))
    };
    let within = Plane {
        width: blocks.width,
        height: blocks.height,
        data: (0..blocks.data.len()).map(|i| within(i % blocks.width, i / blocks.width)).collect(),
    };
    for y in 0..h {
        ground.row(y, &mut line);
        for x in 0..w {
            let ratio = luma.at(x, y) / line[x].max(1.0);
            let like = match polarity {
                Polarity::DarkFish => ratio < darker,
                Polarity::BrightFish => ratio > 1.6,
            };
            let unlit = !blocks.at(x / b, y / b);
            like_surround.set(x, y, like);
            if unlit && like || within.at(x / b, y / b) {
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

#[cfg(test)]
mod tests {
    use super::super::ground::prepare;
    use super::*;
    use crate::photo::Pixels;

    /// A frame of the grey levels that `level` gives.
    fn painted(level: impl Fn(u32, u32) -> u8) -> Pixels {
        let (width, height) = (800, 600);
        let luma = (0..width * height).map(|i| level(i % width, i / width)).collect();
        Pixels { width, height, luma, chroma: None }
    }

    /// A frame of `level` grey levels where `bright` says, 12 elsewhere.
    fn frame(level: u8, bright: impl Fn(u32, u32) -> bool) -> Pixels {
        painted(|x, y| if bright(x, y) { level } else { 12 })
    }

    /// Slender bodies, each narrower than a block.
    fn slender(x: u32, y: u32) -> bool {
        (2..7).any(|k| (110 * k - 6..110 * k).contains(&x) && (150..260).contains(&y))
    }

    /// Pale bodies, each larger than a block, none at the wall.
    fn bodies(x: u32, y: u32) -> bool {
        (2..7).any(|k| (110 * k - 60..110 * k).contains(&x) && (150..430).contains(&y))
    }

    #[test]
    fn a_dark_floor_between_pale_walls_is_no_thing_on_a_light_pad() {
        let wall = |x: u32, y: u32| {
            let d = x.min(y).min(799 - x).min(599 - y);
            (40..70).contains(&d)
        };
        let ground = prepare(&frame(150, |x, y| wall(x, y) || bodies(x, y)));
        assert_eq!(ground.polarity, Polarity::BrightFish);
        let (x, y) = ground.to_search(190.0, 300.0);
        assert!(ground.lit.at(x as usize, y as usize), "a body is searched");
    }

    #[test]
    fn large_pale_fish_are_searched_though_the_bright_surround_is_not() {
        let surround = |x: u32, y: u32| x < 90 || y < 60 || x >= 710 || y >= 540;
        let ground = prepare(&frame(150, |x, y| surround(x, y) || bodies(x, y)));
        assert_eq!(ground.polarity, Polarity::BrightFish);
        let lit = |x: f64, y: f64| {
            let (x, y) = ground.to_search(x, y);
            ground.lit.at(x as usize, y as usize)
        };
        assert!(lit(190.0, 300.0) && !lit(20.0, 300.0));
    }

    #[test]
    fn a_light_pad_with_a_dark_thing_on_it_stays_one() {
        let pad = |x: u32, y: u32| (120..680).contains(&x) && (90..510).contains(&y);
        let clip = |x: u32, y: u32| (300..420).contains(&x) && (200..330).contains(&y);
        let ground = prepare(&frame(200, |x, y| pad(x, y) && !clip(x, y)));
        assert_eq!(ground.polarity, Polarity::DarkFish);
    }

    #[test]
    fn a_pad_on_a_bench_lit_by_the_room_is_the_ground_and_the_bench_is_not() {
        let pad = |x: u32, y: u32| (120..680).contains(&x) && (90..510).contains(&y);
        // The bench has grain.
        let bench = |x: u32, y: u32| {
            110 + ((x / 5).wrapping_mul(2_654_435_761) ^ (y / 5).wrapping_mul(40_503)) as u8 % 30
        };
        let ground = prepare(&painted(|x, y| match (pad(x, y), slender(x, y)) {
            (true, true) => 140,
            (true, false) => 210,
            (false, _) => bench(x, y),
        }));
        assert_eq!(ground.polarity, Polarity::DarkFish);
        let lit = |x: f64, y: f64| {
            let (x, y) = ground.to_search(x, y);
            ground.lit.at(x as usize, y as usize)
        };
        assert!(lit(400.0, 300.0) && lit(327.0, 200.0) && !lit(40.0, 300.0) && !lit(400.0, 560.0));
    }

    #[test]
    fn a_pale_card_on_a_tray_is_no_pad_while_fish_lie_beside_it() {
        let card = |x: u32, y: u32| (430..780).contains(&x) && (320..590).contains(&y);
        let ground = prepare(&painted(|x, y| match (card(x, y), slender(x, y)) {
            (true, _) => 220,
            (false, true) => 90,
            (false, false) => 150,
        }));
        assert_eq!(ground.polarity, Polarity::DarkFish);
        assert!(ground.lit.at(100, 200), "the tray is searched");
    }

    #[test]
    fn fish_on_a_grey_ground_depart_to_the_side_where_they_are() {
        for (fish, polarity) in [(190, Polarity::BrightFish), (90, Polarity::DarkFish)] {
            let ground = prepare(&painted(|x, y| if slender(x, y) { fish } else { 140 }));
            assert_eq!(ground.polarity, polarity);
        }
    }
}
