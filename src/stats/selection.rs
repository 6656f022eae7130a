//! Selection curves of bars and meshes: the chance of being retained as a logistic function of size.
//!
//! Retention r(l) = 1 / (1 + exp(-(a + b l))); L50 = -a/b is the size of which half are retained, and the
//! selection range SR = L75 - L25 = 2 ln 3 / b (FAO Fisheries Technical Paper, document X7788E, ch. 3).
//!
//! # References
//! - Millar 1992, J. Am. Stat. Assoc. 87:962-968, doi:10.1080/01621459.1992.10476250 (SELECT: retained fish against an
//!   unsorted sample, with the split p as a parameter).
//! - Wileman et al. 1996, ICES Coop. Res. Rep. 215 (standard errors of L50 and SR by the delta method).

use nalgebra::{DMatrix, DVector};
use serde::{Deserialize, Serialize};
use statrs::function::gamma::ln_gamma;

use super::StatsError;

/// One size class: fish found in the retained part and in the other part.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct SizeClass {
    /// Size of the class, in the unit the curve is wanted in.
    pub size: f64,
    /// Fish of the retained part.
    pub retained: f64,
    /// Fish of the other part: those that passed, or an unsorted sample.
    pub other: f64,
}

/// What the other part of each [`SizeClass`] is.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Design {
    /// Every fish was put through, and the other part is those that passed.
    BothSidesCounted,
    /// The other part is an unsorted sample; the share of fish that met the selecting part, a fraction, is known.
    UnsortedKnownSplit(f64),
    /// The other part is an unsorted sample; the split is estimated (SELECT).
    UnsortedFreeSplit,
}

/// A fitted curve.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Selection {
    /// Intercept of the logit.
    pub a: f64,
    /// Slope of the logit per unit of size, above 0 when larger fish are retained.
    pub b: f64,
    /// Covariance of `a` and `b`: var a, cov, var b, from the observed information.
    pub covariance: [f64; 3],
    /// Logit of the split, when it was estimated.
    pub logit_split: Option<f64>,
    /// Its standard error.
    pub logit_split_se: Option<f64>,
    /// Log-likelihood, binomial coefficients included.
    pub log_likelihood: f64,
    /// Residual deviance.
    pub deviance: f64,
    /// Pearson's chi-square.
    pub pearson: f64,
    /// Degrees of freedom: classes with fish, less the parameters.
    pub df: usize,
}

/// The logistic function.
pub fn logistic(x: f64) -> f64 {
    if x >= 0.0 { 1.0 / (1.0 + (-x).exp()) } else { x.exp() / (1.0 + x.exp()) }
}

/// ln of the logistic function without loss for large negative `x`.
fn ln_logistic(x: f64) -> f64 {
    if x >= 0.0 { -(-x).exp().ln_1p() } else { x - x.exp().ln_1p() }
}

/// The problem in scaled size z = (l - centre) / spread, so that steps are of like size in all parameters.
struct Problem<'a> {
    classes: &'a [(f64, f64, f64)],
    design: Design,
}

impl Problem<'_> {
    fn parameters(&self) -> usize {
        if self.design == Design::UnsortedFreeSplit { 3 } else { 2 }
    }

    /// Log odds of having come from the retained part, its gradient and the curvature of ln r along a + b z.
    fn odds(&self, theta: &DVector<f64>, z: f64) -> (f64, DVector<f64>, f64) {
        let line = theta[0] + theta[1] * z;
        let r = logistic(line);
        match self.design {
            Design::BothSidesCounted => (line, DVector::from_vec(vec![1.0, z]), 0.0),
            Design::UnsortedKnownSplit(p) => (
                (p / (1.0 - p)).ln() + ln_logistic(line),
                DVector::from_vec(vec![1.0 - r, z * (1.0 - r)]),
                -r * (1.0 - r),
            ),
            Design::UnsortedFreeSplit => (
                theta[2] + ln_logistic(line),
                DVector::from_vec(vec![1.0 - r, z * (1.0 - r), 1.0]),
                -r * (1.0 - r),
            ),
        }
    }

    /// Log-likelihood without the binomial coefficients.
    fn log_likelihood(&self, theta: &DVector<f64>) -> f64 {
        self.classes
            .iter()
            .map(|&(z, y, m)| {
                let eta = self.odds(theta, z).0;
                y * ln_logistic(eta) + m * ln_logistic(-eta)
            })
            .sum()
    }

    fn gradient_and_information(&self, theta: &DVector<f64>) -> (DVector<f64>, DMatrix<f64>) {
        let k = self.parameters();
        let (mut gradient, mut information) = (DVector::zeros(k), DMatrix::zeros(k, k));
        for &(z, y, m) in self.classes {
            let (eta, slope, curve) = self.odds(theta, z);
            let phi = logistic(eta);
            let miss = y - (y + m) * phi;
            gradient += &slope * miss;
            information += &slope * slope.transpose() * ((y + m) * phi * (1.0 - phi));
            for (i, u) in [1.0, z].into_iter().enumerate() {
                for (j, v) in [1.0, z].into_iter().enumerate() {
                    information[(i, j)] -= miss * curve * u * v;
                }
            }
        }
        (gradient, information)
    }

    /// Newton's method with halved steps; ridged where the likelihood is not concave.
    fn maximise(&self, mut theta: DVector<f64>) -> (DVector<f64>, f64) {
        let mut best = self.log_likelihood(&theta);
        for _ in 0..200 {
            let (gradient, mut information) = self.gradient_and_information(&theta);
            let mut ridge = 0.0;
            let step = loop {
                if let Some(c) = information.clone().cholesky() {
                    break c.solve(&gradient);
                }
                ridge = if ridge == 0.0 { 1e-6 * (1.0 + information.amax()) } else { ridge * 10.0 };
                if !f64::is_finite(ridge) || ridge > 1e12 {
                    return (theta, best);
                }
                for i in 0..self.parameters() {
                    information[(i, i)] += ridge;
                }
            };
            let mut size = 1.0;
            let gained = loop {
                let next = &theta + &step * size;
                let value = self.log_likelihood(&next);
                if value.is_finite() && value >= best {
                    let gained = value - best;
                    theta = next;
                    best = value;
                    break gained;
                }
                size *= 0.5;
                if size < 1e-10 {
                    return (theta, best);
                }
            };
            if gained < 1e-13 * (1.0 + best.abs()) && step.amax() < 1e-10 * (1.0 + theta.amax()) {
                break;
            }
        }
        (theta, best)
    }
}

