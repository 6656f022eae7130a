//! Growth, dose-response curves, control charts.

use frygauge::stats::control::{cusum, ewma, p_chart};
use frygauge::stats::logistic::{self, Fit, Link, Reached};
use frygauge::stats::{Level, growth, linear};
use nalgebra::DMatrix;

use crate::case::{Answer, Row, column};

fn line(fit: &linear::LinearFit, q: &str, level: Level) -> Option<f64> {
    match q {
        "intercept" => Some(fit.intercept),
        "slope" => Some(fit.slope),
        "se_intercept" => fit.intercept_se(),
        "se_slope" => fit.slope_se(),
        "resid_sd" => fit.residual_sd,
        "r2" => fit.r_squared,
        "df" => Some(fit.df() as f64),
        "slope_lower" => fit.slope_interval(level).map(|i| i.low),
        "slope_upper" => fit.slope_interval(level).map(|i| i.high),
        _ => None,
    }
}

/// Where a curve reaches a share, with normal limits whatever the dispersion.
fn at(fit: &Fit, p: f64, level: Level) -> Reached {
    let v = |i, j| fit.covariance[(i, j)];
    let (a, b) = (fit.coefficients[0], fit.coefficients[1]);
    logistic::reached([a, b], [[v(0, 0), v(0, 1)], [v(1, 0), v(1, 1)]], p, fit.link, level.z()).unwrap()
}

fn reached_value(r: &Reached, q: &str, level: Level) -> Option<f64> {
    match q {
        "x" | "T50" | "T90" | "logLD50" => Some(r.x),
        "se" | "T50_se" => Some(r.se),
        "g" => Some(r.g),
        "delta_lower" => Some(r.x - level.z() * r.se),
        "delta_upper" => Some(r.x + level.z() * r.se),
        _ if q.ends_with("fieller_lower") => r.interval.map(|i| i.low),
        _ if q.ends_with("fieller_upper") => r.interval.map(|i| i.high),
        _ => None,
    }
}

fn fit_value(fit: &Fit, q: &str) -> Option<f64> {
    match q {
        "b0" => Some(fit.coefficients[0]),
        "b1" => Some(fit.coefficients[1]),
        "se0" => fit.standard_error(0),
        "se1" => fit.standard_error(1),
        "deviance" => Some(fit.deviance),
        "X2" => Some(fit.pearson),
        "phi" => fit.dispersion(),
        _ => None,
    }
}

pub fn growth_and_curves(row: &Row) -> Answer {
    let (q, level) = (row.quantity.as_str(), row.level());
    let method = row.method.as_str();
    if method == "simple linear regression" {
        let fit = linear::fit(&column("nist_norris.csv", "x"), &column("nist_norris.csv", "y")).unwrap();
        return Answer::of(line(&fit, q, level));
    }
    if method.starts_with("SGR %/day") {
        let g = growth::between(row.number("x1"), row.number("x2"), row.number("days")).unwrap();
        return match q {
            "sgr" => Answer::of(Some(g.rate)),
            "daily_pct" => Answer::of(Some(g.daily_percent())),
            // The reference writes an endless doubling time as infinite.
            _ => Answer::of(Some(g.doubling_days().unwrap_or(f64::INFINITY))),
        };
    }
    if method.starts_with("log-linear") {
        let (days, lengths) = (row.list("day"), row.list("length"));
        let g = growth::over_days(&days, &lengths, level).unwrap();
        let logs: Vec<f64> = lengths.iter().map(|l| l.ln()).collect();
        return Answer::of(match q {
            "sgr" => Some(g.rate),
            "sgr_lower" => g.interval.map(|i| i.low),
            "sgr_upper" => g.interval.map(|i| i.high),
            _ => line(&linear::fit(&days, &logs).unwrap(), q, level),
        });
    }
    if method.starts_with("two-day SGR") {
        let g =
            growth::between_samples(&row.list("len1"), &row.list("len2"), row.number("days"), level).unwrap();
        return Answer::of(match q {
            "sgr" => Some(g.rate),
            "se" => g.se,
            "lower" => g.interval.map(|i| i.low),
            _ => g.interval.map(|i| i.high),
        });
    }
    if row.id.starts_with("budworm") {
        return budworm(row);
    }
    // The rows of probit fits say so in their id or method.
    let link =
        if row.id.contains("probit") || method.contains("probit") { Link::Probit } else { Link::Logit };
    let fit = match row.file() {
        Some("bliss_beetles.csv") => {
            let of = |name| column("bliss_beetles.csv", name);
            logistic::curve(&of("dose"), &of("y"), &of("n"), link)
        }
        Some("finney71.csv") => {
            // The control batch of dose 0 has no logarithm.
            let doses = column("finney71.csv", "dose");
            let keep = |name| -> Vec<f64> {
                column("finney71.csv", name).iter().zip(&doses).filter(|v| *v.1 > 0.0).map(|v| *v.0).collect()
            };
            let logs: Vec<f64> = keep("dose").iter().map(|d| d.log10()).collect();
            logistic::curve(&logs, &keep("affected"), &keep("total"), link)
        }
        _ => logistic::curve(&row.list("day"), &row.list("y"), &row.list("n"), link),
    }
    .unwrap();
    if row.id == "syn-flat" {
        // The slope is zero but for rounding, so the point itself means nothing: what matters is that it has no limits.
        return match q {
            "fieller_lower" | "fieller_upper" => {
                Answer::of(fit.reaches(0.5, level).and_then(|r| r.interval.map(|i| i.low)))
            }
            "b1" => Answer::of(Some(fit.coefficients[1])),
            _ => Answer::NotCovered("rounding noise over rounding noise"),
        };
    }
    // Probit and its normal tails are good to 1e-8 here.
    let tolerance = if link == Link::Probit { 1e-7 } else { 1e-8 };
    let p = row.maybe("p").unwrap_or(if q.starts_with("T90") { 0.9 } else { 0.5 });
    let r = at(&fit, p, level);
    let value = if q.ends_with("_phi") {
        let scaled = fit.reaches(p, level).unwrap();
        reached_value(&scaled, q.trim_end_matches("_phi"), level)
    } else if method.starts_with("probit on log10") && q == "LD50" {
        Some(10f64.powf(r.x))
    } else if method.starts_with("probit on log10") && (q.ends_with("lower") || q.ends_with("upper")) {
        reached_value(&r, q, level).map(|v| 10f64.powf(v))
    } else {
        fit_value(&fit, q).or_else(|| reached_value(&r, q, level))
    };
    Answer::within(value, tolerance)
}

