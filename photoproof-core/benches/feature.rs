//! Time of feature extraction and matching at working size.
#![allow(missing_docs)]

use std::hint::black_box;

use criterion::{Criterion, criterion_group, criterion_main};
use image::{GrayImage, Luma};
use photoproof_core::measure::feature::{Features, MatchOptions, match_features};

/// Working-size picture of overlapping rectangles and faint noise: corners, edges and plain parts.
fn room(mut state: u32) -> GrayImage {
    let mut next = move || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        state >> 16
    };
    let mut gray = GrayImage::from_pixel(1024, 768, Luma([150]));
    for _ in 0..400 {
        let (x0, y0) = (next() % 1000, next() % 750);
        let (width, height, value) = (next() % 90 + 4, next() % 70 + 4, next() % 200 + 20);
        for y in y0..(y0 + height).min(768) {
            for x in x0..(x0 + width).min(1024) {
                gray.put_pixel(x, y, Luma([value as u8]));
            }
        }
    }
    gray.pixels_mut()
        .for_each(|p| p.0[0] = p.0[0].saturating_add((next() % 9) as u8));
    gray
}

fn feature(criterion: &mut Criterion) {
    let (first, second) = (room(1), room(2));
    criterion.bench_function("features of 1024x768", |bencher| {
        bencher.iter(|| Features::from_gray(black_box(&first), None));
    });
    let (a, b) = (
        Features::from_gray(&first, None),
        Features::from_gray(&second, None),
    );
    let options = MatchOptions::default();
    criterion.bench_function("match of a pair", |bencher| {
        bencher.iter(|| match_features(black_box(&a), black_box(&b), &options));
    });
}

criterion_group!(benches, feature);
criterion_main!(benches);
