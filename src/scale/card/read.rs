//! A card in a photograph: its symbol, its dots, and the plane through them.

use super::symbol::{self, Decoded};
use super::{DOT_MM, Geometry, MODULE_MM, MODULES, Payload, Symbol, dots};
use crate::imaging::plane::quantile;
use crate::photo::Pixels;
use crate::scale::field::{Bending, Field, distance};
use crate::scale::lens::Lens;

/// A card that was read.
#[derive(Debug, Clone)]
pub struct Card {
    /// What it says.
    pub payload: Payload,
    /// The plane it lies in, in its own millimetres.
    pub field: Field,
    /// Dots the fit rests on, of how many.
    pub dots: (usize, usize),
    /// Root mean square distance of the dots from the fit, millimetres.
    pub rms_mm: f64,
    /// Whether it is seen mirrored, from below.
    pub mirrored: bool,
    /// Outlines of its marks in the photograph, pixels.
    pub printed: Vec<Vec<[f64; 2]>>,
}

/// Why a symbol in the photograph gives no scale.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum CardProblem {
    /// More than one card.
    Several(usize),
    /// A card of another version; its text.
    OtherVersion(String),
    /// A card's text that cannot be read.
    Damaged(String),
    /// A symbol that is no card; its text.
    Foreign(String),
    /// Too few dots: torn, covered, or out of the frame.
    FewDots {
        /// Dots found.
        found: usize,
        /// Dots on the card.
        of: usize,
    },
    /// The dots do not lie in a plane: creased or rolled; their residual in hundredths of a millimetre.
    NotFlat(u32),
}

/// What was found in a photograph.
#[derive(Debug, Clone, Default)]
pub struct Found {
    /// The card, when there is exactly one that gives a scale.
    pub card: Option<Card>,
    /// What a card says even when its dots give no scale.
    pub payload: Option<Payload>,
    /// What stood in the way.
    pub problems: Vec<CardProblem>,
}

/// Fewest dots a scale may rest on: with fewer the radial term and the tilt cannot both be told.
const LEAST_DOTS: usize = 10;
/// Residual beyond which the card was not flat, millimetres.
const FLAT_MM: f64 = 0.2;

/// Looks for a card. A calibrated `lens` straightens its dots; without one a radial term is found from them.
pub fn read(pixels: &Pixels, lens: Option<&Lens>) -> Found {
    let mut found = Found::default();
    let mut cards: Vec<(Payload, Decoded)> = Vec::new();
    for decoded in symbol::find(pixels) {
        match Symbol::of(&decoded.text) {
            Symbol::Card(payload) => cards.push((payload, decoded)),
            Symbol::OtherVersion(text) => found.problems.push(CardProblem::OtherVersion(text)),
            Symbol::Damaged(text) => found.problems.push(CardProblem::Damaged(text)),
            Symbol::Foreign(text) => found.problems.push(CardProblem::Foreign(text)),
        }
    }
    match cards.as_slice() {
        [] => {}
        [(payload, decoded)] => {
            found.payload = Some(payload.clone());
            match survey(pixels, payload, decoded, Bending::of(lens)) {
                Ok(card) => found.card = Some(card),
                Err(problem) => found.problems.push(problem),
            }
        }
        several => found.problems.push(CardProblem::Several(several.len())),
    }
    found
}

/// Dots of a card found so far.
#[derive(Default)]
struct Survey {
    mm: Vec<[f64; 2]>,
    px: Vec<[f64; 2]>,
}

