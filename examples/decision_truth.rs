//! Simulated tanks with known truth: how often the advice keeps its word. Every figure is printed by
//!
//! ```text
//! cargo run --release --example decision_truth
//! cargo run --release --example decision_truth -- --seed 7 modes
//! ```
//!
//! Names of parts (`share`, `spacing`, `screen`, `modes`) run these alone; `--seed N` draws other tanks.
//!
//! All tanks are simulated, none is a real one. The simulation knows the true fish, curve and mesh; the advice
//! sees only the sample and the counts a person would have. Seeds are fixed, so the figures repeat.

use frygauge::decision::cannibals::{self, Nulls, Verdict};
use frygauge::decision::grader::{self, Goal, GradeRequest, Retention, SizeUsed};
use frygauge::decision::screen::{self, ScreenRequest};
use frygauge::decision::{MeasuredFish, Sample, State};
use frygauge::stats::Level;
use frygauge::stats::selection::{Design, SizeClass, logistic};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Gamma, LogNormal, Normal, StandardNormal, Weibull};
use rayon::prelude::*;
use statrs::distribution::ContinuousCDF;

type Rng = ChaCha8Rng;
type Draw = Box<dyn Fn(&mut Rng) -> f64 + Sync>;

/// Added to every seed.
static OTHER: std::sync::atomic::AtomicU64 = std::sync::atomic::AtomicU64::new(0);

fn main() {
    let mut parts = Vec::new();
    let mut args = std::env::args().skip(1);
    while let Some(arg) = args.next() {
        if arg == "--seed" {
            let seed = args.next().and_then(|s| s.parse().ok()).expect("a number after --seed");
            OTHER.store(seed, std::sync::atomic::Ordering::Relaxed);
        } else {
            parts.push(arg);
        }
    }
    let all: [(&str, fn()); 4] = [
        ("share", grader_coverage),
        ("spacing", spacing_choice),
        ("screen", screen_promise),
        ("modes", second_mode),
    ];
    println!("Simulated tanks with known truth; 95 % limits.\n");
    for (name, run) in all {
        if parts.is_empty() || parts.iter().any(|p| p == name) {
            run();
        }
    }
}

/// Random numbers of a seed of this file, moved by `--seed`.
fn stream(seed: u64) -> Rng {
    Rng::seed_from_u64(
        seed.wrapping_add(OTHER.load(std::sync::atomic::Ordering::Relaxed).wrapping_mul(1_000_003)),
    )
}

/// A fish of a pikeperch-like tank: lognormal length, width a power of length with scatter. Invented numbers.
fn fish(rng: &mut Rng, mean: f64, cv: f64) -> MeasuredFish {
    let z: f64 = StandardNormal.sample(rng);
    let length_mm = mean * (cv * z).exp();
    let scatter: f64 = StandardNormal.sample(rng);
    let width = 0.11 * length_mm.powf(1.05) * (0.05 * scatter).exp();
    let other: f64 = StandardNormal.sample(rng);
    let head = 0.13 * length_mm.powf(0.8) * (0.04 * other).exp();
    MeasuredFish { length_mm, width_mm: Some(width), head_width_mm: Some(head), ..MeasuredFish::default() }
}

fn sample(fish: Vec<MeasuredFish>) -> Sample {
    Sample { tank: None, date: None, age_dph: None, state: State::Fresh, fish }
}

fn draw(rng: &mut Rng, tank: &[MeasuredFish], n: usize) -> Vec<MeasuredFish> {
    rand::seq::index::sample(rng, tank.len(), n).into_iter().map(|i| tank[i]).collect()
}

/// The true chance of being retained: half at the spacing, selection range a tenth of it.
fn truly_kept(width: f64, spacing: f64) -> f64 {
    logistic(2.0 * 3f64.ln() * (width - 1.02 * spacing) / (0.12 * spacing))
}

