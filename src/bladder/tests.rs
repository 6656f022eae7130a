//! The caller on strips drawn here: simple bodies with a gas bladder, a globule or nothing in them.

use super::ellipse::search;
use super::learn::{self, Example, Recipe};
use super::model::{FORMAT, Provenance};
use super::plane::{Look, Turn};
use super::*;
use crate::fish::{STRIP_HEIGHT, STRIP_MARGIN, STRIP_PER_LENGTH, STRIP_WIDTH};
use ndarray::Array3;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// What to draw.
#[derive(Clone, Copy)]
struct Drawn {
    /// Bladder centre along and above, length, height; fractions of total length.
    bladder: Option<[f32; 4]>,
    /// Amber globule centre along and above, radius.
    globule: Option<[f32; 3]>,
    /// Trunk against background.
    trunk: f32,
    noise: f32,
}

const PLAIN: Drawn = Drawn { bladder: None, globule: None, trunk: 0.9, noise: 0.006 };

fn draw(d: &Drawn, rng: &mut ChaCha8Rng) -> Strip {
    let mut values = Array3::from_elem((3, STRIP_HEIGHT, STRIP_WIDTH), 1.0_f32);
    let smooth = |edge: f32| 1.0 / (1.0 + (edge / 0.0025).exp());
    for row in 0..STRIP_HEIGHT {
        for column in 0..STRIP_WIDTH {
            let s = (column as f32 + 0.5 - STRIP_MARGIN as f32) / STRIP_PER_LENGTH as f32;
            let v = (0.5 * STRIP_HEIGHT as f32 - row as f32 - 0.5) / STRIP_PER_LENGTH as f32;
            let half =
                if (0.0..1.0).contains(&s) { 0.07 * (1.0 - 0.8 * s) * (s / 0.05).min(1.0) } else { 0.0 };
            let body = if half > 0.0 { smooth(v.abs() - half) } else { 0.0 };
            let mut rgb = [1.0 - (1.0 - d.trunk) * body; 3];
            let eye = smooth(s.sub_abs(0.07).hypot(v - 0.01) - 0.022);
            rgb = rgb.map(|c| c * (1.0 - 0.7 * eye));
            let mut ball = |distance: f32, colour: [f32; 3], core: f32| {
                // Distance from the outline, negative inside: a dark wall about a core.
                let wall = (-0.5 * (distance / 0.005).powi(2)).exp();
                let inside = smooth(distance + 0.006);
                for (c, v) in rgb.iter_mut().enumerate() {
                    *v += inside * core * (colour[c] - *v);
                    *v *= 1.0 - 0.45 * wall;
                }
            };
            if let Some([x, y, length, height]) = d.bladder {
                let (dx, dy) = ((s - x) / (0.5 * length), (v - y) / (0.5 * height));
                ball((dx.hypot(dy) - 1.0) * 0.5 * height, [0.99; 3], 0.8);
            }
            if let Some([x, y, radius]) = d.globule {
                ball((s - x).hypot(v - y) - radius, [0.95, 0.8, 0.5], 0.6);
            }
            for (c, v) in rgb.into_iter().enumerate() {
                let z = 2.449 * (rng.random::<f32>() - rng.random::<f32>());
                values[[c, row, column]] = v + d.noise * z;
            }
        }
    }
    Strip { values, pixels_per_strip_pixel: 1.0, noise: d.noise }
}

trait SubAbs {
    fn sub_abs(self, other: f32) -> f32;
}

impl SubAbs for f32 {
    fn sub_abs(self, other: f32) -> f32 {
        (self - other).abs()
    }
}

fn context() -> Context {
    Context {
        lighting: Lighting::Transmitted,
        view: View::Side,
        p_head: 1.0,
        p_back: 1.0,
        pixels_per_strip_pixel: 1.0,
    }
}

fn upright(strip: &Strip) -> Look {
    Look::new(strip, Turn { ends: false, sides: false }, false)
}

