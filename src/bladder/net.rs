//! A small fully connected net and its fit: tanh layers and one logit.

use rand::seq::SliceRandom;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde::{Deserialize, Serialize};

/// One layer: `outputs` rows of `inputs` weights.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Dense {
    /// Numbers in.
    pub inputs: usize,
    /// Numbers out.
    pub outputs: usize,
    /// Row by row, one row an output.
    pub weights: Vec<f32>,
    /// One an output.
    pub bias: Vec<f32>,
}

impl Dense {
    /// A layer of small random weights (Glorot and Bengio 2010).
    pub fn random(inputs: usize, outputs: usize, rng: &mut ChaCha8Rng) -> Self {
        let limit = (6.0 / (inputs + outputs) as f32).sqrt();
        let weights = (0..inputs * outputs).map(|_| rng.random_range(-limit..limit)).collect();
        Self { inputs, outputs, weights, bias: vec![0.0; outputs] }
    }

    /// Whether the sizes agree and every number is finite.
    pub fn is_sound(&self) -> bool {
        self.weights.len() == self.inputs * self.outputs
            && self.bias.len() == self.outputs
            && self.weights.iter().chain(&self.bias).all(|v| v.is_finite())
    }

    /// The outputs before any squashing.
    pub fn forward(&self, input: &[f32]) -> Vec<f32> {
        self.weights.chunks_exact(self.inputs).zip(&self.bias).map(|(row, b)| b + dot(row, input)).collect()
    }

    /// Adds to `gradient` (weights, then bias) and returns the gradient of the input.
    pub fn backward(&self, input: &[f32], output_gradient: &[f32], gradient: &mut [f32]) -> Vec<f32> {
        let mut back = vec![0.0; self.inputs];
        let (weights, bias) = gradient.split_at_mut(self.weights.len());
        for (o, &g) in output_gradient.iter().enumerate() {
            if g == 0.0 {
                continue;
            }
            let at = o * self.inputs;
            axpy(&mut weights[at..at + self.inputs], g, input);
            axpy(&mut back, g, &self.weights[at..at + self.inputs]);
            bias[o] += g;
        }
        back
    }

    /// Weights and biases.
    pub fn size(&self) -> usize {
        self.weights.len() + self.bias.len()
    }
}

/// Inner product in eight lanes.
pub fn dot(a: &[f32], b: &[f32]) -> f32 {
    let (x, y) = (a.chunks_exact(8), b.chunks_exact(8));
    let rest: f32 = x.remainder().iter().zip(y.remainder()).map(|(p, q)| p * q).sum();
    let mut lanes = [0.0_f32; 8];
    for (p, q) in x.zip(y) {
        for k in 0..8 {
            lanes[k] += p[k] * q[k];
        }
    }
    lanes.iter().sum::<f32>() + rest
}

/// `to += f * from`.
pub fn axpy(to: &mut [f32], f: f32, from: &[f32]) {
    for (t, v) in to.iter_mut().zip(from) {
        *t += f * v;
    }
}

/// Steps of the Adam method (Kingma and Ba 2015, arXiv 1412.6980) with weight decay apart from the gradient.
#[derive(Debug, Clone)]
pub struct Adam {
    first: Vec<f32>,
    second: Vec<f32>,
    steps: i32,
    /// Weight decay per step, times the rate.
    pub decay: f32,
}

impl Adam {
    /// For `size` parameters.
    pub fn new(size: usize, decay: f32) -> Self {
        Self { first: vec![0.0; size], second: vec![0.0; size], steps: 0, decay }
    }

    /// One step against `gradient`.
    pub fn step<'a>(&mut self, parameters: impl Iterator<Item = &'a mut f32>, gradient: &[f32], rate: f32) {
        self.steps += 1;
        let (b1, b2) = (1.0 - 0.9_f32.powi(self.steps), 1.0 - 0.999_f32.powi(self.steps));
        let moments = self.first.iter_mut().zip(&mut self.second);
        for ((p, g), (m, v)) in parameters.zip(gradient).zip(moments) {
            *m += 0.1 * (g - *m);
            *v += 0.001 * (g * g - *v);
            *p -= rate * (*m / b1 / ((*v / b2).sqrt() + 1e-8) + self.decay * *p);
        }
    }
}

/// A stack of dense layers, tanh between them, one logit out.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Net {
    /// First to last.
    pub layers: Vec<Dense>,
}

/// How a net is fitted.
#[derive(Debug, Clone)]
pub struct Fit {
    /// Sizes of the hidden layers; none for logistic regression.
    pub hidden: Vec<usize>,
    /// Passes over the examples.
    pub epochs: usize,
    /// First learning rate; it falls to nothing along a half cosine.
    pub rate: f32,
    /// Weight decay.
    pub decay: f32,
    /// Standard deviation of the noise added to standardised inputs.
    pub jitter: f32,
    /// Seed of weights, order and noise.
    pub seed: u64,
}

impl Net {
    /// The logit of a standardised row.
    pub fn logit(&self, row: &[f32]) -> f32 {
        let mut values = row.to_vec();
        for (i, layer) in self.layers.iter().enumerate() {
            values = layer.forward(&values);
            if i + 1 < self.layers.len() {
                values.iter_mut().for_each(|v| *v = v.tanh());
            }
        }
        values[0]
    }

