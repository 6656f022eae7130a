//! What people say stays with the fish, whatever is scored later and wherever.

use crate::world::*;
use frygauge::ledger::follow::Place;
use frygauge::ledger::{ActKind, Correction, Ledger, Recorded, Said, Sample, Scored};
use frygauge::records::{Call, YesNo};
use proptest::prelude::*;

fn correction(fish: u32, said: Said) -> Correction {
    Correction { sha256: sha(1), fish: Some(fish), said, note: String::new() }
}

#[test]
fn a_correction_follows_its_fish_across_numbering_direction_and_drift() {
    let dir = tempfile::tempdir().unwrap();
    let mut ledger = Ledger::create(&dir.path().join("season.sqlite")).unwrap();
    record(&mut ledger, &mut act("KB", ActKind::Score, 0), 1, &model("a"), 0.0);
    let said = [
        correction(3, Said::Call(Call::Inflated)),
        correction(5, Said::NotAFish),
        correction(6, Said::Length(200.0)),
    ];
    ledger.correct(&mut act("MR", ActKind::Correct, 1), &said).unwrap();

    // The next model numbers from below, swaps head and tail, is 4 px off and does not see fish 6.
    let photo = photo(1, 12);
    let mut fish = shoal(&photo, 4.0);
    fish.remove(5);
    fish.reverse();
    for (n, fish) in (1..).zip(&mut fish) {
        fish.fish = n;
        std::mem::swap(&mut fish.snout_x_px, &mut fish.tail_x_px);
    }
    let photo = frygauge::records::PhotoRow { fish: 11, ..photo };
    let scored =
        Scored { photo: &photo, tank: "P07", date: date("2026-04-29"), fish: &fish, model: &model("bb") };
    let added = ledger.record(&mut act("KB", ActKind::Score, 2), &scored).unwrap();
    assert_eq!(added, Recorded::Layer { carried: 2, lost: 1 });

    let sample = &ledger.samples().unwrap()[0];
    assert_eq!(sample.fish.len(), 10, "fish 5 of the first reading is still not a fish");
    let third = sample.fish.iter().find(|f| f.y_px == 270.0).unwrap();
    assert_eq!((third.call, third.caller.as_str()), (Call::Inflated, "MR"));
    let lost = ledger.lost_corrections().unwrap();
    assert_eq!(lost.len(), 1);
    assert_eq!((lost[0].kind.as_str(), lost[0].who.as_str()), ("length", "MR"));

    // Back to the first reading: the length is there again.
    record(&mut ledger, &mut act("KB", ActKind::Score, 3), 1, &model("a"), 0.0);
    let sample = &ledger.samples().unwrap()[0];
    let sixth = sample.fish.iter().find(|f| f.fish == 6).unwrap();
    assert_eq!((sixth.total_length_px, sixth.use_length), (200.0, YesNo::Yes));
    assert!((sixth.total_length_mm.unwrap() - 200.0 * (0.1 / 3.0)).abs() < 1e-12);
    assert_eq!(ledger.lost_corrections().unwrap(), []);
    assert_eq!(ledger.check().unwrap().findings, []);
}

#[test]
fn the_newest_word_holds_until_it_is_withdrawn() {
    let dir = tempfile::tempdir().unwrap();
    let mut ledger = Ledger::create(&dir.path().join("season.sqlite")).unwrap();
    record(&mut ledger, &mut act("KB", ActKind::Score, 0), 1, &model("a"), 0.0);
    let call = |ledger: &Ledger| {
        let fish = ledger.samples().unwrap().remove(0).fish.remove(2);
        (fish.call, fish.caller)
    };
    assert_eq!(call(&ledger), (Call::NotInflated, "model".into()));
    let mut say = |second, who: &str, said| {
        ledger.correct(&mut act(who, ActKind::Correct, second), &[correction(3, said)]).unwrap();
        (call(&ledger), ledger.corrections(&sha(1)).unwrap())
    };
    let (now, held) = say(1, "MR", Said::Call(Call::Inflated));
    assert_eq!(now, (Call::Inflated, "MR".into()));
    assert_eq!(held[0].fish, Some(3));
    let (now, held) = say(2, "KB", Said::Call(Call::Unsure));
    assert_eq!(now, (Call::Unsure, "KB".into()));
    let (now, held) = say(3, "KB", Said::Withdraw(held[1].uid.clone()));
    assert_eq!((now, held.len()), ((Call::Inflated, "MR".into()), 1));
    let (now, held) = say(4, "MR", Said::Withdraw(held[0].uid.clone()));
    assert_eq!((now, held.len()), ((Call::NotInflated, "model".into()), 0));
}

