//! Accuracy on freshly rendered photographs: draws photographs of every class, scores them as the program does
//! and prints what it reaches, in finding, measuring and calling. All figures are on RENDERED photographs.
//!
//! `cargo run --release --example accuracy -- --seed 1 [--photos 12] [--class light-pad]… [--light dark]
//! [--worst DIR] [--evidence FILE]`: `--light` draws every class under that light (`transmitted`, `dark`, `pale`),
//! `--worst` draws every photograph with truth and findings and lists the lengths found, `--evidence` writes what each
//! candidate showed and whether it is a fish.

mod calls;
mod draw;
mod matching;

use calls::Called;
use draw::line;
use frygauge::bladder::{self, Model};
use frygauge::fish::{Evidence, Fish, Outcome, measure_all};
use frygauge::photo;
use frygauge::pipeline::{self, ScoredFish, Settings};
use frygauge::records::Lighting;
use frygauge::render::{Class, Rendered, TrueFish, encode_jpeg, photograph, scene_under};
use frygauge::segmentation::{find, prepare};
use rayon::prelude::*;

struct Options {
    seed: u64,
    photos: u64,
    classes: Vec<Class>,
    light: Option<Lighting>,
    worst: Option<String>,
    evidence: Option<String>,
}

fn options() -> Options {
    let mut o =
        Options { seed: 1, photos: 12, classes: Vec::new(), light: None, worst: None, evidence: None };
    let mut args = std::env::args().skip(1);
    while let Some(a) = args.next() {
        let mut value = || args.next().unwrap_or_else(|| panic!("{a} needs a value"));
        match a.as_str() {
            "--seed" => o.seed = value().parse().expect("--seed takes a whole number"),
            "--photos" => o.photos = value().parse().expect("--photos takes a whole number"),
            "--class" => {
                let name = value();
                let class = Class::ALL.iter().find(|c| c.name() == name);
                o.classes.push(*class.unwrap_or_else(|| panic!("no class {name}")));
            }
            "--light" => {
                o.light = Some(match value().as_str() {
                    "transmitted" => Lighting::Transmitted,
                    "dark" => Lighting::Dark,
                    "pale" => Lighting::Pale,
                    other => panic!("no light {other}"),
                });
            }
            "--worst" => o.worst = Some(value()),
            "--evidence" => o.evidence = Some(value()),
            _ => panic!("unknown option {a}"),
        }
    }
    if o.classes.is_empty() {
        o.classes = Class::ALL.to_vec();
    }
    o
}

/// One found fish beside its truth.
struct Pair {
    fish: Fish,
    verdict: Option<bladder::Verdict>,
    truth: TrueFish,
    head_right: bool,
}

impl Pair {
    /// How far the measured snout and tail lie beyond the true ones, along the true midline's ends, as shares of the
    /// true length.
    fn beyond(&self) -> [f64; 2] {
        let (true_line, line) = (&self.truth.midline, &self.fish.midline);
        let along = |end: [f64; 2], inner: [f64; 2], found: [f64; 2]| {
            let (dx, dy) = (end[0] - inner[0], end[1] - inner[1]);
            ((found[0] - end[0]) * dx + (found[1] - end[1]) * dy) / dx.hypot(dy) / self.truth.total_length_px
        };
        let (n, m) = (true_line.len(), line.len());
        [
            along(true_line[0], true_line[n / 10], line[0]),
            along(true_line[n - 1], true_line[n - 1 - n / 10], line[m - 1]),
        ]
    }
}

fn median(values: impl Iterator<Item = f64>) -> f64 {
    let mut values: Vec<f64> = values.collect();
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(0.0)
}

/// What one photograph gave.
struct Scored {
    pairs: Vec<Pair>,
    false_fish: usize,
    /// True fish that no found one lies along.
    missed: Vec<TrueFish>,
    photo: String,
    evidence: Vec<(Evidence, bool, &'static str)>,
}

impl Scored {
    fn missed_free(&self) -> usize {
        self.missed.iter().filter(|t| !t.cut && !t.touching).count()
    }

