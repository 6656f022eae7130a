//! The inner wall of a dish of known diameter, as an ellipse.
//!
//! A circle seen from the side is an ellipse whose longer axis keeps the true diameter, so the tilt shows
//! in the shorter one and is taken out. Which of a wall's edges is the inner one is assumed: the innermost
//! that most of the circle shows.

use super::lens::Lens;
use crate::imaging::ellipse::{Ellipse, circle_through, fit};
use crate::imaging::plane::quantile;
use crate::imaging::reduce::reduce;
use crate::photo::Pixels;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// Why a dish gives no scale.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DishProblem {
    /// No round wall was found.
    None,
    /// The wall runs out of the frame.
    Cut,
}

/// Longest side of the reduced photograph.
const SIDE: usize = 900;
const TRIALS: usize = 3000;
/// Most edges counted in a trial.
const COUNTED: usize = 3000;
/// Sectors of the circle, and the share of them that must show the wall.
const SECTORS: usize = 72;
const SHOWN: f64 = 0.6;

/// Smallest inner wall, as a share of the curve found first, which may be the rim; how far apart their centres may
/// lie, as a share of its radius; and the share of the sectors that leads to a curve about another centre.
const SMALLEST: f64 = 0.88;
const MOST_APART: f64 = 0.06;
const IN_PART: f64 = 0.4;

/// Widest line in which the inner face of a wall shows, millimetres: thinner than walls, which are one to two
/// millimetres thick (common practice, no source).
const LINE_MM: f64 = 0.6;

/// The inner wall.
#[derive(Debug, Clone, Copy)]
pub(super) struct Wall {
    /// Its outline, pixels.
    pub ellipse: Ellipse,
    /// Half the width of the line it shows as, as a share of the radius: where in it the face lies is not sure.
    pub doubt: f64,
}

#[derive(Clone, Copy)]
struct Edge {
    at: [f64; 2],
    gradient: [f64; 2],
}

/// The inner wall of a dish of `diameter_mm`, in pixels of the photograph, straightened where the `lens` is
/// known.
///
/// # Errors
/// [`DishProblem`].
pub(super) fn read(pixels: &Pixels, diameter_mm: f64, lens: Option<&Lens>) -> Result<Wall, DishProblem> {
    let (w, h) = (pixels.width as usize, pixels.height as usize);
    let factor = w.max(h).div_ceil(SIDE);
    let plane = crate::imaging::blur::gaussian(&reduce(&pixels.luma, w, h, factor), 1.0);
    let f = factor as f64;
    let up = |v: f64| v * f + (f - 1.0) / 2.0;
    let down = |v: f64| (v - (f - 1.0) / 2.0) / f;
    let mut edges = edges(&plane);
    if let Some(lens) = lens {
        for edge in &mut edges {
            edge.at = lens.straighten(edge.at.map(up)).map(down);
        }
    }
    if edges.len() < 60 {
        return Err(DishProblem::None);
    }
    let (pw, ph) = (plane.width as f64, plane.height as f64);
    // The walls of a dish stand close together: each is followed by the edges that brighten the same way.
    let (brighter, darker): (Vec<Edge>, Vec<Edge>) = {
        let Some(start) = search(&edges, pw, ph) else { return Err(DishProblem::None) };
        edges.iter().copied().filter(|e| radial(e, &start)).partition(|e| outward(e, &start) > 0.0)
    };
    let shown = |shape: &Ellipse, edges: &[Edge]| sectors(edges, shape, 0.012 * shape.radius());
    let mut best: Option<(usize, Ellipse)> = None;
    for edges in [&brighter, &darker] {
        let Some(start) = search(edges, pw, ph) else { continue };
        for tolerances in [&[0.02, 0.015][..], &[0.035, 0.02, 0.015], &[0.06, 0.035, 0.02, 0.015]] {
            let shape = tighten(edges, start, tolerances);
            let shown = shown(&shape, edges);
            if best.as_ref().is_none_or(|b| shown > b.0) {
                best = Some((shown, shape));
            }
        }
    }
    let (_, mut shape) = best.ok_or(DishProblem::None)?;
    if (sectors(&edges, &shape, 0.02 * shape.radius()) as f64) < 0.4 * SECTORS as f64 {
        return Err(DishProblem::None);
    }
    shape = innermost([&brighter, &darker], shape);
    let (next, half_width) = line(&edges, shape, diameter_mm);
    shape = next;
    let (s, c) = shape.angle.sin_cos();
    let (rx, ry) = ((shape.a * c).hypot(shape.b * s), (shape.a * s).hypot(shape.b * c));
    if shape.x - rx < 1.0 || shape.y - ry < 1.0 || shape.x + rx > pw - 2.0 || shape.y + ry > ph - 2.0 {
        return Err(DishProblem::Cut);
    }
    if (sectors(&edges, &shape, 0.015 * shape.radius()) as f64) < SHOWN * SECTORS as f64 {
        return Err(DishProblem::None);
    }
    let radius = shape.radius();
    let ellipse =
        Ellipse { x: up(shape.x), y: up(shape.y), a: shape.a * f, b: shape.b * f, angle: shape.angle };
    Ok(Wall { ellipse, doubt: half_width / radius })
}

