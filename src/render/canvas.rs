//! Linear-light pictures: the canvas, and layers that absorb from it and add to it.

/// Red, green and blue in linear light; 1 is the radiance that just fills the sensor.
pub(super) type Rgb = [f32; 3];

/// A picture in linear light.
#[derive(Debug, Clone)]
pub(super) struct Canvas {
    /// Width in pixels.
    pub width: usize,
    /// Height in pixels.
    pub height: usize,
    /// Row by row from the top left.
    pub data: Vec<Rgb>,
}

impl Canvas {
    /// A canvas of one colour.
    pub fn new(width: usize, height: usize, colour: Rgb) -> Self {
        Self { width, height, data: vec![colour; width * height] }
    }

    /// Changes every pixel within the box `x0..x1`, `y0..y1` (clipped to the canvas).
    pub fn paint(&mut self, bounds: [f64; 4], mut f: impl FnMut(f64, f64, &mut Rgb)) {
        let [x0, y0, x1, y1] = bounds;
        let x0 = x0.floor().clamp(0.0, self.width as f64) as usize;
        let x1 = x1.ceil().clamp(0.0, self.width as f64) as usize;
        let y0 = y0.floor().clamp(0.0, self.height as f64) as usize;
        let y1 = y1.ceil().clamp(0.0, self.height as f64) as usize;
        for y in y0..y1 {
            let row = &mut self.data[y * self.width..(y + 1) * self.width];
            for (x, pixel) in row.iter_mut().enumerate().take(x1).skip(x0) {
                f(x as f64, y as f64, pixel);
            }
        }
    }

    /// Changes every pixel.
    pub fn paint_all(&mut self, f: impl FnMut(f64, f64, &mut Rgb)) {
        self.paint([0.0, 0.0, self.width as f64, self.height as f64], f);
    }

    /// Blurs the whole canvas with a Gaussian of standard deviation `sigma` pixels.
    pub fn blur(&mut self, sigma: f64) {
        blur(&mut self.data, self.width, self.height, sigma);
    }

    /// Value at a real position, bilinear, clamped at the frame.
    pub fn sample(&self, x: f64, y: f64) -> Rgb {
        let x = x.clamp(0.0, (self.width - 1) as f64);
        let y = y.clamp(0.0, (self.height - 1) as f64);
        let (ix, iy) = ((x as usize).min(self.width.max(2) - 2), (y as usize).min(self.height.max(2) - 2));
        let (a, b) = ((x - ix as f64) as f32, (y - iy as f64) as f32);
        let at = iy * self.width + ix;
        let (p, q) = (self.data[at], self.data[(at + 1).min(self.data.len() - 1)]);
        let below = (at + self.width).min(self.data.len() - 2);
        let (r, s) = (self.data[below], self.data[below + 1]);
        std::array::from_fn(|c| (p[c] * (1.0 - a) + q[c] * a) * (1.0 - b) + (r[c] * (1.0 - a) + s[c] * a) * b)
    }
}

/// Something in front of the canvas: each pixel lets a share of the light behind through and adds
/// light of its own.
#[derive(Debug, Clone)]
pub(super) struct Layer {
    /// Column of the layer's first pixel on the canvas; may lie outside.
    pub x0: i64,
    /// Row of the layer's first pixel on the canvas.
    pub y0: i64,
    /// Width in pixels.
    pub width: usize,
    /// Height in pixels.
    pub height: usize,
    /// Share of the light behind that passes.
    pub passes: Vec<Rgb>,
    /// Light added.
    pub adds: Vec<Rgb>,
}