    fn missed_uncut(&self) -> usize {
        self.missed.iter().filter(|t| !t.cut).count()
    }

    /// Free-lying uncut fish that count for the call.
    fn called(&self) -> impl Iterator<Item = Called> + '_ {
        self.pairs.iter().filter(|p| !p.truth.cut && !p.truth.touching).filter_map(|p| {
            let v = p.verdict.as_ref()?;
            Some(Called { p_inflated: v.p_inflated, call: v.call, inflated: p.truth.inflated })
        })
    }
}

fn score(class: Class, seed: u64, o: &Options, model: &Model) -> Scored {
    let rendered = match o.light {
        Some(light) => scene_under(class, seed, light).render(),
        None => photograph(class, seed),
    };
    let bytes = encode_jpeg(&rendered, 88);
    let name = format!("{}-{seed}", class.name());
    let photo = photo::decode(&bytes, &name).expect("a rendered photograph decodes");
    let scale = frygauge::scale::Options::default();
    let read = pipeline::score(&photo, &Settings { model, scale: &scale, strips: false });
    let evidence = if o.evidence.is_some() { evidence(&photo, &rendered) } else { Vec::new() };
    let (fish, verdicts): (Vec<Fish>, Vec<_>) =
        read.fish.into_iter().map(|ScoredFish { fish, verdict, .. }| (fish, verdict)).unzip();
    let lines: Vec<&[[f64; 2]]> = fish.iter().map(|f| f.midline.as_slice()).collect();
    let of_found = matching::matches(&lines, &rendered);
    let truth = &rendered.truth.fish;
    let missed = truth.iter().enumerate().filter(|(j, _)| !of_found.contains(&Some(*j)));
    let missed = missed.map(|(_, t)| t.clone()).collect();
    if let Some(dir) = &o.worst {
        draw(&rendered, &fish, &read.refused, &of_found, &format!("{dir}/{name}.png"));
    }
    let mut pairs = Vec::new();
    let mut false_fish = 0;
    for ((f, verdict), j) in fish.into_iter().zip(verdicts).zip(&of_found) {
        let Some(j) = j else {
            false_fish += 1;
            continue;
        };
        let t = truth[*j].clone();
        let gap = |p: [f64; 2], q: [f64; 2]| (p[0] - q[0]).hypot(p[1] - q[1]);
        let (snout, tail) = (t.midline[0], t.midline[t.midline.len() - 1]);
        let head_right = gap(f.midline[0], snout) < gap(f.midline[0], tail);
        pairs.push(Pair { fish: f, verdict, truth: t, head_right });
    }
    Scored { pairs, false_fish, missed, photo: name, evidence }
}

/// What each candidate showed, whether it is a fish, and what was said of it.
fn evidence(photo: &photo::Photo, rendered: &Rendered) -> Vec<(Evidence, bool, &'static str)> {
    let pixels = photo::without_banding(&photo.pixels);
    let mut ground = prepare(&pixels);
    let mut found = find(&mut ground);
    measure_all(&pixels, &ground, &mut found)
        .into_iter()
        .filter_map(|outcome| match outcome {
            Outcome::Fish(f, e) => Some((e, fits(&f.midline, rendered), "fish")),
            Outcome::Refused(r, with) => with.map(|(e, line)| (e, fits(&line, rendered), r.reason)),
        })
        .collect()
}

/// Whether a midline lies along a true fish.
fn fits(line: &[[f64; 2]], rendered: &Rendered) -> bool {
    matching::matches(&[line], rendered)[0].is_some()
}

fn percent(part: usize, whole: usize) -> String {
    if whole == 0 { "-".into() } else { format!("{:.3}", part as f64 / whole as f64) }
}

