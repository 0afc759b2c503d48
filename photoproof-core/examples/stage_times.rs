//! Where the time of a check goes: each stage over a folder of photos on one thread, in milliseconds.
//!
//! ```text
//! cargo run --release -p photoproof-core --example stage_times -- JOB_FOLDER
//! ```

#![allow(clippy::print_stdout)]

use std::collections::BTreeMap;
use std::path::Path;
use std::time::Instant;

use photoproof_core::ingest::{IngestOptions, photo_paths, read_photo, stamp};
use photoproof_core::job::JobSheet;
use photoproof_core::measure::feature::{MatchOptions, match_features};
use photoproof_core::measure::{Features, Fingerprint, Quality, Viewpoint, find_copies, pairs};
use photoproof_core::pipeline::{self, Options, Pictures};
use photoproof_core::thumbnail::Thumbnail;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let folder = std::env::args().nth(1).ok_or("which folder?")?;
    let folder = Path::new(&folder);
    let options = IngestOptions::default();
    let mut times: Vec<(&str, f64)> = Vec::new();
    let mut photos = 0;
    let mut add = |name, from: Instant| {
        let ms = from.elapsed().as_secs_f64() * 1e3;
        match times.iter_mut().find(|(known, _)| *known == name) {
            Some((_, sum)) => *sum += ms,
            None => times.push((name, ms)),
        }
    };
    for path in photo_paths(folder)? {
        let start = Instant::now();
        let Ok((photo, pixels)) = read_photo(&folder.join(&path), &path, &options) else {
            continue;
        };
        add("read, decode, stamp", start);
        let start = Instant::now();
        drop(stamp::read_stamp(&pixels.rgb, || None));
        add("  of it the stamp", start);
        let start = Instant::now();
        drop(Fingerprint::new(&photo, &pixels));
        add("fingerprint", start);
        let start = Instant::now();
        let _ = Quality::new(&pixels);
        add("quality", start);
        let start = Instant::now();
        drop(Features::extract(&photo, &pixels));
        add("features", start);
        let start = Instant::now();
        drop(Thumbnail::new(&pixels));
        add("thumbnail", start);
        photos += 1;
    }
    let pool = rayon::ThreadPoolBuilder::new().num_threads(1).build()?;
    let result = pool.install(|| {
        let mut run = Options::default();
        run.pictures = Pictures::Skip;
        pipeline::run(folder, None::<JobSheet>, &run, None, &|_| {})
    })?;
    let all: Vec<_> = result.measures.iter().collect();
    pool.install(|| {
        let start = Instant::now();
        let compared = pairs::compare_pairs(&result.intake.photos, &result.measures, &|_, _| {});
        add("pairs", start);
        println!("{photos} photos, {} pairs", compared.len());
        let mut kinds: BTreeMap<&str, (usize, f64, f64)> = BTreeMap::new();
        for pair in &compared {
            let [a, b] = [pair.a, pair.b].map(|id| &result.measures[id.0].features);
            let start = Instant::now();
            drop(match_features(a, b, &MatchOptions::default()));
            let matching = start.elapsed().as_secs_f64() * 1e3;
            let start = Instant::now();
            let answer = Viewpoint::between(a, b);
            let kind = match answer {
                Viewpoint::Shift(_) => "shift",
                Viewpoint::NoCommonStructure(_) => "nothing shared",
                _ => "inconclusive",
            };
            let entry = kinds.entry(kind).or_default();
            entry.0 += 1;
            entry.1 += matching;
            entry.2 += start.elapsed().as_secs_f64() * 1e3;
        }
        for (kind, (count, matching, whole)) in kinds {
            let each = count as f64;
            let (matching, whole) = (matching / each, whole / each);
            println!("{count:8} pairs, {matching:.1} ms matching, {whole:.1} ms in all: {kind}");
        }
        let start = Instant::now();
        let copies = find_copies(&all);
        add("copies", start);
        println!("{} copies", copies.len());
    });
    for (name, ms) in times {
        println!("{:8.1} ms a photo  {name}", ms / f64::from(photos));
    }
    Ok(())
}
