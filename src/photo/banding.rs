//! Bands that a flickering lamp leaves across a photograph: sensors are read row by row, and lamps that are dimmed by
//! switching, as LED pads are, go on and off meanwhile.
//!
//! Bands take the same share of the light all along a row (along a column, where the camera was held upright), and repeat.
//! What does not repeat, or is no wider than a part of the frame, is a thing and stays.

use super::Pixels;
use crate::imaging::plane::{noise_about_zero, quantile};
use nalgebra::{DMatrix, DVector};
use std::borrow::Cow;
use std::f64::consts::TAU;

/// Parts of a row whose departures from their neighbourhoods are compared: a band is in most of them, a fish in few.
const PARTS: usize = 48;
/// Parts darker than this share of the brightest tell nothing of the lamp.
const LIT: f32 = 0.5;
/// The neighbourhood, as a share of the longer side; slower changes are uneven light, which the search flattens anyway.
const NEIGHBOURHOOD: f64 = 1.0 / 6.0;
/// Longest period, as a share of the neighbourhood, and shortest, pixels: the fastest overtone must be longer than two.
const LONGEST: f64 = 0.5;
const SHORTEST: f64 = 8.0;
/// Faintest bands, as a share of the light, that are worth taking out.
const FAINTEST: f64 = 0.0015;
/// Share of the rows' variance that one repeating shape must explain: walls and rulers do not repeat.
const EXPLAINED: f64 = 0.5;
/// Overtones that are fitted: exposure smooths a switched lamp's.
const HARMONICS: usize = 3;
/// Departures beyond so many standard deviations count no further.
const CLIP: f64 = 3.0;

/// The photograph without bands in its brightness; itself where there are none. The limits of this file are by trying,
/// rendered photographs.
pub fn without_banding(pixels: &Pixels) -> Cow<'_, Pixels> {
    let (w, h) = (pixels.width as usize, pixels.height as usize);
    let read = |means: &[[f32; PARTS]]| Bands::read(&departures(means, w.max(h)), w.max(h));
    let across = read(&means(&pixels.luma, w, h)).map(|bands| (bands, true));
    let down = read(&turned_means(&pixels.luma, w, h)).map(|bands| (bands, false));
    let stronger = across.into_iter().chain(down).max_by(|a, b| a.0.strength.total_cmp(&b.0.strength));
    let Some((bands, along_rows)) = stronger else { return Cow::Borrowed(pixels) };
    let factor = |i: usize| (1.0 / (1.0 + bands.at(i as f64))) as f32;
    let factors: Vec<f32> = (0..if along_rows { h } else { w }).map(factor).collect();
    let mut steady = pixels.clone();
    for (y, row) in steady.luma.chunks_exact_mut(w).enumerate() {
        for (x, v) in row.iter_mut().enumerate() {
            let factor = factors[if along_rows { y } else { x }];
            *v = (f32::from(*v) * factor).round().clamp(0.0, 255.0) as u8;
        }
    }
    Cow::Owned(steady)
}

/// Mean brightness of every part of every row: [`PARTS`] values a row.
fn means(luma: &[u8], w: usize, h: usize) -> Vec<[f32; PARTS]> {
    let bound = |part: usize| part * w / PARTS;
    let part = |row: &[u8], i: usize| {
        let values = &row[bound(i)..bound(i + 1)];
        values.iter().map(|v| u32::from(*v)).sum::<u32>() as f32 / values.len().max(1) as f32
    };
    luma.chunks_exact(w).take(h).map(|row| std::array::from_fn(|i| part(row, i))).collect()
}

/// The same of every column.
fn turned_means(luma: &[u8], w: usize, h: usize) -> Vec<[f32; PARTS]> {
    let mut means = vec![[0.0f32; PARTS]; w];
    let mut sums = vec![0u32; w];
    for part in 0..PARTS {
        let rows = part * h / PARTS..(part + 1) * h / PARTS;
        let n = rows.len().max(1) as f32;
        sums.fill(0);
        for y in rows {
            sums.iter_mut().zip(&luma[y * w..(y + 1) * w]).for_each(|(sum, v)| *sum += u32::from(*v));
        }
        means.iter_mut().zip(&sums).for_each(|(mean, sum)| mean[part] = *sum as f32 / n);
    }
    means
}

