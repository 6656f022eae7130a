//! A season of any size, its records made directly: what the ledger and the report cost.
//!
//! `cargo run --release --example season_load -- DIR [TANKS] [DAYS] [FISH]` makes a season folder (50 tanks,
//! 30 days, 40 fish by default) and prints the time per photograph and the size of the ledger.
//! All data are invented.

use frygauge::ledger::{Act, ActKind, Ledger, ModelRef, Scored};
use frygauge::records::{Call, FishRow, Lighting, PhotoRow, PhotoStatus, View, YesNo};
use jiff::ToSpan as _;
use jiff::civil::{Date, date};
use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution as _, Normal};
use std::error::Error;
use std::fmt::Write as _;
use std::io::Write as _;
use std::path::PathBuf;
use std::time::{Duration, Instant};

const HATCH: Date = date(2026, 4, 20);
const FIRST_DPH: i64 = 4;
const SETTINGS: &str = "[hatchery]\nname = \"Invented load\"\nspecies = \"pikeperch\"\ntreatments = [\"sprayer\"]\n\
    expected_inflation = [\n  { dph = 4, low = 0.0, high = 0.10 },\n  { dph = 8, low = 0.35, high = 0.75 },\n  \
    { dph = 13, low = 0.80, high = 0.98 },\n]\n";

fn main() -> Result<(), Box<dyn Error>> {
    let mut args = std::env::args().skip(1);
    let folder = PathBuf::from(args.next().ok_or("give a folder")?);
    let mut number = |default: usize| args.next().map_or(Ok(default), |n| n.parse());
    let (tanks, days, fish) = (number(50)?, number(30)?, number(40)?);
    std::fs::create_dir_all(&folder)?;
    let mut register = "tank,hatch_date,stocked_date,stocked_number,temperature_c,sprayer\n".to_owned();
    for t in 0..tanks {
        let sprayer = ["wall", "mid", "none"][t % 3];
        writeln!(register, "{},{HATCH},2026-04-21,20000,17,{sprayer}", name(t))?;
    }
    std::fs::write(folder.join("tanks.csv"), register)?;
    std::fs::write(folder.join("frygauge.toml"), SETTINGS)?;
    let path = folder.join("season.sqlite");
    let mut ledger = Ledger::create(&path)?;
    let model = ModelRef { name: "invented-1".into(), sha256: format!("{:064x}", 1) };
    let mut act = Act::now("AK", ActKind::Score, "season_load");
    let mut rng = ChaCha8Rng::seed_from_u64(20260420);
    let mut times: Vec<Duration> = Vec::new();
    let mut disk: Vec<Duration> = Vec::new();
    let beside = folder.join("bare.bin");
    let mut bare = std::fs::File::create(&beside)?;
    for day in 0..days {
        for t in 0..tanks {
            let on = HATCH.checked_add((FIRST_DPH + day as i64).days())?;
            let photo = photo(t, on, fish);
            let rows = shoal(&photo, t, (FIRST_DPH + day as i64) as f64, fish, &mut rng)?;
            let scored = Scored { photo: &photo, tank: &name(t), date: on, fish: &rows, model: &model };
            let begun = Instant::now();
            ledger.record(&mut act, &scored)?;
            times.push(begun.elapsed());
            // What the disk alone takes to keep as much: the ledger cannot be faster than that.
            let begun = Instant::now();
            bare.write_all(&[0x5a; 12_000])?;
            bare.sync_data()?;
            disk.push(begun.elapsed());
        }
    }
    drop(ledger);
    std::fs::remove_file(beside)?;
    println!(
        "{} photographs, {} fish; ledger {:.1} MB",
        times.len(),
        times.len() * fish,
        std::fs::metadata(path)?.len() as f64 / 1e6
    );
    println!("a photograph into the ledger:      {}", told(times));
    println!("12 kB synced to the same disk:     {}", told(disk));
    Ok(())
}

/// Median, 99 % and worst of some times.
fn told(mut times: Vec<Duration>) -> String {
    times.sort_unstable();
    let ms = |q: usize| times[(times.len() - 1) * q / 100].as_secs_f64() * 1e3;
    format!("median {:.2} ms, 99 % {:.2} ms, worst {:.2} ms", ms(50), ms(99), ms(100))
}

fn name(t: usize) -> String {
    format!("T{:02}", t + 1)
}

fn photo(t: usize, on: Date, fish: usize) -> PhotoRow {
    let day = (on - HATCH).get_days() as usize;
    PhotoRow {
        photo: format!("{}/{on}.jpg", name(t)),
        sha256: format!("{:064x}", 1 + t + 1000 * day),
        status: PhotoStatus::Scored,
        reason: String::new(),
        width_px: Some(6000),
        height_px: Some(4000),
        lighting: Some(Lighting::Transmitted),
        mm_per_px: Some(0.025),
        mm_per_px_se: Some(2.5e-5),
        scale_source: Some("card".into()),
        fish: fish as u32,
        sharpness: Some(1.3),
        flags: String::new(),
        seconds: Some(0.2),
    }
}

fn shoal(
    photo: &PhotoRow,
    t: usize,
    age: f64,
    fish: usize,
    rng: &mut ChaCha8Rng,
) -> Result<Vec<FishRow>, Box<dyn Error>> {
    let half_at = [7.3, 7.6, 9.5][t % 3];
    let share = 0.93 / (1.0 + (-(age - half_at)).exp());
    let length = Normal::new(4.3 + 0.5 * age, 0.35)?;
    let mut rows = Vec::new();
    for n in 1..=fish as u32 {
        let (x, y, angle) = (
            rng.random_range(200.0..5800.0),
            rng.random_range(200.0..3800.0),
            rng.random_range(0.0..std::f64::consts::TAU),
        );
        let mm: f64 = length.sample(rng);
        let px = mm / 0.025;
        let p: f64 =
            if rng.random_bool(share) { rng.random_range(0.6..1.0) } else { rng.random_range(0.0..0.55) };
        let call = match p {
            p if p > 0.7 => Call::Inflated,
            p if p < 0.45 => Call::NotInflated,
            _ => Call::Unsure,
        };
        let half = [0.5 * px * f64::cos(angle), 0.5 * px * f64::sin(angle)];
        rows.push(FishRow {
            photo: photo.photo.clone(),
            tank: Some(name(t)),
            date: None,
            age_dph: None,
            fish: n,
            x_px: x,
            y_px: y,
            snout_x_px: x - half[0],
            snout_y_px: y - half[1],
            tail_x_px: x + half[0],
            tail_y_px: y + half[1],
            total_length_px: px,
            total_length_mm: Some(mm),
            total_length_se_mm: Some(0.03),
            depth_mm: Some(0.18 * mm),
            view: View::Side,
            call,
            p_inflated: Some(p),
            bladder_position: Some(0.38),
            bladder_length_mm: (call == Call::Inflated).then_some(0.1 * mm),
            bladder_height_mm: (call == Call::Inflated).then_some(0.05 * mm),
            use_length: YesNo::Yes,
            use_call: YesNo::Yes,
            flags: String::new(),
            vessel: Some(1),
            caller: "model".into(),
            head_depth_mm: Some(0.14 * mm),
        });
    }
    Ok(rows)
}