#[test]
fn a_missed_fish_is_added_once_even_when_a_later_model_finds_it() {
    let dir = tempfile::tempdir().unwrap();
    let mut ledger = Ledger::create(&dir.path().join("season.sqlite")).unwrap();
    record(&mut ledger, &mut act("KB", ActKind::Score, 0), 1, &model("a"), 0.0);
    let unseen = fish(&photo(1, 13), 13, 2.0);
    let said = Said::Missed { place: Place::of(&unseen), call: Call::NotInflated };
    let missed = Correction { fish: None, ..correction(1, said) };
    ledger.correct(&mut act("MR", ActKind::Correct, 1), &[missed]).unwrap();
    let added = ledger.samples().unwrap().remove(0).fish.remove(12);
    assert_eq!((added.fish, added.call, added.caller.as_str()), (13, Call::NotInflated, "MR"));
    assert!((added.total_length_mm.unwrap() - 220.0 * (0.1 / 3.0)).abs() < 1e-12);

    let photo = photo(1, 13);
    let fish = shoal(&photo, 0.0);
    let scored =
        Scored { photo: &photo, tank: "P07", date: date("2026-04-29"), fish: &fish, model: &model("bb") };
    ledger.record(&mut act("KB", ActKind::Score, 2), &scored).unwrap();
    let sample = ledger.samples().unwrap().remove(0);
    assert_eq!(sample.fish.len(), 13);
    assert_eq!((sample.fish[12].x_px, sample.fish[12].caller.as_str()), (400.0, "MR"));
}

#[test]
fn what_is_not_there_cannot_be_corrected_and_nothing_of_the_batch_is_kept() {
    let dir = tempfile::tempdir().unwrap();
    let mut ledger = Ledger::create(&dir.path().join("season.sqlite")).unwrap();
    record(&mut ledger, &mut act("KB", ActKind::Score, 0), 1, &model("a"), 0.0);
    let batch = [correction(1, Said::NotAFish), correction(99, Said::NotAFish)];
    let error = ledger.correct(&mut act("MR", ActKind::Correct, 1), &batch).unwrap_err();
    assert!(error.to_string().contains("no fish 99"), "{error}");
    assert_eq!(ledger.corrections_held().unwrap(), 0);
}

#[test]
fn two_laptops_are_merged_without_counting_twice() {
    let dir = tempfile::tempdir().unwrap();
    let (ours, theirs) = (dir.path().join("a.sqlite"), dir.path().join("b.sqlite"));
    let mut a = Ledger::create(&ours).unwrap();
    let mut b = Ledger::create(&theirs).unwrap();
    for n in 1..=4 {
        record(&mut a, &mut act("KB", ActKind::Score, 0), n, &model("a"), 0.0);
    }
    for n in 3..=6 {
        record(&mut b, &mut act("MR", ActKind::Score, 5), n, &model("a"), 0.0);
    }
    record(&mut b, &mut act("MR", ActKind::Score, 6), 3, &model("bb"), 3.0);
    let said = Correction { sha256: sha(3), ..correction(2, Said::Call(Call::Unsure)) };
    b.correct(&mut act("MR", ActKind::Correct, 7), &[said]).unwrap();

    let merged = a.merge(&mut act("KB", ActKind::Merge, 8), &theirs).unwrap();
    assert_eq!((merged.photographs, merged.layers, merged.corrections), (2, 3, 1));
    let samples = a.samples().unwrap();
    assert_eq!(samples.len(), 6);
    let third = samples.iter().find(|s| s.photo.sha256 == sha(3)).unwrap();
    assert_eq!(third.model, model("bb"), "the later reading counts");
    assert_eq!((third.fish[1].call, third.fish[1].caller.as_str()), (Call::Unsure, "MR"));
    assert_eq!(a.check().unwrap().findings, []);
    // Once more, and the other way round: both now hold the same.
    let again = a.merge(&mut act("KB", ActKind::Merge, 9), &theirs).unwrap();
    assert_eq!((again.photographs, again.layers, again.corrections), (0, 0, 0));
    drop(a);
    b.merge(&mut act("MR", ActKind::Merge, 10), &ours).unwrap();
    let strip = |samples: Vec<Sample>| samples.into_iter().map(|s| (s.photo, s.fish)).collect::<Vec<_>>();
    assert_eq!(strip(b.samples().unwrap()), strip(samples));
}

