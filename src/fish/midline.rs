//! The midline: a first way through the body, then the centre of the ink across it.

use super::crop::Crop;
use crate::imaging::{Plane, components, distance, path, plane::quantile};
use crate::segmentation::Polarity;
use std::borrow::Cow;

/// Points along a midline while it is worked on.
pub const POINTS: usize = 65;

/// Half-width in crop pixels of a fibre or bristle that may hang on a body.
const FIBRE: f32 = 1.8;
/// A body less than this many times as deep is not freed of fibres: its own tail could be as thin.
const DEEP: f32 = 4.0;
/// Ink that counts for the middle of the body, as a share of the greatest across it, and the ink up to which
/// pixels differ, in trunk inks.
const DENSE: [f32; 2] = [0.4, 1.2];
/// The same under light from above: a shadow beside the body can take half of what the body takes (rendered trays).
const DENSE_ABOVE: [f32; 2] = [0.6, 1.6];
/// Ink of fins at most, as a share of the densest across the body.
const FIN: f32 = 0.25;
/// Share of the pixels that must be left when fibres are taken off …
const LEFT: f64 = 0.85;
/// … and where the tail is plain as well, however thin: a long curl is a third of a small fish.
const LEFT_IF_PLAIN: f64 = 0.65;
/// Outlines are plain where the trunk stands out from the noise by so many standard deviations, and tails where it is not
/// translucent either.
const PLAIN: f32 = 25.0;
const OPAQUE: f32 = 0.1;

/// The body without fibres that hang on it (opened by the three by three pixels within a fibre's half-width), or
/// the body itself when it is too slender or would lose more than fibres.
fn without_fibres(crop: &Crop) -> Cow<'_, Plane<bool>> {
    let (body, depth) = (crop.body(), crop.depth());
    if depth.data.iter().copied().fold(0.0, f32::max) < DEEP * FIBRE {
        return Cow::Borrowed(body);
    }
    let (w, h) = (body.width, body.height);
    let mut opened = body.clone();
    for y in 0..h {
        for x in 0..w {
            if body.at(x, y) && depth.at(x, y) <= FIBRE {
                // At the edge of the crop nothing is known of what lies beyond.
                let inner = x > 0 && y > 0 && x + 1 < w && y + 1 < h;
                let core = |y: usize| depth.row(y)[x - 1..=x + 1].iter().any(|d| *d > FIBRE);
                opened.set(x, y, !inner || (y - 1..=y + 1).any(core));
            }
        }
    }
    let largest = components::regions(&opened, 1).into_iter().max_by_key(|r| r.pixels.len());
    let all = body.data.iter().filter(|b| **b).count();
    let plain = crop.trunk > (PLAIN * crop.noise).max(OPAQUE);
    let left = if plain { LEFT_IF_PLAIN } else { LEFT };
    match largest {
        Some(region) if region.pixels.len() as f64 >= left * all as f64 => {
            let mut kept = body.map(|_| false);
            for &(x, y) in &region.pixels {
                kept.set(x as usize, y as usize, true);
            }
            Cow::Owned(kept)
        }
        _ => Cow::Borrowed(body),
    }
}

/// What a pixel outside the body costs, in pixels within it.
const GAP: f32 = 4.0;
/// How far outside the box round a body a way through it may lead, crop pixels.
const ROOM: usize = 8;

/// Depth, as a share of the greatest, from which on a pixel leads as far as any, and the least that one does (by trying,
/// rendered fish).
const THICK: f32 = 0.15;
const THINNEST: f32 = 0.3;

/// What a pixel costs a way that keeps to the middle of a body, by its depth; pixels outside are closed.
pub fn to_the_middle(depth: f32) -> f32 {
    if depth > 0.0 { (0.5 + depth).powi(-2) } else { f32::INFINITY }
}

/// The way through the body between its two ends that are farthest apart, kept to the middle; crop pixels.
pub fn first_way(crop: &Crop) -> Option<Vec<[f64; 2]>> {
    way(crop, None, 0.0)
}

/// The same where what is thin leads less far: the margin of a fin, parted from the body by a clear fin, is no end of it.
pub fn thick_way(crop: &Crop) -> Option<Vec<[f64; 2]>> {
    way(crop, None, THICK)
}