impl Layer {
    /// A clear layer over the box `bounds` (x0, y0, x1, y1) grown by `margin`, clipped to a canvas of
    /// `width` by `height` grown by the same margin; `None` when nothing of it is on the canvas.
    pub fn new(bounds: [f64; 4], margin: f64, width: usize, height: usize) -> Option<Self> {
        let x0 = (bounds[0] - margin).floor().max(-margin - 2.0);
        let y0 = (bounds[1] - margin).floor().max(-margin - 2.0);
        let x1 = (bounds[2] + margin).ceil().min(width as f64 + margin + 2.0);
        let y1 = (bounds[3] + margin).ceil().min(height as f64 + margin + 2.0);
        if x1 <= x0 || y1 <= y0 {
            return None;
        }
        let (w, h) = ((x1 - x0) as usize + 1, (y1 - y0) as usize + 1);
        Some(Self {
            x0: x0 as i64,
            y0: y0 as i64,
            width: w,
            height: h,
            passes: vec![[1.0; 3]; w * h],
            adds: vec![[0.0; 3]; w * h],
        })
    }

    /// Changes the pixels of the layer within `radius` of the canvas point `at`.
    pub fn dab(&mut self, at: [f64; 2], radius: f64, mut f: impl FnMut(f64, f64, &mut Rgb, &mut Rgb)) {
        let (cx, cy) = (at[0] - self.x0 as f64, at[1] - self.y0 as f64);
        let x0 = (cx - radius).floor().clamp(0.0, self.width as f64) as usize;
        let x1 = (cx + radius).ceil().clamp(-1.0, self.width as f64 - 1.0);
        let y0 = (cy - radius).floor().clamp(0.0, self.height as f64) as usize;
        let y1 = (cy + radius).ceil().clamp(-1.0, self.height as f64 - 1.0);
        if x1 < 0.0 || y1 < 0.0 {
            return;
        }
        for y in y0..=y1 as usize {
            for x in x0..=x1 as usize {
                let i = y * self.width + x;
                f(x as f64 - cx, y as f64 - cy, &mut self.passes[i], &mut self.adds[i]);
            }
        }
    }

    /// Blurs both parts, as an object outside the plane of focus.
    pub fn blur(&mut self, sigma: f64) {
        if sigma > 0.2 {
            blur(&mut self.passes, self.width, self.height, sigma);
            blur(&mut self.adds, self.width, self.height, sigma);
        }
    }

    /// Puts the layer on the canvas.
    pub fn apply(&self, canvas: &mut Canvas) {
        self.each(canvas, |pixel, passes, adds| {
            for c in 0..3 {
                pixel[c] = pixel[c] * passes[c] + adds[c];
            }
        });
    }

    /// Puts only the shadow of the layer on the canvas: blurred by `sigma`, moved by `shift`, with
    /// its absorption multiplied by `strength`.
    pub fn cast(&self, canvas: &mut Canvas, shift: [f64; 2], sigma: f64, strength: f32) {
        let mut shadow = self.clone();
        shadow.x0 += shift[0].round() as i64;
        shadow.y0 += shift[1].round() as i64;
        blur(&mut shadow.passes, self.width, self.height, sigma);
        shadow.each(canvas, |pixel, passes, _| {
            for c in 0..3 {
                pixel[c] *= 1.0 - strength * (1.0 - passes[c]);
            }
        });
    }

    fn each(&self, canvas: &mut Canvas, mut f: impl FnMut(&mut Rgb, &Rgb, &Rgb)) {
        for y in 0..self.height {
            let row = self.y0 + y as i64;
            if row < 0 || row >= canvas.height as i64 {
                continue;
            }
            for x in 0..self.width {
                let column = self.x0 + x as i64;
                if column < 0 || column >= canvas.width as i64 {
                    continue;
                }
                let i = y * self.width + x;
                let at = row as usize * canvas.width + column as usize;
                f(&mut canvas.data[at], &self.passes[i], &self.adds[i]);
            }
        }
    }
}

