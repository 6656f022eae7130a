//! Finding a fish again in another reading of the same photograph, by place and shape.
//!
//! Two readings number their fish differently, may swap head and tail, cut a tail a little shorter and find
//! fish the other did not. What stays is where the fish lies: the pixels are the same. The distance of two
//! fish is the mean distance of their snouts, midline centres and tail ends (the better of the two
//! directions), in units of the mean total length. Fish further apart than [`REACH`], or whose lengths
//! differ more than [`LONGEST_RATIO`] times, are never the same. Among the rest each fish has at most one
//! partner, and the set of pairs is the one with the most pairs and the least sum of distances
//! (assignment problem; Kuhn 1955, Nav. Res. Logist. Q. 2:83-97, in the shortest-path form of
//! Jonker & Volgenant 1987, Computing 38:325-340).

use crate::records::FishRow;

/// Fish further apart than this, in mean total lengths, are different fish.
///
/// Two fry that touch side by side lie one body depth apart, about a fifth of a total length.
pub const REACH: f64 = 0.15;

/// Fish whose lengths differ more than this are different fish.
pub const LONGEST_RATIO: f64 = 1.5;

/// Where a fish lies and how long it is, in pixels of the photograph.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// Tip of the snout, x then y.
    pub snout: [f64; 2],
    /// Midline centre.
    pub centre: [f64; 2],
    /// End of the tail fin.
    pub tail: [f64; 2],
    /// Total length along the midline.
    pub length: f64,
}

impl Place {
    /// The place of a fish.
    pub fn of(fish: &FishRow) -> Self {
        Self {
            snout: [fish.snout_x_px, fish.snout_y_px],
            centre: [fish.x_px, fish.y_px],
            tail: [fish.tail_x_px, fish.tail_y_px],
            length: fish.total_length_px,
        }
    }

    /// The seven columns from `first`: snout, centre and tail, x then y each, and the length.
    pub(super) fn from_row(row: &rusqlite::Row<'_>, first: usize) -> rusqlite::Result<Self> {
        let at = |i: usize| row.get::<_, f64>(first + i);
        Ok(Self { snout: [at(0)?, at(1)?], centre: [at(2)?, at(3)?], tail: [at(4)?, at(5)?], length: at(6)? })
    }

    /// Distance to another fish in mean total lengths; `None` when they cannot be the same.
    ///
    /// ```
    /// use frygauge::ledger::follow::Place;
    /// let fish = Place { snout: [0.0, 0.0], centre: [50.0, 0.0], tail: [100.0, 0.0], length: 100.0 };
    /// // The other reading took the tail for the head and saw it 3 px to the right.
    /// let turned = Place { snout: [103.0, 0.0], centre: [53.0, 0.0], tail: [3.0, 0.0], length: 100.0 };
    /// assert!((fish.distance(&turned).unwrap() - 0.03).abs() < 1e-12);
    /// ```
    pub fn distance(&self, other: &Self) -> Option<f64> {
        let (short, long) = (self.length.min(other.length), self.length.max(other.length));
        if short <= 0.0 || long > LONGEST_RATIO * short {
            return None;
        }
        let gap = |a: [f64; 2], b: [f64; 2]| (a[0] - b[0]).hypot(a[1] - b[1]);
        let ends = (gap(self.snout, other.snout) + gap(self.tail, other.tail))
            .min(gap(self.snout, other.tail) + gap(self.tail, other.snout));
        let distance = (ends + gap(self.centre, other.centre)) / 3.0 / (0.5 * (short + long));
        (distance <= REACH).then_some(distance)
    }
}

/// The partner of a fish.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Match {
    /// Its place in the list searched.
    pub index: usize,
    /// How far apart they are, in mean total lengths.
    pub distance: f64,
}

/// For each of `wanted` its partner among `found`, or `None`.
pub fn matches(wanted: &[Place], found: &[Place]) -> Vec<Option<Match>> {
    if wanted.is_empty() {
        return Vec::new();
    }
    // Having no partner costs more than any partner within reach, so that pairs are made where they can be.
    let alone = 10.0 * REACH * wanted.len() as f64;
    let columns = found.len() + wanted.len();
    let cost = |row: usize, column: usize| match found.get(column) {
        Some(place) => wanted[row].distance(place).unwrap_or(2.0 * alone),
        None => alone,
    };
    assign(wanted.len(), columns, cost)
        .into_iter()
        .enumerate()
        .map(|(row, column)| {
            let distance = wanted[row].distance(found.get(column)?)?;
            Some(Match { index: column, distance })
        })
        .collect()
}

