//! Which tail is whose: of the ways from the heads of a body to the ends of tails, the one for each head that together bend
//! least, make the fish of the body alike in length and run least along each other. All limits by trying, rendered fish.

use super::midline::POINTS;
use crate::imaging::{Plane, path};
use std::collections::HashMap;

/// Shortest fish of a body, as a share of the longest.
const ALIKE: f64 = 0.45;
/// Sharpest turn of a way over a fifth of its length, radians (69 degrees).
const SHARPEST: f64 = 1.2;
/// What a tail costs that ends under another fish, where no end can be seen, beside one that is free.
const HIDDEN: f64 = 0.6;
/// The last of so many parts of a way is the tail fin, which may have corners.
const FIN: usize = 11;
/// Depth of a body before a tail that lies hidden, as a share of its greatest.
const TAPERS: f32 = 0.7;
/// Most of a way that may run along another one, of fish that are seen apart.
const SHARED: f64 = 0.5;
/// What it costs to leave a head without a way.
const WITHOUT: f64 = 3.0;
/// Choices looked at for one body: the likeliest ways come first, and few bodies hold more than four fish.
const MOST_LOOKS: usize = 50_000;

/// A way from a head to the end of a tail.
pub struct Way {
    /// From the eye on, crop pixels.
    pub line: Vec<[f64; 2]>,
    /// Which end it leads to.
    pub end: usize,
    /// Whether that end lies hidden under another fish; one that is free is the end of one fish.
    pub hidden: bool,
    length: f64,
    /// Greatest turn over any fifth, radians.
    turn: f64,
}

impl Way {
    /// `None` for a way of no length.
    pub fn new(raw: &[[f64; 2]], end: usize, hidden: bool) -> Option<Self> {
        if raw.len() < 3 {
            return None;
        }
        let line = path::smooth(&path::resample(raw, POINTS), 2.0);
        // Where a skeleton ends in a tail fin it turns to a corner of the fin.
        let turn = sharpest_turn(&line[..line.len() - line.len() / FIN]);
        Some(Self { length: path::length(&line), turn, line, end, hidden })
    }

    /// Whether the body is narrower towards the end of the way, as a larva is towards its tail.
    pub fn tapers(&self, depth: &Plane<f32>) -> bool {
        let along: Vec<f32> = self.line.iter().map(|p| depth.bilinear(p[0], p[1])).collect();
        let greatest = along.iter().copied().fold(0.0, f32::max);
        let n = along.len();
        let tail = &along[n * 6 / 10..n * 8 / 10];
        tail.iter().sum::<f32>() / (tail.len().max(1) as f32) < TAPERS * greatest
    }

    /// What it costs, by itself.
    fn cost(&self) -> f64 {
        self.turn * self.turn + if self.hidden { HIDDEN } else { 0.0 }
    }

    /// Share of it that runs along another one.
    fn along(&self, other: &Self, depth: &Plane<f32>) -> f64 {
        let beside = |p: &&[f64; 2]| {
            let near = f64::from(depth.bilinear(p[0], p[1])).max(1.5);
            other.line.iter().any(|q| gap(**p, *q) < 0.8 * near)
        };
        self.line.iter().filter(beside).count() as f64 / self.line.len() as f64
    }
}

/// What is asked of the ways of one body together.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Asked {
    /// That they are those of fish each of which is seen: every head has one, and a free end of its own or a hidden one; together
    /// they cost no more than a head without a way.
    Apart,
    /// That they are as likely as can be: fish may lie along each other, tails under others' tails, and a head have none.
    AsSeen,
}