/// The inner face of a wall is seen edge on: a line, dark on a light ground or bright on a dark one, whose
/// middle is the face. Where edges of the other sense follow the innermost ones within the width of such a
/// line, gives the middle and half the width; else the edge itself.
fn line(edges: &[Edge], shape: Ellipse, diameter_mm: f64) -> (Ellipse, f64) {
    let radius = shape.radius();
    let width = (0.004 * radius).max(0.8);
    let near = |shape: &Ellipse, e: &Edge| shape.distance(e.at[0], e.at[1]).abs() < width && radial(e, shape);
    let sense: f64 = edges.iter().filter(|e| near(&shape, e)).map(|e| outward(e, &shape)).sum();
    let other: Vec<Edge> = edges.iter().copied().filter(|e| outward(e, &shape) * sense < 0.0).collect();
    let most = LINE_MM / (diameter_mm / 2.0) * radius;
    let mut off = 1.0;
    let mut best: Option<(usize, f64)> = None;
    while off <= most.max(2.5) {
        let outer = Ellipse { a: shape.a + off, b: shape.b + off, ..shape };
        let shown = sectors(&other, &outer, width);
        // The nearest line that shows: one farther out may be the outer face.
        if shown as f64 > 0.5 * SECTORS as f64 && best.is_none_or(|b| shown > b.0) {
            best = Some((shown, off));
        } else if best.is_some() {
            break;
        }
        off += 0.4;
    }
    let Some((_, off)) = best else { return (shape, 0.0) };
    (Ellipse { a: shape.a + 0.5 * off, b: shape.b + 0.5 * off, ..shape }, 0.5 * off)
}

/// The circle along which the most sectors show an edge, among random triples of edges.
fn search(edges: &[Edge], pw: f64, ph: f64) -> Option<Ellipse> {
    if edges.len() < 60 {
        return None;
    }
    // Counting on every edge would cost more than it tells.
    let few: Vec<Edge> = edges.iter().step_by(edges.len().div_ceil(COUNTED)).copied().collect();
    let short = pw.min(ph);
    let mut rng = ChaCha8Rng::seed_from_u64(0x6469_7368);
    let mut best: Option<(usize, Ellipse)> = None;
    for _ in 0..TRIALS {
        let p = [0; 3].map(|_| &few[rng.random_range(0..few.len())]);
        let Some(circle) = circle_through(p.map(|e| e.at)) else { continue };
        let radius = circle.radius();
        let inside =
            circle.x > -0.2 * pw && circle.x < 1.2 * pw && circle.y > -0.2 * ph && circle.y < 1.2 * ph;
        if !inside
            || !(0.12 * short..0.8 * pw.max(ph)).contains(&radius)
            || !p.iter().all(|e| radial(e, &circle))
        {
            continue;
        }
        let shown = sectors(&few, &circle, 0.02 * radius);
        if best.as_ref().is_none_or(|b| shown > b.0) {
            best = Some((shown, circle));
        }
    }
    best.map(|b| b.1)
}

/// Fits an ellipse to the edges near `shape`, nearer each time; tolerances are shares of its radius.
fn tighten(edges: &[Edge], mut shape: Ellipse, tolerances: &[f64]) -> Ellipse {
    for tolerance in tolerances {
        let near: Vec<[f64; 2]> = edges
            .iter()
            .filter(|e| {
                shape.distance(e.at[0], e.at[1]).abs() < tolerance * shape.radius() && radial(e, &shape)
            })
            .map(|e| e.at)
            .collect();
        if let Some(next) =
            fit(&near).filter(|e| e.b > 0.75 * e.a && (0.8..1.25).contains(&(e.radius() / shape.radius())))
        {
            shape = next;
        }
    }
    shape
}

