//! The full-resolution picture around one candidate.

use super::bubbles::{Bubble, take_off};
use super::{glints, shadows};
use crate::imaging::components::{self, Region};
use crate::imaging::{Plane, blur::gaussian, distance, plane::noise_about_zero, plane::quantile};
use crate::photo::Pixels;
use crate::segmentation::{Candidate, Ground, Labels, Polarity, bridge, without_haze};
use std::cell::OnceCell;

/// A large fish is measured at the reduction that leaves it about this many pixels long: more adds time, not
/// accuracy.
const ENOUGH_LENGTH: f64 = 480.0;

/// A trunk below so many standard deviations of the noise is noisy, and its tail below one of them; a noisy fish is measured
/// at about this many pixels or more (by trying, rendered fish).
const NOISY: f32 = 10.0;
const ENOUGH_IF_NOISY: f64 = 200.0;
/// Of larger crops every so many pixels are read to learn what bare ground looks like.
const ENOUGH_PIXELS: usize = 20_000;

/// Ink around one candidate, at photograph resolution or a whole-number reduction of it.
#[derive(Debug, Clone)]
pub struct Crop {
    /// Photograph coordinates of the centre of crop pixel (0, 0).
    pub origin: [f64; 2],
    /// Photograph pixels to a crop pixel.
    pub bin: usize,
    /// Which way fish depart from the ground.
    pub polarity: Polarity,
    /// Whether the light comes from above, so that bodies throw shadows on the ground beside them.
    pub shadows: bool,
    /// Ink, smoothed by `SMOOTH` crop pixels, zero on the local background.
    pub ink: Plane<f32>,
    /// Pixels that may belong to this candidate: lit, and not another candidate's.
    pub allowed: Plane<bool>,
    /// The body: ink above the threshold, joined to the candidate.
    body: Plane<bool>,
    /// What [`Crop::depth`] gives, once it was asked for.
    depth: OnceCell<Plane<f32>>,
    /// Standard deviation of the smoothed ink on bare background.
    pub noise: f32,
    /// Ink of the trunk: near the median over the candidate, shadows left out.
    pub trunk: f32,
    /// Ink below which nothing is taken for a part of the body.
    pub faintest: f32,
    /// Ink at which the body was cut out.
    pub threshold: f32,
    /// Air bubbles and other rings of the body, those included that were taken off it.
    pub bubbles: Vec<Bubble>,
    /// Whether the body reaches the edge of the photograph.
    pub at_frame: bool,
    /// Whether the body reaches ground that is lit otherwise (the edge of a light pad).
    pub at_unlit: bool,
}

/// Smoothing of the crop in crop pixels.
const SMOOTH: f32 = 0.8;
/// Crop pixels that make one independent reading after it: the area of a Gaussian's autocorrelation.
pub const PIXELS_SHARING_NOISE: f64 = 4.0 * std::f64::consts::PI * (SMOOTH * SMOOTH) as f64;

/// Where the trunk's ink is read among that of all of a body, its fins included.
pub(super) const TRUNK: f64 = 0.6;

/// Share of a candidate that must be left when glints are taken off.
const LEFT: f64 = 0.3;

/// Ink of a shadow at most, as a share of the ink of what is denser than three quarters.
const SHADOW: f32 = 0.3;

/// The faintest fin absorbs more than this share of the light behind it, however deep the trunk: it is judged by
/// itself.
const LEAST_ABSORBED: f32 = 0.004;
/// Under light from above what is fainter than this share of the trunk may be its shadow.
const SHADE: f32 = 0.07;
/// The faintest fin scatters more than this share of what the trunk scatters: both stand in the same light, and
/// the unit of ink on a dark ground is no physical one.
const LEAST_SCATTERED: f32 = 0.05;

impl Crop {
    /// The body: ink above the threshold, joined to the candidate.
    pub fn body(&self) -> &Plane<bool> {
        &self.body
    }

    /// Takes another body.
    pub fn set_body(&mut self, body: Plane<bool>) {
        self.body = body;
        self.depth = OnceCell::new();
    }

    /// Crop pixels from each pixel of the body to the nearest one outside, 0 outside.
    pub fn depth(&self) -> &Plane<f32> {
        self.depth.get_or_init(|| distance::euclidean(&self.body))
    }

    /// The part of the body with ink of `limit` and more.
    pub fn denser(&self, limit: f32) -> Plane<bool> {
        Plane {
            width: self.ink.width,
            height: self.ink.height,
            data: self.ink.data.iter().zip(&self.body.data).map(|(v, b)| *b && *v >= limit).collect(),
        }
    }

