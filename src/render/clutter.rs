//! Everything in a photograph that is not a fish.

use super::body::Light;
use super::canvas::{Canvas, Layer};
use super::dice::{Dice, Field, Wobble, ramp, smooth};
use super::optics::{through_drop, through_gas};
use crate::records::Lighting;

/// A kind of thing that is not a fish.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Thing {
    /// Air bubble.
    Bubble,
    /// Egg with an embryo whose eyes show.
    EyedEgg,
    /// Empty egg shell.
    Shell,
    /// Dead, cloudy egg.
    DeadEgg,
    /// Brine shrimp.
    Shrimp,
    /// Flake of feed.
    Flake,
    /// Fibre.
    Fibre,
    /// Speck of clay or dirt.
    Speck,
    /// Highlight of a lamp on the water.
    Glint,
    /// Drop of condensation on the lid.
    Drop,
}

impl Thing {
    /// The word in the truth.
    pub fn name(self) -> &'static str {
        match self {
            Self::Bubble => "bubble",
            Self::EyedEgg => "egg",
            Self::Shell => "shell",
            Self::DeadEgg => "dead egg",
            Self::Shrimp => "shrimp",
            Self::Flake => "flake",
            Self::Fibre => "fibre",
            Self::Speck => "speck",
            Self::Glint => "glint",
            Self::Drop => "drop",
        }
    }

    /// Whether it lies above the fish (floats, or is on the lid).
    pub fn above(self, dice: &mut Dice) -> bool {
        match self {
            Self::Glint | Self::Drop => true,
            Self::Bubble | Self::Fibre => dice.chance(0.5),
            _ => false,
        }
    }
}

/// Paints one `thing` at `at` (pixels).
pub(super) fn paint(
    canvas: &mut Canvas,
    dice: &mut Dice,
    thing: Thing,
    at: [f64; 2],
    light: &Light,
    px_per_mm: f64,
) {
    let mm = px_per_mm;
    match thing {
        Thing::Bubble => {
            let radius = dice.log_within(0.12, 1.2) * mm;
            bubble(canvas, dice, at, radius, light);
        }
        Thing::EyedEgg => {
            let radius = dice.within(0.55, 1.2) * mm;
            egg(canvas, dice, at, radius, light, true);
        }
        Thing::Shell => {
            let radius = dice.within(0.5, 1.1) * mm;
            shell(canvas, dice, at, radius, light);
        }
        Thing::DeadEgg => {
            let radius = dice.within(0.5, 1.1) * mm;
            dead_egg(canvas, dice, at, radius, light);
        }
        Thing::Shrimp => {
            let half = dice.within(0.25, 0.55) * mm;
            shrimp(canvas, dice, at, half, light);
        }
        Thing::Flake => {
            let radius = dice.log_within(0.06, 0.7) * mm;
            flake(canvas, dice, at, radius, light);
        }
        Thing::Fibre => fibre(canvas, dice, at, mm, light),
        Thing::Speck => {
            let radius = dice.log_within(0.012, 0.07) * mm;
            flake(canvas, dice, at, radius.max(0.5), light);
        }
        Thing::Glint => glint(canvas, dice, at, mm, light),
        Thing::Drop => drop(canvas, dice, at, mm),
    }
}

/// A layer around `at`, painted by `f(dx, dy)`, which gives the light passed and added.
fn stamp(
    canvas: &mut Canvas,
    at: [f64; 2],
    radius: f64,
    blur: f64,
    mut f: impl FnMut(f64, f64) -> ([f64; 3], [f64; 3]),
) {
    let bounds = [at[0] - radius, at[1] - radius, at[0] + radius, at[1] + radius];
    let Some(mut layer) = Layer::new(bounds, 3.0 * blur + 1.0, canvas.width, canvas.height) else { return };
    layer.dab(at, radius + 1.0, |dx, dy, passes, adds| {
        let (p, a) = f(dx, dy);
        *passes = p.map(|v| v as f32);
        *adds = a.map(|v| v as f32);
    });
    layer.blur(blur);
    layer.apply(canvas);
}

/// Share of a pixel within a disc of `radius` at distance `d` from its centre.
fn disc(radius: f64, d: f64) -> f64 {
    (radius - d + 0.5).clamp(0.0, 1.0)
}

