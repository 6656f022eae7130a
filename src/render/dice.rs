//! Seeded chance: draws, smooth random curves and smooth random fields.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

/// A seeded source of draws. The same seed and stream give the same draws on every machine.
pub(super) struct Dice(ChaCha8Rng);

impl Dice {
    /// Draws for `seed`; different `stream`s of one seed are independent, so that adding a draw to
    /// one part of a scene does not change the others.
    pub fn new(seed: u64, stream: u64) -> Self {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        rng.set_stream(stream);
        Self(rng)
    }

    /// Uniform between `low` and `high`.
    pub fn within(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.0.random::<f64>()
    }

    /// Uniform on a log scale between `low` and `high`, both above zero.
    pub fn log_within(&mut self, low: f64, high: f64) -> f64 {
        self.within(low.ln(), high.ln()).exp()
    }

    /// A whole number from `low` to `high`, both included.
    pub fn count(&mut self, low: usize, high: usize) -> usize {
        self.0.random_range(low..=high)
    }

    /// True with probability `p`.
    pub fn chance(&mut self, p: f64) -> bool {
        self.0.random::<f64>() < p
    }

    /// Normal with mean 0 and standard deviation 1.
    pub fn normal(&mut self) -> f64 {
        StandardNormal.sample(&mut self.0)
    }

    /// Normal, kept within `low` and `high` by clamping.
    pub fn normal_within(&mut self, mean: f64, sd: f64, low: f64, high: f64) -> f64 {
        (mean + sd * self.normal()).clamp(low, high)
    }

    /// -1 or 1.
    pub fn sign(&mut self) -> f64 {
        if self.chance(0.5) { 1.0 } else { -1.0 }
    }

    /// An angle in radians, uniform over the full turn.
    pub fn angle(&mut self) -> f64 {
        self.within(0.0, std::f64::consts::TAU)
    }

    /// 64 random bits.
    pub fn bits(&mut self) -> u64 {
        self.0.random()
    }

    /// Shuffles `items` in place.
    pub fn shuffle<T>(&mut self, items: &mut [T]) {
        for i in (1..items.len()).rev() {
            items.swap(i, self.count(0, i));
        }
    }
}

/// A smooth random curve on 0..1 with mean 0 and standard deviation about 1: a sum of sines whose
/// amplitude falls with frequency.
#[derive(Debug, Clone)]
pub(super) struct Wobble([(f64, f64, f64); 6]);

impl Wobble {
    /// A new curve; `cycles` is the highest frequency in it.
    pub fn new(dice: &mut Dice, cycles: f64) -> Self {
        let mut terms = [(0.0, 0.0, 0.0); 6];
        for (i, term) in terms.iter_mut().enumerate() {
            let frequency = cycles * (i as f64 + dice.within(0.3, 1.0)) / 6.0;
            *term = (0.85 * dice.normal() / (1.0 + 0.5 * i as f64), frequency, dice.angle());
        }
        Self(terms)
    }

    /// A closed curve: the same at 0 and 1, for outlines by angle.
    pub fn around(dice: &mut Dice) -> Self {
        let mut terms = [(0.0, 0.0, 0.0); 6];
        for (i, term) in terms.iter_mut().enumerate() {
            let n = (i + 1) as f64;
            *term = (0.85 * dice.normal() / n.sqrt(), n, dice.angle());
        }
        Self(terms)
    }

    /// Value at `t`.
    pub fn at(&self, t: f64) -> f64 {
        self.0.iter().map(|(a, f, p)| a * (std::f64::consts::TAU * f * t + p).sin()).sum()
    }
}