/// Gaussian blur in place, separable, the edge repeated; wide blurs are made of three box blurs
/// (Wells 1986, doi 10.1109/TPAMI.1986.4767776).
pub(super) fn blur(data: &mut [Rgb], width: usize, height: usize, sigma: f64) {
    if sigma < 0.15 || width == 0 || height == 0 {
        return;
    }
    if sigma > 3.0 {
        for radius in boxes(sigma) {
            box_blur(data, width, height, radius);
        }
        return;
    }
    let radius = (3.0 * sigma).ceil() as usize;
    let mut kernel: Vec<f32> =
        (0..=radius).map(|i| (-0.5 * (i as f64 / sigma).powi(2)).exp() as f32).collect();
    let sum = kernel[0] + 2.0 * kernel[1..].iter().sum::<f32>();
    for k in &mut kernel {
        *k /= sum;
    }
    let mut line = vec![[0.0f32; 3]; width + 2 * radius];
    for row in data.chunks_exact_mut(width) {
        line[..radius].fill(row[0]);
        line[radius..radius + width].copy_from_slice(row);
        line[radius + width..].fill(row[width - 1]);
        for (x, out) in row.iter_mut().enumerate() {
            let mut sum = line[x + radius].map(|v| v * kernel[0]);
            for (i, k) in kernel.iter().enumerate().skip(1) {
                let (a, b) = (line[x + radius - i], line[x + radius + i]);
                for c in 0..3 {
                    sum[c] += k * (a[c] + b[c]);
                }
            }
            *out = sum;
        }
    }
    // Down the columns a whole row at a time, with a ring of the last rows, for the cache's sake.
    let source = data.to_vec();
    for y in 0..height {
        let out = &mut data[y * width..(y + 1) * width];
        let middle = &source[y * width..(y + 1) * width];
        for (o, m) in out.iter_mut().zip(middle) {
            *o = m.map(|v| v * kernel[0]);
        }
        for (i, k) in kernel.iter().enumerate().skip(1) {
            let (up, down) = (y.saturating_sub(i) * width, (y + i).min(height - 1) * width);
            let (up, down) = (&source[up..up + width], &source[down..down + width]);
            for ((o, a), b) in out.iter_mut().zip(up).zip(down) {
                for c in 0..3 {
                    o[c] += k * (a[c] + b[c]);
                }
            }
        }
    }
}

/// Radii of three box blurs that together have the variance of a Gaussian.
fn boxes(sigma: f64) -> [usize; 3] {
    let ideal = (4.0 * sigma * sigma + 1.0).sqrt();
    let low = (((ideal - 1.0) / 2.0).floor() as usize).max(1);
    let w = (2 * low + 1) as f64;
    let m = ((12.0 * sigma * sigma - 3.0 * w * w - 12.0 * w - 9.0) / (-4.0 * w - 4.0)).round();
    std::array::from_fn(|i| if (i as f64) < m { low } else { low + 1 })
}

fn box_blur(data: &mut [Rgb], width: usize, height: usize, radius: usize) {
    let scale = 1.0 / (2 * radius + 1) as f32;
    let run = |get: &dyn Fn(usize) -> Rgb, n: usize, set: &mut dyn FnMut(usize, Rgb)| {
        let mut sum = [0.0f32; 3];
        let clamp = |i: i64| i.clamp(0, n as i64 - 1) as usize;
        let r = radius as i64;
        for i in -r..=r {
            let v = get(clamp(i));
            for c in 0..3 {
                sum[c] += v[c];
            }
        }
        for i in 0..n {
            set(i, sum.map(|s| s * scale));
            let (a, b) = (get(clamp(i as i64 - r)), get(clamp(i as i64 + r + 1)));
            for c in 0..3 {
                sum[c] += b[c] - a[c];
            }
        }
    };
    let mut line = vec![[0.0f32; 3]; width.max(height)];
    for row in data.chunks_exact_mut(width) {
        line[..width].copy_from_slice(row);
        run(&|i| line[i], width, &mut |i, v| row[i] = v);
    }
    for x in 0..width {
        for y in 0..height {
            line[y] = data[y * width + x];
        }
        run(&|i| line[i], height, &mut |i, v| data[i * width + x] = v);
    }
}
