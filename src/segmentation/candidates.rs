//! Regions of ink worth a look at full resolution.

use super::Refused;
use super::beneath;
use super::ground::{Ground, Polarity};
use super::haze;
use super::shadow;
use super::wall_search::walls;
use super::walls::{Wall, in_line, vessels};
use crate::imaging::ellipse::Ellipse;
use crate::imaging::{Plane, components, components::Region};
use crate::records::refusal;

/// Ink this many standard deviations above bare background belongs to a region …
const LOW: f32 = 3.0;
/// … that somewhere reaches this many.
const HIGH: f32 = 7.0;
/// Ink below this share of the background is never part of a region: uneven light and compression reach it.
const LEAST_LOW: f32 = 0.006;
/// Least ink somewhere in a region.
const LEAST_HIGH: f32 = 0.02;
/// The same two on a dark ground, where ink is a share of what bright tissue scatters: walls and bubbles are
/// surrounded by haze that reaches some hundredths of it, and fins scatter a tenth or more.
const LEAST_SCATTERED: [f32; 2] = [0.04, 0.1];
/// What [`standing`] says of a pixel whose ink belongs to a region, and of one whose ink makes a region.
const BELONGS: u8 = 1;
const STANDS_OUT: u8 = 2;
/// Least number of search pixels.
const LEAST_PIXELS: usize = 24;
/// Least longer axis in search pixels.
const LEAST_AXIS: f64 = 12.0;

/// A region of ink, in search pixels.
#[derive(Debug, Clone)]
pub struct Candidate {
    /// Its pixels.
    pub region: Region,
    /// Longer principal axis, search pixels.
    pub major: f64,
    /// Shorter principal axis, search pixels.
    pub minor: f64,
    /// Its label in [`Labels`].
    pub label: u32,
    /// Whether it is what a wall that was cut away left of a region, or lies all beside one.
    pub beside_wall: bool,
    /// Whether it lies all beside straight walls.
    pub beside_edge: bool,
    /// Whether it was parted from an arc, whose haze is not known.
    pub off_arc: bool,
}

/// Which candidate each search pixel belongs to: 0 for none, [`WALL`] for a wall.
pub type Labels = Plane<u32>;

/// The label of pixels that belong to a vessel's wall.
pub const WALL: u32 = u32::MAX;

/// What the search found.
#[derive(Debug)]
pub struct Found {
    /// Regions to measure.
    pub candidates: Vec<Candidate>,
    /// Which candidate each search pixel belongs to.
    pub labels: Labels,
    /// Inner outlines of the vessels, photograph pixels, top to bottom then left to right.
    pub vessels: Vec<Ellipse>,
    /// Regions that are walls or lie outside every vessel.
    pub refused: Vec<Refused>,
}

impl Found {
    /// The vessel, from 1, that holds photograph pixel `x`, `y`; the smallest if several do.
    pub fn vessel_at(&self, x: f64, y: f64) -> Option<u32> {
        self.vessels
            .iter()
            .enumerate()
            .filter(|(_, v)| v.level(x, y) <= 1.03)
            .min_by(|(_, a), (_, b)| a.radius().total_cmp(&b.radius()))
            .map(|(i, _)| i as u32 + 1)
    }
}