/// Of every row, the median over its lit parts of how far each departs from its neighbourhood, as a share of it.
fn departures(means: &[[f32; PARTS]], side: usize) -> Vec<f64> {
    let n = means.len();
    let reach = (0.5 * NEIGHBOURHOOD * side as f64) as usize;
    let mut all: Vec<f32> = means.iter().flatten().copied().collect();
    let lit = LIT * quantile(&mut all, 0.95).unwrap_or(0.0);
    let mut sums = vec![[0.0f64; PARTS]; n + 1];
    for (i, row) in means.iter().enumerate() {
        sums[i + 1] = std::array::from_fn(|p| sums[i][p] + f64::from(row[p]));
    }
    (0..n)
        .map(|i| {
            // As far to both sides, so that a slope counts for nothing.
            let reach = reach.min(i).min(n - 1 - i);
            let (from, to) = (i - reach, i + reach + 1);
            let mut departures: Vec<f32> = (0..PARTS)
                .filter_map(|p| {
                    let around = ((sums[to][p] - sums[from][p]) / (to - from) as f64) as f32;
                    (around > lit).then(|| means[i][p] / around - 1.0)
                })
                .collect();
            // Fewer than a quarter of the parts are no pad.
            if departures.len() * 4 < PARTS {
                return 0.0;
            }
            quantile(&mut departures, 0.5).map_or(0.0, f64::from)
        })
        .collect()
}

/// A shape that repeats along the rows.
struct Bands {
    /// Radians a row.
    frequency: f64,
    /// Cosine and sine of each harmonic, as shares of the light.
    parts: Vec<[f64; 2]>,
    /// Amplitude of the first harmonic.
    strength: f64,
}

impl Bands {
    /// The bands in the departures of rows; `None` where nothing repeats.
    fn read(departures: &[f64], side: usize) -> Option<Self> {
        let n = departures.len();
        let spread = f64::from(noise_about_zero(departures.iter().map(|v| *v as f32))?);
        if spread < 0.5 * FAINTEST {
            return None;
        }
        let clipped: Vec<f64> = departures.iter().map(|v| v.clamp(-CLIP * spread, CLIP * spread)).collect();
        let longest = LONGEST * NEIGHBOURHOOD * side as f64;
        let cycles = (n as f64 / longest).ceil().max(2.0) as usize..(n as f64 / SHORTEST) as usize;
        let angle = |cycles: f64| TAU * cycles / n as f64;
        let best = |candidates: &[f64]| {
            let powers = candidates.chunks(ABREAST).flat_map(|some| {
                let angles = std::array::from_fn(|i| angle(some[i.min(some.len() - 1)]));
                some.iter().copied().zip(goertzel(&clipped, angles))
            });
            powers.max_by(|a, b| a.1.total_cmp(&b.1)).map(|(cycles, _)| cycles)
        };
        let whole = best(&cycles.map(|c| c as f64).collect::<Vec<_>>())?;
        let fine = best(&(-10..=10).map(|k| whole + 0.1 * f64::from(k)).collect::<Vec<_>>())?;
        let bands = Self::fit(&clipped, angle(fine))?;
        let variance = |values: &mut dyn Iterator<Item = f64>| values.map(|v| v * v).sum::<f64>();
        let left = variance(&mut clipped.iter().enumerate().map(|(i, v)| v - bands.at(i as f64)));
        let explained = 1.0 - left / variance(&mut clipped.iter().copied());
        (bands.strength >= FAINTEST && explained >= EXPLAINED).then_some(bands)
    }

    /// Least squares for the harmonics of a frequency.
    fn fit(values: &[f64], frequency: f64) -> Option<Self> {
        let basis = |row: usize, column: usize| {
            let angle = (column / 2 + 1) as f64 * frequency * row as f64;
            if column.is_multiple_of(2) { angle.cos() } else { angle.sin() }
        };
        let x = DMatrix::from_fn(values.len(), 2 * HARMONICS, basis);
        let y = DVector::from_column_slice(values);
        let weights = (x.transpose() * &x).cholesky()?.solve(&(x.transpose() * y));
        let parts: Vec<[f64; 2]> = weights.as_slice().chunks(2).map(|part| [part[0], part[1]]).collect();
        Some(Self { frequency, strength: parts[0][0].hypot(parts[0][1]), parts })
    }

    /// The departure of a row.
    fn at(&self, row: f64) -> f64 {
        let harmonics = (1..).zip(&self.parts);
        harmonics
            .map(|(k, [cos, sin])| {
                let angle = f64::from(k) * self.frequency * row;
                cos * angle.cos() + sin * angle.sin()
            })
            .sum()
    }
}

/// Frequencies that [`goertzel`] takes at a time: each waits for its own last step only.
const ABREAST: usize = 8;

