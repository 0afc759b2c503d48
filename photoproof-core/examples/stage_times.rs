//! Where the time of a check goes: each stage over a folder of photos on one thread, in milliseconds.
//!
//! ```text
//! cargo run --release -p photoproof-core --example stage_times -- JOB_FOLDER
//! ```

#![allow(clippy::print_stdout)]

use std::collections::BTreeMap;
use std::path::Path;
use std::time::Instant;

use photoproof_core::Error;
use photoproof_core::ingest::{IngestOptions, photo_paths, read_photo, stamp};
use photoproof_core::job::JobSheet;
use photoproof_core::measure::feature::{MatchOptions, match_features};
use photoproof_core::measure::pairs::{self, ComparedPair};
use photoproof_core::measure::{
    Afresh, Features, Fingerprint, Quality, Shelf, SmallPicture, Viewpoint, find_copies,
};
use photoproof_core::pipeline::{self, Options, Pictures};
use photoproof_core::thumbnail::Thumbnail;

/// Sums of milliseconds by stage, in the order of their first use.
#[derive(Default)]
struct Times(Vec<(&'static str, f64)>);

impl Times {
    /// Runs `work` and adds its time to `name`.
    fn take<T>(&mut self, name: &'static str, work: impl FnOnce() -> T) -> T {
        let (result, ms) = timed(work);
        match self.0.iter_mut().find(|(known, _)| *known == name) {
            Some((_, sum)) => *sum += ms,
            None => self.0.push((name, ms)),
        }
        result
    }
}

fn timed<T>(work: impl FnOnce() -> T) -> (T, f64) {
    let start = Instant::now();
    let result = work();
    (result, start.elapsed().as_secs_f64() * 1e3)
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let folder = std::env::args().nth(1).ok_or("which folder?")?;
    let folder = Path::new(&folder);
    let mut times = Times::default();
    let photos = measure_all(folder, &mut times)?;
    let pool = rayon::ThreadPoolBuilder::new().num_threads(1).build()?;
    let result = pool.install(|| {
        let mut run = Options::default();
        run.pictures = Pictures::Skip;
        pipeline::run(folder, None::<JobSheet>, &run, None, &|_| {})
    })?;
    pool.install(|| -> Result<(), Error> {
        let (all, known) = (&result.measures, &result.intake.photos);
        let compared = times.take("pairs", || {
            pairs::compare_pairs(known, all, &Afresh, &|_, _| {})
        })?;
        println!("{photos} photos, {} pairs", compared.len());
        print_kinds(&compared, all)?;
        let copies = times.take("copies", || find_copies(all))?;
        println!("{} copies", copies.len());
        Ok(())
    })?;
    for (name, ms) in times.0 {
        println!("{:8.1} ms a photo  {name}", ms / f64::from(photos));
    }
    Ok(())
}

/// Each photo through each of its stages; the number of readable photos.
fn measure_all(folder: &Path, times: &mut Times) -> Result<u32, Box<dyn std::error::Error>> {
    let options = IngestOptions::default();
    let mut photos = 0;
    for path in photo_paths(folder)? {
        let file = folder.join(&path);
        let read = times.take("read, decode, stamp", || read_photo(&file, &path, &options));
        let Ok((photo, pixels)) = read else {
            continue;
        };
        times.take("  of it the stamp", || {
            drop(stamp::read_stamp(&pixels.rgb, || None));
        });
        let small = times.take("small picture", || SmallPicture::new(&pixels));
        times.take("fingerprint", || {
            drop(Fingerprint::new(photo.sha256.clone(), &pixels, &small));
        });
        times.take("quality", || Quality::new(&pixels));
        times.take("features", || drop(Features::extract(&photo, &pixels)));
        times.take("thumbnail", || drop(Thumbnail::new(&pixels)));
        photos += 1;
    }
    Ok(photos)
}

/// Pairs by what they turned out to be, with the mean time of matching and of the whole comparison.
fn print_kinds(compared: &[ComparedPair], measures: &Shelf) -> Result<(), Error> {
    let mut kinds: BTreeMap<&str, (usize, f64, f64)> = BTreeMap::new();
    for pair in compared {
        let (a, b) = (measures.get(pair.a.0)?, measures.get(pair.b.0)?);
        let (a, b) = (&a.features, &b.features);
        let (_, matching) = timed(|| match_features(a, b, &MatchOptions::default()));
        let (answer, whole) = timed(|| Viewpoint::between(a, b));
        let kind = match answer {
            Viewpoint::Shift(_) => "shift",
            Viewpoint::NoCommonStructure(_) => "nothing shared",
            _ => "inconclusive",
        };
        let entry = kinds.entry(kind).or_default();
        entry.0 += 1;
        entry.1 += matching;
        entry.2 += whole;
    }
    for (kind, (count, matching, whole)) in kinds {
        let (matching, whole) = (matching / count as f64, whole / count as f64);
        println!("{count:8} pairs, {matching:.1} ms matching, {whole:.1} ms in all: {kind}");
    }
    Ok(())
}
