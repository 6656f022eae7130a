//! A strip to numbers: the contrast signature of the bladder in body coordinates.
//!
//! Differences of brightness are given in units of the fish's own contrast (plus noise), so that a pale
//! fish under a strong lamp and a dark one under a weak lamp look alike; a few are given against bare
//! background as well, because a gas bladder lets the bare lamp through. Every number is squashed, so
//! that no odd photograph can push one of them beyond what the model has seen.

use super::Context;
use super::ellipse::{self, Found, Oval};
use super::plane::Look;
use crate::fish::{STRIP_MARGIN, STRIP_PER_LENGTH};
use crate::records::{Lighting, View};

/// Names of the numbers, in order.
pub const NAMES: [&str; COUNT] = [
    // The best closed rim.
    "rim_score",
    "rim_score_raw",
    "profile_in3",
    "profile_in2",
    "profile_in1",
    "profile_0",
    "profile_out1",
    "profile_out2",
    "profile_out3",
    "quarter_fore",
    "quarter_back",
    "quarter_aft",
    "quarter_belly",
    "completeness",
    "weakest_quarter",
    "core_background",
    "core_tissue",
    "core_trunk",
    "highlight",
    "core_shadow",
    "core_warmth",
    "core_warmth_tissue",
    "rim_warmth",
    "rim_background",
    "along",
    "above_body",
    "above",
    "length",
    "height",
    "aspect",
    "tilt",
    "outside_body",
    "fill",
    "tissue_above",
    "tissue_below",
    "fore_aft",
    "prior_place",
    // The next best closed rim elsewhere.
    "second_score",
    "second_ratio",
    "second_along",
    "second_above_body",
    "second_length",
    "second_aspect",
    "second_warmth",
    "second_core_background",
    "second_core_tissue",
    "second_outside",
    // The best bright oval.
    "bright_score",
    "bright_score_raw",
    "bright_along",
    "bright_above_body",
    "bright_length",
    "bright_height",
    "bright_core_background",
    "bright_warmth",
    "bright_from_rim",
    "bright_outside",
    "bright_highlight",
    // The best dark oval.
    "dark_score",
    "dark_score_raw",
    "dark_along",
    "dark_above_body",
    "dark_length",
    "dark_height",
    "dark_core_background",
    "dark_warmth",
    "dark_from_rim",
    // The best rim where a bladder belongs, whatever else there is.
    "placed_score",
    "placed_along",
    "placed_above_body",
    "placed_core_background",
    "placed_core_tissue",
    "placed_warmth",
    "placed_completeness",
    "placed_length",
    "placed_aspect",
    // The fish and the photograph.
    "eye_dark",
    "eye_along",
    "eye_above",
    "eye_to_oval",
    "contrast",
    "trunk",
    "noise",
    "noise_contrast",
    "resolution",
    "sharpness",
    "depth",
    "warmth_body",
    "dark_ground",
    "side",
    "top",
];

/// How many numbers describe a strip.
pub const COUNT: usize = 91;

/// What was seen in a strip.
#[derive(Debug, Clone)]
pub struct Seen {
    /// The numbers, in the order of [`NAMES`].
    pub values: [f32; COUNT],
    /// The closed outline most like a bladder, half-resolution pixels.
    pub oval: Oval,
}

/// Angles at which an outline is sampled.
const ANGLES: usize = 24;
/// Distances from the outline at which its profile is read, half-resolution pixels.
const GROW: [f32; 9] = [-3.0, -2.0, -1.0, -0.5, 0.0, 0.5, 1.0, 2.0, 3.0];

/// The surroundings of one oval.
struct Around {
    profile: [f32; GROW.len()],
    quarters: [f32; 4],
    completeness: f32,
    core: f32,
    outer: f32,
    highlight: f32,
    shadow: f32,
    warmth: f32,
    warmth_outer: f32,
    warmth_rim: f32,
    rim: f32,
    outside: f32,
    along: f32,
    above: f32,
    above_body: f32,
    fill: f32,
    fore_aft: f32,
}

