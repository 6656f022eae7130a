//! Labels: their letters, their shapes, and where they hide least.

use super::{Style, fill, polygon, stroke};
use noto_sans_mono_bitmap::{FontWeight, RasterHeight, get_raster, get_raster_width};
use tiny_skia::{PathBuilder, Pixmap, Rect};

/// A box: left, top, width, height.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Box2 {
    pub x: f32,
    pub y: f32,
    pub w: f32,
    pub h: f32,
}

impl Box2 {
    /// The smallest box around `points`.
    pub fn around(points: &[[f32; 2]]) -> Self {
        let mut low = [f32::MAX; 2];
        let mut high = [f32::MIN; 2];
        for p in points {
            for i in 0..2 {
                low[i] = low[i].min(p[i]);
                high[i] = high[i].max(p[i]);
            }
        }
        if points.is_empty() {
            return Self { x: 0.0, y: 0.0, w: 0.0, h: 0.0 };
        }
        Self { x: low[0], y: low[1], w: high[0] - low[0], h: high[1] - low[1] }
    }

    /// Area shared with `other`.
    pub fn overlap(&self, other: &Self) -> f32 {
        let w = (self.x + self.w).min(other.x + other.w) - self.x.max(other.x);
        let h = (self.y + self.h).min(other.y + other.h) - self.y.max(other.y);
        w.max(0.0) * h.max(0.0)
    }
}

/// Where labels may go: inside the frame, off the fish, off each other.
#[derive(Debug)]
pub(super) struct Room {
    frame: Box2,
    /// Points on the fish.
    fish: Vec<[f32; 2]>,
    taken: Vec<Box2>,
}

impl Room {
    /// Room in `frame` among fish that lie on the points `fish`.
    pub fn new(frame: Box2, fish: Vec<[f32; 2]>) -> Self {
        Self { frame, fish, taken: Vec::new() }
    }

    /// Takes the place for a label of `size` beside the fish on `midline` where it hides least: before the
    /// snout, beside the body, behind the tail, each nearer before farther.
    pub fn beside(&mut self, [w, h]: [f32; 2], midline: &[[f32; 2]]) -> Box2 {
        let mut best: Option<(f32, Box2)> = None;
        let n = midline.len();
        let at = |share: f32| midline.get((share * n.saturating_sub(1) as f32) as usize).copied();
        let towards = |a: [f32; 2], b: [f32; 2]| {
            let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
            let n = dx.hypot(dy).max(1e-3);
            [dx / n, dy / n]
        };
        let (Some(snout), Some(neck), Some(tail), Some(stem)) = (at(0.0), at(0.15), at(1.0), at(0.85)) else {
            return Box2 { x: self.frame.x, y: self.frame.y, w, h };
        };
        let forward = towards(neck, snout);
        let sideways = [-forward[1], forward[0]];
        let mut ways = vec![(snout, forward)];
        for share in [0.15, 0.3, 0.5, 0.7] {
            if let Some(p) = at(share) {
                ways.push((p, sideways));
                ways.push((p, [-sideways[0], -sideways[1]]));
            }
        }
        ways.push((tail, towards(stem, tail)));
        for ring in 0..4 {
            for (rank, &(p, [dx, dy])) in ways.iter().enumerate() {
                // Far enough for the whole box to clear the point it is led to, and half a body besides.
                let reach = 0.5 * (w * dx.abs() + h * dy.abs()) + h * (0.35 + 0.5 * ring as f32);
                let (x, y) = (p[0] + dx * reach - w / 2.0, p[1] + dy * reach - h / 2.0);
                let box_ = self.inside(x, y, w, h);
                let moved = (box_.x - x).abs() + (box_.y - y).abs();
                let cost = self.hidden(&box_) + h * (0.6 * ring as f32 + 0.04 * rank as f32) + moved;
                if best.is_none_or(|(least, _)| cost < least) {
                    best = Some((cost, box_));
                }
            }
        }
        let chosen = best.map_or(Box2 { x: 0.0, y: 0.0, w, h }, |(_, b)| b);
        self.taken.push(chosen);
        chosen
    }

    /// Takes a place beside `body` that hides nothing, if there is one.
    pub fn free(&mut self, [w, h]: [f32; 2], body: Box2) -> Option<Box2> {
        let (middle, level) = (body.x + (body.w - w) / 2.0, body.y + (body.h - h) / 2.0);
        let places = [
            (middle, body.y - h - 2.0),
            (middle, body.y + body.h + 2.0),
            (body.x + body.w + 2.0, level),
            (body.x - w - 2.0, level),
            (body.x + 2.0, body.y + 2.0),
        ];
        let found =
            places.into_iter().map(|(x, y)| self.inside(x, y, w, h)).find(|b| self.hidden(b) == 0.0)?;
        self.taken.push(found);
        Some(found)
    }

    fn inside(&self, x: f32, y: f32, w: f32, h: f32) -> Box2 {
        let f = &self.frame;
        let x = if x.is_finite() { x.clamp(f.x, (f.x + f.w - w).max(f.x)) } else { f.x };
        let y = if y.is_finite() { y.clamp(f.y, (f.y + f.h - h).max(f.y)) } else { f.y };
        Box2 { x, y, w, h }
    }

    /// What a label at `at` would hide: twice its height for each label it meets, and up to as much for fish.
    fn hidden(&self, at: &Box2) -> f32 {
        let labels: f32 = self.taken.iter().filter(|b| b.overlap(at) > 0.0).map(|_| 4.0 * at.h).sum();
        let held = |p: &&[f32; 2]| p[0] > at.x && p[0] < at.x + at.w && p[1] > at.y && p[1] < at.y + at.h;
        let fish = self.fish.iter().filter(held).count() as f32;
        labels + fish * 0.4 * at.h
    }
}

