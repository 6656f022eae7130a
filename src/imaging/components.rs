//! Connected regions.

use super::Plane;

/// A connected region (8-neighbours).
#[derive(Debug, Clone, PartialEq)]
pub struct Region {
    /// Pixels as (column, row), in the order of the flood.
    pub pixels: Vec<(u32, u32)>,
    /// Least column.
    pub x0: u32,
    /// Least row.
    pub y0: u32,
    /// Greatest column (inclusive).
    pub x1: u32,
    /// Greatest row (inclusive).
    pub y1: u32,
}

impl Region {
    /// Width of the bounding box in pixels.
    pub fn width(&self) -> u32 {
        self.x1 - self.x0 + 1
    }

    /// Height of the bounding box in pixels.
    pub fn height(&self) -> u32 {
        self.y1 - self.y0 + 1
    }

    /// Mean column and row of the pixels.
    pub fn centre(&self) -> [f64; 2] {
        let n = self.pixels.len() as f64;
        let (mut sx, mut sy) = (0.0, 0.0);
        for &(x, y) in &self.pixels {
            sx += f64::from(x);
            sy += f64::from(y);
        }
        [sx / n, sy / n]
    }

    /// Lengths of the principal axes: four standard deviations along each, longer first; equal to the
    /// axes of the ellipse with the same second moments. Pixels count as unit squares.
    ///
    /// # References
    /// Haralick & Shapiro 1992, Computer and Robot Vision I, ch. 2 (definition from memory).
    pub fn axes(&self) -> (f64, f64) {
        let [xx, yy, xy] = self.moments();
        let half = 0.5 * (xx + yy);
        let root = (0.25 * (xx - yy).powi(2) + xy * xy).sqrt();
        (4.0 * (half + root).sqrt(), 4.0 * (half - root).max(0.0).sqrt())
    }

    /// Unit vector, x then y, along the shorter principal axis.
    pub fn across(&self) -> [f64; 2] {
        let [xx, yy, xy] = self.moments();
        let (sin, cos) = (0.5 * (2.0 * xy).atan2(xx - yy)).sin_cos();
        [-sin, cos]
    }

    /// The places `by` pixels to the right, left, below and above each pixel, column and row; some lie in the region.
    pub fn beside(&self, by: i64) -> impl Iterator<Item = (i64, i64)> + '_ {
        self.pixels.iter().flat_map(move |&(x, y)| {
            [(by, 0), (-by, 0), (0, by), (0, -by)].map(|(dx, dy)| (i64::from(x) + dx, i64::from(y) + dy))
        })
    }

    /// Central second moments along x, along y and mixed, a pixel a unit square.
    fn moments(&self) -> [f64; 3] {
        let n = self.pixels.len() as f64;
        let [mx, my] = self.centre();
        let (mut xx, mut yy, mut xy) = (0.0, 0.0, 0.0);
        for &(x, y) in &self.pixels {
            let (dx, dy) = (f64::from(x) - mx, f64::from(y) - my);
            xx += dx * dx;
            yy += dy * dy;
            xy += dx * dy;
        }
        [xx / n + 1.0 / 12.0, yy / n + 1.0 / 12.0, xy / n]
    }
}

/// Regions where `values` is at least `low` that somewhere reach `high`, in the order of their first such
/// pixel row by row (hysteresis; Canny 1986, doi 10.1109/TPAMI.1986.4767851). Regions of fewer than
/// `least` pixels are dropped.
///
/// ```
/// use frygauge::imaging::{Plane, components::hysteresis};
/// let p = Plane { width: 5, height: 1, data: vec![1.0, 3.0, 1.0, 0.0, 1.0] };
/// let regions = hysteresis(&p, 1.0, 2.0, 1);
/// assert_eq!((regions.len(), regions[0].pixels.len()), (1, 3));
/// ```
pub fn hysteresis<T: Copy + PartialOrd>(values: &Plane<T>, low: T, high: T, least: usize) -> Vec<Region> {
    let member: Vec<bool> = values.data.iter().map(|v| *v >= low).collect();
    let member = Plane { width: values.width, height: values.height, data: member };
    let starts = (0..values.data.len()).filter(|at| values.data[*at] >= high);
    flooded(member, starts, least)
}

/// Regions of `true`, in the order of their first pixel row by row.
pub fn regions(mask: &Plane<bool>, least: usize) -> Vec<Region> {
    flooded(mask.clone(), (0..mask.data.len()).filter(|at| mask.data[*at]), least)
}

/// The regions of `rest` that hold one of `starts`, in their order; `rest` is eaten up.
fn flooded(mut rest: Plane<bool>, starts: impl Iterator<Item = usize>, least: usize) -> Vec<Region> {
    let mut regions = Vec::new();
    let (w, h) = (rest.width, rest.height);
    for start in starts {
        if !std::mem::take(&mut rest.data[start]) {
            continue;
        }
        let mut pixels = vec![((start % w) as u32, (start / w) as u32)];
        let mut next = 0;
        while next < pixels.len() {
            let (x, y) = (pixels[next].0 as usize, pixels[next].1 as usize);
            next += 1;
            let (from, to) = (x.saturating_sub(1), (x + 1).min(w - 1));
            for ny in y.saturating_sub(1)..=(y + 1).min(h - 1) {
                for (nx, member) in (from..).zip(&mut rest.data[ny * w + from..=ny * w + to]) {
                    if std::mem::take(member) {
                        pixels.push((nx as u32, ny as u32));
                    }
                }
            }
        }
        if pixels.len() >= least {
            regions.extend(bounded(pixels));
        }
    }
    regions
}

/// A region of the given pixels with its bounds; `None` without pixels.
pub fn bounded(pixels: Vec<(u32, u32)>) -> Option<Region> {
    if pixels.is_empty() {
        return None;
    }
    let (mut x0, mut y0, mut x1, mut y1) = (u32::MAX, u32::MAX, 0, 0);
    for &(x, y) in &pixels {
        x0 = x0.min(x);
        y0 = y0.min(y);
        x1 = x1.max(x);
        y1 = y1.max(y);
    }
    Some(Region { pixels, x0, y0, x1, y1 })
}

/// Fills holes of at most `most` pixels: background regions (4-neighbours) that do not reach the edge.
pub fn fill_holes(mask: &mut Plane<bool>, most: usize) {
    // A hole lies within the box round the mask, and what reaches the edge of that box is none.
    let Some([x0, y0, x1, y1]) = mask.bounds() else { return };
    let w = mask.width;
    let mut rest = mask.map(|m| !m);
    let mut pixels = Vec::new();
    for start in (y0..=y1).flat_map(|y| y * w + x0..=y * w + x1) {
        if !std::mem::take(&mut rest.data[start]) {
            continue;
        }
        pixels.clear();
        pixels.push(start);
        let mut open = false;
        let mut next = 0;
        while next < pixels.len() {
            let at = pixels[next];
            let (x, y) = (at % w, at / w);
            next += 1;
            open |= x == x0 || y == y0 || x == x1 || y == y1;
            let mut visit = |at: usize| {
                if std::mem::take(&mut rest.data[at]) {
                    pixels.push(at);
                }
            };
            if x > x0 {
                visit(at - 1);
            }
            if x < x1 {
                visit(at + 1);
            }
            if y > y0 {
                visit(at - w);
            }
            if y < y1 {
                visit(at + w);
            }
        }
        if !open && pixels.len() <= most {
            for at in &pixels {
                mask.data[*at] = true;
            }
        }
    }
}
