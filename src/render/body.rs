//! One larva to a layer: absorption, scattering and refraction pixel by pixel.

use super::anatomy::{Anatomy, Bladder, Organ, Spot};
use super::canvas::Layer;
use super::dice::{Dice, Field, ramp};
use super::optics::{through_drop, through_gas};
use super::pose::Pose;
use crate::records::Lighting;

/// How the scene is lit, as far as a larva is concerned.
#[derive(Debug, Clone, Copy)]
pub(super) struct Light {
    /// The set-up.
    pub kind: Lighting,
    /// Half-angle of the lamp or pad as seen from the fish, radians.
    pub half_angle: f64,
    /// Direction the reflected light comes from: unit vector in the picture (x, y) and towards the camera.
    pub from: [f64; 3],
    /// Colour and strength of the reflected light.
    pub colour: [f64; 3],
    /// Scattered light that fills dark rims, as a share of the background.
    pub fill: f64,
    /// How strongly bodies scatter (dark dish and pale tray).
    pub scatter: f64,
    /// How much silver there is on eye and bladder.
    pub silver: f64,
}

/// Fine structure that differs from fish to fish.
struct Grain {
    tissue: Field,
    food: Field,
    lumpy: f64,
    grainy: f64,
}

/// A larva to paint.
pub(super) struct Body<'a> {
    /// Its anatomy.
    pub anatomy: &'a Anatomy,
    /// Its pose.
    pub pose: &'a Pose,
    /// The light.
    pub light: &'a Light,
}

/// A point of the picture in body coordinates.
struct Here {
    /// Fraction of length from the snout.
    s: f64,
    /// Distance from the midline towards the back, pixels.
    v: f64,
}

