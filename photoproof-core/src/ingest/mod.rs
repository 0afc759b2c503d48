//! Disk to [`Intake`]: walk, digest, decode, Exif, capture time, labels.
//!
//! The only stage that reads the job folder. A photo's pixels live for the length of one call of the
//! observer that the caller passes in, so memory does not grow with the job.

mod archive;
mod area_match;
pub mod capture_time;
mod container;
mod credentials;
mod date_text;
mod decode;
mod earlier_save;
mod embedded;
mod exif;
mod file_name_time;
mod folder_state;
#[cfg(feature = "heic")]
mod heic;
mod ifd;
mod isobmff;
mod jpeg;
mod jpeg_scan;
mod label;
mod list;
mod memory;
mod name_reading;
mod objects;
mod observer;
mod options;
pub mod order;
mod orient;
pub mod photo;
mod photos_csv;
pub mod pixels;
mod png;
mod read;
pub(crate) mod reduce;
pub mod stamp;
pub mod traces;
mod twins;
mod vocabulary;
mod walk;
mod words;
mod xmp;

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::atomic::{AtomicUsize, Ordering};

use rayon::prelude::*;

pub use archive::is_archive;
pub use capture_time::{CaptureTime, TimeSource};
pub use credentials::{Credentials, CredentialsState};
pub use earlier_save::{CodedSample, EarlierSave, NewerPart};
pub use folder_state::FolderState;
pub use list::{job_sheet_text, photo_paths};
pub use objects::{is_object_url, job_folders};
pub use observer::Observer;
pub use options::IngestOptions;
pub use photo::{Camera, Gps, Label, LabelSource, Photo, PhotoId};
pub use pixels::Pixels;
pub use stamp::Stamp;
pub use traces::{Program, ProgramSource, Quantisation, Traces};

use crate::error::Error;
use crate::ingest::label::{Labelled, label_all};
use crate::ingest::memory::MemoryGate;
use crate::ingest::observer::Look;
use crate::ingest::photos_csv::Row;
use crate::ingest::read::{Outcome, Picture, read_file};
use crate::ingest::walk::{Entry, FilePlace, walk};
use crate::job::JobSheet;

/// What was found in a job folder.
#[derive(Debug, Clone, Default)]
#[non_exhaustive]
pub struct Intake {
    /// Readable photos, sorted by path. [`PhotoId`] indexes this list.
    pub photos: Vec<Photo>,
    /// Files that look like photos but cannot be used, sorted by path.
    pub rejected: Vec<Rejected>,
    /// Other files, sorted by path.
    pub ignored: Vec<Ignored>,
}

/// A file that should be a photo and cannot be decoded.
#[derive(Debug, Clone)]
pub struct Rejected {
    /// Path relative to the job folder.
    pub path: String,
    /// SHA-256 of the file, if it could be read.
    pub sha256: Option<String>,
    /// What is wrong, in words.
    pub reason: String,
    /// Labels, so that the loss is counted where it belongs.
    pub label: Label,
    /// What the file says of itself apart from its pixels, if that much could be read; width and
    /// height are 0.
    pub facts: Option<Box<Photo>>,
}

impl Rejected {
    /// Something of which not one byte was read.
    pub(crate) fn unread(path: String, reason: String) -> Self {
        Self {
            path,
            sha256: None,
            reason,
            label: Label::default(),
            facts: None,
        }
    }
}

/// A file that is not a photo.
#[derive(Debug, Clone)]
pub struct Ignored {
    /// Path relative to the job folder.
    pub path: String,
    /// Why it was left out.
    pub reason: String,
}

/// Reads the job folder `root`: a folder, a .zip of one, or one in an object store (`s3://bucket/prefix`, `gs://`, `az://`
/// where the build has the feature `object-storage`). `observe` is called once for every readable photo, while its pixels
/// are in memory; what it returns comes back in the order of [`Intake::photos`].
///
/// Files are read in parallel on the current thread pool; the result does not depend on the number of
/// threads.
///
/// # Errors
/// If `root` is no readable folder, or holds more files than `options` allow. A bad photo is no error:
/// it is in [`Intake::rejected`].
pub fn ingest<M: Send>(
    root: &Path,
    sheet: &JobSheet,
    options: &IngestOptions,
    observe: impl Fn(&Photo, &Pixels) -> M + Sync,
) -> Result<(Intake, Vec<M>), Error> {
    ingest_with_progress(root, sheet, options, &Look(observe), &|_, _| {})
}

