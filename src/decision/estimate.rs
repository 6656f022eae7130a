//! A number with its limits, and products of such numbers.

use serde::{Deserialize, Serialize};

use crate::stats::{Interval, Level, proportion};

/// A value and its limits.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Estimate {
    /// The value.
    pub value: f64,
    /// Lower limit.
    pub low: f64,
    /// Upper limit.
    pub high: f64,
}

impl Estimate {
    /// A value with limits.
    pub fn new(value: f64, interval: Interval) -> Self {
        Self { value, low: interval.low, high: interval.high }
    }

    /// A value taken as known.
    pub fn exact(value: f64) -> Self {
        Self { value, low: value, high: value }
    }

    /// The value times a known factor above 0.
    #[must_use]
    pub fn times(self, factor: f64) -> Self {
        Self { value: self.value * factor, low: self.low * factor, high: self.high * factor }
    }

    /// Product with an independent estimate, both at or above 0. Limits by recovering the variances of the
    /// logarithms from each one's own limits (Zou & Donner 2008, Stat. Med. 27:1693-1702, doi:10.1002/sim.3095).
    #[must_use]
    pub fn product(self, other: Self) -> Self {
        let value = self.value * other.value;
        if value <= 0.0 {
            return Self { value, low: 0.0, high: self.high * other.high };
        }
        let below = (self.value / self.low).ln().hypot((other.value / other.low).ln());
        let above = (self.high / self.value).ln().hypot((other.high / other.value).ln());
        Self { value, low: value * (-below).exp(), high: value * above.exp() }
    }

    /// One over the value, which must be above 0; an upper limit that does not exist is infinite.
    #[must_use]
    pub fn reciprocal(self) -> Self {
        let over = |v: f64| if v > 0.0 { 1.0 / v } else { f64::INFINITY };
        Self { value: over(self.value), low: over(self.high), high: over(self.low) }
    }

    /// What is left of a whole of 1.
    #[must_use]
    pub fn complement(self) -> Self {
        Self { value: 1.0 - self.value, low: 1.0 - self.high, high: 1.0 - self.low }
    }

    /// The smallest and largest limits of the two, about the value of this one.
    #[must_use]
    pub fn widened_by(self, other: Self) -> Self {
        Self { value: self.value, low: self.low.min(other.low), high: self.high.max(other.high) }
    }
}

/// Limits of a share that is a mean of `n` values between 0 and 1 with this `variance` of the mean: Wilson's
/// interval for the number of yes-or-no fish that would leave the same variance.
pub(crate) fn share_from_variance(share: f64, variance: f64, n: usize, level: Level) -> Estimate {
    let n = n as f64;
    // Values strictly between 0 and 1 vary less than yes-or-no ones; a sample still tells no more than ten times its number.
    let effective = if variance > 0.0 { (share * (1.0 - share) / variance).clamp(1.0, 10.0 * n) } else { n };
    let effective = if share <= 0.0 || share >= 1.0 { n } else { effective };
    let interval =
        proportion::wilson(share * effective, effective, level).unwrap_or(Interval { low: 0.0, high: 1.0 });
    Estimate { value: share, low: interval.low.min(share), high: interval.high.max(share) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn product_with_a_known_number_scales_the_limits() {
        let share = Estimate { value: 0.1, low: 0.05, high: 0.2 };
        let fish = Estimate::exact(2000.0).product(share);
        assert!((fish.low - 100.0).abs() < 1e-9 && (fish.high - 400.0).abs() < 1e-9);
        let none = Estimate { value: 0.0, low: 0.0, high: 0.1 }.product(Estimate::exact(500.0));
        assert_eq!((none.value, none.low, none.high), (0.0, 0.0, 50.0));
    }

    #[test]
    fn yes_or_no_fish_give_wilsons_limits() {
        // Newcombe 1998, Stat. Med. 17:857-872: 81 of 263, Wilson 0.2553 to 0.3662.
        let p: f64 = 81.0 / 263.0;
        let e = share_from_variance(p, p * (1.0 - p) / 263.0, 263, Level::P95);
        assert!((e.low - 0.2553).abs() < 5e-5 && (e.high - 0.3662).abs() < 5e-5);
    }
}