/// Regions of ink in the order of their first pixel row by row, walls taken out of them and the walls' haze out of
/// the ground, which is laid anew beneath the faint parts of fish.
pub fn find(ground: &mut Ground) -> Found {
    let mut first = regions(ground);
    let walls = walls(&first, ground);
    let insides = vessels(&walls);
    let edges: Vec<[[f64; 2]; 2]> = walls.iter().filter_map(|w| whole_edge(w, &first)).collect();
    if !insides.is_empty() || !edges.is_empty() {
        // Fish beside a wall stand out once its haze is gone.
        haze::take_out(ground, &insides, &edges);
        first = regions(ground);
    }
    let (w, h) = (ground.ink.width, ground.ink.height);
    let mut labels = Plane::filled(w, h, 0u32);
    let mut candidates: Vec<Candidate> = Vec::new();
    let mut refused = Vec::new();
    for c in first {
        let on = |walls: &[Wall]| -> Vec<bool> {
            let held = |&(x, y): &(u32, u32)| walls.iter().any(|w| w.holds(f64::from(x), f64::from(y), 0.0));
            c.region.pixels.iter().map(held).collect()
        };
        let through = walls.iter().filter(|w| w.runs_through(&c.region));
        let own: Vec<Wall> = through.map(|w| w.widened(&c.region.pixels)).collect();
        let off_arc = own.iter().any(Wall::is_arc);
        let mut on_wall = on(&own);
        if own.is_empty() {
            // A short piece of a wall lies in its band nearly whole.
            let held = on(&walls);
            if held.iter().filter(|v| **v).count() * 10 >= held.len() * 9 {
                on_wall = held;
            }
        }
        let walled = on_wall.iter().filter(|v| **v).count();
        if walled == 0 {
            let beside_wall = all_beside(&c.region, &walls, |_| true);
            candidates.push(Candidate { beside_wall, ..c });
            continue;
        }
        for (&(x, y), on) in c.region.pixels.iter().zip(&on_wall) {
            if *on {
                labels.set(x as usize, y as usize, WALL);
            }
        }
        if walled * 10 >= c.region.pixels.len() * 7 && c.region.pixels.len() - walled < 4 * LEAST_PIXELS {
            refused.push(Refused { outline: box_of(ground, &c.region), reason: refusal::WALL });
            continue;
        }
        let mut rest = Plane::filled(c.region.width() as usize, c.region.height() as usize, false);
        for (&(x, y), on) in c.region.pixels.iter().zip(&on_wall) {
            if !*on {
                rest.set((x - c.region.x0) as usize, (y - c.region.y0) as usize, true);
            }
        }
        for part in components::regions(&rest, LEAST_PIXELS) {
            let pixels = part.pixels.into_iter().map(|(x, y)| (x + c.region.x0, y + c.region.y0)).collect();
            candidates.extend(candidate(pixels).map(|c| Candidate { beside_wall: true, off_arc, ..c }));
        }
    }
    let vessels: Vec<Ellipse> = insides
        .into_iter()
        .map(|e| {
            let [x, y] = ground.to_photo(e.x, e.y);
            let f = ground.factor as f64;
            Ellipse { x, y, a: e.a * f, b: e.b * f, angle: e.angle }
        })
        .collect();
    let mut found = Found { candidates: Vec::new(), labels, vessels, refused };
    let area: f64 = found.vessels.iter().map(|v| v.a * v.b * std::f64::consts::PI).sum();
    let frame = (w * h * ground.factor * ground.factor) as f64;
    for mut c in candidates {
        let (x, y) = (f64::from(c.region.x0 + c.region.x1) / 2.0, f64::from(c.region.y0 + c.region.y1) / 2.0);
        let [x, y] = ground.to_photo(x, y);
        if area > 0.2 * frame && found.vessel_at(x, y).is_none() {
            let reason = if c.beside_wall { refusal::WALL } else { refusal::OUTSIDE };
            found.refused.push(Refused { outline: box_of(ground, &c.region), reason });
            continue;
        }
        c.label = found.candidates.len() as u32 + 1;
        c.beside_edge = all_beside(&c.region, &walls, |w| matches!(w, Wall::Straight { .. }));
        for &(x, y) in &c.region.pixels {
            found.labels.set(x as usize, y as usize, c.label);
        }
        found.candidates.push(c);
    }
    beneath::lay(ground, &found.candidates);
    shadow::take_out(ground, &found.candidates, &mut found.labels);
    found
}

/// Whether a region lies all where the haze of the walls that `count` may reach.
fn all_beside(region: &Region, walls: &[Wall], count: impl Fn(&Wall) -> bool) -> bool {
    let beside = |x: f64, y: f64| walls.iter().any(|w| count(w) && w.may_haze(x, y));
    region.pixels.iter().all(|&(x, y)| beside(f64::from(x), f64::from(y)))
}

/// The ends of a straight wall with all that goes on in line with it; `None` of a round one.
fn whole_edge(wall: &Wall, regions: &[Candidate]) -> Option<[[f64; 2]; 2]> {
    let Wall::Straight { from, to, half } = *wall else { return None };
    let through = regions.iter().filter(|c| wall.runs_through(&c.region));
    let length = |[from, to]: &[[f64; 2]; 2]| (to[0] - from[0]).hypot(to[1] - from[1]);
    through.map(|c| in_line(&c.region.pixels, from, to, half)).max_by(|a, b| length(a).total_cmp(&length(b)))
}