/// The way from `start` within the body to the end that is farthest from it; crop pixels.
pub fn way_from(crop: &Crop, start: [f64; 2]) -> Option<Vec<[f64; 2]>> {
    way(crop, Some(start), 0.0)
}

/// `thick` is the depth, as a share of the greatest, from which on a pixel leads as far as any.
fn way(crop: &Crop, start: Option<[f64; 2]>, thick: f32) -> Option<Vec<[f64; 2]>> {
    let body = without_fibres(crop);
    let depth = match &body {
        Cow::Borrowed(_) => Cow::Borrowed(crop.depth()),
        Cow::Owned(kept) => Cow::Owned(distance::euclidean(kept)),
    };
    let [x0, y0, width, height] = window(&body, ROOM)?;
    // Ends are the pixels farthest apart when walking inside the body.
    let mut walk = Plane::filled(width, height, f32::INFINITY);
    let mut middle = walk.clone();
    let mut own = Plane::filled(width, height, false);
    let (mut deepest, mut most, mut inside) = (0, 0.0, 0_usize);
    for i in 0..own.data.len() {
        let (x, y) = (x0 + i % width, y0 + i / width);
        own.data[i] = body.at(x, y);
        if !crop.allowed.at(x, y) {
            continue;
        }
        let d = depth.at(x, y);
        if d > 0.0 {
            (walk.data[i], middle.data[i]) = (1.0, to_the_middle(d));
        }
        inside += usize::from(own.data[i]);
        if d > 0.0 && d >= most {
            (deepest, most) = (i, d);
        }
    }
    if most <= 0.0 {
        return None;
    }
    if thick > 0.0 {
        for (i, walk) in walk.data.iter_mut().enumerate().filter(|(_, walk)| walk.is_finite()) {
            let d = depth.at(x0 + i % width, y0 + i / width);
            *walk = (d / (thick * most)).clamp(THINNEST, 1.0);
        }
    }
    // The pixel farthest from another, and whether the whole body was reached.
    let farthest = |walk: &Plane<f32>, from: usize| -> (Option<usize>, bool) {
        let mut left = inside;
        let (total, _) = path::cheapest(walk, from, |at| {
            left -= usize::from(own.data[at]);
            left == 0
        });
        let reached = (0..total.len()).filter(|i| own.data[*i] && total[*i].is_finite());
        (reached.max_by(|a, b| total[*a].total_cmp(&total[*b]).then(b.cmp(a))), left == 0)
    };
    let (mut a, all) = farthest(&walk, deepest);
    if !all {
        // A body in pieces: gaps may be crossed at a price.
        for i in 0..own.data.len() {
            let open = crop.allowed.at(x0 + i % width, y0 + i / width);
            if open && !walk.data[i].is_finite() {
                (walk.data[i], middle.data[i]) = (GAP, GAP);
            }
        }
        (a, _) = farthest(&walk, deepest);
    }
    let start =
        start.map(|[x, y]| (x.round() as usize).checked_sub(x0).zip((y.round() as usize).checked_sub(y0)));
    let a = match start {
        Some(within) => within.filter(|(x, y)| *x < width && *y < height).map(|(x, y)| y * width + x)?,
        None => a?,
    };
    let b = farthest(&walk, a).0?;
    let (total, before) = path::cheapest(&middle, a, |at| at == b);
    if a == b || !total[b].is_finite() {
        return None;
    }
    let mut raw = path::trace(&before, b, width);
    for p in &mut raw {
        *p = [p[0] + x0 as f64, p[1] + y0 as f64];
    }
    let line = path::resample(&raw, POINTS);
    (path::length(&line) >= 8.0).then(|| path::smooth(&line, 2.0))
}

/// The box round the `true` pixels and `room` more to each side, within the raster: first column, first row, columns
/// and rows.
fn window(mask: &Plane<bool>, room: usize) -> Option<[usize; 4]> {
    let [x0, y0, x1, y1] = mask.bounds()?;
    let (x0, y0) = (x0.saturating_sub(room), y0.saturating_sub(room));
    let (x1, y1) = ((x1 + room + 1).min(mask.width), (y1 + room + 1).min(mask.height));
    Some([x0, y0, x1 - x0, y1 - y0])
}

