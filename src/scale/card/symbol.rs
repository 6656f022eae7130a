//! QR symbols in a photograph: a fast search for their finder patterns, then decoding of a small
//! straightened copy.
//!
//! A finder pattern crossed by any line through its middle shows dark, light, dark, light, dark in the
//! ratio 1:1:3:1:1 (ISO/IEC 18004, 5.3.2). Rows are searched at a few reductions of the photograph, in
//! which a module is 2.5 to 9 pixels wide; what a row suggests, the column through it must confirm. Only
//! where three patterns form a corner is a decoder called, so that a photograph without a symbol costs a
//! few row scans.

use crate::imaging::Plane;
use crate::photo::Pixels;
use rxing::common::HybridBinarizer;
use rxing::{BinaryBitmap, Luma8LuminanceSource, Reader};

/// Patterns round which others are looked for closely.
const CLOSER: usize = 6;
/// How much of the difference to a blurred copy sharpening adds.
const SHARPEN: f32 = 1.6;

/// A symbol found and decoded.
#[derive(Debug, Clone)]
pub(super) struct Decoded {
    /// What it says.
    pub text: String,
    /// Centres of the finder patterns in pixels of the photograph: corner, and its two neighbours in the
    /// order that makes the symbol unmirrored.
    pub finders: [[f64; 2]; 3],
}

/// A finder pattern, in pixels of its level.
#[derive(Debug, Clone, Copy)]
struct Finder {
    at: [f64; 2],
    module: f64,
    hits: u32,
}

/// A reduction of the photograph.
struct Level {
    /// Photograph pixels to a level pixel.
    factor: usize,
    width: usize,
    height: usize,
    data: Vec<u8>,
}

/// Every symbol that can be decoded.
pub(super) fn find(pixels: &Pixels) -> Vec<Decoded> {
    let (w, h) = (pixels.width as usize, pixels.height as usize);
    let mut found: Vec<Decoded> = Vec::new();
    // Coarse levels first: they cost least and hold the symbols of ordinary photographs.
    let mut factor = 1;
    while w.max(h) / (factor * 3) >= 400 {
        factor *= 3;
    }
    while factor >= 1 {
        let level = Level::new(&pixels.luma, w, h, factor);
        for decoded in level.symbols() {
            let known = found.iter().any(|f| {
                let side = distance(decoded.finders[1], decoded.finders[2]);
                distance(f.finders[0], decoded.finders[0]) < side
            });
            if !known {
                found.push(decoded);
            }
        }
        factor /= 3;
        if !found.is_empty() && factor == 1 && w * h > 3_000_000 {
            break;
        }
    }
    found
}

impl Level {
    fn new(luma: &[u8], width: usize, height: usize, factor: usize) -> Self {
        if factor == 1 {
            return Self { factor, width, height, data: luma.to_vec() };
        }
        let plane: Plane<f32> = crate::imaging::reduce::reduce(luma, width, height, factor);
        let data = plane.data.iter().map(|v| v.round() as u8).collect();
        Self { factor, width: plane.width, height: plane.height, data }
    }

    fn symbols(&self) -> Vec<Decoded> {
        let step = if self.factor == 1 { 3 } else { 2 };
        let finders = self.finders(step);
        let found = self.decode_all(finders.clone());
        if !found.is_empty() || finders.is_empty() {
            return found;
        }
        self.decode_all(self.closer(finders))
    }

    /// Finder patterns round those that were seen, looked for row by row in sharpened copies: blur takes
    /// the thin rings of a small pattern first, and seldom those of all three.
    fn closer(&self, mut seen: Vec<Finder>) -> Vec<Finder> {
        seen.sort_by_key(|f| std::cmp::Reverse(f.hits));
        let mut all: Vec<Finder> = Vec::new();
        for finder in seen.iter().take(CLOSER) {
            if all.iter().any(|f| distance(f.at, finder.at) < 2.0 * f.module) {
                continue;
            }
            // A symbol of version 3 is 41 modules across its corners; light and quiet zone round it.
            let reach = 38.0 * finder.module;
            let [x0, y0] = finder.at.map(|v| (v - reach).max(0.0) as usize);
            let x1 = ((finder.at[0] + reach) as usize).min(self.width);
            let y1 = ((finder.at[1] + reach) as usize).min(self.height);
            let rows = (y0..y1).flat_map(|y| &self.data[y * self.width + x0..y * self.width + x1]);
            let data: Vec<f32> = rows.map(|v| f32::from(*v)).collect();
            let plane = Plane { width: x1 - x0, height: y1 - y0, data };
            let soft = crate::imaging::blur::gaussian(&plane, 0.45 * finder.module as f32);
            let sharp = plane.data.iter().zip(&soft.data).map(|(v, s)| (v + SHARPEN * (v - s)).round() as u8);
            let crop = Self { factor: 1, width: plane.width, height: plane.height, data: sharp.collect() };
            for mut f in crop.finders(1) {
                f.at = [f.at[0] + x0 as f64, f.at[1] + y0 as f64];
                if !all.iter().any(|a| distance(a.at, f.at) < 2.0 * a.module) {
                    all.push(f);
                }
            }
        }
        all
    }

