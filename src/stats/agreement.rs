//! Agreement of two readers, or of a reader and the caller: Cohen's kappa with PABAK and raw agreement beside it.
//!
//! Kappa collapses when nearly all fish are alike (95 % inflated); raw agreement and PABAK do not, so all three are given.
//!
//! # References
//! - Cohen 1960, Educ. Psychol. Meas. 20:37-46, doi:10.1177/001316446002000104.
//! - Fleiss, Cohen & Everitt 1969, Psychol. Bull. 72:323-327, doi:10.1037/h0028106 (standard errors).
//! - Byrt, Bishop & Carlin 1993, J. Clin. Epidemiol. 46:423-429, doi:10.1016/0895-4356(93)90018-V (PABAK).

use super::numeric::normal_two_sided;
use super::{Interval, Level};

/// Agreement in a square table.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Agreement {
    /// Raw agreement: share of fish on which both say the same.
    pub observed: f64,
    /// Prevalence- and bias-adjusted kappa, (k·observed - 1)/(k - 1).
    pub pabak: f64,
    /// Kappa; `None` when only one category was used, where it is not defined.
    pub kappa: Option<Kappa>,
}

/// Cohen's kappa.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Kappa {
    /// Agreement expected by chance.
    pub expected: f64,
    /// Kappa.
    pub value: f64,
    /// Standard error for the interval (Fleiss, Cohen & Everitt).
    pub se: f64,
    /// Normal limits with that standard error.
    pub interval: Interval,
    /// Standard error if there were no agreement beyond chance, for the test.
    pub null_se: f64,
    /// kappa over `null_se`.
    pub z: f64,
    /// Two-sided p of no agreement beyond chance.
    pub p: f64,
}

/// Agreement from counts, rows the first reader and columns the second, categories in the same order.
///
/// `None` when the table is empty or not square.
///
/// ```
/// use frygauge::stats::{Level, agreement::agreement};
/// // SAS PROC FREQ: kappa 0.4842, standard error 0.1380.
/// let a = agreement(&[vec![0, 4, 1], vec![0, 8, 0], vec![0, 1, 5]], Level::P95).unwrap();
/// let k = a.kappa.unwrap();
/// assert!((k.value - 0.4842).abs() < 5e-5 && (k.se - 0.1380).abs() < 5e-5);
/// assert!(agreement(&[vec![50, 0], vec![0, 0]], Level::P95).unwrap().kappa.is_none());
/// ```
pub fn agreement(table: &[Vec<u64>], level: Level) -> Option<Agreement> {
    let k = table.len();
    if k < 2 || table.iter().any(|row| row.len() != k) {
        return None;
    }
    let n = table.iter().flatten().sum::<u64>() as f64;
    if n == 0.0 {
        return None;
    }
    let p = |i: usize, j: usize| table[i][j] as f64 / n;
    let rows: Vec<f64> = (0..k).map(|i| (0..k).map(|j| p(i, j)).sum()).collect();
    let columns: Vec<f64> = (0..k).map(|j| (0..k).map(|i| p(i, j)).sum()).collect();
    let observed: f64 = (0..k).map(|i| p(i, i)).sum();
    let expected: f64 = rows.iter().zip(&columns).map(|(r, c)| r * c).sum();
    let pabak = (k as f64 * observed - 1.0) / (k as f64 - 1.0);
    let kappa = (1.0 - expected > 1e-12)
        .then(|| {
            let value = (observed - expected) / (1.0 - expected);
            let a: f64 =
                (0..k).map(|i| p(i, i) * (1.0 - (rows[i] + columns[i]) * (1.0 - value)).powi(2)).sum();
            let b: f64 = (0..k)
                .flat_map(|i| (0..k).map(move |j| (i, j)))
                .filter(|(i, j)| i != j)
                .map(|(i, j)| p(i, j) * (columns[i] + rows[j]).powi(2))
                .sum::<f64>()
                * (1.0 - value).powi(2);
            let c = (value - expected * (1.0 - value)).powi(2);
            let scale = n * (1.0 - expected).powi(2);
            let se = ((a + b - c).max(0.0) / scale).sqrt();
            let cubes: f64 = rows.iter().zip(&columns).map(|(r, c)| r * c * (r + c)).sum();
            let null_se = ((expected + expected * expected - cubes).max(0.0) / scale).sqrt();
            let z = value / null_se;
            Some(Kappa {
                expected,
                value,
                se,
                interval: Interval::around(value, level.z() * se)?,
                null_se,
                z,
                p: normal_two_sided(z),
            })
        })
        .flatten();
    Some(Agreement { observed, pabak, kappa })
}
