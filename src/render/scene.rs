//! A whole photograph: background, vessels, fish and clutter under one lamp and one camera.

use super::anatomy::{Anatomy, Bladder, Look};
use super::backdrop::{Backdrop, Outline, Pad, Vessel, paint_walls};
use super::body::{Body, Light};
use super::camera::Camera;
use super::canvas::Canvas;
use super::clutter::{self, Thing};
use super::dice::Dice;
use super::layout::{Guest, Habits, Placed, Room, place};
use super::marks;
use super::tilt::Tilt;
use super::{Rendered, TrueFish, Truth};
use crate::records::{Lighting, View};

/// A larva asked for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fry {
    /// Total length, snout tip to the end of the tail fin.
    pub length_mm: f64,
    /// Whether its bladder holds gas.
    pub inflated: bool,
}

/// How the vessels stand in the frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Vessels {
    /// No wall in the frame.
    None,
    /// One round dish of which a part, or all, is in the frame; its radius in half frame widths.
    Dish(f64),
    /// Several small round dishes.
    Dishes(usize),
    /// A well plate with so many columns and rows.
    Wells(usize, usize),
    /// A straight-walled tray, in so many compartments.
    Tray(usize),
}

/// A photograph to draw.
#[derive(Debug, Clone)]
pub struct Scene {
    /// How it is lit.
    pub lighting: Lighting,
    /// Pixels per millimetre at the centre of the frame.
    pub px_per_mm: f64,
    /// The fish to draw.
    pub fry: Vec<Fry>,
    /// Age in days post hatch: shapes anatomy, yolk, pigment and the bladder's size.
    pub age_dph: f64,
    /// Width and height in pixels; `None` for as large as the fish need.
    pub frame: Option<[u32; 2]>,
    /// Everything chance decides follows from it.
    pub seed: u64,
    pub(super) style: Style,
}

/// What the classes of photographs differ in.
#[derive(Debug, Clone)]
#[allow(clippy::struct_excessive_bools, reason = "each is an object that is in the frame or not")]
pub(super) struct Style {
    pub vessels: Vessels,
    /// Share of the frame the light pad fills; `None` for all of it.
    pub pad_share: Option<f64>,
    pub habits: Habits,
    pub look: Look,
    pub camera: Camera,
    /// Numbers of things, each drawn up to the count given.
    pub things: Vec<(Thing, usize)>,
    /// Bubbles beside or over fish.
    pub bubbles_on_fish: f64,
    /// Largest tilt of the camera, degrees.
    pub tilt_deg: f64,
    /// Standard deviation of each fish's own focus blur, pixels.
    pub defocus: f64,
    pub ruler: bool,
    pub letters: usize,
    pub pen: bool,
    pub clip: bool,
    /// Half-angle of the lamp, radians.
    pub half_angle: f64,
    /// Age of each fish from its own length, for frames with fish of many sizes.
    pub age_by_length: bool,
    /// Multiplies the background's light; above 1 a light pad may clip.
    pub exposure: f64,
}

impl Scene {
    /// A plain photograph of a sample: fish of `lengths_mm`, `inflated` or not (as many as lengths; missing ones
    /// count as not inflated), `age_dph` days old, apart from each other, in a frame as large as they need.
    ///
    /// ```
    /// use frygauge::{records::Lighting, render::Scene};
    /// let drawn = Scene::sample(&[5.2, 5.6], &[true, false], 8.0, Lighting::Transmitted, 22.0, 7).render();
    /// assert_eq!(drawn.truth.fish.len(), 2);
    /// ```
    pub fn sample(
        lengths_mm: &[f64],
        inflated: &[bool],
        age_dph: f64,
        lighting: Lighting,
        px_per_mm: f64,
        seed: u64,
    ) -> Self {
        let fry = lengths_mm
            .iter()
            .enumerate()
            .map(|(i, l)| Fry { length_mm: *l, inflated: inflated.get(i).copied().unwrap_or(false) })
            .collect();
        let mut dice = Dice::new(seed, 1);
        let style = Style::plain(&mut dice, age_dph);
        Self { lighting, px_per_mm, fry, age_dph, frame: None, seed, style }
    }