    fn decode_all(&self, mut finders: Vec<Finder>) -> Vec<Decoded> {
        finders.sort_by_key(|f| std::cmp::Reverse(f.hits));
        finders.truncate(24);
        let mut corners = Vec::new();
        for a in 0..finders.len() {
            for b in 0..finders.len() {
                for c in b + 1..finders.len() {
                    if a != b
                        && a != c
                        && let Some(badness) = corner([finders[a], finders[b], finders[c]])
                    {
                        corners.push((badness, [a, b, c]));
                    }
                }
            }
        }
        corners.sort_by(|x, y| x.0.total_cmp(&y.0));
        let mut used = vec![false; finders.len()];
        let mut found = Vec::new();
        for (_, corner) in corners.into_iter().take(40) {
            if corner.iter().any(|i| used[*i]) {
                continue;
            }
            if let Some(decoded) = self.decode(corner.map(|i| finders[i])) {
                corner.iter().for_each(|i| used[*i] = true);
                found.push(decoded);
            }
        }
        found
    }

    /// Finder patterns, by every `step`-th row, confirmed by columns.
    fn finders(&self, step: usize) -> Vec<Finder> {
        let mut found: Vec<Finder> = Vec::new();
        let mut sums = vec![0u32; self.width + 1];
        for y in (0..self.height).step_by(step) {
            let row = &self.data[y * self.width..(y + 1) * self.width];
            Self::scan(row, &mut sums, |x, module, dark, light| {
                if let Some(finder) = self.confirm(x, y, module, dark, light) {
                    let near = found.iter_mut().find(|f| {
                        distance(f.at, finder.at) < 2.5 * f.module
                            && (0.6..1.7).contains(&(f.module / finder.module))
                    });
                    if let Some(f) = near {
                        let n = f64::from(f.hits);
                        f.at = [0, 1].map(|i| (f.at[i] * n + finder.at[i]) / (n + 1.0));
                        f.module = (f.module * n + finder.module) / (n + 1.0);
                        f.hits += 1;
                    } else {
                        found.push(finder);
                    }
                }
            });
        }
        found
    }

    /// Calls `hit` with the middle, module width and the two levels of grey of every 1:1:3:1:1 in a row.
    fn scan(row: &[u8], sums: &mut [u32], mut hit: impl FnMut(usize, f64, f32, f32)) {
        const REACH: usize = 40;
        let width = row.len();
        let mut sum = 0;
        for (total, v) in sums[1..].iter_mut().zip(row) {
            sum += u32::from(*v);
            *total = sum;
        }
        let mut runs = [0usize; 6];
        let mut dark = false;
        let mut start = 0;
        for x in 0..width {
            let (from, to) = (x.saturating_sub(REACH), (x + REACH).min(width));
            // Compares with the mean of the surroundings without dividing; a margin of 5 % settles plain
            // paper as light.
            let here = u32::from(row[x]) * (to - from) as u32 * 20;
            let is_dark = here < (sums[to] - sums[from]) * 19;
            if is_dark == dark {
                continue;
            }
            runs.rotate_left(1);
            runs[5] = x - start;
            start = x;
            dark = is_dark;
            if is_dark {
                continue;
            }
            let five = [runs[1], runs[2], runs[3], runs[4], runs[5]];
            if let Some(module) = ratio(five) {
                let end = x;
                let first = end - five.iter().sum::<usize>();
                let middle = first + five[0] + five[1] + five[2] / 2;
                let gap = (first + five[0] + five[1] / 2, end - five[4] - five[3] / 2 - 1);
                let light = f32::midpoint(f32::from(row[gap.0]), f32::from(row[gap.1]));
                let grey = f32::from(row[middle]);
                if light - grey > 10.0 && light > 1.15 * grey {
                    hit(middle, module, grey, light);
                }
            }
        }
    }

