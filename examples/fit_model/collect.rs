//! Examples from rendered photographs: rendered, read, matched to the truth, disturbed.

use anyhow::{Context as _, Result};
use frygauge::bladder::learn::Example;
use frygauge::bladder::plane::{Look, Turn};
use frygauge::bladder::{Context, conv, features};
use frygauge::fish::{self, Outcome, STRIP_WIDTH, Strip, strip};
use frygauge::photo::{Chroma, Pixels, without_banding};
use frygauge::records::{Lighting, View};
use frygauge::render::{self, Class, TrueFish, Truth};
use frygauge::segmentation::{self, Polarity};
use image::RgbImage;
use ndarray::Axis;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;
use std::io::{Read as _, Write as _};
use std::path::Path;

/// Classes of photographs, and how many of each the fit sees.
pub const CLASSES: [(Class, usize); 12] = [
    (Class::LightPad, 40),
    (Class::DarkDish, 60),
    (Class::PaleTray, 40),
    (Class::Microscope, 160),
    (Class::Crowded, 16),
    (Class::CoarseNoisy, 40),
    (Class::PadInPart, 16),
    (Class::WellsWithEggs, 16),
    (Class::Translucent, 24),
    (Class::Bent, 24),
    (Class::PhoneBlur, 24),
    (Class::MixedSizes, 24),
];

/// Which part of the photographs: no two share a seed, and none is a small number, so that whoever measures
/// with seeds of their own measures on photographs the model has not seen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Set {
    Fit,
    Calibrate,
    Test,
}

impl Set {
    /// Seed of its first photograph of each class.
    pub fn first_seed(self) -> u64 {
        match self {
            Self::Fit => 710_000_000,
            Self::Calibrate => 720_000_000,
            Self::Test => 730_000_000,
        }
    }

    /// Photographs compared with the fit.
    fn share(self) -> f64 {
        if self == Self::Fit { 1.0 } else { 0.4 }
    }
}

/// An example and where it comes from.
#[derive(Debug, Clone)]
pub struct Seen {
    pub example: Example,
    pub class: Class,
    pub seed: u64,
    /// Index of the fish among those of the photograph.
    pub fish: usize,
}

/// Photographs to one file of kept examples.
const PART: usize = 4;

/// All examples of a set.
pub fn gather(set: Set, scale: f64, keep: Option<&Path>) -> Result<Vec<Seen>> {
    let mut all = Vec::new();
    for (index, (class, photographs)) in CLASSES.into_iter().enumerate() {
        let n = (photographs as f64 * scale * set.share()).ceil() as u64;
        for first in (0..n).step_by(PART) {
            let seeds: Vec<u64> = (first..n.min(first + PART as u64))
                .map(|k| set.first_seed() + index as u64 * 100_000 + k)
                .collect();
            let file =
                keep.map(|folder| folder.join(format!("{set:?}-{class:?}-{first}-{}.bin", seeds.len())));
            if let Some(file) = file.as_ref().filter(|f| f.exists()) {
                all.extend(read(file, class).with_context(|| format!("cannot read {}", file.display()))?);
                continue;
            }
            let of: Vec<Vec<Seen>> = seeds.par_iter().map(|&seed| examples_of(class, seed, set)).collect();
            let of: Vec<Seen> = of.into_iter().flatten().collect();
            eprintln!("{set:?} {class:?} {first}: {} photographs, {} examples", seeds.len(), of.len());
            if let Some(file) = file {
                std::fs::create_dir_all(file.parent().unwrap_or(Path::new(".")))?;
                write(&file, &of)?;
            }
            all.extend(of);
        }
    }
    Ok(all)
}

/// The strips of a photograph, as the examples were made from.
pub fn strips_of(class: Class, seed: u64) -> Vec<Strip> {
    Drawn::new(class, seed).as_read().into_iter().map(|f| f.strip).collect()
}

/// A fish as read, and its true state.
#[derive(Clone)]
struct Read {
    strip: Strip,
    context: Context,
    lighting: Lighting,
    inflated: bool,
}