/// Mixes the bits of a 64-bit number (the finaliser of SplitMix64, Steele, Lea & Flood 2014,
/// doi 10.1145/2660193.2660195).
pub(super) fn mix(mut z: u64) -> u64 {
    z = z.wrapping_add(0x9e37_79b9_7f4a_7c15);
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

/// A smooth random field over the plane, between -1 and 1: values at the points of a lattice,
/// joined smoothly (value noise).
#[derive(Debug, Clone, Copy)]
pub(super) struct Field {
    seed: u64,
    /// One over the distance between lattice points.
    per: f64,
}

impl Field {
    /// A new field whose bumps are about `cell` wide.
    pub fn new(dice: &mut Dice, cell: f64) -> Self {
        Self { seed: dice.bits(), per: 1.0 / cell }
    }

    /// A new field whose bumps are between `low` and `high` wide.
    pub fn between(dice: &mut Dice, low: f64, high: f64) -> Self {
        let cell = dice.log_within(low, high);
        Self::new(dice, cell)
    }

    fn lattice(self, ix: i64, iy: i64) -> f64 {
        let place =
            (ix as u64).wrapping_mul(0xd6e8_feb8_6659_fd93) ^ (iy as u64).wrapping_mul(0xa076_1d64_78bd_642f);
        let bits = mix(self.seed ^ place);
        (bits >> 11) as f64 / (1u64 << 52) as f64 - 1.0
    }

    /// Value at `x`, `y`.
    pub fn at(self, x: f64, y: f64) -> f64 {
        let (u, v) = (x * self.per, y * self.per);
        let (fx, fy) = (u.floor(), v.floor());
        let (ix, iy) = (fx as i64, fy as i64);
        let (a, b) = (smooth(u - fx), smooth(v - fy));
        let top = self.lattice(ix, iy) * (1.0 - a) + self.lattice(ix + 1, iy) * a;
        let low = self.lattice(ix, iy + 1) * (1.0 - a) + self.lattice(ix + 1, iy + 1) * a;
        top * (1.0 - b) + low * b
    }

    /// Two octaves: coarse bumps with finer ones on them.
    pub fn rough(self, x: f64, y: f64) -> f64 {
        0.7 * self.at(x, y) + 0.3 * self.at(2.3 * x + 17.0, 2.3 * y - 31.0)
    }
}

/// A smooth field sampled on a coarse grid, for values wanted at every pixel of a picture.
pub(super) struct Coarse {
    values: Vec<f32>,
    columns: usize,
}

impl Coarse {
    /// Pixels between grid points.
    const STEP: usize = 16;

    /// Samples `f(x, y)` over a picture of `width` by `height`.
    pub fn sample(width: usize, height: usize, f: impl Fn(f64, f64) -> f64) -> Self {
        let (columns, rows) = (width / Self::STEP + 2, height / Self::STEP + 2);
        let at = |i: usize| ((i % columns) * Self::STEP, (i / columns) * Self::STEP);
        let values = (0..columns * rows)
            .map(|i| {
                let (x, y) = at(i);
                f(x as f64, y as f64) as f32
            })
            .collect();
        Self { values, columns }
    }

    /// Value at a pixel, bilinear.
    pub fn at(&self, x: usize, y: usize) -> f32 {
        let (ix, iy) = (x / Self::STEP, y / Self::STEP);
        let a = (x % Self::STEP) as f32 / Self::STEP as f32;
        let b = (y % Self::STEP) as f32 / Self::STEP as f32;
        let v = &self.values[iy * self.columns + ix..];
        (v[0] * (1.0 - a) + v[1] * a) * (1.0 - b)
            + (v[self.columns] * (1.0 - a) + v[self.columns + 1] * a) * b
    }
}

/// Fine random texture: the sum of two tiles whose sides have no common divisor, so that it does not repeat within
/// a picture.
pub(super) struct Texture {
    tiles: [Vec<f32>; 2],
}

impl Texture {
    const SIDES: [usize; 2] = [251, 193];

    /// Texture with bumps between `low` and `high` pixels wide, standard deviation about 0.4.
    pub fn new(dice: &mut Dice, low: f64, high: f64) -> Self {
        let cell = dice.log_within(low, high);
        let tiles = Self::SIDES.map(|side| {
            let field = Field::new(dice, cell);
            let mut tile: Vec<f32> =
                (0..side * side).map(|i| field.at((i % side) as f64, (i / side) as f64) as f32).collect();
            // Join the edges: the last few columns and rows fade into the first.
            let fade = 12;
            for line in 0..side {
                for k in 0..fade {
                    let t = (k as f32 + 0.5) / fade as f32;
                    let (from, to) = (line * side + k, line * side + side - fade + k);
                    tile[to] = tile[to] * (1.0 - t) + tile[from] * t;
                    let (from, to) = (k * side + line, (side - fade + k) * side + line);
                    tile[to] = tile[to] * (1.0 - t) + tile[from] * t;
                }
            }
            tile
        });
        Self { tiles }
    }

    /// Value at a pixel.
    pub fn at(&self, x: usize, y: usize) -> f32 {
        let part = |i: usize| {
            let side = Self::SIDES[i];
            self.tiles[i][(y % side) * side + x % side]
        };
        0.7 * (part(0) + part(1))
    }
}

/// Smooth step from 0 at `t` = 0 to 1 at `t` = 1 (cubic Hermite), flat outside.
pub(super) fn smooth(t: f64) -> f64 {
    let t = t.clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}

/// Smooth step from 0 at `a` to 1 at `b`.
pub(super) fn ramp(a: f64, b: f64, x: f64) -> f64 {
    smooth((x - a) / (b - a))
}
