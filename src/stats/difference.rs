//! Difference of two proportions from two independent random samples of fish *within one tank* (two days, two
//! readers). Never for treatments pooled over tanks: fish of one tank are not independent.
//!
//! # References
//! - Newcombe 1998, Stat. Med. 17:873-890 (method 10, the hybrid score interval).
//! - Miettinen & Nurminen 1985, Stat. Med. 4:213-226, doi:10.1002/sim.4780040211 (appendix I: the constrained estimate).

use super::numeric::root;
use super::proportion::Method;
use super::{Interval, Level};

/// Newcombe's hybrid score interval for x1/n1 - x2/n2.
///
/// `None` when a sample is empty or x exceeds n.
///
/// ```
/// use frygauge::stats::{Level, difference::newcombe};
/// // Newcombe 1998b, table II, example a: 0.0524 to 0.3339.
/// let ci = newcombe((56, 70), (48, 80), Level::P95).unwrap();
/// assert!((ci.low - 0.0524).abs() < 5e-5 && (ci.high - 0.3339).abs() < 5e-5);
/// ```
pub fn newcombe(first: (u64, u64), second: (u64, u64), level: Level) -> Option<Interval> {
    let one = Method::Wilson.interval(first.0, first.1, level)?;
    let two = Method::Wilson.interval(second.0, second.1, level)?;
    let (p1, p2) = (first.0 as f64 / first.1 as f64, second.0 as f64 / second.1 as f64);
    let d = p1 - p2;
    Interval::new(d - (p1 - one.low).hypot(two.high - p2), d + (one.high - p1).hypot(p2 - two.low))
}

/// The score interval of Miettinen and Nurminen for x1/n1 - x2/n2; the difference is in it exactly when their score
/// test does not reject it.
///
/// `None` when a sample is empty or x exceeds n.
pub fn miettinen_nurminen(first: (u64, u64), second: (u64, u64), level: Level) -> Option<Interval> {
    let n = (first.1 + second.1) as f64;
    score_interval(first, second, n / (n - 1.0), level)
}

/// Mee's interval: Miettinen and Nurminen's without the factor N/(N-1).
pub fn mee(first: (u64, u64), second: (u64, u64), level: Level) -> Option<Interval> {
    score_interval(first, second, 1.0, level)
}

fn score_interval(first: (u64, u64), second: (u64, u64), factor: f64, level: Level) -> Option<Interval> {
    if first.1 == 0 || second.1 == 0 || first.0 > first.1 || second.0 > second.1 {
        return None;
    }
    let (x1, n1) = (first.0 as f64, first.1 as f64);
    let (x2, n2) = (second.0 as f64, second.1 as f64);
    let d = x1 / n1 - x2 / n2;
    let z = level.z();
    let score = |delta: f64| -> f64 {
        let (p1, p2) = constrained(x1, n1, x2, n2, delta);
        let variance = factor * (p1 * (1.0 - p1) / n1 + p2 * (1.0 - p2) / n2);
        if variance <= 1e-300 {
            // No variance left: any difference but the observed is infinitely far.
            if (d - delta).abs() < 1e-14 { 0.0 } else { 1e10 * (d - delta).signum() }
        } else {
            (d - delta) / variance.sqrt()
        }
    };
    let edge = 1e-12;
    let low =
        if score(-1.0 + edge) <= z { -1.0 } else { root(|v| score(v) - z, -1.0 + edge, d.min(1.0 - edge))? };
    let high =
        if score(1.0 - edge) >= -z { 1.0 } else { root(|v| score(v) + z, d.max(-1.0 + edge), 1.0 - edge)? };
    Interval::new(low, high)
}

/// The two proportions of greatest likelihood whose difference is `delta`: the root of a cubic in closed form.
fn constrained(x1: f64, n1: f64, x2: f64, n2: f64, delta: f64) -> (f64, f64) {
    let n = n1 + n2;
    let l3 = n;
    let l2 = (n1 + 2.0 * n2) * delta - n - (x1 + x2);
    let l1 = (n2 * delta - n - 2.0 * x2) * delta + x1 + x2;
    let l0 = x2 * delta * (1.0 - delta);
    let q = (l2 / (3.0 * l3)).powi(3) - l1 * l2 / (6.0 * l3 * l3) + l0 / (2.0 * l3);
    let p = ((l2 / (3.0 * l3)).powi(2) - l1 / (3.0 * l3)).max(0.0).sqrt();
    let p = if q < 0.0 { -p } else { p };
    let ratio = if p == 0.0 { 0.0 } else { (q / p.powi(3)).clamp(-1.0, 1.0) };
    let angle = (std::f64::consts::PI + ratio.acos()) / 3.0;
    let p2 = 2.0 * p * angle.cos() - l2 / (3.0 * l3);
    let p2 = p2.clamp((-delta).max(0.0), (1.0 - delta).min(1.0));
    ((p2 + delta).clamp(0.0, 1.0), p2)
}
