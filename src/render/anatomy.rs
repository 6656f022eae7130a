//! The body of one larva: outline, thickness and organs, in fractions of total length.
//!
//! Along the body 0 is the snout and 1 the end of the tail fin; across it, distances are from the
//! midline, positive towards the back, and also fractions of total length. Ranges come from the
//! sources named beside them; where none is named the range is a guess, wide on purpose.

use super::dice::{Dice, Wobble, ramp, smooth};
use super::look::Look;
use super::outline::{DEEP, SLENDER, STATIONS, table, through};

/// An ellipsoid inside the body.
#[derive(Debug, Clone, Copy)]
pub(super) struct Organ {
    /// Along the body.
    pub at: f64,
    /// Above the midline (towards the back).
    pub up: f64,
    /// Beside the midline (towards the viewer in side view).
    pub side: f64,
    /// Half length along the body.
    pub a: f64,
    /// Half height across it.
    pub b: f64,
    /// Turned from the body's axis, radians.
    pub tilt: f64,
    /// Optical density through its middle: red, green, blue.
    pub density: [f64; 3],
}

/// A dark pigment cell.
#[derive(Debug, Clone, Copy)]
pub(super) struct Spot {
    /// Along the body.
    pub at: f64,
    /// Above the midline.
    pub up: f64,
    /// Beside the midline.
    pub side: f64,
    /// Radius across the body.
    pub radius: f64,
    /// Times longer along the body than across it.
    pub long: f64,
    /// Optical density.
    pub density: f64,
    /// Number of arms of the star.
    pub arms: f64,
    /// Phase of the arms.
    pub phase: f64,
}

/// The gas bladder.
#[derive(Debug, Clone, Copy)]
pub(super) enum Bladder {
    /// Nothing to see.
    None,
    /// Collapsed: a thin slit, slightly darker or lighter than the tissue.
    Slit(Organ),
    /// Filled with liquid: clearer than the tissue, no rim.
    Vesicle(Organ),
    /// Filled with gas; `skew` makes one end blunter.
    Gas {
        /// Its shape.
        shape: Organ,
        /// Bluntness of the front end, -0.3 to 0.3.
        skew: f64,
    },
}

/// One larva.
#[derive(Debug, Clone)]
pub(super) struct Anatomy {
    up: Vec<f64>,
    down: Vec<f64>,
    thick: Vec<f64>,
    fold_up: Vec<f64>,
    fold_down: Vec<f64>,
    /// End of the fleshy body; the tail fin follows.
    pub peduncle: f64,
    /// Depth of the tail fin's notch.
    pub fork: f64,
    /// Optical densities: trunk (red, green, blue), tail, fin fold.
    pub trunk: [f64; 3],
    /// Optical density of the tail's end.
    pub tail: f64,
    /// Optical density of the fin fold.
    pub fold: f64,
    /// The eyes: at the same place along the body, apart by twice `side`.
    pub eye: Organ,
    /// Organs that only absorb.
    pub organs: Vec<Organ>,
    /// Oil globule, early on.
    pub globule: Option<Organ>,
    /// The gas bladder.
    pub bladder: Bladder,
    /// Gas bubbles in the gut.
    pub gut_gas: Vec<Organ>,
    /// Pigment over the bladder's upper half: optical density.
    pub cap: f64,
    /// Pigment cells.
    pub spots: Vec<Spot>,
    /// Gut: start, vent, radius.
    pub gut: (f64, f64, f64),
    /// Optical density of the gut's contents (red, green, blue); 0 when empty.
    pub food: [f64; 3],
    /// Where along the gut the contents lie.
    pub food_span: (f64, f64),
    /// Muscle blocks: number along the body and contrast.
    pub myomeres: (f64, f64),
    /// Strength of the clear band of the notochord.
    pub notochord: f64,
    /// Optical density of the outline, where the wall is steep.
    pub outline: f64,
}

