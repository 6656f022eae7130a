//! Runs the whole pipeline on a frame and holds what comes out against what a larva can be.

use super::frame::Frame;
use frygauge::bladder::Model;
use frygauge::photo;
use frygauge::pipeline::{Sample, Settings, fish_rows, photo_row, score};
use frygauge::records::FishRow;
use frygauge::report::annotate::{FishMark, Marks, annotate};
use std::panic::{AssertUnwindSafe, catch_unwind};

/// What came of a frame.
pub enum Outcome {
    /// The file was refused, with these words.
    Refused(String),
    /// It was scored: so many fish, so many of them with an outlined bladder, and what is out of bounds.
    Scored { fish: usize, bladders: usize, offences: Vec<String> },
    /// It panicked.
    Panicked(String),
}

/// Reads, scores, writes rows and draws, as the program does.
pub fn run(frame: &Frame, model: &Model) -> Outcome {
    catch_unwind(AssertUnwindSafe(|| attempt(frame, model))).unwrap_or_else(|panic| {
        let said = panic.downcast_ref::<String>().cloned();
        Outcome::Panicked(
            said.or_else(|| panic.downcast_ref::<&str>().map(|s| (*s).into())).unwrap_or_default(),
        )
    })
}

fn attempt(frame: &Frame, model: &Model) -> Outcome {
    let photo = match photo::decode(&frame.bytes, "frame") {
        Ok(photo) => photo,
        Err(error) => return Outcome::Refused(error.to_string()),
    };
    let scored = score(&photo, &Settings { model, scale: &frame.scale, strips: false });
    let rows = fish_rows("frame", &Sample::default(), &scored);
    let row = photo_row("frame", "", &photo, &scored, 0.0);
    let marks = Marks {
        caption: String::new(),
        fish: scored
            .fish
            .iter()
            .zip(&rows)
            .map(|(f, r)| FishMark {
                number: r.fish,
                midline: &f.fish.midline,
                outline: &f.fish.outline,
                call: r.call,
                left_out: "",
            })
            .collect(),
        refused: Vec::new(),
    };
    let factor = photo.pixels.factor_for(3200);
    let picture = annotate(&photo.pixels.shrunk(factor), f64::from(factor), &marks);
    let mut offences = Vec::new();
    if picture.width() == 0 || row.fish as usize != rows.len() {
        offences.push("the picture or the count of fish is not whole".into());
    }
    if scored.advice.len() > 3 || scored.advice.iter().any(|a| a.text.is_empty()) {
        offences.push("advice out of bounds".into());
    }
    let frame = [photo.pixels.width, photo.pixels.height].map(f64::from);
    for (fish, row) in scored.fish.iter().zip(&rows) {
        offences.extend(offences_of(row, fish.fish.depth.0 / fish.fish.total_length.0, frame));
    }
    let bladders = rows.iter().filter(|r| r.bladder_length_mm.is_some()).count();
    Outcome::Scored { fish: scored.fish.len(), bladders, offences }
}

/// What of a fish's row no larva, and no frame of this width and height, can give.
fn offences_of(row: &FishRow, depth: f64, frame: [f64; 2]) -> Vec<String> {
    let mut said = Vec::new();
    let mut must = |holds: bool, what: String| {
        if !holds {
            said.push(format!("fish {} {what} ({})", row.fish, row.flags));
        }
    };
    if let Some(mm) = row.total_length_mm {
        must((2.0..=60.0).contains(&mm), format!("is {mm:.2} mm long"));
        must(
            row.total_length_se_mm.is_some_and(|se| se > 0.0 && se.is_finite()),
            "has no error of length".into(),
        );
    }
    must(row.total_length_px.is_finite(), "has no length".into());
    must((0.04..=0.40).contains(&depth), format!("is {:.1} % of its length deep", 100.0 * depth));
    must(row.p_inflated.is_none_or(|p| (0.0..=1.0).contains(&p)), format!("has p = {:?}", row.p_inflated));
    // A fin may end between the last pixel and the frame.
    let within = |x: f64, y: f64| (-1.0..=frame[0]).contains(&x) && (-1.0..=frame[1]).contains(&y);
    for (x, y, what) in [
        (row.snout_x_px, row.snout_y_px, "snout"),
        (row.tail_x_px, row.tail_y_px, "tail"),
        (row.x_px, row.y_px, "middle"),
    ] {
        must(within(x, y), format!("has its {what} outside the frame at {x:.1}, {y:.1}"));
    }
    if let (Some(at), Some(length), Some(height), Some(total)) =
        (row.bladder_position, row.bladder_length_mm, row.bladder_height_mm, row.total_length_mm)
    {
        let half = 0.5 * length / total;
        must(
            at - half >= 0.0 && at + half <= 1.0,
            format!("has its bladder at {at} +- {half:.3} of its length"),
        );
        let deep = row.depth_mm.unwrap_or(0.0);
        must(height <= deep * 1.001 + 1e-4, format!("is {deep:.2} mm deep, its bladder {height:.2} mm high"));
    }
    said
}
