//! What lies behind the fish: the light pad, dark dish or pale tray, and the walls of vessels.

use super::canvas::{Canvas, Rgb};
use super::dice::{Coarse, Dice, Field, Texture, Wobble, ramp};
use crate::records::Lighting;

/// A vessel on the picture, in pixels.
#[derive(Debug, Clone)]
pub(super) struct Vessel {
    /// Its inner outline.
    pub shape: Outline,
    /// Thickness of the wall.
    pub wall: f64,
}

/// Inner outline of a vessel.
#[derive(Debug, Clone)]
pub(super) enum Outline {
    /// A round dish or well.
    Round {
        /// Centre.
        centre: [f64; 2],
        /// Radius.
        radius: f64,
    },
    /// A straight-walled tray or compartment.
    Straight {
        /// Centre.
        centre: [f64; 2],
        /// Half width and half height.
        half: [f64; 2],
        /// Turn, radians.
        turn: f64,
    },
}

impl Outline {
    /// Distance from the wall: negative inside, positive outside.
    pub fn distance(&self, x: f64, y: f64) -> f64 {
        match self {
            Self::Round { centre, radius } => (x - centre[0]).hypot(y - centre[1]) - radius,
            Self::Straight { centre, half, turn } => {
                let (sin, cos) = turn.sin_cos();
                let (dx, dy) = (x - centre[0], y - centre[1]);
                let p = (dx * cos + dy * sin).abs() - half[0];
                let q = (dy * cos - dx * sin).abs() - half[1];
                p.max(0.0).hypot(q.max(0.0)) + p.max(q).min(0.0)
            }
        }
    }

    /// The box around it: x0, y0, x1, y1.
    pub fn bounds(&self) -> [f64; 4] {
        let (c, rx, ry) = match self {
            Self::Round { centre, radius } => (centre, *radius, *radius),
            Self::Straight { centre, half, turn } => {
                let (sin, cos) = (turn.sin().abs(), turn.cos().abs());
                (centre, half[0] * cos + half[1] * sin, half[0] * sin + half[1] * cos)
            }
        };
        [c[0] - rx, c[1] - ry, c[0] + rx, c[1] + ry]
    }
}

/// A lit window in an otherwise black frame.
#[derive(Debug, Clone)]
pub(super) struct Pad {
    /// Its outline.
    pub window: Outline,
}

/// The background.
#[derive(Debug, Clone)]
pub(super) struct Backdrop {
    /// How it is lit.
    pub kind: Lighting,
    /// Its light, red, green and blue.
    pub base: [f64; 3],
    /// Slow changes of the light over the frame, share.
    pub uneven: f64,
    /// Fine texture of pad, glass or tray, share.
    pub texture: f64,
    /// Moiré of an LED pad: amplitude (share) and period in pixels.
    pub moire: (f64, f64),
    /// The lit window, when it does not fill the frame.
    pub pad: Option<Pad>,
}

impl Backdrop {
    /// A background for `kind`, drawn wide.
    pub fn draw(dice: &mut Dice, kind: Lighting) -> Self {
        let cast = dice.within(-0.10, 0.10);
        let green = dice.within(-0.02, 0.02);
        let tint = |level: f64| [level * (1.0 + cast), level * (1.0 + green), level * (1.0 - cast)];
        let base = match kind {
            Lighting::Transmitted => tint(dice.within(0.45, 0.88)),
            Lighting::Dark => {
                let level = dice.log_within(0.004, 0.05);
                [dice.within(0.6, 1.2), dice.within(0.8, 1.1), dice.within(0.8, 1.5)].map(|t| t * level)
            }
            Lighting::Pale => tint(dice.within(0.35, 0.75)),
        };
        Self {
            kind,
            base,
            uneven: dice.within(0.01, 0.09),
            texture: dice.log_within(0.001, 0.012),
            moire: if dice.chance(0.2) {
                (dice.log_within(0.002, 0.012), dice.log_within(4.0, 40.0))
            } else {
                (0.0, 10.0)
            },
            pad: None,
        }
    }

