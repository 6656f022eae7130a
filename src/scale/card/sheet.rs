//! Cards on sheets of paper: PDF at true size, and SVG.

use super::{Drawing, Mark, Payload, PayloadError};
use krilla::Document;
use krilla::color::rgb;
use krilla::geom::{PathBuilder, Rect};
use krilla::metadata::Metadata;
use krilla::num::NormalizedF32;
use krilla::page::PageSettings;
use krilla::paint::{Fill, FillRule};
use std::fmt::Write;

/// Points to the millimetre.
const PT: f64 = 72.0 / 25.4;
/// Margin most printers leave white, millimetres.
const MARGIN: f64 = 5.5;

/// A size of paper.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Paper {
    /// ISO 216 A4.
    A4,
    /// US Letter, ANSI/ASME Y14.1 size A.
    Letter,
}

impl Paper {
    /// Width and height, millimetres.
    pub fn size(self) -> [f64; 2] {
        match self {
            Self::A4 => [210.0, 297.0],
            Self::Letter => [215.9, 279.4],
        }
    }
}

/// Why cards cannot be laid out.
#[derive(Debug, thiserror::Error)]
pub enum SheetError {
    /// A card cannot be made.
    #[error(transparent)]
    Payload(#[from] PayloadError),
    /// The measured bar is not near 100 mm.
    #[error("a check bar of {0} mm is no printer's shrinkage: 90 to 110 mm is expected")]
    Bar(f64),
    /// The PDF could not be written.
    #[error("the PDF could not be made: {0}")]
    Pdf(String),
}

/// Cards laid out on pages.
#[derive(Debug, Clone)]
pub struct Sheet {
    paper: Paper,
    /// Multiplies every length, against a printer that shrinks.
    stretch: f64,
    /// Pages of cards with the place of their top left corner.
    pages: Vec<Vec<([f64; 2], Drawing)>>,
}

impl Sheet {
    /// Lays out a card for every payload, as many on a page as fit. `printed_bar_mm` is the length the
    /// check bar came out at in an earlier print; cards are drawn larger or smaller by as much.
    ///
    /// # Errors
    /// [`SheetError`] when a tank's name does not fit its card or the bar's length is no shrinkage.
    pub fn new(payloads: &[Payload], paper: Paper, printed_bar_mm: Option<f64>) -> Result<Self, SheetError> {
        let bar = printed_bar_mm.unwrap_or(super::BAR_MM);
        if !(90.0..=110.0).contains(&bar) {
            return Err(SheetError::Bar(bar));
        }
        let stretch = super::BAR_MM / bar;
        let [width, height] = paper.size();
        let mut pages: Vec<Vec<([f64; 2], Drawing)>> = Vec::new();
        let (mut x, mut y, mut row) = (0.0, f64::INFINITY, 0.0_f64);
        for payload in payloads {
            let drawing = Drawing::new(payload)?;
            let [w, h] = drawing.size.map(|s| s * stretch);
            if x + w > width - MARGIN {
                (x, y, row) = (MARGIN, y + row, 0.0);
            }
            if y + h > height - MARGIN + 1e-9 {
                pages.push(Vec::new());
                (x, y, row) = (MARGIN, MARGIN, 0.0);
            }
            if let Some(page) = pages.last_mut() {
                page.push(([x, y], drawing));
            }
            x += w;
            row = row.max(h);
        }
        Ok(Self { paper, stretch, pages })
    }

    /// Cards that fit on one page of `paper` when all say the same.
    pub fn capacity(payload: &Payload, paper: Paper) -> usize {
        let [w, h] = payload.geometry.size();
        let [width, height] = paper.size();
        let fit = |room: f64, size: f64| ((room - 2.0 * MARGIN + 1e-9) / size).floor().max(0.0) as usize;
        fit(width, w) * fit(height, h)
    }

    /// Number of pages.
    pub fn pages(&self) -> usize {
        self.pages.len()
    }

    /// The sheets as a PDF at true size.
    ///
    /// # Errors
    /// [`SheetError::Pdf`].
    pub fn pdf(&self) -> Result<Vec<u8>, SheetError> {
        let failed = |what: &str| SheetError::Pdf(what.to_owned());
        let mut document = Document::new();
        document.set_metadata(Metadata::new().title("frygauge scale cards".into()));
        let [width, height] = self.paper.size().map(|s| (s * PT) as f32);
        for cards in &self.pages {
            let settings = PageSettings::from_wh(width, height).ok_or_else(|| failed("page size"))?;
            let mut page = document.start_page_with(settings);
            let mut surface = page.surface();
            for (at, drawing) in cards {
                let place = |p: [f64; 2]| [0, 1].map(|i| ((at[i] + p[i] * self.stretch) * PT) as f32);
                surface.set_fill(Some(ink(0)));
                let mut path = PathBuilder::new();
                for mark in &drawing.marks {
                    push(&mut path, mark, place, (self.stretch * PT) as f32);
                }
                if let Some(path) = path.finish() {
                    surface.draw_path(&path);
                }
                surface.set_fill(Some(ink(150)));
                let mut path = PathBuilder::new();
                for mark in cut_marks(drawing.size) {
                    push(&mut path, &mark, place, (self.stretch * PT) as f32);
                }
                if let Some(path) = path.finish() {
                    surface.draw_path(&path);
                }
            }
            surface.finish();
            page.finish();
        }
        document.finish().map_err(|e| failed(&format!("{e:?}")))
    }

