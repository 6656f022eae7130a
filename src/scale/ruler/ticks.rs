//! The ticks of a band one by one: where each stands and how long it is.

use super::Ruler;
use super::band::Band;
use crate::imaging::Plane;
use crate::imaging::plane::quantile;
use crate::photo::Pixels;
use crate::scale::field::distance;
use crate::scale::lens::Lens;
use nalgebra::{Matrix4, Vector4};

/// Ticks of a graduation.
#[derive(Debug)]
pub(super) struct Ticks {
    /// Number of each tick, rising, with gaps where one was not seen.
    pub indices: Vec<i32>,
    /// Length of each beyond the common zone, in pixels.
    pub lengths: Vec<f64>,
    places: Vec<f64>,
    ribbon: Ribbon,
    zone: f64,
    /// How far the strokes reach above and below the common zone, rows.
    reach: [f64; 2],
}

/// Places of ticks as a tilted line is seen, and the change of the radial term that goes with it.
struct Fit {
    /// Where the middle one by number stands: on a tilted ruler not midway between the ends.
    middle: f64,
    /// Distance of neighbouring ticks there.
    spacing: f64,
    /// The tilt `a`.
    tilt: f64,
    bend: f64,
    /// Scatter about it.
    sigma: f64,
    /// Standard errors of spacing, tilt and bend, neighbouring ticks taken to err alike as far as they do.
    se: [f64; 3],
}

/// Standard deviation believed of the displacement at the corner that a lens makes, relative: phones and
/// macro lenses stay within two or three per cent (common practice, no source).
const LIKELY_BEND: f64 = 0.012;
/// What is left of one that was calibrated: it changes a little with focus.
const CALIBRATED_BEND: f64 = 0.002;
/// Scatter of ticks assumed at least, pixels.
const LEAST_SIGMA: f64 = 0.01;

fn frame(pixels: &Pixels) -> (f64, f64) {
    (f64::from(pixels.width), f64::from(pixels.height))
}

/// A straightened band: how its own coordinates lie in the photograph.
#[derive(Debug, Clone)]
struct Ribbon {
    origin: [f64; 2],
    along: [f64; 2],
    across: [f64; 2],
    /// Photograph pixels to a ribbon pixel along and across.
    step: [f64; 2],
}

impl Ribbon {
    fn place(&self, s: f64, t: f64) -> [f64; 2] {
        [0, 1].map(|i| self.origin[i] + s * self.step[0] * self.along[i] + t * self.step[1] * self.across[i])
    }

    fn draw(&self, pixels: &Pixels, width: usize, height: usize) -> Plane<f32> {
        let mut data = Vec::with_capacity(width * height);
        for t in 0..height {
            for s in 0..width {
                let [x, y] = self.place(s as f64, t as f64);
                data.push(crate::scale::sample(pixels, x, y));
            }
        }
        Plane { width, height, data }
    }
}

/// Fewest ticks counted.
const LEAST: usize = 12;
/// Ticks that may be missing in a row: glare, a number printed over them.
const GAP: i32 = 3;
/// Scatter of ticks about an even spacing that still is a graduation, as a share of the spacing.
const EVEN: f64 = 0.07;