fn examples_of(class: Class, seed: u64, set: Set) -> Vec<Seen> {
    let drawn = Drawn::new(class, seed);
    let mut all = Vec::new();
    let mut add = |read: &Read, index: usize| {
        let (strip, context) = (&read.strip, &read.context);
        let look = Look::new(strip, Turn { ends: false, sides: false }, context.lighting == Lighting::Dark);
        let example = Example {
            values: features::describe(&look, context).values,
            view: conv::input(&look, context),
            inflated: read.inflated,
            lighting: read.lighting,
            weight: 1.0,
        };
        all.push(Seen { example, class, seed, fish: index });
    };
    for (index, read) in drawn.as_read().iter().enumerate() {
        add(read, index);
        if set == Set::Fit {
            let mut rng = ChaCha8Rng::seed_from_u64(seed ^ ((index as u64) << 32));
            add(&disturbed(read, &mut rng), index);
        }
    }
    if set == Set::Fit {
        // Along the true midlines as well, with errors of its own: readers get better and worse.
        for (index, read) in drawn.as_drawn().iter().enumerate().step_by(2) {
            let mut rng = ChaCha8Rng::seed_from_u64(!seed ^ ((index as u64) << 32));
            add(&disturbed(read, &mut rng), usize::MAX);
        }
    }
    all
}

/// Changes what may differ between cameras, lamps and readers: tone curve, tint and level of the background,
/// contrast, sharpness, noise.
fn disturbed(read: &Read, rng: &mut ChaCha8Rng) -> Read {
    let Read { mut strip, mut context, .. } = read.clone();
    // What the reader says of the view is not to be leant on.
    if rng.random::<f32>() < 0.5 {
        context.view = View::Unclear;
    }
    let gamma = rng.random_range(0.75_f32..1.3);
    let contrast = rng.random_range(0.7_f32..1.4);
    let tint: [f32; 3] = std::array::from_fn(|_| rng.random_range(-0.015..0.015));
    // The bare ground, by the outer corners: contrast is changed about it.
    let ground: [f32; 3] = std::array::from_fn(|c| {
        let mut corner: Vec<f32> =
            (0..STRIP_WIDTH).map(|x| strip.values[[c, 2, x]].max(0.0).powf(gamma)).collect();
        corner.sort_by(f32::total_cmp);
        corner[STRIP_WIDTH / 2]
    });
    for (c, mut plane) in strip.values.axis_iter_mut(Axis(0)).enumerate() {
        for v in &mut plane {
            let toned = v.max(0.0).powf(gamma);
            *v = (toned + (contrast - 1.0) * (toned - ground[c]) + tint[c] * ground[c]).max(0.0);
        }
    }
    strip.noise *= gamma * contrast;
    if rng.random::<f32>() < 0.4 {
        let sigma = rng.random_range(0.5_f32..2.2);
        blur(&mut strip, sigma);
    }
    if rng.random::<f32>() < 0.5 {
        let sd = ground[1] * rng.random_range(0.0_f32..0.03);
        let scale = sd * 2.449;
        for v in &mut strip.values {
            *v = (*v + scale * (rng.random::<f32>() - rng.random::<f32>())).max(0.0);
        }
        strip.noise = strip.noise.hypot(sd * strip.pixels_per_strip_pixel.max(1.0));
    }
    Read { strip, context, ..read.clone() }
}

/// Gaussian blur of every plane.
fn blur(strip: &mut Strip, sigma: f32) {
    let reach = (2.5 * sigma).ceil() as i64;
    let weights: Vec<f32> = (-reach..=reach).map(|k| (-0.5 * (k as f32 / sigma).powi(2)).exp()).collect();
    let total: f32 = weights.iter().sum();
    for axis in [1, 2] {
        for mut lane in strip.values.lanes_mut(Axis(axis)) {
            let old = lane.to_vec();
            let last = old.len() as i64 - 1;
            for (i, v) in lane.iter_mut().enumerate() {
                let at = |k: i64| old[(i as i64 + k).clamp(0, last) as usize];
                *v = (-reach..=reach).zip(&weights).map(|(k, w)| w * at(k)).sum::<f32>() / total;
            }
        }
    }
}

/// A rendered photograph.
struct Drawn {
    pixels: Pixels,
    truth: Truth,
    seed: u64,
}

impl Drawn {
    fn new(class: Class, seed: u64) -> Self {
        let drawn = render::photograph(class, seed);
        let pixels = without_banding(&pixels(&drawn.image)).into_owned();
        Self { pixels, truth: drawn.truth, seed }
    }