    /// Draws the photograph.
    pub fn render(&self) -> Rendered {
        let mut dice = Dice::new(self.seed, 2);
        let guests = || -> Vec<Guest> {
            let mut dice = Dice::new(self.seed, 3);
            let mut list: Vec<Guest> = self
                .fry
                .iter()
                .enumerate()
                .map(|(index, f)| {
                    let (age, look) = self.age_and_look(f.length_mm);
                    Guest {
                        anatomy: Anatomy::draw(&mut dice, &look, age, f.inflated),
                        length: f.length_mm * self.px_per_mm,
                        index,
                    }
                })
                .collect();
            dice.shuffle(&mut list);
            list
        };
        let lengths: Vec<f64> = self.fry.iter().map(|f| f.length_mm * self.px_per_mm).collect();
        let mut frame = self.frame.map_or_else(
            || {
                let longest = lengths.iter().copied().fold(60.0, f64::max);
                let area: f64 = lengths.iter().map(|l| 0.7 * l * l + 4000.0).sum::<f64>();
                let height = (area / 1.33).sqrt().max(1.25 * longest).max(240.0);
                [1.33 * height, height]
            },
            |f| f.map(f64::from),
        );
        let mut placed;
        let mut stage;
        let mut tries = 0;
        loop {
            let (width, height) = (frame[0].round(), frame[1].round());
            stage = self.stage(&mut Dice::new(self.seed, 4), width, height);
            let room = Room {
                width,
                height,
                vessels: &stage.vessels,
                pad: stage.backdrop.pad.as_ref(),
                taken: &stage.taken,
            };
            placed = place(&mut dice, guests(), &self.style.habits, &room);
            tries += 1;
            if self.frame.is_some() || placed.len() == self.fry.len() || tries > 20 {
                break;
            }
            frame = frame.map(|v| v * 1.08);
        }
        self.draw(&mut dice, &stage, &placed, frame)
    }

    /// Age and common look of a fish: those of the sample, or what its length suggests.
    fn age_and_look(&self, length_mm: f64) -> (f64, Look) {
        if self.style.age_by_length {
            // 4.3 mm at hatch, 15.6 mm at 18 dph (pikeperch, see `season`).
            let age = ((length_mm - 4.3) / 0.63).clamp(0.0, 30.0);
            (age, Look::draw(&mut Dice::new(self.seed, 9), age))
        } else {
            (self.age_dph, self.style.look)
        }
    }

