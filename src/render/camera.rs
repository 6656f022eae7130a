//! From linear light to the picture a camera stores: blur, noise, tone, JPEG.

use super::canvas::{Canvas, Rgb};
use super::dice::{Dice, mix};
use image::RgbImage;

/// The camera and how it was held.
#[derive(Debug, Clone)]
pub(super) struct Camera {
    /// Standard deviation of lens and focus blur, pixels.
    pub blur: f64,
    /// Length of motion blur, pixels, and its direction, radians.
    pub motion: (f64, f64),
    /// Light lost in the corners, 0-0.5.
    pub vignette: f64,
    /// Multiplies the light: white balance and exposure.
    pub gain: [f64; 3],
    /// Standard deviation of noise at white, share of white.
    pub noise: f64,
    /// Standard deviation of noise in the dark, share of white.
    pub read_noise: f64,
    /// Blur of the noise by in-camera noise reduction, pixels.
    pub smear: f64,
    /// Tone curve: 1 is plain sRGB, more is more contrast.
    pub contrast: f64,
    /// Strength of in-camera sharpening, 0-1.
    pub sharpen: f64,
    /// Amplitude of row banding, share of the light.
    pub banding: f64,
    /// A camera without colour.
    pub grey: bool,
    /// JPEG quality the camera used; `None` for a lossless file.
    pub quality: Option<u8>,
}

impl Camera {
    /// A decent camera on a stand.
    pub fn steady(dice: &mut Dice) -> Self {
        let cast = dice.within(-0.05, 0.05);
        Self {
            blur: dice.within(0.6, 1.15),
            motion: (0.0, 0.0),
            vignette: dice.within(0.0, 0.18),
            gain: [1.0 + cast, 1.0, 1.0 - cast],
            noise: dice.log_within(0.004, 0.015),
            read_noise: dice.log_within(0.0008, 0.003),
            smear: 0.0,
            contrast: dice.within(0.95, 1.2),
            sharpen: if dice.chance(0.5) { dice.within(0.1, 0.7) } else { 0.0 },
            banding: 0.0,
            grey: false,
            quality: Some(dice.count(80, 95) as u8),
        }
    }

    /// A phone in the hand: softer, noisier, more processed.
    pub fn phone(dice: &mut Dice) -> Self {
        let cast = dice.within(-0.14, 0.14);
        let motion = if dice.chance(0.6) { dice.within(1.0, 5.0) } else { 0.0 };
        Self {
            blur: dice.within(1.0, 2.1),
            motion: (motion, dice.angle()),
            vignette: dice.within(0.05, 0.4),
            gain: [1.0 + cast, 1.0, 1.0 - cast + dice.within(-0.05, 0.05)],
            noise: dice.log_within(0.012, 0.05),
            read_noise: dice.log_within(0.002, 0.008),
            smear: if dice.chance(0.6) { dice.within(0.4, 0.9) } else { 0.0 },
            contrast: dice.within(0.9, 1.35),
            sharpen: if dice.chance(0.7) { dice.within(0.2, 1.0) } else { 0.0 },
            banding: if dice.chance(0.3) { dice.within(0.002, 0.01) } else { 0.0 },
            grey: false,
            quality: Some(dice.count(60, 80) as u8),
        }
    }

