//! Fits how much like a fish a candidate is (`src/fish/likeness.rs`) on rendered photographs of every class, and
//! prints what it reaches on photographs, and on classes, that it was not fitted on.
//!
//! `cargo run --release --example fit_likeness` writes `models/standard/likeness.json`; the same source and the
//! same file built in give the same file. `-- --photos N` sets the photographs of a class (default 40), `-- --dry` writes
//! nothing.

#[path = "../accuracy/matching.rs"]
mod matching;

use frygauge::fish::likeness::{Likeness, READINGS, TERMS};
use frygauge::fish::{Evidence, Outcome, measure_all};
use frygauge::imaging::path;
use frygauge::photo;
use frygauge::records::Lighting;
use frygauge::render::{Class, TrueFish, encode_jpeg, photograph, scene, scene_under};
use frygauge::segmentation::{find, prepare};
use nalgebra::{DMatrix, DVector};
use rayon::prelude::*;

/// First seed; the bladder model's seeds begin at 710 million, those of the tables in the documents are small.
const SEED: u64 = 640_000_000;
/// Penalty on the squared weights, in candidates: a weight needs about so many to move.
const RIDGE: f64 = 2.0;

/// One fish in so many counts a second time with the eye of something that is no fish: rendered fish always show
/// theirs, dark, blurred and turned ones may not.
const EYELESS: usize = 5;

#[derive(Clone)]
struct Row {
    class: Class,
    photo: u64,
    evidence: Evidence,
    fish: bool,
}

fn rows((class, seed, light): Job) -> Vec<Row> {
    let rendered = match light {
        Some(light) => scene_under(class, seed, light).render(),
        None => photograph(class, seed),
    };
    let bytes = encode_jpeg(&rendered, 88);
    let photo = photo::decode(&bytes, "rendered").expect("a rendered photograph decodes");
    let pixels = photo::without_banding(&photo.pixels);
    let mut ground = prepare(&pixels);
    let truth = &rendered.truth.fish;
    let mut found = find(&mut ground);
    measure_all(&pixels, &ground, &mut found)
        .into_iter()
        .filter_map(|outcome| match outcome {
            Outcome::Fish(fish, e) => Some((e, fish.midline)),
            Outcome::Refused(_, with) => with,
        })
        .filter(|(e, _)| !e.is_too_little())
        .filter_map(|(evidence, line)| {
            let of = matching::matches(&[&line], &rendered)[0];
            let fish = of.is_some();
            // Two fish taken for one are neither fish nor something else, nor is the part of a fish in the frame.
            let merged = !fish && truth.iter().any(|t| covers(&line, t));
            let cut = of.is_some_and(|j| truth[j].cut);
            (!merged && !cut).then_some(Row { class, photo: seed, evidence, fish })
        })
        .collect()
}

/// Whether a line runs along half or more of a fish.
fn covers(line: &[[f64; 2]], fish: &TrueFish) -> bool {
    let points = path::resample(line, 65);
    let near = path::resample(&fish.midline, 33)
        .iter()
        .filter(|p| points.iter().any(|q| (p[0] - q[0]).hypot(p[1] - q[1]) < 0.08 * fish.total_length_px))
        .count();
    near >= 16
}

/// Penalised likelihood by Newton's steps (McCullagh & Nelder 1989, Generalized Linear Models, ch. 4; from memory).
fn fit(rows: &[&Row], fitted_on: String) -> Likeness {
    let rows = &with_eyeless(rows);
    let readings: Vec<[f64; READINGS]> = rows.iter().map(|r| Likeness::readings(&r.evidence)).collect();
    let n = rows.len() as f64;
    let mean: Vec<f64> = (0..READINGS).map(|i| readings.iter().map(|r| r[i]).sum::<f64>() / n).collect();
    let spread: Vec<f64> = (0..READINGS)
        .map(|i| (readings.iter().map(|r| (r[i] - mean[i]).powi(2)).sum::<f64>() / n).sqrt().max(1e-6))
        .collect();
    let mut model = Likeness { fitted_on, mean, spread, weights: vec![0.0; TERMS], offset: 0.0 };
    let x = DMatrix::from_fn(rows.len(), TERMS + 1, |r, c| {
        if c == TERMS { 1.0 } else { model.terms(&rows[r].evidence)[c] }
    });
    let y = DVector::from_fn(rows.len(), |r, _| f64::from(u8::from(rows[r].fish)));
    let mut beta = DVector::zeros(TERMS + 1);
    for _ in 0..30 {
        let p = (&x * &beta).map(|z: f64| 1.0 / (1.0 + (-z).exp()));
        let weights = p.map(|p| (p * (1.0 - p)).max(1e-9));
        let mut weighted = x.clone();
        for (mut row, w) in weighted.row_iter_mut().zip(weights.iter()) {
            row *= *w;
        }
        let mut information = x.transpose() * weighted;
        let mut score = x.transpose() * (&y - &p);
        for i in 0..TERMS {
            information[(i, i)] += RIDGE;
            score[i] -= RIDGE * beta[i];
        }
        let Some(step) = information.cholesky().map(|c| c.solve(&score)) else { break };
        beta += &step;
        if step.amax() < 1e-8 {
            break;
        }
    }
    let rounded = |v: f64| (v * 1e6).round() / 1e6;
    model.weights = beta.iter().take(TERMS).map(|v| rounded(*v)).collect();
    model.offset = rounded(beta[TERMS]);
    model.mean.iter_mut().chain(&mut model.spread).for_each(|v| *v = rounded(*v));
    model
}