#[test]
fn the_outline_of_a_bladder_is_found_where_it_is() {
    let mut rng = ChaCha8Rng::seed_from_u64(1);
    for bladder in [
        [0.36, 0.015, 0.08, 0.04],
        [0.30, 0.02, 0.12, 0.055],
        [0.42, 0.0, 0.16, 0.05],
        [0.34, 0.02, 0.06, 0.035],
    ] {
        let strip = draw(&Drawn { bladder: Some(bladder), ..PLAIN }, &mut rng);
        let look = upright(&strip);
        let found = search(&look, 2)[0][0];
        let e = ellipse(&look, &found.oval);
        let [x, y, length, height] = bladder.map(f64::from);
        assert!((e.position - x).abs() < 0.01 && (e.above - y).abs() < 0.01, "{bladder:?}: {e:?}");
        assert!(
            (e.length / length - 1.0).abs() < 0.2 && (e.height / height - 1.0).abs() < 0.25,
            "{bladder:?}: {e:?}"
        );
        assert!(found.score > 0.1, "{}", found.score);
    }
}

#[test]
fn an_empty_trunk_has_no_deep_rim() {
    let mut rng = ChaCha8Rng::seed_from_u64(2);
    let strip = draw(&PLAIN, &mut rng);
    let found = search(&upright(&strip), 2);
    assert!(found[0][0].score < 0.02, "{:?}", found[0][0]);
}

#[test]
fn a_dark_ground_is_made_comparable_whatever_it_was_divided_by() {
    // A bright fish on a dark ground: once as ratios to the ground, once as ratios to the tissue.
    let mut strip =
        draw(&Drawn { bladder: Some([0.36, 0.015, 0.1, 0.045]), ..PLAIN }, &mut ChaCha8Rng::seed_from_u64(8));
    strip.values.mapv_inplace(|v| 1.0 + 30.0 * (1.0 - v).abs());
    strip.noise *= 30.0;
    let mut other = strip.clone();
    other.values.mapv_inplace(|v| 0.25 * v);
    other.noise *= 0.25;
    let [a, b] = [strip, other].map(|s| Look::new(&s, Turn { ends: false, sides: false }, true));
    assert!(
        (a.trunk - b.trunk).abs() < 1e-3 && (a.noise - b.noise).abs() < 1e-4 && (a.trunk - 1.25).abs() < 0.15
    );
    let far = a.luma.data.iter().zip(&b.luma.data).map(|(p, q)| (p - q).abs()).fold(0.0, f32::max);
    assert!(far < 1e-2, "{far}");
}

#[test]
fn the_body_and_its_contrast_are_seen() {
    let mut rng = ChaCha8Rng::seed_from_u64(3);
    let look = upright(&draw(&PLAIN, &mut rng));
    assert!((look.contrast - 0.1).abs() < 0.02 && (look.trunk - 0.9).abs() < 0.02);
    let column = Look::half_column(0.35) as usize;
    let height = 2.0 * (look.lower[column] - look.upper[column]) / STRIP_PER_LENGTH as f32;
    assert!((height - 0.1).abs() < 0.02, "{height}");
}

/// Random fish, half of them inflated, half of them with a globule.
fn random(n: usize, seed: u64) -> Vec<(Strip, bool)> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    (0..n)
        .map(|i| {
            let r = &mut rng;
            let inflated = i % 2 == 0;
            let bladder = [
                r.random_range(0.3..0.42),
                r.random_range(0.0..0.025),
                r.random_range(0.06..0.14),
                r.random_range(0.03..0.055),
            ];
            let globule =
                [r.random_range(0.22..0.34), r.random_range(-0.05..-0.02), r.random_range(0.015..0.03)];
            let drawn = Drawn {
                bladder: inflated.then_some(bladder),
                globule: (i % 4 < 2).then_some(globule),
                trunk: r.random_range(0.85..0.96),
                noise: r.random_range(0.002..0.012),
            };
            (draw(&drawn, r), inflated)
        })
        .collect()
}

fn model(n: usize) -> Model {
    let example = |(strip, inflated): &(Strip, bool)| {
        let look = upright(strip);
        Example {
            values: features::describe(&look, &context()).values,
            view: conv::input(&look, &context()),
            inflated: *inflated,
            lighting: Lighting::Transmitted,
            weight: 1.0,
        }
    };
    let examples: Vec<Example> = random(n, 5).iter().map(example).collect();
    let net = net::Fit { hidden: vec![8], epochs: 25, rate: 0.01, decay: 0.02, jitter: 0.1, seed: 1 };
    let recipe = Recipe { nets: vec![net], conv: Vec::new(), cost_of_unsure: 0.1 };
    let provenance = Provenance {
        command: String::new(),
        data: "drawn strips".into(),
        fitted_on: vec![],
        calibrated_on: vec![],
    };
    learn::fit("drawn", &examples[..n * 3 / 4], &examples[n * 3 / 4..], &recipe, provenance)
}