/// Where a body is less than this deep to each side, as a share of its length, it may be a tail of which only pigment was
/// cut out; such a tail is no deeper than this.
const THIN: f64 = 0.015;
const BROAD: f64 = 0.04;
/// Tissue stands out by so many standard deviations of the noise.
const TISSUE: f32 = 3.0;

/// Moves the line to the centre of the ink across it, several times; `half` is the half-width of the window
/// across the body at each point, crop pixels.
pub fn centre(crop: &Crop, line: &[[f64; 2]], half: &[f64], alone: bool) -> Vec<[f64; 2]> {
    let mut line = line.to_vec();
    // Of tails so clear that little but their pigment was cut out, all tissue counts that stands out.
    let clear = alone && crop.polarity == Polarity::DarkFish && !crop.shadows;
    let length = path::length(&line);
    let [thin, broad] = [THIN, BROAD].map(|share| share * length);
    let stands_out = (TISSUE * crop.noise).max(crop.faintest);
    for round in 0..3 {
        let tangents = path::tangents(&line);
        let mut moved = line.clone();
        for i in 1..line.len() - 1 {
            let (p, t) = (line[i], tangents[i]);
            let normal = [-t[1], t[0]];
            let half = half[i.min(half.len() - 1)];
            let thin = clear && half < thin;
            let half = if thin { half.max(breadth(crop, p, normal, stands_out, broad)) } else { half };
            let window = half * 1.5 + 1.5;
            let steps = (window / 0.5).ceil() as i64;
            // Eyes and pigment must not pull the line: ink counts up to about the trunk's.
            let [dense, most] = if crop.shadows { DENSE_ABOVE } else { DENSE };
            let across: Vec<(f64, f32)> = (-steps..=steps)
                .filter_map(|k| {
                    let n = k as f64 * 0.5;
                    let (x, y) = (p[0] + n * normal[0], p[1] + n * normal[1]);
                    crop.allowed
                        .nearest_or(x, y, false)
                        .then(|| (n, crop.ink.bilinear(x, y).min(most * crop.trunk)))
                })
                .collect();
            // Nor must a shadow or a fin beside the trunk: only what is near the densest counts. Gut and pigment are
            // denser than tissue, on one side of it: without shadows the typical tissue is the measure.
            let densest = across.iter().map(|(_, ink)| *ink).fold(0.0, f32::max);
            let inked = if thin { stands_out } else { FIN * densest };
            let typical = if crop.shadows { densest } else { typical(&across, inked) };
            let least = (dense * typical).max(1.5 * crop.noise);
            let (mut sum, mut total) = (0.0, 0.0);
            for (n, ink) in across {
                let ink = ink.min(most * typical);
                if ink > least {
                    sum += f64::from(ink - least) * n;
                    total += f64::from(ink - least);
                }
            }
            if total > 0.0 {
                let shift = (sum / total).clamp(-window * 0.5, window * 0.5);
                moved[i] = [p[0] + shift * normal[0], p[1] + shift * normal[1]];
            }
        }
        // The end points follow the line next to them.
        let n = moved.len();
        moved[0] = beyond(&moved[1..6.min(n)], &line[0]);
        let tail: Vec<[f64; 2]> = moved[n - 6.min(n)..n - 1].iter().rev().copied().collect();
        moved[n - 1] = beyond(&tail, &line[n - 1]);
        let sigma = [3.0, 2.5, 2.0][round];
        line = path::resample(&path::smooth(&moved, sigma), n);
    }
    line
}

/// How far ink of at least `least` reaches without a gap from `p` along `normal`, to the side where it reaches farther; no
/// farther than `most`.
fn breadth(crop: &Crop, p: [f64; 2], normal: [f64; 2], least: f32, most: f64) -> f64 {
    let side = |sign: f64| {
        let steps = (0..).map(|k| 0.5 * f64::from(k)).take_while(|n| *n <= most);
        let inked = steps.take_while(|n| {
            let (x, y) = (p[0] + sign * n * normal[0], p[1] + sign * n * normal[1]);
            crop.allowed.nearest_or(x, y, false) && crop.ink.bilinear(x, y) >= least
        });
        inked.last().unwrap_or(0.0)
    };
    side(-1.0).max(side(1.0))
}

