//! What the fish of one sample have in common.

use super::dice::{Dice, ramp};

/// What the fish of one photograph have in common.
#[derive(Debug, Clone, Copy)]
pub(super) struct Look {
    /// Greatest depth as a share of total length, without yolk.
    pub depth: f64,
    /// Optical density (natural log) of the trunk in green, through its thickest part.
    pub density: f64,
    /// How many times the density in blue exceeds that in green.
    pub yellow: f64,
    /// Optical density of the tail's last tenth, about the same in every channel.
    pub tail: f64,
    /// Amount of dark pigment, 0 to about 2.
    pub pigment: f64,
    /// Optical density of the eye.
    pub eye: f64,
    /// Share of fish with food in the gut.
    pub fed: f64,
    /// Lateral width over depth of the trunk.
    pub width: f64,
    /// Optical density of the body's outline under a small lamp: light bent aside by the steep wall.
    pub outline: f64,
    /// Typical bladder centre, fraction of total length.
    pub bladder_at: f64,
    /// Typical bladder length at this age, fraction of total length.
    pub bladder_length: f64,
}

impl Look {
    /// A look for larvae of `age_dph` days, drawn wide.
    pub fn draw(dice: &mut Dice, age_dph: f64) -> Self {
        let grown = ramp(2.0, 24.0, age_dph);
        let depth = (0.072 + 0.075 * grown + 0.016 * dice.normal()).clamp(0.064, 0.18);
        Self {
            depth,
            // Newly hatched, in stored (sRGB) values against the background: green 0.92-0.95 in the median and above
            // 0.97 in one of five; in linear light that is a density of 0.11-0.19 and below 0.07.
            density: dice.log_within(0.06, 0.42) * (1.0 + 1.5 * grown * dice.within(0.1, 1.0)),
            yellow: dice.within(1.6, 3.0),
            tail: dice.within(0.05, 0.135),
            pigment: dice.log_within(0.25, 1.8),
            eye: dice.within(1.5, 3.6),
            fed: if age_dph < 5.0 { dice.within(0.0, 0.3) } else { dice.within(0.2, 1.0) },
            width: dice.within(0.6, 0.95) - 0.2 * grown,
            outline: if dice.chance(0.5) { dice.log_within(0.01, 0.12) } else { 0.0 },
            bladder_at: dice.within(0.30, 0.42),
            bladder_length: bladder_length(age_dph, dice.within(0.8, 1.25)),
        }
    }
}

/// Typical length of an inflated bladder: about 6-10 % of total length when first filled, 15-20 %
/// later. The 10 % at 5.6 mm and 15 % at 15.6 mm follow from a gas volume of 5 % of the fish's
/// weight; Chatain 1986 (Aquaculture 53:303-311) gives 20-30 % only for fish of 40-50 mm.
fn bladder_length(age_dph: f64, spread: f64) -> f64 {
    ((0.075 + 0.085 * ramp(4.0, 25.0, age_dph)) * spread).clamp(0.05, 0.20)
}