fn main() {
    let o = options();
    if let Some(dir) = &o.worst {
        std::fs::create_dir_all(dir).expect("the folder can be made");
    }
    println!("rendered photographs, seed {}, {} a class", o.seed, o.photos);
    println!(
        "{:16} {:>5} {:>6} {:>6} {:>6} {:>6} {:>7} {:>6} {:>6} {:>6} {:>6}",
        "class", "fish", "recall", "uncut", "precis", "false", "bias%", "mae%", "p95%", "head", "used"
    );
    let model = Model::standard().expect("the built-in model reads");
    let mut all = Vec::new();
    let mut parts = Vec::new();
    for class in &o.classes {
        let scored: Vec<Scored> =
            (0..o.photos).into_par_iter().map(|k| score(*class, o.seed * 10_000 + k, &o, model)).collect();
        row(*class, &scored);
        if let Some(file) = &o.evidence {
            write_evidence(file, *class, &scored);
        }
        if let Some(dir) = &o.worst {
            write_lengths(dir, *class, &scored);
        }
        parts.push((*class, scored.iter().flat_map(Scored::called).collect::<Vec<Called>>()));
        all.extend(scored);
    }
    calls::header();
    for (class, called) in &parts {
        calls::row(class.name(), called);
    }
    calls::row("all", &parts.iter().flat_map(|(_, c)| c.iter().copied()).collect::<Vec<_>>());
    calls::reliability(&all);
}

/// One file a class in `dir`: the middle of every fish's true midline, its lengths and where it was found to end; of one that was
/// missed the middle and the true length, and whether the frame cuts it or it touches another.
fn write_lengths(dir: &str, class: Class, scored: &[Scored]) {
    let mut text = String::from(
        "photo,x_px,y_px,true_px,found_px,beyond_snout_px,beyond_tail_px,blur_px,use_length,flags\n",
    );
    for s in scored {
        for p in &s.pairs {
            let line = &p.truth.midline;
            let [x, y] = line[line.len() / 2];
            let flags: Vec<&str> = p.fish.flags.iter().map(|f| f.name()).collect();
            let (truth, found) = (frygauge::imaging::path::length(line), p.fish.total_length.0);
            let used = if p.fish.use_length { "yes" } else { "no" };
            let [snout, tail] = p.beyond().map(|share| share * p.truth.total_length_px);
            let blur = p.fish.blur.0;
            text += &format!(
                "{},{x:.0},{y:.0},{truth:.1},{found:.1},{snout:.1},{tail:.1},{blur:.1},{used},{}\n",
                s.photo,
                flags.join(" ")
            );
        }
        for t in &s.missed {
            let [x, y] = t.midline[t.midline.len() / 2];
            let why = [(t.cut, "cut"), (t.touching, "touching")];
            let why: Vec<&str> = why.into_iter().filter(|(holds, _)| *holds).map(|(_, word)| word).collect();
            let truth = frygauge::imaging::path::length(&t.midline);
            text += &format!("{},{x:.0},{y:.0},{truth:.1},,,,,no,{}\n", s.photo, why.join(" "));
        }
    }
    std::fs::write(format!("{dir}/lengths-{}.csv", class.name()), text).expect("the file can be written");
}

fn write_evidence(file: &str, class: Class, scored: &[Scored]) {
    use std::io::Write;
    let mut out =
        std::fs::OpenOptions::new().create(true).append(true).open(file).expect("the file can be opened");
    for s in scored {
        for (e, is_fish, said) in &s.evidence {
            let values = e.values().map(|v| format!("{v:.4}")).join(",");
            writeln!(out, "{},{},{},{},{values}", class.name(), s.photo, u8::from(*is_fish), said)
                .expect("the file can be written");
        }
    }
}

