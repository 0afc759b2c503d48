//! What `inspect` reads of real photos against a second, independent reader (ExifTool 12.57), tag by
//! tag, over public collections of test pictures.
//!
//! A tag whose value is one of the standard's ways to say "unknown" (blank or zero date, Orientation
//! outside 1..=8, position 0, 0) agrees when it is read as unknown.
//!
//! Disagreements that remain, and why:
//!
//! | file | tag | reason |
//! |---|---|---|
//! | spatial_photo.heic | DateTime | "2024-04-22T14:38:09GMT+2" is not the form of the standard; a problem says so |
#![allow(
    clippy::print_stdout,
    clippy::print_stderr,
    clippy::unwrap_used,
    clippy::expect_used
)]

#[path = "support/shared.rs"]
mod shared;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::LazyLock;

use photoproof_core::ingest::{IngestOptions, read_photo};
use photoproof_core::measure::Quality;
use photoproof_core::report::inspect::InspectLine;
use photoproof_core::report::v1::Time;
use rayon::prelude::*;
use serde_json::Value;
use shared::{files_under, shared};

/// Disagreements explained in the table above: end of the file name, and tag.
const EXPLAINED: [(&str, &str); 1] = [("spatial_photo.heic", "DateTime")];

fn inspect(path: &Path) -> InspectLine {
    let options = IngestOptions::default();
    match read_photo(path, &path.to_string_lossy(), &options) {
        Ok((photo, pixels)) => InspectLine::of_photo(&photo, &Quality::new(&pixels)),
        Err(rejected) => InspectLine::of_rejected(&rejected),
    }
}

/// What is read of every real file, once for all tests.
static READ: LazyLock<BTreeMap<PathBuf, InspectLine>> = LazyLock::new(|| {
    let mut files = Vec::new();
    files_under(&shared("real").unwrap(), &mut files);
    let read = files.into_par_iter().map(|path| {
        let line = inspect(&path);
        (path, line)
    });
    read.collect()
});

#[test]
fn every_real_file_is_read_or_refused_with_a_reason() {
    if shared("real").is_none() {
        return;
    }
    assert!(READ.len() > 250, "{} files", READ.len());
    for (path, line) in &*READ {
        assert!(
            line.readable || !line.problems.is_empty(),
            "{}",
            path.display()
        );
        let text = line.to_json();
        assert!(text.ends_with('\n') && text.matches('\n').count() == 1);
        serde_json::from_str::<InspectLine>(&text).unwrap();
        assert!(line.to_text().lines().count() >= 3);
    }
}

/// Agreement of one tag.
#[derive(Default)]
struct Tally {
    agree: usize,
    explained: usize,
    differ: usize,
}

struct Comparison {
    tallies: BTreeMap<&'static str, Tally>,
    lines: Vec<String>,
}

impl Comparison {
    fn add(&mut self, file: &str, tag: &'static str, truth: &str, ours: Option<&str>) {
        let tally = self.tallies.entry(tag).or_default();
        if ours.unwrap_or_default() == truth {
            tally.agree += 1;
            return;
        }
        let explained = EXPLAINED
            .iter()
            .any(|(end, name)| file.ends_with(end) && *name == tag);
        if explained {
            tally.explained += 1;
        } else {
            tally.differ += 1;
        }
        let word = if explained { "explained" } else { "DIFFERS" };
        self.lines.push(format!(
            "{word}: {file}: {tag}: truth {truth:?}, read {ours:?}"
        ));
    }
}

/// Text of a truth member; numbers as ExifTool prints them.
fn text(exif: &Value, name: &str) -> Option<String> {
    match exif.get(name)? {
        Value::String(text) => Some(text.trim().to_owned()),
        Value::Number(number) => Some(number.to_string()),
        _ => None,
    }
}

fn of_source<'a>(line: &'a InspectLine, source: &str) -> Option<&'a Time> {
    line.all_times.iter().find(|time| time.source == source)
}

/// `2026-03-02T14:15:02.5-06:00` to the civil time in Exif's form, the fraction, and the offset.
fn parts(value: &str) -> (String, String, String) {
    let (date, rest) = value.split_once('T').unwrap();
    let zone = rest.find(['Z', '+', '-']).unwrap_or(rest.len());
    let (clock, offset) = rest.split_at(zone);
    let (clock, fraction) = clock.split_once('.').unwrap_or((clock, ""));
    let offset = if offset == "Z" { "+00:00" } else { offset };
    (
        format!("{} {clock}", date.replace('-', ":")),
        fraction.trim_end_matches('0').to_owned(),
        offset.to_owned(),
    )
}

fn unknown_date(text: &str) -> bool {
    text.chars().all(|letter| matches!(letter, ' ' | ':' | '0'))
}

const TIMES: [(&str, [&str; 3], [&str; 3]); 3] = [
    (
        "exif_original",
        [
            "DateTimeOriginal",
            "SubSecTimeOriginal",
            "OffsetTimeOriginal",
        ],
        [
            "ExifIFD:DateTimeOriginal",
            "ExifIFD:SubSecTimeOriginal",
            "ExifIFD:OffsetTimeOriginal",
        ],
    ),
    (
        "exif_digitized",
        [
            "DateTimeDigitized",
            "SubSecTimeDigitized",
            "OffsetTimeDigitized",
        ],
        [
            "ExifIFD:CreateDate",
            "ExifIFD:SubSecTimeDigitized",
            "ExifIFD:OffsetTimeDigitized",
        ],
    ),
    (
        "exif_modified",
        ["DateTime", "SubSecTime", "OffsetTime"],
        [
            "IFD0:ModifyDate",
            "ExifIFD:SubSecTime",
            "ExifIFD:OffsetTime",
        ],
    ),
];

