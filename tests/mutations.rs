//! Seeded mutations of every kind of file that strangers send, through the bodies of the fuzz targets:
//! no panic, and no file over the time bound.
//!
//! `PHOTOPROOF_MUTATIONS=10000 cargo test --test mutations -- --nocapture` makes so many of every seed file;
//! `PHOTOPROOF_MUTATE_FILES=DIR` takes the pictures of another folder as seeds, the mutations spread over them.
//! A case that fails is kept in `target/mutations`, to become a fixture.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::print_stdout,
    dead_code
)]

#[path = "../fuzz/bodies.rs"]
mod bodies;
#[path = "support/mutate.rs"]
mod mutate;

use std::path::Path;
use std::time::{Duration, Instant};

use bodies::seeds;
use mutate::{Random, files, mutate, peak, processor_time, rounds};

/// Time for one file. The project's bound is 5 s on an idle machine.
const BOUND: Duration = Duration::from_secs(5);

/// Runs `count` mutations of a seed through a target; the slowest time and what failed.
fn feed(target: bodies::Target, seed: (&str, &[u8]), count: usize) -> (Duration, Vec<String>) {
    let (name, body) = target;
    let number = seed.0.bytes().fold(7_u64, |sum, byte| {
        sum.wrapping_mul(31).wrapping_add(byte.into())
    });
    let mut random = Random(0x9E37_79B9_7F4A_7C15 ^ number);
    let mut slowest = Duration::ZERO;
    let mut failed = Vec::new();
    for round in 0..count {
        let bytes = if round == 0 {
            seed.1.to_vec()
        } else {
            mutate(seed.1, &mut random)
        };
        let before = processor_time().unwrap_or_default();
        let start = Instant::now();
        let panicked = std::panic::catch_unwind(|| body(&bytes)).is_err();
        let took = start.elapsed();
        slowest = slowest.max(took);
        // A run at low priority waits for others; only its own work counts then.
        let worked = processor_time().map_or(took, |now| now.saturating_sub(before));
        if panicked || took.min(worked) > BOUND {
            let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../target/mutations");
            std::fs::create_dir_all(&folder).unwrap();
            let kept = format!("{name}-{round}-{}", seed.0.replace('/', "-"));
            std::fs::write(folder.join(&kept), &bytes).unwrap();
            failed.push(format!("{kept}: panicked {panicked}, took {took:?}"));
        }
    }
    (slowest, failed)
}

fn run(target: &str, seeds: &[(String, Vec<u8>)], count: usize) {
    let target = *bodies::TARGETS
        .iter()
        .find(|(name, _)| *name == target)
        .unwrap();
    let mut wrong = Vec::new();
    let mut slowest = (Duration::ZERO, "");
    for (name, bytes) in seeds {
        let (took, failed) = feed(target, (name, bytes), count);
        slowest = slowest.max((took, name));
        wrong.extend(failed);
    }
    let (took, file) = slowest;
    println!(
        "{}: {} seeds, {count} each, slowest {took:.0?} ({file}), peak {} MiB",
        target.0,
        seeds.len(),
        peak()
    );
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn pictures() {
    let count = mutate::asked();
    for (_, (container, endings)) in mutate::containers() {
        // Every container gets the asked number of mutations, divided among its files.
        let seeds = files(&mutate::pictures(), endings);
        if std::env::var_os("PHOTOPROOF_MUTATE_FILES").is_none() {
            assert!(!seeds.is_empty(), "{container}");
        }
        print!("{container}: ");
        let each = count.map_or(100, |count| count.div_ceil(seeds.len().max(1)) + 1);
        run("decode", &seeds, each);
    }
}

/// Files on which reading took longest: pictures full of lines that look like print.
#[test]
fn the_slowest_files_stay_within_the_bound() {
    let seeds = files(&mutate::fixtures("slow"), &["jpg"]);
    assert!(!seeds.is_empty());
    run("decode", &seeds, 1);
}

/// The seeds that the fuzz targets start from.
fn run_seeds(target: &str, count: usize) {
    let seeds = seeds::of(target);
    assert!(!seeds.is_empty(), "{target}");
    run(target, &seeds, count);
}

#[test]
fn metadata() {
    run_seeds("exif", 3 * rounds());
    run_seeds("xmp", 3 * rounds());
}

#[test]
fn texts() {
    run_seeds("job_sheet", rounds());
    run_seeds("waivers", 3 * rounds());
    run_seeds("photos_csv", 3 * rounds());
}

#[test]
fn stamps() {
    run_seeds("stamp", rounds());
}

#[test]
fn containers() {
    run_seeds("ledger_file", 2 * rounds());
    run_seeds("cache_entry", 2 * rounds());
    run_seeds("zip", 2 * rounds());
}

/// The fuzz targets are seldom built; that each seed is what its target takes is told here.
#[test]
fn every_target_has_seeds_that_it_accepts() {
    for (name, body) in bodies::TARGETS {
        for (seed, bytes) in seeds::of(name) {
            assert!(!bytes.is_empty(), "{name}: {seed}");
            body(&bytes);
        }
    }
    let entry = &seeds::of("cache_entry")[0].1;
    let content = &entry[6..];
    let again = photoproof_core::cache::trial::measures(content);
    assert_eq!(again.as_deref(), Some(content), "real measures are decoded");
    let good = |bytes: &[u8]| {
        let text = std::str::from_utf8(bytes).unwrap();
        let path = seeds::fixtures("job-sheets/good/job.toml");
        photoproof_core::job::JobSheet::parse(text, &path).is_ok()
    };
    let sheets = seeds::of("job_sheet");
    assert!(sheets.iter().filter(|(_, bytes)| good(bytes)).count() >= 3);
    let waivers = String::from_utf8(seeds::of("waivers")[0].1.clone()).unwrap();
    let read = photoproof_core::judge::WaiverSet::parse(&waivers, Path::new("w.toml"));
    assert_eq!(read.unwrap().waivers.len(), 2);
}
