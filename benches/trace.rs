//! A photo of 12 million pixels: how long it takes and the most memory that the process ever held.
//! The bars: 5 s and 1.5 GB on two cores.
#![allow(clippy::unwrap_used, clippy::print_stdout, missing_docs)]

#[path = "../tests/trace_support/mod.rs"]
mod trace_support;

use criterion::{Criterion, criterion_group, criterion_main};
use image::{DynamicImage, ImageFormat};
use std::hint::black_box;
use std::io::Cursor;
use trace_support::{Camera, usual};
use warpwise::geometry::point;
use warpwise::trace::{self, NetLine, Options};

fn twelve_megapixels(c: &mut Criterion) {
    // The usual plate twice as fine as it needs to be: the same field of view on 4000 × 3000
    // pixels.
    let camera = Camera { size: (4000, 3000), ..Camera::above(point(0.0, 0.0), 0.25) };
    let mut jpeg = Cursor::new(Vec::new());
    DynamicImage::ImageLuma8(usual().photo(camera))
        .to_rgb8()
        .write_to(&mut jpeg, ImageFormat::Jpeg)
        .unwrap();
    let options = Options::of("plate", NetLine::Edge);
    let mut group = c.benchmark_group("trace");
    group.sample_size(10);
    group.bench_function("photo of 12 megapixels to outline and check picture", |b| {
        b.iter(|| {
            let photo = trace::read_photo(jpeg.get_ref()).unwrap();
            let tracing = trace::trace(&[("photo.jpg".into(), photo)], &options).unwrap();
            black_box(trace::check_picture(&tracing));
        });
    });
    group.finish();
    if let Ok(status) = std::fs::read_to_string("/proc/self/status")
        && let Some(peak) = status.lines().find(|l| l.starts_with("VmHWM"))
    {
        println!("most memory held, drawing the photo included: {peak}");
    }
}

criterion_group!(benches, twelve_megapixels);
criterion_main!(benches);
