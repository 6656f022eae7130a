//! The shadows that bodies throw on a pale ground lit from above.
//!
//! One lamp throws all shadows of a photograph the same way: of what a body takes of the light a share, moved by one shift and
//! blurred by one width, is missing on the ground too. The three are found by least squares over the ground beside
//! several bodies, which shows their own soft edges as well, and hold only where most bodies bear them out: light from
//! below throws no shadow, and none is found there. Given the shadow the body is known and the other way round, so that
//! going back and forth parts the two (a series that converges as shadows are weaker than bodies).

use super::candidates::{Candidate, Labels, WALL};
use super::ground::{Ground, Polarity};
use crate::imaging::{Plane, blur::gaussian, plane::quantile};

/// Bodies that are looked at, at most and at least.
const MOST_BODIES: usize = 12;
const LEAST_BODIES: usize = 3;
/// Bodies are so many times as long as wide, or more.
const SLENDER: f64 = 2.5;
/// Ink of a body's core, as a share of the ink of what is denser than three quarters of the region.
const CORE: f32 = 0.5;
/// Pixels round a core that are no ground: its own edges.
const EDGE: usize = 2;
/// Of the ground every so many pixels are looked at: shadows are smooth.
const EVERY: usize = 3;
/// Farthest a shadow lies from its body and how far it is blurred, in widths of a body, the same in pixels whatever the width,
/// and how many shifts are looked at to each side.
const FARTHEST: f64 = 1.2;
const FARTHEST_PIXELS: std::ops::RangeInclusive<i64> = 4..=32;
const SHIFTS: i64 = 8;
const BLURS: [f64; 3] = [0.12, 0.25, 0.5];
/// Shifts, and blurs, in pixels that cannot be told from a body's own edges.
const LEAST_SHIFT: i64 = 2;
const LEAST_BLUR: f32 = 2.0;
/// Strength of shadows, as a share of what bodies take, and that of nine in ten at least. All limits of what holds were found by
/// trying, on rendered trays and pads.
const STRENGTHS: std::ops::RangeInclusive<f32> = 0.08..=0.9;
const LEAST_STRENGTH: f32 = 0.05;
const MOST_BEAR_IT: f64 = 0.1;
/// Share of the unevenness beside bodies that shadows explain beside three quarters of them, and beside half of them.
const EXPLAINED: [f32; 2] = [0.04, 0.1];
/// What a shadow to the other side explains at most, as a share of that.
const OPPOSITE: f32 = 0.6;
/// What a body that speaks against a shadow counts at most, as a share of the ink beside it: it may touch another.
const LEAST_GAIN: f32 = -0.1;
/// Times the shadow is looked for again beside what is left of the bodies, and how far its blur may be off each time.
const REFINED: usize = 4;
const REFINED_BLURS: [f32; 5] = [0.6, 0.8, 1.0, 1.25, 1.6];
/// Share of the ink of a pixel from which on it is more shadow than body.
const MOSTLY: f32 = 0.5;
/// Times body and shadow are told apart in turn.
const ROUNDS: usize = 6;

/// How bodies throw shadows; pixels of [`Ground::soft`].
#[derive(Debug, Clone, Copy)]
struct Cast {
    /// From a body to its shadow, across and down.
    shift: [i64; 2],
    /// Standard deviation of the blur.
    sigma: f32,
    /// Ink of the shadow, as a share of that of the body.
    strength: f32,
}

