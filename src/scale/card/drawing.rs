//! A card as marks: what is dark on the paper, in millimetres.

use super::{DOT_MM, Geometry, MODULE_MM, MODULES, Payload, PayloadError};
use ttf_parser::{Face, OutlineBuilder};

/// Latin letters of DejaVu Sans (licence beside it): letters are drawn as outlines, so that PDF, SVG and
/// photograph show the same and nothing depends on the fonts of a machine.
const FONT: &[u8] = include_bytes!("DejaVuSans-latin.ttf");

/// A dark mark.
#[derive(Debug, Clone, PartialEq)]
pub enum Mark {
    /// A disc.
    Disc {
        /// Its centre.
        centre: [f64; 2],
        /// Its radius.
        radius: f64,
    },
    /// An upright rectangle.
    Rect {
        /// Top left corner.
        at: [f64; 2],
        /// Width and height.
        size: [f64; 2],
    },
    /// Closed outlines filled by the non-zero rule: letters.
    Outlines(Vec<Vec<[f64; 2]>>),
}

/// A card ready to print.
#[derive(Debug, Clone)]
pub struct Drawing {
    /// Width and height, millimetres.
    pub size: [f64; 2],
    /// Everything dark on it.
    pub marks: Vec<Mark>,
    modules: Vec<bool>,
    geometry: Geometry,
    /// Marks that reach into each square of [`CELL`] millimetres, row by row: symbol and letters left out.
    cells: Vec<Vec<u16>>,
}

/// Side of a square of the index over marks, millimetres.
const CELL: f64 = 2.0;

impl Drawing {
    /// Draws the card that says `payload`.
    ///
    /// # Errors
    /// [`PayloadError`] when the tank's name does not fit.
    pub fn new(payload: &Payload) -> Result<Self, PayloadError> {
        let geometry = payload.geometry;
        let modules = payload.modules()?;
        let mut marks = symbol_marks(geometry.symbol_at(), &modules);
        let symbol = marks.len();
        marks.extend(geometry.dots().into_iter().map(|centre| Mark::Disc { centre, radius: DOT_MM }));
        bar(geometry, &mut marks);
        dish_place(geometry, &mut marks);
        words(payload, &mut marks);
        let size = geometry.size();
        let cells = index(size, &marks, symbol);
        Ok(Self { size, marks, modules, geometry, cells })
    }

    /// Whether the card is dark at a point: symbol, dots and bar (letters are left out, they carry no
    /// measure).
    pub fn is_dark(&self, [x, y]: [f64; 2]) -> bool {
        let [sx, sy] = self.geometry.symbol_at();
        let (u, v) = ((x - sx) / MODULE_MM, (y - sy) / MODULE_MM);
        let side = MODULES as f64;
        if (0.0..side).contains(&u) && (0.0..side).contains(&v) {
            return self.modules[v as usize * MODULES + u as usize];
        }
        if x < 0.0 || y < 0.0 || x >= self.size[0] || y >= self.size[1] {
            return false;
        }
        let columns = (self.size[0] / CELL).ceil() as usize;
        let cell = &self.cells[(y / CELL) as usize * columns + (x / CELL) as usize];
        cell.iter().any(|i| match &self.marks[usize::from(*i)] {
            Mark::Disc { centre, radius } => {
                let (dx, dy) = (x - centre[0], y - centre[1]);
                dx * dx + dy * dy <= radius * radius
            }
            Mark::Rect { at, size } => {
                (0.0..size[0]).contains(&(x - at[0])) && (0.0..size[1]).contains(&(y - at[1]))
            }
            Mark::Outlines(_) => false,
        })
    }
}

/// Which marks from `first` on reach into which square of the card.
fn index(size: [f64; 2], marks: &[Mark], first: usize) -> Vec<Vec<u16>> {
    let [columns, rows] = size.map(|s| (s / CELL).ceil() as usize);
    let mut cells = vec![Vec::new(); columns * rows];
    for (i, mark) in marks.iter().enumerate().skip(first) {
        let (low, high) = match mark {
            Mark::Disc { centre, radius } => (centre.map(|c| c - radius), centre.map(|c| c + radius)),
            Mark::Rect { at, size } => (*at, [at[0] + size[0], at[1] + size[1]]),
            Mark::Outlines(_) => continue,
        };
        let cell = |v: f64, most: usize| ((v / CELL).max(0.0) as usize).min(most - 1);
        for y in cell(low[1], rows)..=cell(high[1], rows) {
            for x in cell(low[0], columns)..=cell(high[0], columns) {
                cells[y * columns + x].push(i as u16);
            }
        }
    }
    cells
}

/// The symbol's dark modules, runs of a row joined so that no hairline shows between them.
fn symbol_marks([x, y]: [f64; 2], modules: &[bool]) -> Vec<Mark> {
    let mut marks = Vec::new();
    for (row, line) in modules.chunks(MODULES).enumerate() {
        let mut column = 0;
        while column < MODULES {
            let run = line[column..].iter().take_while(|d| **d).count();
            if run > 0 {
                let at = [x + column as f64 * MODULE_MM, y + row as f64 * MODULE_MM];
                marks.push(Mark::Rect { at, size: [run as f64 * MODULE_MM, MODULE_MM] });
            }
            column += run + 1;
        }
    }
    marks
}