impl Around {
    fn new(look: &Look, o: &Oval) -> Self {
        let (sin, cos) = o.tilt.sin_cos();
        let place = |a: f32, b: f32, t: f32| {
            let (x, y) = (-a * t.cos(), -b * t.sin());
            (o.x + cos * x - sin * y, o.y + sin * x + cos * y)
        };
        let full = |x: f32, y: f32| look.luma.at(2.0 * x + 0.5, 2.0 * y + 0.5);
        let mut map = [[0.0_f32; GROW.len()]; ANGLES];
        let mut outside = 0;
        let mut warmth_rim = 0.0;
        let mut warmth_outer = 0.0;
        for (k, row) in map.iter_mut().enumerate() {
            let t = (k as f32 + 0.5) * std::f32::consts::TAU / ANGLES as f32;
            for (v, g) in row.iter_mut().zip(GROW) {
                let (x, y) = place((o.a + g).max(0.2), (o.b + g).max(0.2), t);
                *v = full(x, y);
            }
            let (x, y) = place(o.a, o.b, t);
            let column = (x.round().max(0.0) as usize).min(look.upper.len() - 1);
            if y < look.upper[column] - 0.7 || y > look.lower[column] + 0.7 {
                outside += 1;
            }
            warmth_rim += look.warmth.at(x, y);
            let (x, y) = place(o.a + 3.0, o.b + 3.0, t);
            warmth_outer += look.warmth.at(x, y);
        }
        // Inside: a sunflower of points over the inner six tenths.
        let mut core = Vec::with_capacity(24);
        let mut warmth = 0.0;
        for k in 0..24 {
            let r = 0.62 * ((k as f32 + 0.5) / 24.0).sqrt();
            let (x, y) = place(r * o.a, r * o.b, k as f32 * 2.399_963);
            core.push(full(x, y));
            warmth += look.warmth.at(x, y);
        }
        let mean = core.iter().sum::<f32>() / 24.0;
        core.sort_by(f32::total_cmp);
        let mut profile = [0.0; GROW.len()];
        for row in &map {
            for (p, v) in profile.iter_mut().zip(row) {
                *p += v / ANGLES as f32;
            }
        }
        let outer = profile[GROW.len() - 1];
        // Depth of the rim at each angle: the darkest near the outline against the lower of both sides.
        let depths = map.map(|row| {
            let rim = row[2..=6].iter().copied().fold(f32::INFINITY, f32::min);
            let (inside, outside) = (0.5 * (row[0] + mean), row[7].max(row[8]));
            inside.min(outside) - rim
        });
        let mut quarters = [0.0; 4];
        for (k, d) in depths.iter().enumerate() {
            quarters[(k + ANGLES / 8) / (ANGLES / 4) % 4] += d / (ANGLES / 4) as f32;
        }
        let least = (0.3 * look.contrast).max(2.0 * look.noise);
        let completeness = depths.iter().filter(|&&d| d > least).count() as f32 / ANGLES as f32;
        let column = (o.x.round().max(0.0) as usize).min(look.upper.len() - 1);
        let (upper, lower) = (look.upper[column], look.lower[column]);
        let height = (lower - upper).max(4.0);
        let side = |t0: f32| {
            (0..6)
                .map(|k| {
                    let (x, y) = place(o.a + 4.0, o.b + 1.0, t0 + (k as f32 - 2.5) * 0.25);
                    full(x, y)
                })
                .sum::<f32>()
                / 6.0
        };
        Self {
            profile,
            quarters,
            completeness,
            core: mean,
            outer,
            highlight: 0.5 * (core[23] + core[22]) - mean,
            shadow: mean - 0.5 * (core[0] + core[1]),
            warmth: warmth / 24.0,
            warmth_outer: warmth_outer / ANGLES as f32,
            warmth_rim: warmth_rim / ANGLES as f32,
            rim: profile[4],
            outside: outside as f32 / ANGLES as f32,
            along: along(o.x),
            above: above(look, o.y),
            above_body: 0.5 - (o.y - upper) / height,
            fill: 2.0 * o.b / height,
            fore_aft: side(0.0) - side(std::f32::consts::PI),
        }
    }
}

