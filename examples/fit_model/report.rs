//! What a model reaches, in tables.

use crate::collect::{CLASSES, Seen};
use frygauge::bladder::Model;
use frygauge::records::Call;
use std::fmt::Write as _;

/// What a model reaches on some fish.
pub struct Row {
    pub fish: usize,
    pub called: f64,
    pub accuracy: f64,
    pub sensitivity: f64,
    pub specificity: f64,
    pub brier: f64,
    pub log_loss: f64,
}

/// The probability the model gives.
pub fn probability(model: &Model, seen: &Seen) -> f64 {
    model.probability(model.logits(&seen.example.values, Some(&seen.example.view)))
}

impl Row {
    pub fn of(model: &Model, seen: &[&Seen]) -> Self {
        let mut counts = [[0.0_f64; 3]; 2];
        let (mut brier, mut log_loss) = (0.0, 0.0);
        for s in seen {
            let p = probability(model, s);
            let truth = f64::from(u8::from(s.example.inflated));
            let call = match model.call_at(p) {
                Call::NotInflated => 0,
                Call::Inflated => 1,
                Call::Unsure => 2,
            };
            counts[usize::from(s.example.inflated)][call] += 1.0;
            brier += (p - truth).powi(2);
            log_loss -= (if s.example.inflated { p } else { 1.0 - p }).max(1e-6).ln();
        }
        let n = (seen.len() as f64).max(1.0);
        let called = counts[0][0] + counts[0][1] + counts[1][0] + counts[1][1];
        Self {
            fish: seen.len(),
            called: called / n,
            accuracy: (counts[0][0] + counts[1][1]) / called,
            sensitivity: counts[1][1] / (counts[1][0] + counts[1][1]),
            specificity: counts[0][0] / (counts[0][0] + counts[0][1]),
            brier: brier / n,
            log_loss: log_loss / n,
        }
    }
}

/// A row a class, then the reliability table.
pub fn tables(model: &Model, seen: &[Seen]) -> String {
    let mut text = String::from(
        "| class | fish | called | accuracy | sensitivity | specificity | Brier |\n|---|---|---|---|---|---|---|\n",
    );
    let mut line = |name: &str, seen: &[&Seen]| {
        let r = Row::of(model, seen);
        let _ = writeln!(
            text,
            "| {name} | {} | {:.3} | {:.3} | {:.3} | {:.3} | {:.4} |",
            r.fish, r.called, r.accuracy, r.sensitivity, r.specificity, r.brier
        );
    };
    for (class, _) in CLASSES {
        let of: Vec<&Seen> = seen.iter().filter(|s| s.class == class).collect();
        if !of.is_empty() {
            line(&format!("{class:?}"), &of);
        }
    }
    line("all", &seen.iter().collect::<Vec<_>>());
    text += "\n| probability given | fish | mean given | share inflated |\n|---|---|---|---|\n";
    for bin in 0..10 {
        let of: Vec<(f64, bool)> = seen
            .iter()
            .map(|s| (probability(model, s), s.example.inflated))
            .filter(|(p, _)| ((p * 10.0) as usize).min(9) == bin)
            .collect();
        let n = of.len() as f64;
        let _ = writeln!(
            text,
            "| {:.1}-{:.1} | {} | {:.3} | {:.3} |",
            f64::from(bin as u8) / 10.0,
            f64::from(bin as u8 + 1) / 10.0,
            of.len(),
            of.iter().map(|f| f.0).sum::<f64>() / n,
            of.iter().filter(|f| f.1).count() as f64 / n
        );
    }
    text
}
