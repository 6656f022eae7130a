//! The classes of photographs: what each draws, and from which ranges.

use super::camera::Camera;
use super::clutter::Thing;
use super::dice::Dice;
use super::layout::Habits;
use super::look::Look;
use super::scene::{Fry, Scene, Style, Vessels};
use super::{Class, Rendered};
use crate::records::Lighting;

impl Class {
    /// All classes, in the order they are reported.
    pub const ALL: [Self; 14] = [
        Self::LightPad,
        Self::DarkDish,
        Self::PaleTray,
        Self::Microscope,
        Self::Crowded,
        Self::CoarseNoisy,
        Self::Empty,
        Self::PadInPart,
        Self::WellsWithEggs,
        Self::Translucent,
        Self::Bent,
        Self::TouchingPairs,
        Self::PhoneBlur,
        Self::MixedSizes,
    ];

    /// The word for it in tables and on the command line.
    pub fn name(self) -> &'static str {
        match self {
            Self::LightPad => "light-pad",
            Self::DarkDish => "dark-dish",
            Self::PaleTray => "pale-tray",
            Self::Microscope => "microscope",
            Self::Crowded => "crowded",
            Self::CoarseNoisy => "coarse-noisy",
            Self::Empty => "empty",
            Self::PadInPart => "pad-in-part",
            Self::WellsWithEggs => "wells-with-eggs",
            Self::Translucent => "translucent",
            Self::Bent => "bent",
            Self::TouchingPairs => "touching-pairs",
            Self::PhoneBlur => "phone-blur",
            Self::MixedSizes => "mixed-sizes",
        }
    }
}

impl Habits {
    /// Fish that mostly lie straight and apart.
    pub(super) const CALM: Self = Self {
        bend: 0.7,
        bent: 0.35,
        coiled: 0.0,
        top: 0.08,
        oblique: 0.08,
        touching: 0.0,
        at_wall: 0.0,
        cut: 0.0,
    };
}

impl Style {
    /// A plain photograph on a stand.
    pub(super) fn plain(dice: &mut Dice, age_dph: f64) -> Self {
        Self {
            vessels: Vessels::None,
            pad_share: None,
            habits: Habits::CALM,
            look: Look::draw(dice, age_dph),
            camera: Camera::steady(dice),
            things: vec![(Thing::Speck, 12), (Thing::Bubble, 1), (Thing::Fibre, 1)],
            bubbles_on_fish: 0.0,
            tilt_deg: 0.0,
            defocus: 0.3,
            ruler: false,
            letters: 0,
            pen: false,
            clip: false,
            half_angle: dice.within(0.35, 0.95),
            age_by_length: false,
            exposure: 1.0,
        }
    }
}

/// Draws a photograph of `class`; the same `seed` draws the same photograph.
///
/// ```
/// use frygauge::render::{Class, photograph};
/// let drawn = photograph(Class::Empty, 3);
/// assert!(drawn.truth.fish.is_empty());
/// ```
pub fn photograph(class: Class, seed: u64) -> Rendered {
    scene(class, seed).render()
}

/// As [`photograph`], with one round dish that is whole in the frame and a camera tilted up to eight degrees.
///
/// ```
/// use frygauge::render::{Class, whole_dish};
/// let drawn = whole_dish(Class::Empty, 3);
/// assert!(drawn.truth.dish_mm.is_some_and(|d| d > 10.0));
/// ```
pub fn whole_dish(class: Class, seed: u64) -> Rendered {
    let mut scene = scene(class, seed);
    let mut dice = Dice::new(scene.seed, 11);
    let share = dice.within(0.55, 0.92);
    scene.style.vessels = Vessels::Dish(share);
    // Petri dishes and crystallising dishes of 35 to 95 mm.
    let [width, height] = scene.frame.unwrap_or([2000, 1500]).map(f64::from);
    scene.px_per_mm = share * width.min(height) / dice.log_within(35.0, 95.0);
    scene.style.pad_share = None;
    scene.style.tilt_deg = 8.0;
    // Fish that find no room in the smaller dish are left out.
    scene.render()
}