/// Fraction of total length at a column of the half-resolution plane.
pub fn along(x: f32) -> f32 {
    (2.0 * x + 1.0 - STRIP_MARGIN as f32) / STRIP_PER_LENGTH as f32
}

/// Fraction of total length above the midline at a row of the half-resolution plane.
pub fn above(look: &Look, y: f32) -> f32 {
    (look.half.height as f32 - 2.0 * y - 1.0) / STRIP_PER_LENGTH as f32
}

/// Fraction of total length of a distance in the half-resolution plane.
fn fraction(pixels: f32) -> f32 {
    2.0 * pixels / STRIP_PER_LENGTH as f32
}

/// How well a place suits a bladder, 0 to 1: broad, from anatomy (trade-notes.md section 3: behind the
/// pectoral base, before half of the length, above the gut), not from any photograph.
fn place_suits(along: f32, above_body: f32, side_view: bool) -> f32 {
    let fore = ((along - 0.21) / 0.06).clamp(0.0, 1.0);
    let aft = ((0.56 - along) / 0.08).clamp(0.0, 1.0);
    let up = if side_view {
        ((above_body + 0.22) / 0.2).clamp(0.0, 1.0)
    } else {
        ((0.4 - above_body.abs()) / 0.2).clamp(0.0, 1.0)
    };
    fore * aft * up
}

/// Squashes to between -1 and 1, straight near zero.
fn squash(v: f32) -> f32 {
    v / (1.0 + v.abs())
}