    /// Its fish as the program reads them: those that count for the call and are one true fish.
    fn as_read(&self) -> Vec<Read> {
        let mut ground = segmentation::prepare(&self.pixels);
        let found = segmentation::find(&mut ground);
        // As the program decides it; the truth is kept only to leave one lighting out.
        let lighting = match ground.polarity {
            Polarity::BrightFish => Lighting::Dark,
            Polarity::DarkFish => Lighting::Transmitted,
        };
        let outcomes = found.candidates.iter().flat_map(|c| fish::measure(&self.pixels, &ground, &found, c));
        let mut all = Vec::new();
        for outcome in outcomes {
            let Outcome::Fish(read, _) = outcome else { continue };
            if !read.use_call {
                continue;
            }
            let Some(truth) = self.match_of(&read.midline) else { continue };
            if truth.cut {
                continue;
            }
            let strip = read.straightened(&self.pixels, &ground);
            all.push(Read {
                context: Context::of(&read, &strip, lighting),
                strip,
                lighting: self.truth.lighting,
                inflated: truth.inflated,
            });
        }
        all
    }

    /// The true fish along a midline, whichever way it runs.
    fn match_of(&self, midline: &[[f64; 2]]) -> Option<&TrueFish> {
        let length: f64 = midline.windows(2).map(|w| (w[1][0] - w[0][0]).hypot(w[1][1] - w[0][1])).sum();
        let at = |line: &[[f64; 2]], f: f64| line[((line.len() - 1) as f64 * f).round() as usize];
        let distance = |fish: &TrueFish, forward: bool| -> f64 {
            (0..=8)
                .map(|k| {
                    let f = f64::from(k) / 8.0;
                    let (a, b) = (at(midline, f), at(&fish.midline, if forward { f } else { 1.0 - f }));
                    (a[0] - b[0]).hypot(a[1] - b[1])
                })
                .sum::<f64>()
                / 9.0
        };
        let ways =
            self.truth.fish.iter().filter(|f| f.midline.len() > 2).flat_map(|f| [(f, true), (f, false)]);
        let best = ways.map(|(f, way)| (distance(f, way), f)).min_by(|a, b| a.0.total_cmp(&b.0))?;
        (best.0 < 0.08 * length).then_some(best.1)
    }

    /// Its fish along their true midlines.
    fn as_drawn(&self) -> Vec<Read> {
        let mut rng = ChaCha8Rng::seed_from_u64(self.seed);
        let fish = self.truth.fish.iter().filter(|f| !f.cut && f.midline.len() > 2);
        fish.map(|f| read_truth(&self.pixels, f, self.truth.lighting, &mut rng)).collect()
    }
}

/// A fish read along its true midline, with the errors a reader makes.
fn read_truth(pixels: &Pixels, fish: &TrueFish, lighting: Lighting, rng: &mut ChaCha8Rng) -> Read {
    let length = fish.total_length_px;
    let mut line = fish.midline.clone();
    let n = line.len();
    let shift = |p: [f64; 2], q: [f64; 2], f: f64| [p[0] + f * (p[0] - q[0]), p[1] + f * (p[1] - q[1])];
    // Ends off by up to 3 % of the length, the whole line off to a side by up to 1 %.
    let near = (n / 10).max(1);
    let (head, tail) = (rng.random_range(-0.3..0.3), rng.random_range(-0.3..0.3));
    line[0] = shift(line[0], line[near], head);
    line[n - 1] = shift(line[n - 1], line[n - 1 - near], tail);
    if head < 0.0 {
        line.drain(1..((n as f64 * -head * 0.1) as usize + 1).min(n - 2));
    }
    if tail < 0.0 {
        let n = line.len();
        line.drain(n - 1 - ((n as f64 * -tail * 0.1) as usize).min(n - 3)..n - 1);
    }
    let side = rng.random_range(-0.01..0.01) * length;
    let angle = rng.random_range(0.0..std::f64::consts::TAU);
    for p in &mut line {
        p[0] += side * angle.cos();
        p[1] += side * angle.sin();
    }
    let head_wrong = rng.random::<f64>() < 0.01;
    if head_wrong {
        line.reverse();
    }
    let mut back_left = fish.back_left.unwrap_or(true) != head_wrong;
    if rng.random::<f64>() < 0.04 {
        back_left = !back_left;
    }
    // Bare background: the median beside the fish, a little off.
    let axis = strip::BodyAxis::new(&line, back_left);
    let mut beside: [Vec<f32>; 3] = Default::default();
    for k in 0..40 {
        for v in [-0.17, -0.15, 0.15, 0.17] {
            let [x, y] = axis.place(f64::from(k) / 39.0, v);
            for (list, v) in beside.iter_mut().zip(pixels.rgb(x.round() as i64, y.round() as i64)) {
                list.push(v);
            }
        }
    }
    let background = beside.map(|mut list| {
        list.sort_by(f32::total_cmp);
        list[list.len() / 2] * rng.random_range(0.985_f32..1.015)
    });
    let strip = strip::straighten(pixels, &line, back_left, |_, _| background);
    let context = Context {
        lighting,
        view: fish.view,
        p_head: 1.0,
        p_back: if fish.view == View::Top { 0.5 } else { 1.0 },
        pixels_per_strip_pixel: strip.pixels_per_strip_pixel,
    };
    Read { strip, context, lighting, inflated: fish.inflated }
}

