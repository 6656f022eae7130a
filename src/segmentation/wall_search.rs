//! The search for vessel walls: circles and straight edges drawn through points of long thin and wide regions of ink, those
//! with the most support first.

use super::candidates::Candidate;
use super::edges::edges;
use super::ground::{Ground, Polarity};
use super::walls::{LEAST_ARC, SECTORS, Wall, bends_away, beside, longest_run};
use crate::imaging::{Plane, components::Region, distance, ellipse, ellipse::Ellipse, plane::quantile};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// A region nowhere thicker than this share of its extent (radius of the largest disc in it) can be part of a wall.
const THIN: f64 = 0.05;
/// Least extent of a part of a wall, as a share of the frame's shorter side; and the extent from which on a region is looked at
/// on a bright ground however thick it is: in a clean photograph the shade within a well stands out and fills the ring, whose
/// crests still show (by trying, rendered plates). On a dark ground what fills a ring is a thing: so are coins, with rims.
const LEAST_EXTENT: f64 = 0.08;
const WIDE: f64 = 0.2;
/// Trials for one wall.
const TRIALS: usize = 1200;
/// Most walls looked for: a 24-well plate whose wells show three edges each, and what lies round it.
const MOST: usize = 100;
/// Searches in vain, one after another, after which no more walls are looked for; and those from so many walls on, where the
/// rings of a plate are many and each is a small part of all there is (by trying, rendered plates).
const MISSES: usize = 3;
const PLATE: usize = 8;
const MISSES_IN_PLATE: usize = 10;
/// How many sectors of a circle must hold wall.
const LEAST_SECTORS: usize = 22;
/// The same for a large circle most of which lies outside the frame, its radius as a share of the frame's shorter side
/// and the share of the sectors within the frame: a bent fish lies on a circle that is in the frame.
const FEW_SECTORS: usize = 13;
const LARGE: f64 = 0.3;
const MOST_SHARE: f64 = 0.7;
/// The same for an arc of such a circle from one edge of the frame to another, the share of it that one region must cover, and
/// its least length, as a share of the frame's shorter side (by trying, rendered dishes).
const LEAST_SHOWN: usize = 3;
const SHOWN: f64 = 0.85;
const LONG_ARC: f64 = 0.25;
/// Places looked at along such an arc lie so far apart, search pixels.
const APART: f64 = 4.0;
/// Share of the sectors within the frame that must hold wall.
const LEAST_SHARE: f64 = 0.5;
/// The same for a circle as small as a well that lies within the frame: wells are whole rings, and a fibre may curl as
/// far. The radius up to which it is one, as a share of the frame's shorter side: of 24 wells that fill a frame it is a tenth
/// (common practice, no source).
const LEAST_SHARE_OF_WELL: f64 = 0.75;
const WELL: f64 = 0.15;
/// Places looked at in each sector, and how many must hold wall for the sector to count.
const LOOKS: usize = 4;
const LEAST_LOOKS: usize = 2;
/// Points to a pixel of an unbroken straight edge, and how far beside it, in its lengths, a region goes on that has
/// several: far less in a fish, whatever lies straight in it.
const UNBROKEN: f64 = 0.6;
const FAR: f64 = 0.3;
/// Points of one region looked at for one straight edge.
const STRAIGHT_POINTS: usize = 2500;

/// Round and straight walls among the long thin and the wide regions, in the order found. The search draws points from a fixed seed: same picture, same walls.
pub fn walls(candidates: &[Candidate], ground: &Ground) -> Vec<Wall> {
    let (width, height) = (ground.ink.width, ground.ink.height);
    let short = width.min(height) as f64;
    let mut pool: Vec<Vec<[f64; 2]>> = Vec::new();
    let mut map = Map::new(width, height);
    let mut thin: Vec<&Region> = Vec::new();
    for c in candidates {
        let r = &c.region;
        let extent = f64::from(r.width()).hypot(f64::from(r.height()));
        let wide = ground.polarity == Polarity::DarkFish && extent >= WIDE * short;
        if extent < LEAST_EXTENT * short || !wide && thickest(r) > THIN * extent {
            continue;
        }
        thin.push(r);
        // Only the crests: between the edges of one wall, and in the haze beside it, lies ink that is no edge.
        let crest: Vec<(u32, u32)> = r.pixels.iter().copied().filter(|p| is_crest(ground, *p)).collect();
        map.enter(&crest, pool.len() as u16 + 1);
        pool.push(crest.into_iter().map(|(x, y)| [f64::from(x), f64::from(y)]).collect());
    }
    map.widen();
    let mut rng = ChaCha8Rng::seed_from_u64(0x7761_6c6c);
    let mut found = Vec::new();
    let mut misses = 0;
    while found.len() < MOST && misses < if found.len() < PLATE { MISSES } else { MISSES_IN_PLATE } {
        pool.iter_mut().filter(|p| p.len() < 20).for_each(Vec::clear);
        let Some(wall) = next_wall(&pool, &map, short, &mut rng) else {
            misses += 1;
            continue;
        };
        for points in &mut pool {
            points.retain(|p| !wall.holds(p[0], p[1], 2.0));
        }
        map.remove(&wall);
        found.push(wall);
        misses = 0;
    }
    for region in thin {
        let through: Vec<&Wall> = found.iter().filter(|w| w.runs_through(region)).collect();
        if through.iter().any(|w| matches!(w, Wall::Round { .. })) {
            continue;
        }
        let wide: Vec<Wall> = through.into_iter().map(|w| w.widened(&region.pixels)).collect();
        let ink = |(x, y): (u32, u32)| ground.ink.at(x as usize, y as usize);
        found.extend(edges(region, &wide, ink, short));
    }
    found
}

