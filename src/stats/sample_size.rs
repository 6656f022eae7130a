//! How many fish and how many tanks: smallest samples for a wanted precision or power.
//!
//! # References
//! - Cochran 1977, Sampling Techniques, 3rd ed., ch. 4 (finite populations).
//! - Hayes & Bennett 1999, Int. J. Epidemiol. 28:319-326, doi:10.1093/ije/28.2.319 (clusters an arm).
//! - Thorarensen, Kubiriza & Imsland 2015, Aquaculture 448:483-490 (tanks as replicates in growth studies).

use super::finite_population::effective_size;
use super::noncentral_t;
use super::numeric::{normal_quantile, t_quantile};
use super::{Level, StatsError};

/// No plan asks for more than this many fish or tanks.
const MOST: u64 = 1_000_000_000;
/// Tanks an arm beyond which a plan is no plan.
pub const MOST_TANKS: usize = 500;

/// Half-width of Wilson's interval at share `p` of a sample of `n` (of a finite `population`).
pub fn wilson_half_width(p: f64, n: f64, population: Option<f64>, level: Level) -> f64 {
    let z = level.z();
    let effective = match population {
        Some(all) if n < all => effective_size(n, all),
        Some(_) => return 0.0,
        None => n,
    };
    z / (1.0 + z * z / effective) * (p * (1.0 - p) / effective + z * z / (4.0 * effective * effective)).sqrt()
}

/// The smallest sample whose Wilson interval at share `p` is no wider than `half_width` either side.
///
/// # Errors
/// [`StatsError::NotUsable`] when `p` is outside 0-1 or the half-width is not between 0 and 0.5;
/// [`StatsError::NotEstimable`] when more than 1e9 fish were needed.
///
/// ```
/// use frygauge::stats::{Level, sample_size::fish_for_share};
/// // Ten points either side at 90 % inflated take some 40 fish, at 50 % some 93.
/// assert!(fish_for_share(0.9, 0.1, None, Level::P95).unwrap() < 45);
/// assert!(fish_for_share(0.5, 0.1, None, Level::P95).unwrap() > 85);
/// ```
pub fn fish_for_share(
    p: f64,
    half_width: f64,
    population: Option<f64>,
    level: Level,
) -> Result<u64, StatsError> {
    if !(0.0..=1.0).contains(&p) {
        return Err(StatsError::NotUsable(format!("expected share {p} is outside 0-1")));
    }
    if !(half_width > 0.0 && half_width < 0.5) {
        return Err(StatsError::NotUsable(format!("half-width {half_width} is not between 0 and 0.5")));
    }
    let enough = |n: u64| wilson_half_width(p, n as f64, population, level) <= half_width;
    smallest(enough, 1)
}

/// The smallest sample with which the t interval of a mean, at standard deviation `sd`, is no wider than `half_width` either side.
///
/// # Errors
/// As [`fish_for_share`]; `sd` must be above 0.
pub fn fish_for_mean(sd: f64, half_width: f64, level: Level) -> Result<u64, StatsError> {
    if !(sd > 0.0 && sd.is_finite() && half_width > 0.0 && half_width.is_finite()) {
        return Err(StatsError::NotUsable("standard deviation and half-width must be above 0".into()));
    }
    smallest(
        |n| t_quantile(0.5 + 0.5 * level.get(), (n - 1) as f64) * sd / (n as f64).sqrt() <= half_width,
        2,
    )
}

/// Fewest fish of which none showing excludes a share of `p` (one-sided): ln α / ln(1-p), rounded up.
///
/// # Errors
/// [`StatsError::NotUsable`] unless `p` is strictly between 0 and 1.
pub fn fish_to_exclude(p: f64, level: Level) -> Result<u64, StatsError> {
    if !(p > 0.0 && p < 1.0) {
        return Err(StatsError::NotUsable(format!("share {p} is not between 0 and 1")));
    }
    Ok(round_up(level.alpha().ln() / (-p).ln_1p()))
}

/// Sample size for a finite population from that for an endless one: n0/(1+(n0-1)/N).
pub fn finite(n0: f64, population: f64) -> f64 {
    n0 / (1.0 + (n0 - 1.0) / population)
}

/// Rounds up, forgiving 1e-9 of arithmetic.
pub fn round_up(n: f64) -> u64 {
    (n - 1e-9).ceil().max(0.0) as u64
}

/// The smallest n from `least` on for which `enough` holds, which must hold for all beyond it.
fn smallest(enough: impl Fn(u64) -> bool, least: u64) -> Result<u64, StatsError> {
    if enough(least) {
        return Ok(least);
    }
    let mut high = least;
    while !enough(high) {
        if high >= MOST {
            return Err(StatsError::NotEstimable("more than 1e9 fish would be needed".into()));
        }
        high *= 2;
    }
    let mut low = high / 2;
    while high - low > 1 {
        let middle = low + (high - low) / 2;
        if enough(middle) {
            high = middle;
        } else {
            low = middle;
        }
    }
    Ok(high)
}

/// What a comparison of two arms of tanks is planned with.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ArmPlan {
    /// Expected share in the first arm.
    pub first: f64,
    /// Expected share in the second arm.
    pub second: f64,
    /// Called fish a tank.
    pub fish: f64,
    /// Intraclass correlation of fish within tanks.
    pub icc: f64,
    /// Confidence level; 1 - level is the significance level of the two-sided test.
    pub level: Level,
}

