//! Means, spreads, quantiles and their intervals.

use frygauge::stats::moments::{self, Moments};
use frygauge::stats::{cv, quantile};

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
    Answer::NotCovered("no such statistic here")
}