/// Counts the ticks of a band.
pub(super) fn count(pixels: &Pixels, band: &Band) -> Option<Ticks> {
    // A dozen samples a tick spacing, at most one a pixel; the band may reach on beyond its tiles.
    let step = [(band.pitch / 14.0).clamp(0.5, 3.0), (band.pitch / 5.0).max(1.0)];
    let half = [band.half[0] + 40.0 * band.pitch, band.half[1] + 6.0 * band.pitch];
    let mut ribbon = ribbon(band.centre, band.along, half, step);
    let (width, height) = ((2.0 * half[0] / step[0]) as usize, (2.0 * half[1] / step[1]) as usize);
    if width > 40_000 || height > 4000 || width < 32 || height < 3 {
        return None;
    }
    let mut pitch = band.pitch / step[0];
    let mut plane = ribbon.draw(pixels, width, height);
    let middle = (width / 2).saturating_sub((band.half[0] / step[0]) as usize)
        ..(width / 2 + (band.half[0] / step[0]) as usize).min(width);
    // Strokes that stand askew show as a phase that moves from row to row: turn the band until they do not.
    for _ in 0..2 {
        let (p, turn) = refine(&plane, &middle, pitch)?;
        pitch = p;
        let turn = turn * step[0] / step[1];
        if turn.abs() < 1e-3 {
            break;
        }
        let (s, c) = (-turn.atan()).sin_cos();
        let [x, y] = ribbon.along;
        let along = [x * c - y * s, x * s + y * c];
        ribbon = self::ribbon(band.centre, along, half, step);
        plane = ribbon.draw(pixels, width, height);
    }
    let strength: Vec<f64> = (0..height).map(|t| wave(&plane.row(t)[middle.clone()], pitch).0).collect();
    let best = (0..height).max_by(|a, b| strength[*a].total_cmp(&strength[*b]))?;
    let zone: Vec<usize> = (best.saturating_sub(1)..=(best + 1).min(height - 1))
        .filter(|t| strength[*t] > 0.7 * strength[best])
        .collect();
    let profile: Vec<f32> =
        (0..width).map(|s| zone.iter().map(|t| plane.at(s, *t)).sum::<f32>() / zone.len() as f32).collect();
    let (indices, places, sign) = walk(&profile, pitch, width / 2)?;
    if indices.len() < LEAST {
        return None;
    }
    let (lengths, reach) = lengths(&plane, &places, pitch, best, sign);
    let zone = zone.iter().sum::<usize>() as f64 / zone.len() as f64;
    Some(Ticks { indices, lengths, places, ribbon, zone, reach })
}

fn ribbon(centre: [f64; 2], along: [f64; 2], half: [f64; 2], step: [f64; 2]) -> Ribbon {
    let across = [-along[1], along[0]];
    let origin = [0, 1].map(|i| centre[i] - half[0] * along[i] - half[1] * across[i]);
    Ribbon { origin, along, across, step }
}

/// Amplitude and phase of the wave of length `pitch` in a row.
fn wave(row: &[f32], pitch: f64) -> (f64, f64) {
    let mean = row.iter().map(|v| f64::from(*v)).sum::<f64>() / row.len().max(1) as f64;
    let (mut re, mut im) = (0.0, 0.0);
    let turn = std::f64::consts::TAU / pitch;
    for (i, v) in row.iter().enumerate() {
        let (s, c) = (turn * i as f64).sin_cos();
        re += (f64::from(*v) - mean) * c;
        im += (f64::from(*v) - mean) * s;
    }
    ((re * re + im * im).sqrt() / row.len().max(1) as f64, im.atan2(re))
}

/// The wave length that is strongest near `pitch`, and by how many columns a stroke moves a row.
fn refine(plane: &Plane<f32>, middle: &std::ops::Range<usize>, pitch: f64) -> Option<(f64, f64)> {
    // Pieces of a few strokes only: tilt and lens change the spacing over the whole band.
    let span = ((10.0 * pitch) as usize).clamp(16, middle.len());
    let start = middle.start + (middle.len() - span) / 2;
    let piece = start..start + span;
    let strength = |p: f64| -> f64 {
        (0..plane.height).map(|t| wave(&plane.row(t)[piece.clone()], p).0).fold(0.0, f64::max)
    };
    let best = (0..=24)
        .map(|i| pitch * (0.88 + 0.01 * f64::from(i)))
        .map(|p| (strength(p), p))
        .max_by(|a, b| a.0.total_cmp(&b.0))?
        .1;
    let waves: Vec<(f64, f64)> =
        (0..plane.height).map(|t| wave(&plane.row(t)[piece.clone()], best)).collect();
    let (mut re, mut im) = (0.0, 0.0);
    for pair in waves.windows(2) {
        let weight = pair[0].0 * pair[1].0;
        let turn = pair[1].1 - pair[0].1;
        re += weight * turn.cos();
        im += weight * turn.sin();
    }
    let drift = im.atan2(re) / std::f64::consts::TAU * best;
    Some((best, drift))
}

