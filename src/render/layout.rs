//! Where the fish lie: apart, touching, crossed, against the wall, cut by the frame.

use super::anatomy::Anatomy;
use super::backdrop::{Pad, Vessel};
use super::dice::Dice;
use super::pose::{Bend, Pose};

/// A larva to place: anatomy, length in pixels.
pub(super) struct Guest {
    /// Its anatomy.
    pub anatomy: Anatomy,
    /// Total length in pixels.
    pub length: f64,
    /// Index of the fish asked for.
    pub index: usize,
}

/// A placed larva.
pub(super) struct Placed {
    /// Who it is.
    pub guest: Guest,
    /// How it lies.
    pub pose: Pose,
    /// Vessel it lies in, from 0.
    pub vessel: Option<usize>,
}

/// What the layout may do.
#[derive(Debug, Clone, Copy)]
pub(super) struct Habits {
    /// Largest total turn of a bend, radians.
    pub bend: f64,
    /// Share of fish that bend at all.
    pub bent: f64,
    /// Share of fish coiled into more than half a turn.
    pub coiled: f64,
    /// Shares seen from the side, from above or below, and obliquely; the rest from the side.
    pub top: f64,
    /// See `top`.
    pub oblique: f64,
    /// Share of fish in touching pairs and triples.
    pub touching: f64,
    /// Share of fish against the wall.
    pub at_wall: f64,
    /// Share of fish cut by the frame.
    pub cut: f64,
}

/// The room fish may lie in.
pub(super) struct Room<'a> {
    /// Frame.
    pub width: f64,
    /// Frame.
    pub height: f64,
    /// Vessels, if any.
    pub vessels: &'a [Vessel],
    /// Lit window, if any.
    pub pad: Option<&'a Pad>,
    /// Boxes nothing may lie on (rulers): x0, y0, x1, y1.
    pub taken: &'a [[f64; 4]],
}

impl Room<'_> {
    fn allows(&self, pose: &Pose, vessel: Option<usize>, half: f64, cut: bool, over_wall: f64) -> bool {
        pose.midline.iter().step_by(4).chain(pose.midline.last()).all(|p| {
            let margin = half + 4.0;
            let framed =
                p[0] > margin && p[1] > margin && p[0] < self.width - margin && p[1] < self.height - margin;
            let walled =
                vessel.is_none_or(|v| self.vessels[v].shape.distance(p[0], p[1]) < over_wall - half - 1.0);
            let lit = self.pad.is_none_or(|pad| pad.window.distance(p[0], p[1]) < -half - 12.0);
            let free = self.taken.iter().all(|t| {
                p[0] < t[0] - half || p[0] > t[2] + half || p[1] < t[1] - half || p[1] > t[3] + half
            });
            (framed || cut) && walled && lit && free
        })
    }
}

/// Largest half extent of a larva across its midline, pixels.
fn half(guest: &Guest) -> f64 {
    0.5 * guest.anatomy.depth().max(guest.anatomy.width()) * guest.length
}

fn bend(dice: &mut Dice, habits: &Habits) -> Bend {
    if dice.chance(habits.coiled) {
        return Bend { c: dice.sign() * dice.within(3.4, 5.5), s: 0.0, at: 0.5, over: 1.1 };
    }
    if dice.chance(habits.bent) {
        return Bend::draw(dice, habits.bend);
    }
    if dice.chance(0.3) { Bend::STRAIGHT } else { Bend::draw(dice, 0.2) }
}

fn roll(dice: &mut Dice, habits: &Habits) -> f64 {
    let kind = dice.within(0.0, 1.0);
    if kind < habits.top {
        // From above, or belly-up.
        let from = if dice.chance(0.8) { 1.0 } else { -1.0 };
        from * (std::f64::consts::FRAC_PI_2 + 0.12 * dice.normal())
    } else if kind < habits.top + habits.oblique {
        dice.sign() * dice.within(0.45, 1.1)
    } else {
        dice.normal_within(0.0, 0.12, -0.35, 0.35)
    }
}

fn free_pose(dice: &mut Dice, guest: &Guest, habits: &Habits, centre: [f64; 2]) -> Pose {
    let mut pose = Pose::new(centre, dice.angle(), guest.length, bend(dice, habits));
    pose.back_left = dice.chance(0.5);
    pose.roll = roll(dice, habits);
    pose
}

/// A pose that touches or crosses `first`.
fn touching_pose(dice: &mut Dice, guest: &Guest, habits: &Habits, first: &Placed) -> Pose {
    let mine = half(guest);
    let theirs = half(&first.guest);
    let heading_at = |s: f64| {
        let t = first.pose.tangent(s);
        t[1].atan2(t[0])
    };
    let mut pose = free_pose(dice, guest, habits, [0.0, 0.0]);
    let turn_to = |pose: Pose, heading: f64, dice: &mut Dice| {
        let mut new = Pose::new([0.0, 0.0], heading, guest.length, bend(dice, habits));
        (new.roll, new.back_left) = (pose.roll, pose.back_left);
        new
    };
    match dice.count(0, 4) {
        // Head to tail, the snout at or over the other's tail.
        0 => {
            let s = dice.within(0.90, 1.0);
            pose = turn_to(pose, heading_at(s) + dice.normal() * 0.5, dice);
            pose.anchored(0.01, first.pose.point(s))
        }
        // Its tail over the other's head.
        1 => {
            let s = dice.within(0.0, 0.12);
            pose = turn_to(pose, heading_at(s) + dice.within(0.3, 2.8) * dice.sign(), dice);
            pose.anchored(dice.within(0.85, 0.97), first.pose.point(s))
        }
        // Side by side.
        2 => {
            let s = dice.within(0.3, 0.7);
            let t = first.pose.tangent(s);
            let side = dice.sign() * (mine + theirs) * dice.within(0.7, 0.98);
            let p = first.pose.point(s);
            let flip = if dice.chance(0.4) { std::f64::consts::PI } else { 0.0 };
            pose = turn_to(pose, heading_at(s) + flip + 0.12 * dice.normal(), dice);
            pose.anchored(dice.within(0.3, 0.7), [p[0] + side * t[1], p[1] - side * t[0]])
        }
        // Crossed in an X.
        3 => {
            let s = dice.within(0.3, 0.75);
            pose = turn_to(pose, heading_at(s) + dice.sign() * dice.within(0.6, 2.5), dice);
            pose.anchored(dice.within(0.3, 0.75), first.pose.point(s))
        }
        // Snout against the flank.
        _ => {
            let s = dice.within(0.15, 0.8);
            let (t, p) = (first.pose.tangent(s), first.pose.point(s));
            let side = dice.sign() * theirs * dice.within(0.6, 1.1);
            let at = [p[0] + side * t[1], p[1] - side * t[0]];
            let outwards = (-t[0] * side.signum()).atan2(t[1] * side.signum());
            pose = turn_to(pose, outwards + 0.5 * dice.normal(), dice);
            pose.anchored(0.01, at)
        }
    }
}

