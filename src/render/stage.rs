//! What does not move in a scene: background, vessels, lamp.

use super::backdrop::{Backdrop, Outline, Pad, Vessel};
use super::body::Light;
use super::dice::Dice;
use super::scene::{Scene, Vessels};
use crate::records::Lighting;

/// What does not move in a scene.
pub(super) struct Stage {
    /// Background.
    pub backdrop: Backdrop,
    /// Walls.
    pub vessels: Vec<Vessel>,
    /// Lamp.
    pub light: Light,
    /// Boxes no fish may lie on.
    pub taken: Vec<[f64; 4]>,
    /// Ruler: where its first mark is, its turn, its millimetres.
    pub ruler: Option<([f64; 2], f64, usize)>,
}

impl Scene {
    /// Decides everything that does not move: background, vessels, light.
    pub(super) fn stage(&self, dice: &mut Dice, width: f64, height: f64) -> Stage {
        let style = &self.style;
        let mut backdrop = Backdrop::draw(dice, self.lighting);
        backdrop.base = backdrop.base.map(|b| b * style.exposure);
        if let Some(share) = style.pad_share {
            let aspect = dice.within(0.7, 1.5);
            let area = share * width * height;
            let half = [0.5 * (area * aspect).sqrt(), 0.5 * (area / aspect).sqrt()];
            let half = [half[0].min(0.49 * width), half[1].min(0.49 * height)];
            let turn = if dice.chance(0.5) { 0.04 } else { 0.5 } * dice.normal();
            let centre = [0, 1].map(|k| {
                let size = [width, height][k];
                dice.within((0.9 * half[k]).min(0.5 * size), (size - 0.9 * half[k]).max(0.5 * size))
            });
            backdrop.pad = Some(Pad { window: Outline::Straight { centre, half, turn } });
        }
        let wall = dice.within(0.7, 1.8) * self.px_per_mm;
        let vessels = vessels(dice, style.vessels, width, height, wall, backdrop.pad.as_ref());
        let height_angle = dice.within(0.35, 1.2);
        let turn = dice.angle();
        let warm = dice.within(-0.08, 0.10);
        let light = Light {
            kind: self.lighting,
            half_angle: style.half_angle,
            from: [turn.cos() * height_angle.cos(), turn.sin() * height_angle.cos(), height_angle.sin()],
            colour: [1.0 + warm, 1.0, 1.0 - warm].map(|c| c * dice.within(0.85, 1.0)),
            fill: dice.within(0.02, 0.22),
            scatter: if self.lighting == Lighting::Dark {
                dice.log_within(1.2, 4.5)
            } else {
                dice.log_within(0.5, 2.0)
            },
            silver: dice.within(0.25, 0.95),
        };
        let mut taken = Vec::new();
        let ruler = style.ruler.then(|| {
            let mm = ((0.8 * width / self.px_per_mm) as usize).saturating_sub(5).clamp(5, 60);
            let top = dice.chance(0.5);
            let body = 14.0 * self.px_per_mm;
            let y = if top { 0.2 * body } else { height - 0.3 * body };
            let bounds = if top { [0.0, 0.0, width, 1.25 * body] } else { [0.0, y - 8.0, width, height] };
            taken.push(bounds);
            ([dice.within(0.03, 0.12) * width + 2.0 * self.px_per_mm, y], 0.004 * dice.normal(), mm)
        });
        Stage { backdrop, vessels, light, taken, ruler }
    }
}

/// Vessels of a plan in the frame.
fn vessels(
    dice: &mut Dice,
    plan: Vessels,
    width: f64,
    height: f64,
    wall: f64,
    pad: Option<&Pad>,
) -> Vec<Vessel> {
    let half = 0.5 * width.min(height);
    let middle = pad.map_or([0.5 * width, 0.5 * height], |p| {
        let b = p.window.bounds();
        [0.5 * (b[0] + b[2]), 0.5 * (b[1] + b[3])]
    });
    let round = |centre: [f64; 2], radius: f64| Vessel { shape: Outline::Round { centre, radius }, wall };
    match plan {
        Vessels::None => Vec::new(),
        Vessels::Dish(size) => {
            let radius = size * half;
            let slack = (radius - half).abs() * 0.7;
            let centre = [0, 1].map(|k| middle[k] + dice.within(-slack, slack));
            vec![round(centre, radius)]
        }
        Vessels::Dishes(n) => {
            let columns = (n as f64).sqrt().ceil() as usize;
            let rows = n.div_ceil(columns);
            let pitch = (width / columns as f64).min(height / rows as f64);
            let radius = 0.5 * pitch * dice.within(0.80, 0.93) - wall;
            (0..n)
                .map(|i| {
                    let slack = 0.5 * pitch - radius - wall;
                    let cx =
                        width * ((i % columns) as f64 + 0.5) / columns as f64 + dice.within(-slack, slack);
                    let cy = height * ((i / columns) as f64 + 0.5) / rows as f64 + dice.within(-slack, slack);
                    round([cx, cy], radius)
                })
                .collect()
        }
        Vessels::Wells(columns, rows) => {
            let pitch = (width / (columns as f64 + 0.1)).min(height / (rows as f64 + 0.1));
            let radius = pitch * dice.within(0.40, 0.45);
            let (x0, y0) = (
                0.5 * width - 0.5 * pitch * (columns as f64 - 1.0),
                0.5 * height - 0.5 * pitch * (rows as f64 - 1.0),
            );
            (0..columns * rows)
                .map(|i| {
                    round([x0 + pitch * (i % columns) as f64, y0 + pitch * (i / columns) as f64], radius)
                })
                .collect()
        }
        Vessels::Tray(parts) => {
            let turn = 0.02 * dice.normal();
            let inner = [0.47 * width, 0.47 * height];
            let each = inner[0] / parts as f64;
            (0..parts)
                .map(|i| {
                    let x = middle[0] - inner[0] + each * (2.0 * i as f64 + 1.0);
                    Vessel {
                        shape: Outline::Straight {
                            centre: [x, middle[1] + (x - middle[0]) * turn],
                            half: [each - 0.8 * wall, inner[1]],
                            turn,
                        },
                        wall,
                    }
                })
                .collect()
        }
    }
}
