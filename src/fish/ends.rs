//! Where the body ends: the snout tip and the end of the tail fin, found along the straightened body.
//!
//! The tail fin can be five times fainter than the trunk, so no single threshold finds its end. The signal
//! along the body is taken as a staircase of ever fainter plateaus; each step is placed where it is half
//! done (unbiased under symmetric blur), and a further plateau is accepted while its mean stands out from
//! the noise of equally long stretches beside the body.

use super::crop::Crop;
use super::ribbon::{BEYOND, COLUMNS, Ribbon, SIDE};
use crate::imaging::plane::{noise_about_zero, quantile};

/// One end of a body.
#[derive(Debug, Clone, Copy)]
pub struct End {
    /// Arc length from the line's start, crop pixels.
    pub arc: f64,
    /// Standard error of `arc` from the picture, crop pixels.
    pub se: f64,
    /// Ink of the last plateau in standard deviations of the signal.
    pub strength: f32,
    /// Ink below which no further plateau would have been seen.
    pub unseen: f32,
}

/// The signal along a ribbon: ink of a narrow band that follows the brightest way near the line.
struct Signal {
    values: Vec<f32>,
    /// Standard deviation of a value on bare ground.
    noise: f32,
    /// That of the mean of a plateau's columns: grain that is coarser than a pixel does not average out as noise does, as
    /// stretches beside the body show.
    grain: f32,
}

/// Columns by whose mean a plateau is judged.
fn plateau(ribbon: &Ribbon) -> usize {
    (COLUMNS / 40).max((2.0 / ribbon.step).ceil() as usize)
}

/// Strength from which on a plateau is one, in standard deviations of its mean.
const PLATEAU: f32 = 2.5;

/// Rows averaged to each side.
const BAND: usize = 2;
/// How far the band may leave the line, in rows.
const WANDER: usize = 5;

/// Difference of the ground on either side of the body, in trunk inks, up to which it is a slope.
const SLOPE: f32 = 0.15;

fn signal(crop: &Crop, ribbon: &Ribbon) -> Signal {
    // Beside the body, far enough out to be clear of it. Sides are read as wholes: the lower of two noisy readings in
    // every column would lie below bare ground.
    let away = BAND + WANDER + 1;
    let side = |row: usize| band(ribbon, row).into_iter().filter(|v| v.is_finite()).collect::<Vec<f32>>();
    let mut sides: Vec<(f32, Vec<f32>)> = [side(away), side(2 * SIDE - away)]
        .into_iter()
        .filter_map(|values| Some((quantile(&mut values.clone(), 0.5)?, values)))
        .collect();
    sides.sort_by(|a, b| a.0.total_cmp(&b.0));
    // Ground may slope across the body; but where one side holds another body, only the emptier says what is bare.
    let floor = match sides[..] {
        [(low, _), (high, _)] if high - low < SLOPE * crop.trunk => 0.5 * (low + high),
        [(low, _), ..] => low,
        [] => 0.0,
    };
    let (bare, beside) = sides.into_iter().next().unwrap_or_default();
    let raw: Vec<f32> =
        band(ribbon, SIDE).into_iter().map(|v| if v.is_finite() { v - floor } else { 0.0 }).collect();
    // A tail fin has a fifth of the trunk's ink: the mean is taken over as many columns as that needs.
    let mut chosen = None;
    let beside: Vec<f32> = beside.into_iter().map(|v| v - bare).collect();
    for radius in [1, 2, 4, 7] {
        let smooth = running_mean(&beside, radius);
        let noise = noise_about_zero(smooth.iter().copied()).unwrap_or(0.015).max(0.0015);
        chosen = Some((radius, smooth, noise));
        if noise < 0.07 * crop.trunk {
            break;
        }
    }
    let (radius, smooth, noise) = chosen.unwrap_or((0, beside, 0.01));
    let stretches = running_mean(&smooth, plateau(ribbon) / 2);
    let grain = noise_about_zero(stretches.into_iter()).unwrap_or(0.0);
    Signal { values: running_mean(&raw, radius), noise, grain }
}