impl ArmPlan {
    fn check(&self) -> Result<(), StatsError> {
        for p in [self.first, self.second] {
            if !(0.0..=1.0).contains(&p) {
                return Err(StatsError::NotUsable(format!("expected share {p} is outside 0-1")));
            }
        }
        if !(self.fish >= 1.0 && self.fish.is_finite()) {
            return Err(StatsError::NotUsable("at least one fish a tank is needed".into()));
        }
        if !(0.0..=1.0).contains(&self.icc) {
            return Err(StatsError::NotUsable(format!("intraclass correlation {} is outside 0-1", self.icc)));
        }
        Ok(())
    }

    /// Variance of a tank's share at expected share `p`: p(1-p)[1+(m-1)icc]/m.
    pub fn tank_variance(&self, p: f64) -> f64 {
        p * (1.0 - p) * (1.0 + (self.fish - 1.0) * self.icc) / self.fish
    }

    fn pooled_variance(&self) -> f64 {
        0.5 * (self.tank_variance(self.first) + self.tank_variance(self.second))
    }

    /// Power of the pooled t test on tank shares with `tanks` an arm.
    ///
    /// # Errors
    /// [`StatsError::NotUsable`] for numbers out of range, [`StatsError::TooFew`] below two tanks.
    pub fn power(&self, tanks: usize) -> Result<f64, StatsError> {
        self.check()?;
        power_of_difference(self.first - self.second, self.pooled_variance().sqrt(), tanks, self.level)
    }

    /// The fewest tanks an arm with at least `power`; the power they give comes second.
    ///
    /// # Errors
    /// As [`ArmPlan::power`]; [`StatsError::NotEstimable`] when more than [`MOST_TANKS`] were needed.
    ///
    /// ```
    /// use frygauge::stats::{Level, sample_size::ArmPlan};
    /// let plan = ArmPlan { first: 0.9, second: 0.75, fish: 30.0, icc: 0.0, level: Level::P95 };
    /// assert_eq!(plan.tanks(0.8).unwrap().0, 5);
    /// ```
    pub fn tanks(&self, power: f64) -> Result<(usize, f64), StatsError> {
        self.check()?;
        tanks_for_difference(self.first - self.second, self.pooled_variance().sqrt(), power, self.level)
    }

    /// Tanks an arm by the normal formula, before rounding.
    pub fn tanks_normal(&self, power: f64) -> f64 {
        let q = self.level.z() + normal_quantile(power);
        q * q * 2.0 * self.pooled_variance() / (self.first - self.second).powi(2)
    }
}

/// Power of the two-sided pooled t test to see `difference` between two arms of `tanks` with between-tank standard deviation `sd`.
///
/// # Errors
/// [`StatsError::TooFew`] below two tanks, [`StatsError::NotUsable`] for numbers that are not finite.
pub fn power_of_difference(difference: f64, sd: f64, tanks: usize, level: Level) -> Result<f64, StatsError> {
    if tanks < 2 {
        return Err(StatsError::TooFew("each arm needs two tanks".into()));
    }
    if !(difference.is_finite() && sd.is_finite() && sd >= 0.0) {
        return Err(StatsError::NotUsable("difference and spread must be numbers".into()));
    }
    if difference == 0.0 {
        return Ok(level.alpha());
    }
    if sd == 0.0 {
        return Ok(1.0);
    }
    let df = 2.0 * tanks as f64 - 2.0;
    let nc = difference.abs() / (sd * (2.0 / tanks as f64).sqrt());
    let critical = level.t(df);
    let upper = noncentral_t::sf(critical, df, nc);
    let lower = noncentral_t::cdf(-critical, df, nc);
    match (upper, lower) {
        (Some(u), Some(l)) => Ok((u + l).min(1.0)),
        _ => Err(StatsError::NotUsable("power is not a number".into())),
    }
}

/// The fewest tanks an arm with at least `power` to see `difference`, and the power they give.
///
/// # Errors
/// As [`power_of_difference`]; [`StatsError::NotEstimable`] beyond [`MOST_TANKS`].
pub fn tanks_for_difference(
    difference: f64,
    sd: f64,
    power: f64,
    level: Level,
) -> Result<(usize, f64), StatsError> {
    if !(power > 0.0 && power < 1.0) {
        return Err(StatsError::NotUsable(format!("power {power} is not between 0 and 1")));
    }
    for tanks in 2..=MOST_TANKS {
        let got = power_of_difference(difference, sd, tanks, level)?;
        if got >= power {
            return Ok((tanks, got));
        }
    }
    Err(StatsError::NotEstimable(format!("more than {MOST_TANKS} tanks an arm would be needed")))
}

/// The smallest difference that `tanks` an arm see with `power`, at between-tank standard deviation `sd`.
///
/// # Errors
/// As [`power_of_difference`].
pub fn detectable_difference(sd: f64, tanks: usize, power: f64, level: Level) -> Result<f64, StatsError> {
    power_of_difference(1.0, sd, tanks, level)?;
    let (mut low, mut high) = (0.0, sd.max(1e-12));
    while power_of_difference(high, sd, tanks, level)? < power {
        high *= 2.0;
        if high > 1e6 * sd.max(1e-12) {
            return Err(StatsError::NotEstimable("no difference is large enough".into()));
        }
    }
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if power_of_difference(middle, sd, tanks, level)? < power {
            low = middle;
        } else {
            high = middle;
        }
    }
    Ok(high)
}