fn mixed(cover: f64, value: f64) -> f64 {
    1.0 - cover + cover * value
}

/// An air bubble in the water: the optics of the gas bladder without a fish around it.
pub(super) fn bubble(canvas: &mut Canvas, dice: &mut Dice, at: [f64; 2], radius: f64, light: &Light) {
    let blur = if dice.chance(0.4) { dice.within(0.0, 0.2) * radius } else { 0.0 };
    let lamp = light.half_angle * dice.within(0.8, 1.1);
    let fill = light.fill * dice.within(0.2, 0.8);
    let glow = dice.within(0.2, 1.0);
    stamp(canvas, at, radius + 1.0, blur, |dx, dy| {
        let d = dx.hypot(dy);
        let cover = disc(radius, d);
        let rho = (d / radius).min(0.999);
        let clear = fill + (1.0 - fill) * through_gas(rho / (1.0 - rho * rho).sqrt(), lamp);
        let pass = mixed(cover, clear);
        let mut add = [0.0; 3];
        if light.kind != Lighting::Transmitted {
            let n = [dx / radius, dy / radius, (1.0 - rho * rho).sqrt()];
            let f = light.from;
            let facing = (n[0] * f[0] + n[1] * f[1] + n[2] * f[2]).max(0.0);
            // Front highlight, and its dimmer image at the back wall.
            let behind = (-n[0] * f[0] - n[1] * f[1] + n[2] * f[2]).max(0.0);
            let shine = 0.9 * facing.powi(40) + 0.35 * behind.powi(14) + 0.10 * rho.powi(6);
            add = light.colour.map(|c| cover * glow * c * shine);
        }
        ([pass; 3], add)
    });
}

/// An egg: a shell, fluid, yolk with its oil, and when `eyed` a coiled embryo with two eyes.
fn egg(canvas: &mut Canvas, dice: &mut Dice, at: [f64; 2], radius: f64, light: &Light, eyed: bool) {
    let turn = dice.angle();
    let (sin, cos) = turn.sin_cos();
    let yolk = radius * dice.within(0.50, 0.68);
    let yolk_at = [radius * dice.within(-0.15, 0.15), radius * dice.within(0.0, 0.25)];
    let amber = dice.within(0.05, 0.4);
    let shell = dice.within(0.08, 0.5);
    let chorion = dice.within(0.2, 2.0);
    let eye = radius * dice.within(0.09, 0.16);
    let gap = radius * dice.within(0.16, 0.34);
    let eye_at = [radius * dice.within(-0.2, 0.2), -radius * dice.within(0.25, 0.5)];
    let black = dice.within(1.2, 3.0);
    let body = dice.within(0.05, 0.3);
    let ring = radius * dice.within(0.60, 0.78);
    let oil = radius * dice.within(0.15, 0.35);
    let grain = Field::new(dice, radius * 0.12 + 1.0);
    let white = dice.within(0.1, 0.5);
    stamp(canvas, at, radius + 1.0, 0.0, |dx, dy| {
        let (x, y) = (dx * cos + dy * sin, dy * cos - dx * sin);
        let d = dx.hypot(dy);
        let cover = disc(radius, d);
        if cover <= 0.0 {
            return ([1.0; 3], [0.0; 3]);
        }
        let rho = (d / radius).min(0.995);
        let path = 1.0 / (1.0 - rho * rho + 0.01).sqrt();
        let rim = (-((radius - d) / (0.035 * radius).max(0.8)).powi(2)).exp();
        let mut od = [shell * (0.10 * path + chorion * rim); 3];
        let yd = (x - yolk_at[0]).hypot(y - yolk_at[1]) / yolk;
        let in_yolk = (1.0 - yd * yd).max(0.0).sqrt();
        let rough = 1.0 + 0.3 * grain.rough(x, y);
        for (o, t) in od.iter_mut().zip([0.4, 0.8, 1.8]) {
            *o += amber * t * in_yolk * rough + 0.08 * ramp(0.9, 1.0, yd) * (1.0 - ramp(1.0, 1.08, yd));
        }
        let od_oil = (x - yolk_at[0]).hypot(y - yolk_at[1] - 0.3 * yolk) / oil;
        let drop = if od_oil < 0.999 {
            through_drop(od_oil / (1.0 - od_oil * od_oil).sqrt(), 1.09, light.half_angle)
        } else {
            1.0
        };
        if eyed {
            // Embryo around the yolk.
            let band = ((d - ring) / (0.13 * radius)).powi(2);
            let angle = (-y).atan2(x);
            let present = ramp(-2.9, -2.0, angle) * (1.0 - ramp(2.2, 3.0, angle));
            for (o, t) in od.iter_mut().zip([0.7, 1.0, 1.5]) {
                *o += body * t * (-band).exp() * present;
            }
            for side in [-0.5, 0.5] {
                let e = (x - eye_at[0] - side * gap).hypot(y - eye_at[1]);
                let c = disc(eye, e);
                for o in &mut od {
                    *o += c * black;
                }
            }
        }
        let pass = od.map(|o| mixed(cover, (-o).exp() * (0.25 + 0.75 * drop)));
        let mut add = [0.0; 3];
        if light.kind == Lighting::Dark {
            let glow = white * (0.15 * path.min(4.0) / 4.0 + 0.3 * in_yolk);
            add = std::array::from_fn(|c| cover * light.colour[c] * glow * (-0.6 * od[c]).exp());
        }
        (pass, add)
    });
}