/// A split a person counted: fish of the tank put through one spacing, both sides counted by 0.1 mm of width.
fn counted(rng: &mut Rng, tank: &[MeasuredFish], fish: usize, spacing: f64) -> Option<Retention> {
    let mut classes = std::collections::BTreeMap::<i64, (f64, f64)>::new();
    for f in draw(rng, tank, fish) {
        let width = f.width_mm?;
        let class = classes.entry((width / 0.05).floor() as i64).or_default();
        if rng.random::<f64>() < truly_kept(width, spacing) {
            class.0 += 1.0;
        } else {
            class.1 += 1.0;
        }
    }
    let classes: Vec<SizeClass> = classes
        .into_iter()
        .map(|(i, (retained, other))| SizeClass { size: (i as f64 + 0.5) * 0.05, retained, other })
        .collect();
    grader::calibrate(&classes, Design::BothSidesCounted, spacing, SizeUsed::Width)
        .ok()
        .map(Retention::Counted)
}

fn share_kept(tank: &[MeasuredFish], spacing: f64) -> f64 {
    tank.iter().filter_map(|f| f.width_mm).map(|w| truly_kept(w, spacing)).sum::<f64>() / tank.len() as f64
}

fn grader_coverage() {
    println!("Retained share inside its 95 % limits (aim 93 to 97 %), 1,000 tanks each:");
    println!("  measured  counted  spacing  true share  inside");
    let (mut inside_all, mut all) = (0, 0);
    for (measured, split) in [(60, 100), (120, 200), (300, 400)] {
        for spacing in [1.35, 1.5, 1.7] {
            let mut rng = stream(1000 + measured as u64);
            let (mut inside, mut truth, mut runs) = (0, 0.0, 0);
            while runs < 1000 {
                let tank: Vec<MeasuredFish> = (0..4000).map(|_| fish(&mut rng, 12.0, 0.12)).collect();
                let Some(retention) = counted(&mut rng, &tank, split, 1.5) else { continue };
                let dipped = sample(draw(&mut rng, &tank, measured));
                let request = GradeRequest {
                    sample: &dipped,
                    retention: &retention,
                    spacings_mm: &[spacing],
                    goal: None,
                    tank_fish: None,
                    handling_length_mm: None,
                    level: Level::P95,
                };
                let Ok(advice) = grader::advise(&request) else { continue };
                let share = advice.splits[0].retained.share;
                let true_share = share_kept(&tank, spacing);
                inside += i32::from(share.low <= true_share && true_share <= share.high);
                truth += true_share;
                runs += 1;
            }
            inside_all += inside;
            all += runs;
            println!(
                "  {measured:>8}  {split:>7}  {spacing:>7.2}  {:>8.1} %  {:>5.1} %",
                0.1 * truth,
                0.1 * f64::from(inside)
            );
        }
    }
    println!("  all: {:.1} %\n", 100.0 * f64::from(inside_all) / f64::from(all));
}

fn spacing_choice() {
    println!("Spacing advised within one owned step of the best, 300 tanks each, 150 measured, 300 counted:");
    let owned: Vec<f64> = (0..11).map(|i| 1.0 + 0.1 * f64::from(i)).collect();
    for (words, goal) in [
        ("hold back the largest 10 %", Goal::RemoveLargest(0.10)),
        ("two halves", Goal::Even),
        ("CV of both sides 9 %", Goal::MaxCv(0.09)),
        ("pairs within 1.5 times", Goal::SafeRatio(1.5)),
    ] {
        let mut rng = stream(77);
        let (mut same, mut near, mut runs) = (0, 0, 0);
        while runs < 300 {
            let tank: Vec<MeasuredFish> = (0..4000).map(|_| fish(&mut rng, 12.0, 0.14)).collect();
            let Some(retention) = counted(&mut rng, &tank, 300, 1.5) else { continue };
            let best_of = |fish: Vec<MeasuredFish>, retention: &Retention| {
                let sample = sample(fish);
                let request = GradeRequest {
                    sample: &sample,
                    retention,
                    spacings_mm: &owned,
                    goal: Some(goal),
                    tank_fish: None,
                    handling_length_mm: None,
                    level: Level::P95,
                };
                grader::advise(&request).ok().and_then(|a| a.best)
            };
            // The best is what the whole tank and the true curve, counted on very many fish, would choose.
            let Some(truth) = counted(&mut stream(3), &many(), 40_000, 1.5) else { continue };
            let (Some(best), Some(advised)) =
                (best_of(tank.clone(), &truth), best_of(draw(&mut rng, &tank, 150), &retention))
            else {
                continue;
            };
            same += i32::from(best == advised);
            near += i32::from(best.abs_diff(advised) <= 1);
            runs += 1;
        }
        println!(
            "  {words:<28} the best itself {:>5.1} %, within one step {:>5.1} %",
            f64::from(same) / 3.0,
            f64::from(near) / 3.0
        );
    }
    println!();
}

