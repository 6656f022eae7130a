//! What the straightened body shows: widths, eyes, which end is the head, which side the back, the view.

use super::crop::Crop;
use super::ribbon::{BEYOND, COLUMNS, Ribbon, SIDE, Sums};
use crate::imaging::plane::quantile;
use crate::records::View;
use crate::segmentation::Polarity;

/// Readings along the body from the line's start to its end, one a ribbon column.
#[derive(Debug)]
pub struct Profile {
    /// Rows from the line to the left edge of the body (0 or more).
    pub left: Vec<f32>,
    /// Rows from the line to the right edge.
    pub right: Vec<f32>,
    /// Median ink across the body.
    pub level: Vec<f32>,
}

/// The edge lies where ink has fallen to this share of the body's: full width at half contrast. Of an elliptic
/// cross-section that absorbs in proportion to its thickness this is 87 % of the true width; fin folds, which
/// can reach a third of the trunk's ink on a dark ground, stay below it.
const EDGE: f32 = 0.5;

impl Profile {
    /// Reads widths and levels; `half` is the half-width to expect at each of the line's points, crop pixels.
    pub fn read(crop: &Crop, ribbon: &Ribbon, half: &[f64]) -> Self {
        let n = COLUMNS + 1;
        let mut profile = Self { left: vec![0.0; n], right: vec![0.0; n], level: vec![0.0; n] };
        for c in 0..n {
            let at = c as f64 / COLUMNS as f64 * (half.len() - 1) as f64;
            let expected = half[at.round() as usize] / ribbon.step;
            let column = c + BEYOND;
            let core = ((0.6 * expected) as usize).clamp(1, SIDE);
            let mut values: Vec<f32> = (SIDE - core..=SIDE + core)
                .map(|r| ribbon.ink.at(column, r))
                .filter(|v| v.is_finite())
                .collect();
            let level = quantile(&mut values, 0.65).unwrap_or(0.0);
            let edge = (EDGE * level.min(1.5 * crop.trunk)).max(2.0 * crop.noise);
            let reach = (1.7 * expected + 3.0).min((SIDE - 1) as f64) as usize;
            profile.level[c] = level;
            profile.left[c] = edge_row(|k| ribbon.ink.at(column, SIDE - k), reach, edge);
            profile.right[c] = edge_row(|k| ribbon.ink.at(column, SIDE + k), reach, edge);
        }
        profile.left = median_filter(&profile.left, 3);
        profile.right = median_filter(&profile.right, 3);
        profile
    }

    /// The readings of the same body walked the other way.
    pub fn reversed(self) -> Self {
        let back = |mut values: Vec<f32>| {
            values.reverse();
            values
        };
        Self { left: back(self.right), right: back(self.left), level: back(self.level) }
    }

    /// Full width in rows at column `c`.
    pub fn width(&self, c: usize) -> f32 {
        self.left[c] + self.right[c]
    }

    /// Mean full width, in rows, between two fractions of the line.
    pub fn mean_width(&self, from: f64, to: f64) -> f32 {
        let (a, b) = span(from, to);
        (a..b).map(|c| self.width(c)).sum::<f32>() / (b - a).max(1) as f32
    }

    /// Greatest width in rows between two fractions, one column in twenty left out as a bristle or a fin.
    pub fn greatest_width(&self, from: f64, to: f64) -> f32 {
        let (a, b) = span(from, to);
        quantile(&mut (a..b).map(|c| self.width(c)).collect::<Vec<_>>(), 0.95).unwrap_or(0.0)
    }

    /// Median ink across the body between two fractions.
    pub fn level(&self, from: f64, to: f64) -> f32 {
        let (a, b) = span(from, to);
        quantile(&mut self.level[a..b].to_vec(), 0.5).unwrap_or(0.0)
    }
}

pub(super) fn span(from: f64, to: f64) -> (usize, usize) {
    let a = (from * COLUMNS as f64).round() as usize;
    (a.min(COLUMNS - 1), ((to * COLUMNS as f64).round() as usize).clamp(a + 1, COLUMNS + 1))
}

/// The outermost row, of a run of two or more, at which ink reaches `edge`, walking inwards from `reach`.
fn edge_row(ink: impl Fn(usize) -> f32, reach: usize, edge: f32) -> f32 {
    let mut k = reach;
    while k > 0 {
        if ink(k) >= edge && ink(k - 1) >= edge {
            let (inner, outer) = (ink(k), if k < reach { ink(k + 1) } else { 0.0 });
            let outer = if outer.is_finite() { outer } else { 0.0 };
            let f = if inner > outer { ((inner - edge) / (inner - outer)).clamp(0.0, 1.0) } else { 0.0 };
            return k as f32 + f;
        }
        k -= 1;
    }
    0.0
}

