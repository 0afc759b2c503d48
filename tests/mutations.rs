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
#[path = "support/zip_bytes.rs"]
mod zip_bytes;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

/// Time for one file. The project's bound is 5 s on an idle machine.
const BOUND: Duration = Duration::from_secs(5);

/// A reproducible sequence (xorshift, Marsaglia 2003).
struct Random(u64);

impl Random {
    fn below(&mut self, bound: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        usize::try_from(self.0 % bound.max(1) as u64).unwrap()
    }
}

/// Values that sizes, counts and offsets go wrong at.
const EDGES: [u32; 10] = [
    0,
    1,
    0x7F,
    0x80,
    0xFF,
    0x7FFF,
    0xFFFF,
    0x7FFF_FFFF,
    0x8000_0000,
    u32::MAX,
];

fn mutate(whole: &[u8], random: &mut Random) -> Vec<u8> {
    let mut bytes = whole.to_vec();
    for _ in 0..=random.below(3) {
        if bytes.is_empty() {
            return bytes;
        }
        let at = random.below(bytes.len());
        // Most structure stands at the start.
        let early = random.below(bytes.len().min(1200));
        match random.below(8) {
            0 => bytes.truncate(at),
            1 => bytes[at] ^= 1 << random.below(8),
            2 => bytes[early] = u8::try_from(random.below(256)).unwrap(),
            3 => {
                let end = (at + random.below(64)).min(bytes.len());
                bytes[at..end].fill([0x00, 0xFF, 0x7F][random.below(3)]);
            }
            4 => {
                let value = EDGES[random.below(EDGES.len())].to_be_bytes();
                let end = (early + 4).min(bytes.len());
                bytes[early..end].copy_from_slice(&value[4 - (end - early)..]);
            }
            5 => {
                let value = EDGES[random.below(EDGES.len())].to_le_bytes();
                let end = (early + 4).min(bytes.len());
                bytes[early..end].copy_from_slice(&value[..end - early]);
            }
            6 => {
                let end = (at + random.below(400)).min(bytes.len());
                let piece = bytes[at..end].to_vec();
                let to = random.below(bytes.len());
                bytes.splice(to..to, piece);
            }
            _ => {
                let end = (at + random.below(400)).min(bytes.len());
                bytes.drain(at..end);
            }
        }
    }
    bytes
}

fn rounds() -> usize {
    let asked = std::env::var("PHOTOPROOF_MUTATIONS").ok();
    asked.and_then(|text| text.parse().ok()).unwrap_or(100)
}

/// Processor time of this process, all threads (proc(5): fields 14 and 15, hundredths of a second).
fn processor_time() -> Option<Duration> {
    let stat = std::fs::read_to_string("/proc/self/stat").ok()?;
    let mut fields = stat.rsplit_once(')')?.1.split_whitespace().skip(11);
    let mut ticks = || fields.next()?.parse::<u64>().ok();
    Some(Duration::from_millis(10 * (ticks()? + ticks()?)))
}

/// The most memory this process has held, MiB.
fn peak() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    let kib = line.and_then(|line| line.trim().split(' ').next()?.parse::<u64>().ok());
    kib.unwrap_or(0) / 1024
}

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

fn fixtures(folder: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../fixtures")
        .join(folder)
}

/// Files below a folder, by extension.
fn files(folder: &Path, extensions: &[&str]) -> Vec<(String, Vec<u8>)> {
    let mut found = BTreeMap::new();
    for entry in walkdir::WalkDir::new(folder).into_iter().flatten() {
        let extension = entry
            .path()
            .extension()
            .map(|e| e.to_string_lossy().to_lowercase());
        if entry.file_type().is_file()
            && extension.is_some_and(|e| extensions.contains(&e.as_str()))
        {
            let name = entry
                .path()
                .strip_prefix(folder)
                .unwrap()
                .to_string_lossy()
                .into_owned();
            found.insert(name, std::fs::read(entry.path()).unwrap());
        }
    }
    found.into_iter().collect()
}

const PICTURES: [&str; 9] = [
    "jpg", "jpeg", "png", "webp", "tif", "tiff", "gif", "heic", "avif",
];

#[test]
fn pictures() {
    match std::env::var_os("PHOTOPROOF_MUTATE_FILES") {
        // Every container gets the asked number of mutations, divided among its files.
        Some(folder) => {
            let seeds = files(Path::new(&folder), &PICTURES);
            for container in [
                &["jpg", "jpeg"][..],
                &["png"],
                &["webp"],
                &["tif", "tiff"],
                &["gif"],
                &["heic"],
                &["avif"],
            ] {
                let named = |name: &str| {
                    container
                        .iter()
                        .any(|end| name.to_lowercase().ends_with(end))
                };
                let some: Vec<_> = seeds
                    .iter()
                    .filter(|(name, _)| named(name))
                    .cloned()
                    .collect();
                println!("{}", container[0]);
                run("decode", &some, rounds().div_ceil(some.len().max(1)) + 1);
            }
        }
        None => {
            let seeds = files(&fixtures("hostile"), &PICTURES);
            assert!(seeds.len() >= 17);
            run("decode", &seeds, rounds());
        }
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
