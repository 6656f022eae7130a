//! A writer killed at any moment loses nothing that it had reported as recorded.
//!
//! `FRYGAUGE_KILLS=200 cargo test --release --test ledger kill` kills two hundred times.

use crate::world::*;
use frygauge::ledger::{ActKind, Correction, Ledger, Said};
use frygauge::records::Call;
use rand::{RngExt as _, SeedableRng as _};
use std::collections::BTreeSet;
use std::io::{BufRead as _, BufReader, Write as _};
use std::process::{Command, Stdio};
use std::time::Duration;

const LEDGER: &str = "FRYGAUGE_KILL_LEDGER";

/// Not a test of its own: the process that is killed. Without its variable it has nothing to do.
#[test]
fn writer_to_be_killed() {
    let Some(path) = std::env::var_os(LEDGER) else { return };
    let mut ledger = Ledger::open(path.as_ref()).unwrap();
    let from = ledger.samples().unwrap().len() as u32;
    let mut scoring = act("KB", ActKind::Score, i64::from(from));
    for n in from.. {
        record(&mut ledger, &mut scoring, n, &model("a"), 0.0);
        say(&format!("photo {n}"));
        let said = Correction {
            sha256: sha(n),
            fish: Some(3),
            said: Said::Call(Call::Inflated),
            note: String::new(),
        };
        ledger.correct(&mut act("MR", ActKind::Correct, i64::from(n)), &[said]).unwrap();
        say(&format!("word {n}"));
    }
}

fn say(line: &str) {
    let mut out = std::io::stdout().lock();
    writeln!(out, "recorded {line}").unwrap();
    out.flush().unwrap();
}

#[test]
fn kill_at_any_moment_loses_nothing() {
    let kills: u32 = std::env::var("FRYGAUGE_KILLS").map_or(12, |n| n.parse().unwrap());
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("season.sqlite");
    drop(Ledger::create(&path).unwrap());
    let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(6);
    let (mut photos, mut words) = (BTreeSet::new(), BTreeSet::new());
    for kill in 1..=kills {
        let mut child = Command::new(std::env::current_exe().unwrap())
            .args(["kill::writer_to_be_killed", "--exact", "--nocapture", "--test-threads=1"])
            .env(LEDGER, &path)
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let lines = BufReader::new(child.stdout.take().unwrap()).lines();
        let (first, wait) = std::sync::mpsc::channel();
        let reader = std::thread::spawn(move || {
            let mut said = Vec::new();
            for line in lines.map_while(Result::ok) {
                // A line cut by the kill has no end, but a number in it may be cut: only whole words count.
                if let Some(line) = line.split("recorded ").nth(1) {
                    said.push(line.to_owned());
                    let _ = first.send(());
                }
            }
            said
        });
        wait.recv_timeout(Duration::from_secs(60)).expect("the writer writes");
        std::thread::sleep(Duration::from_micros(random.random_range(0..40_000)));
        // SIGKILL on Unix: no handler, no destructor, no flush.
        child.kill().unwrap();
        child.wait().unwrap();
        for line in reader.join().unwrap() {
            match line.split_once(' ') {
                Some(("photo", n)) => photos.insert(n.parse::<u32>().unwrap()),
                Some(("word", n)) => words.insert(n.parse::<u32>().unwrap()),
                _ => panic!("{line}"),
            };
        }
        let ledger = Ledger::open(&path).unwrap();
        assert_eq!(ledger.check().unwrap().findings, [], "kill {kill}");
        let samples = ledger.samples().unwrap();
        let mut known: BTreeSet<u32> = BTreeSet::new();
        for sample in &samples {
            let n = u32::from_str_radix(&sample.photo.sha256, 16).unwrap();
            known.insert(n);
            assert_eq!(sample.fish.len(), 12, "kill {kill}: photograph {n} is whole");
            if words.contains(&n) {
                assert_eq!(sample.fish[2].caller, "MR", "kill {kill}: the word on photograph {n}");
            }
        }
        assert!(photos.is_subset(&known), "kill {kill}: {:?}", photos.difference(&known));
    }
    println!(
        "{kills} kills, {} photographs and {} corrections reported, none lost",
        photos.len(),
        words.len()
    );
}