fn median_filter(values: &[f32], radius: usize) -> Vec<f32> {
    (0..values.len())
        .map(|i| {
            let near = &values[i.saturating_sub(radius)..(i + radius + 1).min(values.len())];
            quantile(&mut near.to_vec(), 0.5).unwrap_or(0.0)
        })
        .collect()
}

/// A dark compact spot near one end.
#[derive(Debug, Clone, Copy, Default)]
pub struct Eye {
    /// Ink of the spot above the trunk's, as a multiple of the trunk's.
    pub contrast: f32,
    /// Column from the line's start.
    pub column: f32,
    /// Row above the line (left positive).
    pub row: f32,
    /// Diameter in columns at half contrast, along or across the body, whichever is less.
    pub diameter: f32,
}

impl Eye {
    /// The same spot on the same line walked the other way.
    pub fn reversed(self) -> Self {
        Self { column: COLUMNS as f32 - self.column, row: -self.row, ..self }
    }
}

/// The strongest spot within a quarter of the line's start (or end, with `from_end`), by the `sums` of the
/// ribbon. On a bright ground the eye
/// is the darkest spot; on a dark ground it is a dark pupil in the bright ring round it.
pub fn eye(ribbon: &Ribbon, sums: &Sums, profile: &Profile, polarity: Polarity, from_end: bool) -> Eye {
    eye_within(ribbon, sums, profile, polarity, from_end, COLUMNS / 4)
}

/// The same within `reach` columns of the end.
pub fn eye_within(
    ribbon: &Ribbon,
    sums: &Sums,
    profile: &Profile,
    polarity: Polarity,
    from_end: bool,
    reach: usize,
) -> Eye {
    let trunk = profile.level(0.3, 0.7).max(1e-3);
    // Spot size: about three per cent of the length.
    let radius = if polarity == Polarity::DarkFish { 3usize } else { 2 };
    let mean = |c: usize, r: usize| sums.mean(c, r, radius);
    // Ink to eight sides of a spot: a pupil has bright tissue on most of them.
    let around = |c: usize, r: usize| -> f32 {
        let far = 2 * radius + 1;
        let mut sides =
            [(0i64, 1i64), (1, 0), (0, -1), (-1, 0), (1, 1), (-1, -1), (1, -1), (-1, 1)].map(|(dx, dy)| {
                let (x, y) = (c as i64 + dx * far as i64, r as i64 + dy * far as i64);
                mean(x.max(radius as i64) as usize, (y.max(radius as i64) as usize).min(2 * SIDE - radius))
            });
        sides.sort_by(f32::total_cmp);
        sides[4]
    };
    let mut best = Eye { contrast: f32::MIN, ..Eye::default() };
    for k in 2..reach {
        let c = if from_end { BEYOND + COLUMNS - k } else { BEYOND + k };
        let at = if from_end { COLUMNS - k } else { k };
        let room = (profile.left[at].max(profile.right[at]) as usize + 2).min(SIDE - radius - 1);
        for r in (SIDE - room..=SIDE + room).step_by(2) {
            let contrast = match polarity {
                Polarity::DarkFish => mean(c, r) / trunk - 1.0,
                Polarity::BrightFish => (around(c, r) - mean(c, r)) / trunk,
            };
            if contrast > best.contrast {
                best = Eye { contrast, column: at as f32, row: SIDE as f32 - r as f32, diameter: 0.0 };
            }
        }
    }
    if best.contrast > 0.0 {
        let row = (SIDE as f32 - best.row) as usize;
        let centre = ribbon.ink.at(best.column as usize + BEYOND, row);
        let half = match polarity {
            Polarity::DarkFish => trunk * (1.0 + 0.5 * best.contrast),
            Polarity::BrightFish => centre + 0.5 * trunk * best.contrast,
        };
        let left_spot = |v: f32| match polarity {
            Polarity::DarkFish => v < half,
            Polarity::BrightFish => v > half,
        };
        let at = (best.column as i64 + BEYOND as i64, row as i64);
        let extent = |dx: i64, dy: i64| {
            (1..24i64)
                .find(|k| {
                    let (c, r) = (at.0 + k * dx, at.1 + k * dy);
                    c < 0
                        || r < 0
                        || c as usize >= ribbon.ink.width
                        || r as usize >= ribbon.ink.height
                        || left_spot(ribbon.ink.at(c as usize, r as usize))
                })
                .unwrap_or(24) as f32
        };
        // Two eyes seen from above lie side by side, and the dark gap between two bright ones is open to the
        // front: the narrower way across the spot is the one eye.
        best.diameter = (extent(1, 0) + extent(-1, 0)).min(extent(0, 1) + extent(0, -1)) - 1.0;
    }
    best
}

