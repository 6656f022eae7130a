//! Bands of parallel strokes at one distance, in a reduced photograph.

use crate::imaging::Plane;
use crate::imaging::reduce::{reduce, reduce_f32};
use crate::photo::Pixels;

/// A band, in pixels of the photograph.
#[derive(Debug, Clone)]
pub(super) struct Band {
    /// Its middle.
    pub centre: [f64; 2],
    /// Unit vector along it, across the strokes.
    pub along: [f64; 2],
    /// Distance of the strokes.
    pub pitch: f64,
    /// Half of its length and of its width.
    pub half: [f64; 2],
}

/// Longest side of the reduced photograph, and how much coarser it is looked at again for strokes that are farther
/// apart: close-ups show 60 pixels and more to a millimetre.
const SIDE: usize = 2000;
const COARSER: usize = 2;
/// Half the side of a tile, and the step from tile to tile.
const TILE: usize = 40;
const STEP: usize = 40;
/// Distances of strokes looked for, in pixels of the reduced photograph.
const LAGS: std::ops::Range<usize> = 3..34;
/// How much of the brightness changes of a tile must run in one direction, 0-1.
const COHERENCE: f64 = 0.55;
/// Correlation of a tile's profile with itself one stroke on.
const LIKENESS: f64 = 0.45;

struct Tile {
    at: [usize; 2],
    angle: f64,
    pitch: f64,
}

/// Most bands that are counted.
const MOST: usize = 5;

/// Bands worth counting, longest first; at most [`MOST`].
pub(super) fn find(pixels: &Pixels) -> Vec<Band> {
    let (w, h) = (pixels.width as usize, pixels.height as usize);
    let finest = w.max(h).div_ceil(SIDE);
    let plane = reduce(&pixels.luma, w, h, finest);
    let mut bands = of(&plane, finest as f64);
    bands.extend(of(&reduce_f32(&plane, COARSER), (COARSER * finest) as f64));
    bands.sort_by(|a, b| b.half[0].total_cmp(&a.half[0]));
    bands.truncate(MOST);
    bands
}

/// Bands in a plane of which a pixel is `factor` pixels of the photograph wide.
fn of(plane: &Plane<f32>, factor: f64) -> Vec<Band> {
    if plane.width < 4 * TILE || plane.height < 2 * TILE {
        return Vec::new();
    }
    let mut tiles = Vec::new();
    for cy in (TILE + 1..plane.height - TILE).step_by(STEP) {
        for cx in (TILE + 1..plane.width - TILE).step_by(STEP) {
            if let Some((angle, pitch)) = strokes(plane, cx, cy) {
                tiles.push(Tile { at: [cx, cy], angle, pitch });
            }
        }
    }
    groups(&tiles).iter().filter_map(|g| band(g, factor)).collect()
}

/// Direction across the strokes (radians, modulo π) and their distance, when the tile holds any.
fn strokes(plane: &Plane<f32>, cx: usize, cy: usize) -> Option<(f64, f64)> {
    let (mut xx, mut yy, mut xy) = (0.0f64, 0.0f64, 0.0f64);
    for y in (cy - TILE..cy + TILE).step_by(2) {
        let (above, here, below) = (plane.row(y - 1), plane.row(y), plane.row(y + 1));
        let (mut a, mut b, mut c) = (0.0f32, 0.0f32, 0.0f32);
        for x in cx - TILE..cx + TILE {
            let (gx, gy) = (here[x + 1] - here[x - 1], below[x] - above[x]);
            a += gx * gx;
            b += gy * gy;
            c += gx * gy;
        }
        xx += f64::from(a);
        yy += f64::from(b);
        xy += f64::from(c);
    }
    let energy = xx + yy;
    let count = (2 * TILE * TILE) as f64;
    // Strokes darken a fair part of the tile: a root mean square difference of two levels at least.
    if energy < 4.0 * count || (xx - yy).hypot(2.0 * xy) < COHERENCE * energy {
        return None;
    }
    let angle = 0.5 * (2.0 * xy).atan2(xx - yy);
    let (s, c) = angle.sin_cos();
    let radius = TILE as i64;
    let mut sums = vec![0.0f32; 2 * TILE + 1];
    let mut counts = vec![0u32; 2 * TILE + 1];
    for v in -radius..radius {
        for u in -radius..radius {
            let place = u as f64 * c + v as f64 * s;
            let across = v as f64 * c - u as f64 * s;
            if place.abs() < radius as f64 && across.abs() < radius as f64 {
                let bin = (place + radius as f64).round() as usize;
                sums[bin] += plane.at((cx as i64 + u) as usize, (cy as i64 + v) as usize);
                counts[bin] += 1;
            }
        }
    }
    let profile: Vec<f64> =
        sums.iter().zip(&counts).filter(|(_, n)| **n > 8).map(|(s, n)| f64::from(s / *n as f32)).collect();
    pitch(&profile).map(|p| (angle, p))
}