/// Learns how the bodies among the candidates throw shadows, if they do, keeps what the shadows add to the ink in
/// [`Ground::shadow`], and takes what is more shadow than body out of the candidates' labels.
pub fn take_out(ground: &mut Ground, candidates: &[Candidate], labels: &mut Labels) {
    if ground.polarity == Polarity::BrightFish {
        return;
    }
    let cast = bodies(ground, candidates, labels).and_then(|(bodies, width)| learn(bodies, width));
    let Some(cast) = cast else { return };
    let soft = &ground.soft;
    let mut all = soft.clone();
    for (i, v) in all.data.iter_mut().enumerate() {
        let label = label_at(labels, i % soft.width, i / soft.width);
        *v = if label == 0 || label == WALL { 0.0 } else { v.max(0.0) };
    }
    let shadow = cast.of(&cast.body(&all));
    for (i, label) in labels.data.iter_mut().enumerate() {
        let (x, y) = (i % ground.ink.width / 2, i / ground.ink.width / 2);
        let at = y.min(all.height - 1) * all.width + x.min(all.width - 1);
        if *label != WALL && shadow.data[at] > MOSTLY * all.data[at] {
            *label = 0;
        }
    }
    ground.shadow = Some(shadow);
}

impl Cast {
    /// The shadow that `body` throws.
    fn of(self, body: &Plane<f32>) -> Plane<f32> {
        let blurred = gaussian(body, self.sigma);
        let mut out = Plane::filled(body.width, body.height, 0.0);
        for y in 0..body.height {
            for x in 0..body.width {
                let at = blurred.get_or(x as i64 - self.shift[0], y as i64 - self.shift[1], 0.0);
                out.set(x, y, self.strength * at);
            }
        }
        out
    }

    /// What of the ink of bodies and their shadows is bodies.
    fn body(self, all: &Plane<f32>) -> Plane<f32> {
        let mut body = all.clone();
        for _ in 1..ROUNDS {
            let shadow = self.of(&body);
            for ((body, all), shadow) in body.data.iter_mut().zip(&all.data).zip(&shadow.data) {
                *body = ((all - shadow) / (1.0 - shadow)).max(0.0);
            }
        }
        body
    }
}

fn label_at(labels: &Labels, x: usize, y: usize) -> u32 {
    labels.at((2 * x).min(labels.width - 1), (2 * y).min(labels.height - 1))
}

/// A body and the ground beside it.
struct Beside {
    /// Ink of the body and of what may be its shadow, nothing elsewhere.
    ink: Plane<f32>,
    /// Ink of what throws the shadow.
    body: Plane<f32>,
    /// Pixels of bare ground, and their ink.
    bare: Vec<([i64; 2], f32)>,
}

impl Beside {
    /// Cuts out `candidate` with `pad` pixels round it; `None` if nothing of it is seen.
    fn cut(ground: &Ground, labels: &Labels, candidate: &Candidate, pad: usize) -> Option<Self> {
        let (soft, r) = (&ground.soft, &candidate.region);
        let (x0, y0) = ((r.x0 as usize / 2).saturating_sub(pad), (r.y0 as usize / 2).saturating_sub(pad));
        let x1 = (r.x1 as usize / 2 + pad).min(soft.width - 1);
        let y1 = (r.y1 as usize / 2 + pad).min(soft.height - 1);
        let label = |x: usize, y: usize| label_at(labels, x0 + x, y0 + y);
        let mut ink = Plane::filled(x1 - x0 + 1, y1 - y0 + 1, 0.0f32);
        let mut inside = Vec::new();
        let mut all = ink.clone();
        for y in 0..ink.height {
            for x in 0..ink.width {
                let v = soft.at(x0 + x, y0 + y);
                all.set(x, y, v);
                if label(x, y) == candidate.label {
                    ink.set(x, y, v.max(0.0));
                    inside.push(v);
                }
            }
        }
        let is_bare = |x: usize, y: usize| {
            let lit = ground.lit.get_or(2 * (x0 + x) as i64, 2 * (y0 + y) as i64, false);
            lit && (label(x, y) == 0 || label(x, y) == candidate.label)
        };
        Self::of(ink, &all, inside, is_bare)
    }

