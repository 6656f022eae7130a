//! Hartigans' dip: how far a sample's distribution function is from the nearest one with a single peak.
//!
//! # References
//! - Hartigan & Hartigan 1985, Ann. Stat. 13:70-84, doi:10.1214/aos/1176346577 (the statistic; its distribution is
//!   largest, asymptotically, for the uniform).
//! - Hartigan 1985, Appl. Stat. 34:320-325, doi:10.2307/2347485 (the search for the modal interval).

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;

use super::numeric::sorted_finite;

/// The dip of `values`, between 1/(2n) and 1/4; `None` when there are none or one is not finite.
///
/// ```
/// use frygauge::stats::dip::dip;
/// // Two tight groups: R's diptest 0.76 gives 0.25.
/// assert_eq!(dip(&[1.0, 1.0, 1.0, 10.0, 10.0, 10.0]), Some(0.25));
/// ```
pub fn dip(values: &[f64]) -> Option<f64> {
    let x = sorted_finite(values)?;
    let n = x.len();
    let twice_n = 2.0 * n as f64;
    if n < 2 || x[0] == x[n - 1] {
        return Some(1.0 / twice_n);
    }
    // All heights are in units of 1/(2n) of the final statistic, ranks standing for the distribution function.
    let (mut low, mut high) = (0, n - 1);
    let mut largest = 1.0_f64;
    loop {
        let minorant = hull(&x, low, high, true);
        let majorant = hull(&x, low, high, false);
        // Farthest apart at a knot of either: the function just before a value against the one at it, hence the 1.
        let mut apart = 0.0;
        let mut place = (low, high);
        for &i in &minorant {
            let d = chord(&x, &majorant, i) - i as f64 + 1.0;
            if d > apart {
                apart = d;
                place = (i, first_at_least(&majorant, i));
            }
        }
        for &i in &majorant {
            let d = i as f64 - chord(&x, &minorant, i) + 1.0;
            if d > apart {
                apart = d;
                place = (last_at_most(&minorant, i), i);
            }
        }
        if apart <= largest {
            break;
        }
        // Outside the new modal interval the convex and the concave part must stay within the dip.
        for pair in minorant.windows(2).take_while(|p| p[1] <= place.0) {
            for i in pair[0]..=pair[1] {
                largest = largest.max(i as f64 - line(&x, pair[0], pair[1], i) + 1.0);
            }
        }
        for pair in majorant.windows(2).rev().take_while(|p| p[0] >= place.1) {
            for i in pair[0]..=pair[1] {
                largest = largest.max(line(&x, pair[0], pair[1], i) - i as f64 + 1.0);
            }
        }
        if place == (low, high) || place.0 >= place.1 {
            break;
        }
        (low, high) = place;
    }
    Some(largest / twice_n)
}

/// Knots of the greatest convex minorant (or least concave majorant) of the points (x_i, i), low..=high.
fn hull(x: &[f64], low: usize, high: usize, convex: bool) -> Vec<usize> {
    let mut knots: Vec<usize> = Vec::new();
    for i in low..=high {
        while let [.., a, b] = knots[..] {
            // Cross product of a->b and a->i: a turn to the right spoils convexity, to the left concavity.
            let turn = (x[b] - x[a]) * (i - a) as f64 - (b - a) as f64 * (x[i] - x[a]);
            if (convex && turn > 0.0) || (!convex && turn < 0.0) {
                break;
            }
            knots.pop();
        }
        knots.push(i);
    }
    knots
}

/// Height at point `i` of the line from point `a` to point `b`.
fn line(x: &[f64], a: usize, b: usize, i: usize) -> f64 {
    if x[a] == x[b] { i as f64 } else { a as f64 + (b - a) as f64 * (x[i] - x[a]) / (x[b] - x[a]) }
}

/// Height at point `i` of the broken line through `knots`.
fn chord(x: &[f64], knots: &[usize], i: usize) -> f64 {
    let next = knots.partition_point(|&k| k < i).clamp(1, knots.len() - 1);
    line(x, knots[next - 1], knots[next], i)
}

fn first_at_least(knots: &[usize], i: usize) -> usize {
    knots[knots.partition_point(|&k| k < i).min(knots.len() - 1)]
}

fn last_at_most(knots: &[usize], i: usize) -> usize {
    knots[knots.partition_point(|&k| k <= i).max(1) - 1]
}

/// Dips of samples from the uniform distribution, against which a dip is judged.
#[derive(Debug, Clone)]
pub struct NullDips {
    sorted: Vec<f64>,
}

impl NullDips {
    /// Dips of `samples` samples of `n` values, the same for the same `seed`.
    pub fn simulate(n: usize, samples: usize, seed: u64) -> Self {
        let mut sorted: Vec<f64> = (0..samples as u64)
            .into_par_iter()
            .filter_map(|i| {
                let mut rng = ChaCha8Rng::seed_from_u64(seed);
                rng.set_stream(i);
                dip(&(0..n).map(|_| rng.random::<f64>()).collect::<Vec<f64>>())
            })
            .collect();
        sorted.sort_by(f64::total_cmp);
        Self { sorted }
    }

    /// Monte Carlo p-value of a dip.
    pub fn p_value(&self, dip: f64) -> f64 {
        let below = self.sorted.partition_point(|d| *d < dip);
        (self.sorted.len() - below + 1) as f64 / (self.sorted.len() + 1) as f64
    }

    /// The simulated quantile at `p`, a fraction; `None` when nothing was simulated.
    pub fn quantile(&self, p: f64) -> Option<f64> {
        super::quantile::of_sorted(&self.sorted, p)
    }
}