/// Follows the ticks from the middle both ways: numbers, places, and whether they are darker (1) or
/// brighter (-1) than the ruler.
fn walk(profile: &[f32], pitch: f64, middle: usize) -> Option<(Vec<i32>, Vec<f64>, f32)> {
    let window = |from: f64, to: f64| {
        let from = from.max(0.0) as usize;
        let to = (to.max(0.0) as usize).min(profile.len());
        if from < to { &profile[from..to] } else { &[] }
    };
    // Strokes are narrower than gaps: the median is the ruler, the farther extreme the stroke.
    let near = window(middle as f64 - 6.0 * pitch, middle as f64 + 6.0 * pitch);
    let mid = quantile(&mut near.to_vec(), 0.5)?;
    let (low, high) = (quantile(&mut near.to_vec(), 0.04)?, quantile(&mut near.to_vec(), 0.96)?);
    let sign = if mid - low >= high - mid { 1.0 } else { -1.0 };
    let depth = if sign > 0.0 { mid - low } else { high - mid };
    if depth < 6.0 {
        return None;
    }
    // Place of the stroke within a third of a spacing of where it is expected.
    let stroke = |at: f64| -> Option<f64> {
        let reach = 0.36 * pitch;
        let around = window(at - 0.7 * pitch, at + 0.7 * pitch);
        let ground = quantile(&mut around.iter().map(|v| sign * v).collect::<Vec<f32>>(), 0.7)?;
        let (from, to) = ((at - reach).ceil().max(0.0) as usize, (at + reach).floor() as usize);
        if to >= profile.len() || from >= to {
            return None;
        }
        let dark = |i: usize| (ground - sign * profile[i]).max(0.0);
        let peak = (from..=to).max_by(|a, b| dark(*a).total_cmp(&dark(*b)))?;
        if dark(peak) < 0.35 * depth {
            return None;
        }
        let half = (0.3 * pitch).max(1.5);
        let floor = 0.25 * dark(peak);
        // A window that fades out and moves with the stroke: one cut at whole samples would pull every stroke
        // to them, alike in neighbours, and no average over ticks would take that out.
        let mut centre = peak as f64;
        for _ in 0..4 {
            let (mut sum, mut moment) = (0.0f64, 0.0f64);
            let (from, to) = ((centre - half).ceil().max(0.0) as usize, (centre + half).floor() as usize);
            for i in from..=to.min(profile.len() - 1) {
                let fade = (std::f64::consts::FRAC_PI_2 * (i as f64 - centre) / half).cos().powi(2);
                let weight = fade * f64::from((dark(i) - floor).max(0.0));
                sum += weight;
                moment += weight * i as f64;
            }
            if sum <= 0.0 {
                return None;
            }
            centre = moment / sum;
        }
        Some(centre)
    };
    let start = (0..(4.0 * pitch) as usize)
        .map(|i| middle as f64 - 2.0 * pitch + i as f64)
        .filter_map(&stroke)
        .min_by(|a, b| (a - middle as f64).abs().total_cmp(&(b - middle as f64).abs()))?;
    let mut found = vec![(0, start)];
    for way in [-1, 1] {
        let (mut number, mut at, mut spacing, mut missing) = (0, start, pitch, 0);
        while missing <= GAP {
            let expected = at + f64::from(way) * spacing * f64::from(missing + 1);
            if expected < 0.0 || expected >= profile.len() as f64 {
                break;
            }
            match stroke(expected).filter(|p| (p - expected).abs() < 0.3 * spacing) {
                Some(place) => {
                    let here = (place - at).abs() / f64::from(missing + 1);
                    number += way * (missing + 1);
                    at = place;
                    spacing += 0.15 * (here - spacing);
                    missing = 0;
                    found.push((number, place));
                }
                None => missing += 1,
            }
        }
    }
    found.sort_by_key(|f| f.0);
    // What lies beyond the ruler's end now and then falls into step: ends must be dense.
    let (indices, places): (Vec<i32>, Vec<f64>) = trim(found).into_iter().unzip();
    Some((indices, places, sign))
}

/// Cuts off ends where fewer than two of three ticks were seen.
fn trim(mut found: Vec<(i32, f64)>) -> Vec<(i32, f64)> {
    let sparse = |a: &(i32, f64), b: &(i32, f64), n: usize| (b.0 - a.0).unsigned_abs() as usize > n + n / 2;
    while found.len() > 6 && sparse(&found[0], &found[5], 5) {
        found.remove(0);
    }
    while found.len() > 6 && sparse(&found[found.len() - 6], &found[found.len() - 1], 5) {
        found.pop();
    }
    found
}