impl Anatomy {
    /// Draws a larva of `age_dph` days with the common `look`, its bladder `inflated` or not.
    pub fn draw(dice: &mut Dice, look: &Look, age_dph: f64, inflated: bool) -> Self {
        let grown = (ramp(2.0, 24.0, age_dph) + 0.08 * dice.normal()).clamp(0.0, 1.0);
        let depth = (look.depth * (1.0 + 0.07 * dice.normal())).clamp(0.06, 0.185);
        let deep = ((depth - 0.078) / 0.05).clamp(0.0, 1.0);
        let peduncle = 0.955 - 0.10 * grown + 0.01 * dice.normal();
        let yolk = yolk_share(dice, age_dph);

        let (wave_up, wave_down) = (Wobble::new(dice, 5.0), Wobble::new(dice, 5.0));
        let wave_thick = Wobble::new(dice, 4.0);
        let rough = dice.within(0.015, 0.06);
        let lean = 0.05 * dice.normal();
        let yolk_at = dice.within(0.15, 0.21);
        let yolk_span = dice.within(0.07, 0.13) + 0.05 * yolk;
        let mut up = Vec::with_capacity(STATIONS);
        let mut down = Vec::with_capacity(STATIONS);
        let mut thick = Vec::with_capacity(STATIONS);
        for i in 0..STATIONS {
            let s = i as f64 / (STATIONS - 1) as f64;
            let along = s / peduncle * 0.985;
            let full = if along < 1.0 {
                depth * (through(&SLENDER, along) * (1.0 - deep) + through(&DEEP, along) * deep)
            } else {
                0.0
            };
            let closing = 1.0 - ramp(peduncle - 0.01, (peduncle + 0.03).min(0.995), s);
            let half = 0.5 * full * closing;
            let belly = yolk * 0.9 * depth * (1.0 - ((s - yolk_at) / yolk_span).powi(2)).max(0.0);
            up.push(half * (1.0 + lean) * (1.0 + rough * wave_up.at(s)));
            down.push(half * (1.0 - lean) * (1.0 + rough * wave_down.at(s)) + belly);
            let taper = 1.25 - 0.65 * ramp(0.05, 0.75, s);
            thick.push(half * look.width * taper * (1.0 + rough * wave_thick.at(s)) + 0.8 * belly);
        }

        let density = look.density * (0.18 * dice.normal()).exp();
        let yellow = look.yellow * (0.08 * dice.normal()).exp();
        let mut fish = Self {
            fold_up: vec![0.0; STATIONS],
            fold_down: vec![0.0; STATIONS],
            peduncle,
            fork: if grown > 0.6 { dice.within(0.0, 0.025) } else { 0.0 },
            trunk: [density * dice.within(0.60, 0.85), density, density * yellow],
            tail: look.tail * dice.within(0.75, 1.25),
            fold: dice.within(0.004, 0.025),
            eye: draw_eye(dice, look, depth, &thick, grown),
            organs: Vec::new(),
            globule: None,
            bladder: Bladder::None,
            gut_gas: Vec::new(),
            cap: if dice.chance(0.45) { look.pigment * dice.within(0.05, 0.7) } else { 0.0 },
            spots: Vec::new(),
            gut: (0.13, dice.within(0.50, 0.62) - 0.03 * (1.0 - grown), depth * dice.within(0.09, 0.16)),
            food: [0.0; 3],
            food_span: (0.0, 1.0),
            myomeres: (dice.within(38.0, 50.0), dice.within(0.0, 0.10)),
            notochord: dice.within(0.0, 0.25),
            outline: look.outline * dice.within(0.5, 1.5),
            up,
            down,
            thick,
        };
        fish.draw_fins(dice, depth, grown);
        fish.draw_gut(dice, look, depth);
        fish.draw_bladder(dice, look, depth, inflated);
        fish.draw_organs(dice, depth, density, yolk, (yolk_at, yolk_span), age_dph);
        fish.draw_spots(dice, look, grown);
        fish
    }

    /// Half depth above (`back`) or below the midline at `s`, without fins.
    pub fn half(&self, s: f64, back: bool) -> f64 {
        table(if back { &self.up } else { &self.down }, s)
    }

    /// Half width, from side to side, at `s`.
    pub fn half_width(&self, s: f64) -> f64 {
        table(&self.thick, s)
    }

    /// Reach of the fins from the midline at `s`.
    pub fn fin(&self, s: f64, back: bool) -> f64 {
        table(if back { &self.fold_up } else { &self.fold_down }, s)
    }

