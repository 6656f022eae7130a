//! What a graduation is divided into, from the pattern of its longer ticks.

use super::RulerProblem;

/// A way of dividing: which ticks are longer, from the shorter to the longer.
struct Division {
    longer: &'static [i32],
    /// Distance of neighbouring ticks; `None` where it gives no millimetres.
    pitch_mm: Option<f64>,
}

const DIVISIONS: [Division; 6] = [
    Division { longer: &[5, 10], pitch_mm: Some(1.0) },
    Division { longer: &[10], pitch_mm: Some(1.0) },
    Division { longer: &[2, 10, 20], pitch_mm: Some(0.5) },
    Division { longer: &[2, 4, 8], pitch_mm: None },
    Division { longer: &[2, 4, 8, 16], pitch_mm: None },
    Division { longer: &[2, 4, 8, 16, 32], pitch_mm: None },
];
/// Share of the variance of tick lengths the pattern must explain.
const EXPLAINED: f64 = 0.6;
/// How much less of the remainder the best pattern must leave than one that means something else.
const CLEARER: f64 = 0.6;

/// Distance of neighbouring ticks in millimetres from the ticks' `lengths` and numbers.
pub(super) fn pitch_mm(lengths: &[f64], indices: &[i32]) -> Result<f64, RulerProblem> {
    let mean = lengths.iter().sum::<f64>() / lengths.len() as f64;
    let total: f64 = lengths.iter().map(|l| (l - mean).powi(2)).sum();
    if total < 1e-9 {
        return Err(RulerProblem::Unclear);
    }
    let left: Vec<f64> = DIVISIONS.iter().map(|d| unexplained(d.longer, lengths, indices) / total).collect();
    let best = (0..DIVISIONS.len()).min_by(|a, b| left[*a].total_cmp(&left[*b])).unwrap_or(0);
    let meaning = DIVISIONS[best].pitch_mm;
    let rival = (0..DIVISIONS.len())
        .filter(|i| DIVISIONS[*i].pitch_mm != meaning)
        .map(|i| left[i])
        .fold(1.0, f64::min);
    if left[best] > 1.0 - EXPLAINED || left[best] > CLEARER * rival {
        return Err(RulerProblem::Unclear);
    }
    meaning.ok_or(RulerProblem::Inches)
}

/// Variance left about the mean length of each rank, for the best place of the zero; infinite where longer
/// ranks are not longer.
fn unexplained(longer: &[i32], lengths: &[f64], indices: &[i32]) -> f64 {
    let cycle = longer[longer.len() - 1];
    let mut best = f64::INFINITY;
    for zero in 0..cycle {
        let rank = |i: i32| longer.iter().filter(|n| (i - zero).rem_euclid(**n) == 0).count();
        let ranks = longer.len() + 1;
        let mut groups: Vec<Vec<f64>> = vec![Vec::new(); ranks];
        for (l, i) in lengths.iter().zip(indices) {
            groups[rank(*i)].push(*l);
        }
        let mean = |g: &[f64]| g.iter().sum::<f64>() / g.len() as f64;
        let means: Vec<f64> = groups.iter().filter(|g| !g.is_empty()).map(|g| mean(g)).collect();
        // Every rank clearly longer than the one below.
        if means.len() < 2 || means.windows(2).any(|w| w[1] < w[0] + 0.05 * w[0].max(1.0)) {
            continue;
        }
        let left: f64 = groups
            .iter()
            .filter(|g| !g.is_empty())
            .map(|g| {
                let m = mean(g);
                g.iter().map(|l| (l - m).powi(2)).sum::<f64>()
            })
            .sum();
        // A richer pattern fits better by chance: each rank costs a tick's share.
        let n = lengths.len() as f64;
        let penalty = n / (n - 2.0 * ranks as f64).max(1.0);
        best = best.min(left * penalty);
    }
    best
}

#[cfg(test)]
mod tests {
    use super::{RulerProblem, pitch_mm};

    fn lengths(longer: &[i32], from: i32, count: i32) -> (Vec<f64>, Vec<i32>) {
        let length = |i: i32| 3.0 + 2.0 * longer.iter().filter(|n| i % **n == 0).count() as f64;
        // A little unevenness, as reading gives.
        let wobble = |i: i32| 0.4 * f64::from((i * 7919).rem_euclid(5) - 2) / 2.0;
        let indices: Vec<i32> = (0..count).collect();
        (indices.iter().map(|i| length(i + from) + wobble(*i)).collect(), indices)
    }

    #[test]
    fn longer_ticks_tell_millimetres_halves_and_inches_apart() {
        for from in [0, 3, 7, 11] {
            let read = |longer: &[i32], count| {
                let (l, i) = lengths(longer, from, count);
                pitch_mm(&l, &i)
            };
            assert_eq!(read(&[5, 10], 40), Ok(1.0), "from {from}");
            assert_eq!(read(&[2, 10, 20], 60), Ok(0.5), "from {from}");
            assert_eq!(read(&[2, 4, 8, 16], 64), Err(RulerProblem::Inches), "from {from}");
            assert_eq!(read(&[2, 4, 8], 40), Err(RulerProblem::Inches), "from {from}");
            assert_eq!(read(&[], 40), Err(RulerProblem::Unclear), "from {from}");
        }
    }
}