    /// A body and its surroundings from the `ink` of its region, `all` ink, and the ink of the region's pixels.
    fn of(
        ink: Plane<f32>,
        all: &Plane<f32>,
        mut inside: Vec<f32>,
        is_bare: impl Fn(usize, usize) -> bool,
    ) -> Option<Self> {
        let limit = CORE * quantile(&mut inside, 0.75)?;
        let mut body = ink.clone();
        body.data.iter_mut().for_each(|v| *v = if *v >= limit { *v } else { 0.0 });
        let mut bare = Vec::new();
        for y in (EDGE..ink.height.saturating_sub(EDGE)).step_by(EVERY) {
            for x in (EDGE..ink.width.saturating_sub(EDGE)).step_by(EVERY) {
                let near = || (y - EDGE..=y + EDGE).flat_map(|v| (x - EDGE..=x + EDGE).map(move |u| (u, v)));
                if is_bare(x, y) && near().all(|(u, v)| body.at(u, v) == 0.0) {
                    bare.push(([x as i64, y as i64], all.at(x, y).min(limit)));
                }
            }
        }
        Some(Self { ink, body, bare })
    }
}

/// The bodies that are looked at, with the ground beside them, and how wide they mostly are, in pixels of [`Ground::soft`].
fn bodies(ground: &Ground, candidates: &[Candidate], labels: &Labels) -> Option<(Vec<Beside>, f64)> {
    let slender = |c: &&Candidate| c.major >= SLENDER * c.minor && !c.beside_wall && !c.beside_edge;
    let mut bodies: Vec<&Candidate> = candidates.iter().filter(slender).collect();
    bodies.sort_by_key(|c| std::cmp::Reverse(c.region.pixels.len()));
    bodies.truncate(MOST_BODIES);
    // Two search pixels to one.
    let mut widths: Vec<f32> = bodies.iter().map(|c| 0.5 * c.minor as f32).collect();
    let width = f64::from(quantile(&mut widths, 0.5)?);
    let cut = |c: &&Candidate| Beside::cut(ground, labels, c, farthest(width) as usize);
    Some((bodies.iter().filter_map(cut).collect(), width))
}

/// Farthest shift that is looked at, for bodies of a width.
fn farthest(width: f64) -> i64 {
    ((FARTHEST * width).ceil() as i64).clamp(*FARTHEST_PIXELS.start(), *FARTHEST_PIXELS.end())
}

/// How bodies throw their shadows; `None` if they throw none that can be told.
fn learn(mut bodies: Vec<Beside>, width: f64) -> Option<Cast> {
    if bodies.len() < LEAST_BODIES {
        return None;
    }
    let far = farthest(width);
    let mut step = (far / SHIFTS).max(1);
    let blurs = BLURS.map(|b| ((b * width) as f32).max(LEAST_BLUR));
    let near = LEAST_SHIFT * LEAST_SHIFT..=far * far;
    let shifts = square([0, 0], far, step).filter(|[x, y]| near.contains(&(x * x + y * y)));
    let (gain, mut cast) = best(&bodies, &blurs, Some(blurs[0]), &shifts.collect::<Vec<_>>())?;
    // Fins lie to both sides.
    let opposite = best(&bodies, &[cast.sigma], Some(blurs[0]), &[cast.shift.map(|v| -v)]);
    if opposite.is_some_and(|(other, _)| other > OPPOSITE * gain) {
        return None;
    }
    // Where a lamp throws shadows, what lies softly round the bodies is shadow too.
    for _ in 0..REFINED {
        for beside in &mut bodies {
            beside.body = cast.body(&beside.ink);
        }
        let about = REFINED_BLURS.map(|by| (by * cast.sigma).max(LEAST_BLUR));
        step = (step / 2).max(1);
        let shifts: Vec<[i64; 2]> = square(cast.shift, step, step).collect();
        let Some((_, better)) = best(&bodies, &about, None, &shifts) else { break };
        cast = better;
    }
    Some(cast)
}

/// Points every `step` of a square of half side `half` about `middle`.
fn square([x, y]: [i64; 2], half: i64, step: i64) -> impl Iterator<Item = [i64; 2]> {
    let along = move || (-half..=half).step_by(step as usize);
    along().flat_map(move |v| along().map(move |u| [x + u, y + v]))
}

