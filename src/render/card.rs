//! Photographs of a flat printed thing, a card or a ruler, with the plane known at every pixel.
//!
//! A pinhole camera looks at the plane from a known distance, tilted about a known axis; the lens bends
//! rays by a division model (not the reader's polynomial); then light, blur, glare, cover, colour and
//! noise. The reader's own geometry code is not used.

use super::dice::Dice;
use image::{Rgb, RgbImage};

/// Where the camera stands and what the light does.
#[derive(Debug, Clone)]
pub struct View {
    /// Width and height of the photograph.
    pub frame: [u32; 2],
    /// Pixels per millimetre at the aimed point.
    pub px_per_mm: f64,
    /// Distance of the lens from the aimed point, millimetres.
    pub distance_mm: f64,
    /// Tilt of the plane, radians.
    pub tilt: f64,
    /// Direction of the tilt axis, radians.
    pub tilt_axis: f64,
    /// Turn of the camera about its own axis, radians.
    pub turn: f64,
    /// Seen from below.
    pub mirrored: bool,
    /// Point of the plane at the centre of the frame, millimetres.
    pub aim: [f64; 2],
    /// Radial term of the lens at the corner.
    pub bend: f64,
    /// Standard deviation of the blur, pixels.
    pub blur: f64,
    /// Standard deviation of the noise, grey levels.
    pub noise: f64,
    /// Grey level of bare paper and of ink, 0-1.
    pub paper: f64,
    /// Grey level of ink.
    pub ink: f64,
    /// Share by which the light falls from one side of the frame to the other.
    pub falloff: f64,
    /// Glints: place in pixels, radius, strength.
    pub glare: Vec<([f64; 2], f64, f64)>,
    /// Covering discs: place in millimetres, radius, grey level.
    pub cover: Vec<([f64; 2], f64, f64)>,
    /// Gains of red, green and blue; equal for a black and white photograph.
    pub cast: [f64; 3],
}

impl View {
    /// A plain view of a point from straight above.
    pub fn plain(frame: [u32; 2], px_per_mm: f64, aim: [f64; 2]) -> Self {
        Self {
            frame,
            px_per_mm,
            distance_mm: 350.0,
            tilt: 0.0,
            tilt_axis: 0.0,
            turn: 0.0,
            mirrored: false,
            aim,
            bend: 0.0,
            blur: 0.7,
            noise: 2.0,
            paper: 0.85,
            ink: 0.12,
            falloff: 0.0,
            glare: Vec::new(),
            cover: Vec::new(),
            cast: [1.0; 3],
        }
    }

    /// A view drawn from wide ranges: any turn, tilt up to `tilt` radians, half of them mirrored or
    /// discoloured, uneven light, now and then glints and covers within `around` millimetres of the aim.
    pub fn drawn(seed: u64, frame: [u32; 2], px_per_mm: f64, aim: [f64; 2], tilt: f64, around: f64) -> Self {
        let mut dice = Dice::new(seed, 0x6361_7264);
        let mut view = Self::plain(frame, px_per_mm, aim);
        view.distance_mm = dice.log_within(180.0, 700.0);
        view.tilt = tilt * dice.within(0.0, 1.0).sqrt();
        view.tilt_axis = dice.angle();
        view.turn = dice.angle();
        view.mirrored = dice.chance(0.3);
        view.bend = dice.normal_within(0.0, 0.012, -0.03, 0.03);
        view.blur = dice.log_within(0.4, 0.18 * 0.6 * px_per_mm.max(8.0) + 0.5);
        view.noise = dice.within(0.5, 6.0);
        view.paper = dice.within(0.5, 0.95);
        view.ink = view.paper * dice.within(0.08, 0.45);
        view.falloff = dice.within(-0.4, 0.4);
        if dice.chance(0.35) {
            for _ in 0..dice.count(1, 2) {
                let at = [f64::from(frame[0]), f64::from(frame[1])].map(|s| s * dice.within(0.1, 0.9));
                view.glare.push((at, px_per_mm * dice.within(2.0, 9.0), dice.within(0.2, 1.2)));
            }
        }
        if dice.chance(0.35) {
            for _ in 0..dice.count(1, 2) {
                let (a, r) = (dice.angle(), around * dice.within(0.5, 1.0));
                let at = [aim[0] + r * a.cos(), aim[1] + r * a.sin()];
                view.cover.push((at, dice.within(4.0, 14.0), dice.within(0.05, 0.9)));
            }
        }
        view.cast = match dice.count(0, 2) {
            0 => [1.0; 3],
            1 => [dice.within(0.55, 0.8), dice.within(0.75, 0.95), 1.0],
            _ => [1.0, dice.within(0.85, 1.0), dice.within(0.6, 0.9)],
        };
        view
    }

    /// The point of the plane, in millimetres, that a pixel sees.
    pub fn to_mm(&self, at: [f64; 2]) -> [f64; 2] {
        Rays::of(self).to_mm(at)
    }

    /// True millimetres per pixel at a pixel: square root of the area it sees.
    pub fn mm_per_px(&self, [x, y]: [f64; 2]) -> f64 {
        let (a, b) = (self.to_mm([x - 0.5, y]), self.to_mm([x + 0.5, y]));
        let (c, d) = (self.to_mm([x, y - 0.5]), self.to_mm([x, y + 0.5]));
        ((b[0] - a[0]) * (d[1] - c[1]) - (b[1] - a[1]) * (d[0] - c[0])).abs().sqrt()
    }

