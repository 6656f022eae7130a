//! The statistics against values computed elsewhere, row by row.
//!
//! `ref/*.csv` holds one row an expected quantity with its source (columns: id, topic, method, inputs as JSON, quantity,
//! expected, published, provenance, source, computed_by, status, note); `data/` the open data sets they name; `py/` the
//! scripts that made the tables with numpy, scipy, statsmodels and R. Provenance of the published column: `SEEN-DOC` read in a
//! package's own document or test, `SEEN-2ND` quoted by somebody else's test, `MEMORY` recalled and checked by computing, `LIB-RUN`
//! printed by an R package, `LIBRARY`/`DERIVED` no published number.
//!
//! Every row is either computed by the crate and compared, or listed as not covered with the reason. A topic that
//! silently runs no row fails.

mod case;
mod continuous;
mod proportions;

use case::{Answer, Row};

/// What a topic file must show: at least `least` rows compared.
fn check(file: &str, least: usize, answer: impl Fn(&Row) -> Answer) {
    let rows = case::read(file);
    let mut compared = 0;
    let mut skipped = std::collections::BTreeMap::<(String, String), usize>::new();
    let mut wrong = Vec::new();
    for row in &rows {
        match answer(row) {
            Answer::NotCovered(why) => {
                *skipped.entry((row.method.clone(), why.to_owned())).or_default() += 1;
            }
            got => {
                compared += 1;
                if let Err(miss) = got.agrees_with(row) {
                    wrong.push(miss);
                }
            }
        }
    }
    println!("{file}: {compared} of {} rows compared", rows.len());
    for ((method, why), count) in &skipped {
        println!("  not covered: {count} rows of {method}: {why}");
    }
    assert!(wrong.is_empty(), "{file}: {} of {compared} rows differ:\n{}", wrong.len(), wrong.join("\n"));
    assert!(compared >= least, "{file}: only {compared} rows compared, expected at least {least}");
}

#[test]
fn one_proportion() {
    check("01_single_proportion.csv", 1400, proportions::one);
}

#[test]
fn finite_population() {
    check("01b_finite_population.csv", 1630, proportions::finite);
}

#[test]
fn continuous_summaries() {
    check("05_continuous.csv", 100, continuous::answer);
}
