//! Numbers nobody should pass in: every function answers with nothing or an error, never with NaN and never by panicking.

use frygauge::stats::cluster::{self, Count};
use frygauge::stats::control::{cusum, ewma, p_chart};
use frygauge::stats::logistic::{self, Link};
use frygauge::stats::misclassification::{Rate, lang_reiczigel};
use frygauge::stats::moments::Moments;
use frygauge::stats::proportion::{Method, wilson};
use frygauge::stats::sample_size::{ArmPlan, fish_for_mean, fish_for_share};
use frygauge::stats::t_test::{self, Variances};
use frygauge::stats::{
    Level, beta_binomial, bootstrap, cv, difference, exact_test, finite_population, growth, ks, noncentral_t,
    permutation, quantile, rank, spread,
};

const ODD: [f64; 10] = [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 0.0, -0.0, 1.0, -1.0, 1e-308, 1e308, 0.5];

#[test]
fn samples_of_odd_values() {
    let l = Level::P95;
    let mut samples: Vec<Vec<f64>> =
        vec![vec![], vec![1.0], vec![2.0; 5], vec![1e308; 4], vec![-3.0, 3.0], vec![1e-300; 3]];
    for a in ODD {
        for b in ODD {
            samples.push(vec![a, b, 1.0, 2.0]);
        }
    }
    for x in &samples {
        if let Some(m) = Moments::of(x) {
            let numbers = [m.sd(), m.cv(), m.skewness(), m.excess_kurtosis(), m.sample_skewness()];
            assert!(numbers.iter().flatten().all(|v| !v.is_nan()), "{x:?}: {numbers:?}");
            for i in [m.mean_interval(l), m.sd_interval(l)].into_iter().flatten() {
                assert!(i.low <= i.high);
            }
            if let Some(c) = m.cv() {
                let _ = (cv::interval(c, m.n(), l), cv::exact(c, m.n(), l));
            }
        }
        let _ = (quantile::median(x), quantile::limits(x, 0.5, l));
        let _ = (rank::one_sample(x, l), rank::two_samples(x, &[1.0, 2.0], l));
        let _ = (ks::two_samples(x, x), spread::brown_forsythe(&[x, &[1.0, 2.0, 4.0]]));
        let _ = bootstrap::bca(x, |v| Moments::of(v).map(|m| m.mean()), 50, 1, l);
        for v in [Variances::Welch, Variances::Pooled] {
            if let Ok(t) = t_test::two_groups(x, &[1.0, 2.0], v, l) {
                assert!(!t.p.is_nan() && t.interval.low <= t.interval.high, "{x:?}: {t:?}");
            }
        }
        let _ = (t_test::one_group(x, l), permutation::sign_flip(x), permutation::two_groups(x, &[0.5]));
        let _ = permutation::trend(&[0.0, 1.0, 1.0, 2.0], x);
        let _ = (ewma(x, 0.5, 0.1, 0.2, 3.0), cusum(x, 0.5, 0.1, 1.0));
        let _ = growth::over_days(&[1.0, 2.0, 3.0, 4.0], x, l);
        let _ = logistic::curve(&[1.0, 2.0, 3.0, 4.0], x, &[5.0; 4], Link::Logit);
        let _ = logistic::curve(x, &[1.0, 2.0, 3.0, 4.0], &[5.0; 4], Link::Probit);
        let tanks: Vec<Count> = x.iter().map(|v| Count { successes: *v, n: 5.0 }).collect();
        let _ = (cluster::anova(&[&tanks]), cluster::ratio(&tanks), cluster::clustered_wilson(&tanks, l));
        let _ = (cluster::rao_scott(&[&tanks, &tanks], true), cluster::donner(&[&tanks, &tanks]));
        let _ = beta_binomial::fit_one(&tanks);
    }
}

#[test]
fn odd_counts_rates_and_plans() {
    let l = Level::P95;
    for (x, n) in [(0, 0), (1, 0), (5, 3), (0, 1), (1, 1), (1_000_000, 1_000_000), (999_999, 1_000_000)] {
        for m in
            [Method::Wilson, Method::ClopperPearson, Method::Jeffreys, Method::AgrestiCoull, Method::MidP]
        {
            if let Some(i) = m.interval(x, n, l) {
                let p = x as f64 / n as f64;
                assert!(
                    0.0 <= i.low && i.low <= p && p <= i.high && i.high <= 1.0,
                    "{m:?} {x} of {n}: {i:?}"
                );
            }
        }
        let _ = (difference::newcombe((x, n), (1, 2), l), difference::miettinen_nurminen((x, n), (1, 2), l));
        let _ = finite_population::wilson(x, n, n + 1, l);
        if n <= 10 {
            let _ = (exact_test::fisher((x, n), (1, 2)), finite_population::exact_number(x, n, n + 1, l));
        }
        let _ = p_chart(&[(x, n), (1, 2)], 3.0);
    }
    for a in ODD {
        for b in ODD {
            let _ = (wilson(a, b, l), noncentral_t::cdf(a, b.abs(), 1.0), cv::vangel(a, 5, l));
            let rate = |value: f64| Rate { value, n: b };
            if let Ok(c) = lang_reiczigel(a, 10.0, rate(0.9), rate(0.9), l) {
                assert!(!c.estimate.is_nan() && c.interval.low <= c.interval.high);
            }
            let _ = (
                fish_for_share(a, b, None, l),
                fish_for_share(a, 0.1, Some(b), l),
                growth::between(a, b, 1.0),
            );
            // A precision this fine would take years of counting up: only ask what can be answered.
            if !(b > 0.0 && a / b > 1e6) {
                let _ = fish_for_mean(a, b, l);
            }
            let plan = ArmPlan { first: a, second: 0.5, fish: b, icc: 0.05, level: l };
            if let Ok(p) = plan.power(3) {
                assert!((0.0..=1.0).contains(&p));
            }
        }
    }
}
