//! Thousands of random frames through the whole pipeline: no panic, and no result that no larva can give.
//!
//! `cargo run --release --example robustness -- --frames 10000 --seed 1 [--keep DIR]`: prints counts, and for each
//! offender its seed and what is wrong with it; `--keep` writes the offenders' files into DIR. `--frames 1 --seed N`
//! runs one again. The frames are RENDERED and then spoilt.

mod check;
mod frame;

use check::Outcome;
use frygauge::bladder::Model;
use rayon::prelude::*;
use std::collections::BTreeMap;
use std::sync::Mutex;

fn main() {
    let (mut frames, mut first, mut keep) = (1000u64, 1u64, None);
    let mut args = std::env::args().skip(1);
    while let Some(a) = args.next() {
        let value = args.next().unwrap_or_else(|| panic!("{a} needs a value"));
        match a.as_str() {
            "--frames" => frames = value.parse().expect("--frames takes a whole number"),
            "--seed" => first = value.parse().expect("--seed takes a whole number"),
            "--keep" => keep = Some(value),
            _ => panic!("unknown option {a}"),
        }
    }
    if let Some(dir) = &keep {
        std::fs::create_dir_all(dir).expect("the folder can be made");
    }
    let model = Model::standard().expect("the built-in model reads");
    let counts = Mutex::new(BTreeMap::<String, usize>::new());
    let add = |what: &str, n: usize| {
        *counts.lock().expect("counting does not panic").entry(what.to_owned()).or_default() += n;
    };
    (first..first + frames).into_par_iter().for_each(|seed| {
        let frame = frame::draw(seed);
        let offences = match check::run(&frame, model) {
            Outcome::Refused(words) => {
                // Numbers out of the words, so that alike refusals are counted together.
                let words: String = words.chars().map(|c| if c.is_ascii_digit() { '#' } else { c }).collect();
                add(&format!("refused: {words}"), 1);
                return;
            }
            Outcome::Panicked(said) => vec![format!("panic: {said}")],
            Outcome::Scored { fish, bladders, offences } => {
                add("scored", 1);
                add("fish", fish);
                add("bladders outlined", bladders);
                offences
            }
        };
        if offences.is_empty() {
            return;
        }
        add("frames that offend", 1);
        for said in &offences {
            println!("seed {seed} ({}): {said}", frame.story);
        }
        if let Some(dir) = &keep {
            std::fs::write(format!("{dir}/{seed}"), &frame.bytes).expect("the file can be written");
        }
    });
    println!("{frames} random frames from seed {first}, rendered and spoilt");
    for (what, n) in counts.into_inner().expect("counting does not panic") {
        println!("{n:>8}  {what}");
    }
}
