//! The skeleton of a shape without the spurs that its rough edge grows.

use super::{Plane, thin};

/// Shortest branch that is part of the shape: in depths of the shape where it leaves, and pixels more.
const LEAST_DEPTHS: f32 = 1.5;
const LEAST_MORE: f32 = 3.0;
/// Junction pixels closer than this are one junction, in depths of the shape.
const ONE_JUNCTION: f64 = 1.0;

/// The thinned shape, pruned.
#[derive(Debug)]
pub struct Skeleton<'a> {
    lines: Plane<bool>,
    points: Vec<(usize, usize)>,
    depth: &'a Plane<f32>,
    /// Pixels of the longest spur that may be.
    longest: f32,
}

impl<'a> Skeleton<'a> {
    /// Thins `shape`, of which `depth` is the distance from each pixel to the nearest one outside, and takes off
    /// branches that are no longer than the shape is deep where they leave it, shortest first: of a fork at the
    /// end of a limb the longer half stays, as part of the limb.
    pub fn of(shape: &Plane<bool>, depth: &'a Plane<f32>) -> Self {
        let mut lines = shape.clone();
        thin::thin(&mut lines);
        let points = (0..lines.height)
            .flat_map(|y| (0..lines.width).map(move |x| (x, y)))
            .filter(|p| lines.at(p.0, p.1));
        let points = points.collect();
        let longest = LEAST_DEPTHS * depth.data.iter().copied().fold(0.0, f32::max) + LEAST_MORE;
        let mut skeleton = Self { lines, points, depth, longest };
        skeleton.take_off_corners();
        while let Some(spur) = skeleton.shortest_spur() {
            for (x, y) in &spur {
                skeleton.lines.set(*x, *y, false);
            }
            skeleton.take_off_corners();
        }
        skeleton
    }

    /// Ends of its lines.
    pub fn ends(&self) -> Vec<[f64; 2]> {
        let ends = self.points.iter().filter(|p| self.neighbours(**p) == 1);
        ends.map(|&(x, y)| [x as f64, y as f64]).collect()
    }

    /// Places where three lines or more meet, each once.
    pub fn junctions(&self) -> Vec<[f64; 2]> {
        let mut found: Vec<[f64; 2]> = Vec::new();
        for &(x, y) in self.points.iter().filter(|p| self.neighbours(**p) >= 3) {
            let near = 2.0 + ONE_JUNCTION * f64::from(self.depth.at(x, y));
            let [x, y] = [x as f64, y as f64];
            if found.iter().all(|f| (f[0] - x).hypot(f[1] - y) > near) {
                found.push([x, y]);
            }
        }
        found
    }

    /// Takes off the pixels that only fill a corner of a line or stand on its side, so that a line's pixels have two neighbours and an
    /// end has one.
    fn take_off_corners(&mut self) {
        let Self { lines, points, .. } = self;
        points.retain(|&(x, y)| {
            if !lines.at(x, y) {
                return false;
            }
            let n = thin::neighbours(lines, x as i64, y as i64);
            // A corner: two neighbours across edges that touch each other, nothing on the three far sides.
            let corner = (0..4)
                .map(|k| 2 * k)
                .any(|i| n[i] && n[(i + 2) % 8] && !n[(i + 4) % 8] && !n[(i + 5) % 8] && !n[(i + 6) % 8]);
            // A bump: two or three neighbours side by side, nothing else.
            let runs = (0..8).filter(|&i| !n[i] && n[(i + 1) % 8]).count();
            let bump = runs == 1 && matches!(n.iter().filter(|n| **n).count(), 2 | 3);
            if corner || bump {
                lines.set(x, y, false);
            }
            !(corner || bump)
        });
    }

    /// Line pixels round a pixel.
    fn neighbours(&self, (x, y): (usize, usize)) -> usize {
        thin::neighbours(&self.lines, x as i64, y as i64).into_iter().filter(|n| *n).count()
    }

