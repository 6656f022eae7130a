//! Means, spreads, quantiles and their intervals.

use frygauge::stats::moments::{self, Moments};
use frygauge::stats::{Level, bootstrap, cv, ks, quantile, rank, spread};

use crate::case::{Answer, Row, column, data};
use crate::proportions::limit;

/// The values a row names: a list, or a column of a data file.
fn values(row: &Row) -> Vec<f64> {
    let Some(file) = row.file() else {
        return row.list("x");
    };
    match file {
        "pike" | "pikeraw.csv" => match row.maybe("age") {
            None => column("pikeraw.csv", "length"),
            Some(age) => data("pikeraw.csv")
                .iter()
                .filter(|r| r["age"].parse::<f64>().unwrap() == age)
                .map(|r| r["length"].parse().unwrap())
                .collect(),
        },
        "faithful" | "faithful.csv:waiting" => column("faithful.csv", "waiting"),
        "spatial.csv:A" => column("spatial.csv", "A"),
        "lew" => column("nist_lew.csv", "x"),
        // Bliss's leghorn chicks, as in the rows of the Anderson-Darling test.
        "chicks" => vec![
            156., 162., 168., 182., 186., 190., 190., 196., 202., 210., 214., 220., 226., 230., 230., 236.,
            236., 242., 246., 270.,
        ],
        nist => column(nist, "x"),
    }
}

pub fn answer(row: &Row) -> Answer {
    let q = row.quantity.as_str();
    let method = row.method.as_str();
    if method.starts_with("NIST StRD") {
        let x = values(row);
        let m = Moments::of(&x);
        // NumAcc3 and 4 hold 1e6 and 1e7 with a difference of .1: the doubles themselves carry only 9 and 8 digits of it.
        let tolerance = if row.id.ends_with("numacc3") || row.id.ends_with("numacc4") { 1e-8 } else { 1e-13 };
        return match q {
            "mean" => Answer::within(m.map(|m| m.mean()), 1e-14),
            "sd" => Answer::within(m.and_then(|m| m.sd()), tolerance),
            _ => Answer::within(moments::lag_one(&x), tolerance.max(1e-12)),
        };
    }
    if method.starts_with("t CI for mean") {
        let m = Moments::of(&values(row)).unwrap();
        let interval =
            if q.starts_with("mean") { m.mean_interval(row.level()) } else { m.sd_interval(row.level()) };
        // The intervals of NumAcc3 and 4 inherit the digits of the data, see above.
        return Answer::within(limit(interval, q), 1e-8);
    }
    if method.starts_with("CV CI") {
        let (sample_cv, n, scale) = if let Some(c) = row.maybe("cv") {
            (c, row.count("n") as usize, 1.0)
        } else {
            let m = Moments::of(&values(row)).unwrap();
            (m.cv().unwrap(), m.n(), if method.contains("percent") { 100.0 } else { 1.0 })
        };
        let interval = if q == "cv" {
            return Answer::of(Some(scale * sample_cv));
        } else if q.starts_with("mckay") {
            cv::mckay(sample_cv, n, row.level())
        } else if q.starts_with("vangel") {
            cv::vangel(sample_cv, n, row.level())
        } else if q.starts_with("exact") {
            cv::exact(sample_cv, n, row.level())
        } else {
            return Answer::NotCovered("not offered: ignores the error of the mean");
        };
        // scipy's noncentral t is good to some 1e-8, and the limits were found with its root finder.
        let tolerance = if q.starts_with("exact") { 1e-7 } else { 1e-9 };
        return Answer::within(limit(interval, q).map(|v| scale * v), tolerance);
    }
    if method.starts_with("distribution-free") {
        let n = row.count("n") as usize;
        let ranks = quantile::ranks(n, row.number("p"), row.level()).unwrap();
        return Answer::of(match q {
            // The reference writes 0 and n + 1 for a limit that does not exist.
            "r" => Some(ranks.low.unwrap_or(0) as f64),
            "s" => Some(ranks.high.unwrap_or(n + 1) as f64),
            _ => Some(ranks.coverage),
        });
    }
    if method.starts_with("g1,g2") {
        let x = values(row);
        let m = Moments::of(&x).unwrap();
        return Answer::of(match q {
            "n" => Some(m.n() as f64),
            "mean" => Some(m.mean()),
            "sd" => m.sd(),
            "median" => quantile::median(&x),
            "q25_type7" => quantile::quantile(&x, 0.25),
            "q75_type7" => quantile::quantile(&x, 0.75),
            "g1" => m.skewness(),
            "g2" => m.excess_kurtosis(),
            "G1" => m.sample_skewness(),
            "G2" => m.sample_excess_kurtosis(),
            _ => return Answer::NotCovered("tests of skewness and kurtosis are not offered"),
        });
    }
    if let Some(answer) = resampled(row) {
        return answer;
    }
    if method.starts_with("Hodges-Lehmann") {
        let (x, y) = (row.list("x"), row.list("y"));
        let one = method.contains("one-sample");
        let s = if one {
            let d: Vec<f64> = y.iter().zip(&x).map(|(y, x)| y - x).collect();
            rank::one_sample(&d, Level::P95).unwrap()
        } else {
            rank::two_samples(&x, &y, Level::P95).unwrap()
        };
        return Answer::of(match q {
            "hl" => Some(s.shift),
            // The reference counts the positive ranks of the differences the other way round.
            "Tplus" => Some(45.0 - s.statistic),
            "W" => Some(s.statistic),
            "p_one_sided" if one => {
                let d: Vec<f64> = x.iter().zip(&y).map(|(x, y)| x - y).collect();
                rank::one_sample(&d, Level::P95).map(|s| s.p_greater)
            }
            "p_one_sided" => Some(s.p_greater),
            _ => limit(s.interval, q),
        });
    }
    if method.starts_with("two-sample KS") {
        let x = row.list("x");
        let y = if row.inputs["y"].is_array() {
            row.list("y")
        } else {
            (0..25).map(|i| f64::from(i) / 25.0).collect()
        };
        let t = ks::two_samples(&x, &y).unwrap();
        return Answer::of(Some(match q {
            "D" => t.distance,
            _ if method.contains("asymptotic") => ks::asymptotic_p(x.len(), y.len(), t.distance),
            _ => t.p,
        }));
    }
    if method.starts_with("Brown-Forsythe") {
        let batches: Vec<Vec<f64>> =
            column("nist_gear.csv", "diameter").chunks(10).map(<[f64]>::to_vec).collect();
        let groups: Vec<&[f64]> = batches.iter().map(Vec::as_slice).collect();
        // Differences of diameters of .001 in 1 leave some 1e-8 of the statistic.
        return Answer::within(
            match q {
                "W_median" => spread::brown_forsythe(&groups).map(|t| t.w),
                "p_median" => spread::brown_forsythe(&groups).map(|t| t.p),
                "W_mean" => spread::levene_mean(&groups).map(|t| t.w),
                "p_mean" => spread::levene_mean(&groups).map(|t| t.p),
                _ => return Answer::NotCovered("Bartlett trusts the normal shape; Fligner is not offered"),
            },
            1e-8,
        );
    }
    Answer::NotCovered("no such statistic here: normality is judged by eye and by the bootstrap")
}