/// The shift, of `shifts`, and the blur, of `blurs`, of the shadows that explain most of the ink beside bodies, besides soft
/// edges of `halo` pixels round each, and how much that is; `None` if no shadow holds.
fn best(bodies: &[Beside], blurs: &[f32], halo: Option<f32>, shifts: &[[i64; 2]]) -> Option<(f32, Cast)> {
    let blurred =
        |sigma: f32| -> Vec<Plane<f32>> { bodies.iter().map(|b| gaussian(&b.body, sigma)).collect() };
    let halos = halo.map(blurred);
    let mut best: Option<(f32, Cast)> = None;
    for &sigma in blurs {
        let thrown = blurred(sigma);
        for &shift in shifts {
            let over =
                |(k, b): (usize, &Beside)| Sums::over(b, &thrown[k], halos.as_ref().map(|h| &h[k]), shift);
            let sums: Vec<Sums> = bodies.iter().enumerate().map(over).collect();
            let mut strengths: Vec<f32> = sums.iter().filter_map(Sums::strength).collect();
            let Some(least) = quantile(&mut strengths, MOST_BEAR_IT) else { continue };
            let Some(strength) = quantile(&mut strengths, 0.5) else { continue };
            if least < LEAST_STRENGTH || !STRENGTHS.contains(&strength) {
                continue;
            }
            let mut explained: Vec<f32> = sums.iter().map(|s| s.explained(strength)).collect();
            let [quarter, half] = [0.25, 0.5].map(|q| quantile(&mut explained, q).unwrap_or(0.0));
            if quarter < EXPLAINED[0] || half < EXPLAINED[1] {
                continue;
            }
            let gain = sums.iter().map(|s| s.gain(strength).max(LEAST_GAIN)).sum();
            if best.is_none_or(|(most, _)| gain > most) {
                best = Some((gain, Cast { shift, sigma, strength }));
            }
        }
    }
    best
}

/// Sums of products of ink beside bodies `i`, the shadow `s` and the halo `h`.
#[derive(Debug, Default, Clone, Copy)]
struct Sums {
    ii: f64,
    is: f64,
    ih: f64,
    ss: f64,
    sh: f64,
    hh: f64,
}

impl Sums {
    fn over(beside: &Beside, blurred: &Plane<f32>, halo: Option<&Plane<f32>>, shift: [i64; 2]) -> Self {
        let mut sums = Self::default();
        for &([x, y], ink) in &beside.bare {
            let s = f64::from(blurred.get_or(x - shift[0], y - shift[1], 0.0));
            let h = halo.map_or(0.0, |halo| f64::from(halo.at(x as usize, y as usize)));
            let i = f64::from(ink);
            sums.ii += i * i;
            sums.is += i * s;
            sums.ih += i * h;
            sums.ss += s * s;
            sums.sh += s * h;
            sums.hh += h * h;
        }
        sums
    }

    /// Strength of the shadow by least squares, beside the halo that goes with it if there is one.
    fn strength(&self) -> Option<f32> {
        if self.hh == 0.0 {
            return (self.ss > 0.0).then(|| (self.is / self.ss) as f32);
        }
        let det = self.ss * self.hh - self.sh * self.sh;
        (det > 1e-9 * self.ss * self.hh).then(|| ((self.is * self.hh - self.ih * self.sh) / det) as f32)
    }

    /// Share of what the best halo alone leaves that a shadow of `strength` explains.
    fn explained(&self, strength: f32) -> f32 {
        (1.0 - self.left(strength) / self.left(0.0).max(f64::MIN_POSITIVE)) as f32
    }

    /// The same as a share of all ink beside the body.
    fn gain(&self, strength: f32) -> f32 {
        ((self.left(0.0) - self.left(strength)) / self.ii.max(f64::MIN_POSITIVE)) as f32
    }

