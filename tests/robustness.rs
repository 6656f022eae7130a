//! Random frames through the whole pipeline: no panic, and nothing that no larva can be. A short run of
//! `cargo run --release --example robustness`.

#[path = "../examples/robustness/check.rs"]
mod check;
#[path = "../examples/robustness/frame.rs"]
mod frame;

use check::Outcome;
use frygauge::bladder::Model;
use frygauge::scale::{Options, Wanted};
use frygauge::units::MmPerPx;
use frygauge::{photo, pipeline};

#[test]
fn random_frames_neither_panic_nor_give_what_no_larva_can_be() {
    let model = Model::standard().unwrap();
    let (mut found, mut outlined, mut refused) = (0, 0, 0);
    for seed in 0..40 {
        let frame = frame::draw(seed);
        match check::run(&frame, model) {
            Outcome::Refused(words) => {
                assert!(!words.is_empty(), "seed {seed} is refused without a reason");
                refused += 1;
            }
            Outcome::Panicked(said) => panic!("seed {seed} ({}): {said}", frame.story),
            Outcome::Scored { fish, bladders, offences } => {
                assert!(offences.is_empty(), "seed {seed} ({}): {offences:?}", frame.story);
                found += fish;
                outlined += bladders;
            }
        }
    }
    // A run without fish, or without a broken file, would show nothing.
    assert!(
        found >= 20 && outlined >= 2 && refused >= 2,
        "{found} fish, {outlined} bladders, {refused} files refused"
    );
}

/// A scale typed ten times wrong makes every fish impossible: it is not used, and the reader is told; the fish stay.
#[test]
fn a_scale_that_no_fish_fits_is_not_used() {
    let drawn = frygauge::render::Scene::sample(
        &[6.0, 6.5, 7.0],
        &[true, false, true],
        8.0,
        frygauge::records::Lighting::Transmitted,
        40.0,
        3,
    );
    let photo = photo::decode(&frygauge::render::encode_jpeg(&drawn.render(), 90), "three.jpg").unwrap();
    let score = |px_per_mm: f64| {
        let wanted = Wanted::Given(MmPerPx::from_px_per_mm(px_per_mm).unwrap());
        let scale = Options { wanted, ..Options::default() };
        pipeline::score(
            &photo,
            &pipeline::Settings { model: Model::standard().unwrap(), scale: &scale, strips: false },
        )
    };
    let right = score(40.0);
    assert!(right.scale.is_some() && right.fish.len() == 3);
    for wrong in [400.0, 3.0] {
        let read = score(wrong);
        assert!(read.scale.is_none());
        assert_eq!(read.fish.len(), 3);
        let told = read.advice.iter().find(|a| a.rule == "scale_impossible").expect("the reader is told");
        assert!(told.text.contains("check it"), "{}", told.text);
    }
}
