//! Layers of the convolutional net: planes with a border, 3 × 3 convolution, rectified maximum.

use super::net::{axpy, dot};
use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use serde::{Deserialize, Serialize};

/// One convolution layer.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Conv {
    /// Planes in.
    pub inputs: usize,
    /// Planes out.
    pub outputs: usize,
    /// Output, input, row, column.
    pub weights: Vec<f32>,
    /// One an output.
    pub bias: Vec<f32>,
}

/// Planes with a border of one zero all round.
#[derive(Debug, Clone)]
pub struct Planes {
    /// Planes.
    pub count: usize,
    /// Columns without the border.
    pub width: usize,
    /// Rows without the border.
    pub height: usize,
    /// Plane by plane, row by row, borders included.
    pub data: Vec<f32>,
}

impl Planes {
    /// All zero.
    pub fn zeros(count: usize, width: usize, height: usize) -> Self {
        Self { count, width, height, data: vec![0.0; count * (width + 2) * (height + 2)] }
    }

    fn stride(&self) -> usize {
        self.width + 2
    }

    /// Index of the first inner number of a row.
    pub fn row(&self, plane: usize, row: usize) -> usize {
        (plane * (self.height + 2) + row + 1) * self.stride() + 1
    }
}

impl Conv {
    /// Small random weights.
    pub fn random(inputs: usize, outputs: usize, rng: &mut ChaCha8Rng) -> Self {
        // He et al. 2015, arXiv 1502.01852: variance 2 / inputs, here of a uniform variable.
        let limit = (6.0 / (9 * inputs) as f32).sqrt();
        let weights = (0..9 * inputs * outputs).map(|_| rng.random_range(-limit..limit)).collect();
        Self { inputs, outputs, weights, bias: vec![0.0; outputs] }
    }

    /// The outputs before rectification, as many rows and columns as the input.
    pub fn forward(&self, input: &Planes) -> Planes {
        let mut out = Planes::zeros(self.outputs, input.width, input.height);
        let (w, stride) = (input.width, input.stride());
        for o in 0..self.outputs {
            for y in 0..input.height {
                let at = out.row(o, y);
                let row = &mut out.data[at..at + w];
                row.fill(self.bias[o]);
                for i in 0..self.inputs {
                    let from = input.row(i, y) - stride - 1;
                    for ky in 0..3 {
                        let line = &input.data[from + ky * stride..from + ky * stride + w + 2];
                        let k = &self.weights[(o * self.inputs + i) * 9 + 3 * ky..][..3];
                        let (a, b, c) = (&line[..w], &line[1..=w], &line[2..w + 2]);
                        for x in 0..w {
                            row[x] += k[0] * a[x] + k[1] * b[x] + k[2] * c[x];
                        }
                    }
                }
            }
        }
        out
    }

    /// Adds to `gradient` (weights, then bias); returns the gradient of the input when `wanted`.
    pub fn backward(
        &self,
        input: &Planes,
        out_gradient: &Planes,
        gradient: &mut [f32],
        wanted: bool,
    ) -> Option<Planes> {
        let (w, stride) = (input.width, input.stride());
        let mut back = wanted.then(|| Planes::zeros(self.inputs, input.width, input.height));
        let (weights, bias) = gradient.split_at_mut(self.weights.len());
        for o in 0..self.outputs {
            for y in 0..input.height {
                let at = out_gradient.row(o, y);
                let g = &out_gradient.data[at..at + w];
                if g.iter().all(|v| *v == 0.0) {
                    continue;
                }
                bias[o] += g.iter().sum::<f32>();
                for i in 0..self.inputs {
                    let from = input.row(i, y) - stride - 1;
                    for ky in 0..3 {
                        let at = from + ky * stride;
                        let line = &input.data[at..at + w + 2];
                        let k = (o * self.inputs + i) * 9 + 3 * ky;
                        for kx in 0..3 {
                            weights[k + kx] += dot(g, &line[kx..kx + w]);
                        }
                        if let Some(back) = &mut back {
                            for kx in 0..3 {
                                axpy(&mut back.data[at + kx..at + kx + w], self.weights[k + kx], g);
                            }
                        }
                    }
                }
            }
        }
        // What flowed into the border belongs to no number.
        if let Some(back) = &mut back {
            let (h, s) = (back.height, back.stride());
            for plane in back.data.chunks_exact_mut(s * (h + 2)) {
                plane[..s].fill(0.0);
                plane[s * (h + 1)..].fill(0.0);
                for row in plane.chunks_exact_mut(s) {
                    row[0] = 0.0;
                    row[s - 1] = 0.0;
                }
            }
        }
        back
    }
}

/// Rectified maximum of two by two, and where it came from (index into the input).
pub fn pool(input: &Planes) -> (Planes, Vec<u32>) {
    let mut out = Planes::zeros(input.count, input.width / 2, input.height / 2);
    let mut from = vec![0; out.data.len()];
    for c in 0..input.count {
        for y in 0..out.height {
            let (a, b) = (input.row(c, 2 * y), input.row(c, 2 * y + 1));
            let to = out.row(c, y);
            for x in 0..out.width {
                let mut best = a + 2 * x;
                for at in [a + 2 * x + 1, b + 2 * x, b + 2 * x + 1] {
                    if input.data[at] > input.data[best] {
                        best = at;
                    }
                }
                out.data[to + x] = input.data[best].max(0.0);
                from[to + x] = best as u32;
            }
        }
    }
    (out, from)
}