/// Jackknife and bootstrap.
fn resampled(row: &Row) -> Option<Answer> {
    let q = row.quantity.as_str();
    let law: Vec<(f64, f64)> = column("law.csv", "LSAT").into_iter().zip(column("law.csv", "GPA")).collect();
    let correlation = |pairs: &[(f64, f64)]| -> Option<f64> {
        let (x, y): (Vec<f64>, Vec<f64>) = pairs.iter().copied().unzip();
        let (a, b) = (Moments::of(&x)?, Moments::of(&y)?);
        let products: f64 = pairs.iter().map(|(x, y)| (x - a.mean()) * (y - b.mean())).sum();
        let size = (a.sum_of_squares() * b.sum_of_squares()).sqrt();
        (size > 0.0).then(|| products / size)
    };
    let variance = |x: &[f64]| Moments::of(x).map(|m| m.sum_of_squares() / m.n() as f64);
    Some(match row.id.as_str() {
        "et-law" => Answer::of(match q {
            "r" => correlation(&law),
            "jack_se" => bootstrap::jackknife_se(&law, correlation),
            "acc" => bootstrap::acceleration(&law, correlation),
            _ => return Some(Answer::NotCovered("the normal-theory error of a correlation is not used")),
        }),
        // Monte Carlo: the reference states 0.003 for its own 100,000 resamples.
        "et-law-boot" => {
            Answer::within(bootstrap::bca(&law, correlation, 20_000, 1, Level::P90).map(|b| b.se), 0.003)
        }
        // Monte Carlo: the reference states 1.5 on limits of 100 to 260 for its 200,000 resamples; 20,000 add as much.
        "et-spatial-bca" => {
            let b = bootstrap::bca(&column("spatial.csv", "A"), variance, 20_000, 1, Level::P90).unwrap();
            let interval = if q.starts_with("bca") { b.interval } else { b.percentile };
            Answer::within(limit(Some(interval), q), 0.02)
        }
        "et-spatial-abc" => match q {
            "t0" => Answer::of(variance(&column("spatial.csv", "A"))),
            // ABC differentiates where the jackknife leaves out: they agree to some per cent.
            "acc" => Answer::within(bootstrap::acceleration(&column("spatial.csv", "A"), variance), 0.005),
            _ => Answer::NotCovered("the analytic approximation of BCa is not used"),
        },
        _ => return None,
    })
}
