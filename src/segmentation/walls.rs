//! Vessel walls: circles seen as ellipses, and straight edges, as bands in which no fish is looked for.

use crate::imaging::{components::Region, ellipse::Ellipse};

/// A wall as a band round a curve, in search pixels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Wall {
    /// A round wall; the band reaches from `inner` to `outer` beyond the outline (negative is inside).
    Round {
        /// The curve.
        shape: Ellipse,
        /// Inner edge of the band.
        inner: f64,
        /// Outer edge of the band.
        outer: f64,
        /// Sectors that a region must cover by itself to be a piece of it; fewer than of a vessel's wall where the frame shows
        /// an arc only, which says too little of the vessel.
        least: usize,
    },
    /// A straight edge from one point to another, `half` to each side.
    Straight {
        /// One end, x then y.
        from: [f64; 2],
        /// The other end.
        to: [f64; 2],
        /// Half-width of the band.
        half: f64,
    },
}

/// Where, beyond the ends of a straight edge, in its lengths, the fibre of which it would be a piece goes on, in each of so
/// many places: the corners of trays are rounded by less (by trying, rendered trays).
const BEND: [f64; 2] = [0.1, 0.25];
const BENDS: usize = 3;
/// Least slope at which it leaves the edge's direction: a line laid askew along an edge leaves it by less.
const GENTLY: f64 = 0.12;
/// How far beside its middle a straight piece is counted, in its lengths, and how much wider it is farther on at most: a fish
/// that lies at its end is (by trying, rendered trays).
const BESIDE: f64 = 0.05;
const WIDER: f64 = 2.0;

impl Wall {
    /// Whether a point lies in the band widened by `slack`.
    pub fn holds(&self, x: f64, y: f64, slack: f64) -> bool {
        match self {
            Self::Round { shape, inner, outer, .. } => {
                // Most points are nowhere near: the two circles that hold the band settle those.
                let r2 = (x - shape.x).powi(2) + (y - shape.y).powi(2);
                let (least, most) = ((shape.b + inner - slack).max(0.0), shape.a + outer + slack);
                r2 >= least * least && r2 <= most * most && {
                    let d = shape.distance(x, y);
                    d >= inner - slack && d <= outer + slack
                }
            }
            Self::Straight { from, to, half } => {
                let (d, along) = beside(*from, *to, [x, y]);
                d <= half + slack && (-slack..=1.0 + slack).contains(&along)
            }
        }
    }

    /// Whether it is an arc that says too little of its vessel.
    pub fn is_arc(&self) -> bool {
        matches!(self, Self::Round { least, .. } if *least < LEAST_ARC)
    }

    /// How far the wall's haze may reach, search pixels; that of an arc as if its vessel were no larger than the arc is long.
    fn haze_reach(&self) -> f64 {
        match self {
            Self::Round { shape, least, .. } => {
                let seen = *least as f64 / SECTORS as f64 * std::f64::consts::TAU * shape.b;
                HAZE * if self.is_arc() { shape.b.min(seen) } else { shape.b }
            }
            Self::Straight { from, to, .. } => HAZE_STRAIGHT * (to[0] - from[0]).hypot(to[1] - from[1]),
        }
    }

    /// Whether a point lies no farther from the band than the wall's haze may reach.
    pub fn may_haze(&self, x: f64, y: f64) -> bool {
        self.holds(x, y, self.haze_reach())
    }

    /// Whether a region (pixels of the search) holds a long piece of this wall, so that the rest of it may be
    /// something lying against the wall; a region the band merely crosses does not.
    pub fn runs_through(&self, region: &Region) -> bool {
        let inside = region
            .pixels
            .iter()
            .map(|&(x, y)| [f64::from(x), f64::from(y)])
            .filter(|p| self.holds(p[0], p[1], 0.0));
        match self {
            Self::Round { shape, least, .. } => {
                let mut sectors = [false; SECTORS];
                for p in inside {
                    sectors[sector(shape, p)] = true;
                }
                longest_run(&sectors) >= *least
            }
            Self::Straight { from, to, .. } => {
                let mut pieces = [false; SECTORS];
                for p in inside {
                    pieces[piece(beside(*from, *to, p).1)] = true;
                }
                // A fish may lie along a short edge, and a tray's frame is one region with four of them.
                let extent = f64::from(region.width().max(region.height()));
                let length = (to[0] - from[0]).hypot(to[1] - from[1]);
                let followed = run(pieces.iter()) as f64 / SECTORS as f64 * length;
                followed >= LEAST_STRAIGHT * extent
            }
        }
    }
}

/// Sectors of a circle, and pieces of a straight wall.
pub(super) const SECTORS: usize = 72;
/// Sectors that one region must cover by itself to count.
pub(super) const LEAST_ARC: usize = 12;