/// The greatest mean of a band of rows near `row`, for every column; negative infinity where most of them all are
/// NaN.
fn band(ribbon: &Ribbon, row: usize) -> Vec<f32> {
    let width = ribbon.ink.width;
    let mut best = vec![f32::NEG_INFINITY; width];
    let (mut sums, mut counts) = (vec![0.0f32; width], vec![0.0f32; width]);
    for middle in row - WANDER..=row + WANDER {
        sums.fill(0.0);
        counts.fill(0.0);
        for r in middle - BAND..=middle + BAND {
            for ((sum, n), v) in sums.iter_mut().zip(&mut counts).zip(ribbon.ink.row(r)) {
                let seen = v.is_finite();
                *sum += if seen { *v } else { 0.0 };
                *n += if seen { 1.0 } else { 0.0 };
            }
        }
        for ((best, sum), n) in best.iter_mut().zip(&sums).zip(&counts) {
            let mean = if *n > BAND as f32 { sum / n } else { f32::NEG_INFINITY };
            *best = best.max(mean);
        }
    }
    best
}

fn running_mean(values: &[f32], radius: usize) -> Vec<f32> {
    (0..values.len())
        .map(|c| {
            let near = &values[c.saturating_sub(radius)..(c + radius + 1).min(values.len())];
            near.iter().sum::<f32>() / near.len() as f32
        })
        .collect()
}

/// Both ends of the body along the ribbon: the one near its start, the one near its end.
pub fn ends(crop: &Crop, ribbon: &Ribbon) -> (End, End) {
    let forward = signal(crop, ribbon);
    let backward = Signal { values: forward.values.iter().rev().copied().collect(), ..forward };
    let last = find(crop, ribbon, &forward, crop.faintest);
    let first = find(crop, ribbon, &backward, crop.faintest);
    let end = ribbon.ink.width - 1;
    let last = fin(crop, ribbon, last, |c, r| ribbon.ink.at(c, r));
    let first = fin(crop, ribbon, first, |c, r| ribbon.ink.at(end - c, r));
    (End { arc: ribbon.length - first.arc, ..first }, last)
}

/// Half the rows over which a faint fin is averaged: 3 % of the length, the fins of larvae and young fish are twice
/// as wide to each side (from memory).
const FIN: usize = 7;
/// Rows from the line to the middles of the stripes beside it that say what bare ground looks like.
const BARE: [usize; 2] = [24, 39];
/// Columns over which they are averaged.
const FIN_RADIUS: usize = 3;
/// A fin this many standard deviations above what stretches of bare ground as large show is one.
const FIN_SEEN: f32 = 3.0;
/// Longest fin of this kind, as a share of the length.
const LONGEST_FIN: f64 = 0.2;

/// The end of a fin so faint that only its whole width shows it, behind the end found in a narrow band; towards
/// growing columns of `ink` (by column and row).
fn fin(crop: &Crop, ribbon: &Ribbon, end: End, ink: impl Fn(usize, usize) -> f32) -> End {
    // A shadow would pass for it.
    if crop.shadows {
        return end;
    }
    let width = ribbon.ink.width;
    let at = ribbon.column(end.arc);
    let penumbra = (2.2 / ribbon.step).ceil() as usize;
    let gap = (COLUMNS / 40).max(penumbra);
    let from = (at.max(0.0) as usize).saturating_sub(COLUMNS / 5).max(COLUMNS / 2);
    let stripe = |middle: usize| -> Vec<f32> {
        let mean = |c: usize| {
            let seen = (middle - FIN..=middle + FIN).map(|r| ink(c, r)).filter(|v| v.is_finite());
            let (n, sum) = seen.fold((0, 0.0), |(n, sum), v| (n + 1, sum + v));
            if n > FIN { sum / n as f32 } else { f32::NAN }
        };
        (from..width).map(mean).collect()
    };
    // Each side has a ground of its own, which may slope; what varies along it is the noise.
    let beside = BARE.into_iter().flat_map(|away| [SIDE - away, SIDE + away]);
    let mut levels = Vec::new();
    let mut spread = Vec::new();
    for middle in beside {
        let bare: Vec<f32> = stripe(middle).into_iter().filter(|v| v.is_finite()).collect();
        let Some(level) = quantile(&mut bare.clone(), 0.5) else { continue };
        levels.push(level);
        spread.extend(running_mean(&bare, FIN_RADIUS).into_iter().map(|v| (v - level).abs()));
    }
    let Some(floor) = quantile(&mut levels.clone(), 0.5) else { return end };
    let uneven = levels.iter().map(|l| (l - floor).abs()).fold(0.0, f32::max);
    let Some(noise) = quantile(&mut spread, 0.5).map(|m| (1.4826 * m).max(0.5 * uneven)) else { return end };
    let limit = (FIN_SEEN * noise).max(crop.faintest);
    let middle: Vec<f32> =
        stripe(SIDE).into_iter().map(|v| if v.is_finite() { v - floor } else { 0.0 }).collect();
    let start = (at.max(0.0) as usize).saturating_sub(from);
    let (near, far) = (start + penumbra, start + penumbra + 2 * FIN_RADIUS + 1);
    if far >= middle.len() {
        return end;
    }
    let level = quantile(&mut middle[near..far].to_vec(), 0.5).unwrap_or(0.0);
    let unseen = end.unseen.min(limit);
    if level < limit {
        return End { unseen, ..end };
    }
    let further = step(&middle, start, level, gap) + from as f64;
    if further <= at + 1.0 || further > at + LONGEST_FIN * COLUMNS as f64 {
        return End { unseen, ..end };
    }
    let se = ribbon.step * f64::from((noise / level).clamp(0.05, 1.0)) * (2 * FIN_RADIUS) as f64;
    End { arc: ribbon.arc(further), se: se + 0.25, strength: level / noise, unseen }
}