    /// The shortest branch between an end and a junction, if it is a spur.
    fn shortest_spur(&self) -> Option<Vec<(usize, usize)>> {
        let ends = self.points.iter().filter(|p| self.neighbours(**p) == 1);
        ends.filter_map(|end| self.branch(*end)).min_by_key(Vec::len)
    }

    /// The pixels from an end to the junction it hangs on, which is left out; `None` when the branch is no spur.
    fn branch(&self, end: (usize, usize)) -> Option<Vec<(usize, usize)>> {
        let mut walked = vec![end];
        loop {
            let (x, y) = walked[walked.len() - 1];
            let next = [(1, 0), (0, 1), (-1, 0), (0, -1), (1, 1), (-1, 1), (-1, -1), (1, -1)]
                .map(|(dx, dy)| (x as i64 + dx, y as i64 + dy))
                .into_iter()
                .filter(|(x, y)| self.lines.get_or(*x, *y, false))
                .map(|(x, y)| (x as usize, y as usize))
                .find(|p| !walked.contains(p));
            let Some(next) = next else {
                // A line by itself: a speck, unless it is all there is.
                let limit = LEAST_DEPTHS * self.depth.at(x, y) + LEAST_MORE;
                return (walked.len() < self.points.len() && walked.len() as f32 <= limit).then_some(walked);
            };
            let limit = LEAST_DEPTHS * self.depth.at(next.0, next.1) + LEAST_MORE;
            if self.neighbours(next) >= 3 {
                return (walked.len() as f32 <= limit).then_some(walked);
            }
            if walked.len() as f32 > self.longest {
                return None;
            }
            walked.push(next);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::imaging::distance;

    fn drawn(bars: &[[f64; 5]]) -> Plane<bool> {
        let mut shape = Plane::filled(120, 90, false);
        for y in 0..90 {
            for x in 0..120 {
                let inside = bars.iter().any(|[x0, y0, x1, y1, r]| {
                    let (px, py) = (x as f64 - x0, y as f64 - y0);
                    let (dx, dy) = (x1 - x0, y1 - y0);
                    let along = ((px * dx + py * dy) / (dx * dx + dy * dy)).clamp(0.0, 1.0);
                    (px - along * dx).hypot(py - along * dy) <= *r
                });
                shape.set(x, y, inside);
            }
        }
        shape
    }

    #[test]
    fn a_bar_with_bumps_has_two_ends() {
        let shape = drawn(&[
            [12.0, 40.0, 108.0, 44.0, 6.0],
            [40.0, 36.0, 41.0, 31.0, 2.0],
            [70.0, 48.0, 72.0, 53.0, 2.5],
            [85.0, 38.0, 85.0, 34.0, 1.5],
        ]);
        let depth = distance::euclidean(&shape);
        let skeleton = Skeleton::of(&shape, &depth);
        let ends = skeleton.ends();
        assert_eq!(ends.len(), 2, "{ends:?}");
        assert!(skeleton.junctions().is_empty());
        let near = |x: f64, y: f64| ends.iter().any(|e| (e[0] - x).hypot(e[1] - y) < 8.0);
        assert!(near(12.0, 40.0) && near(108.0, 44.0), "{ends:?}");
    }

    #[test]
    fn crossed_bars_have_four_ends_that_meet() {
        let shape = drawn(&[[15.0, 15.0, 105.0, 75.0, 4.0], [15.0, 75.0, 105.0, 15.0, 4.0]]);
        let depth = distance::euclidean(&shape);
        let skeleton = Skeleton::of(&shape, &depth);
        assert_eq!(skeleton.ends().len(), 4);
        let meet = skeleton.junctions();
        assert!(!meet.is_empty() && meet.iter().all(|p| (p[0] - 60.0).hypot(p[1] - 45.0) < 8.0), "{meet:?}");
    }

    #[test]
    fn nothing_and_a_dot_do_no_harm() {
        for shape in [Plane::filled(9, 9, false), drawn(&[[60.0, 45.0, 60.5, 45.0, 0.6]])] {
            let depth = distance::euclidean(&shape);
            assert!(Skeleton::of(&shape, &depth).junctions().is_empty());
        }
    }
}