/// Moves a pose towards the wall of its vessel until it touches.
fn to_wall(pose: Pose, vessel: &Vessel, half: f64) -> Pose {
    let b = vessel.shape.bounds();
    let middle = [0.5 * (b[0] + b[2]), 0.5 * (b[1] + b[3])];
    let p = pose.point(0.5);
    let (dx, dy) = (p[0] - middle[0], p[1] - middle[1]);
    let d = dx.hypot(dy).max(1.0);
    let mut pose = pose;
    for _ in 0..4000 {
        let nearest = pose.midline.iter().map(|p| vessel.shape.distance(p[0], p[1])).fold(f64::MIN, f64::max);
        if nearest > -half - 2.5 {
            break;
        }
        let step = (-half - 1.5 - nearest).clamp(0.5, 8.0);
        for q in &mut pose.midline {
            *q = [q[0] + step * dx / d, q[1] + step * dy / d];
        }
    }
    pose
}

/// Places `guests` in the room. Those for which there is no room are left out.
pub(super) fn place(dice: &mut Dice, guests: Vec<Guest>, habits: &Habits, room: &Room) -> Vec<Placed> {
    let mut placed: Vec<Placed> = Vec::new();
    let mut open: Option<(usize, usize)> = None;
    for guest in guests {
        let h = half(&guest);
        // A pair in the making: this one goes on an earlier one.
        if let Some((on, left)) = open.take() {
            let mut done = None;
            for _ in 0..120 {
                let first = &placed[on];
                let pose = touching_pose(dice, &guest, habits, first);
                let others = placed.iter().enumerate().all(|(i, q)| {
                    i == on || pose.apart(&q.pose, h + half(&q.guest) + 8.0) || left == 1 && i + 1 == on
                });
                if others && room.allows(&pose, first.vessel, h, false, 0.0) {
                    done = Some((pose, first.vessel));
                    break;
                }
            }
            if let Some((pose, vessel)) = done {
                placed.push(Placed { guest, pose, vessel });
                if left > 1 {
                    open = Some((placed.len() - 1, left - 1));
                }
                continue;
            }
        }
        let cut = dice.chance(habits.cut);
        let at_wall = dice.chance(habits.at_wall);
        // Against the wall, or partly behind its inner line.
        let over_wall = h * dice.within(0.0, 1.2);
        let mut found = None;
        for attempt in 0..400 {
            let vessel = (!room.vessels.is_empty()).then(|| dice.count(0, room.vessels.len() - 1));
            let bounds = vessel.map_or([0.0, 0.0, room.width, room.height], |v| {
                let b = room.vessels[v].shape.bounds();
                [b[0].max(0.0), b[1].max(0.0), b[2].min(room.width), b[3].min(room.height)]
            });
            let bounds = room.pad.map_or(bounds, |pad| {
                let b = pad.window.bounds();
                [bounds[0].max(b[0]), bounds[1].max(b[1]), bounds[2].min(b[2]), bounds[3].min(b[3])]
            });
            let mut centre = [dice.within(bounds[0], bounds[2]), dice.within(bounds[1], bounds[3])];
            if cut {
                let k = dice.count(0, 1);
                centre[k] = if dice.chance(0.5) { 0.0 } else { [room.width, room.height][k] }
                    + 0.3 * guest.length * dice.normal();
            }
            let mut pose = free_pose(dice, &guest, habits, centre);
            if let (true, Some(v)) = (at_wall, vessel) {
                pose = to_wall(pose, &room.vessels[v], h - over_wall);
            }
            let gap = if attempt < 250 { 12.0 + 0.3 * h } else { 6.0 };
            if room.allows(&pose, vessel, h, cut, if at_wall { over_wall } else { 0.0 })
                && placed.iter().all(|q| pose.apart(&q.pose, h + half(&q.guest) + gap))
            {
                found = Some((pose, vessel));
                break;
            }
        }
        if let Some((pose, vessel)) = found {
            placed.push(Placed { guest, pose, vessel });
            // Pairs mostly, now and then triples: p starts of 2.25 fish make a share t = 2.25 p / (1 + 1.25 p).
            let start = habits.touching / (2.25 - 1.25 * habits.touching);
            if dice.chance(start) {
                open = Some((placed.len() - 1, if dice.chance(0.25) { 2 } else { 1 }));
            }
        }
    }
    placed
}
