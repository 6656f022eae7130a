//! Photographs and fish for the ledger's tests: any numbers will do, as long as they come back as they went in.

use frygauge::ledger::{Act, ActKind, Ledger, ModelRef, Recorded, Scored};
use frygauge::records::{Call, FishRow, Lighting, PhotoRow, PhotoStatus, View, YesNo};
use jiff::{Timestamp, civil::Date};

pub fn date(text: &str) -> Date {
    text.parse().unwrap()
}

pub fn sha(n: u32) -> String {
    format!("{n:064x}")
}

pub fn model(name: &str) -> ModelRef {
    ModelRef { name: name.into(), sha256: sha(name.len() as u32) }
}

/// An act whose time is `second` seconds after the season began.
pub fn act(who: &str, kind: ActKind, second: i64) -> Act {
    Act::at(Timestamp::from_second(1_777_000_000 + second).unwrap(), who, kind, "")
}

pub fn photo(n: u32, fish: usize) -> PhotoRow {
    PhotoRow {
        photo: format!("P07/2026-04-29/{n:03}.jpg"),
        sha256: sha(n),
        status: PhotoStatus::Scored,
        reason: String::new(),
        width_px: Some(2400),
        height_px: Some(1800),
        lighting: Some(Lighting::Transmitted),
        mm_per_px: Some(0.1 / 3.0),
        mm_per_px_se: Some(1e-4),
        scale_source: Some("card".into()),
        fish: fish as u32,
        sharpness: Some(1.25),
        flags: "glare".into(),
        seconds: None,
    }
}

/// Fish `n` of a photograph, lying 90 px below the one before, `shift` px to the right of its place.
pub fn fish(photo: &PhotoRow, n: u32, shift: f64) -> FishRow {
    let (x, y, half) = (400.0 + shift, 90.0 * f64::from(n), 110.0);
    FishRow {
        photo: photo.photo.clone(),
        tank: Some("P07".into()),
        date: Some(date("2026-04-29")),
        age_dph: None,
        fish: n,
        x_px: x,
        y_px: y,
        snout_x_px: x - half,
        snout_y_px: y,
        tail_x_px: x + half,
        tail_y_px: y,
        total_length_px: 2.0 * half,
        total_length_mm: Some(2.0 * half * (0.1 / 3.0)),
        total_length_se_mm: Some(0.02),
        depth_mm: Some(1.1),
        view: View::Side,
        call: if n.is_multiple_of(3) { Call::NotInflated } else { Call::Inflated },
        p_inflated: Some(0.9),
        bladder_position: None,
        bladder_length_mm: Some(0.6),
        bladder_height_mm: None,
        use_length: YesNo::Yes,
        use_call: YesNo::Yes,
        flags: String::new(),
        vessel: Some(1),
        caller: "model".into(),
        head_depth_mm: Some(0.8),
    }
}

pub fn shoal(photo: &PhotoRow, shift: f64) -> Vec<FishRow> {
    (1..=photo.fish).map(|n| fish(photo, n, shift)).collect()
}

/// Records photograph `n` with its fish, and says what that added.
pub fn record(ledger: &mut Ledger, act: &mut Act, n: u32, model: &ModelRef, shift: f64) -> Recorded {
    let photo = photo(n, 12);
    let fish = shoal(&photo, shift);
    let scored = Scored { photo: &photo, tank: "P07", date: date("2026-04-29"), fish: &fish, model };
    ledger.record(act, &scored).unwrap()
}