    /// Decides everything that does not move: background, vessels, light.
    fn stage(&self, dice: &mut Dice, width: f64, height: f64) -> Stage {
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

    fn draw(&self, dice: &mut Dice, stage: &Stage, placed: &[Placed], frame: [f64; 2]) -> Rendered {
        let style = &self.style;
        let (width, height) = (frame[0].round() as usize, frame[1].round() as usize);
        let mut others: Vec<(&'static str, [f64; 2])> = Vec::new();
        let mut canvas = stage.backdrop.paint(dice, width, height);
        paint_walls(&mut canvas, dice, &stage.vessels, self.lighting, self.px_per_mm, stage.light.colour);
        self.marks(&mut canvas, dice, stage, &mut others);
        let things = self.scatter_things(dice, placed, stage, width as f64, height as f64);
        let mut paint_things = |canvas: &mut Canvas, dice: &mut Dice, above: bool| {
            for (thing, at, over) in things.iter().filter(|t| t.2 == above) {
                clutter::paint(canvas, dice, *thing, *at, &stage.light, self.px_per_mm);
                if !over || *thing != Thing::Drop {
                    others.push((thing.name(), *at));
                }
            }
        };
        paint_things(&mut canvas, dice, false);

        let shadow = [
            -stage.light.from[0] * dice.within(0.1, 0.6) * self.px_per_mm,
            -stage.light.from[1] * dice.within(0.1, 0.6) * self.px_per_mm,
        ];
        let shadow_blur = dice.within(0.08, 0.4) * self.px_per_mm + 1.0;
        for p in placed {
            let mut own = Dice::new(self.seed, 100 + p.guest.index as u64);
            let body = Body { anatomy: &p.guest.anatomy, pose: &p.pose, light: &stage.light };
            let defocus = (style.defocus * own.normal()).abs();
            let Some(mut layer) = body.paint(&mut own, width, height, 3.0 * defocus + 2.0) else { continue };
            if self.lighting == Lighting::Pale {
                layer.cast(&mut canvas, shadow, shadow_blur, 0.6);
            }
            layer.blur(defocus);
            layer.apply(&mut canvas);
        }
        paint_things(&mut canvas, dice, true);

        let tilt = Tilt::draw(dice, style.tilt_deg, width as f64, height as f64);
        let canvas = tilt.warp(canvas);
        let image = style.camera.take(canvas, dice);
        for other in &mut others {
            other.1 = tilt.forward(other.1);
        }
        let fish = self.truth(placed, stage, &tilt, width as f64, height as f64);
        Rendered { image, truth: Truth { px_per_mm: self.px_per_mm, lighting: self.lighting, fish, others } }
    }

    /// Rulers, letters, labels and clips.
    fn marks(
        &self,
        canvas: &mut Canvas,
        dice: &mut Dice,
        stage: &Stage,
        others: &mut Vec<(&'static str, [f64; 2])>,
    ) {
        let (w, h) = (canvas.width as f64, canvas.height as f64);
        if let Some((at, turn, mm)) = stage.ruler {
            marks::ruler(canvas, dice, at, turn, mm, self.px_per_mm, self.lighting);
            others.push(("ruler", at));
        }
        for i in 0..self.style.letters {
            let size = dice.within(1.0, 3.0) * self.px_per_mm;
            let at = match stage.vessels.get(i % stage.vessels.len().max(1)) {
                Some(v) if stage.vessels.len() > 1 => {
                    let b = v.shape.bounds();
                    [b[0] + 0.06 * (b[2] - b[0]), b[1] + 0.06 * (b[3] - b[1])]
                }
                _ => [dice.within(0.05, 0.95) * w, dice.within(0.05, 0.95) * h],
            };
            let turn = 0.1 * dice.normal();
            marks::moulded(canvas, dice, at, size, turn);
            others.push(("letter", at));
        }
        if self.style.pen {
            let size = dice.within(2.0, 6.0) * self.px_per_mm;
            let at = [dice.within(0.03, 0.9) * w, if dice.chance(0.5) { 0.05 } else { 0.93 } * h];
            marks::pen(canvas, dice, at, size);
            others.push(("pen", at));
        }
        if self.style.clip {
            marks::clip(canvas, dice, self.lighting);
        }
    }

    /// Places the clutter: anywhere in the vessels, bubbles now and then on a fish.
    fn scatter_things(
        &self,
        dice: &mut Dice,
        placed: &[Placed],
        stage: &Stage,
        width: f64,
        height: f64,
    ) -> Vec<(Thing, [f64; 2], bool)> {
        let mut things = Vec::new();
        for (thing, most) in &self.style.things {
            for _ in 0..dice.count(0, *most) {
                let mut at = [dice.within(0.0, width), dice.within(0.0, height)];
                let big = matches!(thing, Thing::EyedEgg | Thing::DeadEgg | Thing::Shell | Thing::Flake);
                let room = if big { 1.6 * self.px_per_mm } else { 2.0 };
                let fits = |at: [f64; 2]| {
                    let walled = stage.vessels.is_empty()
                        || stage.vessels.iter().any(|v| v.shape.distance(at[0], at[1]) < -room);
                    let lit =
                        stage.backdrop.pad.as_ref().is_none_or(|p| p.window.distance(at[0], at[1]) < -room);
                    let clear = !big || placed.iter().all(|p| nearest(p, at) > room + 0.6 * self.px_per_mm);
                    walled && lit && clear
                };
                let mut tries = 0;
                while !fits(at) && tries < 60 {
                    at = [dice.within(0.0, width), dice.within(0.0, height)];
                    tries += 1;
                }
                if fits(at) {
                    things.push((*thing, at, thing.above(dice)));
                }
            }
        }
        for p in placed {
            if dice.chance(self.style.bubbles_on_fish) {
                let q = p.pose.point(dice.within(0.0, 1.0));
                let off = dice.normal() * 0.6 * self.px_per_mm;
                things.push((Thing::Bubble, [q[0] + off, q[1] + 0.5 * off], dice.chance(0.5)));
            }
        }
        things
    }

    fn truth(&self, placed: &[Placed], stage: &Stage, tilt: &Tilt, width: f64, height: f64) -> Vec<TrueFish> {
        let outlines: Vec<Vec<([f64; 2], f64)>> = placed.iter().map(|p| outline(p, &stage.light)).collect();
        let mut fish: Vec<(usize, TrueFish)> = placed
            .iter()
            .enumerate()
            .map(|(i, p)| {
                let midline: Vec<[f64; 2]> = p.pose.midline.iter().map(|q| tilt.forward(*q)).collect();
                let length_px =
                    midline.windows(2).map(|w| (w[1][0] - w[0][0]).hypot(w[1][1] - w[0][1])).sum();
                let view = view(p.pose.roll);
                let body = Body { anatomy: &p.guest.anatomy, pose: &p.pose, light: &stage.light };
                let depth = (0..=100)
                    .map(|k| {
                        let s = f64::from(k) / 100.0;
                        body.half_seen(s, true) + body.half_seen(s, false)
                    })
                    .fold(0.0, f64::max);
                let gas = match &p.guest.anatomy.bladder {
                    Bladder::Gas { shape, .. } => Some(shape),
                    _ => None,
                };
                let inside =
                    |q: &[f64; 2]| q[0] >= 0.0 && q[1] >= 0.0 && q[0] <= width - 1.0 && q[1] <= height - 1.0;
                let touching = (0..placed.len()).any(|j| j != i && touch(&outlines[i], &outlines[j]));
                let cut = !midline.iter().all(inside);
                (
                    p.guest.index,
                    TrueFish {
                        total_length_mm: self.fry[p.guest.index].length_mm,
                        total_length_px: length_px,
                        depth_px: depth * p.pose.length,
                        inflated: gas.is_some(),
                        bladder_position: gas.map(|g| g.at),
                        bladder_length: gas.map(|g| 2.0 * g.a),
                        view,
                        back_left: (view != View::Top).then_some(p.pose.back_left),
                        touching,
                        cut,
                        vessel: p.vessel.map(|v| v as u32 + 1),
                        midline,
                    },
                )
            })
            .collect();
        fish.sort_by_key(|f| f.0);
        fish.into_iter().map(|f| f.1).collect()
    }
}

/// What does not move in a scene.
struct Stage {
    backdrop: Backdrop,
    vessels: Vec<Vessel>,
    light: Light,
    taken: Vec<[f64; 4]>,
    ruler: Option<([f64; 2], f64, usize)>,
}

/// The word for a roll about the long axis.
fn view(roll: f64) -> View {
    let turn = roll.sin().abs();
    if turn < 0.4 {
        View::Side
    } else if turn > 0.92 {
        View::Top
    } else {
        View::Oblique
    }
}

/// Points along a larva with its half extent there, pixels.
fn outline(p: &Placed, light: &Light) -> Vec<([f64; 2], f64)> {
    let body = Body { anatomy: &p.guest.anatomy, pose: &p.pose, light };
    (0..=80)
        .map(|k| {
            let s = f64::from(k) / 80.0;
            let half = 0.5 * (body.half_seen(s, true) + body.half_seen(s, false));
            (p.pose.point(s), half * p.pose.length + 0.5)
        })
        .collect()
}

fn touch(a: &[([f64; 2], f64)], b: &[([f64; 2], f64)]) -> bool {
    a.iter().any(|(p, r)| b.iter().any(|(q, t)| (p[0] - q[0]).hypot(p[1] - q[1]) < r + t + 1.5))
}

fn nearest(p: &Placed, at: [f64; 2]) -> f64 {
    p.pose.midline.iter().map(|q| (q[0] - at[0]).hypot(q[1] - at[1])).fold(f64::MAX, f64::min)
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