    /// Squares that a shadow of `strength` and the halo that goes with it best leave.
    fn left(&self, strength: f32) -> f64 {
        let s = f64::from(strength);
        let halo = self.ih - s * self.sh;
        let explained = if self.hh > 0.0 { halo * halo / self.hh } else { 0.0 };
        self.ii - 2.0 * s * self.is + s * s * self.ss - explained
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use statrs::function::erf::erf;

    /// Side of a window.
    const SIDE: usize = 180;
    /// Half the length and the width of a body, and its own blur.
    const BODY: [f64; 2] = [50.0, 7.0];
    const BLUR: f64 = 1.0;
    /// Ink of a body.
    const INK: f64 = 0.2;

    /// Ink of an even flat bar turned by `angle` and moved by `shift` from the middle of the window, blurred by `sigma`: a
    /// Gaussian over a bar is a product of differences of error functions.
    fn bar(angle: f64, shift: [f64; 2], sigma: f64, ink: f64) -> Plane<f32> {
        let edge = |at: f64, half: f64| {
            let scale = sigma.hypot(BLUR) * std::f64::consts::SQRT_2;
            0.5 * (erf((at + half) / scale) - erf((at - half) / scale))
        };
        let mut out = Plane::filled(SIDE, SIDE, 0.0f32);
        for y in 0..SIDE {
            for x in 0..SIDE {
                let [dx, dy] = [(x, shift[0]), (y, shift[1])].map(|(v, s)| v as f64 - 0.5 * SIDE as f64 - s);
                let (u, v) = (dx * angle.cos() + dy * angle.sin(), dy * angle.cos() - dx * angle.sin());
                out.set(x, y, (ink * edge(u, BODY[0]) * edge(v, BODY[1])) as f32);
            }
        }
        out
    }

    /// Bodies at many angles; `beside` gives the ink beside each, by its angle.
    fn bodies(beside: impl Fn(f64) -> Plane<f32>) -> Vec<Beside> {
        let one = |k: u32| {
            let angle = 0.7 * f64::from(k);
            let mut ink = bar(angle, [0.0; 2], 0.0, INK);
            ink.data
                .iter_mut()
                .zip(&beside(angle).data)
                .for_each(|(ink, more)| *ink = 1.0 - (1.0 - *ink) * (1.0 - more));
            let inside = ink.data.iter().copied().filter(|v| *v > 0.05).collect();
            Beside::of(ink.clone(), &ink, inside, |_, _| true).expect("there is ink")
        };
        (0..9).map(one).collect()
    }

    #[test]
    fn shadows_are_learnt_and_taken_off() {
        for (shift, sigma, strength) in [([6.0, -3.0], 4.0, 0.5), ([-2.0, 9.0], 6.0, 0.3)] {
            let bodies = bodies(|angle| bar(angle, shift, sigma, strength * INK));
            let ink = bodies[0].ink.clone();
            let cast = learn(bodies, 2.0 * BODY[1]).expect("there are shadows");
            for (found, truth) in cast.shift.into_iter().zip(shift) {
                assert!((found as f64 - truth).abs() <= 1.5, "{cast:?}");
            }
            assert!((f64::from(cast.strength) / strength - 1.0).abs() < 0.2, "{cast:?}");
            let (body, alone) = (cast.body(&ink), bar(0.0, [0.0; 2], 0.0, INK));
            let off = |plane: &Plane<f32>| -> f32 {
                plane.data.iter().zip(&alone.data).map(|(a, b)| (a - b).abs()).sum::<f32>()
            };
            assert!(off(&body) < 0.2 * off(&ink), "{} of {}", off(&body), off(&ink));
        }
    }

    #[test]
    fn fins_are_no_shadows() {
        // Blurred about the body itself, and to one side of it as it lies.
        assert!(learn(bodies(|angle| bar(angle, [0.0; 2], 6.0, 0.4 * INK)), 2.0 * BODY[1]).is_none());
        let side = |angle: f64| bar(angle, [-8.0 * angle.sin(), 8.0 * angle.cos()], 3.0, 0.4 * INK);
        assert!(learn(bodies(side), 2.0 * BODY[1]).is_none());
    }
}
