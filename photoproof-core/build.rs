//! Names the version of what is measured by the source text that measures it, so that nobody can forget to raise it.

use std::collections::hash_map::DefaultHasher;
use std::hash::Hasher;
use std::path::{Path, PathBuf};

/// What the measures of photos and pairs are made by.
const MEASURES: [&str; 5] = [
    "src/ingest",
    "src/measure",
    "src/thumbnail.rs",
    "src/grid.rs",
    "../Cargo.lock",
];

fn main() {
    // Another decoder, other pixels.
    let decoder = std::env::var_os("CARGO_FEATURE_FAST_JPEG").map_or("", |_| "-fast-jpeg");
    println!(
        "cargo:rustc-env=PHOTOPROOF_MEASURES={}{decoder}",
        digest(&MEASURES)
    );
    println!(
        "cargo:rustc-env=PHOTOPROOF_SOURCES={}",
        digest(&["src", "../Cargo.lock"])
    );
}

/// A digest of the names and contents of all files below `places`; places that do not exist are left out.
fn digest(places: &[&str]) -> String {
    let mut files = Vec::new();
    for place in places {
        let place = Path::new(place);
        // A packaged crate has no lock file beside it.
        if place.exists() {
            println!("cargo:rerun-if-changed={}", place.display());
            list(place, &mut files);
        }
    }
    files.sort();
    let mut hasher = DefaultHasher::new();
    for file in files {
        hasher.write(file.to_string_lossy().as_bytes());
        hasher.write(&std::fs::read(&file).unwrap_or_default());
    }
    format!("{:016x}", hasher.finish())
}

fn list(place: &Path, files: &mut Vec<PathBuf>) {
    match std::fs::read_dir(place) {
        Ok(entries) => {
            for entry in entries.flatten() {
                list(&entry.path(), files);
            }
        }
        Err(_) if place.is_file() => files.push(place.to_path_buf()),
        Err(_) => {}
    }
}
