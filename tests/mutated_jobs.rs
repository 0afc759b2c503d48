//! Jobs made of mutated pictures, from the folder to the report: every file is accounted for, once,
//! and within bounds of time and memory.
//!
//! `PHOTOPROOF_MUTATIONS` and `PHOTOPROOF_MUTATE_FILES` as in `tests/mutations.rs`: so many files of every container, or
//! of the one that `PHOTOPROOF_MUTATE_CONTAINER` names (`WebP`).

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::print_stdout)]

#[path = "support/mutate.rs"]
mod mutate;

use std::collections::BTreeMap;
use std::path::Path;
use std::time::{Duration, Instant};

use mutate::{Random, files, mutate, peak, pictures, processor_time};
use photoproof_core::ingest::{IngestOptions, read_photo};
use photoproof_core::pipeline::{self, Options};
use photoproof_core::report::build;

/// Files of one job.
const FILES: usize = 20;

/// Files of every container where no count is asked for.
const USUAL: usize = 300;

/// The project's bound for one file.
const BOUND: Duration = Duration::from_secs(5);

/// The project's bound for all memory of the program, MiB.
const MEMORY: u64 = 512;

/// What became of the files.
#[derive(Debug, Default)]
struct Count {
    photos: usize,
    unreadable: usize,
    ignored: usize,
    slowest: Duration,
}

/// Writes one job and returns the names of its files.
fn job(
    folder: &Path,
    seeds: &[(String, Vec<u8>)],
    from: usize,
    random: &mut Random,
) -> Vec<String> {
    let mut names = Vec::new();
    for index in from..from + FILES {
        let (name, bytes) = &seeds[index % seeds.len()];
        let ending = name.rsplit('.').next().unwrap();
        let phase = ["before", "after"][index % 2];
        let path = format!("Kitchen/{phase}/{index:05}.{ending}");
        std::fs::create_dir_all(folder.join("Kitchen").join(phase)).unwrap();
        std::fs::write(folder.join(&path), mutate(bytes, random)).unwrap();
        names.push(path);
    }
    names.sort();
    names
}

/// Checks one job: each file stands in one list of the report, and each unreadable one in a finding.
fn check(folder: &Path, names: &[String], count: &mut Count) {
    let result = pipeline::run(folder, None, &Options::default(), None, &|_| {}).unwrap();
    let report = build::report(&result, "mutated");
    let mut told: Vec<&str> = report
        .photos
        .iter()
        .map(|photo| photo.path.as_str())
        .collect();
    let lists = [&report.unreadable, &report.ignored];
    for file in lists.into_iter().flatten() {
        assert!(!file.reason.is_empty(), "{}: a refusal says why", file.path);
        told.push(&file.path);
    }
    told.sort_unstable();
    assert_eq!(told, names, "every file stands in the report, once");
    for file in &report.unreadable {
        let named = |finding: &&photoproof_core::report::v1::Finding| {
            finding.check == "unreadable-photo" && finding.photos.contains(&file.path)
        };
        assert!(
            report.findings.iter().any(|finding| named(&finding)),
            "{} has no finding",
            file.path
        );
    }
    count.photos += report.photos.len();
    count.unreadable += report.unreadable.len();
    count.ignored += report.ignored.len();
}

/// Time of `work`. A run at low priority waits for others; only its own work counts then.
fn timed(work: impl FnOnce()) -> Duration {
    let (before, start) = (processor_time().unwrap_or_default(), Instant::now());
    work();
    let took = start.elapsed();
    processor_time().map_or(took, |now| took.min(now.saturating_sub(before)))
}

/// The slowest of the files, each read by itself; the same for a job that took no longer than one file may.
fn slowest(folder: &Path, names: &[String], job: Duration) -> Duration {
    if job <= BOUND {
        return job;
    }
    let time = |name: &String| {
        timed(|| {
            let _ = read_photo(&folder.join(name), name, &IngestOptions::default());
        })
    };
    names.iter().map(time).max().unwrap_or_default()
}

#[test]
fn every_mutated_picture_is_accounted_for_in_the_report() {
    let asked = mutate::asked().unwrap_or(USUAL);
    let mut counts = BTreeMap::new();
    for (number, (container, endings)) in mutate::containers() {
        let seeds = files(&pictures(), endings);
        let mut random = Random(0x9E37_79B9_7F4A_7C15 ^ (number as u64 + 1));
        let mut count = Count::default();
        for from in (0..asked).step_by(FILES) {
            if seeds.is_empty() {
                break;
            }
            let folder = tempfile::tempdir().unwrap();
            let names = job(folder.path(), &seeds, from, &mut random);
            let took = timed(|| check(folder.path(), &names, &mut count));
            let took = slowest(folder.path(), &names, took);
            assert!(took < BOUND, "a file of {names:?} took {took:?}");
            count.slowest = count.slowest.max(took);
        }
        println!("{container}: {count:?}, peak {} MiB", peak());
        counts.insert(container, count);
    }
    if std::env::var_os("PHOTOPROOF_MUTATE_FILES").is_none() {
        assert!(peak() < MEMORY, "{} MiB", peak());
        for (container, count) in &counts {
            assert_eq!(count.ignored, 0, "{container}: pictures by name");
            // Both answers occur, so neither is the answer to everything.
            let readable = ["JPEG", "PNG", "WebP", "TIFF"].contains(container);
            assert_eq!(count.photos > 0, readable, "{container}");
            assert!(count.unreadable > 0, "{container}");
        }
    }
}