/// Whether ink is greatest here across some direction: on both sides, three or six pixels off, it is less by more
/// than a quarter and than the noise explains.
fn is_crest(ground: &Ground, (x, y): (u32, u32)) -> bool {
    let ink = &ground.ink;
    let here = ink.at(x as usize, y as usize);
    let limit = (0.75 * here).min(here - 4.0 * ground.noise.at(f64::from(x), f64::from(y)));
    [(1i64, 0i64), (0, 1), (1, 1), (1, -1)].into_iter().any(|(dx, dy)| {
        let side = |k: i64| ink.get_or(i64::from(x) + k * dx, i64::from(y) + k * dy, 0.0);
        let falls = |k: i64| side(-k) < limit && side(k) < limit;
        side(-1) <= here && side(1) <= here && (falls(3) || falls(6))
    })
}

/// Which long thin region, from 1, lies at or next to each place; 0 for none. Every second search pixel each
/// way: circles are scored by looking places up, however many pixels the regions have.
struct Map {
    regions: Plane<u16>,
    /// Sine and cosine of the places looked at round a circle.
    turns: Vec<(f64, f64)>,
}

impl Map {
    fn new(width: usize, height: usize) -> Self {
        let turn = |i: usize| (i as f64 / (SECTORS * LOOKS) as f64 * std::f64::consts::TAU).sin_cos();
        Self {
            regions: Plane::filled(width.div_ceil(2), height.div_ceil(2), 0),
            turns: (0..SECTORS * LOOKS).map(turn).collect(),
        }
    }

    fn enter(&mut self, pixels: &[(u32, u32)], region: u16) {
        for &(x, y) in pixels {
            self.regions.set(x as usize / 2, y as usize / 2, region);
        }
    }

    /// Widens every region by one place, so that a circle drawn through three pixels may miss the middle.
    fn widen(&mut self) {
        let before = self.regions.clone();
        for y in 0..before.height {
            for x in 0..before.width {
                if before.at(x, y) == 0 {
                    let near = [(-1, 0), (1, 0), (0, -1), (0, 1)]
                        .map(|(dx, dy)| before.get_or(x as i64 + dx, y as i64 + dy, 0));
                    self.regions.set(x, y, near.into_iter().max().unwrap_or(0));
                }
            }
        }
    }

    fn remove(&mut self, wall: &Wall) {
        let (rows, columns) = match wall {
            Wall::Round { shape, outer, .. } => {
                let reach = shape.a + outer.abs() + 4.0;
                let span = |at: f64, most: usize| {
                    ((0.5 * (at - reach)).max(0.0) as usize).min(most)
                        ..((0.5 * (at + reach)).max(0.0) as usize + 2).min(most)
                };
                (span(shape.y, self.regions.height), span(shape.x, self.regions.width))
            }
            Wall::Straight { .. } => (0..self.regions.height, 0..self.regions.width),
        };
        for y in rows {
            for x in columns.clone() {
                if self.regions.at(x, y) > 0 && wall.holds(2.0 * x as f64 + 0.5, 2.0 * y as f64 + 0.5, 3.0) {
                    self.regions.set(x, y, 0);
                }
            }
        }
    }

    fn holds(&self, x: f64, y: f64) -> bool {
        (0.0..2.0 * self.regions.width as f64).contains(&x)
            && (0.0..2.0 * self.regions.height as f64).contains(&y)
    }

    fn at(&self, x: f64, y: f64) -> u16 {
        self.regions.get_or((0.5 * x).floor() as i64, (0.5 * y).floor() as i64, 0)
    }
}