    /// Greatest depth without the fins, side view.
    pub fn depth(&self) -> f64 {
        self.up.iter().zip(&self.down).map(|(a, b)| a + b).fold(0.0, f64::max)
    }

    /// Greatest width from side to side.
    pub fn width(&self) -> f64 {
        2.0 * self.thick.iter().copied().fold(0.0, f64::max)
    }

    /// Height of the gut's middle line above the midline at `s` (below: negative).
    pub fn gut_line(&self, s: f64) -> f64 {
        let down = self.half(s, false);
        let t = ((s - self.gut.0) / (self.gut.1 - self.gut.0)).clamp(0.0, 1.0);
        -down * (0.30 + 0.45 * smooth(1.4 * t))
    }

    fn draw_fins(&mut self, dice: &mut Dice, depth: f64, grown: f64) {
        let (front_up, front_down) = (dice.within(0.18, 0.40), dice.within(0.22, 0.45));
        let height = depth * dice.within(0.25, 0.55) * (1.0 - 0.4 * grown);
        let spread = depth * dice.within(0.30, 0.62);
        let (wave_up, wave_down) = (Wobble::new(dice, 4.0), Wobble::new(dice, 4.0));
        // Older larvae: the fold parts into two dorsal fins and an anal fin.
        let gap = |s: f64| 1.0 - grown * (ramp(0.70, 0.76, s) - ramp(0.84, 0.93, s));
        for i in 0..STATIONS {
            let s = i as f64 / (STATIONS - 1) as f64;
            let fan = spread * ramp(self.peduncle - 0.08, self.peduncle + 0.5 * (1.0 - self.peduncle), s);
            let rounding = ((1.0 - s) / (0.45 * (1.0 - self.peduncle) + 0.01)).clamp(0.0, 1.0);
            let rounding = (1.0 - (1.0 - rounding).powi(2)).sqrt();
            let up = height * ramp(front_up, front_up + 0.1, s) * (1.0 + 0.2 * wave_up.at(s)) * gap(s);
            let down =
                height * ramp(front_down, front_down + 0.12, s) * (1.0 + 0.2 * wave_down.at(s)) * gap(s);
            self.fold_up[i] = (self.up[i] + up).max(fan) * rounding;
            self.fold_down[i] = (self.down[i] + down).max(fan) * rounding;
        }
    }

    fn draw_gut(&mut self, dice: &mut Dice, look: &Look, depth: f64) {
        if dice.chance(look.fed) {
            self.gut.2 *= dice.within(1.0, 1.9);
            let strength = dice.log_within(0.15, 1.6) * (depth / 0.1).min(1.3);
            // Orange-brown to grey-green: food colours vary.
            let hue = dice.within(0.0, 1.0);
            self.food =
                [strength * (0.35 + 0.45 * hue), strength * (0.8 + 0.1 * hue), strength * (1.7 - 0.6 * hue)];
            let start = dice.within(0.0, 0.6);
            self.food_span = (start, (start + dice.within(0.25, 1.0)).min(1.0));
        }
    }