/// The scene [`photograph`] draws: for those who want it in another frame, or with other fish.
///
/// ```
/// use frygauge::render::{Class, scene};
/// let mut small = scene(Class::DarkDish, 3);
/// small.frame = Some([320, 240]);
/// assert_eq!(small.render().image.dimensions(), (320, 240));
/// ```
pub fn scene(class: Class, seed: u64) -> Scene {
    // Seeds of different classes must not share their draws.
    let seed = super::dice::mix(seed ^ ((class as u64 + 1) << 56));
    let mut dice = Dice::new(seed, 0);
    let dice = &mut dice;
    let age = if dice.chance(0.15) { dice.within(0.0, 5.0) } else { dice.within(5.0, 24.0) };
    let mut style = Style::plain(dice, age);
    let (width, height) = frame(dice, 1500.0, 2400.0);
    let mut draft = Draft {
        lighting: Lighting::Transmitted,
        px_per_mm: 40.0,
        age,
        count: dice.count(8, 20),
        spread: dice.within(0.05, 0.18),
        frame: [width, height],
    };
    style.things =
        vec![(Thing::Speck, 40), (Thing::Bubble, 6), (Thing::Fibre, 4), (Thing::Flake, 6), (Thing::Drop, 2)];
    style.habits.at_wall = 0.04;
    style.habits.cut = 0.03;
    style.bubbles_on_fish = 0.03;
    style.tilt_deg = 3.0;
    if dice.chance(0.6) {
        style.vessels = Vessels::Dish(dice.within(0.9, 2.6));
    }
    if dice.chance(0.12) {
        style.vessels = Vessels::Tray(dice.count(1, 2));
    }
    style.ruler = dice.chance(0.1);
    style.pen = dice.chance(0.12);
    style.letters = if dice.chance(0.1) { dice.count(1, 3) } else { 0 };
    // Exposure is a matter of taste: mostly right, now and then dark, or bright to clipping.
    style.exposure = match dice.count(0, 11) {
        0 => dice.within(1.1, 1.5),
        1 | 2 => dice.within(0.3, 0.7),
        _ => 1.0,
    };
    match class {
        Class::LightPad => draft.px_per_mm = dice.within(36.0, 46.0),
        Class::DarkDish => reflected(dice, &mut style, &mut draft, Lighting::Dark),
        Class::PaleTray => reflected(dice, &mut style, &mut draft, Lighting::Pale),
        Class::Microscope => microscope(dice, &mut style, &mut draft),
        Class::Crowded => {
            draft.px_per_mm = dice.within(26.0, 40.0);
            draft.count = 45;
            draft.age = age.min(12.0);
            draft.frame = [dice.within(2300.0, 2700.0), dice.within(1700.0, 2000.0)];
            style.habits.touching = 0.55;
            if matches!(style.vessels, Vessels::Dish(_)) {
                style.vessels = Vessels::Dish(dice.within(1.2, 2.6));
            }
        }
        Class::CoarseNoisy => {
            draft.px_per_mm = dice.within(20.0, 26.0);
            draft.frame = [dice.within(1100.0, 1700.0), dice.within(850.0, 1250.0)];
            style.camera = Camera::phone(dice);
            style.camera.motion.0 *= 0.2;
            style.camera.blur = dice.within(0.9, 1.5);
            style.camera.noise = dice.within(0.02, 0.06);
        }
        Class::Empty => empty(dice, &mut style, &mut draft),
        Class::PadInPart => pad_in_part(dice, &mut style, &mut draft),
        Class::WellsWithEggs => wells(dice, &mut style, &mut draft),
        Class::Translucent => translucent(dice, &mut style, &mut draft),
        Class::Bent => {
            draft.px_per_mm = dice.within(25.0, 46.0);
            style.habits.bend = 120f64.to_radians();
            style.habits.bent = 0.9;
            style.habits.coiled = 0.06;
            style.habits.oblique = 0.2;
            style.habits.top = 0.2;
        }
        Class::TouchingPairs => {
            draft.px_per_mm = dice.within(25.0, 46.0);
            draft.count = dice.count(8, 24);
            draft.frame = [dice.within(1700.0, 2400.0), dice.within(1300.0, 1800.0)];
            style.habits.touching = 0.9;
        }
        Class::PhoneBlur => {
            draft.px_per_mm = dice.within(18.0, 42.0);
            style.camera = Camera::phone(dice);
            style.tilt_deg = 15.0;
            style.defocus = 1.0;
            any_light(dice, &mut style, &mut draft);
            style.exposure = match dice.count(0, 5) {
                0 => 1.4,
                1 => dice.within(0.15, 0.5),
                _ => 1.0,
            };
        }
        Class::MixedSizes => {
            draft.px_per_mm = dice.log_within(12.0, 60.0);
            draft.count = dice.count(6, 14);
            let width = if draft.px_per_mm > 35.0 { 3200.0 } else { 2400.0 };
            draft.frame = [width, 0.75 * width];
            style.camera.blur *= 0.8;
            style.age_by_length = true;
        }
    }
    finish(dice, class, seed, style, &draft)
}