/// The rows, and of some fish a copy that shows no eye.
fn with_eyeless(rows: &[&Row]) -> Vec<Row> {
    let others: Vec<&Row> = rows.iter().copied().filter(|r| !r.fish).collect();
    let fish = rows.iter().filter(|r| r.fish).step_by(EYELESS);
    let eyeless = fish.zip(others.iter().cycle()).map(|(fish, other)| {
        let e = other.evidence;
        let (eye, eye_size, eye_place) = (e.eye, e.eye_size, e.eye_place);
        Row { evidence: Evidence { eye, eye_size, eye_place, ..fish.evidence }, ..(*fish).clone() }
    });
    rows.iter().map(|r| (*r).clone()).chain(eyeless).collect()
}

/// Fish refused, and other things taken for fish.
fn errors(model: &Likeness, rows: &[&Row]) -> (usize, usize) {
    let said = |r: &&&Row| model.of(&r.evidence) >= 0.5;
    (rows.iter().filter(|r| r.fish && !said(r)).count(), rows.iter().filter(|r| !r.fish && said(r)).count())
}

/// A photograph to be drawn: its class, its seed, and its light where that is not the class's own.
type Job = (Class, u64, Option<Lighting>);

/// So many photographs of each class, half of them twice: under another light too. Else what a class shows would pass
/// for what its light does.
fn jobs(photos: u64) -> Vec<Job> {
    let drawn = Class::ALL.iter().flat_map(|c| (SEED..SEED + photos).map(move |seed| (*c, seed)));
    let again = |seed: u64| match seed % 4 {
        0 => Some(Lighting::Dark),
        2 => Some(Lighting::Pale),
        _ => None,
    };
    drawn
        .flat_map(|(c, seed)| {
            let other =
                again(seed).filter(|light| scene_under(c, seed, *light).lighting != scene(c, seed).lighting);
            [Some((c, seed, None)), other.map(|light| (c, seed, Some(light)))]
        })
        .flatten()
        .collect()
}

fn main() {
    let mut photos = 40u64;
    let mut dry = false;
    let mut words = std::env::args().skip(1);
    while let Some(word) = words.next() {
        match word.as_str() {
            "--photos" => {
                photos = words.next().and_then(|v| v.parse().ok()).expect("--photos takes a number");
            }
            "--dry" => dry = true,
            other => panic!("unknown option {other}"),
        }
    }
    let all: Vec<Row> = jobs(photos).into_par_iter().flat_map_iter(rows).collect();
    let (fitting, kept): (Vec<&Row>, Vec<&Row>) = all.iter().partition(|r| r.photo % 3 != 0);
    println!("{} candidates, {} of them fish", all.len(), all.iter().filter(|r| r.fish).count());
    println!("fitted on two thirds of the photographs, on the others: fish refused, other things taken");
    let model = fit(&fitting, String::new());
    println!("  {:?} of {}", errors(&model, &kept), kept.len());
    println!("each class with the fit on all other classes:");
    for class in Class::ALL {
        let (own, others): (Vec<&Row>, Vec<&Row>) = all.iter().partition(|r| r.class == class);
        let model = fit(&others, String::new());
        println!("  {:16} {:?} of {}", class.name(), errors(&model, &own), own.len());
    }
    let every: Vec<&Row> = all.iter().collect();
    let model = fit(
        &every,
        format!(
            "{} candidates in {photos} rendered photographs of each class, half of them under a second light, seeds from {SEED}",
            every.len()
        ),
    );
    println!("the fit on all, on itself: {:?}", errors(&model, &every));
    if !dry {
        let text = serde_json::to_string_pretty(&model).expect("numbers can be written");
        std::fs::write("models/standard/likeness.json", text + "\n").expect("the file can be written");
    }
}
