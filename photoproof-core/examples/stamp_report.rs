//! How well date stamps are read: `stamp_report LIST.jsonl [--without FOLDER...] [--errors]`.
//!
//! Each line of the list has `file` (beside the list), `visible_text` and `visible_time` (ISO 8601, as exact as
//! shown). Photos in the folders carry no date stamp.

#![allow(clippy::unwrap_used, clippy::print_stdout, missing_docs)]

use std::path::{Path, PathBuf};
use std::time::Instant;

use photoproof_core::ingest::stamp::Stamp;
use photoproof_core::ingest::{IngestOptions, read_photo};
use rayon::prelude::*;
use serde_json::Value;

/// What became of one stamp.
#[derive(Debug, Default)]
struct Tally {
    all: usize,
    exact: usize,
    open: usize,
    unreadable: usize,
    missed: usize,
    wrong: usize,
}

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let show = arguments.iter().any(|argument| argument == "--errors");
    let mut paths = arguments
        .iter()
        .filter(|argument| !argument.starts_with("--"));
    let list = PathBuf::from(paths.next().unwrap());
    let rows: Vec<Value> = std::fs::read_to_string(&list)
        .unwrap()
        .lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect();
    let root = list.parent().unwrap();
    let began = Instant::now();
    let read: Vec<Option<Stamp>> = rows
        .par_iter()
        .map(|row| stamp(&root.join(row["file"].as_str().unwrap())))
        .collect();
    let mut tally = Tally::default();
    for (row, stamp) in rows.iter().zip(&read) {
        let what = count(&mut tally, row, stamp.as_ref());
        if show && what != "exact" {
            println!(
                "{what:10} {} is {} read {stamp:?}",
                row["file"], row["visible_text"]
            );
        }
    }
    println!(
        "stamps {} exact {} ({:.1} %) open {} unreadable {} missed {} wrong {} in {:.1} s",
        tally.all,
        tally.exact,
        100.0 * tally.exact as f64 / tally.all.max(1) as f64,
        tally.open,
        tally.unreadable,
        tally.missed,
        tally.wrong,
        began.elapsed().as_secs_f64()
    );
    let mut without = Vec::new();
    for folder in paths {
        collect(Path::new(folder), &mut without);
    }
    without.sort();
    let found: Vec<(PathBuf, Stamp)> = without
        .par_iter()
        .filter_map(|path| Some((path.clone(), stamp(path)?)))
        .collect();
    println!(
        "photos without a stamp {} of which given one {}",
        without.len(),
        found.len()
    );
    for (path, stamp) in found {
        println!("  {} {stamp:?}", path.display());
    }
}

fn stamp(path: &Path) -> Option<Stamp> {
    let options = IngestOptions::default();
    read_photo(path, "photo", &options).ok()?.0.stamp
}

/// Exact: the date is among the possible ones (several only where the text is open) and the time equals.
fn count(tally: &mut Tally, row: &Value, stamp: Option<&Stamp>) -> &'static str {
    let truth = row["visible_time"].as_str().unwrap();
    let (day, time) = truth
        .split_once('T')
        .map_or((truth, None), |(d, t)| (d, Some(t)));
    tally.all += 1;
    let Some(stamp) = stamp else {
        tally.missed += 1;
        return "missed";
    };
    if stamp.dates.is_empty() {
        tally.unreadable += 1;
        return "unreadable";
    }
    let shown = stamp.time.map(|time| time.to_string());
    let dated = stamp.dates.iter().any(|(_, date)| date.to_string() == day);
    if !dated || shown.as_deref() != time {
        tally.wrong += 1;
        return "wrong";
    }
    tally.exact += 1;
    tally.open += usize::from(stamp.dates.len() > 1);
    "exact"
}

fn collect(path: &Path, into: &mut Vec<PathBuf>) {
    if path.is_file() {
        into.push(path.to_owned());
    } else if let Ok(entries) = std::fs::read_dir(path) {
        entries
            .flatten()
            .for_each(|entry| collect(&entry.path(), into));
    }
}