/// As [`scene`], under this light whatever the class's own: fish bend and touch in dark dishes too. A pad that fills
/// part of the frame stays one.
///
/// ```
/// use frygauge::records::Lighting;
/// use frygauge::render::{Class, scene_under};
/// assert_eq!(scene_under(Class::Bent, 3, Lighting::Dark).lighting, Lighting::Dark);
/// ```
pub fn scene_under(class: Class, seed: u64, light: Lighting) -> Scene {
    let mut scene = scene(class, seed);
    if scene.lighting == light || scene.style.pad_share.is_some() {
        return scene;
    }
    let dice = &mut Dice::new(scene.seed, 12);
    scene.lighting = light;
    scene.style.things.retain(|(thing, _)| *thing != Thing::Glint);
    if light == Lighting::Transmitted {
        scene.style.half_angle = dice.within(0.35, 0.95);
    } else {
        glints(dice, &mut scene.style, light);
    }
    scene
}

/// What a class decides before the fish are drawn.
struct Draft {
    lighting: Lighting,
    px_per_mm: f64,
    age: f64,
    count: usize,
    /// Coefficient of variation of length.
    spread: f64,
    frame: [f64; 2],
}

fn frame(dice: &mut Dice, low: f64, high: f64) -> (f64, f64) {
    let width = dice.within(low, high);
    let height = width * dice.within(0.62, 0.8);
    if dice.chance(0.2) { (height, width) } else { (width, height) }
}

/// Mean total length at an age: about 4.3 mm at hatch, 5.6 at 4 dph, 15.6 at 18 dph (pikeperch; Xu et al. 2017;
/// Szkudlarek & Zakes 2007, doi 10.1007/s10499-006-9069-7), spread wide.
fn mean_length(dice: &mut Dice, age: f64) -> f64 {
    (4.3 + 0.28 * age + 0.018 * age * age) * dice.within(0.85, 1.5)
}

