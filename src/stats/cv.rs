//! Limits for a coefficient of variation of normally distributed values.
//!
//! # References
//! - McKay 1932, J. R. Stat. Soc. 95:695-698, doi:10.2307/2342041.
//! - Vangel 1996, Am. Stat. 50:21-26, doi:10.1080/00031305.1996.10473537 (the modified McKay interval, eq. 10).

use super::noncentral_t::noncentrality;
use super::numeric::chi2_quantile;
use super::{Interval, Level};

/// Above this coefficient of variation Vangel's approximation is not trusted (Vangel 1996).
pub const VANGEL_LIMIT: f64 = 0.33;

/// McKay's interval form with `add` = 0 (McKay) or 2 (Vangel); an upper limit that does not exist is infinite.
fn mckay_form(cv: f64, n: usize, add: f64, level: Level) -> Option<Interval> {
    if n < 2 || !(cv.is_finite() && cv > 0.0) {
        return None;
    }
    let (count, df) = (n as f64, (n - 1) as f64);
    let limit = |u: f64| {
        let inside = ((u + add) / count - 1.0) * cv * cv + u / df;
        if inside > 0.0 { cv / inside.sqrt() } else { f64::INFINITY }
    };
    Interval::new(limit(chi2_quantile(1.0 - level.tail(), df)), limit(chi2_quantile(level.tail(), df)))
}

/// Vangel's modified McKay interval for a sample CV (a fraction) of `n` values; good below [`VANGEL_LIMIT`].
///
/// `None` for fewer than two values or a CV that is not above 0.
pub fn vangel(cv: f64, n: usize, level: Level) -> Option<Interval> {
    mckay_form(cv, n, 2.0, level)
}

/// McKay's interval, kept for comparison with Vangel's.
pub fn mckay(cv: f64, n: usize, level: Level) -> Option<Interval> {
    mckay_form(cv, n, 0.0, level)
}

/// Exact limits: √n / CV follows a noncentral t with n - 1 degrees of freedom and noncentrality √n / κ.
///
/// The upper limit is infinite when the data do not exclude a mean of 0.
pub fn exact(cv: f64, n: usize, level: Level) -> Option<Interval> {
    if n < 2 || !(cv.is_finite() && cv > 0.0) {
        return None;
    }
    let root_n = (n as f64).sqrt();
    let df = (n - 1) as f64;
    let t = root_n / cv;
    let most = noncentrality(t, df, level.tail())?;
    let least = noncentrality(t, df, 1.0 - level.tail())?;
    Interval::new(root_n / most, if least > 0.0 { root_n / least } else { f64::INFINITY })
}

/// The interval to report: Vangel's where it is good, the exact one beyond.
///
/// ```
/// use frygauge::stats::{Level, cv};
/// let ci = cv::interval(0.10, 50, Level::P95).unwrap();
/// assert!(ci.low < 0.10 && ci.high > 0.10 && ci.high < 0.13);
/// ```
pub fn interval(cv: f64, n: usize, level: Level) -> Option<Interval> {
    if cv < VANGEL_LIMIT { vangel(cv, n, level) } else { exact(cv, n, level) }
}