/// The curve of greatest likelihood.
///
/// # Errors
/// [`StatsError::NotUsable`] for negative counts, sizes that are not numbers or a split outside 0-1;
/// [`StatsError::TooFew`] with fewer than two classes or a part without fish; [`StatsError::NotEstimable`] when the
/// parts are perfectly separated or the likelihood has no maximum.
///
/// ```
/// use frygauge::stats::selection::{Design, SizeClass, fit};
/// let classes: Vec<SizeClass> = [(4.0, 0., 20.), (5.0, 3., 29.), (6.0, 22., 14.), (7.0, 28., 1.)]
///     .map(|(size, retained, other)| SizeClass { size, retained, other }).to_vec();
/// let curve = fit(&classes, Design::BothSidesCounted).unwrap();
/// assert!((curve.l50() - 5.8).abs() < 0.1);
/// assert!((curve.selection_range() - (curve.size_at(0.75) - curve.size_at(0.25))).abs() < 1e-12);
/// ```
pub fn fit(classes: &[SizeClass], design: Design) -> Result<Selection, StatsError> {
    check(classes, design)?;
    let with_fish: Vec<&SizeClass> = classes.iter().filter(|c| c.retained + c.other > 0.0).collect();
    let n: f64 = with_fish.iter().map(|c| c.retained + c.other).sum();
    let centre = with_fish.iter().map(|c| c.size * (c.retained + c.other)).sum::<f64>() / n;
    let spread = (with_fish.iter().map(|c| (c.size - centre).powi(2) * (c.retained + c.other)).sum::<f64>()
        / n)
        .sqrt();
    if spread <= 1e-12 * centre.abs() {
        return Err(StatsError::NotEstimable("all fish are of one size".into()));
    }
    let scaled: Vec<(f64, f64, f64)> =
        with_fish.iter().map(|c| ((c.size - centre) / spread, c.retained, c.other)).collect();
    let problem = Problem { classes: &scaled, design };
    let k = problem.parameters();
    let retained: f64 = with_fish.iter().map(|c| c.retained).sum();
    // A coarse search over L50 and slope first: with a free split the likelihood has flat arms.
    let mut start: Option<(DVector<f64>, f64)> = None;
    for z50 in [-1.5, -0.75, 0.0, 0.75, 1.5] {
        for slope in [0.5, 2.0, 6.0] {
            let mut theta = vec![-slope * z50, slope];
            if k == 3 {
                theta.push((retained / (n - retained)).ln() + 0.3);
            }
            let (theta, value) = problem.maximise(DVector::from_vec(theta));
            if start.as_ref().is_none_or(|(_, best)| value > *best) {
                start = Some((theta, value));
            }
            if design == Design::BothSidesCounted {
                break; // concave: any start finds the maximum
            }
        }
    }
    let Some((theta, _)) = start else {
        return Err(StatsError::NotEstimable("the likelihood has no maximum".into()));
    };
    let (_, information) = problem.gradient_and_information(&theta);
    let covariance = information
        .cholesky()
        .map(|c| c.inverse())
        .filter(|c| c.iter().all(|v| v.is_finite()) && theta[1].abs() < 1e4)
        .ok_or_else(|| StatsError::NotEstimable("the likelihood has no maximum".into()))?;
    // Back from scaled size: a = a' - b' centre / spread, b = b' / spread.
    let (u, v) = (-centre / spread, 1.0 / spread);
    let (aa, ab, bb) = (covariance[(0, 0)], covariance[(0, 1)], covariance[(1, 1)]);
    let (mut ln_choose, mut deviance, mut pearson) = (0.0, 0.0, 0.0);
    for &(z, y, m) in &scaled {
        let total = y + m;
        let expected = total * logistic(problem.odds(&theta, z).0);
        ln_choose += ln_gamma(total + 1.0) - ln_gamma(y + 1.0) - ln_gamma(m + 1.0);
        let part = |seen: f64, expected: f64| if seen > 0.0 { seen * (seen / expected).ln() } else { 0.0 };
        deviance += 2.0 * (part(y, expected) + part(m, total - expected));
        let variance = expected * (total - expected) / total;
        pearson += if variance > 0.0 { (y - expected).powi(2) / variance } else { 0.0 };
    }
    Ok(Selection {
        a: theta[0] + theta[1] * u,
        b: theta[1] * v,
        covariance: [aa + 2.0 * u * ab + u * u * bb, v * (ab + u * bb), v * v * bb],
        logit_split: (k == 3).then(|| theta[2]),
        logit_split_se: (k == 3).then(|| covariance[(2, 2)].sqrt()),
        log_likelihood: problem.log_likelihood(&theta) + ln_choose,
        deviance,
        pearson,
        df: scaled.len().saturating_sub(k),
    })
}