impl Body<'_> {
    /// Half extent of the body without fins across the line of sight at `s`, fraction of length: the
    /// elliptic cross-section seen at the roll.
    pub fn half_seen(&self, s: f64, back: bool) -> f64 {
        let (sin, cos) = self.pose.roll.sin_cos();
        let a = &self.anatomy;
        (a.half(s, back) * cos).hypot(a.half_width(s) * sin)
    }

    /// Half thickness along the line of sight at `s`, fraction of length.
    fn half_deep(&self, s: f64, seen: f64) -> f64 {
        let a = &self.anatomy;
        let tall = 0.5 * (a.half(s, true) + a.half(s, false));
        tall * a.half_width(s) / seen.max(1e-4)
    }

    /// Height across the line of sight of a place `up` the body and to its `side`.
    fn project(&self, up: f64, side: f64) -> f64 {
        let (sin, cos) = self.pose.roll.sin_cos();
        up * cos + side * sin
    }

    /// Paints the larva on a new layer of a `width` by `height` picture; `None` when it lies outside.
    pub fn paint(&self, dice: &mut Dice, width: usize, height: usize, margin: f64) -> Option<Layer> {
        let length = self.pose.length;
        let reach = (0..64)
            .map(|i| {
                let s = f64::from(i) / 63.0;
                let fin = self.anatomy.fin(s, true).max(self.anatomy.fin(s, false));
                let yolk = self.anatomy.half(s, false);
                fin.max(yolk).max(self.anatomy.half_width(s)).max(self.anatomy.eye.side * 1.5)
            })
            .fold(0.0, f64::max)
            * length
            * 1.15
            + 3.0;
        let b = self.pose.bounds();
        let bounds = [b[0] - reach, b[1] - reach, b[2] + reach, b[3] + reach];
        let mut layer = Layer::new(bounds, margin, width, height)?;
        let nearest = self.nearest(&layer, reach);
        let grain = Grain {
            tissue: Field::between(dice, length * 0.006 + 1.0, length * 0.02 + 1.0),
            food: Field::between(dice, length * 0.01 + 1.0, length * 0.03 + 1.0),
            lumpy: dice.within(0.1, 0.8),
            grainy: dice.within(0.02, 0.14),
        };
        for (i, here) in nearest.iter().enumerate() {
            if let Some(here) = here {
                let (passes, adds) = self.shade(here, &grain);
                layer.passes[i] = passes.map(|v| v as f32);
                layer.adds[i] = adds.map(|v| v as f32);
            }
        }
        for spot in &self.anatomy.spots {
            self.paint_spot(&mut layer, spot);
        }
        if self.light.kind != Lighting::Transmitted {
            self.paint_glints(dice, &mut layer);
        }
        Some(layer)
    }

    /// Body coordinates of every pixel of the layer within `reach` of the midline: those of the
    /// nearest of closely spaced points of the midline.
    fn nearest(&self, layer: &Layer, reach: f64) -> Vec<Option<Here>> {
        let length = self.pose.length;
        let spacing = (reach / 12.0).max(0.8);
        let n = ((length / spacing) as usize).max(16);
        let mut best = vec![(f32::MAX, 0u32); layer.width * layer.height];
        let mut frames = Vec::with_capacity(n + 1);
        for k in 0..=n {
            let s = k as f64 / n as f64;
            let p = self.pose.point(s);
            let p = [p[0] - layer.x0 as f64, p[1] - layer.y0 as f64];
            frames.push((s, p, self.pose.tangent(s)));
            let x0 = (p[0] - reach).max(0.0) as usize;
            let x1 = (p[0] + reach).min(layer.width as f64 - 1.0);
            let y0 = (p[1] - reach).max(0.0) as usize;
            let y1 = (p[1] + reach).min(layer.height as f64 - 1.0);
            if x1 < 0.0 || y1 < 0.0 {
                continue;
            }
            for y in y0..=y1 as usize {
                let dy = (y as f64 - p[1]) as f32;
                for x in x0..=x1 as usize {
                    let dx = (x as f64 - p[0]) as f32;
                    let d = dx * dx + dy * dy;
                    let b = &mut best[y * layer.width + x];
                    if d < b.0 {
                        *b = (d, k as u32);
                    }
                }
            }
        }
        let limit = (reach * reach) as f32;
        best.iter()
            .enumerate()
            .map(|(i, (d, k))| {
                if *d > limit {
                    return None;
                }
                let (s, p, t) = frames[*k as usize];
                let dx = (i % layer.width) as f64 - p[0];
                let dy = (i / layer.width) as f64 - p[1];
                let back = self.pose.backward(t);
                Some(Here { s: s + (dx * t[0] + dy * t[1]) / length, v: dx * back[0] + dy * back[1] })
            })
            .collect()
    }

    /// Light passed and added at a point.
    fn shade(&self, here: &Here, grain: &Grain) -> ([f64; 3], [f64; 3]) {
        let (a, length) = (self.anatomy, self.pose.length);
        let (s, v) = (here.s, here.v);
        let s_in = s.clamp(0.0, 1.0);
        let back = v >= 0.0;
        let seen = self.half_seen(s_in, back) * length;
        let beside_eye = (s - a.eye.at).abs() < 1.7 * a.eye.a;
        if v.abs() > seen.max(a.fin(s_in, back) * length) + 1.0 && !beside_eye {
            return ([1.0; 3], [0.0; 3]);
        }
        let inside = if (0.0..=1.0).contains(&s) { (seen - v.abs() + 0.5).clamp(0.0, 1.0) } else { 0.0 };
        let x = (v / seen.max(1e-6)).clamp(-1.0, 1.0);
        let chord = (1.0 - x * x).sqrt();
        let mut od = self.fins(s, v, back);
        let mut scatter = od.iter().sum::<f64>() / 3.0 * 0.8;
        let mut deep = 0.0;

        if inside > 0.0 {
            deep = self.half_deep(s_in, seen / length) * length;
            let middle = self.half_deep(0.3, self.half_seen(0.3, true)) * length;
            let relative = (deep / middle.max(1e-6)).powf(0.7) * chord.powf(0.8);
            // Muscle blocks: chevrons that point to the head.
            let blocks = ramp(0.12, 0.2, s)
                * a.myomeres.1
                * (std::f64::consts::TAU * (a.myomeres.0 * s - 0.55 * v.abs() / seen.max(1.0))).cos();
            let band = a.notochord * (-((x - 0.25) / 0.22).powi(2)).exp() * ramp(0.1, 0.15, s);
            let texture = 1.0 + blocks - band + grain.grainy * grain.tissue.rough(s * length, v + 31.0);
            // Steep walls bend light off the lamp: a faint darker outline, stronger for small lamps.
            let near = 1.0 - (seen - v.abs()).max(0.0) / (0.0035 * length).max(0.8);
            let edge = a.outline * near.max(0.0) * (1.2 - self.light.half_angle).max(0.15);
            let tail = a.tail * ramp(0.45, 0.95, s);
            for c in 0..3 {
                let body = a.trunk[c] * relative * texture + edge;
                od[c] = od[c] * (1.0 - inside) + inside * (body + tail);
            }
            scatter += inside * (a.trunk[1] * relative * texture + 0.5 * tail);
            for organ in &a.organs {
                let share = self.inside(organ, s, v, 0.0).map_or(0.0, |rho2| (1.0 - rho2).sqrt());
                for (o, d) in od.iter_mut().zip(organ.density) {
                    *o += inside * share * d;
                }
            }
            self.gut(&mut od, s, v, grain, inside);
        }
        let mut factor = [1.0f64; 3];
        let mut shine = 0.0;
        if let Some(globule) = &a.globule {
            self.droplet(globule, s, v, &mut od, &mut factor);
        }
        let reflected = self.light.kind != Lighting::Transmitted;
        for bubble in &a.gut_gas {
            self.gut_bubble(bubble, s, v, &mut factor, &mut shine);
        }
        self.bladder(s, v, deep, inside, &mut od, &mut factor, &mut scatter, &mut shine);
        if a.cap > 0.0 {
            self.cap(s, v, inside, grain, &mut od);
        }
        let mut ring = 0.0;
        for side in [-1.0, 1.0] {
            if let Some(rho2) = self.inside(&a.eye, s, v, (side - 1.0) * a.eye.side) {
                let edge = ((1.0 - rho2) * 0.5 * a.eye.a * length).clamp(0.0, 1.0);
                for c in 0..3 {
                    // Both eyes are in line in side view: together they are one eye's density.
                    let share = if self.pose.roll.sin().abs() < 0.3 { 0.5 } else { 0.85 };
                    od[c] += share * a.eye.density[c] * (1.0 - rho2).powf(0.35) * edge;
                }
                if reflected {
                    ring = f64::max(ring, ramp(0.28, 0.42, rho2) * (1.0 - ramp(0.85, 1.0, rho2)));
                    scatter *= 1.0 - edge * 0.9;
                }
            }
        }
        self.compose(od, factor, scatter, shine, ring, [x, chord], s)
    }

    #[allow(clippy::too_many_arguments, reason = "one pixel's sums")]
    /// From densities to the light passed and added, by lighting.
    fn compose(
        &self,
        od: [f64; 3],
        factor: [f64; 3],
        scatter: f64,
        shine: f64,
        ring: f64,
        normal: [f64; 2],
        s: f64,
    ) -> ([f64; 3], [f64; 3]) {
        let light = self.light;
        let once: [f64; 3] = std::array::from_fn(|c| (-od[c].max(-0.03)).exp() * factor[c]);
        if light.kind == Lighting::Transmitted {
            return (once, [0.0; 3]);
        }
        let back = self.pose.backward(self.pose.tangent(s.clamp(0.0, 1.0)));
        let facing =
            normal[0] * (back[0] * light.from[0] + back[1] * light.from[1]) + normal[1] * light.from[2];
        let lit = 0.45 + 0.55 * facing.max(0.0);
        let white = 1.0 - (-light.scatter * scatter.max(0.0)).exp();
        let (passes, adds): ([f64; 3], [f64; 3]) = if light.kind == Lighting::Dark {
            // Pigment over scattering tissue: what is scattered is absorbed on its way out.
            let adds = std::array::from_fn(|c| {
                let own = (-(od[c] - self.anatomy.trunk[c]).max(0.0)).exp() * factor[c];
                light.colour[c] * (white * lit * own * 0.6 + light.silver * (0.5 * ring + shine))
            });
            (once.map(|t| t * (1.0 - 0.7 * white)), adds)
        } else {
            // Down through the body, back from the tray and up through it again.
            let adds = std::array::from_fn(|c| {
                light.colour[c] * (0.16 * white * lit + light.silver * (0.35 * ring + 0.8 * shine))
            });
            (once.map(|t| t.powf(1.7) * (1.0 - 0.18 * white)), adds)
        };
        (passes, adds)
    }

    /// Squared relative distance from an organ's centre when within it; `side` is added to the organ's own.
    fn inside(&self, organ: &Organ, s: f64, v: f64, side: f64) -> Option<f64> {
        let length = self.pose.length;
        let dx = s - organ.at;
        if dx.abs() > 1.6 * organ.a.max(organ.b) {
            return None;
        }
        let dy = v / length - self.project(organ.up, organ.side + side);
        let (sin, cos) = organ.tilt.sin_cos();
        let (p, q) = ((dx * cos + dy * sin) / organ.a, (dy * cos - dx * sin) / organ.b);
        let rho2 = p * p + q * q;
        (rho2 < 1.0).then_some(rho2)
    }

    /// Density of fin fold and tail fin.
    fn fins(&self, s: f64, v: f64, back: bool) -> [f64; 3] {
        let (a, length) = (self.anatomy, self.pose.length);
        let cos = self.pose.roll.cos().abs();
        // Seen from above the fins are on edge: a thin, denser line.
        let reach = a.fin(s.clamp(0.0, 1.0), back) * length * cos.max(0.12);
        let end = 1.0 - a.fork * (1.0 - (v.abs() / reach.max(1.0)).min(1.0));
        let within = (reach - v.abs() + 0.5).clamp(0.0, 1.0) * ((end - s) * length + 0.5).clamp(0.0, 1.0);
        if within <= 0.0 || s < 0.0 {
            return [0.0; 3];
        }
        let tail = ramp(a.peduncle - 0.06, a.peduncle, s);
        let rays = 1.0 + 0.25 * tail * (v / (0.004 * length).max(1.3)).sin();
        let edge = 1.0 + 0.7 * ramp(0.85, 1.0, v.abs() / reach.max(1.0));
        let fade = 1.0 - 0.35 * ramp(a.peduncle, 1.0, s);
        let od = (a.fold * (1.0 - tail) + 0.75 * a.tail * tail * fade) * rays * edge / cos.max(0.35);
        [od * within; 3]
    }

    fn gut(&self, od: &mut [f64; 3], s: f64, v: f64, grain: &Grain, inside: f64) {
        let (a, length) = (self.anatomy, self.pose.length);
        let (start, vent, radius) = a.gut;
        if s < start || s > vent + 0.01 {
            return;
        }
        let t = (s - start) / (vent - start);
        let r =
            radius * (0.75 + 0.35 * (std::f64::consts::PI * t.min(1.0)).sin()) * (1.0 - ramp(0.93, 1.05, t));
        let q = (v / length - self.project(a.gut_line(s), 0.0)) / r.max(1e-5);
        if q.abs() >= 1.0 {
            return;
        }
        let chord = (1.0 - q * q).sqrt();
        let (f0, f1) = a.food_span;
        let filled = ramp(f0 - 0.04, f0 + 0.04, t) * (1.0 - ramp(f1 - 0.05, f1 + 0.05, t));
        let lump = (1.0 + grain.lumpy * grain.food.rough(s * length, v)).max(0.1);
        for (o, (food, trunk)) in od.iter_mut().zip(a.food.iter().zip(a.trunk)) {
            // The wall shows faintly even when the gut is empty.
            *o += inside * (food * filled * lump * chord + 0.18 * trunk * ramp(0.55, 0.95, q.abs()));
        }
    }

    fn gut_bubble(&self, bubble: &Organ, s: f64, v: f64, factor: &mut [f64; 3], shine: &mut f64) {
        let Some(rho2) = self.inside(bubble, s, v, 0.0) else { return };
        let clear = through_gas((rho2 / (1.0 - rho2).max(1e-6)).sqrt(), self.light.half_angle);
        let fill = self.light.fill;
        for f in factor.iter_mut() {
            *f *= fill + (1.0 - fill) * clear;
        }
        *shine += 0.4 * (1.0 - rho2).powi(3);
    }

    fn droplet(&self, globule: &Organ, s: f64, v: f64, od: &mut [f64; 3], factor: &mut [f64; 3]) {
        let Some(rho2) = self.inside(globule, s, v, 0.0) else { return };
        let slope = (rho2 / (1.0 - rho2).max(1e-6)).sqrt();
        // Oil 1.46-1.48 in tissue 1.35.
        let clear = through_drop(slope, 1.09, self.light.half_angle * 0.75);
        let fill = self.light.fill;
        for c in 0..3 {
            od[c] = od[c] * 0.6 + globule.density[c] * (1.0 - rho2).sqrt();
            factor[c] *= fill + (1.0 - fill) * clear;
        }
    }

    #[allow(clippy::too_many_arguments, reason = "one pixel's running sums")]
    fn bladder(
        &self,
        s: f64,
        v: f64,
        deep: f64,
        inside: f64,
        od: &mut [f64; 3],
        factor: &mut [f64; 3],
        scatter: &mut f64,
        shine: &mut f64,
    ) {
        let length = self.pose.length;
        match &self.anatomy.bladder {
            Bladder::None => {}
            Bladder::Slit(organ) => {
                if let Some(rho2) = self.inside(organ, s, v, 0.0) {
                    for (o, d) in od.iter_mut().zip(organ.density) {
                        *o += inside * d * (1.0 - rho2).sqrt();
                    }
                }
            }
            Bladder::Vesicle(organ) => {
                if let Some(rho2) = self.inside(organ, s, v, 0.0) {
                    let taken = (organ.b * length * (1.0 - rho2).sqrt() / deep.max(1.0)).min(0.9);
                    for o in od.iter_mut() {
                        *o *= 1.0 - 0.8 * taken;
                    }
                    *scatter *= 1.0 - 0.8 * taken;
                }
            }
            Bladder::Gas { shape, skew } => {
                // One end blunter: the ellipse's height changes along it.
                let along = ((s - shape.at) / shape.a).clamp(-1.0, 1.0);
                let (sin, cos) = self.pose.roll.sin_cos();
                let wide = shape.b.min(0.85 * self.anatomy.half_width(shape.at));
                let high = (shape.b * cos).hypot(wide * sin);
                let egg = Organ { b: high * (1.0 - skew * along), ..*shape };
                let Some(rho2) = self.inside(&egg, s, v, 0.0) else { return };
                let depth = (egg.b * length * (1.0 - rho2).sqrt() / deep.max(1.0)).min(0.95);
                // Wall's slope against the line of sight, from the ellipsoid's surface.
                let x = (s - egg.at) / egg.a;
                let y = (v / length - self.project(egg.up, egg.side)) / egg.b;
                let slope = egg.b * (x / egg.a).hypot(y / egg.b) / (1.0 - rho2).max(1e-6).sqrt();
                let clear = through_gas(slope, self.light.half_angle);
                let fill = self.light.fill;
                for c in 0..3 {
                    od[c] *= 1.0 - depth;
                    factor[c] *= fill + (1.0 - fill) * clear;
                }
                if self.light.kind != Lighting::Transmitted {
                    let tangent = self.pose.tangent(s.clamp(0.0, 1.0));
                    let back = self.pose.backward(tangent);
                    let nx = x * tangent[0] + y * back[0];
                    let ny = x * tangent[1] + y * back[1];
                    let n = [nx, ny, (1.0 - rho2).sqrt()];
                    let from = self.light.from;
                    let facing = (n[0] * from[0] + n[1] * from[1] + n[2] * from[2]).max(0.0);
                    let outline = 1.0 - ramp(0.72, 0.93, rho2);
                    *shine += outline * (0.22 + 0.35 * facing + 0.9 * facing.powi(12));
                    *scatter *= 0.3;
                    for f in factor.iter_mut() {
                        *f *= 0.35 + 0.65 * outline;
                    }
                }
            }
        }
    }

    /// Pigment over the upper half of where the bladder lies or would lie.
    fn cap(&self, s: f64, v: f64, inside: f64, grain: &Grain, od: &mut [f64; 3]) {
        let a = self.anatomy;
        let (at, up, half, high) = match &a.bladder {
            Bladder::Gas { shape, .. } => (shape.at, shape.up, shape.a, shape.b),
            Bladder::Vesicle(o) | Bladder::Slit(o) => (o.at, o.up, 1.6 * o.a, o.b.max(0.008)),
            Bladder::None => (0.36, 0.1 * a.depth(), 0.03, 0.01),
        };
        let x = (s - at) / half.max(0.01);
        let y = (v / self.pose.length - self.project(up + 0.45 * high, 0.0)) / high;
        let near = (1.0 - x * x / 1.5 - y * y).max(0.0).sqrt();
        let patchy = (0.7 + 0.9 * grain.tissue.rough(2.0 * v + 91.0, s * self.pose.length)).clamp(0.0, 1.6);
        for o in od.iter_mut() {
            *o += inside * a.cap * near * patchy;
        }
    }

    fn paint_spot(&self, layer: &mut Layer, spot: &Spot) {
        let length = self.pose.length;
        let tangent = self.pose.tangent(spot.at);
        let back = self.pose.backward(tangent);
        let p = self.pose.point(spot.at);
        let v = self.project(spot.up, spot.side) * length;
        let at = [p[0] + v * back[0], p[1] + v * back[1]];
        // Never finer than the pixels: a smaller spot is drawn larger and paler.
        let true_radius = spot.radius * length;
        let radius = true_radius.max(0.6);
        let density = spot.density * (true_radius / radius).powi(2);
        layer.dab(at, radius * spot.long.max(1.0) * 1.5 + 1.0, |dx, dy, passes, adds| {
            let p = (dx * tangent[0] + dy * tangent[1]) / (radius * spot.long);
            let q = (dx * back[0] + dy * back[1]) / radius;
            let star = 1.0 + 0.35 * (spot.arms * q.atan2(p) + spot.phase).cos();
            let od = density * (-(p * p + q * q) / (star * star)).exp();
            for c in 0..3 {
                passes[c] *= (-od).exp() as f32;
                adds[c] *= (-0.8 * od).exp() as f32;
            }
        });
    }

    /// A small highlight of silvery skin, now and then. Skin under water hardly glints by itself: 1.37 against 1.33
    /// reflects 0.02 % (Fresnel, normal incidence); the lamp's image lies on the water, not on the fish.
    fn paint_glints(&self, dice: &mut Dice, layer: &mut Layer) {
        if dice.chance(0.2) {
            let s = dice.within(0.03, 0.8);
            let (p, t) = (self.pose.point(s), self.pose.tangent(s));
            let back = self.pose.backward(t);
            let v = self.half_seen(s, true) * self.pose.length * dice.within(-0.5, 0.6);
            let at = [p[0] + v * back[0], p[1] + v * back[1]];
            let (r, long) = (dice.within(0.5, 1.2), dice.within(1.0, 5.0));
            let strength = dice.within(0.03, 0.25);
            layer.dab(at, 3.0 * r * long, |dx, dy, _, adds| {
                let (p, q) = ((dx * t[0] + dy * t[1]) / (r * long), (dx * back[0] + dy * back[1]) / r);
                let g = (strength * (-(p * p + q * q)).exp()) as f32;
                for a in adds.iter_mut() {
                    *a += g;
                }
            });
        }
    }
}
