//! Simulated fish in tanks, to see what an interval or a test really does.
//!
//! # References
//! Williams 1975, Biometrics 31:949-952, doi:10.2307/2529820 (beta-binomial counts).

use rand::Rng;
use rand_distr::{Beta, Binomial, Distribution};

/// Inflated fish among `fish` of one tank whose true share is drawn about `share` so that fish of a tank have
/// intraclass correlation `icc`.
///
/// Shares and correlations are cut to 0-1; at a correlation of 0 the tank's share is `share` itself.
///
/// ```
/// use frygauge::stats::simulate::tank_count;
/// use rand::SeedableRng;
/// let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(1);
/// assert!(tank_count(&mut rng, 0.9, 0.05, 50) <= 50);
/// assert_eq!(tank_count(&mut rng, 1.0, 0.05, 50), 50);
/// ```
pub fn tank_count(rng: &mut impl Rng, share: f64, icc: f64, fish: u64) -> u64 {
    let true_share = tank_share(rng, share, icc);
    Binomial::new(fish, true_share).map_or(0, |d| d.sample(rng))
}

/// The true share of one tank; see [`tank_count`].
pub fn tank_share(rng: &mut impl Rng, share: f64, icc: f64) -> f64 {
    let share = if share.is_finite() { share.clamp(0.0, 1.0) } else { 0.0 };
    let icc = icc.clamp(0.0, 0.999_999);
    if icc < 1e-9 || share <= 0.0 || share >= 1.0 {
        return share;
    }
    let theta = (1.0 - icc) / icc;
    Beta::new(share * theta, (1.0 - share) * theta).map_or(share, |d| d.sample(rng)).clamp(0.0, 1.0)
}