/// An empty shell: a thin, dented, open ring.
fn shell(canvas: &mut Canvas, dice: &mut Dice, at: [f64; 2], radius: f64, light: &Light) {
    let dent = Wobble::around(dice);
    let (deep, open, turn) = (dice.within(0.01, 0.09), dice.within(0.0, 1.3), dice.angle());
    let strength = dice.within(0.06, 0.4);
    let squash = dice.within(0.75, 1.0);
    let width = dice.within(0.02, 0.05) * radius + 0.7;
    stamp(canvas, at, radius * 1.35, 0.0, |dx, dy| {
        let (sin, cos) = turn.sin_cos();
        let (x, y) = (dx * cos + dy * sin, (dy * cos - dx * sin) / squash);
        let angle = y.atan2(x);
        let r = radius * (1.0 + deep * dent.at(angle / std::f64::consts::TAU));
        let d = x.hypot(y);
        let mouth = if angle.abs() < 0.5 * open { 0.0 } else { 1.0 };
        let line = (-((d - r) / width).powi(2)).exp() * mouth * strength;
        let film = 0.05 * strength * disc(r, d);
        let pass = [1.0 - (line + film).min(0.9); 3];
        let add = if light.kind == Lighting::Dark {
            light.colour.map(|c| 0.3 * c * (line + 0.5 * film))
        } else {
            [0.0; 3]
        };
        (pass, add)
    });
}

/// A dead egg: opaque and cloudy; dark against the light, white under it.
fn dead_egg(canvas: &mut Canvas, dice: &mut Dice, at: [f64; 2], radius: f64, light: &Light) {
    let grain = Field::new(dice, radius * 0.35);
    let density = dice.within(0.5, 2.2);
    let fuzz = dice.within(0.01, 0.12) * radius;
    let ragged = Wobble::around(dice);
    stamp(canvas, at, radius * 1.25, 0.5, |dx, dy| {
        let d = dx.hypot(dy);
        let angle = dy.atan2(dx) / std::f64::consts::TAU;
        let cover = 1.0 - ramp(radius - 1.0, radius + 1.0, d + fuzz * ragged.at(angle));
        let core = (1.0 - (d / radius).powi(2)).max(0.0).sqrt();
        let od = density * (0.35 + 0.65 * core) * (1.0 + 0.5 * grain.rough(dx, dy));
        let white = 1.0 - (-od).exp();
        let pass = [0.9, 1.0, 1.15].map(|t| mixed(cover, (-od.max(0.0) * t).exp()));
        let glow = match light.kind {
            Lighting::Transmitted => 0.02,
            Lighting::Dark => 0.55,
            Lighting::Pale => 0.5,
        };
        (pass, light.colour.map(|c| cover * c * glow * white))
    });
}