fn finish(dice: &mut Dice, class: Class, seed: u64, mut style: Style, draft: &Draft) -> Scene {
    let mut mean = mean_length(dice, draft.age).clamp(4.0, 26.0);
    if class == Class::Crowded {
        // So many fish must fit.
        mean = mean.min(320.0 / draft.px_per_mm);
    }
    // Few have filled the bladder in the first days after hatching.
    let share = dice.within(0.15, 0.95) * if draft.age < 4.0 { 0.4 } else { 1.0 };
    let [width, height] = draft.frame;
    // A fish under the microscope may fill most of the frame's width.
    let room = if class == Class::Microscope { 0.72 * width } else { 0.55 * width.min(height) };
    let longest = room / draft.px_per_mm;
    let fry: Vec<Fry> = (0..draft.count)
        .map(|_| {
            let length = if class == Class::MixedSizes {
                dice.log_within(4.0, longest.min(30.0))
            } else {
                mean * (1.0 + draft.spread * dice.normal())
            };
            let length = if length > longest { longest * dice.within(0.7, 1.0) } else { length };
            Fry { length_mm: length.clamp(3.5, 30.0), inflated: dice.chance(share) }
        })
        .collect();
    // Small vessels and pads cannot hold long fish: the layout leaves those out.
    style.camera.blur = style.camera.blur.max(0.45);
    Scene {
        lighting: draft.lighting,
        px_per_mm: draft.px_per_mm,
        fry,
        age_dph: draft.age,
        frame: Some([draft.frame[0] as u32, draft.frame[1] as u32]),
        seed,
        style,
    }
}

fn reflected(dice: &mut Dice, style: &mut Style, draft: &mut Draft, kind: Lighting) {
    draft.lighting = kind;
    draft.px_per_mm = dice.within(34.0, 46.0);
    glints(dice, style, kind);
}

/// Light from above: it shines back from the water.
fn glints(dice: &mut Dice, style: &mut Style, light: Lighting) {
    style.things.push((Thing::Glint, if light == Lighting::Dark { 14 } else { 8 }));
    style.half_angle = dice.within(0.5, 1.0);
}

fn any_light(dice: &mut Dice, style: &mut Style, draft: &mut Draft) {
    let kind = dice.within(0.0, 1.0);
    let px_per_mm = draft.px_per_mm;
    if kind > 0.8 {
        reflected(dice, style, draft, Lighting::Pale);
    } else if kind > 0.6 {
        reflected(dice, style, draft, Lighting::Dark);
    }
    draft.px_per_mm = px_per_mm;
}

fn microscope(dice: &mut Dice, style: &mut Style, draft: &mut Draft) {
    draft.px_per_mm = dice.log_within(100.0, 250.0);
    draft.age = dice.within(1.0, 14.0);
    draft.count = dice.count(1, 5);
    let width = (12.5 * draft.px_per_mm).clamp(1300.0, 2800.0);
    draft.frame = [width, 0.75 * width];
    style.look = Look::draw(dice, draft.age);
    style.vessels = Vessels::None;
    style.things = vec![(Thing::Speck, 30), (Thing::Bubble, 2), (Thing::Fibre, 2)];
    style.ruler = false;
    style.pen = false;
    style.letters = 0;
    style.tilt_deg = 0.0;
    style.defocus = 2.5;
    style.half_angle = dice.within(0.15, 0.7);
    style.camera.vignette = dice.within(0.0, 0.45);
    style.camera.blur = dice.within(0.9, 3.0);
    style.camera.quality = if dice.chance(0.4) { None } else { style.camera.quality };
    style.camera.grey = dice.chance(0.2);
    if dice.chance(0.2) {
        let px_per_mm = draft.px_per_mm;
        reflected(dice, style, draft, Lighting::Dark);
        draft.px_per_mm = px_per_mm;
        style.half_angle = dice.within(0.3, 0.8);
        style.things = vec![(Thing::Speck, 30), (Thing::Glint, 3)];
    }
}

fn empty(dice: &mut Dice, style: &mut Style, draft: &mut Draft) {
    draft.count = 0;
    draft.px_per_mm = dice.within(20.0, 46.0);
    any_light(dice, style, draft);
    style.things = vec![
        (Thing::Speck, 60),
        (Thing::Bubble, 20),
        (Thing::Fibre, 10),
        (Thing::Flake, 20),
        (Thing::Shrimp, 12),
        (Thing::Drop, 6),
        (Thing::Shell, 3),
        (Thing::Glint, if draft.lighting == Lighting::Transmitted { 0 } else { 15 }),
    ];
    style.ruler = dice.chance(0.25);
    style.pen = dice.chance(0.3);
    style.letters = dice.count(0, 4);
    style.clip = dice.chance(0.3);
}