/// The likeliest way of each head, all heads taken together. `None` where no choice is what is asked.
pub fn likeliest<'a>(
    ways: &'a [Vec<Way>],
    depth: &'a Plane<f32>,
    asked: Asked,
) -> Option<Vec<Option<&'a Way>>> {
    let mut by_cost: Vec<Vec<&Way>> = Vec::new();
    for of_one in ways {
        let mut of_one: Vec<&Way> = of_one.iter().filter(|way| way.turn < SHARPEST).collect();
        of_one.sort_by(|a, b| a.cost().total_cmp(&b.cost()));
        by_cost.push(of_one);
    }
    // The least that the heads from each on can cost.
    let mut least = vec![0.0; by_cost.len() + 1];
    let without = if asked == Asked::AsSeen { WITHOUT } else { f64::INFINITY };
    for head in (0..by_cost.len()).rev() {
        let own = by_cost[head].first().map_or(without, |way| way.cost().min(without));
        least[head] = least[head + 1] + own;
    }
    let mut search =
        Search { ways: by_cost, least, depth, asked, shared: HashMap::new(), best: None, looks: 0 };
    search.go_on(&mut Vec::new(), 0.0);
    let (cost, chosen) = search.best?;
    // A way dearer than none says nothing.
    if asked == Asked::Apart && cost > WITHOUT {
        return None;
    }
    Some(chosen.into_iter().zip(&search.ways).map(|(k, of_one)| Some(of_one[k?])).collect())
}

/// The search for the cheapest choice, branch by branch; one that costs more than the best so far is left (branch and bound,
/// Land and Doig 1960, doi 10.2307/1910129).
struct Search<'a> {
    /// The ways of each head, the cheapest first.
    ways: Vec<Vec<&'a Way>>,
    least: Vec<f64>,
    depth: &'a Plane<f32>,
    asked: Asked,
    /// Shares of two ways, by head and place, that run along each other.
    shared: HashMap<[usize; 4], [f64; 2]>,
    best: Option<(f64, Vec<Option<usize>>)>,
    looks: usize,
}

impl Search<'_> {
    /// Goes on from the ways `chosen` for the first heads, which cost `so_far` but for unlike lengths.
    fn go_on(&mut self, chosen: &mut Vec<Option<usize>>, so_far: f64) {
        let head = chosen.len();
        if head == self.ways.len() {
            let cost = so_far + self.unlike(chosen);
            if self.best.as_ref().is_none_or(|(best, _)| cost < *best) {
                self.best = Some((cost, chosen.clone()));
            }
            return;
        }
        for k in 0..self.ways[head].len() {
            let own = so_far + self.ways[head][k].cost();
            let hopeless = self.best.as_ref().is_some_and(|(best, _)| own + self.least[head + 1] >= *best);
            self.looks += 1;
            if hopeless || self.looks > MOST_LOOKS {
                break;
            }
            let Some(shared) = self.shared_with(chosen, [head, k]) else { continue };
            chosen.push(Some(k));
            self.go_on(chosen, own + shared);
            chosen.pop();
        }
        let without = so_far + WITHOUT + self.least[head + 1];
        let better = self.best.as_ref().is_none_or(|(best, _)| without < *best);
        if self.asked == Asked::AsSeen && better && self.looks <= MOST_LOOKS {
            chosen.push(None);
            self.go_on(chosen, so_far + WITHOUT);
            chosen.pop();
        }
    }

    /// What the next way shares with those chosen; `None` where they are not those of as many fish.
    fn shared_with(&mut self, chosen: &[Option<usize>], [head, k]: [usize; 2]) -> Option<f64> {
        let next = self.ways[head][k];
        let mut sum = 0.0;
        for (other, j) in chosen.iter().enumerate().filter_map(|(other, j)| Some((other, (*j)?))) {
            let way = self.ways[other][j];
            if way.length.min(next.length) < ALIKE * way.length.max(next.length) {
                return None;
            }
            if way.end == next.end && !next.hidden {
                match self.asked {
                    Asked::Apart => return None,
                    Asked::AsSeen => sum += HIDDEN,
                }
            }
            let depth = self.depth;
            let both = self.shared.entry([other, j, head, k]);
            let both = *both.or_insert_with(|| [way.along(next, depth), next.along(way, depth)]);
            if self.asked == Asked::Apart && both.iter().any(|share| *share > SHARED) {
                return None;
            }
            sum += both[0] + both[1];
        }
        Some(sum)
    }

    /// What unlike lengths cost: fish of one body are mostly of one sample.
    fn unlike(&self, chosen: &[Option<usize>]) -> f64 {
        let lengths = || chosen.iter().zip(&self.ways).filter_map(|(k, of_one)| Some(of_one[(*k)?].length));
        let longest = lengths().fold(0.0, f64::max);
        2.0 * lengths().map(|length| (longest / length).ln().powi(2)).sum::<f64>()
    }
}