fn compare_times(all: &mut Comparison, file: &str, exif: &Value, line: &InspectLine) {
    for (source, tags, names) in TIMES {
        let ours = of_source(line, source).map(|time| parts(&time.value));
        let Some(date) = text(exif, names[0]) else {
            continue;
        };
        let date = if unknown_date(&date) {
            String::new()
        } else {
            date
        };
        all.add(
            file,
            tags[0],
            &date,
            ours.as_ref().map(|parts| parts.0.as_str()),
        );
        let Some((_, fraction, offset)) = ours else {
            continue;
        };
        if let Some(digits) = text(exif, names[1]) {
            // ExifTool's numeric output drops zeros in front ("072" becomes 72), so one of the two that
            // the digits can stand for must be read.
            let digits = digits.trim_end_matches('0');
            let same = fraction.trim_start_matches('0') == digits.trim_start_matches('0');
            all.add(
                file,
                tags[1],
                digits,
                Some(if same { digits } else { &fraction }),
            );
        }
        if let Some(truth) = text(exif, names[2]) {
            all.add(file, tags[2], &truth, Some(&offset));
        }
    }
    if let (Some(day), Some(clock)) = (
        text(exif, "GPS:GPSDateStamp"),
        text(exif, "GPS:GPSTimeStamp"),
    ) {
        let ours = of_source(line, "gps").map(|time| parts(&time.value));
        let ours = ours.map(|(civil, fraction, _)| {
            if fraction.is_empty() {
                civil
            } else {
                format!("{civil}.{fraction}")
            }
        });
        all.add(file, "GPS time", &format!("{day} {clock}"), ours.as_deref());
    }
}

fn compare_rest(all: &mut Comparison, file: &str, exif: &Value, line: &InspectLine) {
    let number = |name: &str| exif.get(name).and_then(Value::as_f64);
    if let (Some(lat), Some(lon)) = (
        number("Composite:GPSLatitude"),
        number("Composite:GPSLongitude"),
    ) {
        let words = |lat: f64, lon: f64| format!("{lat:.6} {lon:.6}");
        let truth = if lat == 0.0 && lon == 0.0 {
            String::new()
        } else {
            words(lat, lon)
        };
        let ours = line.gps.map(|gps| words(gps.lat, gps.lon));
        all.add(file, "GPS position", &truth, ours.as_deref());
    }
    if let Some(value) = text(exif, "IFD0:Orientation") {
        let valid = value
            .parse()
            .is_ok_and(|value: u16| (1..=8).contains(&value));
        let truth = if valid { value } else { String::new() };
        let ours = line.orientation.map(|value| value.to_string());
        all.add(file, "Orientation", &truth, ours.as_deref());
    }
    for (tag, name, ours) in [
        ("Make", "IFD0:Make", &line.camera.make),
        ("Model", "IFD0:Model", &line.camera.model),
    ] {
        if let Some(truth) = text(exif, name) {
            all.add(file, tag, &truth, ours.as_deref());
        }
    }
}

#[test]
fn tags_agree_with_a_second_reader() {
    let Some(root) = shared("real") else { return };
    let mut all = Comparison {
        tallies: BTreeMap::new(),
        lines: Vec::new(),
    };
    let (mut files, mut absent) = (0, 0);
    let mut folders: Vec<PathBuf> = std::fs::read_dir(&root)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .collect();
    folders.sort();
    for folder in folders {
        let Ok(truth) = std::fs::read_to_string(folder.join("exif_truth.jsonl")) else {
            continue;
        };
        for row in truth.lines() {
            let row: Value = serde_json::from_str(row).unwrap();
            let name = row["file"].as_str().unwrap();
            if !folder.join(name).exists() {
                // The truth lists a few files that the collection does not carry.
                println!("not in the collection: {name}");
                absent += 1;
                continue;
            }
            let line = &READ[&folder.join(name)];
            files += 1;
            compare_times(&mut all, name, &row["exif"], line);
            compare_rest(&mut all, name, &row["exif"], line);
        }
    }
    println!("{files} files; tag: agree / explained / differ");
    for (tag, tally) in &all.tallies {
        println!(
            "{tag:<20} {:>4} {:>4} {:>4}",
            tally.agree, tally.explained, tally.differ
        );
    }
    for line in &all.lines {
        println!("{line}");
    }
    assert!(files > 200, "{files} files");
    assert!(absent < 20, "{absent} files are missing");
    for (tag, tally) in &all.tallies {
        let total = tally.agree + tally.explained + tally.differ;
        let share = (tally.agree + tally.explained) as f64 / total as f64;
        assert!(share >= 0.995, "{tag}: {share:.4} of {total}");
    }
    let agree: usize = all.tallies.values().map(|tally| tally.agree).sum();
    let total: usize = all
        .tallies
        .values()
        .map(|t| t.agree + t.explained + t.differ)
        .sum();
    assert!(
        agree as f64 / total as f64 >= 0.995,
        "{agree} of {total} without any explanation"
    );
}
