//! Copies found and false copies over edited room photos: one table.
//!
//! `cargo run --release -p photoproof-core --example copies_report -- [--explain] [--limit N] [--pdq FILE] FOLDER...`
//! Pairs within a job are compared by pixels, those across jobs by a ledger of the originals; beside them the common
//! 64-bit hash at a distance of 10 and PDQ at 31. `--pdq` takes that hash's own test picture `aaa-orig.jpg` and says how
//! far ours is from the published value. Every folder holds photos of different views; `ground_truth.jsonl` beside them gives depth for honest
//! second exposures.
#![allow(
    clippy::unwrap_used,
    clippy::print_stdout,
    clippy::print_stderr,
    clippy::expect_used
)]

mod edits;
mod pdq;

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use image::{RgbImage, imageops};
use photoproof_core::ingest::{IngestOptions, read_photo_bytes};
use photoproof_core::ledger::{JobRecord, PhotoRecord, open};
use photoproof_core::measure::{
    CopyMeasure, PhotoMeasures, Shelf, compare_copies, find_copies, measure_pixels,
};
use rayon::prelude::*;

use edits::{Draw, EDITS, Jpeg, crop, decoded, jpeg};

fn measured(file: &[u8], name: &str) -> PhotoMeasures {
    let (_, pixels) = read_photo_bytes(file, "photo.jpg", &IngestOptions::default()).unwrap();
    measure_pixels(name.to_owned(), &pixels)
}