    /// Whether the body holds crop pixel `p`.
    pub fn owns(&self, p: [f64; 2]) -> bool {
        self.body.nearest_or(p[0], p[1], false)
    }

    /// Crop coordinates to photograph coordinates.
    pub fn to_photo(&self, p: [f64; 2]) -> [f64; 2] {
        [self.origin[0] + p[0] * self.bin as f64, self.origin[1] + p[1] * self.bin as f64]
    }

    /// Photograph coordinates to crop coordinates.
    pub fn in_crop(&self, p: [f64; 2]) -> [f64; 2] {
        [0, 1].map(|i| (p[i] - self.origin[i]) / self.bin as f64)
    }

    /// Cuts out `candidate`; a body that hardly stands out from the noise of a pixel is cut out again at a reduction that
    /// averages four of them, while enough pixels are left.
    pub fn cut(pixels: &Pixels, ground: &Ground, labels: &Labels, candidate: &Candidate) -> Option<Self> {
        let extent = extent(ground, candidate);
        let mut bin = ((extent as f64 / ENOUGH_LENGTH).floor() as usize).max(1);
        let mut crop = Self::cut_at(pixels, ground, labels, candidate, bin)?;
        while crop.trunk < NOISY * crop.noise && extent as f64 >= 2.0 * ENOUGH_IF_NOISY * bin as f64 {
            bin *= 2;
            crop = Self::cut_at(pixels, ground, labels, candidate, bin)?;
        }
        Some(crop)
    }

    /// Cuts out `candidate` at `bin` photograph pixels to a crop pixel.
    fn cut_at(
        pixels: &Pixels,
        ground: &Ground,
        labels: &Labels,
        candidate: &Candidate,
        bin: usize,
    ) -> Option<Self> {
        let f = ground.factor;
        let r = &candidate.region;
        let pad = (extent(ground, candidate) / 6 + 12).max(4 * f);
        let x0 = (r.x0 as usize * f).saturating_sub(pad);
        let y0 = (r.y0 as usize * f).saturating_sub(pad);
        let x1 = ((r.x1 as usize + 1) * f + pad).min(pixels.width as usize);
        let y1 = ((r.y1 as usize + 1) * f + pad).min(pixels.height as usize);
        let (w, h) = ((x1 - x0) / bin, (y1 - y0) / bin);
        if w < 8 || h < 8 {
            return None;
        }
        let half = 0.5 * (bin as f64 - 1.0);
        let origin = [x0 as f64 + half, y0 as f64 + half];
        let mut raw = ink(pixels, ground, x0, y0, bin, w, h);
        let columns: Vec<usize> = (0..w).map(|x| ((x0 + x * bin) / f).min(labels.width - 1)).collect();
        let rows: Vec<usize> = (0..h).map(|y| ((y0 + y * bin) / f).min(labels.height - 1)).collect();
        if let Some(lamp) = &ground.lamp {
            bridge(&mut raw, |x, y| lamp.across(columns[x], rows[y]));
        }
        let mut ink = gaussian(&raw, SMOOTH);

        let mut allowed = Plane::filled(w, h, true);
        let mut own = Plane::filled(w, h, false);
        let mut bare = Plane::filled(w, h, true);
        let mut unlit = Plane::filled(w, h, false);
        for (y, sy) in rows.into_iter().enumerate() {
            let (labels, lit) = (labels.row(sy), ground.lit.row(sy));
            for (i, sx) in (y * w..).zip(&columns) {
                let (label, lit) = (labels[*sx], lit[*sx]);
                allowed.data[i] = lit && (label == 0 || label == candidate.label);
                own.data[i] = label == candidate.label;
                bare.data[i] = lit && label == 0;
                unlit.data[i] = !lit;
            }
        }
        let mut outside: Vec<f32> = ink
            .data
            .iter()
            .zip(&bare.data)
            .step_by((w * h / ENOUGH_PIXELS).max(1) | 1)
            .filter(|(_, b)| **b)
            .map(|(v, _)| *v)
            .collect();
        // A faint fin fold or a shadow lies beside the body: the lower half of the bare pixels is the ground.
        let offset = quantile(&mut outside, 0.45).unwrap_or(0.0);
        for v in &mut ink.data {
            *v -= offset;
        }
        let noise = noise_about_zero(outside.iter().map(|v| v - offset)).unwrap_or(0.01).max(0.001);
        if ground.polarity == Polarity::BrightFish {
            take_off_glints(&raw, ground, &ink, &mut own, &mut allowed, origin, bin);
        }
        let mut inside: Vec<f32> =
            ink.data.iter().zip(&own.data).filter(|(_, o)| **o).map(|(v, _)| *v).collect();
        let coloured = ground
            .lit_from_above()
            .then(|| shadows::tissue_ink(pixels, ground, [x0, y0, bin], &ink, &own, &bare))
            .flatten();
        let trunk = if let Some(coloured) = coloured {
            coloured
        } else if ground.lit_from_above() {
            // The shadow beside a body may cover more than the body does.
            let dense = quantile(&mut inside, 0.75)?;
            inside.retain(|v| *v >= SHADOW * dense);
            quantile(&mut inside, 0.5)?
        } else {
            quantile(&mut inside, TRUNK)?
        };
        let faintest = match ground.polarity {
            Polarity::DarkFish if ground.lit_from_above() => LEAST_ABSORBED.max(SHADE * trunk),
            Polarity::DarkFish => LEAST_ABSORBED,
            Polarity::BrightFish => LEAST_SCATTERED * trunk,
        };
        let threshold = above_ground(noise, trunk);
        let body = filled(&joined(&ink, &allowed, &own, threshold), w, h);
        let mut crop = Self {
            origin,
            bin,
            polarity: ground.polarity,
            shadows: ground.lit_from_above(),
            ink,
            allowed,
            body,
            depth: OnceCell::new(),
            noise,
            trunk,
            faintest,
            threshold,
            bubbles: Vec::new(),
            at_frame: false,
            at_unlit: false,
        };
        crop.bubbles = take_off(&mut crop, &own);
        crop.at_frame = reaches_frame(&crop.body, [x0, y0, x1, y1], pixels);
        crop.at_unlit = reaches_unlit(&crop.body, &unlit);
        Some(crop)
    }
}

