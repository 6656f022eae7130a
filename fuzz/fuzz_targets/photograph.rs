//! Any bytes as a photograph: refused with an error, or read, searched and measured.
#![no_main]

use frygauge::fish::measure_all;
use frygauge::photo::decode;
use frygauge::segmentation::{find, prepare};
use libfuzzer_sys::fuzz_target;

/// Larger pictures are only decoded, so that a run gets through many.
const MOST_PIXELS: u32 = 300_000;

fuzz_target!(|bytes: &[u8]| {
    let Ok(photo) = decode(bytes, "fuzz.jpg") else { return };
    let pixels = &photo.pixels;
    if pixels.width.saturating_mul(pixels.height) <= MOST_PIXELS {
        let mut ground = prepare(pixels);
        let seen = find(&mut ground);
        measure_all(pixels, &ground, &seen);
    }
});
