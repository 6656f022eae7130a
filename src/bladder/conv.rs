//! A small convolutional net over the trunk of the strip, and its fit.
//!
//! Three rounds of 3 × 3 convolution, rectification and 2 × 2 maximum, then two dense layers that also see
//! the context. Planes are stored with a border of zeros so that the inner loops run over whole rows.

use super::Context;
use super::layers::{Conv, Planes, pool};
use super::net::{Adam, Dense, axpy, sigmoid};
use super::plane::Look;
use crate::records::{Lighting, View};
use rand::seq::SliceRandom;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;
use serde::{Deserialize, Serialize};

/// Columns of the input, half-resolution pixels: from 0.07 to 0.67 of total length.
const WIDTH: usize = 96;
/// Rows of the input, about the midline.
const HEIGHT: usize = 40;
/// Planes of the input.
const PLANES: usize = 6;
/// Numbers of context beside the picture.
const EXTRA: usize = 8;
/// Which of them says that the fish is seen from above.
const TOP: usize = 3;
/// Sizes of the convolution layers.
const SIZES: [usize; 4] = [PLANES, 8, 16, 16];
/// Size of the dense layer.
const DENSE: usize = 24;

/// What the net sees of one fish, each number stored in eight bits.
#[derive(Debug, Clone)]
pub struct View8 {
    planes: Vec<i8>,
    extra: [f32; EXTRA],
}

impl View8 {
    /// Bytes of one view.
    pub const BYTES: usize = PLANES * WIDTH * HEIGHT + 4 * EXTRA;

    /// As bytes, to keep examples between fits.
    pub fn to_bytes(&self) -> Vec<u8> {
        let planes = self.planes.iter().map(|v| v.cast_unsigned());
        planes.chain(self.extra.iter().flat_map(|v| v.to_le_bytes())).collect()
    }

    /// From [`Self::BYTES`] bytes; missing ones are zero.
    pub fn from_bytes(bytes: &[u8]) -> Self {
        let at = |i: usize| bytes.get(i).copied().unwrap_or(0);
        let size = PLANES * WIDTH * HEIGHT;
        let planes = (0..size).map(|i| at(i).cast_signed()).collect();
        let extra =
            std::array::from_fn(|k| f32::from_le_bytes(std::array::from_fn(|b| at(size + 4 * k + b))));
        Self { planes, extra }
    }
}

/// Numbers from -4 to 4 in eight bits.
fn pack(v: f32) -> i8 {
    (v.clamp(-4.0, 4.0) * 31.0).round() as i8
}

/// Cuts the input of the net from a strip.
pub fn input(look: &Look, context: &Context) -> View8 {
    let unit = look.contrast + 2.0 * look.noise;
    let x0 = Look::half_column(0.07).round() as usize;
    let y0 = look.half.height / 2 - HEIGHT / 2;
    let mut planes = Vec::with_capacity(PLANES * WIDTH * HEIGHT);
    let full = |dx: usize, dy: usize, x: usize, y: usize| {
        look.luma.data[(2 * (y0 + y) + dy) * look.luma.width + 2 * (x0 + x) + dx]
    };
    // Brightness at full resolution as four interleaved planes, against the trunk in units of its contrast.
    for (dx, dy) in [(0, 0), (1, 0), (0, 1), (1, 1)] {
        for y in 0..HEIGHT {
            planes.extend((0..WIDTH).map(|x| pack((full(dx, dy, x, y) - look.trunk) / unit)));
        }
    }
    // Against bare background, whatever the contrast; then colour.
    for y in 0..HEIGHT {
        let row = (y0 + y) * look.half.width + x0;
        planes.extend((0..WIDTH).map(|x| pack(3.0 * (look.half.data[row + x].max(0.05)).ln())));
    }
    for y in 0..HEIGHT {
        let row = (y0 + y) * look.half.width + x0;
        planes.extend((0..WIDTH).map(|x| pack(6.0 * look.warmth.data[row + x])));
    }
    let flag = |on: bool| f32::from(u8::from(on));
    let extra = [
        (4.0 * (look.trunk - 1.0)).clamp(-2.0, 2.0),
        flag(context.lighting == Lighting::Dark),
        flag(context.view == View::Side),
        flag(context.view == View::Top),
        (20.0 * look.contrast).min(2.0),
        (30.0 * look.noise).min(2.0),
        context.pixels_per_strip_pixel.max(0.1).ln(),
        look.sharpness.min(2.0),
    ];
    View8 { planes, extra }
}

