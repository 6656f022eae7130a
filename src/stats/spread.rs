//! Do groups differ in spread: the test of Brown and Forsythe (Levene's about medians).
//!
//! # References
//! - Brown & Forsythe 1974, J. Am. Stat. Assoc. 69:364-367, doi:10.1080/01621459.1974.10482955.
//! - NIST/SEMATECH e-Handbook 1.3.5.10 (worked example, gear diameters).

use super::moments::Moments;
use super::numeric::f_sf;
use super::quantile::median;

/// An F statistic with its p-value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SpreadTest {
    /// The statistic W.
    pub w: f64,
    /// Numerator degrees of freedom.
    pub df1: f64,
    /// Denominator degrees of freedom.
    pub df2: f64,
    /// p-value.
    pub p: f64,
}

/// One-way analysis of variance of the distances of the values from the centre of their group.
fn levene(groups: &[&[f64]], centre: impl Fn(&[f64]) -> Option<f64>) -> Option<SpreadTest> {
    if groups.len() < 2 {
        return None;
    }
    let distances: Vec<Vec<f64>> = groups
        .iter()
        .map(|g| centre(g).map(|c| g.iter().map(|v| (v - c).abs()).collect()))
        .collect::<Option<_>>()?;
    let all: Vec<f64> = distances.iter().flatten().copied().collect();
    let grand = Moments::of(&all)?;
    let within: Vec<Moments> = distances.iter().map(|d| Moments::of(d)).collect::<Option<_>>()?;
    let between: f64 = within.iter().map(|m| m.n() as f64 * (m.mean() - grand.mean()).powi(2)).sum();
    let inside: f64 = within.iter().map(Moments::sum_of_squares).sum();
    let (df1, df2) = ((groups.len() - 1) as f64, (all.len() - groups.len()) as f64);
    if df2 < 1.0 || inside <= 0.0 {
        return None;
    }
    let w = (between / df1) / (inside / df2);
    Some(SpreadTest { w, df1, df2, p: f_sf(w, df1, df2) })
}

/// Brown and Forsythe's test; `None` for fewer than two groups, an empty group or no variation at all.
///
/// ```
/// use frygauge::stats::spread::brown_forsythe;
/// let even = [1.0, 2.0, 3.0, 4.0];
/// let wide = [10.0, 20.0, 30.0, 40.0];
/// assert!(brown_forsythe(&[&even, &wide]).unwrap().p < brown_forsythe(&[&even, &even]).unwrap().p);
/// ```
pub fn brown_forsythe(groups: &[&[f64]]) -> Option<SpreadTest> {
    levene(groups, median)
}

/// Levene's original test about the means, for comparison.
pub fn levene_mean(groups: &[&[f64]]) -> Option<SpreadTest> {
    levene(groups, |g| Moments::of(g).map(|m| m.mean()))
}