/// Two parallel lines: an intercept for each sex and one slope.
fn budworm(row: &Row) -> Answer {
    let doses = row.list("log2dose");
    let dead = [vec![0., 2., 6., 10., 12., 16.], vec![1., 4., 9., 13., 18., 20.]].concat();
    let design = DMatrix::from_fn(12, 3, |i, j| match j {
        0 => f64::from(u8::from(i < 6)),
        1 => f64::from(u8::from(i >= 6)),
        _ => doses[i % 6],
    });
    let fit = logistic::fit(&design, &dead, &[20.0; 12], Link::Logit).unwrap();
    let sex = usize::from(row.id.contains("-M-"));
    let v = |i, j| fit.covariance[(i, j)];
    let level = row.level();
    let r = logistic::reached(
        [fit.coefficients[sex], fit.coefficients[2]],
        [[v(sex, sex), v(sex, 2)], [v(2, sex), v(2, 2)]],
        row.number("p"),
        Link::Logit,
        level.z(),
    )
    .unwrap();
    // statsmodels stops once the deviance moves by less than 1e-8 and takes its errors from the weights before that step.
    Answer::within(reached_value(&r, &row.quantity, level), 2e-6)
}

pub fn charts(row: &Row) -> Answer {
    let q = row.quantity.as_str();
    let method = row.method.as_str();
    if method.starts_with("EWMA") {
        let values = if method.contains("asymptotic") { row.list("data") } else { vec![0.0; 20] };
        let chart =
            ewma(&values, row.number("target"), row.number("sigma"), row.number("lam"), row.number("L"))
                .unwrap();
        return Answer::of(Some(match q {
            "UCL" => chart.asymptotic.high,
            "LCL" => chart.asymptotic.low,
            _ if q.starts_with("UCL") => chart.limits[q[3..].parse::<usize>().unwrap() - 1].high,
            "z0" => row.number("target"),
            _ => chart.smoothed[q[1..].parse::<usize>().unwrap() - 1],
        }));
    }
    if method.starts_with("tabular CUSUM") {
        let chart = cusum(&row.list("data"), row.number("target"), row.number("k"), row.number("h")).unwrap();
        return Answer::of(Some(match q {
            "first_signal" => chart.first_signal.unwrap() as f64 + 1.0,
            _ if q.starts_with("hi") => chart.high[q[2..].parse::<usize>().unwrap() - 1],
            _ => chart.low[q[2..].parse::<usize>().unwrap() - 1],
        }));
    }
    let counts: Vec<(u64, u64)> = if row.inputs.get("defects").is_some() {
        row.list("defects").iter().map(|x| (*x as u64, row.count("n"))).collect()
    } else {
        row.list("x").iter().zip(row.list("n")).map(|(x, n)| (*x as u64, n as u64)).collect()
    };
    let chart = p_chart(&counts, 3.0).unwrap();
    if q == "out_of_limits" {
        let days: Vec<String> = chart.outside().iter().map(|d| (d + 1).to_string()).collect();
        return Answer::Text(days.join(";"));
    }
    let index = q.trim_start_matches(|c: char| !c.is_ascii_digit()).parse::<usize>().map_or(0, |i| i - 1);
    let limits =
        if method.starts_with("Laney") { chart.laney(3.0).unwrap()[index] } else { chart.days[index].limits };
    Answer::of(Some(match q {
        "pbar" => chart.centre,
        "sigma" => chart.days[0].limits.half_width() / 3.0,
        "sigma_z" => chart.sigma_z.unwrap(),
        _ if q.starts_with("UCL") => limits.high,
        _ if q.starts_with("LCL") => limits.low,
        _ => chart.days[index].z,
    }))
}
