//! A small season whose course is known, recorded straight into a ledger.

use frygauge::ledger::{Act, ActKind, Ledger, ModelRef, Scored};
use frygauge::records::{Call, FishRow, PhotoRow, PhotoStatus, View, YesNo};
use jiff::civil::{Date, date};
use std::fs;
use std::path::Path;

/// Day of hatching.
pub const HATCH: Date = date(2026, 4, 20);

/// Inflated fish of 30 by tank and age; `None` is no sample.
pub fn inflated(tank: &str, dph: i64) -> Option<u32> {
    let good = [1, 3, 8, 15, 21, 25, 27, 28];
    let at = usize::try_from(dph - 4).unwrap();
    match tank {
        // Stands still from 7 dph on.
        "P07" => Some([1, 3, 7, 7, 7, 7, 8, 8][at]),
        // A little below every day.
        "P10" => Some([0, 1, 4, 7, 10, 13, 17, 20][at]),
        // Last sampled at 8 dph.
        "P04" if dph > 8 => None,
        _ => Some(good[at]),
    }
}

/// Writes the season into `dir`.
pub fn season(dir: &Path) {
    let settings = "[hatchery]\nname = \"Brackenmere & Sons <test>\"\nspecies = \"pikeperch\"\ntreatments = [\"sprayer\"]\n\
        expected_inflation = [{ dph = 4, low = 0.0, high = 0.1 }, { dph = 7, low = 0.4, high = 0.7 }, \
        { dph = 11, low = 0.8, high = 0.98 }]\n";
    let tanks = "tank,hatch_date,stocked_date,stocked_number,temperature_c,screen_mm,sprayer\n\
        P01,2026-04-20,2026-04-21,1000,17,0.5,mid\nP04,2026-04-20,2026-04-21,1000,17,0.5,mid\n\
        P07,2026-04-20,2026-04-21,1000,17,0.5,wall\nP10,2026-04-20,2026-04-21,1000,17,0.5,none\n";
    let events = "date,time,tank,what,value,number,note,who\n\
        2026-04-28,10:40,P07,sprayer moved,mid,,,MR\n2026-04-29,,P01,deaths counted,,100,,JT\n2026-04-30,,P01,deaths counted,,100,,JT\n";
    for (name, text) in [("frygauge.toml", settings), ("tanks.csv", tanks), ("events.csv", events)] {
        fs::write(dir.join(name), text).unwrap();
    }
    let mut ledger = Ledger::create(&dir.join("season.sqlite")).unwrap();
    let model = ModelRef { name: "test-1".into(), sha256: "0".repeat(64) };
    let mut act = Act::now("AK", ActKind::Score, "");
    for (t, tank) in ["P01", "P04", "P07", "P10"].into_iter().enumerate() {
        for dph in 4..=11 {
            let Some(gas) = inflated(tank, dph) else { continue };
            let on = HATCH.checked_add(jiff::ToSpan::days(dph)).unwrap();
            let photo = photo(&format!("{tank}/{on}.jpg"), t as i64 * 100 + dph);
            let fish: Vec<FishRow> = (0..30).map(|n| fish(&photo, n, n < gas, dph as f64)).collect();
            let scored = Scored { photo: &photo, tank, date: on, fish: &fish, model: &model };
            ledger.record(&mut act, &scored).unwrap();
        }
    }
}

fn photo(name: &str, n: i64) -> PhotoRow {
    PhotoRow {
        photo: name.into(),
        sha256: format!("{n:064x}"),
        status: PhotoStatus::Scored,
        reason: String::new(),
        width_px: Some(1200),
        height_px: Some(900),
        lighting: None,
        mm_per_px: Some(0.04),
        mm_per_px_se: None,
        scale_source: Some("tags".into()),
        fish: 30,
        sharpness: None,
        flags: String::new(),
        seconds: None,
    }
}

fn fish(photo: &PhotoRow, n: u32, gas: bool, dph: f64) -> FishRow {
    // Lengths spread evenly about 4 + 0.4 mm a day.
    let mm = 4.0 + 0.4 * dph + (f64::from(n) - 14.5) * 0.02;
    let px = mm / 0.04;
    FishRow {
        photo: photo.photo.clone(),
        tank: None,
        date: None,
        age_dph: None,
        fish: n + 1,
        x_px: 300.0,
        y_px: 25.0 * f64::from(n),
        snout_x_px: 300.0 - 0.5 * px,
        snout_y_px: 25.0 * f64::from(n),
        tail_x_px: 300.0 + 0.5 * px,
        tail_y_px: 25.0 * f64::from(n),
        total_length_px: px,
        total_length_mm: Some(mm),
        total_length_se_mm: None,
        depth_mm: Some(0.13 * mm),
        view: View::Side,
        call: if gas { Call::Inflated } else { Call::NotInflated },
        p_inflated: None,
        bladder_position: None,
        bladder_length_mm: None,
        bladder_height_mm: None,
        use_length: YesNo::Yes,
        use_call: YesNo::Yes,
        flags: String::new(),
        vessel: None,
        caller: "model".into(),
        head_depth_mm: Some(0.12 * mm),
    }
}