#[test]
fn a_model_fitted_on_drawn_strips_calls_others_and_survives_its_file() {
    let model = model(240);
    let text = serde_json::to_string(&model).unwrap();
    assert!(Model::parse(&text, "text").unwrap() == model);
    let fresh = random(60, 6);
    let (mut right, mut called) = (0, 0);
    for (strip, inflated) in &fresh {
        let verdict = call(strip, &context(), &model);
        if verdict.call != Call::Unsure {
            called += 1;
            right += usize::from((verdict.call == Call::Inflated) == *inflated);
        }
        assert_eq!(verdict.bladder.is_some(), verdict.call == Call::Inflated);
    }
    assert!(called >= 54 && right * 20 >= called * 19, "{right} of {called}");

    // A strip whose head is at the wrong end is called alike when that is known, and its bladder is given in
    // coordinates of the strip.
    let drawn = Drawn { bladder: Some([0.36, 0.015, 0.1, 0.045]), ..PLAIN };
    let strip = draw(&drawn, &mut ChaCha8Rng::seed_from_u64(7));
    let mut turned = strip.clone();
    turned.values.invert_axis(ndarray::Axis(2));
    let (a, b) =
        (call(&strip, &context(), &model), call(&turned, &Context { p_head: 0.0, ..context() }, &model));
    assert!((a.p_inflated - b.p_inflated).abs() < 1e-6);
    let (a, b) = (a.bladder.unwrap(), b.bladder.unwrap());
    assert!((a.position + b.position - 1.0).abs() < 1e-6 && (a.length - b.length).abs() < 1e-6);
    // In doubt, the probability lies between those of the two ways.
    let doubt = call(&strip, &Context { p_head: 0.6, ..context() }, &model).p_inflated;
    let ways = [1.0, 0.0].map(|p_head| call(&strip, &Context { p_head, ..context() }, &model).p_inflated);
    assert!((doubt - (0.6 * ways[0] + 0.4 * ways[1])).abs() < 1e-9);
}

#[test]
fn a_damaged_model_is_refused_with_what_is_wrong() {
    let good = serde_json::to_value(model(40)).unwrap();
    let refused = |change: &dyn Fn(&mut serde_json::Value)| {
        let mut value = good.clone();
        change(&mut value);
        let error = Model::parse(&serde_json::to_string_pretty(&value).unwrap(), "mine.json").unwrap_err();
        assert!(!error.hint().is_empty());
        error.to_string()
    };
    assert!(refused(&|v| v["format"] = 99.into()).contains("format 99"));
    assert!(refused(&|v| v["features"][3] = "speed".into()).contains("'speed'"));
    assert!(refused(&|v| v["sd"][0] = 0.into()).contains("sd above 0"));
    assert!(refused(&|v| v["nets"] = serde_json::json!([])).contains("no net"));
    assert!(refused(&|v| v["nets"][0]["layers"][0]["bias"] = serde_json::json!([1.0])).contains("net 1"));
    assert!(refused(&|v| v["thresholds"]["inflated_from"] = 0.0.into()).contains("thresholds"));
    assert!(refused(&|v| v["colour"] = 1.into()).contains("colour"));
    assert!(refused(&|v| v["mean"] = "x".into()).contains("line"));
    assert!(Model::parse("", "mine.json").unwrap_err().to_string().contains("mine.json"));
    let missing = Model::load(std::path::Path::new("no/such/model.json")).unwrap_err();
    assert!(missing.to_string().contains("no/such/model.json"));
    assert_eq!(good["format"], FORMAT);
}

#[test]
fn sizes_are_held_against_published_ones() {
    let of =
        |length: f64| Size::of(Some(&Ellipse { position: 0.36, above: 0.02, length, height: 0.4 * length }));
    assert_eq!(
        (of(0.03), of(0.09), of(0.24), Size::of(None)),
        (Size::AsFailed, Size::Plausible, Size::OverInflated, Size::None)
    );
}

#[test]
fn the_model_built_in_is_sound_and_says_where_it_comes_from() {
    let model = Model::standard().unwrap();
    assert!(!model.conv.is_empty());
    let p = &model.provenance;
    assert!(p.command.contains("fit_model") && !p.fitted_on.is_empty() && !p.calibrated_on.is_empty());
}