/// Finds the dots outward from the symbol and fits the plane.
fn survey(
    pixels: &Pixels,
    payload: &Payload,
    decoded: &Decoded,
    bending: Bending,
) -> Result<Card, CardProblem> {
    let geometry = payload.geometry;
    let [p, q, r] = decoded.finders;
    // The decoder reads mirrored symbols too: which way round it is shows in where the dots are.
    let ways = [(walk(pixels, geometry, [p, q, r]), false), (walk(pixels, geometry, [p, r, q]), true)];
    let all = geometry.dots().len();
    let best = ways.into_iter().max_by_key(|(s, _)| s.mm.len());
    let few = |n: usize| CardProblem::FewDots { found: n, of: all };
    let Some((survey, _)) = best else { return Err(few(0)) };
    let frame = (f64::from(pixels.width), f64::from(pixels.height));
    let (field, kept) = fit(&survey, frame, bending).ok_or_else(|| few(survey.mm.len()))?;
    if kept < LEAST_DOTS {
        return Err(few(kept));
    }
    let [w, h] = geometry.size();
    let scale = field.mm_per_px(field.to_px([w / 2.0, h / 2.0]));
    let rms_mm = field.rms_px * scale;
    if rms_mm > FLAT_MM {
        return Err(CardProblem::NotFlat((rms_mm * 100.0).round() as u32));
    }
    let at = |x: f64, y: f64| field.to_px([x, y]);
    let (o, u, v) = (at(0.0, 0.0), at(1.0, 0.0), at(0.0, 1.0));
    let mirrored = (u[0] - o[0]) * (v[1] - o[1]) - (u[1] - o[1]) * (v[0] - o[0]) < 0.0;
    let printed = outlines(geometry, &field);
    Ok(Card { payload: payload.clone(), field, dots: (kept, all), rms_mm, mirrored, printed })
}

/// From the symbol outward: each dot is looked for where those found so far put it.
fn walk(pixels: &Pixels, geometry: Geometry, finders: [[f64; 2]; 3]) -> Survey {
    let known = geometry.finders();
    let frame = (f64::from(pixels.width), f64::from(pixels.height));
    let start = known[0];
    let mut order = geometry.dots();
    order.sort_by(|a, b| distance(*a, start).total_cmp(&distance(*b, start)));
    let mut survey = Survey { mm: known.to_vec(), px: finders.to_vec() };
    let mut model = Local::affine(&known, &finders);
    let mut missed = 0;
    for (i, dot) in order.iter().enumerate() {
        let near = model.to_px(*dot);
        let scale = model.px_per_mm(*dot);
        // Far from what is known the prediction is loose.
        let nearest = survey.mm.iter().map(|m| distance(*m, *dot)).fold(f64::INFINITY, f64::min);
        let reach = scale * (0.5 + 0.1 * nearest).min(2.6);
        match dots::locate(pixels, near, scale * DOT_MM, reach) {
            Some(found) => {
                survey.mm.push(*dot);
                survey.px.push(found.at);
                if survey.mm.len() >= 7 && (survey.mm.len() < 16 || i % 4 == 0) {
                    // The finders' centres are coarse: once dots carry the fit, they drop out.
                    let skip = if survey.mm.len() >= 10 { 3 } else { 0 };
                    model.refit(&survey.mm[skip..], &survey.px[skip..], frame);
                }
            }
            None => missed += 1,
        }
        if i == 11 && missed >= 11 {
            break;
        }
    }
    survey.mm.drain(..3);
    survey.px.drain(..3);
    survey
}

/// Where things are expected, from what is known so far.
struct Local {
    affine: [[f64; 3]; 2],
    field: Option<Field>,
}

impl Local {
    fn affine(mm: &[[f64; 2]; 3], px: &[[f64; 2]; 3]) -> Self {
        let side = mm[1][0] - mm[0][0];
        let affine = [0, 1].map(|i| {
            let (a, b) = ((px[1][i] - px[0][i]) / side, (px[2][i] - px[0][i]) / side);
            [a, b, px[0][i] - a * mm[0][0] - b * mm[0][1]]
        });
        Self { affine, field: None }
    }

    fn refit(&mut self, mm: &[[f64; 2]], px: &[[f64; 2]], frame: (f64, f64)) {
        let scale = self.px_per_mm(mm[0]);
        if let Some(field) = Field::fit(mm, px, frame, Bending::None).filter(|f| f.rms_px < 0.3 * scale + 1.0)
        {
            self.field = Some(field);
        }
    }