/// Ink at which a body is cut out.
pub(super) fn above_ground(noise: f32, trunk: f32) -> f32 {
    (3.0 * noise).max(0.3 * trunk)
}

/// Longer side of the box round a candidate, photograph pixels.
fn extent(ground: &Ground, candidate: &Candidate) -> usize {
    candidate.region.width().max(candidate.region.height()) as usize * ground.factor
}

/// Takes the glints beside a body on a dark ground off what may belong to it, unless nothing would be left.
fn take_off_glints(
    raw: &Plane<f32>,
    ground: &Ground,
    ink: &Plane<f32>,
    own: &mut Plane<bool>,
    allowed: &mut Plane<bool>,
    origin: [f64; 2],
    bin: usize,
) {
    let (sx, sy) = ground
        .to_search(origin[0] + 0.5 * (raw.width * bin) as f64, origin[1] + 0.5 * (raw.height * bin) as f64);
    let lamp = (glints::LAMP - ground.luma.at(sx, sy)) / ground.white;
    let Some(off) = glints::beside(raw, lamp, ink, own) else { return };
    let all = own.data.iter().filter(|own| **own).count();
    let left = own.data.iter().zip(&off.data).filter(|(own, off)| **own && !**off).count();
    if (left as f64) < LEFT * all as f64 {
        return;
    }
    for ((own, allowed), off) in own.data.iter_mut().zip(&mut allowed.data).zip(&off.data) {
        *own &= !off;
        *allowed &= !off;
    }
}