/// Squared magnitudes of the Fourier sum at frequencies in radians a value (Goertzel 1958, doi 10.2307/2310304; from
/// memory).
fn goertzel(values: &[f64], frequencies: [f64; ABREAST]) -> [f64; ABREAST] {
    let twice = frequencies.map(|f| 2.0 * f.cos());
    let (mut last, mut before) = ([0.0; ABREAST], [0.0; ABREAST]);
    for v in values {
        let next = std::array::from_fn(|i| v + twice[i] * last[i] - before[i]);
        (last, before) = (next, last);
    }
    std::array::from_fn(|i| last[i] * last[i] + before[i] * before[i] - twice[i] * last[i] * before[i])
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A bright frame of 600 by 420 pixels with some grain, its brightness times `shade` of column and row.
    fn frame(shade: impl Fn(f64, f64) -> f64) -> Pixels {
        let (width, height) = (600_u32, 420_u32);
        let level = |i: u32| {
            let grain = f64::from(i.wrapping_mul(2_654_435_761) >> 16) / 65_535.0 - 0.5;
            ((200.0 + 8.0 * grain) * shade(f64::from(i % width), f64::from(i / width))).round() as u8
        };
        Pixels { width, height, luma: (0..width * height).map(level).collect(), chroma: None }
    }

    /// Standard deviation of the rows' means, as a share of the mean.
    fn unsteadiness(pixels: &Pixels) -> f64 {
        let rows = pixels.luma.chunks_exact(pixels.width as usize);
        let means: Vec<f64> =
            rows.map(|row| row.iter().map(|v| f64::from(*v)).sum::<f64>() / row.len() as f64).collect();
        let mean = means.iter().sum::<f64>() / means.len() as f64;
        (means.iter().map(|m| (m / mean - 1.0).powi(2)).sum::<f64>() / means.len() as f64).sqrt()
    }

    #[test]
    fn bands_go_and_a_fish_across_them_stays() {
        let fish = |x: f64, y: f64| (100.0..300.0).contains(&x) && (200.0..215.0).contains(&y);
        let banded = frame(|x, y| (1.0 + 0.02 * (TAU * y / 23.7).sin()) * if fish(x, y) { 0.8 } else { 1.0 });
        let even = frame(|x, y| if fish(x, y) { 0.8 } else { 1.0 });
        let steady = without_banding(&banded);
        let (before, after, without) = (unsteadiness(&banded), unsteadiness(&steady), unsteadiness(&even));
        assert!(before > 0.014 && after < without + 0.002, "{before} {after} {without}");
    }

    #[test]
    fn bands_of_a_camera_held_upright_and_of_a_switched_lamp_go() {
        let switched = |t: f64| if (t / 31.0).fract() < 0.5 { 1.015 } else { 0.985 };
        let upright = frame(|x, _| switched(x));
        let steady = without_banding(&upright);
        let turned = |p: &Pixels| {
            let at = |i: usize| p.luma[i % 420 * 600 + i / 420];
            Pixels { width: 420, height: 600, luma: (0..252_000).map(at).collect(), chroma: None }
        };
        assert!(unsteadiness(&turned(&steady)) < 0.4 * unsteadiness(&turned(&upright)));
    }

    #[test]
    fn walls_rulers_and_uneven_light_are_no_bands() {
        let wall = |y: f64| (y - 60.0).abs() < 5.0 || (y - 370.0).abs() < 5.0;
        let ruler = |x: f64, y: f64| x < 90.0 && y % 20.0 < 4.0;
        for pixels in [
            frame(|_, y| if wall(y) { 0.6 } else { 1.0 }),
            frame(|x, y| if ruler(x, y) { 0.3 } else { 1.0 }),
            frame(|x, y| 1.0 - 0.3 * (x / 600.0).powi(2) - 0.2 * y / 420.0),
            frame(|_, _| 1.0),
        ] {
            assert!(matches!(without_banding(&pixels), Cow::Borrowed(_)));
        }
    }

    /// Goertzel's sum against the discrete Fourier transform written out.
    #[test]
    fn the_fourier_sum_at_one_frequency() {
        let values: Vec<f64> = (0..50).map(|i| ((i * i) % 17) as f64).collect();
        let angle = TAU * 7.3 / 50.0;
        let [re, im] = values.iter().enumerate().fold([0.0, 0.0], |[re, im], (i, v)| {
            [re + v * (angle * i as f64).cos(), im + v * (angle * i as f64).sin()]
        });
        assert!((goertzel(&values, [angle; ABREAST])[3] / (re * re + im * im) - 1.0).abs() < 1e-9);
    }
}
