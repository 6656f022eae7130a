//! The search for closed elliptical outlines in body coordinates.
//!
//! A gas bladder is the one thing in the trunk whose wall is darker all round than what lies inside and
//! outside: light that meets gas at a slant is turned away, whatever the lamp. The search scores every
//! ellipse of a grid by the depth of that rim, its weakest quarter counting as much as its mean; blurred
//! pictures lose the rim first and keep a soft bright or dark oval, which two further scores look for.

use super::plane::{Look, Plane};
use std::sync::LazyLock;

/// Points sampled round an outline; a multiple of four so that quarters are equal.
const POINTS: usize = 16;
/// Lengths searched, fractions of total length.
const LENGTHS: [f32; 7] = [0.045, 0.06, 0.08, 0.105, 0.14, 0.185, 0.24];
/// Height over length.
const ASPECTS: [f32; 4] = [1.0, 0.72, 0.5, 0.36];
/// Centres searched: along the body …
const ALONG: [f32; 2] = [0.18, 0.58];
/// … and above the midline, fractions of total length.
const ABOVE: [f32; 2] = [-0.085, 0.095];
/// Step of the grid in half-resolution pixels.
const STEP: usize = 2;

/// An ellipse in pixels of the half-resolution plane.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Oval {
    /// Centre column.
    pub x: f32,
    /// Centre row.
    pub y: f32,
    /// Half of its length.
    pub a: f32,
    /// Half of its height.
    pub b: f32,
    /// Turned by this angle, radians, positive with the fore end up.
    pub tilt: f32,
}

impl Oval {
    /// Whether two ovals share a good part of the smaller one.
    pub fn meets(&self, other: &Self) -> bool {
        let (dx, dy) = ((self.x - other.x) / (self.a + other.a), (self.y - other.y) / (self.b + other.b));
        dx * dx + dy * dy < 0.55
    }
}

/// What an oval is scored for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// A wall darker than inside and outside.
    Rim,
    /// Brighter inside than outside.
    Bright,
    /// Darker inside than outside.
    DarkOval,
}

/// An oval and its score, in units of brightness against bare background.
#[derive(Debug, Clone, Copy)]
pub struct Found {
    /// Where.
    pub oval: Oval,
    /// How well.
    pub score: f32,
}

/// Pixels around the centre that belong to an oval of one shape, as steps in x and y.
struct Shape {
    a: f32,
    b: f32,
    core: Vec<[i32; 2]>,
    inner: [[i32; 2]; POINTS],
    rim: [[i32; 2]; POINTS],
    outer: [[i32; 2]; POINTS],
}

static SHAPES: LazyLock<Vec<Shape>> = LazyLock::new(|| {
    let per_length = 0.5 * crate::fish::STRIP_PER_LENGTH as f32;
    let mut shapes = Vec::new();
    for length in LENGTHS {
        for aspect in ASPECTS {
            let a = 0.5 * length * per_length;
            let b = a * aspect;
            if b < 1.9 || b > 0.065 * per_length {
                continue;
            }
            let ring = |grow: f32| ring(grow, a, b, 0.0).map(|[x, y]| [x.round() as i32, y.round() as i32]);
            let core_points = |f: f32| self::ring(0.0, f * a, f * b, 0.0).into_iter().step_by(2);
            let core =
                core_points(0.5).map(|[x, y]| [x.round() as i32, y.round() as i32]).chain([[0, 0]]).collect();
            shapes.push(Shape { a, b, core, inner: ring(-inward(b)), rim: ring(0.0), outer: ring(OUTWARD) });
        }
    }
    shapes
});

/// Distance of the outer ring from the outline, half-resolution pixels.
const OUTWARD: f32 = 2.6;

/// Distance of the inner ring from the outline.
fn inward(b: f32) -> f32 {
    (0.5 * b).clamp(1.2, 2.2)
}

/// Points on an ellipse whose half axes are grown by `grow`, from the fore end over the back, clockwise.
fn ring(grow: f32, a: f32, b: f32, tilt: f32) -> [[f32; 2]; POINTS] {
    let (sin, cos) = tilt.sin_cos();
    std::array::from_fn(|k| {
        let t = (k as f32 + 0.5) * std::f32::consts::TAU / POINTS as f32;
        let (x, y) = (-(a + grow).max(0.3) * t.cos(), -(b + grow).max(0.3) * t.sin());
        [cos * x - sin * y, sin * x + cos * y]
    })
}

/// Scores for rim, bright and dark oval, from the samples of one oval.
fn scores(core: f32, inner: &[f32; POINTS], rim: &[f32; POINTS], outer: &[f32; POINTS]) -> [f32; 3] {
    let mut quarter_rim = [0.0; 4];
    let mut quarter_step = [0.0; 4];
    let quarter = POINTS / 4;
    for k in 0..POINTS {
        // Quarters are fore, back, aft and belly: shifted by half a quarter.
        let q = (k + quarter / 2) / quarter % 4;
        let inside = 0.5 * (inner[k] + core);
        quarter_rim[q] += outer[k].min(inside) - rim[k];
        quarter_step[q] += inside - outer[k];
    }
    let scale = 1.0 / quarter as f32;
    let mix = |q: &[f32; 4], sign: f32| {
        let mut q = q.map(|v| sign * v * scale);
        q.sort_by(f32::total_cmp);
        // One quarter over an eye or a spot of pigment must not make up for the others.
        let most = 2.0 * q[1].max(0.0);
        0.5 * (0.25 * q.iter().map(|v| v.min(most)).sum::<f32>() + q[0])
    };
    [mix(&quarter_rim, 1.0), mix(&quarter_step, 1.0), mix(&quarter_step, -1.0)]
}