/// Ink of every crop pixel. The background is evaluated every eighth pixel: it is smooth by construction.
fn ink(pixels: &Pixels, ground: &Ground, x0: usize, y0: usize, bin: usize, w: usize, h: usize) -> Plane<f32> {
    const STEP: usize = 8;
    let width = pixels.width as usize;
    let mut out = Plane::filled(w, h, 0.0f32);
    let share = 1.0 / (bin * bin) as f32;
    let knots = w.div_ceil(STEP) + 1;
    let mut bare = vec![[0.0f32; 3]; knots];
    let wants_blue = ground.blue_share > 0.0;
    let mut sums = vec![[0u32; 2]; w];
    let mut behind = vec![[0.0f32; 3]; w];
    for y in 0..h {
        let centre_y = (y0 + y * bin) as f64 + 0.5 * (bin as f64 - 1.0);
        for (k, b) in bare.iter_mut().enumerate() {
            let centre_x = (x0 + (k * STEP) * bin) as f64 + 0.5 * (bin as f64 - 1.0);
            let (sx, sy) = ground.to_search(centre_x, centre_y);
            let [luma, blue] = ground.luma_and_blue(sx, sy);
            let (haze, shadow) = (ground.haze_at(centre_x, centre_y), ground.shadow_at(centre_x, centre_y));
            *b = [luma, blue, haze + (1.0 - haze) * shadow];
        }
        sums.fill([0; 2]);
        for yy in y0 + y * bin..y0 + (y + 1) * bin {
            let row = &pixels.luma[yy * width + x0..][..w * bin];
            for (sum, square) in sums.iter_mut().zip(row.chunks_exact(bin)) {
                sum[0] += square.iter().map(|v| u32::from(*v)).sum::<u32>();
            }
            if let Some(c) = pixels.chroma.as_ref().filter(|_| wants_blue) {
                let line = &c.cb[(yy / 2) * c.width as usize..];
                for (x, sum) in sums.iter_mut().enumerate() {
                    let from = x0 + x * bin;
                    sum[1] += (from..from + bin).map(|xx| u32::from(line[xx / 2])).sum::<u32>();
                }
            }
        }
        for (row, ends) in behind.chunks_mut(STEP).zip(bare.windows(2)) {
            let step: [f32; 3] = std::array::from_fn(|c| (ends[1][c] - ends[0][c]) / STEP as f32);
            for (x, behind) in row.iter_mut().enumerate() {
                *behind = std::array::from_fn(|c| ends[0][c] + x as f32 * step[c]);
            }
        }
        let seen = sums.iter().map(|[luma, cb]| {
            let luma = *luma as f32 * share;
            (luma, luma + 1.772 * (*cb as f32 * share - 128.0))
        });
        let pixels = out.data[y * w..(y + 1) * w].iter_mut().zip(seen).zip(&behind);
        for ((out, (luma, blue)), [bare_luma, bare_blue, haze]) in pixels {
            *out = without_haze(ground.ink_of(luma, blue, *bare_luma, *bare_blue), *haze, ground.polarity);
        }
    }
    out
}

/// The pieces of what may belong to a candidate that have ink of `threshold` and more and are joined to its own pixels.
pub(super) fn joined(
    ink: &Plane<f32>,
    allowed: &Plane<bool>,
    own: &Plane<bool>,
    threshold: f32,
) -> Vec<Region> {
    let mut mask = allowed.clone();
    for (mask, ink) in mask.data.iter_mut().zip(&ink.data) {
        *mask &= *ink >= threshold;
    }
    let mut pieces = components::regions(&mask, 6);
    pieces.retain(|piece| {
        let joined = piece.pixels.iter().filter(|&&(x, y)| own.at(x as usize, y as usize)).count();
        joined * 3 >= piece.pixels.len() || joined > 30
    });
    pieces
}

/// The body that pieces make: what is bright within it, as the core of a bladder is, is filled.
pub(super) fn filled(pieces: &[Region], width: usize, height: usize) -> Plane<bool> {
    let mut body = Plane::filled(width, height, false);
    for &(x, y) in pieces.iter().flat_map(|piece| &piece.pixels) {
        body.set(x as usize, y as usize, true);
    }
    let area = body.data.iter().filter(|v| **v).count();
    components::fill_holes(&mut body, area / 5);
    body
}

/// Whether a body, in the box from `x0`, `y0` to `x1`, `y1` of the photograph, reaches the photograph's edge.
fn reaches_frame(body: &Plane<bool>, [x0, y0, x1, y1]: [usize; 4], pixels: &Pixels) -> bool {
    let (w, h) = (body.width, body.height);
    let edges = [
        (x0 == 0, 0..1, 0..h),
        (x1 == pixels.width as usize, w - 1..w, 0..h),
        (y0 == 0, 0..w, 0..1),
        (y1 == pixels.height as usize, 0..w, h - 1..h),
    ];
    edges
        .into_iter()
        .any(|(edge, columns, mut rows)| edge && rows.any(|y| columns.clone().any(|x| body.at(x, y))))
}

/// Whether a body reaches ground that is lit otherwise.
fn reaches_unlit(body: &Plane<bool>, unlit: &Plane<bool>) -> bool {
    (0..body.height).any(|y| {
        (0..body.width).any(|x| {
            body.at(x, y)
                && [(-2, 0), (2, 0), (0, -2), (0, 2)]
                    .iter()
                    .any(|(dx, dy)| unlit.get_or(x as i64 + dx, y as i64 + dy, false))
        })
    })
}