/// How far the haze beside a round wall may reach, as a share of its radius.
const HAZE: f64 = 0.12;
/// The same beside a straight one, as a share of its length.
const HAZE_STRAIGHT: f64 = 0.06;
/// Piece of a straight wall that a region must follow, as a share of the region's extent.
const LEAST_STRAIGHT: f64 = 0.4;

/// Which of as many pieces as a circle has sectors lies at `along` (0 to 1) of a straight wall.
fn piece(along: f64) -> usize {
    ((along * SECTORS as f64).max(0.0) as usize).min(SECTORS - 1)
}

impl Wall {
    /// The same wall with its band widened over the haze that a region shows all along it: to both sides while
    /// the region goes on in more than half of the sectors that the band itself covers. A fish against the wall
    /// takes few sectors.
    pub fn widened(&self, pixels: &[(u32, u32)]) -> Self {
        match *self {
            Self::Round { shape, inner, outer, least } => {
                let [inner, outer] = widened_round(self, pixels, &shape, [inner, outer]);
                Self::Round { shape, inner, outer, least }
            }
            Self::Straight { from, to, half } => Self::widened_straight(pixels, from, to, half),
        }
    }

    fn widened_straight(pixels: &[(u32, u32)], from: [f64; 2], to: [f64; 2], half: f64) -> Self {
        let [from, to] = in_line(pixels, from, to, half);
        let reach = Self::Straight { from, to, half }.haze_reach().ceil() as usize + 1;
        let mut beyond = vec![[false; SECTORS]; reach];
        let mut band = [false; SECTORS];
        for &(x, y) in pixels {
            let (d, along) = beside(from, to, [f64::from(x), f64::from(y)]);
            if !(0.0..1.0).contains(&along) {
                continue;
            }
            if d <= half {
                band[piece(along)] = true;
            } else if let Some(step) = beyond.get_mut((d - half) as usize) {
                step[piece(along)] = true;
            }
        }
        let covered = band.iter().filter(|c| **c).count();
        let goes_on = |s: &&[bool; SECTORS]| 2 * s.iter().filter(|c| **c).count() > covered;
        Self::Straight { from, to, half: half + beyond.iter().take_while(goes_on).count() as f64 }
    }
}

/// The edges of the band of a round wall widened over the haze of a region.
fn widened_round(wall: &Wall, pixels: &[(u32, u32)], shape: &Ellipse, [inner, outer]: [f64; 2]) -> [f64; 2] {
    let reach = wall.haze_reach().ceil() as usize;
    let mut beyond = vec![[false; SECTORS]; 2 * reach];
    let mut band = [false; SECTORS];
    let distance = shape.distances();
    for &(x, y) in pixels.iter().filter(|(x, y)| wall.holds(f64::from(*x), f64::from(*y), reach as f64)) {
        let sector = sector(shape, [f64::from(x), f64::from(y)]);
        let d = distance(f64::from(x), f64::from(y));
        if d < inner {
            beyond[((inner - d) as usize).min(reach - 1)][sector] = true;
        } else if d > outer {
            beyond[reach + ((d - outer) as usize).min(reach - 1)][sector] = true;
        } else {
            band[sector] = true;
        }
    }
    let covered = band.iter().filter(|c| **c).count();
    let goes_on = |s: &&[bool; SECTORS]| 2 * s.iter().filter(|c| **c).count() > covered;
    let (inwards, outwards) = beyond.split_at(reach);
    [
        inner - inwards.iter().take_while(goes_on).count() as f64,
        outer + outwards.iter().take_while(goes_on).count() as f64,
    ]
}

/// The ends of a straight wall and of what a region goes on with in line with it: that is the same wall.
pub fn in_line(pixels: &[(u32, u32)], from: [f64; 2], to: [f64; 2], half: f64) -> [[f64; 2]; 2] {
    let places = pixels.iter().map(|&(x, y)| beside(from, to, [f64::from(x), f64::from(y)]));
    let (first, last) = places
        .filter(|(d, _)| *d <= half)
        .fold((0.0_f64, 1.0_f64), |(first, last), (_, along)| (first.min(along), last.max(along)));
    [first, last].map(|along| [0, 1].map(|i| from[i] + along * (to[i] - from[i])))
}

/// The sector of the circle round `shape`'s centre in which a point lies.
fn sector(shape: &Ellipse, [x, y]: [f64; 2]) -> usize {
    let turn = (y - shape.y).atan2(x - shape.x) / std::f64::consts::TAU + 0.5;
    ((turn * SECTORS as f64) as usize).min(SECTORS - 1)
}

/// Longest run of covered sectors of a circle: a body that crosses it covers short pieces of it.
pub(super) fn longest_run(sectors: &[bool; SECTORS]) -> usize {
    run(sectors.iter().chain(sectors)).min(SECTORS)
}

