//! Lays rendered houses out as job folders, checks them, and prints how many true view sets come back complete
//! and pure, from labelled folders and from one flat folder without any label.
//!
//! ```text
//! cargo run --example house_jobs -p photoproof-core -- ../shared/scenes/house-101 ...
//! ```
#![allow(clippy::print_stdout)]

use std::collections::{BTreeMap, BTreeSet};
use std::error::Error;
use std::path::Path;
use std::time::Instant;

use photoproof_core::pipeline::{self, Options};
use photoproof_core::report::{build, v1};
use serde_json::Value;

/// A picture of a house and where it truly belongs.
struct Shot {
    file: String,
    room: String,
    phase: String,
    /// Room and angle if the picture truly repeats a view, else `None`.
    view: Option<String>,
}

fn main() -> Result<(), Box<dyn Error>> {
    println!(
        "house        layout    photos  true sets  complete and pure  seconds  findings by check"
    );
    for house in std::env::args().skip(1) {
        let house = Path::new(&house);
        let shots = truth(house)?;
        for layout in ["labelled", "flat"] {
            let folder = tempfile::tempdir()?;
            let names = lay_out(house, &shots, layout, folder.path())?;
            let start = Instant::now();
            let result = pipeline::run(folder.path(), None, &Options::default(), None, &|_| {})?;
            let seconds = start.elapsed().as_secs_f64();
            let report = build::report(&result, "house");
            let wanted = true_sets(&shots, &names);
            let found = found_sets(&report);
            let right = wanted.iter().filter(|set| found.contains(*set)).count();
            let house = house.file_name().unwrap_or_default().to_string_lossy();
            println!(
                "{house:<12} {layout:<9} {:>6}  {:>9}  {right:>9} = {:>5.1} %  {seconds:>7.1}  {:?}",
                shots.len(),
                wanted.len(),
                100.0 * right as f64 / wanted.len().max(1) as f64,
                by_check(&report)
            );
            if std::env::var_os("SHOW").is_some() {
                show_wrong(&wanted, &found);
            }
        }
    }
    Ok(())
}

fn truth(house: &Path) -> Result<Vec<Shot>, Box<dyn Error>> {
    let text = std::fs::read_to_string(house.join("ground_truth.jsonl"))?;
    text.lines()
        .map(|line| {
            let row: Value = serde_json::from_str(line)?;
            let word = |name: &str| row[name].as_str().unwrap_or_default().to_owned();
            let view = (word("relation") == "match")
                .then(|| format!("{} {}", word("true_room"), word("true_angle")));
            Ok(Shot {
                file: word("file"),
                room: word("room"),
                phase: word("phase"),
                view,
            })
        })
        .collect()
}

/// Copies the pictures; returns the path of each in the job folder.
fn lay_out(
    house: &Path,
    shots: &[Shot],
    layout: &str,
    job: &Path,
) -> Result<Vec<String>, Box<dyn Error>> {
    shots
        .iter()
        .enumerate()
        .map(|(index, shot)| {
            let name = match layout {
                "flat" => format!("IMG_{:04}.jpg", 3000 + index),
                _ => format!("{}/{}/IMG_{:04}.jpg", shot.room, shot.phase, 3000 + index),
            };
            let target = job.join(&name);
            std::fs::create_dir_all(target.parent().ok_or("no folder")?)?;
            std::fs::copy(house.join(&shot.file), target)?;
            Ok(name)
        })
        .collect()
}

/// Sets of paths that truly show one view in at least two phases.
fn true_sets(shots: &[Shot], names: &[String]) -> BTreeSet<BTreeSet<String>> {
    let mut sets: BTreeMap<&str, BTreeSet<String>> = BTreeMap::new();
    for (shot, name) in shots.iter().zip(names) {
        if let Some(view) = &shot.view {
            sets.entry(view).or_default().insert(name.clone());
        }
    }
    sets.into_values().filter(|set| set.len() > 1).collect()
}

fn found_sets(report: &v1::Report) -> BTreeSet<BTreeSet<String>> {
    let of = |set: &v1::ViewSet| {
        let photos = &set.photos;
        [&photos.before, &photos.during, &photos.after]
            .into_iter()
            .flatten()
            .cloned()
            .collect()
    };
    report.view_sets.iter().map(of).collect()
}

fn by_check(report: &v1::Report) -> BTreeMap<&str, usize> {
    let mut counts = BTreeMap::new();
    for finding in &report.findings {
        *counts.entry(finding.check.as_str()).or_default() += 1;
    }
    counts
}

fn show_wrong(wanted: &BTreeSet<BTreeSet<String>>, found: &BTreeSet<BTreeSet<String>>) {
    for set in wanted.difference(found) {
        println!("  wanted {set:?}");
        for other in found.iter().filter(|other| !other.is_disjoint(set)) {
            println!("     got {other:?}");
        }
    }
}