    /// Every page as an SVG document in millimetres.
    pub fn svg(&self) -> Vec<String> {
        let [width, height] = self.paper.size();
        self.pages
            .iter()
            .map(|cards| {
                let mut out = format!(
                    "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}mm\" height=\"{height}mm\" \
                     viewBox=\"0 0 {width} {height}\">\n<title>frygauge scale cards</title>\n\
                     <rect width=\"{width}\" height=\"{height}\" fill=\"#fff\"/>\n"
                );
                for ([x, y], drawing) in cards {
                    let mut d = String::new();
                    for mark in &drawing.marks {
                        svg_mark(&mut d, mark);
                    }
                    let mut cut = String::new();
                    for mark in cut_marks(drawing.size) {
                        svg_mark(&mut cut, &mark);
                    }
                    let _ = writeln!(
                        out,
                        "<g transform=\"translate({x:.4} {y:.4}) scale({:.6})\"><path d=\"{d}\"/>\
                         <path fill=\"#969696\" d=\"{cut}\"/></g>",
                        self.stretch
                    );
                }
                out.push_str("</svg>\n");
                out
            })
            .collect()
    }
}

/// Short grey corner marks along which a card is cut.
fn cut_marks([w, h]: [f64; 2]) -> Vec<Mark> {
    let (long, thin) = (3.0, 0.12);
    let mut marks = Vec::new();
    for x in [0.0, w] {
        for y in [0.0, h] {
            let (across, down) = (if x > 0.0 { x - long } else { x }, if y > 0.0 { y - long } else { y });
            marks.push(Mark::Rect { at: [across, y - thin / 2.0], size: [long, thin] });
            marks.push(Mark::Rect { at: [x - thin / 2.0, down], size: [thin, long] });
        }
    }
    marks
}

fn ink(grey: u8) -> Fill {
    let color = rgb::Color::new(grey, grey, grey).into();
    Fill { paint: color, opacity: NormalizedF32::ONE, rule: FillRule::NonZero }
}

/// Length of the control arm of a quarter circle of radius one.
const ARM: f64 = 0.552_284_75;

/// The four quarter circles of a disc as control points, from its right-most point.
fn quarters(centre: [f64; 2], radius: f64) -> [[[f64; 2]; 3]; 4] {
    let at = |x: f64, y: f64| [centre[0] + x * radius, centre[1] + y * radius];
    [
        [at(1.0, ARM), at(ARM, 1.0), at(0.0, 1.0)],
        [at(-ARM, 1.0), at(-1.0, ARM), at(-1.0, 0.0)],
        [at(-1.0, -ARM), at(-ARM, -1.0), at(0.0, -1.0)],
        [at(ARM, -1.0), at(1.0, -ARM), at(1.0, 0.0)],
    ]
}

fn push(path: &mut PathBuilder, mark: &Mark, place: impl Fn([f64; 2]) -> [f32; 2], scale: f32) {
    match mark {
        Mark::Disc { centre, radius } => {
            let [x, y] = place([centre[0] + radius, centre[1]]);
            path.move_to(x, y);
            for [a, b, c] in quarters(*centre, *radius) {
                let ([ax, ay], [bx, by], [cx, cy]) = (place(a), place(b), place(c));
                path.cubic_to(ax, ay, bx, by, cx, cy);
            }
            path.close();
        }
        Mark::Rect { at, size } => {
            let [x, y] = place(*at);
            let [w, h] = size.map(|s| s as f32 * scale);
            if let Some(rect) = Rect::from_xywh(x, y, w, h) {
                path.push_rect(rect);
            }
        }
        Mark::Outlines(outlines) => {
            for outline in outlines {
                let mut points = outline.iter().map(|p| place(*p));
                if let Some([x, y]) = points.next() {
                    path.move_to(x, y);
                    for [x, y] in points {
                        path.line_to(x, y);
                    }
                    path.close();
                }
            }
        }
    }
}

fn svg_mark(d: &mut String, mark: &Mark) {
    match mark {
        Mark::Disc { centre: [x, y], radius: r } => {
            let _ = write!(
                d,
                "M{:.4} {y:.4}a{r} {r} 0 1 0 {:.4} 0a{r} {r} 0 1 0 {:.4} 0z",
                x - r,
                2.0 * r,
                -2.0 * r
            );
        }
        Mark::Rect { at: [x, y], size: [w, h] } => {
            let _ = write!(d, "M{x:.4} {y:.4}h{w:.4}v{h:.4}h{:.4}z", -w);
        }
        Mark::Outlines(outlines) => {
            for outline in outlines {
                for (i, [x, y]) in outline.iter().enumerate() {
                    let _ = write!(d, "{}{x:.3} {y:.3}", if i == 0 { 'M' } else { 'L' });
                }
                d.push('z');
            }
        }
    }
}
