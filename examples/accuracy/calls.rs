//! How right the calls are: a row a class, and how far the probabilities given can be believed.

use crate::{Scored, percent};
use frygauge::records::Call;

/// One fish that counts for the call: the probability given, the call, and the truth.
#[derive(Clone, Copy)]
pub struct Called {
    pub p_inflated: f64,
    pub call: Call,
    pub inflated: bool,
}

pub fn header() {
    println!(
        "\ncalls of free-lying uncut fish that count for the call; accuracy and Brier score of those called"
    );
    println!(
        "{:16} {:>5} {:>6} {:>8} {:>11} {:>11} {:>6}",
        "class", "fish", "called", "accuracy", "sensitivity", "specificity", "Brier"
    );
}

pub fn row(name: &str, called: &[Called]) {
    let count = |call: Call, inflated: bool| {
        called.iter().filter(|c| c.call == call && c.inflated == inflated).count()
    };
    let (hit, miss) = (count(Call::Inflated, true), count(Call::NotInflated, true));
    let (reject, alarm) = (count(Call::NotInflated, false), count(Call::Inflated, false));
    let settled = hit + miss + reject + alarm;
    let sure: Vec<&Called> = called.iter().filter(|c| c.call != Call::Unsure).collect();
    let brier = sure.iter().map(|c| (c.p_inflated - f64::from(u8::from(c.inflated))).powi(2)).sum::<f64>()
        / sure.len().max(1) as f64;
    println!(
        "{name:16} {:>5} {:>6} {:>8} {:>11} {:>11} {:>6}",
        called.len(),
        percent(settled, called.len()),
        percent(hit + reject, settled),
        percent(hit, hit + miss),
        percent(reject, reject + alarm),
        if sure.is_empty() { "-".into() } else { format!("{brier:.4}") },
    );
}

/// Mean probability against the share that was inflated, by tenths of the probability.
pub fn reliability(scored: &[Scored]) {
    let all: Vec<Called> = scored.iter().flat_map(Scored::called).collect();
    println!("\nprobability given, fish, mean of it, share inflated (unsure fish included)");
    for tenth in 0..10 {
        let of: Vec<&Called> =
            all.iter().filter(|c| ((c.p_inflated * 10.0) as usize).min(9) == tenth).collect();
        if of.is_empty() {
            continue;
        }
        let mean = of.iter().map(|c| c.p_inflated).sum::<f64>() / of.len() as f64;
        let low = tenth as f64 / 10.0;
        println!(
            "{low:.1}-{:.1}          {:>5} {mean:>6.3} {:>8}",
            low + 0.1,
            of.len(),
            percent(of.iter().filter(|c| c.inflated).count(), of.len())
        );
    }
}
