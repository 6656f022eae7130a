//! Time of each stage on one rendered photograph, and of a JPEG's luma decoding alone, which the whole is
//! measured against.

use criterion::{Criterion, criterion_group, criterion_main};
use frygauge::bladder::{self, Context, Model};
use frygauge::fish::{self, Fish, Outcome};
use frygauge::photo::{self, Buffers};
use frygauge::pipeline::{Settings, score};
use frygauge::records::Lighting;
use frygauge::render::{Class, encode_jpeg, photograph};
use frygauge::segmentation::{find, prepare};
use frygauge::{report, scale};
use zune_core::bytestream::ZCursor;
use zune_core::colorspace::ColorSpace;
use zune_core::options::DecoderOptions;
use zune_jpeg::JpegDecoder;

fn stages(c: &mut Criterion) {
    let bytes = encode_jpeg(&photograph(Class::LightPad, 1), 92);
    let photo = photo::decode(&bytes, "bench.jpg").expect("a rendered photograph decodes");
    let mut ground = prepare(&photo.pixels);
    let found = find(&mut ground);
    let measure = || -> Vec<Fish> {
        let outcomes = found.candidates.iter().flat_map(|c| fish::measure(&photo.pixels, &ground, &found, c));
        outcomes.filter_map(|o| if let Outcome::Fish(f, _) = o { Some(*f) } else { None }).collect()
    };
    let fish = measure();
    let size = format!("{} x {}, {} fish", photo.pixels.width, photo.pixels.height, fish.len());
    let mut group = c.benchmark_group(size);
    group.sample_size(10);
    group.bench_function("luma decode alone", |b| {
        let mut luma = vec![0; (photo.pixels.width * photo.pixels.height) as usize];
        b.iter(|| {
            let options = DecoderOptions::new_fast().jpeg_set_out_colorspace(ColorSpace::Luma);
            JpegDecoder::new_with_options(ZCursor::new(&bytes), options).decode_into(&mut luma)
        });
    });
    group.bench_function("photo", |b| {
        let mut buffers = Buffers::default();
        b.iter(|| {
            let photo = photo::decode_with(&mut buffers, &bytes, "bench.jpg").expect("it decoded before");
            buffers.recycle(photo);
        });
    });
    group.bench_function("segmentation: ground", |b| b.iter(|| prepare(&photo.pixels)));
    group.bench_function("segmentation: find", |b| b.iter(|| find(&mut ground.clone())));
    group.bench_function("fish", |b| b.iter(measure));
    let options = scale::Options::default();
    group.bench_function("scale", |b| b.iter(|| scale::auto(&photo.pixels, &photo.tags, &options)));
    if let Ok(model) = Model::standard() {
        let call = |f: &Fish| {
            let strip = f.straightened(&photo.pixels, &ground);
            bladder::call(&strip, &Context::of(f, &strip, Lighting::Transmitted), model)
        };
        group.bench_function("strip and bladder", |b| {
            b.iter(|| fish.iter().map(call).collect::<Vec<_>>());
        });
        let settings = Settings { model, scale: &options, strips: false };
        group.bench_function("pipeline, decoded to calls", |b| b.iter(|| score(&photo, &settings)));
    }
    group.bench_function("report: annotated picture", |b| {
        let factor = photo.pixels.factor_for(3200);
        let marks = report::annotate::Marks::default();
        b.iter(|| {
            let picture = report::annotate::annotate(&photo.pixels.shrunk(factor), f64::from(factor), &marks);
            report::jpeg(&picture, 85)
        });
    });
    group.finish();
}

criterion_group!(benches, stages);
criterion_main!(benches);
