//! Draws photographs of one class with their truth, for looking at.
//!
//! `cargo run --release --example render -- CLASS|all SEED COUNT DIR [png]`

use frygauge::render::{Class, encode_jpeg, photograph};
use std::path::PathBuf;

fn main() -> anyhow::Result<()> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let [class, seed, count, dir, rest @ ..] = args.as_slice() else {
        let names: Vec<&str> = Class::ALL.iter().map(|c| c.name()).collect();
        anyhow::bail!("usage: render CLASS|all SEED COUNT DIR [png]\nclasses: {}", names.join(", "));
    };
    let (seed, count): (u64, u64) = (seed.parse()?, count.parse()?);
    let dir = PathBuf::from(dir);
    std::fs::create_dir_all(&dir)?;
    let mut truth = csv::Writer::from_path(dir.join("truth.csv"))?;
    truth.write_record([
        "photo",
        "fish",
        "px_per_mm",
        "lighting",
        "total_length_mm",
        "total_length_px",
        "depth_px",
        "snout_x_px",
        "snout_y_px",
        "tail_x_px",
        "tail_y_px",
        "inflated",
        "bladder_position",
        "bladder_length",
        "view",
        "touching",
        "cut",
        "vessel",
    ])?;
    for chosen in Class::ALL.into_iter().filter(|c| class == "all" || c.name() == class) {
        for seed in seed..seed + count {
            let start = std::time::Instant::now();
            let drawn = photograph(chosen, seed);
            let took = start.elapsed();
            let name = format!("{}-{seed}", chosen.name());
            if rest.iter().any(|r| r == "png") {
                drawn.image.save(dir.join(format!("{name}.png")))?;
            } else {
                std::fs::write(dir.join(format!("{name}.jpg")), encode_jpeg(&drawn, 92))?;
            }
            let t = &drawn.truth;
            eprintln!(
                "{name}: {}x{}, {:.1} px/mm, {} fish, {} touching, {} others, {took:.2?}",
                drawn.image.width(),
                drawn.image.height(),
                t.px_per_mm,
                t.fish.len(),
                t.fish.iter().filter(|f| f.touching).count(),
                t.others.len()
            );
            for (i, f) in t.fish.iter().enumerate() {
                let some = |v: Option<f64>| v.map(|v| format!("{v:.4}")).unwrap_or_default();
                let (snout, tail) = (f.midline[0], f.midline[f.midline.len() - 1]);
                truth.write_record([
                    name.clone(),
                    (i + 1).to_string(),
                    format!("{:.4}", t.px_per_mm),
                    format!("{:?}", t.lighting).to_lowercase(),
                    format!("{:.4}", f.total_length_mm),
                    format!("{:.2}", f.total_length_px),
                    format!("{:.2}", f.depth_px),
                    format!("{:.1}", snout[0]),
                    format!("{:.1}", snout[1]),
                    format!("{:.1}", tail[0]),
                    format!("{:.1}", tail[1]),
                    if f.inflated { "yes" } else { "no" }.to_string(),
                    some(f.bladder_position),
                    some(f.bladder_length),
                    format!("{:?}", f.view).to_lowercase(),
                    f.touching.to_string(),
                    f.cut.to_string(),
                    f.vessel.map(|v| v.to_string()).unwrap_or_default(),
                ])?;
            }
        }
    }
    truth.flush()?;
    Ok(())
}