/// The net.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ConvNet {
    convs: Vec<Conv>,
    dense: Vec<Dense>,
}

/// How the net is fitted.
#[derive(Debug, Clone)]
pub struct Fit {
    /// Passes over the examples.
    pub epochs: usize,
    /// First learning rate.
    pub rate: f32,
    /// Weight decay.
    pub decay: f32,
    /// Seed of weights, order and disturbance.
    pub seed: u64,
}

/// Everything a pass forward leaves for the pass back.
struct Trace {
    inputs: Vec<Planes>,
    sources: Vec<Vec<u32>>,
    flat: Vec<f32>,
    hidden: Vec<f32>,
    logit: f32,
}

impl ConvNet {
    fn random(rng: &mut ChaCha8Rng) -> Self {
        let convs = SIZES.windows(2).map(|s| Conv::random(s[0], s[1], rng)).collect();
        let flat = SIZES[3] * (WIDTH / 8) * (HEIGHT / 8) + EXTRA;
        Self { convs, dense: vec![Dense::random(flat, DENSE, rng), Dense::random(DENSE, 1, rng)] }
    }

    /// Whether the sizes are those of this program and every number is finite.
    pub fn is_sound(&self) -> bool {
        let flat = SIZES[3] * (WIDTH / 8) * (HEIGHT / 8) + EXTRA;
        self.convs.len() == 3
            && self.convs.iter().zip(SIZES.windows(2)).all(|(c, s)| {
                c.inputs == s[0]
                    && c.outputs == s[1]
                    && c.weights.len() == 9 * s[0] * s[1]
                    && c.bias.len() == s[1]
                    && c.weights.iter().chain(&c.bias).all(|v| v.is_finite())
            })
            && self.dense.len() == 2
            && self.dense.iter().all(Dense::is_sound)
            && self.dense[0].inputs == flat
            && self.dense[1].inputs == self.dense[0].outputs
            && self.dense[1].outputs == 1
    }

    /// Every weight and bias.
    pub fn parameters(&mut self) -> impl Iterator<Item = &mut f32> {
        let convs = self.convs.iter_mut().flat_map(|c| c.weights.iter_mut().chain(&mut c.bias));
        convs.chain(self.dense.iter_mut().flat_map(|d| d.weights.iter_mut().chain(&mut d.bias)))
    }

    /// The logit of one fish.
    pub fn logit(&self, view: &View8) -> f32 {
        self.trace(unpack(view, None), view.extra, None).logit
    }

    fn trace(&self, planes: Planes, extra: [f32; EXTRA], drop: Option<&mut ChaCha8Rng>) -> Trace {
        let (mut inputs, mut sources) = (vec![planes], Vec::new());
        for conv in &self.convs {
            let (out, from) = pool(&conv.forward(&inputs[inputs.len() - 1]));
            inputs.push(out);
            sources.push(from);
        }
        let last = &inputs[inputs.len() - 1];
        let mut flat = Vec::with_capacity(self.dense[0].inputs);
        for c in 0..last.count {
            for y in 0..last.height {
                let at = last.row(c, y);
                flat.extend_from_slice(&last.data[at..at + last.width]);
            }
        }
        if let Some(rng) = drop {
            // Dropout (Srivastava et al. 2014) of a quarter.
            for v in &mut flat {
                *v = if rng.random::<u8>() < 64 { 0.0 } else { *v / 0.75 };
            }
        }
        flat.extend_from_slice(&extra);
        let mut hidden = self.dense[0].forward(&flat);
        hidden.iter_mut().for_each(|v| *v = v.max(0.0));
        let logit = self.dense[1].forward(&hidden)[0];
        Trace { inputs, sources, flat, hidden, logit }
    }

    fn size(&self) -> usize {
        self.convs.iter().map(|c| c.weights.len() + c.bias.len()).sum::<usize>()
            + self.dense.iter().map(Dense::size).sum::<usize>()
    }