struct Source {
    path: PathBuf,
    file: Jpeg,
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
            let file = std::fs::read(&path).expect("a readable photo");
            let Ok(picture) = image::load_from_memory(&file) else {
                continue;
            };
            all.push(Source {
                path,
                file,
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

fn explain(sources: &[Source], only: &str) {
    let show = |kind: &str, name: &str, a: &PhotoMeasures, b: &PhotoMeasures| {
        for line in photoproof_core::measure::copy::explain_pair(a, b) {
            println!("{kind}|{name}|{line}");
        }
    };
    let originals: Vec<PhotoMeasures> = sources
        .par_iter()
        .map(|s| measured(&s.file, &s.name()))
        .collect();
    sources
        .par_iter()
        .zip(&originals)
        .enumerate()
        .for_each(|(i, (source, original))| {
            for (kind, _, edit) in EDITS
                .iter()
                .filter(|e| only.is_empty() || only.contains(e.0))
            {
                let mut draw = Draw(i as u64 * 977 + 5);
                let edited = measured(&edit(&source.picture, &mut draw), "edited");
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
                show(kind, &source.name(), &measured(&a, "a"), &measured(&b, "b"));
            }
            for (other, measures) in sources.iter().zip(&originals).skip(i + 1) {
                let room = |s: &Source| s.name().split('_').skip(1).take(1).collect::<String>();
                let view = |s: &Source| s.name().split('_').skip(1).take(3).collect::<String>();
                if only.is_empty()
                    && room(source) == room(other)
                    && source.path.parent() == other.path.parent()
                {
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

/// 64-bit hash of the cosine transform, the common baseline.
fn baseline(picture: &RgbImage) -> u64 {
    let hasher = img_hash::HasherConfig::with_bytes_type::<[u8; 8]>()
        .hash_alg(img_hash::HashAlg::Median)
        .hash_size(8, 8)
        .preproc_dct()
        .to_hasher();
    let small = imageops::resize(
        &imageops::grayscale(picture),
        64,
        64,
        imageops::FilterType::Triangle,
    );
    hasher
        .hash_image(&small)
        .as_bytes()
        .iter()
        .fold(0, |sum, b| sum << 8 | u64::from(*b))
}

struct Item {
    source: usize,
    kind: usize,
    measures: PhotoMeasures,
    hash: u64,
    pdq: pdq::Pdq,
}

fn items(sources: &[Source]) -> Vec<Item> {
    let jobs: Vec<(usize, usize)> = (0..sources.len())
        .flat_map(|s| (0..=EDITS.len()).map(move |k| (s, k)))
        .collect();
    jobs.par_iter()
        .map(|&(s, k)| {
            let source = &sources[s];
            let file = match k.checked_sub(1).and_then(|k| EDITS.get(k)) {
                None => source.file.clone(),
                Some((_, _, edit)) => {
                    edit(&source.picture, &mut Draw((s * 977 + k * 13 + 5) as u64))
                }
            };
            let picture = decoded(&file);
            let (hash, pdq) = (baseline(&picture), pdq::Pdq::of(&picture));
            Item {
                source: s,
                kind: k,
                measures: measured(&file, &format!("{s} {k}")),
                hash,
                pdq,
            }
        })
        .collect()
}

/// Kinds with the original before them.
const KINDS: usize = EDITS.len() + 1;

/// What one way of looking says of all pictures.
struct Answers {
    /// Pictures of each kind that are told to be made from their original.
    found: Vec<usize>,
    /// Pairs of different photos that are called copies.
    wrong: usize,
}

impl Answers {
    fn none() -> Self {
        Self {
            found: vec![0; KINDS],
            wrong: 0,
        }
    }
}

/// Counts an answer about an edited picture with all, and with those that are sure.
fn count([all, sure]: &mut [Answers; 2], item: &Item, is_own: bool, measure: &CopyMeasure) {
    let add = |answers: &mut Answers| {
        if is_own {
            answers.found[item.kind] += 1;
        } else {
            answers.wrong += 1;
        }
    };
    add(all);
    if measure.is_confirmed() {
        add(sure);
    }
}

/// Answers of a comparison of every picture with every other one.
fn hashed(items: &[Item], alike: impl Fn(&Item, &Item) -> bool + Sync) -> Answers {
    let wrong = items.par_iter().enumerate().map(|(i, item)| {
        let others = items[..i].iter().filter(|p| p.source != item.source);
        others.filter(|other| alike(other, item)).count()
    });
    let wrong = wrong.sum();
    let mut answers = Answers {
        wrong,
        ..Answers::none()
    };
    for item in items.iter().filter(|i| i.kind > 0) {
        answers.found[item.kind] += usize::from(alike(&items[item.source * KINDS], item));
    }
    answers
}

/// Answers of a ledger that holds every original as a job of its own, asked for every edited picture: all, and those it
/// is sure of.
fn by_ledger(items: &[Item]) -> [Answers; 2] {
    let folder = tempfile::tempdir().unwrap();
    let mut ledger = open(&folder.path().join("used.db").to_string_lossy()).unwrap();
    for original in items.iter().filter(|i| i.kind == 0) {
        let photos = vec![PhotoRecord::of_measures("a.jpg", &original.measures)];
        let job = original.source.to_string();
        let vendor = None;
        ledger
            .record_job(&JobRecord {
                job,
                vendor,
                photos,
            })
            .unwrap();
    }
    let edited: Vec<&Item> = items.iter().filter(|i| i.kind > 0).collect();
    let asked: Shelf = edited.iter().map(|i| &i.measures).collect();
    let mut answers = [Answers::none(), Answers::none()];
    for lead in ledger.find(&asked, None).unwrap() {
        let (item, Some(measure)) = (edited[lead.asked], lead.measure) else {
            continue;
        };
        let is_own = lead.job == item.source.to_string();
        count(&mut answers, item, is_own, &measure);
    }
    answers
}

fn report(sources: &[Source]) {
    let start = std::time::Instant::now();
    let items = items(sources);
    let seconds = start.elapsed().as_secs_f64();
    eprintln!("{} pictures measured in {seconds:.0} s", items.len());
    let start = std::time::Instant::now();
    let measures: Shelf = items.iter().map(|i| &i.measures).collect();
    let found = find_copies(&measures).unwrap();
    eprintln!("searched in {:.0} s", start.elapsed().as_secs_f64());
    let mut in_job = [Answers::none(), Answers::none()];
    let mut false_pairs = Vec::new();
    for (a, b, measure) in &found {
        let (p, q) = (&items[*a], &items[*b]);
        if p.source != q.source {
            false_pairs.push((p, q, measure));
        }
        if p.source != q.source || p.kind == 0 {
            count(&mut in_job, q, p.source == q.source, measure);
        }
    }
    let [job, sure_in_job] = in_job;
    let [by_ledger, sure_by_ledger] = by_ledger(&items);
    let columns = [
        job,
        sure_in_job,
        by_ledger,
        sure_by_ledger,
        hashed(&items, |a, b| (a.hash ^ b.hash).count_ones() <= 10),
        hashed(&items, |a, b| a.pdq.alike(&b.pdq)),
    ];
    table(sources.len(), &columns);
    let all = items.len() * (items.len() - 1) / 2;
    let same = sources.len() * KINDS * (KINDS - 1) / 2;
    println!(
        "pairs of different photos: {} ({} by ledger)",
        all - same,
        sources.len() * sources.len().saturating_sub(1) * EDITS.len()
    );
    let name = |item: &Item| {
        let kind = item.kind.checked_sub(1).map_or("original", |k| EDITS[k].0);
        format!("{} [{kind}]", sources[item.source].name())
    };
    for (p, q, measure) in false_pairs.iter().take(40) {
        println!("  {} / {}: {measure:?}", name(p), name(q));
        print_numbers(&p.measures, &q.measures);
    }
    let told: BTreeSet<(usize, usize)> = found.iter().map(|(a, b, _)| (*a, *b)).collect();
    let missed = items.iter().enumerate().filter(|(index, item)| {
        let original = item.source * KINDS;
        *index != original && !told.contains(&(original, *index))
    });
    for (_, item) in missed {
        println!("  not found: {}", name(item));
        print_numbers(&items[item.source * KINDS].measures, &item.measures);
    }
    second_exposures(sources);
}

/// The numbers behind a decision.
fn print_numbers(a: &PhotoMeasures, b: &PhotoMeasures) {
    for line in photoproof_core::measure::copy::explain_pair(a, b) {
        println!("    {line}");
    }
}

/// One row a kind of edit; the last row counts pairs of different photos called copies.
fn table(sources: usize, columns: &[Answers]) {
    println!(
        "{:28} {:>5} {:>7} {:>7} {:>7} {:>7} {:>7} {:>9} {:>7}",
        "edit", "n", "wanted", "job", "surely", "ledger", "surely", "64-bit 10", "PDQ 31"
    );
    for (k, (name, wanted, _)) in EDITS.iter().enumerate() {
        print!("{name:28} {sources:5} {:6.1}%", 100.0 * wanted);
        for answers in columns {
            let share = 100.0 * answers.found[k + 1] as f64 / sources as f64;
            print!(" {share:6.1}%");
        }
        println!();
    }
    print!("{:42}", "false copies");
    for answers in columns {
        print!(" {:7}", answers.wrong);
    }
    println!();
}

/// What was done to two exposures before they were sent.
type Sent = fn(&[u8], &mut Draw) -> Jpeg;

/// The ways two exposures are sent.
const SENT: &[(&str, Sent, Sent)] = &[
    ("as taken", as_taken, as_taken),
    ("second cropped to 70 %", as_taken, |p, d| {
        jpeg(&crop(&decoded(p), 0.7, d), 85)
    }),
    ("second cropped to 50 %", as_taken, |p, d| {
        jpeg(&crop(&decoded(p), 0.5, d), 85)
    }),
    (
        "both saved at 60",
        |p, _| jpeg(&decoded(p), 60),
        |p, _| jpeg(&decoded(p), 60),
    ),
    (
        "both saved at 30",
        |p, _| jpeg(&decoded(p), 30),
        |p, _| jpeg(&decoded(p), 30),
    ),
    ("second saved at 30", as_taken, |p, _| jpeg(&decoded(p), 30)),
];

fn as_taken(file: &[u8], _: &mut Draw) -> Jpeg {
    file.to_vec()
}

/// Honest second exposures of one view, by hand and on a tripod: none is a copy.
fn second_exposures(sources: &[Source]) {
    for (name, hand_held) in [("by hand", true), ("tripod", false)] {
        for (sent, first, second) in SENT {
            let answer = |(i, source): (usize, &Source)| {
                let mut draw = Draw(i as u64 * 31 + 7);
                let [a, b] = edits::exposures(
                    &source.picture,
                    &|u, v| source.depth_at(u, v),
                    hand_held,
                    &mut draw,
                );
                let (a, b) = (first(&a, &mut draw), second(&b, &mut draw));
                compare_copies(&measured(&a, "a"), &measured(&b, "b")).map(|m| m.is_confirmed())
            };
            let answers: Vec<_> = sources.par_iter().enumerate().map(answer).collect();
            let count = |sure| answers.iter().filter(|a| **a == Some(sure)).count();
            println!(
                "two exposures {name}, {sent}: {} of {} called copies, {} unsure",
                count(true),
                sources.len(),
                count(false)
            );
        }
    }
}

fn main() {
    let mut arguments: Vec<String> = std::env::args().skip(1).collect();
    let mut limit = usize::MAX;
    if let Some(at) = arguments.iter().position(|a| a == "--limit") {
        limit = arguments[at + 1].parse().expect("--limit N");
        arguments.drain(at..at + 2);
    }
    if let Some(at) = arguments.iter().position(|a| a == "--pdq") {
        let picture = image::open(&arguments[at + 1]).expect("--pdq FILE");
        let bits = pdq::check(&picture.to_rgb8());
        println!("PDQ: {bits} bits from the published hash");
        arguments.drain(at..at + 2);
    }
    let explaining = arguments.iter().any(|a| a == "--explain");
    arguments.retain(|a| a != "--explain");
    let sources = sources(&arguments, limit);
    if explaining {
        explain(&sources, &std::env::var("KINDS").unwrap_or_default());
    } else {
        report(&sources);
    }
}