/// A brine shrimp nauplius: an orange-brown drop with paired antennae.
fn shrimp(canvas: &mut Canvas, dice: &mut Dice, at: [f64; 2], half: f64, light: &Light) {
    let turn = dice.angle();
    let (sin, cos) = turn.sin_cos();
    let density = dice.within(0.15, 0.9);
    let sweep = dice.within(0.3, 1.2);
    let reach = half * dice.within(0.7, 1.1);
    let thin = (0.06 * half).max(0.6);
    stamp(canvas, at, 1.6 * half + 2.0, 0.0, |dx, dy| {
        let (x, y) = (dx * cos + dy * sin, dy * cos - dx * sin);
        let t = x / half;
        let width = if t.abs() < 1.0 { 0.42 * (1.0 - t * t).sqrt() * (1.0 - 0.35 * t) } else { 0.0 };
        let cover = (width * half - y.abs() + 0.5).clamp(0.0, 1.0) * f64::from(u8::from(width > 0.0));
        let mut od = cover * density * (0.5 + 0.5 * (1.0 - (y / (width * half + 1e-3)).powi(2)).max(0.0));
        // Antennae: two limbs from the front third, swept back.
        let limb_x = x + 0.45 * half;
        let along = (y.abs() * sweep.sin() + limb_x * sweep.cos()).clamp(0.0, reach);
        let off = (y.abs() - along * sweep.sin()).hypot(limb_x - along * sweep.cos());
        od += 0.5 * density * (-(off / thin).powi(2)).exp();
        let eye = (x + 0.75 * half).hypot(y);
        od += disc(0.08 * half, eye);
        let pass = [0.5, 1.0, 1.9].map(|c| (-od * c).exp());
        let add = if light.kind == Lighting::Dark {
            let w = 0.3 * (1.0 - (-od).exp());
            [light.colour[0] * w, light.colour[1] * w * 0.6, light.colour[2] * w * 0.35]
        } else {
            [0.0; 3]
        };
        (pass, add)
    });
}

/// An irregular opaque scrap: feed, dirt or clay.
fn flake(canvas: &mut Canvas, dice: &mut Dice, at: [f64; 2], radius: f64, light: &Light) {
    let ragged = Wobble::around(dice);
    let (sin, cos) = dice.angle().sin_cos();
    let long = dice.within(1.0, 2.4);
    let density = dice.log_within(0.15, 2.5);
    let colour = [dice.within(0.5, 1.0), dice.within(0.8, 1.1), dice.within(1.0, 2.0)];
    let grain = Field::new(dice, 0.4 * radius + 1.0);
    let blur = if dice.chance(0.3) { dice.within(0.3, 1.5) } else { 0.0 };
    stamp(canvas, at, 1.6 * radius * long + 1.0, blur, |dx, dy| {
        let (x, y) = ((dx * cos + dy * sin) / long, dy * cos - dx * sin);
        let angle = y.atan2(x) / std::f64::consts::TAU;
        let r = radius * (1.0 + 0.22 * ragged.at(angle)).max(0.2);
        let cover = disc(r, x.hypot(y)) * (1.0 + 0.4 * grain.rough(dx, dy));
        let od = cover.max(0.0) * density;
        let pass = colour.map(|c| (-od * c).exp());
        let white = 1.0 - (-od).exp();
        let glow = if light.kind == Lighting::Dark { 0.25 } else { 0.02 };
        (pass, std::array::from_fn(|c| light.colour[c] * glow * white / (0.4 + colour[c])))
    });
}

/// A fibre: a long, thin, wavy thread.
fn fibre(canvas: &mut Canvas, dice: &mut Dice, at: [f64; 2], mm: f64, light: &Light) {
    let length = dice.log_within(0.8, 9.0) * mm;
    let width = (dice.within(0.008, 0.03) * mm).max(0.5);
    let bend = Wobble::new(dice, 2.5);
    let curl = dice.within(0.2, 2.5);
    let mut heading = dice.angle();
    let density = dice.within(0.1, 1.2);
    let n = (length / 1.5).max(4.0) as usize;
    let mut p = at;
    let mut points = vec![p];
    for i in 0..n {
        heading += curl * bend.at(i as f64 / n as f64) * 1.5 / n as f64 * 4.0;
        p = [p[0] + 1.5 * heading.cos(), p[1] + 1.5 * heading.sin()];
        points.push(p);
    }
    let add = if light.kind == Lighting::Dark { light.colour.map(|c| 0.35 * c) } else { [0.0; 3] };
    stroke(canvas, &points, width, |pixel, cover| {
        for c in 0..3 {
            let pass = mixed(cover, (-density).exp());
            pixel[c] = pixel[c] * pass as f32 + (add[c] * cover * density) as f32;
        }
    });
}