    fn draw_bladder(&mut self, dice: &mut Dice, look: &Look, depth: f64, inflated: bool) {
        let at = (look.bladder_at + 0.018 * dice.normal()).clamp(0.27, 0.45);
        let room = self.half(at, true) + self.half(at, false);
        if inflated {
            let over = dice.chance(0.015);
            let length = (look.bladder_length * (0.17 * dice.normal()).exp()).clamp(0.05, 0.20);
            let length = if over { length.max(0.17) * 1.35 } else { length };
            let share = if over { dice.within(0.85, 1.05) } else { dice.within(0.38, 0.80) };
            let height = (length * dice.within(0.40, 0.78)).min(room * share);
            let shape = Organ {
                at,
                // Under the backbone, within the body wall even when its depth is nearly filled.
                up: (0.93 * self.half(at, true) - 0.52 * height).min(depth * dice.within(0.06, 0.22)),
                side: 0.0,
                a: 0.5 * length,
                b: 0.5 * height,
                tilt: 0.10 * dice.normal(),
                density: [0.0; 3],
            };
            self.bladder = Bladder::Gas { shape, skew: dice.within(-0.25, 0.25) };
            if over {
                // Gas-supersaturated water: bubbles in the gut as well (Cornacchia & Colt 1984,
                // doi 10.1111/j.1365-2761.1984.tb00903.x).
                for _ in 0..dice.count(1, 4) {
                    let at = dice.within(self.gut.0 + 0.12, self.gut.1 - 0.03);
                    let radius = self.gut.2 * dice.within(0.5, 1.0);
                    self.gut_gas.push(Organ {
                        at,
                        up: self.gut_line(at),
                        a: radius * 1.2,
                        b: radius,
                        ..shape
                    });
                }
            }
            return;
        }
        // A failed bladder stays under 3-5 % of the fish's length (Chatain 1986).
        let mut organ = Organ {
            at,
            up: depth * dice.within(0.05, 0.22),
            side: 0.0,
            a: 0.5 * dice.within(0.02, 0.05),
            b: room * dice.within(0.04, 0.09),
            tilt: 0.10 * dice.normal(),
            density: [0.0; 3],
        };
        let kind = dice.within(0.0, 1.0);
        self.bladder = if kind < 0.5 {
            Bladder::None
        } else if kind < 0.75 {
            let d = dice.within(-0.03, 0.12);
            organ.density = [d, d, 1.2 * d];
            Bladder::Slit(organ)
        } else {
            organ.a = 0.5 * dice.within(0.03, 0.075);
            organ.b = (organ.a * dice.within(0.4, 0.8)).min(0.3 * room);
            Bladder::Vesicle(organ)
        };
    }

    fn draw_organs(
        &mut self,
        dice: &mut Dice,
        depth: f64,
        density: f64,
        yolk: f64,
        yolk_place: (f64, f64),
        age_dph: f64,
    ) {
        let tint = |d: f64, r: f64, g: f64, b: f64| [d * r, d * g, d * b];
        let mut put = |at: f64, up: f64, a: f64, b: f64, density: [f64; 3]| {
            self.organs.push(Organ { at, up: up * depth, side: 0.0, a, b: b * depth, tilt: 0.0, density });
        };
        // Brain, ear, heart, liver: places by eye from published drawings of percid larvae (from memory).
        let d = density;
        put(0.075, 0.18, 0.045, 0.30, tint(d * dice.within(0.1, 0.7), 0.8, 1.0, 1.3));
        put(
            dice.within(0.095, 0.12),
            dice.within(0.0, 0.2),
            0.014,
            0.14,
            tint(d * dice.within(-0.3, 0.9), 1.0, 1.0, 1.0),
        );
        put(
            dice.within(0.11, 0.14),
            -dice.within(0.25, 0.4),
            0.018,
            0.14,
            tint(dice.within(0.0, 0.25), 0.4, 1.2, 1.2),
        );
        put(dice.within(0.16, 0.22), -0.25, 0.05, 0.22, tint(dice.within(0.0, 0.25), 0.5, 0.9, 1.7));
        // Two ear stones, small and sharp; the mouth's line; the gill cover's edge.
        let stone = dice.within(0.05, 0.4);
        let ear = dice.within(0.098, 0.118);
        put(ear, dice.within(0.05, 0.15), 0.0032, 0.035, [stone; 3]);
        put(ear + 0.009, dice.within(0.02, 0.12), 0.0045, 0.045, [stone; 3]);
        let line = dice.within(0.0, 0.25);
        put(0.025, -0.18, 0.022, 0.018, [line; 3]);
        put(dice.within(0.115, 0.135), -0.12, 0.0035, 0.24, [0.6 * line; 3]);
        if yolk > 0.05 {
            let down = 0.5 * depth + yolk * 0.45 * depth;
            self.organs.push(Organ {
                at: yolk_place.0,
                up: -down,
                side: 0.0,
                a: 0.85 * yolk_place.1,
                b: 0.30 * depth + 0.45 * yolk * depth,
                tilt: 0.05 * dice.normal(),
                density: tint(dice.within(0.02, 0.14), 0.5, 0.9, 2.2),
            });
        }
        // The oil globule is gone at about 14 dph, 0.46 mm wide at hatch of 4.3 mm fish (pikeperch at
        // 15 C; Xu et al. 2017, doi 10.1007/s00343-017-6042-4).
        let left = 1.0 - ramp(0.0, 14.0, age_dph + 2.0 * dice.normal());
        let radius = 0.052 * left.powf(0.6) * dice.within(0.6, 1.0);
        if radius > 0.008 && dice.chance(0.8) {
            let at = (yolk_place.0 + dice.within(-0.02, 0.09)).clamp(0.12, 0.30);
            let amber = dice.within(0.05, 0.5);
            self.globule = Some(Organ {
                at,
                up: -(self.half(at, false) - 0.8 * radius).max(0.1 * depth) * dice.within(0.7, 1.0),
                side: 0.0,
                a: radius * dice.within(0.94, 1.06),
                b: radius,
                tilt: 0.0,
                density: [0.15 * amber, 0.6 * amber, 1.6 * amber],
            });
        }
    }