    /// Takes the photograph of a plane on which `ink` tells, at a point in millimetres, how dark it is:
    /// 0 bare paper, 1 ink; `None` beyond the printed thing, where the bench shows.
    pub fn take(&self, seed: u64, ink: impl Fn([f64; 2]) -> Option<f64>) -> RgbImage {
        let mut dice = Dice::new(seed, 0x7068_6f74);
        let [w, h] = self.frame;
        let bench = dice.within(0.2, 0.8);
        let mut grey = vec![0f32; (w * h) as usize];
        let sub = [-0.375, -0.125, 0.125, 0.375];
        let rays = Rays::of(self);
        for y in 0..h {
            for x in 0..w {
                let mut sum = 0.0;
                for dy in sub {
                    for dx in sub {
                        let mm = rays.to_mm([f64::from(x) + dx, f64::from(y) + dy]);
                        let covered =
                            self.cover.iter().find(|(c, r, _)| (mm[0] - c[0]).hypot(mm[1] - c[1]) < *r);
                        sum += match (covered, ink(mm)) {
                            (Some((_, _, level)), _) => *level,
                            (None, Some(dark)) => self.paper + dark * (self.ink - self.paper),
                            (None, None) => bench,
                        };
                    }
                }
                let across = f64::from(x) / f64::from(w) - 0.5;
                let light = 1.0 + self.falloff * across;
                grey[(y * w + x) as usize] = (sum / 16.0 * light) as f32;
            }
        }
        for ([gx, gy], r, strength) in &self.glare {
            for y in 0..h {
                for x in 0..w {
                    let d2 = (f64::from(x) - gx).powi(2) + (f64::from(y) - gy).powi(2);
                    if d2 < 9.0 * r * r {
                        grey[(y * w + x) as usize] += (strength * (-d2 / (2.0 * r * r)).exp()) as f32;
                    }
                }
            }
        }
        let plane = crate::imaging::Plane { width: w as usize, height: h as usize, data: grey };
        let plane = crate::imaging::blur::gaussian(&plane, self.blur as f32);
        RgbImage::from_fn(w, h, |x, y| {
            let level = f64::from(plane.at(x as usize, y as usize)) * 235.0;
            Rgb(self.cast.map(|c| (level * c + self.noise * dice.normal()).round().clamp(0.0, 255.0) as u8))
        })
    }
}

/// The rays of a view, with what is the same for all pixels worked out once.
struct Rays {
    half: [f64; 2],
    corner: f64,
    bend: f64,
    turn: [f64; 2],
    mirror: f64,
    focal: f64,
    distance: f64,
    axis: [f64; 2],
    normal: [f64; 3],
    across: [f64; 3],
    aim: [f64; 2],
}

impl Rays {
    fn of(view: &View) -> Self {
        let half = view.frame.map(|s| (f64::from(s) - 1.0) / 2.0);
        let (s, c) = view.turn.sin_cos();
        let (ts, tc) = view.tilt_axis.sin_cos();
        let (sin, cos) = view.tilt.sin_cos();
        Self {
            half,
            corner: half[0].hypot(half[1]),
            bend: view.bend,
            turn: [s, c],
            mirror: if view.mirrored { -1.0 } else { 1.0 },
            focal: view.px_per_mm * view.distance_mm,
            distance: view.distance_mm,
            axis: [ts, tc],
            normal: [-ts * sin, tc * sin, cos],
            across: [-ts * cos, tc * cos, -sin],
            aim: view.aim,
        }
    }

    fn to_mm(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        let (mut u, mut v) = ((x - self.half[0]) / self.corner, (y - self.half[1]) / self.corner);
        let f = 1.0 / (1.0 + self.bend * (u * u + v * v));
        (u, v) = (u * f * self.corner, v * f * self.corner);
        let [s, c] = self.turn;
        let (a, b) = ((u * c + v * s) * self.mirror, v * c - u * s);
        // Ray through (a, b) of the image at the focal distance, met with the tilted plane through the aim.
        let ray = [a / self.focal, b / self.focal, 1.0];
        let dot = |p: &[f64; 3], q: &[f64; 3]| p[0] * q[0] + p[1] * q[1] + p[2] * q[2];
        let t = self.distance * self.normal[2] / dot(&ray, &self.normal);
        let p = [ray[0] * t, ray[1] * t, ray[2] * t - self.distance];
        // Coordinates in the plane: along the axis, and at right angles to it.
        let [ts, tc] = self.axis;
        let along = p[0] * tc + p[1] * ts;
        let over = dot(&p, &self.across);
        [self.aim[0] + along * tc - over * ts, self.aim[1] + along * ts + over * tc]
    }
}

/// How a ruler is graduated.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Graduation {
    /// Distance of neighbouring ticks, millimetres.
    pub pitch_mm: f64,
    /// Every how many ticks a longer one stands, from the shorter to the longer.
    pub longer: &'static [u32],
    /// Number of ticks.
    pub ticks: u32,
}

impl Graduation {
    /// A millimetre ruler of `length` millimetres.
    pub fn millimetres(length: u32) -> Self {
        Self { pitch_mm: 1.0, longer: &[5, 10], ticks: length + 1 }
    }

    /// Darkness of the ruler at a point: it runs along x from 0, ticks hang from y = 0 downwards; tick
    /// width and lengths in millimetres.
    pub fn ink(&self, [x, y]: [f64; 2], width: f64, short: f64) -> Option<f64> {
        let end = f64::from(self.ticks - 1) * self.pitch_mm;
        if x < -4.0 || x > end + 4.0 || !(-0.5..22.0).contains(&y) {
            return None;
        }
        let i = (x / self.pitch_mm).round();
        if i < 0.0 || i >= f64::from(self.ticks) || (x - i * self.pitch_mm).abs() > width / 2.0 {
            return Some(0.0);
        }
        let rank = self.longer.iter().filter(|n| (i as u32).is_multiple_of(**n)).count();
        let long = short * (1.0 + 0.4 * rank as f64);
        Some(f64::from(u8::from((0.0..long).contains(&y))))
    }
}