/// Median ink of what has more than `least` across the body; that itself where nothing has.
fn typical(across: &[(f64, f32)], least: f32) -> f32 {
    let mut inked: Vec<f32> = across.iter().map(|(_, ink)| *ink).filter(|ink| *ink > least).collect();
    quantile(&mut inked, 0.5).unwrap_or(least)
}

/// The point on the straight line through `near` (from the end inwards) that lies beside `end`.
fn beyond(near: &[[f64; 2]], end: &[f64; 2]) -> [f64; 2] {
    let (a, b) = (near[near.len() - 1], near[0]);
    let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
    let l2 = dx * dx + dy * dy;
    if l2 < 1e-9 {
        return *end;
    }
    let t = ((end[0] - b[0]) * dx + (end[1] - b[1]) * dy) / l2;
    [b[0] + t * dx, b[1] + t * dy]
}

/// Half-width of the body at each point of a line, from the distance to the nearest pixel outside.
pub fn half_widths(crop: &Crop, line: &[[f64; 2]]) -> Vec<f64> {
    let depth = crop.depth();
    let own: Vec<f64> = line.iter().map(|p| f64::from(depth.bilinear(p[0], p[1]))).collect();
    // A gap or a bright bladder core must not pinch the window: the larger of three neighbours each way.
    (0..own.len())
        .map(|i| own[i.saturating_sub(3)..(i + 4).min(own.len())].iter().copied().fold(0.8, f64::max))
        .collect()
}

/// The same of one fish, which others may touch where `separated`.
pub fn widths(crop: &Crop, line: &[[f64; 2]], separated: bool) -> Vec<f64> {
    let half = half_widths(crop, line);
    if separated { narrowed(half) } else { half }
}

/// Half-widths of one fish among others: where they touch the body is too wide, so that no point gets more than
/// a fifth above the median.
fn narrowed(half: Vec<f64>) -> Vec<f64> {
    let mut sorted = half.clone();
    sorted.sort_by(f64::total_cmp);
    let limit = 1.2 * sorted[sorted.len() / 2];
    half.into_iter().map(|h| h.min(limit)).collect()
}

/// Cuts a line at arc lengths `from` and `to` (crop pixels from its start; may lie beyond the ends, where the
/// line goes on straight), and spaces its points evenly.
pub fn between(line: &[[f64; 2]], from: f64, to: f64) -> Vec<[f64; 2]> {
    let long = extended(line, (-from).max(0.0), (to - path::length(line)).max(0.0));
    let skip = from.max(0.0);
    let keep = to - from;
    let mut out = Vec::with_capacity(long.len());
    let mut walked = 0.0;
    for w in long.windows(2) {
        let l = (w[1][0] - w[0][0]).hypot(w[1][1] - w[0][1]);
        let at = |s: f64| {
            let f = if l > 0.0 { (s - walked) / l } else { 0.0 };
            [w[0][0] + f * (w[1][0] - w[0][0]), w[0][1] + f * (w[1][1] - w[0][1])]
        };
        let (begin, end) = (skip, skip + keep);
        if walked <= begin && begin < walked + l {
            out.push(at(begin));
        }
        if walked > begin && walked < end {
            out.push(w[0]);
        }
        if walked < end && end <= walked + l {
            out.push(at(end));
            break;
        }
        walked += l;
    }
    if out.len() < 2 { line.to_vec() } else { path::resample(&out, line.len()) }
}

/// Lengths over which the direction before and behind a point is taken, as shares of the line's (a kink is rounded by
/// as much as the body is wide), and the sharpest bend within twice that length that may be a fish's, in radians (50 and
/// 60 degrees): one bent by 120 degrees in the half of its length turns by 17 and by 34.
const KINKS: [(f64, f64); 2] = [(0.07, 0.87), (0.14, 1.05)];
/// The same of a line that ends at a wall, along which it may go on, as a share of those.
const KINK_AT_WALL: f64 = 0.75;
/// Kinks are looked for so far from either end, as a share of the length.
const KINK_PLACE: f64 = 0.4;