fn check(classes: &[SizeClass], design: Design) -> Result<(), StatsError> {
    for c in classes {
        if !(c.size.is_finite() && c.retained >= 0.0 && c.other >= 0.0 && (c.retained + c.other).is_finite())
        {
            return Err(StatsError::NotUsable(format!(
                "size class {} with {} retained and {} others",
                c.size, c.retained, c.other
            )));
        }
    }
    if let Design::UnsortedKnownSplit(p) = design
        && !(p > 0.0 && p < 1.0)
    {
        return Err(StatsError::NotUsable(format!("split {p} is not between 0 and 1")));
    }
    let sum = |f: &dyn Fn(&SizeClass) -> f64| classes.iter().map(f).sum::<f64>();
    if sum(&|c| c.retained) == 0.0 || sum(&|c| c.other) == 0.0 {
        return Err(StatsError::TooFew("both parts must hold fish".into()));
    }
    if design == Design::BothSidesCounted {
        let edge = |f: &dyn Fn(f64, f64) -> f64, start: f64, part: &dyn Fn(&SizeClass) -> f64| {
            classes.iter().filter(|c| part(c) > 0.0).map(|c| c.size).fold(start, f)
        };
        let low_retained = edge(&f64::min, f64::INFINITY, &|c| c.retained);
        let high_other = edge(&f64::max, f64::NEG_INFINITY, &|c| c.other);
        let high_retained = edge(&f64::max, f64::NEG_INFINITY, &|c| c.retained);
        let low_other = edge(&f64::min, f64::INFINITY, &|c| c.other);
        let between = |low: f64, high: f64| {
            StatsError::NotEstimable(format!(
                "perfect split between {low} and {high}: the steepness of the curve cannot be told"
            ))
        };
        if high_other < low_retained {
            return Err(between(high_other, low_retained));
        }
        if high_retained < low_other {
            return Err(between(high_retained, low_other));
        }
    }
    Ok(())
}

impl Selection {
    /// Share retained of fish of this `size`.
    pub fn retention(&self, size: f64) -> f64 {
        logistic(self.a + self.b * size)
    }

    /// Size of which the share `q`, strictly between 0 and 1, is retained.
    pub fn size_at(&self, q: f64) -> f64 {
        ((q / (1.0 - q)).ln() - self.a) / self.b
    }

    /// Standard error of [`size_at`](Self::size_at) by the delta method.
    pub fn size_at_se(&self, q: f64) -> f64 {
        let size = self.size_at(q);
        let [aa, ab, bb] = self.covariance;
        ((aa + 2.0 * size * ab + size * size * bb) / (self.b * self.b)).sqrt()
    }

    /// Size of which half are retained.
    pub fn l50(&self) -> f64 {
        self.size_at(0.5)
    }

    /// L75 - L25.
    pub fn selection_range(&self) -> f64 {
        2.0 * 3f64.ln() / self.b
    }

    /// Standard error of the selection range by the delta method.
    pub fn selection_range_se(&self) -> f64 {
        self.selection_range().abs() * self.b_se() / self.b.abs()
    }

    /// Standard error of `a`.
    pub fn a_se(&self) -> f64 {
        self.covariance[0].sqrt()
    }

    /// Standard error of `b`.
    pub fn b_se(&self) -> f64 {
        self.covariance[2].sqrt()
    }

    /// The estimated split, a fraction.
    pub fn split(&self) -> Option<f64> {
        self.logit_split.map(logistic)
    }
}
