//! A whole photograph: background, vessels, fish and clutter under one lamp and one camera.

use super::anatomy::Anatomy;
use super::backdrop::{Outline, Vessel, paint_walls};
use super::body::Body;
use super::camera::Camera;
use super::canvas::Canvas;
use super::clutter::{self, Thing};
use super::dice::Dice;
use super::layout::{Guest, Habits, Placed, Room, place};
use super::look::Look;
use super::marks;
use super::stage::Stage;
use super::tilt::Tilt;
use super::{Rendered, TrueFish, Truth};
use crate::records::Lighting;
use image::RgbImage;

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
        let plan = self.plan();
        let mut dice = Dice::new(self.seed, 2);
        let (image, others) = self.draw(&mut dice, &plan);
        Rendered { image, truth: self.true_of(&plan, others) }
    }

    /// What the photograph would show of the fish, without drawing it.
    ///
    /// ```
    /// use frygauge::{records::Lighting, render::Scene};
    /// let scene = Scene::sample(&[5.2, 5.6], &[true, false], 8.0, Lighting::Transmitted, 22.0, 7);
    /// assert_eq!(scene.fish().len(), scene.render().truth.fish.len());
    /// ```
    pub fn fish(&self) -> Vec<TrueFish> {
        self.true_of(&self.plan(), Vec::new()).fish
    }

    fn true_of(&self, plan: &Plan, others: Vec<(&'static str, [f64; 2])>) -> Truth {
        let [width, height] = plan.frame;
        let fish = self.truth(&plan.placed, &plan.stage, &plan.tilt, width, height);
        let dish_mm = match plan.stage.vessels.as_slice() {
            [Vessel { shape: Outline::Round { radius, .. }, .. }] => Some(2.0 * radius / self.px_per_mm),
            _ => None,
        };
        Truth { px_per_mm: self.px_per_mm, lighting: self.lighting, dish_mm, fish, others }
    }

    /// Decides where everything that matters lies.
    fn plan(&self) -> Plan {
        let mut dice = Dice::new(self.seed, 5);
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
        let mut tries = 0;
        loop {
            let (width, height) = (frame[0].round(), frame[1].round());
            let stage = self.stage(&mut Dice::new(self.seed, 4), width, height);
            let room = Room {
                width,
                height,
                vessels: &stage.vessels,
                pad: stage.backdrop.pad.as_ref(),
                taken: &stage.taken,
            };
            let placed = place(&mut dice, guests(), &self.style.habits, &room);
            tries += 1;
            if self.frame.is_some() || placed.len() == self.fry.len() || tries > 20 {
                let tilt = Tilt::draw(&mut Dice::new(self.seed, 6), self.style.tilt_deg, width, height);
                return Plan { stage, placed, tilt, frame: [width, height] };
            }
            frame = frame.map(|v| v * 1.08);
        }
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

    /// Paints the plan and takes the picture; gives it with what could be taken for a fish.
    fn draw(&self, dice: &mut Dice, plan: &Plan) -> (RgbImage, Vec<(&'static str, [f64; 2])>) {
        let style = &self.style;
        let Plan { stage, placed, tilt, frame } = plan;
        let (width, height) = (frame[0] as usize, frame[1] as usize);
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

        let canvas = tilt.warp(canvas);
        let image = style.camera.take(canvas, dice);
        for other in &mut others {
            other.1 = tilt.forward(other.1);
        }
        (image, others)
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
}

fn nearest(p: &Placed, at: [f64; 2]) -> f64 {
    p.pose.midline.iter().map(|q| (q[0] - at[0]).hypot(q[1] - at[1])).fold(f64::MAX, f64::min)
}

/// Where everything that matters lies.
struct Plan {
    stage: Stage,
    placed: Vec<Placed>,
    tilt: Tilt,
    frame: [f64; 2],
}