/// Distance after which a profile repeats, from its autocorrelation; whole-profile trends removed.
fn pitch(profile: &[f64]) -> Option<f64> {
    let n = profile.len();
    if n < 2 * LAGS.end {
        return None;
    }
    // Second differences over a few pixels leave strokes and take away shading.
    let flat: Vec<f64> = (0..n)
        .map(|i| {
            let (a, b) = (i.saturating_sub(12), (i + 13).min(n));
            profile[i] - profile[a..b].iter().sum::<f64>() / (b - a) as f64
        })
        .collect();
    let correlation = |lag: usize| {
        let (a, b) = (&flat[..n - lag], &flat[lag..]);
        let ab: f64 = a.iter().zip(b).map(|(x, y)| x * y).sum();
        let (aa, bb): (f64, f64) = (a.iter().map(|x| x * x).sum(), b.iter().map(|x| x * x).sum());
        ab / (aa * bb).sqrt().max(1e-9)
    };
    let values: Vec<f64> = (0..=LAGS.end + 1).map(correlation).collect();
    let peak = |lag: usize| {
        values[lag] > LIKENESS && values[lag] >= values[lag - 1] && values[lag] >= values[lag + 1]
    };
    let first = LAGS.clone().find(|lag| peak(*lag))?;
    // Between strokes it must be unlike itself: a plain edge is not.
    let low = values[1..first].iter().copied().fold(1.0, f64::min);
    if low > 0.35 {
        return None;
    }
    let (a, b, c) = (values[first - 1], values[first], values[first + 1]);
    let bend = a - 2.0 * b + c;
    let shift = if bend < 0.0 { 0.5 * (a - c) / bend } else { 0.0 };
    Some(first as f64 + shift)
}

/// Tiles next to each other that agree in direction and distance, three or more.
fn groups(tiles: &[Tile]) -> Vec<Vec<&Tile>> {
    let mut taken = vec![false; tiles.len()];
    let mut groups = Vec::new();
    for first in 0..tiles.len() {
        if taken[first] {
            continue;
        }
        taken[first] = true;
        let mut group = vec![first];
        let mut next = 0;
        while next < group.len() {
            let a = &tiles[group[next]];
            for (i, b) in tiles.iter().enumerate() {
                let near = a.at[0].abs_diff(b.at[0]) <= 2 * STEP && a.at[1].abs_diff(b.at[1]) <= 2 * STEP;
                let turn = (a.angle - b.angle).sin().abs();
                if !taken[i] && near && turn < 0.12 && (0.87..1.15).contains(&(a.pitch / b.pitch)) {
                    taken[i] = true;
                    group.push(i);
                }
            }
            next += 1;
        }
        if group.len() >= 3 {
            groups.push(group.into_iter().map(|i| &tiles[i]).collect());
        }
    }
    groups
}

/// The band a group of tiles covers.
fn band(group: &[&Tile], factor: f64) -> Option<Band> {
    let (s, c) =
        group.iter().fold((0.0, 0.0), |(s, c), t| (s + (2.0 * t.angle).sin(), c + (2.0 * t.angle).cos()));
    let angle = 0.5 * s.atan2(c);
    let along = [angle.cos(), angle.sin()];
    let mut pitches: Vec<f64> = group.iter().map(|t| t.pitch).collect();
    pitches.sort_by(f64::total_cmp);
    let pitch = pitches[pitches.len() / 2];
    let places = group.iter().map(|t| {
        let [x, y] = t.at.map(|v| v as f64);
        [x * along[0] + y * along[1], y * along[0] - x * along[1]]
    });
    let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
    for p in places {
        for i in 0..2 {
            low[i] = low[i].min(p[i]);
            high[i] = high[i].max(p[i]);
        }
    }
    let half = [0, 1].map(|i| 0.5 * (high[i] - low[i]) + TILE as f64);
    // A graduation is longer than wide.
    if half[0] < 6.0 * pitch {
        return None;
    }
    let middle = [0, 1].map(|i| 0.5 * (high[i] + low[i]));
    let centre = [middle[0] * along[0] - middle[1] * along[1], middle[0] * along[1] + middle[1] * along[0]];
    let up = |v: f64| v * factor + (factor - 1.0) / 2.0;
    Some(Band { centre: centre.map(up), along, pitch: pitch * factor, half: half.map(|v| v * factor) })
}