/// Edge points: where brightness changes most along its own direction, to a fraction of a pixel.
fn edges(plane: &crate::imaging::Plane<f32>) -> Vec<Edge> {
    let (w, h) = (plane.width, plane.height);
    let gradient = |x: usize, y: usize| {
        [plane.at(x + 1, y) - plane.at(x - 1, y), plane.at(x, y + 1) - plane.at(x, y - 1)]
    };
    let mut sizes = crate::imaging::Plane::filled(w, h, 0.0f32);
    for y in 1..h - 1 {
        for x in 1..w - 1 {
            let [a, b] = gradient(x, y);
            sizes.set(x, y, a.hypot(b));
        }
    }
    let strong = quantile(&mut sizes.data.clone(), 0.93).unwrap_or(0.0).max(3.0);
    let mut edges = Vec::new();
    for y in 2..h - 2 {
        for x in 2..w - 2 {
            let m = sizes.at(x, y);
            if m < strong {
                continue;
            }
            let [a, b] = gradient(x, y).map(|v| f64::from(v / m));
            let (x0, y0) = (x as f64, y as f64);
            let (before, after) = (sizes.bilinear(x0 - a, y0 - b), sizes.bilinear(x0 + a, y0 + b));
            if m < before || m <= after {
                continue;
            }
            let bend = f64::from(before - 2.0 * m + after);
            let shift = if bend < 0.0 { 0.5 * f64::from(before - after) / bend } else { 0.0 };
            edges.push(Edge { at: [x0 + a * shift, y0 + b * shift], gradient: [a, b] });
        }
    }
    edges
}

/// Whether an edge runs along a curve: its gradient points to or from the centre.
fn radial(edge: &Edge, shape: &Ellipse) -> bool {
    outward(edge, shape).abs() > 0.88
}

/// Cosine between an edge's gradient and the direction from the centre: positive where it brightens outwards.
fn outward(edge: &Edge, shape: &Ellipse) -> f64 {
    let (dx, dy) = (edge.at[0] - shape.x, edge.at[1] - shape.y);
    (dx * edge.gradient[0] + dy * edge.gradient[1]) / dx.hypot(dy).max(1e-9)
}

/// Sectors in which the curve shows.
fn sectors(edges: &[Edge], shape: &Ellipse, tolerance: f64) -> usize {
    let mut shown = [false; SECTORS];
    for e in edges {
        let (dx, dy) = (e.at[0] - shape.x, e.at[1] - shape.y);
        if (dx.hypot(dy) - shape.radius()).abs() > tolerance + (shape.a - shape.b) {
            continue;
        }
        if shape.distance(e.at[0], e.at[1]).abs() < tolerance && radial(e, shape) {
            let turn = dy.atan2(dx) / std::f64::consts::TAU + 0.5;
            shown[((turn * SECTORS as f64) as usize).min(SECTORS - 1)] = true;
        }
    }
    shown.iter().filter(|s| **s).count()
}

/// The innermost curve beside `shape` that shows in most sectors. A dish seen from the side shows its rim and its
/// floor about different centres: from every smaller curve that shows in part, edges lead to the one they lie on.
fn innermost(senses: [&[Edge]; 2], shape: Ellipse) -> Ellipse {
    let radius = shape.radius();
    let width = (0.006 * radius).max(1.0);
    let mut level = SMALLEST;
    while level < 1.0 - 2.0 / radius {
        let smaller = Ellipse { a: shape.a * level, b: shape.b * level, ..shape };
        let found = senses
            .into_iter()
            .filter(|edges| sectors(edges, &smaller, 2.0 * width) as f64 > IN_PART * SECTORS as f64)
            .map(|edges| {
                let curve = tighten(edges, smaller, &[0.02, 0.012, 0.008]);
                (sectors(edges, &curve, width), curve)
            })
            .filter(|(shown, curve)| {
                *shown as f64 > 0.75 * SECTORS as f64
                    && (SMALLEST..1.0 - 2.0 / radius).contains(&(curve.radius() / radius))
                    && (curve.x - shape.x).hypot(curve.y - shape.y) < MOST_APART * radius
            })
            .max_by_key(|(shown, _)| *shown);
        if let Some((_, curve)) = found {
            return curve;
        }
        level += 0.6 * width / radius;
    }
    shape
}
