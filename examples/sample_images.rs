//! Draws `sample-images/` anew: twelve rendered photographs, their sample sheet and their truth.
//!
//! `cargo run --release --example sample_images [-- DIR]`

use frygauge::render::season::HATCH;
use frygauge::render::{Tags, encode_jpeg_tagged, sample_images};
use std::path::PathBuf;

const README: &str = "# Sample images

These twelve photographs are **rendered**, not taken: the fish, the tanks and Brackenmere Hatchery are invented. Each
file says so in its EXIF `ImageDescription`. They show four tanks at 10 days post hatch; in two of them, P05 and P08,
the sprayer fails and few fry have filled their gas bladder.

- `*-light-pad-*` dish on a light pad (one pad fills only part of its frame), 32 px/mm
- `*-dark-dish-*` dark dish, light from the side or above, 36 px/mm
- `*-pale-tray-*` pale tray, light from above, 36 px/mm
- `*-microscope-*` dissecting microscope, 110 px/mm

Their scale is in the files' resolution tags. `samples.csv` is the sample sheet (photo, tank, date, hatch date). `truth.csv` says what was drawn: every fish with its
total length, whether its bladder holds gas, and where it lies.

Draw them again, byte for byte, with

    cargo run --release --example sample_images
";

fn main() -> anyhow::Result<()> {
    let dir = PathBuf::from(std::env::args().nth(1).unwrap_or_else(|| "sample-images".into()));
    std::fs::create_dir_all(&dir)?;
    std::fs::write(dir.join("README.md"), README)?;
    let mut samples = csv::Writer::from_path(dir.join("samples.csv"))?;
    samples.write_record(["photo", "tank", "date", "hatch"])?;
    let mut truth = csv::Writer::from_path(dir.join("truth.csv"))?;
    truth.write_record([
        "photo",
        "fish",
        "total_length_mm",
        "inflated",
        "bladder_position",
        "bladder_length_mm",
        "view",
        "snout_x_px",
        "snout_y_px",
        "tail_x_px",
        "tail_y_px",
    ])?;
    for sample in sample_images() {
        let drawn = &sample.rendered;
        let px_per_mm = drawn.truth.px_per_mm;
        let tags = Tags { taken: Some(&sample.taken), px_per_mm: Some(px_per_mm) };
        std::fs::write(dir.join(&sample.name), encode_jpeg_tagged(drawn, 88, &tags))?;
        let (date, hatch) = (sample.date.to_string(), HATCH.to_string());
        samples.write_record([&sample.name, sample.tank, &date, &hatch])?;
        for (i, f) in drawn.truth.fish.iter().enumerate() {
            let some = |v: Option<f64>| v.map(|v| format!("{v:.3}")).unwrap_or_default();
            let (snout, tail) = (f.midline[0], f.midline[f.midline.len() - 1]);
            truth.write_record([
                sample.name.clone(),
                (i + 1).to_string(),
                format!("{:.3}", f.total_length_mm),
                if f.inflated { "yes" } else { "no" }.to_string(),
                some(f.bladder_position),
                some(f.bladder_length.map(|b| b * f.total_length_mm)),
                format!("{:?}", f.view).to_lowercase(),
                format!("{:.1}", snout[0]),
                format!("{:.1}", snout[1]),
                format!("{:.1}", tail[0]),
                format!("{:.1}", tail[1]),
            ])?;
        }
        eprintln!("{}: {} fish", sample.name, drawn.truth.fish.len());
    }
    samples.flush()?;
    truth.flush()?;
    Ok(())
}