    /// Checks the column through a row's suggestion, then the row again, and gives the centre.
    fn confirm(&self, x: usize, y: usize, module: f64, dark: f32, light: f32) -> Option<Finder> {
        let limit = f32::midpoint(dark, light);
        let (cy, vertical) = self.cross(x as f64, y as f64, [0.0, 1.0], module, limit)?;
        let middle = y as f64 + cy;
        let (cx, across) = self.cross(x as f64, middle, [1.0, 0.0], module, limit)?;
        if !(0.5..2.0).contains(&(vertical / across)) {
            return None;
        }
        let at = [x as f64 + cx, middle];
        // One of the diagonals must agree as well: bars and letters fail here.
        let s = std::f64::consts::FRAC_1_SQRT_2;
        let diagonal =
            [[s, s], [s, -s]].iter().any(|d| self.cross(at[0], at[1], *d, 1.2 * module, limit).is_some());
        diagonal.then_some(Finder { at, module: (vertical * across).sqrt(), hits: 1 })
    }

    /// The five runs along a line through a point: offset of their middle, and the width of a module.
    fn cross(&self, x: f64, y: f64, d: [f64; 2], module: f64, limit: f32) -> Option<(f64, f64)> {
        const STEP: f64 = 0.5;
        let most = (8.0 * module / STEP) as usize;
        let mut runs = [0usize; 5];
        for (sign, order) in [(-1.0, [2, 1, 0]), (1.0, [2, 3, 4])] {
            let mut at = 0;
            let mut dark = true;
            let first = usize::from(sign > 0.0);
            for i in first..=most {
                let t = sign * i as f64 * STEP;
                let (px, py) = (x + d[0] * t, y + d[1] * t);
                if px < 0.0 || py < 0.0 || px > (self.width - 1) as f64 || py > (self.height - 1) as f64 {
                    break;
                }
                if (self.sample(px, py) < limit) != dark {
                    dark = !dark;
                    at += 1;
                    if at == 3 {
                        break;
                    }
                }
                runs[order[at]] += 1;
            }
            if at < 3 && runs[order[2]] == 0 {
                return None;
            }
        }
        let module = ratio(runs)? * STEP;
        // Middle of the centre run, from the part of it that lies before the start.
        let back = (0..=most)
            .take_while(|i| self.sample(x - d[0] * *i as f64 * STEP, y - d[1] * *i as f64 * STEP) < limit)
            .count();
        let offset = (runs[2] as f64 / 2.0 - back as f64 + 0.5) * STEP;
        Some((offset, module))
    }

    fn sample(&self, x: f64, y: f64) -> f32 {
        let x = x.clamp(0.0, (self.width - 1) as f64);
        let y = y.clamp(0.0, (self.height - 1) as f64);
        let (x0, y0) = (x as usize, y as usize);
        let (x1, y1) = ((x0 + 1).min(self.width - 1), (y0 + 1).min(self.height - 1));
        let (fx, fy) = ((x - x0 as f64) as f32, (y - y0 as f64) as f32);
        let at = |x: usize, y: usize| f32::from(self.data[y * self.width + x]);
        let top = at(x0, y0) * (1.0 - fx) + at(x1, y0) * fx;
        let bottom = at(x0, y1) * (1.0 - fx) + at(x1, y1) * fx;
        top * (1.0 - fy) + bottom * fy
    }