    fn accumulate(&self, trace: &Trace, label: f32, weight: f32, gradient: &mut [f32]) {
        let conv_size: usize = self.convs.iter().map(|c| c.weights.len() + c.bias.len()).sum();
        let (conv_gradient, dense_gradient) = gradient.split_at_mut(conv_size);
        let (first, second) = dense_gradient.split_at_mut(self.dense[0].size());
        let back = [weight * (sigmoid(trace.logit) - label)];
        let mut back = self.dense[1].backward(&trace.hidden, &back, second);
        for (g, v) in back.iter_mut().zip(&trace.hidden) {
            if *v <= 0.0 {
                *g = 0.0;
            }
        }
        let flat = self.dense[0].backward(&trace.flat, &back, first);
        let last = &trace.inputs[3];
        let mut planes = Planes::zeros(last.count, last.width, last.height);
        let mut k = 0;
        for c in 0..last.count {
            for y in 0..last.height {
                let at = planes.row(c, y);
                for x in 0..last.width {
                    // Nothing flows back where the rectifier or dropout stood at zero.
                    planes.data[at + x] = if trace.flat[k] > 0.0 { flat[k] } else { 0.0 };
                    k += 1;
                }
            }
        }
        let mut end = conv_size;
        for (i, conv) in self.convs.iter().enumerate().rev() {
            let start = end - conv.weights.len() - conv.bias.len();
            let input = &trace.inputs[i];
            let mut wide = Planes::zeros(conv.outputs, input.width, input.height);
            for (at, &g) in planes.data.iter().enumerate() {
                if g != 0.0 && trace.inputs[i + 1].data[at] > 0.0 {
                    wide.data[trace.sources[i][at] as usize] += g;
                }
            }
            let back = conv.backward(input, &wide, &mut conv_gradient[start..end], i > 0);
            if let Some(back) = back {
                planes = back;
            }
            end = start;
        }
    }

    /// Fits to `views` with `labels` (1 inflated, 0 not) and `weights`.
    ///
    /// Each view is disturbed anew in every pass: shifted, mirrored across the body where the back is not
    /// known, its contrast, brightness and colour scaled, noise added. The result does not depend on the
    /// number of threads.
    pub fn fit(views: &[View8], labels: &[f32], weights: &[f32], how: &Fit) -> Self {
        const BATCH: usize = 32;
        const PART: usize = 8;
        let mut rng = ChaCha8Rng::seed_from_u64(how.seed);
        let mut net = Self::random(&mut rng);
        let size = net.size();
        let mut adam = Adam::new(size, how.decay);
        let mut order: Vec<usize> = (0..views.len()).collect();
        let steps = how.epochs * views.len().div_ceil(BATCH);
        let mut step = 0;
        for _ in 0..how.epochs {
            order.shuffle(&mut rng);
            for batch in order.chunks(BATCH) {
                let seeds: Vec<u64> = batch.iter().map(|_| rng.random()).collect();
                let scale = 1.0 / batch.len() as f32;
                let parts: Vec<Vec<f32>> = batch
                    .par_chunks(PART)
                    .zip(seeds.par_chunks(PART))
                    .map(|(part, seeds)| {
                        let mut gradient = vec![0.0; size];
                        for (&i, &seed) in part.iter().zip(seeds) {
                            let mut rng = ChaCha8Rng::seed_from_u64(seed);
                            let planes = unpack(&views[i], Some(&mut rng));
                            let trace = net.trace(planes, views[i].extra, Some(&mut rng));
                            net.accumulate(&trace, labels[i], weights[i] * scale, &mut gradient);
                        }
                        gradient
                    })
                    .collect();
                let mut gradient = vec![0.0; size];
                for part in &parts {
                    axpy(&mut gradient, 1.0, part);
                }
                let rate = 0.5 * how.rate * (1.0 + (std::f32::consts::PI * step as f32 / steps as f32).cos());
                adam.step(net.parameters(), &gradient, rate);
                step += 1;
            }
        }
        net
    }
}

