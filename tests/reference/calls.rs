//! The caller's errors and readers' agreement.

use frygauge::stats::agreement::agreement;
use frygauge::stats::misclassification::{Rate, known_rates, lang_reiczigel};
use frygauge::stats::proportion::Method;
use frygauge::tank::Validation;

use crate::case::{Answer, Row};
use crate::proportions::limit;

pub fn answer(row: &Row) -> Answer {
    let (q, level) = (row.quantity.as_str(), row.level());
    let method = row.method.as_str();
    if method.contains("blaker") {
        return Answer::NotCovered("Blaker's limits are not offered");
    }
    if method.contains("Lang-Reiczigel") {
        let n = row.number("nP");
        let apparent = row.maybe("apparent").unwrap_or_else(|| row.number("x") / n);
        let rate = |value: &str, n: &str| Rate { value: row.number(value), n: row.number(n) };
        let c = lang_reiczigel(apparent, n, rate("Se", "nSe"), rate("Sp", "nSp"), level).unwrap();
        return Answer::of(match q {
            "estimate_raw" => Some(c.raw),
            "estimate" => Some(c.estimate),
            _ => limit(Some(c.interval), q),
        });
    }
    if method.starts_with("Rogan-Gladen, Se/Sp known") {
        let by = if method.contains("wilson") { Method::Wilson } else { Method::ClopperPearson };
        let (c, raw) =
            known_rates(row.count("x"), row.count("n"), row.number("Se"), row.number("Sp"), by, level)
                .unwrap();
        return Answer::of(Some(match q {
            "estimate_raw" => c.raw,
            "estimate" => c.estimate,
            "lower_raw" => raw.low,
            "upper_raw" => raw.high,
            "lower" => c.interval.low,
            _ => c.interval.high,
        }));
    }
    if method.starts_with("Cohen kappa") {
        let table: Vec<Vec<u64>> = serde_json::from_value(row.inputs["table"].clone()).unwrap();
        let a = agreement(&table, level).unwrap();
        let k = a.kappa;
        return Answer::of(match q {
            "po" => Some(a.observed),
            "pabak" => Some(a.pabak),
            "pe" => k.map(|k| k.expected),
            "kappa" => k.map(|k| k.value),
            "se" => k.map(|k| k.se),
            "lower" => k.map(|k| k.interval.low),
            "upper" => k.map(|k| k.interval.high),
            "se0" => k.map(|k| k.null_se),
            "z" => k.map(|k| k.z),
            "p_two_sided" => k.map(|k| k.p),
            _ => return Answer::NotCovered("Watson's standard error ignores the margins"),
        });
    }
    if method.starts_with("sensitivity/specificity") {
        let v = Validation {
            inflated_right: row.count("tp"),
            inflated_wrong: row.count("fn"),
            not_inflated_right: row.count("tn"),
            not_inflated_wrong: row.count("fp"),
            ..Validation::default()
        };
        let by = if q.ends_with("wilson") { Method::Wilson } else { Method::ClopperPearson };
        let bound = q.trim_end_matches("_wilson").trim_end_matches("_clopper_pearson");
        return Answer::of(match q {
            "se" => v.sensitivity().map(|r| r.value),
            "sp" => v.specificity().map(|r| r.value),
            _ if q.starts_with("se_") => limit(v.sensitivity_interval(by, level), bound),
            _ => limit(v.specificity_interval(by, level), bound),
        });
    }
    Answer::NotCovered("uses the null standard error for an interval")
}
