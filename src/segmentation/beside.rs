//! The ground on one side of a wall: how far from it a place lies, and where along it.

use crate::imaging::ellipse::Ellipse;
use std::ops::Range;

/// Width of a bin of distances, search pixels.
pub const BIN: f64 = 2.0;
/// Sectors of a circle.
pub const SECTORS: usize = 96;
/// Harmonics along a round wall.
pub const ORDER: usize = 3;
/// How far inwards the ground is looked at, as a share of the radius.
const REACH: f64 = 0.3;
/// The same beside a straight wall, as a share of its length.
const REACH_STRAIGHT: f64 = 0.08;
/// How far outside the outline a round wall itself is looked at, in bins.
const OUTSIDE: usize = 2;

/// The ground on one side of a wall.
pub enum Side {
    /// Within a round wall.
    Inside(Ellipse),
    /// Beside a straight wall, to the right of the way along it (1) or to the left (-1).
    Beside { from: [f64; 2], to: [f64; 2], side: f64 },
}

/// Depth in bins, and the direction, x and y, that stands for where along the wall.
pub type Place = (f64, [f64; 2]);

impl Side {
    /// How far from the wall the ground is looked at, search pixels.
    fn reach(&self) -> f64 {
        match self {
            Self::Inside(vessel) => REACH * vessel.radius(),
            Self::Beside { .. } => REACH_STRAIGHT * self.length(),
        }
    }

    /// The same in bins, those outside the outline included.
    pub fn bins(&self) -> usize {
        let outside = if matches!(self, Self::Inside(_)) { OUTSIDE } else { 0 };
        (self.reach() / BIN).ceil() as usize + outside
    }

    /// Length of the wall, search pixels.
    pub fn length(&self) -> f64 {
        match self {
            Self::Inside(vessel) => std::f64::consts::TAU * vessel.radius(),
            Self::Beside { from, to, .. } => (to[0] - from[0]).hypot(to[1] - from[1]),
        }
    }

    /// Sectors that the whole wall takes: a straight one takes half a circle, so that the series needs not end as it
    /// begins.
    pub fn sectors(&self) -> usize {
        match self {
            Self::Inside(_) => SECTORS,
            Self::Beside { .. } => SECTORS / 2,
        }
    }

    /// Harmonics in which what lies beside the wall varies along it. A large fish may lie along a third of a straight wall,
    /// which is lit evenly or from one end.
    pub fn harmonics(&self) -> usize {
        match self {
            Self::Inside(_) => ORDER,
            Self::Beside { .. } => 1,
        }
    }

    /// Columns and rows of a raster within which the ground is looked at.
    pub fn window(&self, width: usize, height: usize) -> [Range<usize>; 2] {
        let (least, most, far) = match self {
            Self::Inside(vessel) => {
                let centre = [vessel.x, vessel.y];
                (centre, centre, vessel.a + OUTSIDE as f64 * BIN)
            }
            Self::Beside { from, to, .. } => {
                ([0, 1].map(|i| from[i].min(to[i])), [0, 1].map(|i| from[i].max(to[i])), self.reach())
            }
        };
        let span = |i: usize, end: usize| {
            let at = |v: f64| (v.max(0.0) as usize).min(end);
            at(least[i] - far - 1.0)..at(most[i] + far + 2.0)
        };
        [span(0, width), span(1, height)]
    }

    /// Where each place lies beside the wall, by its x and y in search pixels; `None` for one that lies elsewhere.
    pub fn places(&self) -> Box<dyn Fn(f64, f64) -> Option<Place> + '_> {
        let bins = self.bins() as f64;
        let within = move |depth: f64| (0.0..bins).contains(&depth);
        match self {
            Self::Inside(vessel) => {
                // Most pixels within a large dish are nowhere near its wall: a circle inside the band settles those.
                let least = (vessel.b - bins * BIN).max(0.0);
                let distance = vessel.distances();
                Box::new(move |x, y| {
                    let away = [x - vessel.x, y - vessel.y];
                    if away[0] * away[0] + away[1] * away[1] < least * least {
                        return None;
                    }
                    let depth = -distance(x, y) / BIN + OUTSIDE as f64;
                    within(depth).then_some((depth, away))
                })
            }
            Self::Beside { from, to, side } => {
                let along = [0, 1].map(|i| (to[i] - from[i]) / self.length());
                let length = self.length();
                Box::new(move |x, y| {
                    let (dx, dy) = (x - from[0], y - from[1]);
                    let depth = side * (along[0] * dy - along[1] * dx) / BIN;
                    let at = (along[0] * dx + along[1] * dy) / length;
                    (within(depth) && (0.0..=1.0).contains(&at)).then(|| {
                        let (sin, cos) = (std::f64::consts::PI * at).sin_cos();
                        (depth, [cos, sin])
                    })
                })
            }
        }
    }
}
