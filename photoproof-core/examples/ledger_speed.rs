//! Time and memory of a 300-photo search against a synthetic ledger, for two sizes.
//!
//! `cargo run --release -p photoproof-core --example ledger_speed -- PHOTOS [FILE]`
#![allow(clippy::unwrap_used, clippy::print_stdout, clippy::expect_used)]

use std::time::Instant;

use photoproof_core::ingest::Pixels;
use photoproof_core::ledger::{JobRecord, Ledger, PhotoRecord, SqliteLedger};
use photoproof_core::measure::{PhotoMeasures, measure_pixels};

fn draw(state: &mut u64) -> u64 {
    *state ^= *state << 13;
    *state ^= *state >> 7;
    *state ^= *state << 17;
    *state
}

fn digest(state: &mut u64) -> String {
    [(); 4].map(|()| format!("{:016x}", draw(state))).concat()
}

fn asked(count: u64) -> Vec<PhotoMeasures> {
    (0..count)
        .map(|seed| {
            let mut state = seed * 7919 + 17;
            let blocks: Vec<u8> = (0..64).map(|_| (draw(&mut state) >> 33) as u8).collect();
            let rgb = image::RgbImage::from_fn(64, 64, |x, y| {
                image::Rgb([blocks[(y / 8 * 8 + x / 8) as usize]; 3])
            });
            measure_pixels(format!("asked {seed}"), &Pixels::new(rgb, 64, 64))
        })
        .collect()
}

fn peak_memory() -> String {
    std::fs::read_to_string("/proc/self/status")
        .unwrap_or_default()
        .lines()
        .find(|line| line.starts_with("VmHWM"))
        .map_or_else(|| "unknown".to_owned(), str::to_owned)
}

fn main() {
    let mut arguments = std::env::args().skip(1);
    let photos: u64 = arguments
        .next()
        .expect("number of photos")
        .parse()
        .expect("a number");
    let folder = tempfile::tempdir().unwrap();
    let path = arguments
        .next()
        .map_or_else(|| folder.path().join("used.db"), std::path::PathBuf::from);
    let mut ledger = SqliteLedger::open(&path).unwrap();
    let asked = asked(300);
    let asked: Vec<&PhotoMeasures> = asked.iter().collect();
    let template = PhotoRecord::of_measures("x.jpg", asked[0]);
    let mut state = 99 + ledger.stats().unwrap().photos;
    let start = Instant::now();
    let known = ledger.stats().unwrap().photos;
    for number in known / 1000..photos / 1000 {
        let records = (0..1000u64).map(|i| {
            let mut record = template.clone();
            record.path = format!("{i}.jpg");
            record.file_sha256 = digest(&mut state);
            record.pixel_sha256 = digest(&mut state);
            record.hash.gradient = [(); 4].map(|()| draw(&mut state));
            record.hash.cosine = [(); 4].map(|()| draw(&mut state));
            record
        });
        let job = JobRecord {
            job: format!("job {number}"),
            vendor: None,
            photos: records.collect(),
        };
        ledger.record_job(&job).unwrap();
    }
    println!(
        "{} photos recorded in {:.1} s",
        ledger.stats().unwrap().photos,
        start.elapsed().as_secs_f64()
    );
    for _ in 0..3 {
        let start = Instant::now();
        let leads = ledger.find(&asked, None).unwrap();
        println!(
            "300 photos searched in {:.2} s, {} leads, {}",
            start.elapsed().as_secs_f64(),
            leads.len(),
            peak_memory()
        );
    }
}