fn pad_in_part(dice: &mut Dice, style: &mut Style, draft: &mut Draft) {
    draft.px_per_mm = dice.within(24.0, 42.0);
    draft.frame = [dice.within(1800.0, 2500.0), dice.within(1300.0, 1900.0)];
    let share = dice.within(0.15, 0.75);
    style.pad_share = Some(share);
    draft.count = ((draft.count as f64) * share).ceil() as usize + 2;
    draft.age = draft.age.min(14.0);
    style.habits.cut = 0.0;
    style.ruler = false;
    if dice.chance(0.6) {
        style.vessels = Vessels::Dish(dice.within(0.7, 1.4));
    } else {
        style.vessels = Vessels::None;
    }
    style.clip = dice.chance(0.2);
}

fn wells(dice: &mut Dice, style: &mut Style, draft: &mut Draft) {
    // Inner diameters of common plates: 6 wells 35 mm, 12 wells 22 mm, 24 wells 16 mm (from memory).
    let (columns, rows, diameter) = [(3, 2, 35.0), (4, 3, 22.0), (6, 4, 16.0)][dice.count(0, 2)];
    draft.age = dice.within(0.0, 8.0);
    style.look = Look::draw(dice, draft.age);
    let width = dice.within(2000.0, 2800.0);
    let pitch = width / (columns as f64 + 0.1);
    let (columns, rows) = if dice.chance(0.25) { (rows, columns) } else { (columns, rows) };
    draft.px_per_mm = (0.85 * pitch / diameter).max(14.0);
    let height = width * rows as f64 / columns as f64 * dice.within(1.0, 1.1);
    let shrink = (2800.0 / height).min(1.0);
    draft.frame = [width * shrink, height * shrink];
    draft.px_per_mm *= shrink.max(0.8);
    style.vessels =
        if dice.chance(0.2) { Vessels::Dishes(dice.count(2, 6)) } else { Vessels::Wells(columns, rows) };
    draft.count = dice.count(columns * rows / 2 + 3, columns * rows * 3 / 2 + 5);
    style.habits.at_wall = 0.2;
    style.habits.cut = 0.0;
    style.things = vec![
        (Thing::EyedEgg, columns * rows),
        (Thing::Shell, columns * rows / 2),
        (Thing::DeadEgg, columns * rows / 3),
        (Thing::Bubble, 12),
        (Thing::Speck, 40),
        (Thing::Shrimp, 6),
        (Thing::Fibre, 3),
        (Thing::Drop, 4),
    ];
    style.letters = columns * rows;
    style.pen = dice.chance(0.3);
    style.ruler = false;
    style.tilt_deg = 2.0;
    if dice.chance(0.15) {
        let px_per_mm = draft.px_per_mm;
        reflected(dice, style, draft, Lighting::Dark);
        draft.px_per_mm = px_per_mm;
    }
}

fn translucent(dice: &mut Dice, style: &mut Style, draft: &mut Draft) {
    draft.px_per_mm = dice.within(20.0, 46.0);
    draft.age = dice.within(0.0, 9.0);
    style.look = Look::draw(dice, draft.age);
    // Stored values 3-8 % (trunk) and 1-3 % (tail fin) below the background, whatever the tone curve does to them:
    // the slope of sRGB against linear light is about 1 / 2.3 in relative terms.
    style.look.density = dice.log_within(0.065, 0.17);
    style.look.yellow = dice.within(1.6, 2.3);
    style.look.tail = dice.within(0.03, 0.085);
    style.look.pigment = dice.within(0.3, 0.9);
    style.look.eye = dice.within(1.4, 3.2);
    style.camera.noise = dice.log_within(0.003, 0.01);
}