/// Arc lengths between which a line has no sharp kink near its ends: what lies beyond one is a wall, a fibre or a bubble
/// that the body touches; `at_wall` says that the line ends at a wall.
pub fn without_kinks(line: &[[f64; 2]], at_wall: bool) -> [f64; 2] {
    let points = path::smooth(&path::resample(line, POINTS), 1.0);
    let steps = (POINTS - 1) as f64;
    let turn = |i: usize, reach: f64| {
        let reach = (reach * steps).round() as usize;
        let (before, after) = (points.get(i.checked_sub(reach)?)?, points.get(i + reach)?);
        let ([ax, ay], [bx, by]) = (
            [points[i][0] - before[0], points[i][1] - before[1]],
            [after[0] - points[i][0], after[1] - points[i][1]],
        );
        Some((ax * by - ay * bx).atan2(ax * bx + ay * by).abs())
    };
    let sharpness = |i: usize| {
        KINKS.into_iter().filter_map(|(reach, most)| Some(turn(i, reach)? / most)).fold(0.0, f64::max)
    };
    let least = if at_wall { KINK_AT_WALL } else { 1.0 };
    let sharpest = |from: usize, to: usize| {
        let kinks = (from..to).map(|i| (i, sharpness(i))).filter(|(_, sharp)| *sharp > least);
        kinks.max_by(|a, b| a.1.total_cmp(&b.1)).map(|(i, _)| i as f64)
    };
    let outer = (KINK_PLACE * steps) as usize;
    let step = path::length(line) / steps;
    [sharpest(0, outer).unwrap_or(0.0) * step, sharpest(POINTS - outer, POINTS).unwrap_or(steps) * step]
}

/// The line continued straight by `before` and `after` crop pixels. The direction is that of the outer
/// tenth.
pub fn extended(line: &[[f64; 2]], before: f64, after: f64) -> Vec<[f64; 2]> {
    let n = line.len();
    let m = (n / 10).max(2).min(n - 1);
    let ray = |end: [f64; 2], inner: [f64; 2], by: f64| {
        let (dx, dy) = (end[0] - inner[0], end[1] - inner[1]);
        let l = dx.hypot(dy).max(1e-9);
        [end[0] + by * dx / l, end[1] + by * dy / l]
    };
    let mut out = Vec::with_capacity(n + 2);
    if before > 0.0 {
        out.push(ray(line[0], line[m], before));
    }
    out.extend_from_slice(line);
    if after > 0.0 {
        out.push(ray(line[n - 1], line[n - 1 - m], after));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A walk of 200 steps of one pixel that turns by `turn(i)` radians at each.
    fn walk(turn: impl Fn(usize) -> f64) -> Vec<[f64; 2]> {
        let (mut at, mut way) = ([0.0f64, 0.0], 0.0f64);
        let mut line = vec![at];
        for i in 0..200 {
            way += turn(i);
            at = [at[0] + way.cos(), at[1] + way.sin()];
            line.push(at);
        }
        line
    }

    /// A body bent by 120 degrees in the half of its length is kept whole, at a wall as well.
    #[test]
    fn a_bent_body_has_no_kink() {
        let bent = walk(|i| if (60..160).contains(&i) { 120f64.to_radians() / 100.0 } else { 0.0 });
        for at_wall in [false, true] {
            let [first, last] = without_kinks(&bent, at_wall);
            assert_eq!(first, 0.0);
            approx::assert_abs_diff_eq!(last, path::length(&bent), epsilon = 1.0);
        }
    }

    /// A body of 150 pixels whose line goes on along a wall for 50 more ends where it turns.
    #[test]
    fn a_line_ends_where_it_turns_along_a_wall() {
        let kinked = walk(|i| if (146..154).contains(&i) { 80f64.to_radians() / 8.0 } else { 0.0 });
        let [first, last] = without_kinks(&kinked, true);
        assert_eq!(first, 0.0);
        approx::assert_abs_diff_eq!(last, 150.0, epsilon = 6.0);
        let back: Vec<[f64; 2]> = kinked.into_iter().rev().collect();
        let [first, last] = without_kinks(&back, true);
        approx::assert_abs_diff_eq!(first, 50.0, epsilon = 6.0);
        approx::assert_abs_diff_eq!(last, 200.0, epsilon = 2.0);
    }
}