/// The check bar: outer edges of the end marks are 100 mm apart.
fn bar(geometry: Geometry, marks: &mut Vec<Mark>) {
    let [a, b] = geometry.bar();
    let (thick, end, cap) = (0.3, 0.3, 2.4);
    if a[1] == b[1] {
        marks.push(Mark::Rect { at: [a[0], a[1] - thick / 2.0], size: [b[0] - a[0], thick] });
        for x in [a[0], b[0] - end] {
            marks.push(Mark::Rect { at: [x, a[1] - cap / 2.0], size: [end, cap] });
        }
    } else {
        marks.push(Mark::Rect { at: [a[0] - thick / 2.0, a[1]], size: [thick, b[1] - a[1]] });
        for y in [a[1], b[1] - end] {
            marks.push(Mark::Rect { at: [a[0] - cap / 2.0, y], size: [cap, end] });
        }
    }
}

/// Four short marks that centre a dish.
fn dish_place(geometry: Geometry, marks: &mut Vec<Mark>) {
    let Some(([x, y], radius)) = geometry.ring() else { return };
    let (from, long, thick) = (radius - 4.4, 2.2, 0.25);
    for sign in [-1.0, 1.0] {
        let near = if sign > 0.0 { from } else { -from - long };
        marks.push(Mark::Rect { at: [x + near, y - thick / 2.0], size: [long, thick] });
        marks.push(Mark::Rect { at: [x - thick / 2.0, y + near], size: [thick, long] });
    }
}

/// What a person reads.
fn words(payload: &Payload, marks: &mut Vec<Mark>) {
    let geometry = payload.geometry;
    let [sx, sy] = geometry.symbol_at();
    let left = sx + MODULES as f64 * MODULE_MM + 3.6;
    let tank = payload.tank.as_deref();
    let date = payload.date.map(|d| d.to_string());
    let mut line = |at: [f64; 2], height: f64, text: &str| marks.push(text_mark(at, height, text));
    let what = format!("frygauge card {}", geometry.id());
    if geometry == Geometry::Strip {
        line([left, 13.4], 3.6, &title(tank, date.as_deref()));
        line([left + 1.5, 20.0], 1.4, &format!("{what}, the line measures {} mm", super::BAR_MM));
        return;
    }
    line([left, sy + 4.8], 4.6, &tank.map_or("tank".into(), |t| format!("tank {t}")));
    line([left, sy + 10.6], 3.2, &date.map_or("date".into(), |d| format!("date {d}")));
    line([left, sy + 15.0], 1.6, &what);
    line([left, sy + 17.4], 1.6, &format!("the long line measures {} mm", super::BAR_MM));
}

fn title(tank: Option<&str>, date: Option<&str>) -> String {
    let tank = tank.map_or("tank                ".into(), |t| format!("tank {t}"));
    format!("{tank}   {}", date.map_or("date".into(), |d| format!("date {d}")))
}

/// Letters of capital height `height` from the baseline point `at`; letters the font lacks show as `?`.
fn text_mark(at: [f64; 2], height: f64, text: &str) -> Mark {
    let mut outlines = Vec::new();
    if let Ok(face) = Face::parse(FONT, 0) {
        let capital = f64::from(face.capital_height().unwrap_or(1493));
        let scale = height / capital;
        let mut x = at[0];
        for c in text.chars() {
            let glyph = face.glyph_index(c).or_else(|| face.glyph_index('?'));
            if let Some(glyph) = glyph {
                let mut pen = Pen { origin: [x, at[1]], scale, outlines: &mut outlines, here: [0.0; 2] };
                face.outline_glyph(glyph, &mut pen);
                x += f64::from(face.glyph_hor_advance(glyph).unwrap_or(0)) * scale;
            }
        }
    }
    Mark::Outlines(outlines)
}

/// Takes a glyph's outline, curves as short lines.
struct Pen<'a> {
    origin: [f64; 2],
    scale: f64,
    outlines: &'a mut Vec<Vec<[f64; 2]>>,
    here: [f64; 2],
}

impl Pen<'_> {
    fn place(&self, p: [f64; 2]) -> [f64; 2] {
        [self.origin[0] + p[0] * self.scale, self.origin[1] - p[1] * self.scale]
    }

    fn to(&mut self, p: [f64; 2]) {
        let placed = self.place(p);
        if let Some(outline) = self.outlines.last_mut() {
            outline.push(placed);
        }
        self.here = p;
    }
}

impl OutlineBuilder for Pen<'_> {
    fn move_to(&mut self, x: f32, y: f32) {
        self.outlines.push(Vec::new());
        self.to([x.into(), y.into()]);
    }

    fn line_to(&mut self, x: f32, y: f32) {
        self.to([x.into(), y.into()]);
    }

    fn quad_to(&mut self, x1: f32, y1: f32, x: f32, y: f32) {
        let (a, b, c) = (self.here, [f64::from(x1), f64::from(y1)], [f64::from(x), f64::from(y)]);
        for i in 1..=6 {
            let t = f64::from(i) / 6.0;
            self.to([0, 1].map(|k| (1.0 - t).powi(2) * a[k] + 2.0 * t * (1.0 - t) * b[k] + t * t * c[k]));
        }
    }

    fn curve_to(&mut self, x1: f32, y1: f32, x2: f32, y2: f32, x: f32, y: f32) {
        let a = self.here;
        let [b, c, d] = [[x1, y1], [x2, y2], [x, y]].map(|p| p.map(f64::from));
        for i in 1..=8 {
            let t = f64::from(i) / 8.0;
            let s = 1.0 - t;
            self.to([0, 1].map(|k| {
                s.powi(3) * a[k] + 3.0 * s * s * t * b[k] + 3.0 * s * t * t * c[k] + t.powi(3) * d[k]
            }));
        }
    }

    fn close(&mut self) {}
}