    /// Fits to standardised `rows` with `labels` (1 inflated, 0 not) and `weights`, by logistic loss.
    pub fn fit(rows: &[Vec<f32>], labels: &[f32], weights: &[f32], how: &Fit) -> Self {
        const BATCH: usize = 64;
        let mut rng = ChaCha8Rng::seed_from_u64(how.seed);
        let inputs = rows.first().map_or(0, Vec::len);
        let sizes: Vec<usize> = [inputs].into_iter().chain(how.hidden.iter().copied()).chain([1]).collect();
        let mut net =
            Self { layers: sizes.windows(2).map(|w| Dense::random(w[0], w[1], &mut rng)).collect() };
        let size = net.layers.iter().map(Dense::size).sum();
        let mut adam = Adam::new(size, how.decay);
        let mut order: Vec<usize> = (0..rows.len()).collect();
        let steps = how.epochs * rows.len().div_ceil(BATCH);
        let mut step = 0;
        let mut gradient = vec![0.0; size];
        for _ in 0..how.epochs {
            order.shuffle(&mut rng);
            for batch in order.chunks(BATCH) {
                gradient.fill(0.0);
                for &i in batch {
                    let mut row = rows[i].clone();
                    for v in &mut row {
                        // Sum of two uniform variables: a triangle of standard deviation one.
                        *v += how.jitter * 2.449 * (rng.random::<f32>() - rng.random::<f32>());
                    }
                    net.accumulate(row, labels[i], weights[i] / batch.len() as f32, &mut gradient);
                }
                let rate = 0.5 * how.rate * (1.0 + (std::f32::consts::PI * step as f32 / steps as f32).cos());
                let parameters = net.layers.iter_mut().flat_map(|l| l.weights.iter_mut().chain(&mut l.bias));
                adam.step(parameters, &gradient, rate);
                step += 1;
            }
        }
        net
    }

    fn accumulate(&self, row: Vec<f32>, label: f32, weight: f32, gradient: &mut [f32]) {
        let mut values = vec![row];
        for (i, layer) in self.layers.iter().enumerate() {
            let mut out = layer.forward(&values[i]);
            if i + 1 < self.layers.len() {
                out.iter_mut().for_each(|v| *v = v.tanh());
            }
            values.push(out);
        }
        let logit = values[self.layers.len()][0];
        let mut back = vec![weight * (sigmoid(logit) - label)];
        let mut end = gradient.len();
        for (i, layer) in self.layers.iter().enumerate().rev() {
            let start = end - layer.size();
            if i + 1 < self.layers.len() {
                for (g, v) in back.iter_mut().zip(&values[i + 1]) {
                    *g *= 1.0 - v * v;
                }
            }
            back = layer.backward(&values[i], &back, &mut gradient[start..end]);
            end = start;
        }
    }
}

/// The logistic function.
pub fn sigmoid(logit: f32) -> f32 {
    1.0 / (1.0 + (-logit).exp())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fit(hidden: Vec<usize>) -> Fit {
        Fit { hidden, epochs: 60, rate: 0.02, decay: 1e-4, jitter: 0.0, seed: 3 }
    }

    #[test]
    fn a_hidden_layer_learns_what_a_line_cannot() {
        let mut rng = ChaCha8Rng::seed_from_u64(5);
        let rows: Vec<Vec<f32>> =
            (0..800).map(|_| vec![rng.random_range(-1.0..1.0), rng.random_range(-1.0..1.0)]).collect();
        let labels: Vec<f32> = rows.iter().map(|r| f32::from(u8::from(r[0] * r[1] > 0.0))).collect();
        let ones = vec![1.0; 800];
        let right =
            |net: &Net| rows.iter().zip(&labels).filter(|(r, l)| (net.logit(r) > 0.0) == (**l > 0.5)).count();
        let net = Net::fit(&rows, &labels, &ones, &fit(vec![12]));
        assert!(right(&net) > 760, "{}", right(&net));
        assert!(right(&Net::fit(&rows, &labels, &ones, &fit(vec![]))) < 600);
        assert_eq!(net, Net::fit(&rows, &labels, &ones, &fit(vec![12])), "the fit repeats itself");
    }

    #[test]
    fn the_gradient_is_that_of_the_loss() {
        let mut rng = ChaCha8Rng::seed_from_u64(9);
        let mut net = Net { layers: vec![Dense::random(3, 4, &mut rng), Dense::random(4, 1, &mut rng)] };
        let row = vec![0.3, -0.7, 1.1];
        let loss = |net: &Net| (1.0 + (-f64::from(net.logit(&row))).exp()).ln();
        let size = net.layers.iter().map(Dense::size).sum();
        let mut gradient = vec![0.0; size];
        net.accumulate(row.clone(), 1.0, 1.0, &mut gradient);
        for (at, layer, i) in [(0, 0, 0), (5, 0, 5), (16, 1, 0), (18, 1, 2)] {
            let mut moved = net.clone();
            moved.layers[layer].weights[i] += 1e-3;
            let up = loss(&moved);
            moved.layers[layer].weights[i] -= 2e-3;
            let slope = (up - loss(&moved)) / 2e-3;
            assert!((slope - f64::from(gradient[at])).abs() < 2e-3, "{at}: {slope} {}", gradient[at]);
        }
        net.layers.clear();
    }
}
