//! One proportion and two.

use frygauge::stats::proportion::Method;
use frygauge::stats::{Interval, difference, exact_test, finite_population};

use crate::case::{Answer, Row};

/// The limit the row asks for.
pub fn limit(interval: Option<Interval>, quantity: &str) -> Option<f64> {
    interval.map(|i| if quantity.ends_with("lower") { i.low } else { i.high })
}

pub fn one(row: &Row) -> Answer {
    let method = match row.method.as_str() {
        "wilson" | "wilson (samplingbook calls this ci$ac)" => Method::Wilson,
        "clopper_pearson" => Method::ClopperPearson,
        "jeffreys" => Method::Jeffreys,
        "agresti_coull" => Method::AgrestiCoull,
        "mid_p" => Method::MidP,
        "wald" => return Answer::NotCovered("never offered: covers badly near 0 and 1"),
        _ => {
            return Answer::NotCovered(
                "not offered: Wilson, or Clopper-Pearson where a guarantee is wanted, serves",
            );
        }
    };
    Answer::of(limit(method.interval(row.count("x"), row.count("n"), row.level()), &row.quantity))
}

pub fn finite(row: &Row) -> Answer {
    if row.method.starts_with("Wald") || row.method.starts_with("normal") {
        return Answer::NotCovered("never offered: Wilson on the effective size, or exact");
    }
    let (x, n, population) = (row.count("x"), row.count("n"), row.count("N"));
    if row.method.starts_with("wilson") {
        let interval = finite_population::wilson(x, n, population, row.level());
        return Answer::of(limit(interval, &row.quantity));
    }
    let number = finite_population::exact_number(x, n, population, row.level());
    match row.quantity.as_str() {
        "D_lower" => Answer::of(number.map(|d| d.0 as f64)),
        "D_upper" => Answer::of(number.map(|d| d.1 as f64)),
        "p_lower" | "p_upper" => {
            Answer::of(limit(finite_population::exact(x, n, population, row.level()), &row.quantity))
        }
        // The nearest numbers that are rejected, as Kauermann and Küchenhoff print them.
        "kk_lower" => Answer::of(number.map(|d| d.0.saturating_sub(1).max(x) as f64)),
        "kk_upper" => Answer::of(number.map(|d| (d.1 + 1).min(population - (n - x)) as f64)),
        _ => Answer::NotCovered("unknown quantity"),
    }
}

pub fn two(row: &Row) -> Answer {
    let first = (row.count("x1"), row.count("n1"));
    let second = (row.count("x2"), row.count("n2"));
    let q = row.quantity.as_str();
    let interval = match row.method.as_str() {
        "newcombe_hybrid_score" => difference::newcombe(first, second, row.level()),
        "miettinen_nurminen" => difference::miettinen_nurminen(first, second, row.level()),
        "mee" => difference::mee(first, second, row.level()),
        "fisher exact & mid-p" => {
            let test = exact_test::fisher(first, second);
            return Answer::of(test.map(|t| match q {
                "two_sided_minlik" => t.two_sided,
                "mid_p_minlik" => t.mid_p,
                "less" => t.less,
                "greater" => t.greater,
                _ => t.mid_p_doubled,
            }));
        }
        _ => return Answer::NotCovered("not offered: Newcombe's, or Miettinen and Nurminen's, serves"),
    };
    Answer::of(limit(interval, q))
}