/// Radius of the largest disc in a region.
fn thickest(region: &Region) -> f64 {
    let mut mask = Plane::filled(region.width() as usize, region.height() as usize, false);
    for &(x, y) in &region.pixels {
        mask.set((x - region.x0) as usize, (y - region.y0) as usize, true);
    }
    distance::euclidean(&mask).data.iter().copied().fold(0.0, f32::max).into()
}

fn next_wall(pool: &[Vec<[f64; 2]>], map: &Map, short: f64, rng: &mut ChaCha8Rng) -> Option<Wall> {
    let total: usize = pool.iter().map(Vec::len).sum();
    if total == 0 {
        return None;
    }
    let mut best: Option<(f64, Wall)> = None;
    for trial in 0..TRIALS {
        let mut pick = rng.random_range(0..total);
        let region = pool.iter().find(|p| {
            let here = pick < p.len();
            if !here {
                pick -= p.len();
            }
            here
        })?;
        let first = region[pick];
        let candidate = if trial % 24 == 23 {
            straight(region, first, region[rng.random_range(0..region.len())], short)
        } else {
            // The wells of a plate are one region: only points that lie near each other are often of one wall.
            let reach = short * 0.05 * 40f64.powf(rng.random_range(0.0..1.0));
            let mut near = || {
                (0..24)
                    .map(|_| region[rng.random_range(0..region.len())])
                    .find(|p| (p[0] - first[0]).powi(2) + (p[1] - first[1]).powi(2) < reach * reach)
            };
            near()
                .zip(near())
                .and_then(|(b, c)| ellipse::circle_through([first, b, c]))
                .filter(|c| c.a >= 0.05 * short && c.a <= 2.5 * short)
                .and_then(|c| round(map, c, short))
        };
        if let Some((score, wall)) = candidate
            && best.is_none_or(|(s, _)| score > s)
        {
            best = Some((score, wall));
        }
    }
    best.map(|(_, wall)| refine(pool, wall))
}

/// The circle with its support, when it has enough of it.
fn round(map: &Map, c: Ellipse, short: f64) -> Option<(f64, Wall)> {
    let looks: Vec<u16> =
        map.turns.iter().map(|(sin, cos)| map.at(c.x + c.a * cos, c.y + c.a * sin)).collect();
    let large = c.a >= LARGE * short;
    let least_seen = if large { LEAST_SHOWN } else { FEW_SECTORS };
    if looks.iter().filter(|r| **r > 0).count() < least_seen * LEAST_LOOKS {
        return None;
    }
    // The region that runs through each sector, 0 for none.
    let through: Vec<u16> = looks
        .chunks(LOOKS)
        .map(|l| *l.iter().max_by_key(|r| (**r > 0, l.iter().filter(|o| o == r).count())).unwrap_or(&0))
        .zip(looks.chunks(LOOKS))
        .map(|(r, l)| if l.iter().filter(|o| **o == r).count() >= LEAST_LOOKS { r } else { 0 })
        .collect();
    let shown: Vec<bool> = map
        .turns
        .iter()
        .step_by(LOOKS)
        .map(|(sin, cos)| map.holds(c.x + c.a * cos, c.y + c.a * sin))
        .collect();
    let inside = shown.iter().filter(|shown| **shown).count();
    let mut regions: Vec<u16> = through.iter().copied().filter(|r| *r > 0).collect();
    regions.sort_unstable();
    regions.dedup();
    let (mut covered, mut whole_arc) = (0, None);
    for region in regions {
        // Many fish can lie along some circle by chance, each on a short piece of it: only long arcs are wall.
        let covers = std::array::from_fn(|s| through[s] == region);
        if longest_run(&covers) >= LEAST_ARC {
            covered += covers.iter().filter(|c| **c).count();
        } else if large {
            whole_arc = whole_arc.max(from_edge_to_edge(map, &c, &shown, region));
        }
    }
    let tolerance = (0.012 * c.a).clamp(2.5, 6.0);
    let share = covered as f64 / inside.max(1) as f64;
    let part_of_large = covered >= FEW_SECTORS && large && share >= MOST_SHARE;
    let well = inside == SECTORS && c.a < WELL * short;
    let least_share = if well { LEAST_SHARE_OF_WELL } else { LEAST_SHARE };
    let wall = |least| Wall::Round { shape: c, inner: -tolerance, outer: tolerance, least };
    if part_of_large || covered >= LEAST_SECTORS && share >= least_share {
        // A circle through pieces of several walls has less of each than each wall has of itself.
        return Some((share.powi(2) * covered as f64, wall(LEAST_ARC)));
    }
    let arc = whole_arc
        .filter(|arc| *arc as f64 * c.a * std::f64::consts::TAU / SECTORS as f64 >= LONG_ARC * short)?;
    Some((SHOWN * SHOWN * arc as f64, wall((SHOWN * arc as f64) as usize)))
}