#[test]
fn laptops_that_contradict_each_other_are_not_half_merged() {
    let dir = tempfile::tempdir().unwrap();
    let theirs = dir.path().join("b.sqlite");
    let mut a = Ledger::create(&dir.path().join("a.sqlite")).unwrap();
    let mut b = Ledger::create(&theirs).unwrap();
    record(&mut a, &mut act("KB", ActKind::Score, 0), 2, &model("a"), 0.0);
    record(&mut b, &mut act("MR", ActKind::Score, 0), 1, &model("a"), 0.0);
    record(&mut b, &mut act("MR", ActKind::Score, 0), 2, &model("a"), 0.0);
    b.move_photograph(&mut act("MR", ActKind::Place, 1), &sha(2), "P08", date("2026-04-29")).unwrap();
    let error = a.merge(&mut act("KB", ActKind::Merge, 2), &theirs).unwrap_err();
    assert!(error.to_string().contains("P07 on 2026-04-29 here, of P08"), "{error}");
    assert_eq!(a.samples().unwrap().len(), 1);
}

/// The slow obvious twin of the `current_fish` view: the fish of the newest layer, one correction after
/// the other applied in the order they were made.
fn replayed(ledger: &Ledger, mut fish: Vec<frygauge::records::FishRow>) -> Vec<(u32, Call, f64, String)> {
    let mut called = std::collections::BTreeMap::<u32, (String, Option<Call>)>::new();
    let mut measured = std::collections::BTreeMap::<u32, (String, f64)>::new();
    for held in ledger.corrections(&sha(1)).unwrap() {
        let Some(fish) = held.fish else { continue };
        match held.kind.as_str() {
            "call" => drop(called.insert(fish, (held.who, held.call))),
            "not_a_fish" => drop(called.insert(fish, (held.who, None))),
            "length" => drop(measured.insert(fish, (held.who, held.length_px.unwrap()))),
            other => panic!("{other}"),
        }
    }
    fish.retain(|f| !matches!(called.get(&f.fish), Some((_, None))));
    fish.iter()
        .map(|f| {
            let call = called.get(&f.fish).and_then(|c| c.1).unwrap_or(f.call);
            let length = measured.get(&f.fish).map_or(f.total_length_px, |m| m.1);
            let who = called.get(&f.fish).map(|c| &c.0).or(measured.get(&f.fish).map(|m| &m.0));
            (f.fish, call, length, who.cloned().unwrap_or("model".into()))
        })
        .collect()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]
    #[test]
    fn the_view_says_what_replaying_says(
        steps in proptest::collection::vec((1u32..=12, 0u8..5, any::<bool>(), 0usize..8), 0..24),
    ) {
        let mut ledger = Ledger::create(&std::path::PathBuf::from(":memory:")).unwrap();
        record(&mut ledger, &mut act("KB", ActKind::Score, 0), 1, &model("a"), 0.0);
        for (second, (fish, kind, first, pick)) in (1..).zip(steps) {
            let who = if first { "KB" } else { "MR" };
            let held = ledger.corrections(&sha(1)).unwrap();
            let said = match kind {
                0 => Said::Call(Call::Unsure),
                1 => Said::Call(Call::Inflated),
                2 => Said::Length(150.0 + f64::from(fish)),
                3 => Said::NotAFish,
                _ if held.is_empty() => continue,
                _ => Said::Withdraw(held[pick % held.len()].uid.clone()),
            };
            ledger.correct(&mut act(who, ActKind::Correct, second), &[correction(fish, said)]).unwrap();
        }
        let expected = replayed(&ledger, shoal(&photo(1, 12), 0.0));
        let got: Vec<_> = ledger.samples().unwrap().remove(0).fish.into_iter()
            .map(|f| (f.fish, f.call, f.total_length_px, f.caller)).collect();
        prop_assert_eq!(got, expected);
    }
}