    /// Takes the picture of the light on `canvas`.
    pub fn take(&self, mut canvas: Canvas, dice: &mut Dice) -> RgbImage {
        let (width, height) = (canvas.width, canvas.height);
        if self.motion.0 > 0.3 {
            canvas = shake(&canvas, self.motion);
        }
        canvas.blur(self.blur);
        let (cx, cy) = (0.5 * width as f64, 0.5 * height as f64);
        let far = cx.hypot(cy);
        let period = dice.within(30.0, 300.0);
        let phase = dice.angle();
        if self.grey {
            for pixel in &mut canvas.data {
                // ITU-R BT.709 luminance of linear light.
                *pixel = [0.2126 * pixel[0] + 0.7152 * pixel[1] + 0.0722 * pixel[2]; 3];
            }
        }
        let mut noise = Noise::new(dice);
        let smear = self.smear;
        let grain = if smear > 0.0 { 1.0 + 1.6 * smear } else { 1.0 };
        for (y, row) in canvas.data.chunks_exact_mut(width).enumerate() {
            let band = 1.0 + self.banding * (std::f64::consts::TAU * y as f64 / period + phase).sin();
            let dy = (y as f64 - cy) / far;
            for (x, pixel) in row.iter_mut().enumerate() {
                let dx = (x as f64 - cx) / far;
                let fall = band * (1.0 - self.vignette * (dx * dx + dy * dy));
                let mut gauss = noise.three();
                if self.grey {
                    gauss = [gauss[0]; 3];
                }
                for c in 0..3 {
                    let light =
                        pixel[c].max(0.0) * ((if self.grey { 1.0 } else { self.gain[c] }) * fall) as f32;
                    // Photon noise grows with the root of the light, read noise does not.
                    let sigma = ((self.noise * self.noise) as f32 * light
                        + (self.read_noise * self.read_noise) as f32)
                        .sqrt();
                    pixel[c] = light + grain as f32 * sigma * gauss[c];
                }
            }
        }
        if smear > 0.0 {
            canvas.blur(smear);
        }
        let table = tone_table(self.contrast);
        let mut values: Vec<Rgb> = canvas
            .data
            .iter()
            .map(|p| p.map(|v| table[(v.clamp(0.0, 1.0) * (table.len() - 1) as f32) as usize]))
            .collect();
        if self.sharpen > 0.0 {
            sharpen(&mut values, width, height, self.sharpen as f32);
        }
        let bytes = values.iter().flatten().map(|v| (v + 0.5).clamp(0.0, 255.0) as u8).collect();
        let image = RgbImage::from_raw(width as u32, height as u32, bytes).unwrap_or_default();
        match self.quality {
            Some(quality) => super::jpeg::round_trip(&image, quality),
            None => image,
        }
    }
}

/// sRGB (IEC 61966-2-1) with a little more or less contrast around middle grey, 0-255, by linear light.
fn tone_table(contrast: f64) -> Vec<f32> {
    (0..=8191)
        .map(|i| {
            let light = f64::from(i) / 8191.0;
            let srgb =
                if light <= 0.003_130_8 { 12.92 * light } else { 1.055 * light.powf(1.0 / 2.4) - 0.055 };
            // An S around one half that keeps black and white.
            let s = srgb.powf(contrast) / (srgb.powf(contrast) + (1.0 - srgb).powf(contrast));
            (255.0 * s) as f32
        })
        .collect()
}

/// Unsharp masking on the stored values, with the bright and dark halos it leaves.
fn sharpen(values: &mut [Rgb], width: usize, height: usize, amount: f32) {
    let mut soft = values.to_vec();
    super::canvas::blur(&mut soft, width, height, 1.2);
    for (v, s) in values.iter_mut().zip(&soft) {
        for c in 0..3 {
            v[c] += amount * (v[c] - s[c]);
        }
    }
}

/// Motion blur: the mean of the canvas along a short line.
fn shake(canvas: &Canvas, (length, direction): (f64, f64)) -> Canvas {
    let steps = (2.0 * length).ceil().max(2.0) as usize;
    let (sin, cos) = direction.sin_cos();
    let mut out = Canvas::new(canvas.width, canvas.height, [0.0; 3]);
    for k in 0..steps {
        let t = length * ((k as f64 + 0.5) / steps as f64 - 0.5);
        let (dx, dy) = (t * cos, t * sin);
        let (fx, fy) = (dx.floor(), dy.floor());
        let (a, b) = ((dx - fx) as f32, (dy - fy) as f32);
        let weights = [(1.0 - a) * (1.0 - b), a * (1.0 - b), (1.0 - a) * b, a * b];
        let column = |x: i64| x.clamp(0, canvas.width as i64 - 1) as usize;
        for y in 0..canvas.height {
            let rows = [0, 1].map(|j| {
                (y as i64 + fy as i64 + j).clamp(0, canvas.height as i64 - 1) as usize * canvas.width
            });
            for x in 0..canvas.width {
                let (x0, x1) = (column(x as i64 + fx as i64), column(x as i64 + fx as i64 + 1));
                let taps = [rows[0] + x0, rows[0] + x1, rows[1] + x0, rows[1] + x1];
                let o = &mut out.data[y * canvas.width + x];
                for (w, t) in weights.iter().zip(taps) {
                    for c in 0..3 {
                        o[c] += w * canvas.data[t][c] / steps as f32;
                    }
                }
            }
        }
    }
    out
}

/// A fast stream of normal deviates from a table, for sensor noise only.
struct Noise {
    table: Vec<f32>,
    state: u64,
}

impl Noise {
    fn new(dice: &mut Dice) -> Self {
        Self { table: (0..65_536).map(|_| dice.normal() as f32).collect(), state: dice.bits() }
    }

    fn three(&mut self) -> [f32; 3] {
        self.state = self.state.wrapping_add(1);
        let bits = mix(self.state);
        [0, 16, 32].map(|shift| self.table[(bits >> shift) as usize & 0xffff])
    }
}