    fn to_px(&self, p: [f64; 2]) -> [f64; 2] {
        match &self.field {
            Some(field) => field.to_px(p),
            None => [0, 1].map(|i| self.affine[i][0] * p[0] + self.affine[i][1] * p[1] + self.affine[i][2]),
        }
    }

    fn px_per_mm(&self, p: [f64; 2]) -> f64 {
        let h = 0.5;
        let (a, b) = (self.to_px([p[0] - h, p[1]]), self.to_px([p[0] + h, p[1]]));
        let (c, d) = (self.to_px([p[0], p[1] - h]), self.to_px([p[0], p[1] + h]));
        ((b[0] - a[0]) * (d[1] - c[1]) - (b[1] - a[1]) * (d[0] - c[0])).abs().sqrt()
    }
}

/// Fits the plane, leaving out dots that stand off: glare, smudges, a wall through a dot.
fn fit(survey: &Survey, frame: (f64, f64), bending: Bending) -> Option<(Field, usize)> {
    let (mut mm, mut px) = (survey.mm.clone(), survey.px.clone());
    for _ in 0..8 {
        let field = Field::fit(&mm, &px, frame, bending)?;
        let off = field.residuals(&mm, &px);
        let mut sorted: Vec<f32> = off.iter().map(|r| *r as f32).collect();
        let median = f64::from(quantile(&mut sorted, 0.5)?);
        // Distances of a plane normal error have their median at 1.18 sigma; 3.5 sigma is one in 500.
        let limit = (3.0 * median).max(0.12);
        let worst = off.iter().copied().fold(0.0, f64::max);
        if worst <= limit || mm.len() <= LEAST_DOTS {
            return Some((field, mm.len()));
        }
        // At most the worst fifth goes at a time: one bad dot pulls its neighbours.
        let mut order: Vec<usize> = (0..mm.len()).collect();
        order.sort_by(|a, b| off[*b].total_cmp(&off[*a]));
        let mut out: Vec<usize> = order
            .into_iter()
            .take((mm.len() / 5).max(1))
            .filter(|i| off[*i] > limit.max(0.5 * worst))
            .collect();
        out.sort_unstable();
        for i in out.into_iter().rev() {
            mm.remove(i);
            px.remove(i);
        }
    }
    let field = Field::fit(&mm, &px, frame, bending)?;
    let n = mm.len();
    Some((field, n))
}

/// Outlines of everything printed.
fn outlines(geometry: Geometry, field: &Field) -> Vec<Vec<[f64; 2]>> {
    let rect = |x: f64, y: f64, w: f64, h: f64| {
        [[x, y], [x + w, y], [x + w, y + h], [x, y + h]].map(|p| field.to_px(p)).to_vec()
    };
    let mut all = Vec::new();
    let [x, y] = geometry.symbol_at();
    let side = MODULES as f64 * MODULE_MM;
    let [w, _] = geometry.size();
    // Symbol with the words beside it.
    all.push(rect(x - 1.0, y - 1.0, w - 2.0 * x + 2.0, side + 2.0));
    let [a, b] = geometry.bar();
    all.push(rect(a[0] - 1.5, a[1] - 1.5, b[0] - a[0] + 3.0, b[1] - a[1] + 3.0));
    let r = DOT_MM + 0.4;
    all.extend(geometry.dots().iter().map(|d| rect(d[0] - r, d[1] - r, 2.0 * r, 2.0 * r)));
    if let Some(([cx, cy], ring)) = geometry.ring() {
        let (from, long) = (ring - 4.8, 3.0);
        for s in [-1.0, 1.0] {
            let near = if s > 0.0 { from } else { -from - long };
            all.push(rect(cx + near, cy - 0.6, long, 1.2));
            all.push(rect(cx - 0.6, cy + near, 1.2, long));
        }
    }
    all
}