/// Describes what is seen.
pub fn describe(look: &Look, context: &Context) -> Seen {
    let [rims, brights, darks] = ellipse::search(look, 3);
    let unit = look.contrast + 2.0 * look.noise;
    let relative = |v: f32| squash(v / unit);
    let raw = |v: f32| squash(4.0 * v);
    let side_view = !matches!(context.view, View::Top);
    let around: Vec<Around> = rims.iter().map(|f| Around::new(look, &f.oval)).collect();
    // The best in its place: score times how well the place suits.
    let suits = |f: &Found, a: &Around| f.score * place_suits(a.along, a.above_body, side_view);
    let placed =
        (0..rims.len()).max_by(|&i, &j| suits(&rims[i], &around[i]).total_cmp(&suits(&rims[j], &around[j])));
    let placed = placed.unwrap_or(0);
    let (r, a) = (&rims[0], &around[0]);
    let second = 1.min(rims.len() - 1);
    let (r2, a2) = (&rims[second], &around[second]);
    let (rp, ap) = (&rims[placed], &around[placed]);
    let (b, ab) = (&brights[0], Around::new(look, &brights[0].oval));
    let (d, ad) = (&darks[0], Around::new(look, &darks[0].oval));
    let (eye_dark, eye_x, eye_y) = eye(look);

    let mut v = Vec::with_capacity(COUNT);
    v.extend([relative(r.score), raw(r.score)]);
    for k in [0, 1, 2, 4, 6, 7] {
        v.push(relative(a.profile[k] - a.outer));
    }
    v.push(raw(a.outer - 1.0));
    v.extend(a.quarters.map(relative));
    v.push(a.completeness);
    v.push(relative(a.quarters.iter().copied().fold(f32::INFINITY, f32::min)));
    v.extend([
        raw(a.core - 1.0),
        relative(a.core - a.outer),
        relative(a.core - look.trunk),
        relative(a.highlight),
        relative(a.shadow),
        raw(a.warmth),
        raw(a.warmth - a.warmth_outer),
        raw(a.warmth_rim - a.warmth_outer),
        raw(a.rim - 1.0),
        a.along,
        a.above_body.clamp(-1.0, 1.0),
        10.0 * a.above,
        fraction(2.0 * r.oval.a),
        fraction(2.0 * r.oval.b),
        r.oval.b / r.oval.a,
        r.oval.tilt,
        a.outside,
        a.fill.min(2.0),
    ]);
    let column = r.oval.x as i64;
    let reach = (0.6 * r.oval.a) as i64 + 1;
    let rows = |from: f32, to: f32| (from.round() as i64)..(to.round() as i64).max(from.round() as i64 + 1);
    let (top, bottom) = (r.oval.y - r.oval.b, r.oval.y + r.oval.b);
    let over = look.half.mean(column - reach..column + reach + 1, rows(top - 4.5, top - 1.5));
    let under = look.half.mean(column - reach..column + reach + 1, rows(bottom + 1.5, bottom + 5.5));
    v.extend([
        relative(over - look.trunk),
        relative(under - look.trunk),
        relative(a.fore_aft),
        place_suits(a.along, a.above_body, side_view),
        relative(r2.score),
        (r2.score / r.score.max(1e-4)).clamp(-1.0, 1.0),
        a2.along,
        a2.above_body.clamp(-1.0, 1.0),
        fraction(2.0 * r2.oval.a),
        r2.oval.b / r2.oval.a,
        raw(a2.warmth),
        raw(a2.core - 1.0),
        relative(a2.core - a2.outer),
        a2.outside,
        relative(b.score),
        raw(b.score),
        ab.along,
        ab.above_body.clamp(-1.0, 1.0),
        fraction(2.0 * b.oval.a),
        fraction(2.0 * b.oval.b),
        raw(ab.core - 1.0),
        raw(ab.warmth),
        fraction((b.oval.x - r.oval.x).hypot(b.oval.y - r.oval.y)),
        ab.outside,
        relative(ab.highlight),
        relative(d.score),
        raw(d.score),
        ad.along,
        ad.above_body.clamp(-1.0, 1.0),
        fraction(2.0 * d.oval.a),
        fraction(2.0 * d.oval.b),
        raw(ad.core - 1.0),
        raw(ad.warmth),
        fraction((d.oval.x - r.oval.x).hypot(d.oval.y - r.oval.y)),
        relative(rp.score),
        ap.along,
        ap.above_body.clamp(-1.0, 1.0),
        raw(ap.core - 1.0),
        relative(ap.core - ap.outer),
        raw(ap.warmth),
        ap.completeness,
        fraction(2.0 * rp.oval.a),
        rp.oval.b / rp.oval.a,
        raw(eye_dark),
        along(eye_x),
        10.0 * above(look, eye_y),
        rp.oval.x.mul_add(0.0125, -0.0125 * eye_x),
        squash(10.0 * look.contrast),
        raw(look.trunk - 1.0),
        squash(30.0 * look.noise),
        squash(look.noise / look.contrast),
        squash(context.pixels_per_strip_pixel.max(0.05).ln()),
        look.sharpness.min(2.0),
        depth(look),
        raw(look.warmth.mean(30..100, 24..32)),
    ]);
    let flag = |on: bool| f32::from(u8::from(on));
    // Light from below and light from above on a pale tray are not told apart: the picture has to do it.
    v.push(flag(context.lighting == Lighting::Dark));
    v.extend([flag(context.view == View::Side), flag(context.view == View::Top)]);
    let mut values = [0.0; COUNT];
    for (to, from) in values.iter_mut().zip(v) {
        *to = if from.is_finite() { from } else { 0.0 };
    }
    Seen { values, oval: rp.oval }
}

/// The darkest spot of the head: how much darker than bare background, its column and row.
fn eye(look: &Look) -> (f32, f32, f32) {
    let plane = &look.half;
    let (w, h) = (plane.width, plane.height);
    let (x0, x1) = (Look::half_column(0.0) as usize + 1, Look::half_column(0.17) as usize);
    let mut best = (f32::INFINITY, 0, 0);
    for y in h / 2 - 14..h / 2 + 14 {
        for x in x0..x1 {
            let at = y * w + x;
            let v = plane.data[at]
                + plane.data[at + 1]
                + plane.data[at - 1]
                + plane.data[at + w]
                + plane.data[at - w];
            if v < best.0 {
                best = (v, x, y);
            }
        }
    }
    (best.0 / 5.0 - 1.0, best.1 as f32, best.2 as f32)
}

/// Height of the body where a bladder would be, fraction of total length.
fn depth(look: &Look) -> f32 {
    let columns = Look::half_column(0.28) as usize..Look::half_column(0.45) as usize;
    let n = columns.len() as f32;
    fraction(columns.map(|x| look.lower[x] - look.upper[x]).sum::<f32>() / n)
}