/// The letters of a picture: one size, from a font compiled in.
#[derive(Debug, Clone, Copy)]
pub(super) struct Lettering {
    size: RasterHeight,
}

impl Lettering {
    /// Letters that can be read on a picture this wide.
    pub fn for_width(width: u32) -> Self {
        let size = match width {
            0..=1300 => RasterHeight::Size16,
            1301..=2200 => RasterHeight::Size24,
            _ => RasterHeight::Size32,
        };
        Self { size }
    }

    /// Height of a line.
    pub fn height(self) -> u32 {
        self.size.val() as u32
    }

    fn advance(self) -> f32 {
        get_raster_width(FontWeight::Bold, self.size) as f32
    }

    /// Width and height of a label with a symbol before `text`.
    pub fn chip(self, text: &str) -> [f32; 2] {
        let h = self.height() as f32;
        [self.advance() * text.chars().count() as f32 + h + 6.0, h + 2.0]
    }

    /// Width and height of bare letters.
    pub fn plain(self, text: &str) -> [f32; 2] {
        [self.advance() * text.chars().count() as f32 + 4.0, self.height() as f32]
    }

    /// A label: its shape, tone and symbol say the call, its text says it again.
    pub fn draw_chip(self, canvas: &mut Pixmap, at: Box2, style: Style, text: &str) {
        let ink = style.ink();
        let white = [255, 255, 255];
        let (x, y, w, h) = (at.x, at.y, at.w, at.h);
        let square = Rect::from_xywh(x, y, w, h).map(PathBuilder::from_rect);
        let pen = (h / 12.0).max(1.0);
        let letters = match style {
            Style::Inflated => {
                let mut pill = PathBuilder::new();
                let r = h / 2.0;
                pill.push_circle(x + r, y + r, r);
                pill.push_circle(x + w - r, y + r, r);
                if let Some(rect) = Rect::from_xywh(x + r, y, (w - h).max(0.1), h) {
                    pill.push_rect(rect);
                }
                if let Some(path) = pill.finish() {
                    fill(canvas, &path, ink, 255);
                }
                white
            }
            Style::NotInflated | Style::Unsure | Style::LeftOut => {
                if let Some(path) = square {
                    fill(canvas, &path, white, 255);
                    let dash = (style != Style::NotInflated).then_some([2.0 * pen, 2.0 * pen]);
                    stroke(
                        canvas,
                        &path,
                        ink,
                        255,
                        if style == Style::LeftOut { 0.5 * pen } else { pen * 1.4 },
                        dash,
                    );
                }
                [0, 0, 0]
            }
        };
        let (cx, cy, r) = (x + h * 0.5, y + h * 0.5, h * 0.24);
        match style {
            Style::Inflated => {
                if let Some(path) = PathBuilder::from_circle(cx, cy, r) {
                    fill(canvas, &path, white, 255);
                }
            }
            Style::NotInflated => {
                if let Some(path) = PathBuilder::from_circle(cx, cy, r) {
                    stroke(canvas, &path, ink, 255, pen * 1.6, None);
                }
            }
            Style::Unsure => {
                if let Some(path) = polygon(&[[cx, cy - r], [cx + r, cy], [cx, cy + r], [cx - r, cy]], true) {
                    fill(canvas, &path, ink, 255);
                }
            }
            Style::LeftOut => {
                if let Some(path) = polygon(&[[cx - r, cy], [cx + r, cy]], false) {
                    stroke(canvas, &path, ink, 255, pen * 1.4, None);
                }
            }
        }
        self.write(canvas, x + h, y + 1.0, letters, text);
    }

    /// Bare letters on a pale ground.
    pub fn draw_plain(self, canvas: &mut Pixmap, at: Box2, text: &str) {
        if let Some(path) = Rect::from_xywh(at.x, at.y, at.w.max(0.1), at.h).map(PathBuilder::from_rect) {
            fill(canvas, &path, [255, 255, 255], 170);
        }
        self.write(canvas, at.x + 2.0, at.y, [60, 60, 60], text);
    }

    fn write(self, canvas: &mut Pixmap, x: f32, y: f32, ink: [u8; 3], text: &str) {
        let (width, height) = (canvas.width() as i64, canvas.height() as i64);
        let step = self.advance() as i64;
        let (x0, y0) = (x.round() as i64, y.round() as i64);
        for (i, c) in text.chars().enumerate() {
            let Some(glyph) = get_raster(c, FontWeight::Bold, self.size)
                .or_else(|| get_raster('?', FontWeight::Bold, self.size))
            else {
                continue;
            };
            for (dy, row) in glyph.rows().enumerate() {
                for (dx, &cover) in row.iter().enumerate() {
                    let (px, py) = (x0 + i as i64 * step + dx as i64, y0 + dy as i64);
                    if cover == 0 || px < 0 || py < 0 || px >= width || py >= height {
                        continue;
                    }
                    let at = 4 * (py * width + px) as usize;
                    for (value, &tone) in canvas.data_mut()[at..at + 3].iter_mut().zip(&ink) {
                        let (v, t, a) = (u32::from(*value), u32::from(tone), u32::from(cover));
                        *value = ((v * (255 - a) + t * a + 127) / 255) as u8;
                    }
                }
            }
        }
    }
}
