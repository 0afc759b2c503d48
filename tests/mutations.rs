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
#[path = "support/zip_bytes.rs"]
mod zip_bytes;

use std::path::Path;
use std::time::{Duration, Instant};

use mutate::{Random, files, fixtures, mutate, peak, processor_time, rounds};

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
    for (container, endings) in mutate::CONTAINERS {
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

/// An Exif block that names a time, a place and a camera: the one of the fixture.
fn exif_seed() -> Vec<u8> {
    let photo = std::fs::read(fixtures("hostile").join("baseline.jpg")).unwrap();
    let at = photo.windows(6).position(|six| six == b"Exif\0\0").unwrap();
    let length = usize::from(u16::from_be_bytes([photo[at - 2], photo[at - 1]]));
    photo[at + 6..at - 2 + length].to_vec()
}

#[test]
fn metadata() {
    run("exif", &[("block".to_owned(), exif_seed())], 3 * rounds());
    let packet = br#"<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
<rdf:Description rdf:about="" xmlns:exif="http://ns.adobe.com/exif/1.0/" xmlns:xmp="http://ns.adobe.com/xap/1.0/"
 exif:DateTimeOriginal="2026-03-02T14:15:02.25-06:00" xmp:CreatorTool="Example &amp; Co"><exif:GPSLatitude>41,34.872N</exif:GPSLatitude>
</rdf:Description></rdf:RDF></x:xmpmeta>"#;
    run(
        "xmp",
        &[("packet".to_owned(), packet.to_vec())],
        3 * rounds(),
    );
}

#[test]
fn texts() {
    let sheets = files(&fixtures("job-sheets"), &["toml"]);
    assert!(!sheets.is_empty());
    run("job_sheet", &sheets, rounds());
    let waivers = b"[[waiver]]\ncheck = \"missing-after\"\narea = \"Kitchen\"\nby = \"R. Example\"\nreason = \"locked\"\nuntil = 2026-04-01\n";
    run(
        "waivers",
        &[("waivers".to_owned(), waivers.to_vec())],
        3 * rounds(),
    );
    let table = b"\xEF\xBB\xBFfile,area,phase,caption,view\r\na.jpg,Kitchen,before,\"sink, left\",corner-2\r\nb.jpg;x;;\r\n../c.jpg,,after\r\n";
    run(
        "photos_csv",
        &[("table".to_owned(), table.to_vec())],
        3 * rounds(),
    );
}

#[test]
fn stamps() {
    let mut picture = vec![90_u8; 160 * 60];
    for x in (8..150).step_by(14) {
        for y in 30..48 {
            picture[y * 160 + x..y * 160 + x + 3].fill(250);
            picture[(29 + y % 3 * 8) * 160 + x..][..9].fill(250);
        }
    }
    run("stamp", &[("bars".to_owned(), picture)], rounds());
}

#[test]
fn containers() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("ledger.db");
    let mut ledger = photoproof_core::ledger::open(&path.to_string_lossy()).unwrap();
    let job = photoproof_core::ledger::JobRecord {
        job: "T-1".to_owned(),
        vendor: None,
        photos: Vec::new(),
    };
    ledger.record_job(&job).unwrap();
    drop(ledger);
    run(
        "ledger_file",
        &[("ledger".to_owned(), std::fs::read(&path).unwrap())],
        2 * rounds(),
    );
    let photo = std::fs::read(fixtures("hostile").join("gray.jpg")).unwrap();
    let archive = zip_bytes::archive(&[
        zip_bytes::deflated("Kitchen/before/a.jpg", &photo),
        zip_bytes::stored("Kitchen/after/b.jpg", &photo),
        zip_bytes::stored("job.toml", b"[job]\nid = \"T-1\"\n"),
    ]);
    run("zip", &[("job".to_owned(), archive)], 2 * rounds());
}
