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

mod calls;
mod case;
mod clustered;
mod continuous;
mod curves;
mod decision;
mod hostile;
mod proportions;
mod published;
mod sizes;

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
    check("05_continuous.csv", 200, continuous::answer);
}

#[test]
fn two_proportions() {
    check("02_two_proportions.csv", 140, proportions::two);
}

#[test]
fn clustered_proportions() {
    check("03_clustered.csv", 390, clustered::answer);
}

#[test]
fn before_after_control_impact() {
    check("03b_baci_paired.csv", 45, clustered::baci);
}

#[test]
fn imperfect_calls_and_agreement() {
    check("04_misclassification.csv", 220, calls::answer);
}

#[test]
fn growth_and_dose_response() {
    check("07_growth_and_curves.csv", 150, curves::growth_and_curves);
}

#[test]
fn sample_sizes() {
    check("09_sample_size.csv", 650, sizes::answer);
}

#[test]
fn control_charts() {
    check("10_control_charts.csv", 100, curves::charts);
}