/// Longest run of covered pieces.
fn run<'a>(pieces: impl Iterator<Item = &'a bool>) -> usize {
    let (mut best, mut run) = (0, 0);
    for covered in pieces {
        run = if *covered { run + 1 } else { 0 };
        best = best.max(run);
    }
    best
}

/// Distance of `p` from the line through `a` and `b`, and its place along it (0 at `a`, 1 at `b`).
pub(super) fn beside(a: [f64; 2], b: [f64; 2], p: [f64; 2]) -> (f64, f64) {
    let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
    let l2 = (dx * dx + dy * dy).max(1e-9);
    let (px, py) = (p[0] - a[0], p[1] - a[1]);
    ((px * dy - py * dx).abs() / l2.sqrt(), (px * dx + py * dy) / l2)
}

/// Whether a region goes on beyond both ends of what is straight of it and bends away gently, as wide as before, as a fibre
/// does, less than half a right angle off: an edge ends, or turns a corner at once. `places` are points of the region as
/// [`beside`] gives them, the straight piece reaches from `t0` to `t1`, `unit` is the length of one in pixels.
pub(super) fn bends_away(places: impl Iterator<Item = (f64, f64)>, t0: f64, t1: f64, unit: f64) -> bool {
    let span = (t1 - t0) * unit;
    let mut seen = [[0usize; BENDS]; 2];
    let mut straight = 0;
    for (d, t) in places {
        straight += usize::from(d <= BESIDE * span && (t0..=t1).contains(&t));
        for (seen, beyond) in seen.iter_mut().zip([t0 - t, t - t1]) {
            let beyond = beyond * unit;
            let place = (beyond / span - BEND[0]) / (BEND[1] - BEND[0]);
            if (0.0..1.0).contains(&place) && (GENTLY * beyond..beyond).contains(&d) {
                seen[(place * BENDS as f64) as usize] += 1;
            }
        }
    }
    let most = WIDER * straight as f64 * (BEND[1] - BEND[0]) / BENDS as f64;
    seen.iter().all(|end| end.iter().all(|seen| (1.0..=most.max(1.0)).contains(&(*seen as f64))))
}

/// Inner outlines of the vessels, top to bottom then left to right; edges of one wall are one vessel, arcs are none.
pub fn vessels(walls: &[Wall]) -> Vec<Ellipse> {
    let mut rounds: Vec<Ellipse> = walls
        .iter()
        .filter_map(|w| match w {
            Wall::Round { shape, .. } if !w.is_arc() => Some(*shape),
            _ => None,
        })
        .collect();
    rounds.sort_by(|p, q| p.radius().total_cmp(&q.radius()));
    let mut kept: Vec<Ellipse> = Vec::new();
    for e in rounds {
        let same = |k: &Ellipse| (k.x - e.x).hypot(k.y - e.y) < 0.25 * e.radius();
        if !kept.iter().any(same) {
            kept.push(e);
        }
    }
    // Rows are as high as half a typical vessel.
    let row = kept.first().map_or(1.0, Ellipse::radius).max(1.0);
    kept.sort_by(|p, q| {
        let (r, s) = ((p.y / row).round(), (q.y / row).round());
        r.total_cmp(&s).then(p.x.total_cmp(&q.x))
    });
    kept
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Points of a straight piece 200 long that goes on at both ends round an arc of a radius, until it has turned by an
    /// angle, and straight on for 100 from there.
    fn bent(radius: f64, turn: f64) -> impl Iterator<Item = (f64, f64)> {
        let (from, to) = ([0.0, 0.0], [200.0, 0.0]);
        let side = move |k: i32| {
            let along = f64::from(k);
            let arc = along.min(radius * turn);
            let (sin, cos) = (arc / radius.max(1e-9)).sin_cos();
            let rest = along - arc;
            [200.0 + radius * sin + rest * cos, radius * (1.0 - cos) + rest * sin]
        };
        let end = move |k: i32| side(k);
        let start = move |k: i32| [200.0 - side(k)[0], side(k)[1]];
        let straight = (0..=200).map(|x| [f64::from(x), 0.0]);
        let reach = 100 + (radius * turn) as i32;
        straight.chain((1..reach).map(end)).chain((1..reach).map(start)).map(move |p| beside(from, to, p))
    }

    #[test]
    fn fibres_bend_away_and_corners_do_not() {
        let quarter = std::f64::consts::FRAC_PI_2;
        let is_fibre = |radius, turn| bends_away(bent(radius, turn), 0.0, 1.0, 200.0);
        assert!(is_fibre(120.0, quarter) && is_fibre(80.0, 0.6));
        assert!(!is_fibre(0.0, quarter) && !is_fibre(15.0, quarter));
        // Straight on, or none at all.
        assert!(!is_fibre(1.0, 0.01));
        assert!(!bends_away((0..=200).map(|x| (0.0, f64::from(x) / 200.0)), 0.0, 1.0, 200.0));
    }
}