/// Fish for a curve without error of counting.
fn many() -> Vec<MeasuredFish> {
    let mut rng = stream(2);
    (0..40_000).map(|_| fish(&mut rng, 12.0, 0.14)).collect()
}

fn screen_promise() {
    println!(
        "Screen promise broken (aim at most 5 %), 4,000 tanks each: a mesh called safe whose share of fish"
    );
    println!("small enough exceeds the promise. Heads measured with 3 % error.");
    for promise in [0.01, 0.05] {
        for measured in [60, 150, 320, 600] {
            let mut rng = stream(500 + measured as u64);
            let (mut broken, mut safe) = (0, 0);
            for _ in 0..4000 {
                let mean: f64 = rng.random_range(8.0..14.0);
                let law = Normal::new(0.0, 0.03).expect("a standard deviation above 0");
                let dipped: Vec<MeasuredFish> = (0..measured)
                    .map(|_| {
                        let mut f = fish(&mut rng, mean, 0.12);
                        f.head_width_mm = f.head_width_mm.map(|h| h * (1.0 + law.sample(&mut rng)));
                        f
                    })
                    .collect();
                let dipped = sample(dipped);
                let request = ScreenRequest {
                    sample: &dipped,
                    openings_mm: &[0.4, 0.45, 0.5, 0.56, 0.6, 0.63, 0.71, 0.8],
                    tolerance: 0.15,
                    promise,
                    growth_pct_per_day: None,
                    level: Level::P95,
                };
                let Ok(advice) = screen::advise(&request) else { continue };
                let Some(best) = advice.coarsest_safe else { continue };
                safe += 1;
                broken += i32::from(share_below(mean, advice.meshes[best].worst_hole_mm) > promise);
            }
            println!(
                "  promise {:>2.0} %, {measured:>3} measured: a mesh called safe in {:>5.1} % of tanks, broken in {:>4.2} %",
                100.0 * promise,
                f64::from(safe) / 40.0,
                f64::from(broken) / 40.0
            );
        }
    }
    println!(
        "  at the edge: one mesh, 1.02 times the promised share of heads below its worst hole, measured exactly:"
    );
    for promise in [0.01_f64, 0.05] {
        for measured in [150_usize, 320, 600] {
            let mut rng = stream(41 + measured as u64);
            let z = statrs::distribution::Normal::standard().inverse_cdf(1.02 * promise);
            let hole = ((0.13 * 11f64.powf(0.8)).ln() + z * (0.8_f64 * 0.12).hypot(0.04)).exp();
            let mut safe = 0;
            for _ in 0..4000 {
                let dipped = sample((0..measured).map(|_| fish(&mut rng, 11.0, 0.12)).collect());
                let request = ScreenRequest {
                    sample: &dipped,
                    openings_mm: &[hole / 1.15],
                    tolerance: 0.15,
                    promise,
                    growth_pct_per_day: None,
                    level: Level::P95,
                };
                safe += i32::from(screen::advise(&request).is_ok_and(|a| a.coarsest_safe.is_some()));
            }
            println!(
                "  promise {:>2.0} %, {measured:>3} measured: called safe, and the promise broken, in {:>4.2} %",
                100.0 * promise,
                f64::from(safe) / 40.0
            );
        }
    }
    println!();
}

/// True share of heads below `hole`: ln head is normal in this world.
fn share_below(mean: f64, hole: f64) -> f64 {
    let centre = (0.13 * mean.powf(0.8)).ln();
    let spread = (0.8_f64 * 0.12).hypot(0.04);
    let z = (hole.ln() - centre) / spread;
    statrs::distribution::Normal::standard().cdf(z)
}