/// The score of one oval, sampled bilinearly.
pub fn score(plane: &Plane, oval: &Oval, kind: Kind) -> f32 {
    let read =
        |grow: f32| ring(grow, oval.a, oval.b, oval.tilt).map(|[x, y]| plane.at(oval.x + x, oval.y + y));
    let half = ring(0.0, 0.5 * oval.a, 0.5 * oval.b, oval.tilt);
    let core = (half.iter().step_by(2).map(|[x, y]| plane.at(oval.x + x, oval.y + y)).sum::<f32>()
        + plane.at(oval.x, oval.y))
        / (POINTS / 2 + 1) as f32;
    scores(core, &read(-inward(oval.b)), &read(0.0), &read(OUTWARD))[kind as usize]
}

/// The best ovals of the grid for each kind, `count` of them that do not meet, refined.
///
/// Returned in the order rim, bright, dark; each list best first and never empty.
pub fn search(look: &Look, count: usize) -> [Vec<Found>; 3] {
    let plane = &look.half;
    let (w, h) = (plane.width as i32, plane.height as i32);
    let columns = Look::half_column(ALONG[0]) as i32..=Look::half_column(ALONG[1]) as i32;
    let rows = Look::half_row(ABOVE[1]) as i32..=Look::half_row(ABOVE[0]) as i32;
    let mut all: [Vec<Found>; 3] = Default::default();
    for shape in SHAPES.iter() {
        let (reach_x, reach_y) = ((shape.a + OUTWARD).ceil() as i32, (shape.b + OUTWARD).ceil() as i32);
        let step = |s: &[i32; 2]| s[1] * w + s[0];
        let core: Vec<i32> = shape.core.iter().map(step).collect();
        let (inner, rim, outer) =
            (shape.inner.map(|s| step(&s)), shape.rim.map(|s| step(&s)), shape.outer.map(|s| step(&s)));
        for y in rows.clone().step_by(STEP) {
            if y < reach_y || y + reach_y >= h {
                continue;
            }
            for x in columns.clone().step_by(STEP) {
                if x < reach_x || x + reach_x >= w {
                    continue;
                }
                let at = y * w + x;
                let read = |s: i32| plane.data[(at + s) as usize];
                let mean = core.iter().map(|&s| read(s)).sum::<f32>() / core.len() as f32;
                let s = scores(mean, &inner.map(read), &rim.map(read), &outer.map(read));
                let oval = Oval { x: x as f32, y: y as f32, a: shape.a, b: shape.b, tilt: 0.0 };
                for (list, score) in all.iter_mut().zip(s) {
                    keep(list, Found { oval, score });
                }
            }
        }
    }
    let mut kind = [Kind::Rim, Kind::Bright, Kind::DarkOval].into_iter();
    all.map(|list| {
        let kind = kind.next().unwrap_or(Kind::Rim);
        let mut chosen: Vec<Found> = Vec::with_capacity(count);
        for found in list {
            if chosen.len() < count && chosen.iter().all(|c| !c.oval.meets(&found.oval)) {
                chosen.push(refine(plane, found, kind));
            }
        }
        chosen.sort_by(|a, b| b.score.total_cmp(&a.score));
        chosen
    })
}

/// Keeps the best of the grid, sorted, few enough to be cheap and enough to hold separate places.
fn keep(list: &mut Vec<Found>, found: Found) {
    const MOST: usize = 40;
    if list.len() == MOST && list[MOST - 1].score >= found.score {
        return;
    }
    // One entry a place: a better shape at almost the same centre takes the place of a worse one.
    if let Some(i) =
        list.iter().position(|f| (f.oval.x - found.oval.x).abs() + (f.oval.y - found.oval.y).abs() < 2.5)
    {
        if list[i].score >= found.score {
            return;
        }
        list.remove(i);
    }
    let at = list.partition_point(|f| f.score >= found.score);
    list.insert(at, found);
    list.truncate(MOST);
}

/// Climbs from a grid place in all five numbers.
fn refine(plane: &Plane, found: Found, kind: Kind) -> Found {
    let mut best = Found { oval: found.oval, score: score(plane, &found.oval, kind) };
    let mut step = 1.0_f32;
    for _ in 0..3 {
        for _ in 0..2 {
            let before = best.score;
            for parameter in 0..5 {
                for sign in [-1.0, 1.0] {
                    let mut oval = best.oval;
                    match parameter {
                        0 => oval.x += sign * step,
                        1 => oval.y += sign * 0.7 * step,
                        2 => oval.a = (oval.a * (1.0 + 0.15 * sign * step)).clamp(3.0, 26.0),
                        3 => oval.b = (oval.b * (1.0 + 0.15 * sign * step)).clamp(1.5, 12.0),
                        _ => oval.tilt = (oval.tilt + sign * 0.12 * step).clamp(-0.4, 0.4),
                    }
                    oval.b = oval.b.min(1.1 * oval.a);
                    let s = score(plane, &oval, kind);
                    if s > best.score {
                        best = Found { oval, score: s };
                    }
                }
            }
            if best.score <= before {
                break;
            }
        }
        step *= 0.5;
    }
    best
}
