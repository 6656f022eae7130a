//! How a photograph is lit: whether fish are darker or brighter than what is behind them, and which part of the
//! frame is lit as the dish is.

use super::background::{Surface, neighbourhood_quantile};
use super::ground::Polarity;
use super::surround::two_grounds;
use crate::imaging::{
    Plane,
    plane::{noise_about_zero, quantile},
};

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
    two_grounds(luma, medians, block).unwrap_or_else(|| {
        let level = quantile(&mut medians.data.clone(), 0.5).unwrap_or(0.0);
        let polarity = polarity_by_departures(luma, medians, block, level);
        Light { polarity, lit: medians.map(|_| true), surround: 0.0 }
    })
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
    let within = blocks.map(|lit| !lit).inner(1);
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
    use super::super::ground::{Ground, prepare};
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

    /// Numbers that look drawn by chance.
    fn grain(x: u32, y: u32) -> u8 {
        (x.wrapping_mul(2_654_435_761) ^ y.wrapping_mul(40_503)) as u8
    }

    /// Whether a photograph pixel is lit as the dish is.
    fn lit_at(ground: &Ground, x: f64, y: f64) -> bool {
        let (x, y) = ground.to_search(x, y);
        ground.lit.at(x as usize, y as usize)
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
        assert!(lit_at(&ground, 190.0, 300.0), "a body is searched");
    }

    #[test]
    fn large_pale_fish_are_searched_though_the_bright_surround_is_not() {
        let surround = |x: u32, y: u32| x < 90 || y < 60 || x >= 710 || y >= 540;
        let ground = prepare(&frame(150, |x, y| surround(x, y) || bodies(x, y)));
        assert_eq!(ground.polarity, Polarity::BrightFish);
        let lit = |x, y| lit_at(&ground, x, y);
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
        let bench = |x: u32, y: u32| 110 + grain(x / 5, y / 5) % 30;
        let ground = prepare(&painted(|x, y| match (pad(x, y), slender(x, y)) {
            (true, true) => 140,
            (true, false) => 210,
            (false, _) => bench(x, y),
        }));
        assert_eq!(ground.polarity, Polarity::DarkFish);
        let lit = |x, y| lit_at(&ground, x, y);
        assert!(lit(400.0, 300.0) && lit(327.0, 200.0) && !lit(40.0, 300.0) && !lit(400.0, 560.0));
    }

    /// Patches of the bench lie on either side of the share of the pad's light that alone makes a surround.
    #[test]
    fn a_patchy_bench_round_a_small_pad_is_left_out_whole() {
        let pad = |x: u32, y: u32| (400..760).contains(&x) && (290..570).contains(&y);
        let fish = |x: u32, y: u32| (450..456).contains(&x) && (350..500).contains(&y);
        let patch = |x: u32, y: u32| if (x / 110 + y / 90).is_multiple_of(2) { 74 } else { 112 };
        let ground = prepare(&painted(|x, y| match (pad(x, y), fish(x, y)) {
            (true, true) => 140,
            (true, false) => 205,
            (false, _) => patch(x, y) + grain(x, y) % 8,
        }));
        assert_eq!(ground.polarity, Polarity::DarkFish);
        let lit = |x, y| lit_at(&ground, x, y);
        assert!(lit(453.0, 400.0) && lit(600.0, 420.0) && !lit(60.0, 60.0) && !lit(200.0, 500.0));
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
        // Pale fish have dark eyes, and the lamp shows beside dark ones.
        let lamp = |x: u32, y: u32| (600..670).contains(&x) && (400..470).contains(&y);
        for (fish, polarity) in [(190, Polarity::BrightFish), (90, Polarity::DarkFish)] {
            let ground = prepare(&painted(|x, y| match (slender(x, y), lamp(x, y)) {
                (true, _) => {
                    if y < 160 {
                        50
                    } else {
                        fish
                    }
                }
                (false, true) if fish < 140 => 250,
                (false, _) => 140,
            }));
            assert_eq!(ground.polarity, polarity);
        }
    }
}
