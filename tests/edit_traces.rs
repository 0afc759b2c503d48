//! Traces of editing: files made by Pillow, ImageMagick and ExifTool (`fixtures/edit-traces/make.py`), and how often
//! public pictures raise each signal.
#![allow(clippy::print_stdout, clippy::print_stderr, clippy::unwrap_used)]

#[path = "support/shared.rs"]
mod shared;

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use photoproof_core::group::{Compared, Grouped, group};
use photoproof_core::ingest::{CredentialsState, IngestOptions, Intake, ingest, read_photo};
use photoproof_core::job::JobSheet;
use photoproof_core::judge::{CHECKS, Evidence, Finding, Severity};
use photoproof_core::measure::{PhotoFacts, Quality, measure_photo};
use photoproof_core::report::inspect::InspectLine;
use rayon::prelude::*;
use shared::{files_under, shared};

/// The checks that look at traces of editing.
const TRACES: [&str; 8] = [
    "editing-software",
    "changed-after-capture",
    "thumbnail-disagrees",
    "size-differs",
    "compression-differs",
    "saved-again",
    "newer-part",
    "metadata-stripped",
];

/// A folder read as one job without a sheet; nothing is compared.
struct Job {
    sheet: JobSheet,
    intake: Intake,
    measures: Vec<PhotoFacts>,
    grouped: Grouped,
}

impl Job {
    fn new(intake: Intake, measures: Vec<PhotoFacts>) -> Self {
        let sheet = JobSheet::default();
        let grouped = group(&sheet, &intake, Compared::default(), Vec::new());
        Self {
            sheet,
            intake,
            measures,
            grouped,
        }
    }

    fn read(folder: &Path) -> Self {
        let options = IngestOptions::default();
        let (intake, measures) = ingest(folder, &JobSheet::default(), &options, |photo, pixels| {
            measure_photo(photo, pixels).facts
        })
        .unwrap();
        Self::new(intake, measures)
    }

    fn findings(&self) -> Vec<Finding> {
        let evidence = Evidence::new(&self.sheet, &self.intake, &self.measures, &self.grouped);
        let checks = CHECKS.iter();
        checks
            .filter(|check| TRACES.contains(&check.meta().id))
            .flat_map(|check| check.run(&evidence))
            .collect()
    }
}

fn fixtures() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../fixtures/edit-traces")
}

fn folders(root: &Path) -> Vec<PathBuf> {
    let entries = std::fs::read_dir(root).unwrap();
    let mut found: Vec<PathBuf> = entries.map(|entry| entry.unwrap().path()).collect();
    found.retain(|path| path.is_dir());
    found.sort();
    found
}

#[test]
fn every_signal_speaks_in_what_tools_have_changed_and_is_silent_in_what_a_camera_writes() {
    let mut seen = BTreeSet::new();
    for signal in folders(&fixtures()) {
        let id = signal.file_name().unwrap().to_str().unwrap().to_owned();
        assert!(TRACES.contains(&id.as_str()), "{id}");
        for folder in folders(&signal) {
            let findings = Job::read(&folder).findings();
            let told: Vec<String> = findings
                .iter()
                .map(|finding| format!("{}: {}", finding.check, finding.message))
                .collect();
            let own = findings
                .iter()
                .filter(|finding| finding.check == id)
                .count();
            if folder.ends_with("pass") {
                assert!(told.is_empty(), "{}: {told:#?}", folder.display());
            } else if !folder.ends_with("single") {
                assert_eq!(own, 1, "{}: {told:#?}", folder.display());
            }
        }
        seen.insert(id);
    }
    assert_eq!(seen.len(), TRACES.len());
}

#[test]
fn the_tables_of_a_known_encoder_give_its_quality() {
    let file = fixtures().join("compression-differs/fail/IMG_0408.jpg");
    let (photo, _) = read_photo(&file, "a.jpg", &IngestOptions::default()).unwrap();
    let tables = photo.traces.quantisation.unwrap();
    assert_eq!(tables.quality(), Some(40));
}

#[test]
fn inspect_tells_of_an_earlier_saving_and_where_a_part_is_newer() {
    let text = |file: &str| {
        let path = fixtures().join(file);
        let (photo, pixels) = read_photo(&path, "a.jpg", &IngestOptions::default()).unwrap();
        let line = InspectLine::of_photo(&photo, &Quality::new(&pixels));
        line.with_earlier_save(pixels.earlier).to_text()
    };
    let said = "before at a lower quality, about 74 on the usual scale, and then again";
    assert!(text("saved-again/fail/twice.jpg").contains(&format!("{said}\n")));
    assert!(text("newer-part/fail/patched.jpg").contains(&format!("{said}; one part")));
    assert!(!text("saved-again/pass/once.jpg").contains("  saved "));
}

#[test]
fn a_newer_part_is_told_cell_by_cell_within_its_frame() {
    let job = Job::read(&fixtures().join("newer-part/fail"));
    let earlier = job.measures[0].earlier.as_ref().unwrap();
    let [part] = &earlier.newer_parts[..] else {
        panic!("{earlier:?}");
    };
    let [left, top, right, bottom] = part.frame;
    let area = |[a, b, c, d]: [f64; 4]| (c - a) * (d - b);
    let cells: f64 = part.cells.iter().map(|cell| area(*cell)).sum();
    assert!(cells <= area(part.frame) + 1e-9 && cells > 0.5 * area(part.frame));
    for [a, b, c, d] in &part.cells {
        assert!(*a >= left && *b >= top && *c <= right && *d <= bottom);
    }
    let finding = &job.findings()[0];
    assert_eq!(finding.regions, part.cells);
}