/// How far each tick reaches from the common zone, to the side on which lengths differ more; and how far the
/// graduation reaches to either side, in rows.
fn lengths(plane: &Plane<f32>, places: &[f64], pitch: f64, zone: usize, sign: f32) -> (Vec<f64>, [f64; 2]) {
    let contrast = |place: f64, t: usize| {
        let at = |s: f64| sign * plane.bilinear(s, t as f64);
        let gap = f32::midpoint(at(place - 0.5 * pitch), at(place + 0.5 * pitch));
        gap - at(place)
    };
    let reach = |down: bool| -> Vec<f64> {
        places
            .iter()
            .map(|place| {
                let full = contrast(*place, zone);
                let mut t = zone;
                let mut missed = 0;
                let mut last = zone;
                while missed < 2 {
                    let end = if down { t + 1 >= plane.height } else { t == 0 };
                    if end {
                        break;
                    }
                    t = if down { t + 1 } else { t - 1 };
                    if contrast(*place, t) > 0.4 * full {
                        last = t;
                        missed = 0;
                    } else {
                        missed += 1;
                    }
                }
                last.abs_diff(zone) as f64
            })
            .collect()
    };
    let sorted = |v: &[f64]| {
        let mut sorted = v.to_vec();
        sorted.sort_by(f64::total_cmp);
        sorted
    };
    let (up, down) = (reach(false), reach(true));
    let [above, below] = [sorted(&up), sorted(&down)];
    // The tenth that is longest, against the middle: one stray length does not count.
    let spread = |v: &[f64]| v[v.len() * 9 / 10] - v[v.len() / 2];
    let best = if spread(&above) > spread(&below) { up } else { down };
    (best, [above, below].map(|v| v[v.len() * 9 / 10]))
}

impl Ticks {
    /// Where ticks stand by their numbers `u`, counted from the middle, as a tilted line is seen:
    /// `x (1 + a u) = c0 + c1 u`, `x` from about where the middle stands; linear in `c0`, `c1` and `a`.
    /// `moved` is by how much each moves for a unit of the lens's radial term, whose standard deviation and
    /// present value are `belief`.
    fn fit(&self, places: &[f64], moved: Option<(&[f64], [f64; 2])>) -> Fit {
        let n = self.indices.len();
        let middle = f64::from(self.indices[0] + self.indices[n - 1]) / 2.0;
        let u: Vec<f64> = self.indices.iter().map(|i| f64::from(*i) - middle).collect();
        let slope = (places[n - 1] - places[0]) / (u[n - 1] - u[0]).max(1.0);
        let origin = places[n / 2] - slope * u[n / 2];
        let x: Vec<f64> = places.iter().map(|p| p - origin).collect();
        let row = |i: usize| Vector4::new(1.0, u[i], -u[i] * x[i], moved.map_or(0.0, |m| -m.0[i]));
        let [believed, present] = moved.map_or([1.0, 0.0], |m| m.1);
        let mut weight = vec![1.0; n];
        let mut terms = Vector4::zeros();
        let mut sigma = LEAST_SIGMA;
        let mut inverse = Matrix4::zeros();
        for _ in 0..5 {
            let (mut a, mut b) = (Matrix4::zeros(), Vector4::zeros());
            for i in 0..n {
                a += row(i) * row(i).transpose() * weight[i];
                b += row(i) * x[i] * weight[i];
            }
            let prior = (sigma / believed).powi(2);
            a[(3, 3)] += prior;
            b[3] -= prior * present;
            let Some(inv) = a.try_inverse() else { break };
            inverse = inv;
            terms = inverse * b;
            let off: Vec<f64> = (0..n).map(|i| x[i] - row(i).dot(&terms)).collect();
            let mut sorted: Vec<f32> = off.iter().map(|o| o.abs() as f32).collect();
            let median = f64::from(quantile(&mut sorted, 0.5).unwrap_or(0.0));
            let limit = (4.0 * 1.4826 * median).max(1e-6);
            weight = off.iter().map(|o| f64::from(u8::from(o.abs() <= limit))).collect();
            let kept: f64 = weight.iter().sum();
            let sum: f64 = off.iter().zip(&weight).map(|(o, w)| o * o * w).sum();
            sigma = (sum / (kept - 4.0).max(1.0)).sqrt().max(LEAST_SIGMA);
        }
        // Neighbouring ticks share what glare, shading and sampling do to them: so many fewer count.
        let off: Vec<f64> = (0..n).map(|i| weight[i] * (x[i] - row(i).dot(&terms))).collect();
        let own: f64 = off.iter().map(|o| o * o).sum();
        let shared: f64 = off.windows(2).map(|w| w[0] * w[1]).sum();
        let alike = (shared / own.max(1e-12)).clamp(0.0, 0.9);
        let inflated = sigma * ((1.0 + alike) / (1.0 - alike)).sqrt();
        let se = |i: usize| inflated * inverse[(i, i)].max(0.0).sqrt();
        let spacing = terms[1] - terms[2] * terms[0];
        Fit {
            middle: origin + terms[0],
            spacing,
            tilt: terms[2],
            bend: terms[3],
            sigma,
            se: [se(1), se(2), se(3)],
        }
    }