/// A lamp's reflection on the water: a bright, often clipped patch or streak.
fn glint(canvas: &mut Canvas, dice: &mut Dice, at: [f64; 2], mm: f64, light: &Light) {
    let radius = dice.log_within(0.04, 0.6) * mm;
    let long = dice.log_within(1.0, 8.0);
    let (sin, cos) = dice.angle().sin_cos();
    let wave = Wobble::new(dice, 1.2);
    let strength = dice.log_within(0.2, 3.0);
    stamp(canvas, at, radius * (long + 1.5), 0.6, |dx, dy| {
        let (x, y) = ((dx * cos + dy * sin) / long, dy * cos - dx * sin);
        let y = y + 0.5 * radius * wave.at(0.5 + 0.5 * x / radius);
        let g = strength * smooth(1.6 - x.hypot(y) / radius * 1.6);
        ([1.0; 3], light.colour.map(|c| c * g))
    });
}

/// A drop of condensation on the lid: a soft lens, brighter and darker at its sides.
fn drop(canvas: &mut Canvas, dice: &mut Dice, at: [f64; 2], mm: f64) {
    let radius = dice.log_within(0.15, 0.9) * mm;
    let strength = dice.within(0.03, 0.2);
    let turn = dice.angle();
    stamp(canvas, at, radius + 1.0, 0.12 * radius, |dx, dy| {
        let rho = dx.hypot(dy) / radius;
        let side = (dx * turn.cos() + dy * turn.sin()) / radius;
        let inside = 1.0 - ramp(0.93, 1.0, rho);
        let rim = (-((rho - 0.92) / 0.08).powi(2)).exp();
        ([1.0 + strength * (inside * 0.6 * side - rim); 3], [0.0; 3])
    });
}

/// Draws a line through `points`, `width` pixels wide, with soft edges: `f` gets each pixel and how much of
/// it the line covers.
pub(super) fn stroke(
    canvas: &mut Canvas,
    points: &[[f64; 2]],
    width: f64,
    mut f: impl FnMut(&mut [f32; 3], f64),
) {
    let r = 0.5 * width + 1.0;
    let mut b = [f64::MAX, f64::MAX, f64::MIN, f64::MIN];
    for p in points {
        b = [b[0].min(p[0] - r), b[1].min(p[1] - r), b[2].max(p[0] + r), b[3].max(p[1] + r)];
    }
    let Some(layer) = Layer::new(b, 0.0, canvas.width, canvas.height) else { return };
    let mut cover = vec![0.0f64; layer.width * layer.height];
    for w in points.windows(2) {
        let (p, q) = (w[0], w[1]);
        let (dx, dy) = (q[0] - p[0], q[1] - p[1]);
        let l2 = (dx * dx + dy * dy).max(1e-9);
        let x0 = ((p[0].min(q[0]) - r) as i64 - layer.x0).clamp(0, layer.width as i64);
        let x1 = ((p[0].max(q[0]) + r).ceil() as i64 - layer.x0 + 1).clamp(0, layer.width as i64);
        let y0 = ((p[1].min(q[1]) - r) as i64 - layer.y0).clamp(0, layer.height as i64);
        let y1 = ((p[1].max(q[1]) + r).ceil() as i64 - layer.y0 + 1).clamp(0, layer.height as i64);
        for y in y0..y1 {
            for x in x0..x1 {
                let (fx, fy) = ((x + layer.x0) as f64 - p[0], (y + layer.y0) as f64 - p[1]);
                let t = ((fx * dx + fy * dy) / l2).clamp(0.0, 1.0);
                let d = (fx - t * dx).hypot(fy - t * dy);
                let c = (0.5 * width - d + 0.5).clamp(0.0, width.min(1.0));
                let at = &mut cover[y as usize * layer.width + x as usize];
                *at = at.max(c);
            }
        }
    }
    for y in 0..layer.height {
        for x in 0..layer.width {
            let c = cover[y * layer.width + x];
            let (cx, cy) = (layer.x0 + x as i64, layer.y0 + y as i64);
            if c > 0.0 && cx >= 0 && cy >= 0 && cx < canvas.width as i64 && cy < canvas.height as i64 {
                f(&mut canvas.data[cy as usize * canvas.width + cx as usize], c);
            }
        }
    }
}