/// The line of `inspect` about a file of `fixtures/content-credentials`.
fn signed(file: &str) -> InspectLine {
    let path = fixtures().join("../content-credentials").join(file);
    let (photo, pixels) = read_photo(&path, file, &IngestOptions::default()).unwrap();
    InspectLine::of_photo(&photo, &Quality::new(&pixels))
}

#[test]
#[cfg(not(feature = "content-credentials"))]
fn content_credentials_that_cannot_be_verified_are_said_to_be_there() {
    for file in ["signed.jpg", "signed.png", "signed.webp", "changed.jpg"] {
        let line = signed(file);
        let credentials = line.credentials.as_ref().unwrap();
        assert_eq!(credentials.state, CredentialsState::NotVerified, "{file}");
        let text = line.to_text();
        assert!(
            text.contains("a build with the feature content-credentials"),
            "{text}"
        );
    }
}

/// Files signed by the c2pa package of PyPI and changed by ExifTool; codes as the C2PA specification 2.2 names them.
#[test]
#[cfg(feature = "content-credentials")]
fn content_credentials_are_confirmed_refuted_or_said_to_be_unclear() {
    for file in ["signed.jpg", "signed.png", "signed.webp"] {
        let line = signed(file);
        let credentials = line.credentials.as_ref().unwrap();
        assert_eq!(
            credentials.state,
            CredentialsState::Intact,
            "{file}: {credentials:?}"
        );
        assert!(credentials.failures.is_empty());
        let text = line.to_text();
        assert!(
            text.contains("the file is as Fieldphone 2, Larkspur signed it;"),
            "{text}"
        );
    }
    for (file, code) in [
        ("changed.jpg", "assertion.dataHash.mismatch"),
        ("claim.jpg", "claimSignature.mismatch"),
    ] {
        let line = signed(file);
        let credentials = line.credentials.as_ref().unwrap();
        assert_eq!(
            credentials.state,
            CredentialsState::Broken,
            "{file}: {credentials:?}"
        );
        assert_eq!(credentials.failures, [code], "{file}");
        let text = line.to_text();
        assert!(
            text.contains("no longer as Fieldphone 2, Larkspur signed it"),
            "{text}"
        );
    }
    let line = signed("cut.jpg");
    assert_eq!(
        line.credentials.as_ref().unwrap().state,
        CredentialsState::Unclear,
        "{line:?}"
    );
    assert!(line.to_text().contains("neither confirmed nor refuted"));
    assert!(!line.credentials.unwrap().failures.is_empty());
}

/// A photo of its own job; of what cannot be decoded, what its metadata say.
fn alone(path: &Path) -> Option<Job> {
    let options = IngestOptions::default();
    let shown = path.file_name()?.to_string_lossy().into_owned();
    let mut intake = Intake::default();
    let measures = match read_photo(path, &shown, &options) {
        Ok((photo, pixels)) => {
            let measures = measure_photo(&photo, &pixels).facts;
            intake.photos.push(photo);
            vec![measures]
        }
        Err(rejected) => {
            let mut photo = *rejected.facts?;
            // Its size is not known.
            photo.traces.exif_size = None;
            intake.photos.push(photo);
            Vec::new()
        }
    };
    Some(Job::new(intake, measures))
}

/// Public pictures, most of them collected because something about them is odd; a third names an editing program.
#[test]
fn public_pictures_raise_notes_only() {
    let Some(root) = shared("real") else { return };
    let mut files = Vec::new();
    files_under(&root, &mut files);
    let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
    let (mut read, mut decoded, mut compared) = (0, 0, 0);
    // What is asked of a photo is a few numbers: no job of all pictures is kept.
    let all: Vec<_> = files
        .par_iter()
        .filter_map(|file| {
            let job = alone(file)?;
            let embedded = job.measures.iter().filter(|m| m.embedded.is_some());
            Some((file, job.measures.len(), embedded.count(), job.findings()))
        })
        .collect();
    for (file, pictures, thumbnails, findings) in all {
        read += 1;
        decoded += pictures;
        compared += thumbnails;
        for finding in findings {
            *counts.entry(finding.check).or_default() += 1;
            println!("{}: {}: {}", file.display(), finding.check, finding.message);
            assert!(finding.severity <= Severity::Note, "{}", finding.message);
        }
    }
    println!("{read} pictures, {decoded} decoded, {compared} with thumbnails compared: {counts:?}");
    assert!(read >= 200, "{read} pictures");
}

/// Whole collections, each as one job.
#[test]
fn public_collections_as_jobs_raise_notes_only() {
    for name in [
        "exif_exifr",
        "exif_recurser",
        "exif_pillowheif",
        "exif_libavif",
        "pdq",
        "iguazu",
    ] {
        let Some(folder) = shared(&format!("real/{name}")) else {
            return;
        };
        let job = Job::read(&folder);
        let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
        for finding in job.findings() {
            *counts.entry(finding.check).or_default() += 1;
            assert!(finding.severity <= Severity::Note, "{}", finding.message);
        }
        println!("{name}: {} photos: {counts:?}", job.intake.photos.len());
    }
}