    /// Straightens the symbol that three finder patterns frame, and decodes it.
    fn decode(&self, [corner, b, c]: [Finder; 3]) -> Option<Decoded> {
        let (p, mut q, mut r) = (corner.at, b.at, c.at);
        if (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0]) < 0.0 {
            std::mem::swap(&mut q, &mut r);
        }
        let module = (corner.module + b.module + c.module) / 3.0;
        let span = f64::midpoint(distance(p, q), distance(p, r));
        let guess = (span / module).round();
        // The size of a symbol is 17 + 4 v modules; its finder centres are 7 fewer apart. A card's is tried
        // first, then what the modules seem to be.
        let nearest = (((guess + 7.0 - 17.0) / 4.0).round() * 4.0 + 10.0).clamp(14.0, 98.0);
        let mut spans = vec![22.0];
        for s in [nearest, nearest - 4.0, nearest + 4.0] {
            if s >= 14.0 && !spans.contains(&s) {
                spans.push(s);
            }
        }
        spans.retain(|s| (0.6..1.7).contains(&(s / guess)));
        for (i, modules) in spans.iter().enumerate() {
            // Both ways round: seen from below, a symbol is mirrored.
            let ways: &[bool] = if i == 0 { &[false, true] } else { &[false] };
            for &mirrored in ways {
                let (q, r) = if mirrored { (r, q) } else { (q, r) };
                for scale in [6.0, 4.0] {
                    if let Some(text) = self.straighten(p, q, r, *modules, scale) {
                        let f = self.factor as f64;
                        let up = |a: [f64; 2]| a.map(|v| v * f + (f - 1.0) / 2.0);
                        return Some(Decoded { text, finders: [up(p), up(q), up(r)] });
                    }
                }
            }
        }
        // Only a card's symbol has a known size: 22 modules between the finders.
        if !spans.contains(&22.0) {
            return None;
        }
        let text = super::grid::decode(&|x, y| self.sample(x, y), [p, q, r])?;
        let f = self.factor as f64;
        let up = |a: [f64; 2]| a.map(|v| v * f + (f - 1.0) / 2.0);
        Some(Decoded { text, finders: [up(p), up(q), up(r)] })
    }

    fn straighten(&self, p: [f64; 2], q: [f64; 2], r: [f64; 2], modules: f64, scale: f64) -> Option<String> {
        let border = 5.0;
        let side = ((modules + 7.0 + 2.0 * border) * scale).ceil() as usize;
        let mut data = Vec::with_capacity(side * side);
        for v in 0..side {
            for u in 0..side {
                // Modules from the corner pattern's centre.
                let a = ((u as f64 + 0.5) / scale - border - 3.5) / modules;
                let b = ((v as f64 + 0.5) / scale - border - 3.5) / modules;
                let x = p[0] + a * (q[0] - p[0]) + b * (r[0] - p[0]);
                let y = p[1] + a * (q[1] - p[1]) + b * (r[1] - p[1]);
                data.push(self.sample(x, y).round() as u8);
            }
        }
        let source = Luma8LuminanceSource::new(data, side as u32, side as u32).ok()?;
        let mut bitmap = BinaryBitmap::new(HybridBinarizer::new(source));
        let result = rxing::qrcode::QRCodeReader::new().decode(&mut bitmap).ok()?;
        Some(result.getText().to_owned())
    }
}

/// Width of a module when five runs are 1:1:3:1:1 to within half a module and half a pixel.
fn ratio(runs: [usize; 5]) -> Option<f64> {
    let total: usize = runs.iter().sum();
    if total < 14 || runs.contains(&0) {
        return None;
    }
    let module = total as f64 / 7.0;
    let slack = 0.5 * module + 0.5;
    let ok = runs
        .iter()
        .zip([1.0, 1.0, 3.0, 1.0, 1.0])
        .all(|(run, want)| (*run as f64 - want * module).abs() < slack * if want > 1.0 { 1.6 } else { 1.0 });
    ok.then_some(module)
}

/// How far three finder patterns are from the corner of a square seen within 30 degrees of straight on;
/// `None` when too far. The first is the corner.
fn corner([a, b, c]: [Finder; 3]) -> Option<f64> {
    let modules = [a.module, b.module, c.module];
    let (low, high) = modules.iter().fold((f64::INFINITY, 0.0_f64), |(l, h), m| (l.min(*m), h.max(*m)));
    let (u, v) = ([b.at[0] - a.at[0], b.at[1] - a.at[1]], [c.at[0] - a.at[0], c.at[1] - a.at[1]]);
    let (lu, lv) = (u[0].hypot(u[1]), v[0].hypot(v[1]));
    let cosine = (u[0] * v[0] + u[1] * v[1]) / (lu * lv);
    let span = f64::midpoint(lu, lv) / (modules.iter().sum::<f64>() / 3.0);
    let even = (lu / lv).ln().abs();
    let sizes = (high / low).ln();
    if sizes > 0.55 || cosine.abs() > 0.45 || even > 0.45 || !(9.0..150.0).contains(&span) {
        return None;
    }
    Some(sizes + cosine.abs() + even)
}

fn distance(a: [f64; 2], b: [f64; 2]) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}
