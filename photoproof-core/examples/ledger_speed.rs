//! Time and memory of searches in a synthetic ledger, and of recording a job in it. Run it for two sizes.
//!
//! `cargo run --release -p photoproof-core --example ledger_speed -- PHOTOS [FILE|URL]`
//!
//! Fills the ledger up to PHOTOS entries with random hashes and digests, then searches and records. A ledger that is
//! filled already is used as it is. URLs need the feature `postgres`.
#![allow(clippy::unwrap_used, clippy::print_stdout, clippy::expect_used)]

use std::time::Instant;

use photoproof_core::ingest::Pixels;
use photoproof_core::ledger::{CompactFeatures, JobRecord, Ledger, PhotoRecord, open};
use photoproof_core::measure::{PhotoMeasures, Shelf, measure_pixels};

/// Photos of one synthetic job.
const JOB: u64 = 250;

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

/// A job of random photos with as many bytes of keypoints as asked for.
fn job(number: u64, photos: u64, keypoints: usize) -> JobRecord {
    let mut state = number.wrapping_mul(6_364_136_223_846_793_005) | 1;
    let any = asked(1);
    let template = PhotoRecord::of_measures("x.jpg", &any[0]);
    let photos = (0..photos).map(|i| {
        let mut record = template.clone();
        record.path = format!("{i}.jpg");
        record.file_sha256 = digest(&mut state);
        record.pixel_sha256 = digest(&mut state);
        record.hash.gradient = [(); 4].map(|()| draw(&mut state));
        record.hash.cosine = [(); 4].map(|()| draw(&mut state));
        let bytes = (0..keypoints * 12 + 4).map(|_| draw(&mut state) as u8);
        record.features = CompactFeatures::from_bytes(&bytes.collect::<Vec<u8>>());
        record
    });
    JobRecord {
        job: format!("job {number}"),
        vendor: None,
        photos: photos.collect(),
    }
}

fn peak_memory() -> String {
    std::fs::read_to_string("/proc/self/status")
        .unwrap_or_default()
        .lines()
        .find_map(|line| line.strip_prefix("VmHWM:"))
        .map_or_else(|| "unknown".to_owned(), |text| text.trim().to_owned())
}

/// Processor time of this process, seconds; Linux counts it in hundredths.
fn processor_seconds() -> f64 {
    let text = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    let fields = text.rsplit(") ").next().unwrap_or_default().split(' ');
    let ticks = fields
        .skip(11)
        .take(2)
        .filter_map(|f| f.parse::<f64>().ok());
    ticks.sum::<f64>() / 100.0
}

fn timed<T>(what: &str, work: impl FnOnce() -> T) -> T {
    let (start, before) = (Instant::now(), processor_seconds());
    let done = work();
    println!(
        "{what}: {:.2} s, {:.2} s of processor time, peak memory {}",
        start.elapsed().as_secs_f64(),
        processor_seconds() - before,
        peak_memory()
    );
    done
}

fn fill(ledger: &mut dyn Ledger, photos: u64) {
    let known = ledger.stats().unwrap().photos;
    let start = Instant::now();
    for number in known / JOB..photos / JOB {
        ledger.record_job(&job(number, JOB, 64)).unwrap();
    }
    let stats = ledger.stats().unwrap();
    println!(
        "{} photos, {} bytes; filling took {:.0} s",
        stats.photos,
        stats.bytes,
        start.elapsed().as_secs_f64()
    );
}

fn main() {
    let mut arguments = std::env::args().skip(1);
    let photos = arguments.next().expect("number of photos");
    let folder = tempfile::tempdir().unwrap();
    let location = arguments
        .next()
        .unwrap_or_else(|| folder.path().join("used.db").to_string_lossy().into_owned());
    let mut ledger = open(&location).unwrap();
    fill(&mut *ledger, photos.parse().expect("a number"));
    let asked = asked(300);
    let one: Shelf = asked.iter().take(1).collect();
    let asked: Shelf = asked.into_iter().collect();
    for _ in 0..3 {
        timed("1 photo searched", || ledger.find(&one, None).unwrap());
    }
    for _ in 0..3 {
        let leads = timed("300 photos searched", || ledger.find(&asked, None).unwrap());
        assert!(leads.is_empty(), "random hashes are nowhere near");
    }
    for number in 0..3 {
        let job = job(u64::MAX / 2 + number, 300, 160);
        timed("300 photos recorded", || ledger.record_job(&job).unwrap());
        ledger.remove_job(&job.job).unwrap();
    }
}
