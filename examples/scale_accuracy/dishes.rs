//! Dishes of known inner diameter in rendered photographs.

use frygauge::photo::{Pixels, Tags};
use frygauge::render::{Class, whole_dish};
use frygauge::scale::{Options, ScaleSource, Wanted, auto};
use std::collections::BTreeMap;

const CLASSES: [Class; 6] = [
    Class::LightPad,
    Class::DarkDish,
    Class::PaleTray,
    Class::Translucent,
    Class::PhoneBlur,
    Class::CoarseNoisy,
];

/// Dishes of one class, and the error and its standard error of each that was read.
type ClassErrors = (u32, Vec<(f64, f64)>);

/// The scale by the wall against the truth, by class.
pub fn dishes(count: u64) {
    println!("rendered dishes whole in the frame, {count} in all");
    println!("class            dishes    read  mean error %  rms error %  worst %  in 95 % interval");
    let first = crate::first();
    let mut errors: BTreeMap<&str, ClassErrors> = BTreeMap::new();
    for seed in first..first + count {
        let class = CLASSES[seed as usize % CLASSES.len()];
        let drawn = whole_dish(class, 40_000 + seed);
        let Some(dish_mm) = drawn.truth.dish_mm else { continue };
        let options = Options {
            wanted: Wanted::Only(ScaleSource::Dish),
            dish_mm: Some(dish_mm),
            floor_mm: Some(0.0),
            ..Options::default()
        };
        let decision = auto(&Pixels::from_rgb(&drawn.image), &Tags::default(), &options);
        let line = errors.entry(class.name()).or_default();
        line.0 += 1;
        let show = std::env::var_os("SHOW").is_some();
        let error = decision.scale.as_ref().map(|s| s.centre.get() * drawn.truth.px_per_mm - 1.0);
        if show && error.is_none_or(|e| e.abs() > 0.01) {
            let said = decision.reasons.first().map(|r| r.flag);
            println!("  seed {seed} {} {dish_mm:.1} mm: {error:?} {said:?}", class.name());
            let _ = drawn.image.save(std::env::temp_dir().join(format!("dish_{seed}.png")));
        }
        if let (Some(error), Some(scale)) = (error, &decision.scale) {
            line.1.push((error, scale.relative_se));
        }
    }
    let all: Vec<(f64, f64)> = errors.values().flat_map(|e| e.1.clone()).collect();
    let total = errors.values().map(|e| e.0).sum();
    let lines = errors.into_iter().chain([("all", (total, all))]);
    for (name, (dishes, read)) in lines {
        let n = read.len().max(1) as f64;
        println!(
            "{name:15}  {dishes:6}  {:5.1}%  {:12.2}  {:11.2}  {:7.2}  {:15.1}%",
            100.0 * read.len() as f64 / f64::from(dishes),
            100.0 * read.iter().map(|e| e.0).sum::<f64>() / n,
            100.0 * (read.iter().map(|e| e.0 * e.0).sum::<f64>() / n).sqrt(),
            100.0 * read.iter().map(|e| e.0.abs()).fold(0.0, f64::max),
            100.0 * read.iter().filter(|e| e.0.abs() < 1.96 * e.1).count() as f64 / n
        );
    }
}
