//! Two-sample Kolmogorov-Smirnov test: do two samples of lengths within one tank come from one distribution.
//!
//! # References
//! - Hodges 1958, Ark. Mat. 3:469-486, doi:10.1007/BF02589501 (exact null distribution by counting lattice paths).
//! - Kolmogorov 1933; Smirnov 1948 (asymptotic series).

use super::numeric::sorted_finite;

/// Exact p is counted up to this product of sample sizes.
const MOST_EXACT: usize = 4_000_000;

/// Outcome of the test.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct KsTest {
    /// Greatest distance between the two empirical distribution functions.
    pub distance: f64,
    /// Two-sided p: exact for samples without ties between them of moderate size, asymptotic otherwise.
    pub p: f64,
    /// Whether `p` is exact.
    pub exact: bool,
}

/// Compares two samples; `None` when one is empty or holds a value that is not finite.
///
/// ```
/// use frygauge::stats::ks::two_samples;
/// let t = two_samples(&[1.0, 2.0, 3.0], &[4.0, 5.0, 6.0]).unwrap();
/// assert_eq!(t.distance, 1.0);
/// assert!((t.p - 0.1).abs() < 1e-12); // 2 of the 20 orders
/// ```
pub fn two_samples(first: &[f64], second: &[f64]) -> Option<KsTest> {
    let (a, b) = (sorted_finite(first)?, sorted_finite(second)?);
    let (n, m) = (a.len(), b.len());
    let (mut i, mut j, mut most) = (0, 0, 0.0f64);
    let mut ties = false;
    while i < n && j < m {
        let value = a[i].min(b[j]);
        let (before_i, before_j) = (i, j);
        while i < n && a[i] <= value {
            i += 1;
        }
        while j < m && b[j] <= value {
            j += 1;
        }
        ties |= i > before_i && j > before_j;
        most = most.max((i as f64 / n as f64 - j as f64 / m as f64).abs());
    }
    let exact = !ties && n.saturating_mul(m) <= MOST_EXACT;
    let p = if exact { exact_p(n, m, most) } else { asymptotic_p(n, m, most) };
    Some(KsTest { distance: most, p, exact })
}

/// P(D ≥ d): one less the share of lattice paths from (0,0) to (n,m) that stay nearer than d to the diagonal.
fn exact_p(n: usize, m: usize, distance: f64) -> f64 {
    let (rows, columns) = (n as f64, m as f64);
    let inside = |i: usize, j: usize| (i as f64 / rows - j as f64 / columns).abs() < distance - 1e-9;
    // Probabilities instead of counts: at each point, the share of equally likely orders that pass it inside.
    let mut row = vec![0.0f64; m + 1];
    for i in 0..=n {
        for j in 0..=m {
            let here = if i == 0 && j == 0 {
                1.0
            } else {
                let total = (i + j) as f64;
                let from_i = if i > 0 { row[j] * i as f64 / total } else { 0.0 };
                let from_j = if j > 0 { row[j - 1] * j as f64 / total } else { 0.0 };
                from_i + from_j
            };
            row[j] = if inside(i, j) { here } else { 0.0 };
        }
    }
    (1.0 - row[m]).clamp(0.0, 1.0)
}

/// The Kolmogorov series at d·√(nm/(n+m)).
pub fn asymptotic_p(n: usize, m: usize, distance: f64) -> f64 {
    let (n, m) = (n as f64, m as f64);
    let x = distance * (n * m / (n + m)).sqrt();
    if x < 0.2 {
        return 1.0;
    }
    let mut sum = 0.0;
    for k in 1..=100 {
        let k = f64::from(k);
        let term = (-2.0 * k * k * x * x).exp();
        sum += if k % 2.0 == 1.0 { term } else { -term };
        if term < 1e-18 {
            break;
        }
    }
    (2.0 * sum).clamp(0.0, 1.0)
}
