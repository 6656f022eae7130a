//! How well scales are read from rendered photographs: decoding, error, coverage, false finds.
//!
//! `cargo run --release --example scale_accuracy [-- card|ruler|dish|lens|none|time [count [px/module]]]`
//!
//! With `SHOW=1` in the environment every failure is named and its picture kept in the system's folder for such;
//! `FIRST=n` starts rulers, dishes and photographs without either at another seed.
//!
//! All photographs are rendered. Fish are taken to lie in the plane of card, ruler and dish floor, and cards
//! to be printed at their exact size: what is measured is the reading alone. Rulers are as wrong as their
//! class of accuracy allows.

mod cards;
mod dishes;
mod lens;
mod rulers;
mod times;

/// The seed to start at: other ones serve for looking at failures than for the figures shown.
fn first() -> u64 {
    std::env::var("FIRST").ok().and_then(|f| f.parse().ok()).unwrap_or(0)
}

fn main() {
    let mut args = std::env::args().skip(1);
    let what = args.next().unwrap_or_else(|| "all".into());
    let count: u64 = args.next().and_then(|n| n.parse().ok()).unwrap_or(200);
    let wants = |name: &str| what == "all" || what == name;
    if wants("card") {
        println!("rendered cards, {count} a line");
        println!("px/module  tilt  decoded  scale  rms error %  in 95 % interval");
        let only: Option<f64> = args.next().and_then(|n| n.parse().ok());
        for (module_px, tilt) in [(3.0, 0.0), (3.0, 20.0), (3.0, 25.0), (6.0, 0.0), (6.0, 20.0), (6.0, 25.0)]
        {
            if only.is_none_or(|o| o == module_px) {
                cards::cards(count, module_px, tilt);
            }
        }
    }
    if wants("ruler") {
        rulers::rulers(count);
    }
    if wants("dish") {
        dishes::dishes(count);
    }
    if wants("lens") {
        lens::lenses(count.min(20));
    }
    if wants("none") {
        cards::without(count);
    }
    if wants("time") {
        times::times(count.min(24));
    }
}
