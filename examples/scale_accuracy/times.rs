//! What the searches cost.

use frygauge::pipeline::{Settings, score};
use frygauge::render::card::View;
use frygauge::render::{Class, encode_jpeg, photograph};
use frygauge::scale::card::{self, Drawing, Geometry, Payload};
use frygauge::scale::ruler;
use image::RgbImage;
use std::time::Instant;

/// What the searches for card and ruler add to the decoding and scoring of photographs, with and without them.
pub fn times(count: u64) {
    let model = frygauge::bladder::Model::standard().expect("the model built in");
    println!("photographs of 24 MP                  share of decoding and scoring   of decoding alone");
    println!("                                      card     ruler                  card     ruler");
    for with_card in [false, true] {
        let (mut card_s, mut ruler_s, mut rest_s, mut decode_s) = (0.0, 0.0, 0.0, 0.0);
        for seed in 0..count {
            let class = [Class::LightPad, Class::DarkDish, Class::PaleTray][seed as usize % 3];
            let mut picture = photograph(class, 90_000 + seed);
            picture.image = large(&picture.image, picture.truth.px_per_mm, with_card);
            let bytes = encode_jpeg(&picture, 90);
            let clock = Instant::now();
            let photo = frygauge::photo::decode(&bytes, "a.jpg").expect("our own JPEG");
            decode_s += clock.elapsed().as_secs_f64();
            let mut clock = Instant::now();
            let found = card::read(&photo.pixels, None);
            let this_card = clock.elapsed().as_secs_f64();
            assert_eq!(found.payload.is_some(), with_card, "seed {seed}");
            clock = Instant::now();
            let _ = ruler::read(&photo.pixels, None, None);
            let this_ruler = clock.elapsed().as_secs_f64();
            let scale = frygauge::scale::Options::default();
            clock = Instant::now();
            let _ = score(&photo, &Settings { model, scale: &scale, strips: false });
            rest_s += clock.elapsed().as_secs_f64() - this_card - this_ruler;
            card_s += this_card;
            ruler_s += this_ruler;
        }
        println!(
            "{:36}  {:5.1}%  {:6.1}%                 {:5.1}%  {:6.1}%",
            if with_card { "with a card" } else { "without" },
            100.0 * card_s / (decode_s + rest_s),
            100.0 * ruler_s / (decode_s + rest_s),
            100.0 * card_s / decode_s,
            100.0 * ruler_s / decode_s
        );
    }
}

/// The photograph mirrored into every quarter of a frame of 24 MP, a strip card over its middle if wanted.
fn large(image: &RgbImage, px_per_mm: f64, with_card: bool) -> RgbImage {
    let (w, h) = image.dimensions();
    let fold = |v: u32, n: u32| if (v / n).is_multiple_of(2) { v % n } else { n - 1 - v % n };
    let mut frame = RgbImage::from_fn(6000, 4000, |x, y| *image.get_pixel(fold(x, w), fold(y, h)));
    if with_card {
        let payload = Payload { geometry: Geometry::Strip, tank: Some("P03".into()), date: None };
        let drawing = Drawing::new(&payload).expect("a short name");
        let px = px_per_mm.min(5800.0 / drawing.size[0]);
        let size = drawing.size.map(|s| (s * px) as u32);
        let view = View::plain(size, px, drawing.size.map(|s| s / 2.0));
        let card = view.take(1, |p| Some(f64::from(u8::from(drawing.is_dark(p)))));
        image::imageops::replace(&mut frame, &card, 100, 2000 - i64::from(size[1]) / 2);
    }
    frame
}
