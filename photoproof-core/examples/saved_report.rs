//! Traces of an earlier saving in photos that were saved once, twice, and twice with a part put in between: one table.
//!
//! `cargo run --release -p photoproof-core --example saved_report -- FOLDER...`
//! Every photo is reduced first (by 0.9, 0.75 or 0.6 of its sides), which takes away the traces that it comes with. The part
//! is another place of the same photo, a quarter of its width by 15 % of its height.
#![allow(clippy::unwrap_used, clippy::print_stdout, clippy::expect_used)]

use std::path::{Path, PathBuf};

use image::codecs::jpeg::JpegEncoder;
use image::{RgbImage, imageops};
use photoproof_core::ingest::{EarlierSave, IngestOptions, NewerPart, read_photo_bytes};
use rayon::prelude::*;

/// Qualities of the first and of the last saving.
const SAVED: [[u8; 2]; 5] = [[70, 88], [75, 90], [85, 95], [90, 98], [90, 75]];

fn jpeg(picture: &RgbImage, quality: u8) -> Vec<u8> {
    let mut bytes = Vec::new();
    let encoder = JpegEncoder::new_with_quality(&mut bytes, quality);
    picture.write_with_encoder(encoder).unwrap();
    bytes
}

fn again(bytes: &[u8]) -> RgbImage {
    image::load_from_memory(bytes).unwrap().to_rgb8()
}

fn look(bytes: &[u8]) -> Option<EarlierSave> {
    let read = read_photo_bytes(bytes, "photo.jpg", &IngestOptions::default());
    read.expect("a photo").1.earlier
}

/// Left, top, right and bottom of the part that is put in, shares of the picture.
const PART: [f64; 4] = [0.5, 0.4, 0.75, 0.55];

fn with_part(fresh: &RgbImage, saved: &mut RgbImage) {
    let side = |share: f64, of: u32| (share * f64::from(of)) as u32;
    let (width, height) = fresh.dimensions();
    let [left, top, right, bottom] = PART;
    let (x, y) = (side(left, width), side(top, height));
    let size = (side(right, width) - x, side(bottom, height) - y);
    let (from_x, from_y) = (side(0.11, width), side(0.63, height));
    let part = imageops::crop_imm(fresh, from_x, from_y, size.0, size.1).to_image();
    imageops::replace(saved, &part, i64::from(x), i64::from(y));
}

/// Whether a part found lies mostly where one was put.
fn is_there(part: &NewerPart) -> bool {
    let part = part.frame;
    let common =
        |from: usize, to: usize| (part[to].min(PART[to]) - part[from].max(PART[from])).max(0.0);
    common(0, 2) * common(1, 3) > 0.5 * (part[2] - part[0]) * (part[3] - part[1])
}

/// Counts of one row.
#[derive(Default, Clone, Copy)]
struct Row {
    photos: usize,
    once: usize,
    twice: usize,
    quality: usize,
    false_parts: usize,
    patched: usize,
    parts: usize,
}

fn row(file: &Path, scale: f64, [first, last]: [u8; 2]) -> Row {
    let picture = image::open(file).unwrap().to_rgb8();
    let side = |of: u32| (f64::from(of) * scale) as u32;
    let (width, height) = (side(picture.width()), side(picture.height()));
    let fresh = imageops::resize(&picture, width, height, imageops::FilterType::Lanczos3);
    let once = look(&jpeg(&fresh, last));
    let mut saved = again(&jpeg(&fresh, first));
    let twice = look(&jpeg(&saved, last));
    with_part(&fresh, &mut saved);
    let patched = look(&jpeg(&saved, last));
    let near = |earlier: &EarlierSave| earlier.quality.abs_diff(first) <= 3;
    let parts = |earlier: &Option<EarlierSave>| {
        earlier
            .as_ref()
            .map_or(Vec::new(), |earlier| earlier.newer_parts.clone())
    };
    Row {
        photos: 1,
        once: usize::from(once.is_some()),
        twice: usize::from(twice.is_some()),
        quality: usize::from(twice.as_ref().is_some_and(near)),
        false_parts: usize::from(!parts(&once).is_empty() || !parts(&twice).is_empty()),
        patched: usize::from(patched.is_some()),
        parts: usize::from(parts(&patched).iter().any(is_there)),
    }
}

fn main() {
    let mut files: Vec<PathBuf> = std::env::args()
        .skip(1)
        .flat_map(|folder| std::fs::read_dir(folder).expect("a folder of photos"))
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|extension| extension == "jpg"))
        .filter(|path| image::open(path).is_ok())
        .collect();
    files.sort();
    println!("first last  photos  once  twice  quality  false part  part put in, found");
    for saved in SAVED {
        let rows = files.par_iter().enumerate();
        let rows = rows.map(|(i, file)| row(file, [0.9, 0.75, 0.6][i % 3], saved));
        let sum = rows.reduce(Row::default, |a, b| Row {
            photos: a.photos + b.photos,
            once: a.once + b.once,
            twice: a.twice + b.twice,
            quality: a.quality + b.quality,
            false_parts: a.false_parts + b.false_parts,
            patched: a.patched + b.patched,
            parts: a.parts + b.parts,
        });
        println!(
            "{:5} {:4} {:7} {:5} {:6} {:8} {:11} {:12}, {:5}",
            saved[0],
            saved[1],
            sum.photos,
            sum.once,
            sum.twice,
            sum.quality,
            sum.false_parts,
            sum.patched,
            sum.parts
        );
    }
}