/// Probability that the line's start is the head, from the eyes and from where the body is wide.
pub fn head_at_start(start: &Eye, end: &Eye, profile: &Profile) -> f64 {
    let front = f64::from(profile.mean_width(0.05, 0.35)).max(0.5);
    let back = f64::from(profile.mean_width(0.65, 0.95)).max(0.5);
    let spot = |e: &Eye| f64::from(e.contrast.clamp(0.0, 8.0)) + 0.3;
    let z = 2.2 * (spot(start) / spot(end)).ln() + 4.0 * (front / back).ln();
    1.0 / (1.0 + (-z).exp())
}

/// From where the fish is seen: two eyes beside the midline are a view from above or below, one eye is a view
/// from the side; a second eye that is much fainter is in between.
pub fn view(ribbon: &Ribbon, profile: &Profile, eye: &Eye, polarity: Polarity) -> View {
    if eye.contrast < 0.3 {
        return View::Unclear;
    }
    let column = eye.column as usize + BEYOND;
    let trunk = profile.level(0.3, 0.7).max(1e-3);
    let sign = if polarity == Polarity::DarkFish { 1.0 } else { -1.0 };
    // Ink across the head at the eye, three columns deep, from the far left to the far right.
    let reach = SIDE / 2;
    let across: Vec<f32> = (SIDE - reach..=SIDE + reach)
        .map(|r| {
            let near: Vec<f32> =
                (column - 2..=column + 2).map(|c| ribbon.ink.at(c, r)).filter(|v| v.is_finite()).collect();
            sign * near.iter().sum::<f32>() / near.len().max(1) as f32
        })
        .collect();
    let own = (reach as f32 - eye.row).round().clamp(0.0, (across.len() - 1) as f32) as usize;
    let peak = across[own];
    let radius = ((0.5 * eye.diameter) as usize).clamp(3, reach / 2);
    // The other eye lies on the other side of the midline, beyond a dip. A pupil is as dark as a dark ground: there
    // it must lie inside the head.
    let at = (eye.column as usize).min(COLUMNS);
    let inside = |k: usize| {
        let left = reach as f32 - k as f32;
        polarity == Polarity::DarkFish || (left < profile.left[at] && -left < profile.right[at])
    };
    let other: Vec<usize> = (0..across.len())
        .filter(|k| inside(*k))
        .filter(|k| k.abs_diff(own) > 2 * radius - 1 && (*k < reach) != (own < reach))
        .collect();
    let Some(best) = other.into_iter().max_by(|a, b| across[*a].total_cmp(&across[*b])) else {
        return View::Side;
    };
    let between = &across[own.min(best)..=own.max(best)];
    let dip = between.iter().copied().fold(f32::INFINITY, f32::min);
    let ground = if polarity == Polarity::DarkFish { trunk } else { -trunk };
    let share = (across[best] - ground) / (peak - ground).max(1e-6);
    let clear = across[best] - 0.25 * (peak - ground).abs();
    // Towards the edge a head thins out and darkens on a dark ground: a pupil has bright tissue on that side too.
    let rimmed = polarity == Polarity::DarkFish || {
        let outwards = if best < reach { &across[..best] } else { &across[best..] };
        outwards.iter().any(|v| *v <= clear)
    };
    if dip > clear || !rimmed {
        View::Side
    } else if share > 0.6 {
        View::Top
    } else if share > 0.3 {
        View::Oblique
    } else {
        View::Side
    }
}

/// Standard deviation of the blur in ribbon columns, from the steepest edge of the eye: a step of height h
/// under a Gaussian of standard deviation s has the slope h / (s sqrt(2 pi)). `None` without an eye.
pub fn blur(ribbon: &Ribbon, eye: &Eye) -> Option<f64> {
    if eye.contrast < 0.3 {
        return None;
    }
    let row = (SIDE as f32 - eye.row).round() as usize;
    let column = eye.column as usize + BEYOND;
    let reach = (eye.diameter as usize + 4).min(24);
    let line: Vec<f32> = (column.saturating_sub(reach)..=(column + reach).min(ribbon.ink.width - 1))
        .map(|c| ribbon.ink.at(c, row))
        .filter(|v| v.is_finite())
        .collect();
    let slope = line.windows(2).map(|w| (w[1] - w[0]).abs()).fold(0.0, f32::max);
    let (low, high) =
        line.iter().fold((f32::INFINITY, f32::NEG_INFINITY), |(l, h), v| (l.min(*v), h.max(*v)));
    (slope > 0.0).then(|| f64::from((high - low) / slope) / (2.0 * std::f64::consts::PI).sqrt())
}