    /// Places of the ticks along the ruler, in pixels that `lens` does not bend.
    fn straightened(&self, lens: Option<&Lens>) -> Vec<f64> {
        let straight = |s: f64| {
            let px = self.ribbon.place(s, self.zone);
            lens.map_or(px, |l| l.straighten(px))
        };
        let px: Vec<[f64; 2]> = self.places.iter().map(|s| straight(*s)).collect();
        let (a, b) = (px[0], px[px.len() - 1]);
        let long = distance(a, b).max(1e-9);
        px.iter().map(|p| ((p[0] - a[0]) * (b[0] - a[0]) + (p[1] - a[1]) * (b[1] - a[1])) / long).collect()
    }

    /// The ticks' spacing and its change with `known` lens, or else with the one radial term that makes them
    /// even; that lens, and the standard error of its term.
    fn unbent(&self, pixels: &Pixels, known: Option<&Lens>) -> (Fit, Lens, f64) {
        if let Some(lens) = known {
            return (self.fit(&self.straightened(known), None), *lens, CALIBRATED_BEND);
        }
        let mut k = 0.0;
        let step = 1e-3;
        let mut fit = self.fit(&self.straightened(None), None);
        let mut k_se = LIKELY_BEND;
        for _ in 0..3 {
            let places = self.straightened(Some(&Lens::radial(frame(pixels), k)));
            let farther = self.straightened(Some(&Lens::radial(frame(pixels), k + step)));
            let moved: Vec<f64> = farther.iter().zip(&places).map(|(a, b)| (a - b) / step).collect();
            fit = self.fit(&places, Some((&moved, [LIKELY_BEND, k])));
            k = (k + fit.bend).clamp(-4.0 * LIKELY_BEND, 4.0 * LIKELY_BEND);
            k_se = fit.se[2];
        }
        (fit, Lens::radial(frame(pixels), k), k_se)
    }

    /// The ruler, when ticks are `pitch_mm` apart.
    pub(super) fn ruler(
        &self,
        pitch_mm: f64,
        length_mm: f64,
        pixels: &Pixels,
        known: Option<&Lens>,
    ) -> Ruler {
        let (Fit { middle, spacing, tilt, se, .. }, lens, bend_se) = self.unbent(pixels, known);
        let (w, h) = frame(pixels);
        let diagonal = w.hypot(h) / 2.0;
        // The spacing changes by -2 a a tick; a half-diagonal holds diagonal / spacing ticks.
        let per_half = 2.0 * diagonal / spacing;
        let (first, last) = (self.places[0], self.places[self.places.len() - 1]);
        let ends = [self.ribbon.place(first, self.zone), self.ribbon.place(last, self.zone)];
        let [p, q] = ends.map(|e| lens.straighten(e));
        let share = middle / distance(p, q).max(1e-9);
        let middle = [0, 1].map(|i| p[i] + share * (q[i] - p[i]));
        Ruler {
            mm_per_px: pitch_mm / spacing,
            relative_se: se[0] / spacing,
            gradient: -tilt * per_half,
            gradient_se: se[1] * per_half,
            lens,
            bend_se,
            middle,
            length_mm,
            pitch_mm,
            ends,
            outline: self.outline(),
        }
    }

    /// Outline of the strokes, pixels.
    pub(super) fn outline(&self) -> Vec<[f64; 2]> {
        let spacing = self.fit(&self.places, None).spacing;
        let [above, below] = self.reach.map(|rows| rows + 3.0);
        let (a, b) = (self.places[0] - spacing, self.places[self.places.len() - 1] + spacing);
        [(a, -above), (b, -above), (b, below), (a, below)]
            .map(|(s, t)| self.ribbon.place(s, self.zone + t))
            .to_vec()
    }

    /// Whether the ticks stand as evenly as a graduation's, tilt and lens taken out.
    pub(super) fn even(&self, pixels: &Pixels, known: Option<&Lens>) -> bool {
        let Fit { spacing, sigma, .. } = self.unbent(pixels, known).0;
        spacing > 0.0 && sigma < EVEN * spacing
    }
}
