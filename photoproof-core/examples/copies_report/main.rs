//! Copies found and false copies over edited room photos: one table.
//!
//! `cargo run --release -p photoproof-core --example copies_report -- [--explain] [--limit N] FOLDER...`
//! Every folder holds photos of different views; `ground_truth.jsonl` beside them gives depth for honest
//! second exposures.
#![allow(
    clippy::unwrap_used,
    clippy::print_stdout,
    clippy::print_stderr,
    clippy::expect_used
)]

mod edits;

use std::path::{Path, PathBuf};

use image::{RgbImage, imageops};
use photoproof_core::ingest::Pixels;
use photoproof_core::ingest::pixels::WORKING_LONG_SIDE;
use photoproof_core::measure::{PhotoMeasures, measure_pixels};
use rayon::prelude::*;

use edits::{Draw, EDITS};

fn measured(picture: RgbImage, name: &str) -> PhotoMeasures {
    let (width, height) = picture.dimensions();
    let scale = f64::from(WORKING_LONG_SIDE) / f64::from(width.max(height));
    let reduced = if scale < 1.0 {
        let side = |v: u32| (f64::from(v) * scale).round() as u32;
        imageops::resize(
            &picture,
            side(width),
            side(height),
            imageops::FilterType::Triangle,
        )
    } else {
        picture
    };
    measure_pixels(name.to_owned(), &Pixels::new(reduced, width, height))
}

struct Source {
    path: PathBuf,
    picture: RgbImage,
    depth: Vec<Vec<f32>>,
}

fn sources(folders: &[String], limit: usize) -> Vec<Source> {
    let mut all = Vec::new();
    for folder in folders {
        let truth = std::fs::read_to_string(Path::new(folder).join("ground_truth.jsonl"))
            .unwrap_or_default();
        let rows: Vec<serde_json::Value> = truth
            .lines()
            .filter_map(|l| serde_json::from_str(l).ok())
            .collect();
        let mut files: Vec<PathBuf> = std::fs::read_dir(folder)
            .expect("a folder of photos")
            .map(|e| e.unwrap().path())
            .collect();
        files.retain(|p| p.extension().is_some_and(|e| e == "jpg"));
        files.sort();
        for path in files {
            let name = path.file_name().unwrap().to_string_lossy().into_owned();
            let row = rows.iter().find(|r| r["file"] == name.as_str());
            let depth = row.and_then(|r| serde_json::from_value(r["depth_grid_8x6"].clone()).ok());
            let Ok(picture) = image::open(&path) else {
                continue;
            };
            all.push(Source {
                path,
                picture: picture.to_rgb8(),
                depth: depth.unwrap_or_else(|| vec![vec![3.0, 4.0], vec![1.5, 2.5]]),
            });
        }
    }
    let step = (all.len() as f64 / limit as f64).max(1.0);
    let mut kept = 0.0;
    let mut i = 0.0;
    all.retain(|_| {
        let keep = i >= kept;
        if keep {
            kept += step;
        }
        i += 1.0;
        keep
    });
    all
}

impl Source {
    fn depth_at(&self, u: f32, v: f32) -> f32 {
        let (rows, columns) = (self.depth.len(), self.depth[0].len());
        let (x, y) = (
            (u * columns as f32 - 0.5).clamp(0.0, columns as f32 - 1.001),
            (v * rows as f32 - 0.5).clamp(0.0, rows as f32 - 1.001),
        );
        let (i, j) = (x as usize, y as usize);
        let (fx, fy) = (x - i as f32, y - j as f32);
        let d = |dx: usize, dy: usize| self.depth[j + dy][i + dx];
        (d(0, 0) * (1.0 - fx) + d(1, 0) * fx) * (1.0 - fy)
            + (d(0, 1) * (1.0 - fx) + d(1, 1) * fx) * fy
    }
    fn name(&self) -> String {
        self.path
            .file_stem()
            .unwrap()
            .to_string_lossy()
            .into_owned()
    }
}

fn explain(sources: &[Source]) {
    let show = |kind: &str, name: &str, a: &PhotoMeasures, b: &PhotoMeasures| {
        for line in photoproof_core::measure::copy::explain_pair(a, b) {
            println!("{kind}|{name}|{line}");
        }
    };
    let originals: Vec<PhotoMeasures> = sources
        .par_iter()
        .map(|s| measured(s.picture.clone(), &s.name()))
        .collect();
    sources
        .par_iter()
        .zip(&originals)
        .enumerate()
        .for_each(|(i, (source, original))| {
            for (kind, _, edit) in EDITS {
                let mut draw = Draw(i as u64 * 977 + 5);
                let edited = measured(edit(&source.picture, &mut draw), "edited");
                show(kind, &source.name(), original, &edited);
            }
            for (kind, hand_held) in [("HONEST burst", true), ("HONEST tripod", false)] {
                let mut draw = Draw(i as u64 * 31 + 7);
                let [a, b] = edits::exposures(
                    &source.picture,
                    &|u, v| source.depth_at(u, v),
                    hand_held,
                    &mut draw,
                );
                show(kind, &source.name(), &measured(a, "a"), &measured(b, "b"));
            }
            for (other, measures) in sources.iter().zip(&originals).skip(i + 1) {
                let room = |s: &Source| s.name().split('_').skip(1).take(1).collect::<String>();
                let view = |s: &Source| s.name().split('_').skip(1).take(3).collect::<String>();
                if room(source) == room(other) && source.path.parent() == other.path.parent() {
                    let kind = if view(source) == view(other) {
                        "HONEST same view"
                    } else {
                        "HONEST same room"
                    };
                    show(
                        kind,
                        &format!("{} {}", source.name(), other.name()),
                        original,
                        measures,
                    );
                }
            }
        });
}

fn main() {
    let mut arguments: Vec<String> = std::env::args().skip(1).collect();
    let mut limit = usize::MAX;
    if let Some(at) = arguments.iter().position(|a| a == "--limit") {
        limit = arguments[at + 1].parse().expect("--limit N");
        arguments.drain(at..at + 2);
    }
    let explaining = arguments.iter().any(|a| a == "--explain");
    arguments.retain(|a| a != "--explain");
    let sources = sources(&arguments, limit);
    if explaining {
        explain(&sources);
    }
}