    fn draw_spots(&mut self, dice: &mut Dice, look: &Look, grown: f64) {
        let p = look.pigment;
        let mut spots = Vec::new();
        let mut row = |dice: &mut Dice, n: f64, s0: f64, s1: f64, line: &dyn Fn(f64) -> f64, long: f64| {
            let n = (n * dice.within(0.3, 1.3)) as usize;
            let strength = dice.within(0.15, 1.1);
            for _ in 0..n {
                let at = dice.within(s0, s1);
                spots.push(Spot {
                    at,
                    up: line(at) + 0.002 * dice.normal(),
                    side: 0.004 * dice.normal(),
                    radius: dice.log_within(0.0012, 0.0042),
                    long: long * dice.within(0.6, 1.5),
                    density: strength * dice.within(0.3, 1.2),
                    arms: dice.count(3, 8) as f64,
                    phase: dice.angle(),
                });
            }
        };
        let vent = self.gut.1;
        // Stripes: roof of the gut, belly, behind the vent, back; then stars on head and flank.
        row(dice, 26.0 * p, 0.26, vent, &|s| self.gut_line(s) + 0.9 * self.gut.2, 2.6);
        row(dice, 18.0 * p, 0.20, vent, &|s| -0.9 * self.half(s, false), 2.2);
        row(dice, 22.0 * p, vent, 0.92, &|s| -0.85 * self.half(s, false), 2.4);
        row(dice, 8.0 * p, 0.12, 0.9, &|s| 0.85 * self.half(s, true), 1.3);
        row(dice, 6.0 * p * (0.3 + grown), 0.02, 0.13, &|s| 0.5 * self.half(s, true), 1.0);
        let n = (30.0 * p * grown * dice.within(0.2, 1.5)) as usize;
        for _ in 0..n {
            let at = dice.within(0.1, 0.9);
            spots.push(Spot {
                at,
                up: self.half(at, true) * dice.within(-0.8, 0.9),
                side: self.half_width(at) * dice.within(-0.8, 0.8),
                radius: dice.log_within(0.0015, 0.006),
                long: dice.within(0.8, 1.4),
                density: dice.within(0.1, 0.7),
                arms: dice.count(3, 8) as f64,
                phase: dice.angle(),
            });
        }
        self.spots = spots;
    }
}

fn draw_eye(dice: &mut Dice, look: &Look, depth: f64, thick: &[f64], grown: f64) -> Organ {
    let diameter = depth * dice.within(0.52, 0.72) * (1.0 - 0.28 * grown);
    let diameter = diameter.clamp(0.036, 0.082);
    let at = 0.5 * diameter + dice.within(0.010, 0.028) + 0.015 * grown;
    let black = look.eye * dice.within(0.85, 1.15);
    Organ {
        at,
        up: depth * dice.within(0.0, 0.12),
        side: (table(thick, at) * dice.within(0.6, 0.9)).max(0.3 * diameter),
        a: 0.5 * diameter * dice.within(0.95, 1.08),
        b: 0.5 * diameter * dice.within(0.85, 1.0),
        tilt: 0.2 * dice.normal(),
        density: [black, black * 1.02, black * 1.05],
    }
}

/// How much the yolk sac still bulges, 0-1: gone at 11 dph at 15 C (Xu et al. 2017), often earlier.
fn yolk_share(dice: &mut Dice, age_dph: f64) -> f64 {
    let left = 1.0 - ramp(0.0, 8.0, age_dph + 1.2 * dice.normal());
    left * dice.within(0.3, 1.0)
}