/// Least ink of the snout, as a share of the trunk's: heads are as dense as trunks, so that what lies fainter
/// before them is a shadow or something else.
const SNOUT: f32 = 0.35;

/// The tip of a snout lies where ink has fallen to this share of the head's. A flat wedge of opening angle a, blurred
/// alike in all directions, has a / 360 degrees of its inner level at its very tip whatever the blur, and a snout opens
/// by 60 to 120 degrees; but it also thins out to the tip, so that less than half of that is left (this share by trying, rendered fish).
const SNOUT_TIP: f32 = 0.12;
/// The same for the tail fin: its margin is rounded and thins out, so that most of its ink is gone before its end (by trying,
/// rendered fish).
const TAIL_TIP: f32 = 0.2;
/// Both under light from above, where a shadow beyond an end is as dark as its last part.
const TIPS_IN_SHADOW: [f32; 2] = [0.25, 0.35];
/// Farthest a tip may lie beyond the place where the ink of a wide band is half gone, as a share of the length.
const TIP_REACH: f64 = 0.025;

/// Where the head ends that lies at the line's start.
pub fn snout(crop: &Crop, ribbon: &Ribbon) -> End {
    let forward = signal(crop, ribbon);
    let backward = Signal { values: forward.values.into_iter().rev().collect(), ..forward };
    let end = find(crop, ribbon, &backward, SNOUT * crop.trunk);
    let last = ribbon.ink.width - 1;
    let from = ribbon.column(end.arc);
    let share = if crop.shadows { TIPS_IN_SHADOW[0] } else { SNOUT_TIP };
    let at = tip(crop, from, share, |c, r| ribbon.ink.at(last - c, r));
    End { arc: ribbon.length - ribbon.arc(at), ..end }
}

/// Arc length of the margin of the tail fin that ends the line.
pub fn tail_margin(crop: &Crop, ribbon: &Ribbon) -> f64 {
    let share = if crop.shadows { TIPS_IN_SHADOW[1] } else { TAIL_TIP };
    ribbon.arc(tip(crop, ribbon.column(ribbon.length), share, |c, r| ribbon.ink.at(c, r)))
}

/// The tip towards growing columns of `ink` (by column and row): from column `from` outwards, the last at which the
/// greatest ink of any row near the line reaches `share` of that just behind, and stands out from what the rows
/// beside the body show.
fn tip(crop: &Crop, from: f64, share: f32, ink: impl Fn(usize, usize) -> f32) -> f64 {
    let rows = |middle: usize, c: usize| {
        let near = (middle - WANDER..=middle + WANDER)
            .map(|r| [ink(c, r - 1), ink(c, r), ink(c, r + 1)].iter().sum::<f32>() / 3.0);
        near.filter(|v| v.is_finite()).fold(f32::NEG_INFINITY, f32::max)
    };
    let width = COLUMNS + 2 * BEYOND + 1;
    let start = (from.round().max(0.0) as usize).clamp(COLUMNS / 2, width - 2);
    let behind = start - COLUMNS / 20..start - 2;
    let level = quantile(&mut behind.map(|c| rows(SIDE, c)).collect::<Vec<_>>(), 0.5).unwrap_or(0.0);
    let away = SIDE / 2;
    let beside = [SIDE - away, SIDE + away].map(|middle| {
        let bare = start - COLUMNS / 8..(start + BEYOND).min(width);
        let mut seen: Vec<f32> = bare.map(|c| rows(middle, c)).filter(|v| v.is_finite()).collect();
        quantile(&mut seen, 0.9).unwrap_or(f32::INFINITY)
    });
    let limit = (share * level.min(crop.trunk)).max(beside[0].min(beside[1])).max(3.0 * crop.noise);
    let farthest = (start + (TIP_REACH * COLUMNS as f64) as usize).min(width - 2);
    let mut at = start;
    while at < farthest && rows(SIDE, at + 1) >= limit {
        at += 1;
    }
    if at == start {
        return from;
    }
    let (inner, outer) = (rows(SIDE, at), rows(SIDE, at + 1));
    let part = if inner > outer { ((inner - limit) / (inner - outer)).clamp(0.0, 1.0) } else { 0.0 };
    (at as f64 + f64::from(part)).max(from)
}