fn second_mode() {
    println!("Second mode declared in samples of one peak (aim at most 5 %), 1,000 samples each:");
    println!("  shape                        n = 30   n = 100   n = 200");
    let ten = |mean: f64| 0.10 * mean;
    let shapes: Vec<(&str, Draw)> = vec![
        ("normal, CV 10 %", boxed(Normal::new(12.0, ten(12.0)).expect("valid"))),
        ("lognormal, CV 15 %", boxed(LogNormal::new(12f64.ln(), 0.15).expect("valid"))),
        ("lognormal, CV 30 %", boxed(LogNormal::new(12f64.ln(), 0.30).expect("valid"))),
        ("gamma, skew 0.7", boxed(Gamma::new(8.0, 1.5).expect("valid"))),
        ("Weibull, skewed to the left", boxed(Weibull::new(12.0, 8.0).expect("valid"))),
        (
            "heavy tails (t, 5 df)",
            Box::new(|rng| {
                let t: f64 = rand_distr::StudentT::new(5.0).expect("valid").sample(rng);
                (12.0 + t).max(2.0)
            }),
        ),
        ("even from 10 to 14 mm", Box::new(|rng| rng.random_range(10.0..14.0))),
    ];
    for (name, draw) in &shapes {
        print!("  {name:<28}");
        for n in [30, 100, 200] {
            let verdicts = verdicts(90, 1000, n, draw.as_ref());
            let found = verdicts.iter().filter(|v| **v == Verdict::Found).count();
            print!(" {:>6.1} %", 0.1 * found as f64);
        }
        println!();
    }
    println!(
        "\n8 % of fish at 1.5 times the length of the rest, 500 samples each (aim: found in at least 80 % at"
    );
    println!("n = 200, \"cannot tell\" at n = 30):");
    println!("  CV of either group     n   found  none seen  cannot tell");
    for cv in [0.08, 0.10, 0.12, 0.15] {
        let draw = |rng: &mut Rng| {
            let mean = if rng.random::<f64>() < 0.08 { 18.0 } else { 12.0 };
            let z: f64 = StandardNormal.sample(rng);
            mean * (1.0 + cv * z)
        };
        for n in [30, 100, 200] {
            let mut counts = [0; 3];
            for v in verdicts(7, 500, n, &draw) {
                match v {
                    Verdict::Found => counts[0] += 1,
                    Verdict::NotSeen { .. } => counts[1] += 1,
                    Verdict::CannotTell { .. } => counts[2] += 1,
                }
            }
            let share = |i: usize| 0.2 * f64::from(counts[i]);
            println!(
                "  {:>15.0} %  {n:>6}  {:>4.1} %    {:>5.1} %      {:>5.1} %",
                100.0 * cv,
                share(0),
                share(1),
                share(2)
            );
        }
    }
}

fn boxed(d: impl Distribution<f64> + Sync + 'static) -> Draw {
    Box::new(move |rng| d.sample(rng).max(1.0))
}

/// Verdicts on `samples` samples of `n` fish; each sample has a random stream of its own.
fn verdicts(seed: u64, samples: u64, n: usize, draw: &(dyn Fn(&mut Rng) -> f64 + Sync)) -> Vec<Verdict> {
    // Two far groups bring the null distributions of this size about, once for all samples.
    let mut nulls = Nulls::default();
    let two = (0..n).map(|i| MeasuredFish {
        length_mm: if i % 2 == 0 { 10.0 } else { 20.0 } + 0.01 * (i % 7) as f64,
        ..MeasuredFish::default()
    });
    let _ = cannibals::second_mode(&sample(two.collect()), &mut nulls);
    (0..samples)
        .into_par_iter()
        .map_with(nulls, |nulls, i| {
            let mut rng = stream(seed + n as u64);
            rng.set_stream(i);
            let fish = (0..n).map(|_| MeasuredFish { length_mm: draw(&mut rng), ..MeasuredFish::default() });
            let sample = sample(fish.collect());
            cannibals::second_mode(&sample, nulls).map_or(Verdict::CannotTell { needed: 0 }, |m| m.verdict)
        })
        .collect()
}