/// The planes of a view; disturbed when a source of chance is given.
fn unpack(view: &View8, disturb: Option<&mut ChaCha8Rng>) -> Planes {
    let mut planes = Planes::zeros(PLANES, WIDTH, HEIGHT);
    let (mut dx, mut dy, mut flip) = (0_i64, 0_i64, false);
    let mut scale = [1.0_f32; PLANES];
    let mut shift = [0.0_f32; PLANES];
    let mut noise = 0.0;
    let mut rng = disturb;
    if let Some(rng) = &mut rng {
        dx = rng.random_range(-2..=2);
        dy = rng.random_range(-1..=1);
        // From above both sides are alike.
        flip = view.extra[TOP] > 0.5 && rng.random();
        let contrast = rng.random_range(0.75..1.3);
        let level = rng.random_range(-0.25..0.25);
        scale[..4].fill(contrast);
        shift[..4].fill(level);
        scale[4] = rng.random_range(0.8..1.25);
        shift[4] = rng.random_range(-0.15..0.15);
        scale[5] = rng.random_range(0.5..1.4);
        shift[5] = rng.random_range(-0.25..0.25);
        noise = rng.random_range(0.0_f32..0.25).powi(2) * 3.0;
    }
    for c in 0..PLANES {
        for y in 0..HEIGHT as i64 {
            let from = (y + dy).clamp(0, HEIGHT as i64 - 1);
            let from = if flip { HEIGHT as i64 - 1 - from } else { from };
            // Full-resolution rows are interleaved by two: turned over, they change places as well.
            let plane = if flip && c < 4 { c ^ 2 } else { c };
            let line = &view.planes[(plane * HEIGHT + from as usize) * WIDTH..][..WIDTH];
            let at = planes.row(c, y as usize);
            for x in 0..WIDTH as i64 {
                let v = line[(x + dx).clamp(0, WIDTH as i64 - 1) as usize];
                let mut v = f32::from(v) / 31.0 * scale[c] + shift[c];
                if let Some(rng) = &mut rng
                    && noise > 0.0
                {
                    let bits = rng.random::<u32>();
                    let two = (bits & 0xffff) as f32 - (bits >> 16) as f32;
                    v += noise * 2.449 / 65536.0 * two;
                }
                planes.data[at + x as usize] = v;
            }
        }
    }
    planes
}

#[cfg(test)]
mod tests {
    use super::*;

    fn random_view(rng: &mut ChaCha8Rng, bright: bool) -> View8 {
        let mut planes: Vec<i8> = (0..PLANES * WIDTH * HEIGHT).map(|_| rng.random_range(-20..20)).collect();
        if bright {
            let (x0, y0) = (rng.random_range(20..60), rng.random_range(10..24));
            for c in 0..4 {
                for y in y0..y0 + 6 {
                    for x in x0..x0 + 10 {
                        planes[(c * HEIGHT + y) * WIDTH + x] = 60;
                    }
                }
            }
        }
        View8 { planes, extra: [0.5; EXTRA] }
    }

    #[test]
    fn the_gradient_is_that_of_the_loss() {
        let mut rng = ChaCha8Rng::seed_from_u64(2);
        let net = ConvNet::random(&mut rng);
        let view = random_view(&mut rng, true);
        let trace = net.trace(unpack(&view, None), view.extra, None);
        let mut gradient = vec![0.0; net.size()];
        net.accumulate(&trace, 0.0, 1.0, &mut gradient);
        let loss = |net: &ConvNet| f64::from(net.logit(&view)).exp().ln_1p();
        let mut start = 0;
        let mut checked = 0;
        for layer in 0..3 {
            let size = net.convs[layer].weights.len();
            for i in (0..size).step_by(size / 7) {
                let mut moved = net.clone();
                moved.convs[layer].weights[i] += 1e-3;
                let up = loss(&moved);
                moved.convs[layer].weights[i] -= 2e-3;
                let slope = (up - loss(&moved)) / 2e-3;
                let given = f64::from(gradient[start + i]);
                // A maximum may change its source within the step: a small share of the slope.
                assert!((slope - given).abs() < 0.01 + 0.08 * slope.abs(), "{layer} {i}: {slope} {given}");
                checked += 1;
            }
            start += size + net.convs[layer].bias.len();
        }
        assert!(checked > 20);
    }

    #[test]
    fn a_blob_is_learnt_and_the_fit_repeats_itself() {
        let mut rng = ChaCha8Rng::seed_from_u64(4);
        let labels: Vec<f32> = (0..96).map(|i| (i % 2) as f32).collect();
        let views: Vec<View8> = labels.iter().map(|l| random_view(&mut rng, *l > 0.5)).collect();
        let mut how = Fit { epochs: 16, rate: 4e-3, decay: 1e-4, seed: 1 };
        let net = ConvNet::fit(&views, &labels, &vec![1.0; 96], &how);
        let right = views.iter().zip(&labels).filter(|(v, l)| (net.logit(v) > 0.0) == (**l > 0.5)).count();
        assert!(right >= 90, "{right}");
        assert!(net.is_sound());
        how.epochs = 1;
        let twice = [(); 2].map(|()| ConvNet::fit(&views, &labels, &vec![1.0; 96], &how));
        assert_eq!(twice[0], twice[1]);
    }
}