    /// Paints the background.
    pub fn paint(&self, dice: &mut Dice, width: usize, height: usize) -> Canvas {
        let mut canvas = Canvas::new(width, height, [0.0; 3]);
        let size = width.max(height) as f64;
        let slow = Field::new(dice, 0.45 * size);
        let patches = Field::new(dice, 0.06 * size);
        let fine = Texture::new(dice, 1.5, 8.0);
        let (tilt_x, tilt_y) = (dice.normal() * self.uneven, dice.normal() * self.uneven);
        let turn = dice.angle();
        let (mx, my) = (turn.cos() / self.moire.1, turn.sin() / self.moire.1);
        let dark = self.kind == Lighting::Dark;
        let texture = if dark { 8.0 * self.texture } else { self.texture };
        let bench = dice.log_within(0.0008, 0.25);
        let bench_grain = Texture::new(dice, 4.0, 25.0);
        let bezel = dice.within(0.0, 30.0);
        let edge = dice.within(1.5, 7.0);
        let glow = dice.within(10.0, 60.0);
        let coarse = Coarse::sample(width, height, |x, y| {
            1.0 + tilt_x * (2.0 * x / width as f64 - 1.0)
                + tilt_y * (2.0 * y / height as f64 - 1.0)
                + self.uneven * slow.at(x, y)
                + 0.8 * texture * patches.at(x, y)
        });
        canvas.paint_all(|x, y, pixel| {
            let (column, row) = (x as usize, y as usize);
            let mut light =
                f64::from(coarse.at(column, row)) + 0.6 * texture * f64::from(fine.at(column, row));
            if self.moire.0 > 0.0 {
                let t = std::f64::consts::TAU;
                light += self.moire.0 * ((t * (mx * x + my * y)).sin() + (t * (my * x - mx * y)).sin());
            }
            let mut lit = 1.0;
            let mut around = 0.0;
            if let Some(pad) = &self.pad {
                let d = pad.window.distance(x, y);
                lit = 1.0 - ramp(-edge, edge, d);
                // The pad's frame catches a little light; the bench beyond it is nearly black, or lit by the room.
                around = bench * (1.0 + 0.7 * f64::from(bench_grain.at(column, row))).max(0.05)
                    + 0.02 * (-(d.max(0.0)) / glow).exp()
                    + if d > 0.0 && d < bezel { 0.008 } else { 0.0 };
            }
            for c in 0..3 {
                pixel[c] = (self.base[c] * light.max(0.0) * lit + around * (1.0 - lit)) as f32;
            }
        });
        canvas
    }
}

/// Profile of a wall across its thickness: places (share of the wall), widths, and light factors of
/// its dark and bright lines.
struct Profile {
    lines: Vec<(f64, f64, f64)>,
    meniscus: (f64, f64),
    beyond: f64,
}

impl Profile {
    fn draw(dice: &mut Dice, kind: Lighting, px_per_mm: f64) -> Self {
        let sign = if kind == Lighting::Dark { 1.0 } else { -1.0 };
        let sharp = dice.within(0.06, 0.16);
        let mut lines = vec![
            (0.0, sharp * dice.within(0.7, 1.4), sign * dice.within(0.35, 0.95)),
            (dice.within(0.25, 0.6), dice.within(0.08, 0.25), -sign * dice.within(0.0, 0.25)),
            (1.0, sharp * dice.within(0.7, 1.6), sign * dice.within(0.25, 0.9)),
        ];
        if dice.chance(0.4) {
            lines.push((dice.within(1.3, 2.2), sharp, sign * dice.within(0.1, 0.4)));
        }
        Self {
            lines,
            meniscus: (dice.within(0.3, 1.4) * px_per_mm, dice.within(0.0, 0.22)),
            beyond: dice.within(0.82, 1.0),
        }
    }

    /// Light factor (or, in a dark dish, added light) at `d` pixels outside the inner face.
    fn at(&self, d: f64, wall: f64) -> f64 {
        let t = d / wall;
        self.lines.iter().map(|(at, w, depth)| depth * (-((t - at) / w).powi(2)).exp()).sum()
    }
}

/// Paints the vessels' walls on the canvas. `light` is the colour walls reflect in a dark dish.
pub(super) fn paint_walls(
    canvas: &mut Canvas,
    dice: &mut Dice,
    vessels: &[Vessel],
    kind: Lighting,
    px_per_mm: f64,
    light: [f64; 3],
) {
    // Vessels of one frame are of one make.
    let profile = Profile::draw(dice, kind, px_per_mm);
    let many = vessels.len() > 1;
    for vessel in vessels {
        let around = Wobble::around(dice);
        let wave = dice.within(0.0, 0.5);
        let b = vessel.shape.bounds();
        let grow = if many { 2.5 * vessel.wall } else { f64::from(u16::MAX) };
        let bounds = [b[0] - grow, b[1] - grow, b[2] + grow, b[3] + grow];
        let middle = [0.5 * (b[0] + b[2]), 0.5 * (b[1] + b[3])];
        let reach = 3.0 * vessel.wall.max(profile.meniscus.0) + 3.0;
        canvas.paint(bounds, |x, y, pixel: &mut Rgb| {
            let d = vessel.shape.distance(x, y);
            if d < -reach {
                return;
            }
            if d > reach {
                if kind != Lighting::Dark && !many {
                    for p in pixel.iter_mut() {
                        *p *= profile.beyond as f32;
                    }
                }
                return;
            }
            let angle = (y - middle[1]).atan2(x - middle[0]) / std::f64::consts::TAU;
            let strength = (1.0 + wave * around.at(angle)).max(0.1);
            let line = profile.at(d, vessel.wall) * strength;
            let (reach, depth) = profile.meniscus;
            let meniscus = if d < 0.0 { depth * (d / reach).exp() } else { 0.0 };
            let outside = if d > 0.0 && kind != Lighting::Dark && !many {
                1.0 - (1.0 - profile.beyond) * ramp(0.0, vessel.wall, d)
            } else {
                1.0
            };
            for c in 0..3 {
                let value = if kind == Lighting::Dark {
                    f64::from(pixel[c]) + 0.4 * light[c] * (line.max(-0.02) + 0.25 * meniscus).max(0.0)
                } else {
                    let factor = (1.0 + line).clamp(0.03, 1.35) * (1.0 - meniscus) * outside;
                    f64::from(pixel[c]) * factor
                };
                pixel[c] = value.max(0.0) as f32;
            }
        });
    }
}