fn row(class: Class, scored: &[Scored]) {
    let pairs: Vec<&Pair> = scored.iter().flat_map(|s| &s.pairs).collect();
    let free: Vec<&&Pair> = pairs.iter().filter(|p| !p.truth.cut && !p.truth.touching).collect();
    let uncut = pairs.iter().filter(|p| !p.truth.cut).count();
    let missed_free: usize = scored.iter().map(Scored::missed_free).sum();
    let missed_uncut: usize = scored.iter().map(Scored::missed_uncut).sum();
    let false_fish: usize = scored.iter().map(|s| s.false_fish).sum();
    let used: Vec<&&&Pair> = free.iter().filter(|p| p.fish.use_length).collect();
    let mut errors: Vec<f64> =
        used.iter().map(|p| p.fish.total_length.0 / p.truth.total_length_px - 1.0).collect();
    let n = errors.len().max(1) as f64;
    let measured = |v: f64| if used.is_empty() { "-".into() } else { format!("{v:.2}") };
    let bias = 100.0 * errors.iter().sum::<f64>() / n;
    errors.iter_mut().for_each(|e| *e = e.abs());
    errors.sort_by(f64::total_cmp);
    let mae = 100.0 * errors.iter().sum::<f64>() / n;
    let p95 = errors.get((0.95 * n) as usize).map_or(0.0, |e| 100.0 * e);
    println!(
        "{:16} {:>5} {:>6} {:>6} {:>6} {:>6} {:>7} {:>6} {:>6} {:>6} {:>6}",
        class.name(),
        free.len() + missed_free,
        percent(free.len(), free.len() + missed_free),
        percent(uncut, uncut + missed_uncut),
        if pairs.is_empty() { "-".into() } else { percent(pairs.len(), pairs.len() + false_fish) },
        false_fish,
        measured(bias),
        measured(mae),
        measured(p95),
        percent(used.iter().filter(|p| p.head_right).count(), used.len()),
        percent(used.len(), free.len()),
    );
    let ends: Vec<[f64; 2]> = used.iter().filter(|p| p.head_right).map(|p| p.beyond()).collect();
    eprintln!(
        "    {}: median beyond the snout {:+.2} %, beyond the tail {:+.2} %",
        class.name(),
        median(ends.iter().map(|e| 100.0 * e[0])),
        median(ends.iter().map(|e| 100.0 * e[1])),
    );
    let mut worst: Vec<(&str, usize)> = scored
        .iter()
        .map(|s| (s.photo.as_str(), s.missed_free() + s.false_fish))
        .filter(|w| w.1 > 0)
        .collect();
    worst.sort_by_key(|w| std::cmp::Reverse(w.1));
    for s in scored {
        for p in s.pairs.iter().filter(|p| p.fish.use_length && !p.truth.cut && !p.truth.touching) {
            let error = p.fish.total_length.0 / p.truth.total_length_px - 1.0;
            if error.abs() > 0.06 {
                let at = p.truth.midline[p.truth.midline.len() / 2];
                eprintln!(
                    "    {}: length {:+.1} % at {:.0},{:.0} {:?}",
                    s.photo,
                    100.0 * error,
                    at[0],
                    at[1],
                    p.fish.flags
                );
            }
        }
    }
    for (photo, n) in worst.iter().take(4) {
        eprintln!("    {photo}: {n} missed or false");
    }
}

/// Truth thin and blue, found red with a blue head, false fish magenta, refused candidates orange.
fn draw(
    rendered: &Rendered,
    fish: &[Fish],
    refused: &[frygauge::segmentation::Refused],
    of_found: &[Option<usize>],
    path: &str,
) {
    let mut canvas = rendered.image.clone();
    for t in &rendered.truth.fish {
        line(&mut canvas, &t.midline, [0, 90, 255]);
    }
    for r in refused {
        line(&mut canvas, &r.outline, [255, 150, 0]);
    }
    for (f, j) in fish.iter().zip(of_found) {
        line(&mut canvas, &f.outline, if j.is_some() { [0, 170, 0] } else { [255, 0, 255] });
        line(&mut canvas, &f.midline, [255, 0, 0]);
    }
    canvas.save(path).expect("the picture can be written");
}
