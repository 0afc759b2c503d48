//! Time of each stage of a check, on demo photos enlarged to twelve megapixels.
//!
//! ```text
//! cargo bench -p photoproof-core --bench stages
//! ```
#![allow(clippy::unwrap_used, missing_docs)]

use std::hint::black_box;
use std::io::Cursor;
use std::path::Path;

use criterion::{BenchmarkId, Criterion, criterion_group, criterion_main};
use image::codecs::jpeg::JpegEncoder;
use image::imageops::{FilterType, resize};
use image::{ImageReader, RgbImage};
use photoproof_core::ingest::stamp::read_stamp;
use photoproof_core::ingest::{IngestOptions, Photo, Pixels, read_photo_bytes};
use photoproof_core::ledger::{self, JobRecord, PhotoRecord};
use photoproof_core::measure::feature::{MatchOptions, match_features};
use photoproof_core::measure::{
    Change, Features, Fingerprint, PhotoMeasures, Quality, Shelf, SmallPicture, Viewpoint,
    compare_copies, find_copies, measure_photo,
};
use photoproof_core::thumbnail::Thumbnail;

/// Two photos of one view, before and after, and one of another room.
const BEFORE: &str = "Kitchen/before/IMG_2104.jpg";
const AFTER: &str = "Kitchen/after/IMG_2122.jpg";
const ELSEWHERE: &str = "Bathroom/before/IMG_2107.jpg";

/// A photo as a phone would store it: 4032 x 3024, grain of the sensor, JPEG quality 92.
fn photo(path: &str) -> Vec<u8> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../demo-data/clean-job");
    let small = ImageReader::open(folder.join(path)).unwrap();
    let small = small.decode().unwrap().into_rgb8();
    let mut large: RgbImage = resize(&small, 4032, 3024, FilterType::CatmullRom);
    let mut state = 1u32;
    for value in large.iter_mut() {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        *value = value
            .saturating_add((state >> 24) as u8 % 7)
            .saturating_sub(3);
    }
    let mut bytes = Vec::new();
    let mut encoder = JpegEncoder::new_with_quality(&mut bytes, 92);
    encoder.encode_image(&large).unwrap();
    bytes
}

fn read(bytes: &[u8]) -> (Photo, Pixels) {
    read_photo_bytes(bytes, "photo.jpg", &IngestOptions::default()).unwrap()
}

/// What is done once for each photo.
fn each_photo(criterion: &mut Criterion) {
    let bytes = photo(BEFORE);
    let (photo, pixels) = read(&bytes);
    let mut group = criterion.benchmark_group("photo");
    group.bench_function("full decode, for comparison", |bencher| {
        bencher.iter(|| {
            let reader = ImageReader::new(Cursor::new(black_box(&bytes)));
            reader.with_guessed_format().unwrap().decode().unwrap()
        });
    });
    group.bench_function("read, decode, stamp", |bencher| {
        bencher.iter(|| read(black_box(&bytes)));
    });
    group.bench_function("stamp", |bencher| {
        bencher.iter(|| read_stamp(black_box(&pixels.rgb), || None));
    });
    let small = SmallPicture::new(&pixels);
    group.bench_function("fingerprint", |bencher| {
        bencher.iter(|| Fingerprint::new(photo.sha256.clone(), black_box(&pixels), &small));
    });
    group.bench_function("quality", |bencher| {
        bencher.iter(|| Quality::new(black_box(&pixels)));
    });
    group.bench_function("features", |bencher| {
        bencher.iter(|| Features::extract(&photo, black_box(&pixels)));
    });
    group.bench_function("small picture", |bencher| {
        bencher.iter(|| SmallPicture::new(black_box(&pixels)));
    });
    group.bench_function("thumbnail", |bencher| {
        bencher.iter(|| Thumbnail::new(black_box(&pixels)));
    });
    group.finish();
}

fn measures(path: &str) -> PhotoMeasures {
    let (photo, pixels) = read(&photo(path));
    measure_photo(&photo, &pixels)
}

/// What is done for a pair of photos.
fn each_pair(criterion: &mut Criterion) {
    let (before, after, elsewhere) = (measures(BEFORE), measures(AFTER), measures(ELSEWHERE));
    let mut group = criterion.benchmark_group("pair");
    for (name, other) in [("of one view", &after), ("of two rooms", &elsewhere)] {
        let (a, b) = (&before.features, &other.features);
        group.bench_function(BenchmarkId::new("match", name), |bencher| {
            bencher.iter(|| match_features(black_box(a), black_box(b), &MatchOptions::default()));
        });
        group.bench_function(BenchmarkId::new("viewpoint", name), |bencher| {
            bencher.iter(|| Viewpoint::between(black_box(a), black_box(b)));
        });
        group.bench_function(BenchmarkId::new("copy", name), |bencher| {
            bencher.iter(|| compare_copies(black_box(&before), black_box(other)));
        });
    }
    let Viewpoint::Shift(shift) = Viewpoint::between(&before.features, &after.features) else {
        panic!("{BEFORE} and {AFTER} show one view");
    };
    group.bench_function("change", |bencher| {
        bencher.iter(|| Change::between(black_box(&before.small), &after.small, &shift));
    });
    group.finish();
}

/// What is done for a whole job.
fn each_job(criterion: &mut Criterion) {
    let measures = [BEFORE, AFTER, ELSEWHERE].map(measures);
    let all: Shelf = measures.iter().collect();
    let job = |number: usize| JobRecord {
        job: format!("job-{number}"),
        vendor: None,
        photos: (measures.iter().enumerate())
            .map(|(at, photo)| PhotoRecord::of_measures(&format!("{at}.jpg"), photo))
            .collect(),
    };
    let folder = tempfile::tempdir().unwrap();
    let place = folder.path().join("ledger.sqlite");
    let mut ledger = ledger::open(place.to_str().unwrap()).unwrap();
    for number in 0..20 {
        ledger.record_job(&job(number)).unwrap();
    }
    let mut group = criterion.benchmark_group("job");
    group.bench_function("copies among 3 photos", |bencher| {
        bencher.iter(|| find_copies(black_box(&all)));
    });
    group.bench_function("ledger, 3 photos against 60 that are copies", |bencher| {
        bencher.iter(|| ledger.find(black_box(&all), None).unwrap());
    });
    let mut number = 20;
    group.bench_function("ledger, a job of 3 photos recorded", |bencher| {
        bencher.iter(|| {
            number += 1;
            ledger.record_job(&job(number)).unwrap();
        });
    });
    group.finish();
}

criterion_group! {
    name = benches;
    config = Criterion::default().sample_size(10);
    targets = each_photo, each_pair, each_job
}
criterion_main!(benches);