/// A drawn photograph as the program reads photographs.
fn pixels(image: &RgbImage) -> Pixels {
    let (width, height) = image.dimensions();
    let at = |x: u32, y: u32| image.get_pixel(x.min(width - 1), y.min(height - 1)).0.map(f32::from);
    let luma = image.pixels().map(|p| {
        let [r, g, b] = p.0.map(f32::from);
        (0.299 * r + 0.587 * g + 0.114 * b).round() as u8
    });
    let luma = luma.collect();
    let (w, h) = (width.div_ceil(2), height.div_ceil(2));
    let (mut cb, mut cr) = (Vec::with_capacity((w * h) as usize), Vec::with_capacity((w * h) as usize));
    for y in 0..h {
        for x in 0..w {
            let mut sum = [0.0_f32; 3];
            for (dx, dy) in [(0, 0), (1, 0), (0, 1), (1, 1)] {
                for (s, v) in sum.iter_mut().zip(at(2 * x + dx, 2 * y + dy)) {
                    *s += 0.25 * v;
                }
            }
            let [r, g, b] = sum;
            cb.push((128.0 - 0.168_736 * r - 0.331_264 * g + 0.5 * b).round().clamp(0.0, 255.0) as u8);
            cr.push((128.0 + 0.5 * r - 0.418_688 * g - 0.081_312 * b).round().clamp(0.0, 255.0) as u8);
        }
    }
    Pixels { width, height, luma, chroma: Some(Chroma { width: w, height: h, cb, cr }) }
}

fn write(file: &Path, seen: &[Seen]) -> Result<()> {
    let mut out = std::io::BufWriter::new(std::fs::File::create(file)?);
    for s in seen {
        out.write_all(&s.seed.to_le_bytes())?;
        out.write_all(&(s.fish as u64).to_le_bytes())?;
        let light = match s.example.lighting {
            Lighting::Transmitted => 0,
            Lighting::Dark => 1,
            Lighting::Pale => 2,
        };
        out.write_all(&[u8::from(s.example.inflated), light])?;
        for v in s.example.values {
            out.write_all(&v.to_le_bytes())?;
        }
        out.write_all(&s.example.view.to_bytes())?;
    }
    Ok(())
}

fn read(file: &Path, class: Class) -> Result<Vec<Seen>> {
    let bytes = std::fs::read(file)?;
    let mut rest = bytes.as_slice();
    let mut all = Vec::new();
    while !rest.is_empty() {
        let mut eight = [0; 8];
        rest.read_exact(&mut eight)?;
        let seed = u64::from_le_bytes(eight);
        rest.read_exact(&mut eight)?;
        let fish = u64::from_le_bytes(eight) as usize;
        let mut two = [0; 2];
        rest.read_exact(&mut two)?;
        let mut values = [0.0; features::COUNT];
        for v in &mut values {
            let mut four = [0; 4];
            rest.read_exact(&mut four)?;
            *v = f32::from_le_bytes(four);
        }
        let mut view = vec![0; conv::View8::BYTES];
        rest.read_exact(&mut view)?;
        let lighting = [Lighting::Transmitted, Lighting::Dark, Lighting::Pale][usize::from(two[1].min(2))];
        let view = conv::View8::from_bytes(&view);
        let example = Example { values, view, inflated: two[0] == 1, lighting, weight: 1.0 };
        all.push(Seen { example, class, seed, fish });
    }
    Ok(all)
}