/// Distance of two points.
pub fn gap(a: [f64; 2], b: [f64; 2]) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}

/// Greatest turn over any fifth of a way, radians.
fn sharpest_turn(way: &[[f64; 2]]) -> f64 {
    let t = path::tangents(way);
    let span = way.len() / 5;
    (0..t.len().saturating_sub(span))
        .map(|i| {
            let (a, b) = (t[i], t[i + span]);
            (a[0] * b[1] - a[1] * b[0]).atan2(a[0] * b[0] + a[1] * b[1]).abs()
        })
        .fold(0.0, f64::max)
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    /// What a choice costs, told from the ways themselves; `None` where it is not what is asked.
    fn cost(chosen: &[Option<&Way>], depth: &Plane<f32>, asked: Asked) -> Option<f64> {
        let ways: Vec<&Way> = chosen.iter().flatten().copied().collect();
        let longest = ways.iter().map(|w| w.length).fold(0.0, f64::max);
        let mut sum = WITHOUT * (chosen.len() - ways.len()) as f64;
        for (i, way) in ways.iter().enumerate() {
            if way.length < ALIKE * longest || way.turn >= SHARPEST {
                return None;
            }
            sum += way.cost() + 2.0 * (longest / way.length).ln().powi(2);
            for other in ways.iter().skip(i + 1) {
                let both = [way.along(other, depth), other.along(way, depth)];
                let one_end = way.end == other.end && !way.hidden;
                if asked == Asked::Apart && (one_end || both.iter().any(|share| *share > SHARED)) {
                    return None;
                }
                sum += both[0] + both[1] + if one_end { HIDDEN } else { 0.0 };
            }
        }
        Some(sum)
    }

    /// Every choice of one way for each head, or of none where that is allowed.
    fn all(ways: &[Vec<Way>], none: bool) -> Vec<Vec<Option<&Way>>> {
        ways.iter().fold(vec![Vec::new()], |before, own| {
            let one = || own.iter().map(Some).chain(none.then_some(None));
            before.iter().flat_map(|b| one().map(move |w| [&b[..], &[w]].concat())).collect()
        })
    }

    /// The search finds what looking at every choice finds, among ways from three heads to six ends, two of them hidden.
    #[test]
    fn the_cheapest_of_all_choices_is_found() {
        let depth = Plane::filled(400, 400, 6.0f32);
        let mut found = [0; 2];
        for seed in 0..24 {
            let mut rng = ChaCha8Rng::seed_from_u64(seed);
            let mut place = || [0; 2].map(|_| rng.random_range(40.0..360.0));
            let ends: Vec<[f64; 2]> = (0..6).map(|_| place()).collect();
            let ways: Vec<Vec<Way>> = (0..3)
                .map(|_| {
                    let head = place();
                    let by_way_of = |end: &[f64; 2]| {
                        let aside = place();
                        let middle = [0, 1].map(|i| 0.5 * (head[i] + end[i]) + 0.15 * (aside[i] - 200.0));
                        [head, middle, *end]
                    };
                    let lines: Vec<[[f64; 2]; 3]> = ends.iter().map(by_way_of).collect();
                    lines.iter().enumerate().filter_map(|(e, l)| Way::new(l, e, e > 3)).collect()
                })
                .collect();
            for (k, asked) in [Asked::Apart, Asked::AsSeen].into_iter().enumerate() {
                let costs = all(&ways, asked == Asked::AsSeen).into_iter();
                let least = costs.filter_map(|c| cost(&c, &depth, asked)).min_by(f64::total_cmp);
                let least = least.filter(|least| asked == Asked::AsSeen || *least <= WITHOUT);
                let own = likeliest(&ways, &depth, asked).map(|c| cost(&c, &depth, asked).unwrap());
                assert_eq!(own.is_some(), least.is_some(), "{seed}");
                if let Some((own, least)) = own.zip(least) {
                    approx::assert_relative_eq!(own, least, epsilon = 1e-9);
                    found[k] += 1;
                }
            }
        }
        assert!(found.iter().all(|n| *n > 12), "{found:?}");
    }
}
