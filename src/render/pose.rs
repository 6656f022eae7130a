//! How a larva lies: its bent midline on the picture and the roll about its long axis.

use super::dice::{Dice, smooth};

/// Points of a midline.
pub(super) const POINTS: usize = 161;

/// A larva's place and bend. Lengths are pixels of the flat scene.
#[derive(Debug, Clone)]
pub(super) struct Pose {
    /// From snout to the end of the tail fin, [`POINTS`] points at equal distances.
    pub midline: Vec<[f64; 2]>,
    /// Total length.
    pub length: f64,
    /// Roll about the long axis, radians: 0 on its side, a quarter turn seen from above (positive) or
    /// from below (negative).
    pub roll: f64,
    /// Whether the back is to the left of the midline walked from snout to tail, as seen.
    pub back_left: bool,
}

/// How a larva may bend.
#[derive(Debug, Clone, Copy)]
pub(super) struct Bend {
    /// Turn of a C, radians.
    pub c: f64,
    /// Turn of an S, radians.
    pub s: f64,
    /// Where the C turns fastest, fraction of length.
    pub at: f64,
    /// Over what share of the length it turns.
    pub over: f64,
}

impl Bend {
    /// No bend.
    pub const STRAIGHT: Self = Self { c: 0.0, s: 0.0, at: 0.5, over: 0.8 };

    /// Draws a bend of at most `turn` radians in all, of either shape.
    pub fn draw(dice: &mut Dice, turn: f64) -> Self {
        let total = turn * dice.within(0.15, 1.0);
        let share = if dice.chance(0.6) { dice.within(0.8, 1.0) } else { dice.within(0.0, 0.4) };
        Self {
            c: dice.sign() * total * share,
            s: dice.sign() * total * (1.0 - share) * 0.8,
            at: dice.within(0.42, 0.68),
            over: dice.within(0.45, 0.9),
        }
    }

    /// Heading at `s` relative to the head's.
    fn heading(self, s: f64) -> f64 {
        let c = self.c * smooth(0.5 + (s - self.at) / self.over);
        // The head is stiff: the S starts behind it.
        let t = ((s - 0.15) / 0.8).clamp(0.0, 1.0);
        c + 0.5 * self.s * (std::f64::consts::TAU * t).sin()
    }
}

impl Pose {
    /// A larva `length` pixels long whose body's middle lies at `centre`, its chord pointing (snout to tail)
    /// along `heading` radians (x right, y down).
    pub fn new(centre: [f64; 2], heading: f64, length: f64, bend: Bend) -> Self {
        let step = length / (POINTS - 1) as f64;
        let mut at = [0.0, 0.0];
        let mut midline = vec![at];
        for i in 0..POINTS - 1 {
            let turn = bend.heading((i as f64 + 0.5) / (POINTS - 1) as f64);
            at = [at[0] + step * turn.cos(), at[1] + step * turn.sin()];
            midline.push(at);
        }
        let chord = at[1].atan2(at[0]);
        let (sin, cos) = (heading - chord).sin_cos();
        let n = midline.len() as f64;
        let mean = [0, 1].map(|k| midline.iter().map(|p| p[k]).sum::<f64>() / n);
        for p in &mut midline {
            let (x, y) = (p[0] - mean[0], p[1] - mean[1]);
            *p = [centre[0] + cos * x - sin * y, centre[1] + sin * x + cos * y];
        }
        Self { midline, length, roll: 0.0, back_left: true }
    }

    /// The same pose moved so that its point at `s` of the length lies at `to`.
    pub fn anchored(mut self, s: f64, to: [f64; 2]) -> Self {
        let from = self.point(s);
        for p in &mut self.midline {
            *p = [p[0] + to[0] - from[0], p[1] + to[1] - from[1]];
        }
        self
    }

    /// Point of the midline at `s` of the length, linear.
    pub fn point(&self, s: f64) -> [f64; 2] {
        let x = s.clamp(0.0, 1.0) * (self.midline.len() - 1) as f64;
        let i = (x as usize).min(self.midline.len() - 2);
        let (a, b, t) = (self.midline[i], self.midline[i + 1], x - i as f64);
        [a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])]
    }

    /// Unit vector from snout to tail at `s` of the length.
    pub fn tangent(&self, s: f64) -> [f64; 2] {
        let (a, b) = (self.point(s - 0.01), self.point(s + 0.01));
        let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
        let d = dx.hypot(dy).max(1e-9);
        [dx / d, dy / d]
    }

    /// Unit vector across the body towards the back.
    pub fn backward(&self, tangent: [f64; 2]) -> [f64; 2] {
        // Left of the direction walked, with y down.
        let left = [tangent[1], -tangent[0]];
        if self.back_left { left } else { [-left[0], -left[1]] }
    }

    /// The box around the midline: x0, y0, x1, y1.
    pub fn bounds(&self) -> [f64; 4] {
        let mut b = [f64::MAX, f64::MAX, f64::MIN, f64::MIN];
        for p in &self.midline {
            b = [b[0].min(p[0]), b[1].min(p[1]), b[2].max(p[0]), b[3].max(p[1])];
        }
        b
    }

    /// Whether every point of this midline is farther than `limit` from every point of another's.
    pub fn apart(&self, other: &Self, limit: f64) -> bool {
        // Neither reaches farther from its middle than its own length.
        let (p, q) = (self.point(0.5), other.point(0.5));
        if (p[0] - q[0]).hypot(p[1] - q[1]) > 0.5 * (self.length + other.length) + limit {
            return true;
        }
        self.midline.iter().step_by(4).all(|p| {
            other
                .midline
                .iter()
                .step_by(4)
                .all(|q| (p[0] - q[0]).powi(2) + (p[1] - q[1]).powi(2) > limit * limit)
        })
    }
}
