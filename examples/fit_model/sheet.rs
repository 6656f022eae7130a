//! Contact sheets of the calls a model gets most wrong, to be looked at.

use crate::collect::{CLASSES, Seen, strips_of};
use crate::report::probability;
use anyhow::Result;
use frygauge::bladder::Model;
use frygauge::fish::{STRIP_HEIGHT, STRIP_WIDTH, Strip};
use image::{Rgb, RgbImage};
use std::collections::BTreeMap;
use std::path::Path;

/// Strips to a sheet.
const MOST: usize = 24;

/// Writes one sheet a class, worst calls first, two columns; a list of them goes to stdout.
pub fn write(folder: &Path, model: &Model, seen: &[Seen]) -> Result<()> {
    std::fs::create_dir_all(folder)?;
    for (class, _) in CLASSES {
        let mut of: Vec<(f64, &Seen)> = seen
            .iter()
            .filter(|s| s.class == class)
            .map(|s| {
                let p = probability(model, s);
                (if s.example.inflated { 1.0 - p } else { p }, s)
            })
            .collect();
        of.sort_by(|a, b| b.0.total_cmp(&a.0));
        of.truncate(MOST);
        of.retain(|(error, _)| *error > 0.2);
        if of.is_empty() {
            continue;
        }
        let mut photographs: BTreeMap<u64, Vec<Strip>> = BTreeMap::new();
        for (_, s) in &of {
            photographs.entry(s.seed).or_insert_with(|| strips_of(class, s.seed));
        }
        let rows = of.len().div_ceil(2) as u32;
        let (w, h) = (STRIP_WIDTH as u32 + 6, STRIP_HEIGHT as u32 + 6);
        let mut sheet = RgbImage::from_pixel(2 * w * 2, rows * h * 2, Rgb([30, 30, 30]));
        for (i, (error, s)) in of.iter().enumerate() {
            println!(
                "{class:?} {}: seed {} fish {} inflated {} error {error:.2}",
                i + 1,
                s.seed,
                s.fish,
                s.example.inflated
            );
            let Some(strip) = photographs[&s.seed].get(s.fish) else { continue };
            let (x0, y0) = ((i as u32 % 2) * w * 2, (i as u32 / 2) * h * 2);
            let frame = if s.example.inflated { Rgb([60, 200, 90]) } else { Rgb([220, 80, 60]) };
            for y in 0..2 * h - 4 {
                for x in 0..2 * w - 4 {
                    sheet.put_pixel(x0 + x, y0 + y, frame);
                }
            }
            draw(&mut sheet, strip, x0 + 4, y0 + 4);
        }
        sheet.save(folder.join(format!("{class:?}.png")))?;
    }
    Ok(())
}

/// Draws a strip twice enlarged, its brightness stretched between its own extremes.
fn draw(sheet: &mut RgbImage, strip: &Strip, x0: u32, y0: u32) {
    let mut values: Vec<f32> = strip.values.iter().copied().collect();
    values.sort_by(f32::total_cmp);
    let (low, high) = (values[values.len() / 200].min(0.95), values[values.len() * 199 / 200].max(1.05));
    for y in 0..STRIP_HEIGHT {
        for x in 0..STRIP_WIDTH {
            let colour: [u8; 3] = std::array::from_fn(|c| {
                (255.0 * (strip.values[[c, y, x]] - low) / (high - low)).clamp(0.0, 255.0) as u8
            });
            for (dx, dy) in [(0, 0), (1, 0), (0, 1), (1, 1)] {
                sheet.put_pixel(x0 + 2 * x as u32 + dx, y0 + 2 * y as u32 + dy, Rgb(colour));
            }
        }
    }
}