/// Sectors of the longest arc that the frame shows of a circle, when one region lies along nearly all of it: such an arc
/// leaves the frame at both its ends, and what lies in the frame does not.
fn from_edge_to_edge(map: &Map, c: &Ellipse, shown: &[bool], region: u16) -> Option<usize> {
    let start = shown.iter().position(|shown| !*shown)?;
    let around: Vec<usize> = (start..start + SECTORS).collect();
    let longest = around.split(|s| !shown[*s % SECTORS]).max_by_key(|arc| arc.len())?;
    let sector = std::f64::consts::TAU / SECTORS as f64;
    let (first, length) = (*longest.first()? as f64 * sector, longest.len() as f64 * sector);
    let places = (length * c.a / APART) as usize;
    let on = (0..places).filter(|k| {
        let (sin, cos) = (first + length * *k as f64 / places as f64).sin_cos();
        map.at(c.x + c.a * cos, c.y + c.a * sin) == region
    });
    let on = on.count();
    (longest.len() >= LEAST_SHOWN && on as f64 >= SHOWN * places as f64).then_some(longest.len())
}

/// The straight edge with its support: most of its region must lie along it, or along several like it.
fn straight(region: &[[f64; 2]], a: [f64; 2], b: [f64; 2], short: f64) -> Option<(f64, Wall)> {
    let length = (b[0] - a[0]).hypot(b[1] - a[1]);
    if length < 0.04 * short {
        return None;
    }
    let stride = region.len().div_ceil(STRAIGHT_POINTS);
    let looked_at = region.len().div_ceil(stride);
    let places: Vec<(f64, f64)> = region.iter().step_by(stride).map(|p| beside(a, b, *p)).collect();
    let mut along: Vec<f64> = places.iter().filter(|(d, _)| *d <= 2.5).map(|(_, t)| *t).collect();
    along.sort_by(f64::total_cmp);
    // The longest run without a gap of more than two per cent of the frame.
    let gap = 0.02 * short / length;
    let (mut best, mut start) = ((0.0, 0.0, 0usize), 0);
    for i in 0..along.len() {
        if i + 1 == along.len() || along[i + 1] - along[i] > gap {
            if along[i] - along[start] > best.1 - best.0 {
                best = (along[start], along[i], i + 1 - start);
            }
            start = i + 1;
        }
    }
    let (t0, t1, count) = best;
    let span = (t1 - t0) * length;
    let share = count as f64 / looked_at as f64;
    // The edges of a tray are one region: each has a small share of it, unbroken, and the others lie far beside it.
    let one_of_several = || {
        let farthest = places.iter().map(|(d, _)| *d).fold(0.0, f64::max);
        share >= 0.1 && (count * stride) as f64 >= UNBROKEN * span && farthest >= FAR * span
    };
    if span < 0.4 * short
        || !(share >= 0.5 || one_of_several())
        || bends_away(places.iter().copied(), t0, t1, length)
    {
        return None;
    }
    let at = |t: f64| [a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])];
    Some((count as f64, Wall::Straight { from: at(t0), to: at(t1), half: 3.0 }))
}

/// Fits the ellipse to the points near a circle, twice, and takes the band from where they lie.
fn refine(pool: &[Vec<[f64; 2]>], wall: Wall) -> Wall {
    let Wall::Round { mut shape, least, .. } = wall else { return wall };
    for share in [0.03, 0.02] {
        let tolerance = (share * shape.radius()).max(3.0);
        let near: Vec<[f64; 2]> = pool
            .iter()
            .flatten()
            .filter(|p| shape.distance(p[0], p[1]).abs() <= tolerance)
            .copied()
            .collect();
        if let Some(fitted) = ellipse::fit(&near)
            && fitted.b > 0.8 * fitted.a
            && (fitted.radius() / shape.radius() - 1.0).abs() < 0.1
        {
            shape = fitted;
        }
    }
    let tolerance = (0.02 * shape.radius()).max(4.0);
    let mut distances: Vec<f32> = pool
        .iter()
        .flatten()
        .map(|p| shape.distance(p[0], p[1]) as f32)
        .filter(|d| f64::from(d.abs()) <= tolerance)
        .collect();
    let inner = quantile(&mut distances, 0.03).map_or(-tolerance, f64::from);
    let outer = quantile(&mut distances, 0.97).map_or(tolerance, f64::from);
    Wall::Round { shape, inner: inner - 1.5, outer: outer + 1.5, least }
}