/// Regions of ink that stand out, gaps of a pixel or two bridged.
fn regions(ground: &Ground) -> Vec<Candidate> {
    let standing = standing(ground);
    components::hysteresis(&dilate(&standing), BELONGS, STANDS_OUT, LEAST_PIXELS)
        .into_iter()
        .filter_map(|region| {
            let inked = |&(x, y): &(u32, u32)| standing.at(x as usize, y as usize) >= BELONGS;
            candidate(region.pixels.into_iter().filter(|p| inked(p)).collect())
        })
        .collect()
}

/// A region with its axes, unless it is too small to be argued about.
fn candidate(pixels: Vec<(u32, u32)>) -> Option<Candidate> {
    let region = components::bounded(pixels).filter(|r| r.pixels.len() >= LEAST_PIXELS)?;
    let (major, minor) = region.axes();
    (major >= LEAST_AXIS).then_some(Candidate {
        region,
        major,
        minor,
        label: 0,
        beside_wall: false,
        beside_edge: false,
        off_arc: false,
    })
}

/// The bounding box of a region, photograph pixels.
pub fn box_of(ground: &Ground, r: &Region) -> Vec<[f64; 2]> {
    let (x0, y0, x1, y1) = (f64::from(r.x0), f64::from(r.y0), f64::from(r.x1), f64::from(r.y1));
    [[x0, y0], [x1, y0], [x1, y1], [x0, y1]].map(|[x, y]| ground.to_photo(x, y)).to_vec()
}

/// Whether the ink of each pixel reaches [`LOW`] or [`HIGH`] deviations of its noise: [`BELONGS`] and [`STANDS_OUT`], 0 for
/// neither. Ink too faint in itself reaches neither.
fn standing(ground: &Ground) -> Plane<u8> {
    let (w, h) = (ground.ink.width, ground.ink.height);
    let mut standing = Plane::filled(w, h, 0u8);
    let [least_low, least_high] = match ground.polarity {
        Polarity::DarkFish => [LEAST_LOW, LEAST_HIGH],
        Polarity::BrightFish => LEAST_SCATTERED,
    };
    let mut noise = vec![0.0; w];
    let mut soft_noise = vec![0.0; ground.soft.width];
    for y in 0..h {
        ground.noise.row(y, &mut noise);
        ground.soft_noise.row(y / 2, &mut soft_noise);
        let soft = ground.soft.row((y / 2).min(ground.soft.height - 1)).iter().zip(&soft_noise);
        let fine = ground.ink.row(y).chunks(2).zip(noise.chunks(2));
        let out = standing.data[y * w..(y + 1) * w].chunks_mut(2);
        for ((out, (ink, noise)), (soft, soft_noise)) in out.zip(fine).zip(soft) {
            let soft_strength = soft / soft_noise;
            for ((out, ink), noise) in out.iter_mut().zip(ink).zip(noise) {
                let (ink, strength) = (ink.max(*soft), (ink / noise).max(soft_strength));
                let belongs = ink >= least_low && strength >= LOW;
                let stands_out = ink >= least_high && strength >= HIGH;
                *out = u8::from(belongs) + u8::from(stands_out);
            }
        }
    }
    standing
}

/// Greatest of each pixel and its eight neighbours, so that gaps of one or two pixels do not part a body.
fn dilate(plane: &Plane<u8>) -> Plane<u8> {
    let (w, h) = (plane.width, plane.height);
    let mut across = plane.clone();
    for y in 0..h {
        let row = plane.row(y);
        let out = &mut across.data[y * w..(y + 1) * w];
        for (o, near) in out.iter_mut().skip(1).zip(row.windows(3)) {
            *o = near[0].max(near[1]).max(near[2]);
        }
    }
    let mut out = across.clone();
    for y in 1..h.saturating_sub(1) {
        let near = across.row(y - 1).iter().zip(across.row(y)).zip(across.row(y + 1));
        for (o, ((a, b), c)) in out.data[y * w..(y + 1) * w].iter_mut().zip(near) {
            *o = *a.max(b).max(c);
        }
    }
    out
}
