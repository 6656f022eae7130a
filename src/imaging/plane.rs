//! A raster of one channel.

/// A raster of one channel, row by row from the top left.
#[derive(Debug, Clone, PartialEq)]
pub struct Plane<T> {
    /// Columns.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// `width * height` values.
    pub data: Vec<T>,
}

impl<T: Copy> Plane<T> {
    /// A raster filled with `value`.
    pub fn filled(width: usize, height: usize, value: T) -> Self {
        Self { width, height, data: vec![value; width * height] }
    }

    /// The value at column `x`, row `y`, which must lie inside.
    #[inline]
    pub fn at(&self, x: usize, y: usize) -> T {
        self.data[y * self.width + x]
    }

    /// Sets the value at column `x`, row `y`, which must lie inside.
    #[inline]
    pub fn set(&mut self, x: usize, y: usize, value: T) {
        self.data[y * self.width + x] = value;
    }

    /// The value at `x`, `y`, or `outside` beyond the edge.
    #[inline]
    pub fn get_or(&self, x: i64, y: i64, outside: T) -> T {
        if x < 0 || y < 0 || x >= self.width as i64 || y >= self.height as i64 {
            outside
        } else {
            self.data[y as usize * self.width + x as usize]
        }
    }

    /// The pixel that holds the point `x`, `y`, or `outside` beyond the edge.
    #[inline]
    pub fn nearest_or(&self, x: f64, y: f64, outside: T) -> T {
        // Not by rounding, which is a call into the mathematics library on the oldest processors.
        let (x, y) = (x + 0.5, y + 0.5);
        if x < 0.0 || y < 0.0 || x >= self.width as f64 || y >= self.height as f64 {
            outside
        } else {
            self.data[y as usize * self.width + x as usize]
        }
    }

    /// A row.
    #[inline]
    pub fn row(&self, y: usize) -> &[T] {
        &self.data[y * self.width..(y + 1) * self.width]
    }

    /// Every value through `f`.
    pub fn map<U>(&self, f: impl FnMut(T) -> U) -> Plane<U> {
        Plane { width: self.width, height: self.height, data: self.data.iter().copied().map(f).collect() }
    }
}

impl Plane<bool> {
    /// The pixels whose neighbours within `reach` rows and columns all are `true`, themselves included; beyond the edge
    /// counts as `true`.
    #[must_use]
    pub fn inner(&self, reach: i64) -> Self {
        let holds = |i: usize| {
            let (x, y) = ((i % self.width) as i64, (i / self.width) as i64);
            (-reach..=reach).all(|dy| (-reach..=reach).all(|dx| self.get_or(x + dx, y + dy, true)))
        };
        Self { width: self.width, height: self.height, data: (0..self.data.len()).map(holds).collect() }
    }

    /// Sets the pixels whose middles lie within `radius` of a point, x then y, rounded to a pixel.
    pub fn set_disc(&mut self, centre: [f64; 2], radius: f64) {
        let [cx, cy] = centre.map(|v| v.round() as i64);
        let span = radius.floor() as i64;
        for y in (cy - span).max(0)..=(cy + span).min(self.height as i64 - 1) {
            for x in (cx - span).max(0)..=(cx + span).min(self.width as i64 - 1) {
                let (dx, dy) = ((x - cx) as f64, (y - cy) as f64);
                if dx * dx + dy * dy <= radius * radius {
                    self.set(x as usize, y as usize, true);
                }
            }
        }
    }

    /// First column and row and last column and row with a `true` pixel; `None` without any.
    pub fn bounds(&self) -> Option<[usize; 4]> {
        let (mut x0, mut x1) = (usize::MAX, 0);
        let (mut y0, mut y1) = (usize::MAX, 0);
        for y in 0..self.height {
            let row = self.row(y);
            let Some(first) = row.iter().position(|m| *m) else { continue };
            let last = row.iter().rposition(|m| *m).unwrap_or(first);
            (x0, x1) = (x0.min(first), x1.max(last));
            (y0, y1) = (y0.min(y), y);
        }
        (x0 <= x1).then_some([x0, y0, x1, y1])
    }
}

impl Plane<f32> {
    /// Bilinear value at `x`, `y`; coordinates are clamped to the raster.
    ///
    /// ```
    /// use frygauge::imaging::Plane;
    /// let p = Plane { width: 2, height: 1, data: vec![0.0, 1.0] };
    /// assert_eq!(p.bilinear(0.25, 0.0), 0.25);
    /// assert_eq!(p.bilinear(9.0, -3.0), 1.0);
    /// ```
    #[inline]
    pub fn bilinear(&self, x: f64, y: f64) -> f32 {
        bilinear(&self.data, self.width, self.height, x, y)
    }
}

/// Bilinear value at `x`, `y` of a raster of `width` columns and `height` rows; coordinates are clamped to it.
#[inline]
pub fn bilinear<T: Copy + Into<f32>>(data: &[T], width: usize, height: usize, x: f64, y: f64) -> f32 {
    // Thirty-two bits hold any side, and are the fast conversion.
    let x = (x as f32).clamp(0.0, (width - 1) as f32);
    let y = (y as f32).clamp(0.0, (height - 1) as f32);
    let (x0, y0) = (x as i32, y as i32);
    let (fx, fy) = (x - x0 as f32, y - y0 as f32);
    let (x0, y0) = (x0 as usize, y0 as usize);
    let (right, below) = (usize::from(x0 + 1 < width), if y0 + 1 < height { width } else { 0 });
    let at = y0 * width + x0;
    let mix = |pair: &[T]| pair[0].into() * (1.0 - fx) + pair[right].into() * fx;
    mix(&data[at..=at + right]) * (1.0 - fy) + mix(&data[at + below..=at + below + right]) * fy
}

/// The value below which the share `q` (0-1) of `values` lies; reorders `values`. `None` when empty.
///
/// ```
/// assert_eq!(frygauge::imaging::plane::quantile(&mut [3.0, 1.0, 2.0], 0.5), Some(2.0));
/// ```
pub fn quantile(values: &mut [f32], q: f64) -> Option<f32> {
    if values.is_empty() {
        return None;
    }
    let at = ((values.len() - 1) as f64 * q.clamp(0.0, 1.0)).round() as usize;
    let (_, v, _) = values.select_nth_unstable_by(at, f32::total_cmp);
    Some(*v)
}

/// Standard deviation of normal noise from the median absolute deviation about zero (factor 1.4826),
/// which a few per cent of fish pixels do not move. `None` when empty.
pub fn noise_about_zero(values: impl Iterator<Item = f32>) -> Option<f32> {
    let mut magnitude: Vec<f32> = values.map(f32::abs).collect();
    quantile(&mut magnitude, 0.5).map(|m| 1.4826 * m)
}