/// The end towards growing columns; nothing fainter than `faintest` belongs to the body.
fn find(crop: &Crop, ribbon: &Ribbon, signal: &Signal, faintest: f32) -> End {
    let e = &signal.values;
    let width = e.len();
    let mid = |from: usize, to: usize| {
        quantile(&mut e[from.min(width - 1)..to.clamp(1, width)].to_vec(), 0.5).unwrap_or(0.0)
    };
    // Blur carries ink past a step: so many columns are passed over before the next plateau is judged.
    let penumbra = (2.2 / ribbon.step).ceil() as usize;
    let gap = (COLUMNS / 40).max(penumbra);
    // The way may have been drawn on to something that only lies near: the body ends before a gap.
    let faint = (0.1 * crop.trunk).max(1.5 * signal.noise);
    let middle = BEYOND + COLUMNS / 2;
    let (mut joined, mut empty) = (middle, 0);
    for (c, v) in e.iter().enumerate().skip(middle) {
        if *v >= faint {
            (joined, empty) = (c, 0);
        } else {
            empty += 1;
            if empty > gap {
                break;
            }
        }
    }
    let start = (BEYOND + COLUMNS - COLUMNS / 8).min(joined.saturating_sub(COLUMNS / 16));
    let mut level = mid(start - 12, start + 1);
    let mut at = step(e, start, level, gap);
    let look = plateau(ribbon);
    // Columns share crop pixels: so many of them make one independent reading.
    let shared = (1.6 / ribbon.step).max(1.0);
    let independent = (look as f64 / shared).max(1.0) as f32;
    let least = PLATEAU * signal.noise / independent.sqrt();
    for _ in 0..5 {
        let (from, to) = (at as usize + penumbra, at as usize + penumbra + look);
        if to + 1 >= width {
            break;
        }
        let next = mid(from, to);
        if next < least || next < faintest {
            break;
        }
        let further = step(e, at as usize, next, gap);
        if further <= at + 1.0 {
            break;
        }
        level = next.min(level);
        at = further;
    }
    let inner = mid((at as usize).saturating_sub(look), at as usize);
    let strength = inner / signal.noise;
    // A step of height `inner` under noise is placed to about noise / height of an independent reading.
    let se = ribbon.step * shared * f64::from((signal.noise / inner.max(1e-4)).clamp(0.05, 6.0)) + 0.25;
    End { arc: ribbon.arc(at), se, strength, unseen: least.max(PLATEAU * signal.grain) }
}

/// The column, at or after `from`, where a plateau of `level` gives way to nothing: the place that best parts
/// the signal into a part at `level` and a part at zero (least squares), then the half-way crossing next to it.
/// What lies behind a gap of `gap` empty columns is something else.
fn step(e: &[f32], from: usize, level: f32, gap: usize) -> f64 {
    let half = 0.5 * level;
    let (mut sum, mut best, mut at) = (0.0f32, 0.0f32, from);
    for (c, v) in e.iter().enumerate().skip(from) {
        // Very high values (an eye, pigment) count no more than the plateau.
        sum += v.min(1.5 * level) - half;
        if sum > best {
            best = sum;
            at = c;
        } else if best - sum > half * gap as f32 {
            break;
        }
    }
    // Half-way crossing between this column and the next.
    let (a, b) = (e[at], e.get(at + 1).copied().unwrap_or(0.0));
    let f = if a > half && b < half { ((a - half) / (a - b)).clamp(0.0, 1.0) } else { 0.5 };
    at as f64 + f64::from(f)
}