/// Like [`ingest`], for an observer that may know photos already; `progress` is called after each file with the number
/// of files done and of all files.
///
/// # Errors
/// As [`ingest`].
pub fn ingest_with_progress<O: Observer>(
    root: &Path,
    sheet: &JobSheet,
    options: &IngestOptions,
    observer: &O,
    progress: &(dyn Fn(usize, usize) + Sync),
) -> Result<(Intake, Vec<O::Seen>), Error> {
    let walked = walk(root, options)?;
    let mut intake = Intake {
        ignored: walked.ignored,
        ..Intake::default()
    };
    let (tables, files) = split_tables(walked.files);
    let rows = read_tables(&tables, options, &mut intake.ignored);
    let names: Vec<&str> = files.iter().map(|file| file.shown.as_str()).collect();
    let mut labels = label_all(&names, sheet, &rows);
    twins::note(&names, &mut labels);
    let gate = MemoryGate::new(options.max_total_decode_bytes);
    let room = MemoryGate::new(options.max_total_file_bytes);
    let done = AtomicUsize::new(0);
    let outcomes: Vec<Outcome<O::Seen>> = files
        .par_iter()
        .zip(&labels)
        .with_max_len(1)
        .map(|(file, label)| {
            let look = |photo: &mut Photo, picture: Picture<'_>| {
                let decode = |photo: &mut Photo| picture.decode(photo, options, &gate);
                look(observer, label, photo, decode)
            };
            let mut outcome = read_file(&file.place, &file.shown, options, &room, look);
            if let Outcome::Rejected(rejected) = &mut outcome {
                rejected.label = label.label.clone();
            }
            progress(done.fetch_add(1, Ordering::Relaxed) + 1, files.len());
            outcome
        })
        .collect();
    let mut measures = Vec::new();
    for outcome in outcomes {
        match outcome {
            Outcome::Photo(photo, measure) => {
                intake.photos.push(*photo);
                measures.push(measure);
            }
            Outcome::Rejected(rejected) => intake.rejected.push(rejected),
            Outcome::Ignored(ignored) => intake.ignored.push(ignored),
        }
    }
    intake.rejected.extend(walked.unreadable);
    intake.rejected.sort_by(|a, b| a.path.cmp(&b.path));
    intake.ignored.sort_by(|a, b| a.path.cmp(&b.path));
    stamp::resolve::resolve(&mut intake.photos);
    Ok((intake, measures))
}

/// Reads one photo file, shown in messages as `shown`. Area and phase are not labelled.
///
/// # Errors
/// What is wrong with the file, if it is no readable photo.
pub fn read_photo(
    path: &Path,
    shown: &str,
    options: &IngestOptions,
) -> Result<(Photo, Pixels), Box<Rejected>> {
    read_one(&FilePlace::File(path.to_path_buf()), shown, options)
}

/// Like [`read_photo`], from the bytes of a file that would be called `shown`.
///
/// # Errors
/// What is wrong with the bytes, if they are no readable photo.
pub fn read_photo_bytes(
    bytes: &[u8],
    shown: &str,
    options: &IngestOptions,
) -> Result<(Photo, Pixels), Box<Rejected>> {
    read_one(&FilePlace::Bytes(bytes.into()), shown, options)
}

fn read_one(
    place: &FilePlace,
    shown: &str,
    options: &IngestOptions,
) -> Result<(Photo, Pixels), Box<Rejected>> {
    let gate = MemoryGate::new(options.max_total_decode_bytes);
    let room = MemoryGate::new(options.max_total_file_bytes);
    let look = |photo: &mut Photo, picture: Picture<'_>| picture.decode(photo, options, &gate);
    match read_file(place, shown, options, &room, look) {
        Outcome::Photo(mut photo, pixels) => {
            stamp::resolve::resolve(std::slice::from_mut(&mut *photo));
            Ok((*photo, pixels))
        }
        Outcome::Rejected(rejected) => Err(Box::new(rejected)),
        Outcome::Ignored(ignored) => Err(Box::new(Rejected::unread(
            ignored.path,
            format!("not a photo: {}", ignored.reason),
        ))),
    }
}

/// Shows a photo to the observer, labelled; `decode` is called unless the observer knows it.
fn look<O: Observer>(
    observer: &O,
    labels: &Labelled,
    photo: &mut Photo,
    decode: impl FnOnce(&mut Photo) -> Result<Pixels, String>,
) -> Result<O::Seen, String> {
    let known = match observer.recall(photo) {
        Some(seen) => Ok(seen),
        None => Err(decode(photo)?),
    };
    photo.label = labels.label.clone();
    photo.problems.extend(labels.problems.iter().cloned());
    Ok(known.unwrap_or_else(|pixels| observer.observe(photo, &pixels)))
}

/// Takes the `photos.csv` tables out of the files.
fn split_tables(files: Vec<Entry>) -> (Vec<Entry>, Vec<Entry>) {
    files.into_iter().partition(|file| {
        let name = file.shown.rsplit('/').next().unwrap_or_default();
        name.eq_ignore_ascii_case("photos.csv")
    })
}

/// Reads all tables; each is listed among the ignored files with what is wrong in it.
fn read_tables(
    tables: &[Entry],
    options: &IngestOptions,
    ignored: &mut Vec<Ignored>,
) -> BTreeMap<String, Row> {
    let mut rows = BTreeMap::new();
    for table in tables {
        let folder = table
            .shown
            .rsplit_once('/')
            .map_or("", |(folder, _)| folder);
        let read = read::read_bounded(&table.place, options.max_csv_bytes)
            .map(|bytes| photos_csv::read(&bytes, folder));
        let problems = match read {
            Ok(read) => {
                rows.extend(read.by_path);
                read.problems
            }
            Err(reason) => vec![reason],
        };
        let mut reason = "label table".to_owned();
        for problem in problems {
            reason.push_str("; ");
            reason.push_str(&problem);
        }
        ignored.push(Ignored {
            path: table.shown.clone(),
            reason,
        });
    }
    rows
}
