//! Seeded mutations of files, and what a run of them costs.

#![allow(clippy::unwrap_used, dead_code)]

#[path = "memory.rs"]
mod memory;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// Containers that are known by their content, and the endings of their files.
const CONTAINERS: [(&str, &[&str]); 8] = [
    ("JPEG", &["jpg", "jpeg"]),
    ("PNG", &["png"]),
    ("WebP", &["webp"]),
    ("TIFF", &["tif", "tiff"]),
    ("GIF", &["gif"]),
    ("BMP", &["bmp"]),
    ("HEIC", &["heic", "heif"]),
    ("AVIF", &["avif"]),
];

/// The containers with their numbers, or the one that `PHOTOPROOF_MUTATE_CONTAINER` names.
pub(crate) fn containers() -> impl Iterator<Item = (usize, (&'static str, &'static [&'static str]))>
{
    let named = std::env::var("PHOTOPROOF_MUTATE_CONTAINER").ok();
    CONTAINERS
        .into_iter()
        .enumerate()
        .filter(move |(_, (name, _))| named.as_deref().is_none_or(|named| named == *name))
}

/// A reproducible sequence (xorshift, Marsaglia 2003).
pub(crate) struct Random(pub(crate) u64);

impl Random {
    pub(crate) fn below(&mut self, bound: usize) -> usize {
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

/// One to three changes.
pub(crate) fn mutate(whole: &[u8], random: &mut Random) -> Vec<u8> {
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

/// The mutations that are asked for by `PHOTOPROOF_MUTATIONS`.
pub(crate) fn asked() -> Option<usize> {
    std::env::var("PHOTOPROOF_MUTATIONS").ok()?.parse().ok()
}

pub(crate) fn rounds() -> usize {
    asked().unwrap_or(100)
}

/// The folder of the pictures to mutate: `PHOTOPROOF_MUTATE_FILES`, or the fixtures.
pub(crate) fn pictures() -> PathBuf {
    let named = std::env::var_os("PHOTOPROOF_MUTATE_FILES");
    named.map_or_else(|| fixtures("hostile"), PathBuf::from)
}

/// Processor time of this process, all threads (proc(5): fields 14 and 15, hundredths of a second).
pub(crate) fn processor_time() -> Option<Duration> {
    let stat = std::fs::read_to_string("/proc/self/stat").ok()?;
    let mut fields = stat.rsplit_once(')')?.1.split_whitespace().skip(11);
    let mut ticks = || fields.next()?.parse::<u64>().ok();
    Some(Duration::from_millis(10 * (ticks()? + ticks()?)))
}

/// The most memory this process has held, MiB.
pub(crate) fn peak() -> u64 {
    memory::peak_of("self").unwrap_or(0)
}

pub(crate) fn fixtures(folder: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../fixtures")
        .join(folder)
}

/// Files below a folder, by extension.
pub(crate) fn files(folder: &Path, extensions: &[&str]) -> Vec<(String, Vec<u8>)> {
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
