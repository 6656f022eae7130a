//! Published trials and data sets that have no row in the tables: recomputed here, with what is reconstructed labelled so.

use frygauge::stats::Level;
use frygauge::stats::logistic::{self, Link};
use frygauge::stats::t_test::{self, Variances};
use nalgebra::DMatrix;

use crate::case::data;

/// Crowder 1978 (Appl. Stat. 27:34-37; data as in R package agridat and aod): germinating seeds on plates. A binomial
/// GLM that takes every seed for independent leaves a dispersion of 1.86: plates differ by more than sampling makes them.
/// Coefficients -0.5582, 0.1459, 1.3182, -0.7781, deviance 33.28, Pearson 31.65 on 17 df.
#[test]
fn crowders_seeds_are_overdispersed() {
    let rows = data("crowder_orobanche.csv");
    let design = DMatrix::from_fn(rows.len(), 4, |i, j| {
        // The printed coding: seed O75 and root bean are the second levels' opposites.
        let (seed, root) = (rows[i]["seed"] == "O75", rows[i]["root"] == "CUCUMBER");
        f64::from(u8::from([true, seed, root, seed && root][j]))
    });
    let of = |name: &str| -> Vec<f64> { rows.iter().map(|r| r[name].parse().unwrap()).collect() };
    let fit = logistic::fit(&design, &of("y"), &of("n"), Link::Logit).unwrap();
    assert_eq!(fit.df, 17);
    assert!((fit.deviance - 33.28).abs() < 5e-3 && (fit.pearson - 31.65).abs() < 5e-3, "{fit:?}");
    assert!((fit.dispersion().unwrap() - 1.862).abs() < 5e-4);
    // Whichever level of the seed is the base, the interaction keeps its size.
    assert!((fit.coefficients[3].abs() - 0.7781).abs() < 5e-5);
}

/// Three tanks that have exactly this mean and standard deviation.
fn three(mean: f64, sd: f64) -> [f64; 3] {
    [mean - sd, mean, mean + sd]
}

/// Palińska-Żarska et al. 2019 (Aquacult. Int. 27:931-943, doi:10.1007/s10499-018-0333-4): perch, mean ± SD as printed. How many
/// tanks stood behind them is not known; three are ASSUMED here (a reconstruction). Black against white tanks and 15 against
/// 20 °C then agree with the reported P < 0.05; 15 against 25 °C does not by Welch's test, so that report must rest
/// on a pooled or multiple-comparison test or on more tanks.
#[test]
fn perch_trials_reconstructed_with_three_tanks() {
    let welch = |a: (f64, f64), b: (f64, f64)| {
        t_test::two_groups(&three(a.0, a.1), &three(b.0, b.1), Variances::Welch, Level::P95).unwrap()
    };
    for (a, b, t, p) in [
        ((32.9, 3.6), (7.7, 2.7), 9.70, 0.0009),
        ((24.6, 6.4), (4.9, 3.2), 4.77, 0.018),
        ((20.6, 1.1), (8.4, 2.9), 6.81, 0.010),
        ((20.6, 1.1), (13.0, 5.8), 2.23, 0.147),
    ] {
        let got = welch(a, b);
        assert!((got.t - t).abs() < 5e-3 && (got.p - p).abs() < 6e-4, "{got:?}");
        assert_eq!(got.p < 0.05, p < 0.05);
    }
}