/// The cheapest way to give each of `rows` its own one of `columns` (`rows <= columns`), by successive
/// shortest paths with potentials. `O(rows² · columns)`.
fn assign(rows: usize, columns: usize, cost: impl Fn(usize, usize) -> f64) -> Vec<usize> {
    const FREE: usize = usize::MAX;
    // Column 0 and row 0 are sentinels: the algorithm is written from 1.
    let (mut of_row, mut of_column) = (vec![0.0; rows + 1], vec![0.0; columns + 1]);
    let mut owner = vec![FREE; columns + 1];
    for row in 1..=rows {
        owner[0] = row;
        let mut least = vec![f64::INFINITY; columns + 1];
        let mut before = vec![0; columns + 1];
        let mut done = vec![false; columns + 1];
        let mut column = 0;
        while owner[column] != FREE {
            done[column] = true;
            let from = owner[column];
            let (mut step, mut next) = (f64::INFINITY, 0);
            for c in (1..=columns).filter(|&c| !done[c]) {
                let reduced = cost(from - 1, c - 1) - of_row[from] - of_column[c];
                if reduced < least[c] {
                    (least[c], before[c]) = (reduced, column);
                }
                if least[c] < step {
                    (step, next) = (least[c], c);
                }
            }
            for c in 0..=columns {
                if done[c] {
                    of_row[owner[c]] += step;
                    of_column[c] -= step;
                } else {
                    least[c] -= step;
                }
            }
            column = next;
        }
        while column != 0 {
            owner[column] = owner[before[column]];
            column = before[column];
        }
    }
    let mut answer = vec![0; rows];
    for (column, &row) in owner.iter().enumerate().skip(1) {
        if row != FREE {
            answer[row - 1] = column - 1;
        }
    }
    answer
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn fish(x: f64, y: f64, angle: f64, length: f64) -> Place {
        let half = [0.5 * length * angle.cos(), 0.5 * length * angle.sin()];
        Place { snout: [x - half[0], y - half[1]], centre: [x, y], tail: [x + half[0], y + half[1]], length }
    }

    #[test]
    fn two_crossing_fish_are_told_apart_by_direction() {
        let cross = [fish(100.0, 100.0, 0.0, 80.0), fish(100.0, 100.0, 1.5, 80.0)];
        let swapped = [cross[1], cross[0]];
        let got: Vec<_> = matches(&cross, &swapped).into_iter().map(|m| m.unwrap().index).collect();
        assert_eq!(got, [1, 0]);
    }

    #[test]
    fn two_fish_side_by_side_keep_their_own() {
        // One body depth apart, and the other reading moved both by less than half of it.
        let pair = [fish(100.0, 100.0, 0.0, 80.0), fish(100.0, 116.0, 0.0, 80.0)];
        let moved = [fish(100.0, 107.0, 0.0, 80.0), fish(100.0, 123.0, 0.0, 80.0)];
        let got: Vec<_> = matches(&pair, &moved).into_iter().map(|m| m.unwrap().index).collect();
        assert_eq!(got, [0, 1]);
    }

    #[test]
    fn a_fish_that_is_gone_takes_nobody_elses_place() {
        let old = [fish(100.0, 100.0, 0.0, 80.0), fish(100.0, 130.0, 0.0, 80.0)];
        let new = [fish(101.0, 130.0, 0.0, 80.0)];
        let got = matches(&old, &new);
        assert_eq!(got[0], None);
        assert_eq!(got[1].unwrap().index, 0);
        assert_eq!(matches(&[], &new), []);
        assert_eq!(matches(&old, &[]), [None, None]);
    }

    /// Every way to give the rows their columns, slowly.
    fn slow(rows: usize, columns: usize, cost: &[Vec<f64>], row: usize, used: &mut Vec<bool>) -> f64 {
        if row == rows {
            return 0.0;
        }
        let mut best = f64::INFINITY;
        for c in 0..columns {
            if !used[c] {
                used[c] = true;
                best = best.min(cost[row][c] + slow(rows, columns, cost, row + 1, used));
                used[c] = false;
            }
        }
        best
    }

    proptest! {
        #[test]
        fn the_assignment_is_the_cheapest(cost in (1usize..5, 0usize..3).prop_flat_map(|(rows, more)| {
            proptest::collection::vec(proptest::collection::vec(0.0..10.0f64, rows + more), rows)
        })) {
            let (rows, columns) = (cost.len(), cost[0].len());
            let got = assign(rows, columns, |r, c| cost[r][c]);
            let mut seen = got.clone();
            seen.sort_unstable();
            seen.dedup();
            prop_assert_eq!(seen.len(), rows);
            let total: f64 = got.iter().enumerate().map(|(r, &c)| cost[r][c]).sum();
            let least = slow(rows, columns, &cost, 0, &mut vec![false; columns]);
            prop_assert!((total - least).abs() < 1e-9, "{} against {}", total, least);
        }
    }
}
