//! The ledger: which photos earlier jobs have already used.
//!
//! # What it stores
//! Of each job: its id, vendor, when it was recorded. Of each photo: path in the job, SHA-256 of the file
//! and of the working pixels, two perceptual hashes, positions and 63-bit signatures of at most 160
//! keypoints, half of the bits of 64 of these signatures once more, area, phase, capture time as text,
//! camera make and model, and when the ledger first saw it.
//! While a job is being checked with a claim: its id, and host name and process number of the worker.
//! No picture, no thumbnail, no position on earth, no name of a person beyond what ids, vendor, paths and
//! area names say. A picture cannot be rebuilt from these numbers, but they recognise one, and a site can
//! be guessed from area names and paths: keep the ledger as carefully as the job files.
//!
//! # How long, and how a job is forgotten
//! Entries stay until they are removed: nothing expires by itself, claims excepted. [`Ledger::remove_job`]
//! deletes everything about one job. In an SQLite file its space is overwritten at once (`secure_delete`);
//! the write-ahead log beside the file can hold the old pages until the last process closes the ledger. In
//! PostgreSQL deleted rows are unreadable at once, but stay on the server's disk until it vacuums the tables
//! and overwrites the space, and in its archived logs, replicas and backups for as long as those are kept.
//! Copies and backups of either kind must be dealt with by whoever made them. Recording a job again replaces
//! its entry as a whole; only the first-seen times of photos that stay are kept.
//!
//! # Search
//! Digests are looked up by index. Perceptual hashes are compared exhaustively in one pass over packed
//! hashes, so a photo within [`MAX_DISTANCE`] bits in any of the eight orientations is never missed. The
//! pass first bounds from below how near each hash can be to any asked one, which turns away nearly all of
//! them, then tests pieces of the rest against tables of the asked ones (multi-index hashing, Norouzi,
//! Punjani and Fleet 2012, turned round). Three hundred photos cost about twice one, and memory does not
//! grow with the ledger.
//!
//! A perceptual hash sees the whole frame. Crops, borders, photos of a screen and pictures pasted into others
//! share keypoints with their original instead: the same pass asks for words of keypoints, and the twelve photos that
//! share most are looked at. Every lead is confirmed or rejected by keypoint geometry; nearly all that the one
//! photo shows must be there again in the other, so that a later photo of the same view is not a copy. Two exposures
//! from one spot with nothing changed between them are: the pixels are gone, and with them the noise that would
//! tell.

mod bounds;
mod compact;
mod pieces;
#[cfg(feature = "postgres")]
mod postgres;
mod scan;
mod search;
mod sqlite;
mod words;

pub use compact::CompactFeatures;
#[cfg(feature = "postgres")]
pub use postgres::PostgresLedger;
pub use scan::MAX_DISTANCE;
pub use sqlite::SqliteLedger;

use std::collections::BTreeMap;
use std::time::Duration;

use crate::error::Error;
#[cfg(not(feature = "postgres"))]
use crate::error::ErrorKind;
use crate::ingest::Photo;
use crate::measure::phash::PerceptualHash;
use crate::measure::{CopyMeasure, PhotoMeasures, Shelf};

/// One photo as the ledger keeps it.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct PhotoRecord {
    /// Path in its job.
    pub path: String,
    /// SHA-256 of the file, lower-case hexadecimal.
    pub file_sha256: String,
    /// SHA-256 of the upright working pixels, lower-case hexadecimal.
    pub pixel_sha256: String,
    /// Perceptual hash of the upright picture.
    pub hash: PerceptualHash,
    /// Strongest keypoints.
    pub features: CompactFeatures,
    /// Area, if labelled or inferred.
    pub area: Option<String>,
    /// Phase name, if known.
    pub phase: Option<String>,
    /// Capture time, RFC 3339 or local without offset.
    pub taken: Option<String>,
    /// Camera make and model.
    pub device: Option<String>,
    /// When the ledger first saw it, RFC 3339 UTC; empty before it is recorded.
    pub first_seen: String,
}

/// One job as the ledger keeps it.
#[derive(Debug, Clone, PartialEq)]
pub struct JobRecord {
    /// Job id; recording the same id again replaces the entry.
    pub job: String,
    /// Vendor, if known.
    pub vendor: Option<String>,
    /// Its photos.
    pub photos: Vec<PhotoRecord>,
}

/// One line of the list of jobs.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub struct JobEntry {
    /// Job id.
    pub job: String,
    /// Vendor, if known.
    pub vendor: Option<String>,
    /// When it was last recorded, RFC 3339 UTC.
    pub recorded: String,
    /// Number of photos.
    pub photos: u64,
}

/// Cameras of the latest jobs of one vendor.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
#[non_exhaustive]
pub struct VendorCameras {
    /// Jobs looked at that name a camera.
    pub jobs: usize,
    /// Cameras (make and model), each with the number of those jobs in which it was used.
    pub used_in: BTreeMap<String, usize>,
}

/// Most jobs of a vendor whose cameras are looked at, the latest first.
const LATEST_JOBS: i64 = 50;

impl VendorCameras {
    /// Counts the cameras of jobs; rows of job and camera, sorted by job, each pair once.
    fn of_rows(rows: impl IntoIterator<Item = (String, String)>) -> Self {
        let mut cameras = Self::default();
        let mut last: Option<String> = None;
        for (job, device) in rows {
            *cameras.used_in.entry(device).or_default() += 1;
            if last.as_ref() != Some(&job) {
                cameras.jobs += 1;
                last = Some(job);
            }
        }
        cameras
    }
}

/// Size of a ledger.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub struct Stats {
    /// Jobs.
    pub jobs: u64,
    /// Photos.
    pub photos: u64,
    /// Bytes on disk.
    pub bytes: u64,
}

/// The answer to a worker that asks for a job.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum Claim {
    /// The job is this worker's now.
    Taken,
    /// Another worker has it.
    Held(String),
    /// It was recorded before, at this time, RFC 3339 UTC.
    Recorded(String),
}

/// A photo of an earlier job that an asked photo may be made from.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct Lead {
    /// Index of the asked photo.
    pub asked: usize,
    /// The earlier job.
    pub job: String,
    /// What the ledger keeps of the earlier photo.
    pub photo: PhotoRecord,
    /// Smallest hash distance in any orientation, 0..=256; 0 for equal digests, above [`MAX_DISTANCE`] for parts.
    pub distance: u32,
    /// The confirmed copy; `None` when the hash is near but geometry does not confirm it.
    pub measure: Option<CopyMeasure>,
}

/// A register of used photos.
pub trait Ledger: Send {
    /// Adds a job or replaces the entry of the same job, as a whole or not at all.
    ///
    /// # Errors
    /// If the ledger cannot be written.
    fn record_job(&mut self, job: &JobRecord) -> Result<(), Error>;

    /// Photos of other jobs that `photos` may be made from, sorted by asked photo, job and path.
    ///
    /// # Errors
    /// If the ledger cannot be read.
    fn find(&self, photos: &Shelf, except_job: Option<&str>) -> Result<Vec<Lead>, Error>;

    /// All jobs by id.
    ///
    /// # Errors
    /// If the ledger cannot be read.
    fn jobs(&self) -> Result<Vec<JobEntry>, Error>;

    /// Cameras of the latest fifty jobs of `vendor`.
    ///
    /// # Errors
    /// If the ledger cannot be read.
    fn cameras(&self, vendor: &str, except_job: Option<&str>) -> Result<VendorCameras, Error>;

    /// Photos of one job in recorded order; empty if the job is unknown.
    ///
    /// # Errors
    /// If the ledger cannot be read.
    fn photos(&self, job: &str) -> Result<Vec<PhotoRecord>, Error>;

    /// Forgets a job; whether there was one.
    ///
    /// # Errors
    /// If the ledger cannot be written.
    fn remove_job(&mut self, job: &str) -> Result<bool, Error>;

    /// Takes a job for `worker`, so that of several workers one checks it. The claim ends when the job is recorded or
    /// released, or after `lease`, counted in whole seconds. All workers ask with the same lease: a claim that ends more
    /// than two of them ahead was made before the clock was set back, and is taken over.
    ///
    /// # Errors
    /// If the ledger cannot be written.
    fn claim_job(&mut self, job: &str, worker: &str, lease: Duration) -> Result<Claim, Error>;

    /// Gives back a job that `worker` has claimed and will not record.
    ///
    /// # Errors
    /// If the ledger cannot be written.
    fn release_job(&mut self, job: &str, worker: &str) -> Result<(), Error>;

    /// Size.
    ///
    /// # Errors
    /// If the ledger cannot be read.
    fn stats(&self) -> Result<Stats, Error>;
}

/// Opens the ledger at a path or a `postgres://` URL, or makes an empty one there.
///
/// # Errors
/// If it cannot be opened, is no ledger, was written by a newer version, or `location` is a URL of a kind this
/// build does not know.
pub fn open(location: &str) -> Result<Box<dyn Ledger>, Error> {
    if location.starts_with("postgres://") || location.starts_with("postgresql://") {
        return open_postgres(location);
    }
    let path = location.strip_prefix("sqlite://").unwrap_or(location);
    Ok(Box::new(SqliteLedger::open(std::path::Path::new(path))?))
}

#[cfg(feature = "postgres")]
fn open_postgres(url: &str) -> Result<Box<dyn Ledger>, Error> {
    Ok(Box::new(PostgresLedger::open(url)?))
}

#[cfg(not(feature = "postgres"))]
fn open_postgres(_: &str) -> Result<Box<dyn Ledger>, Error> {
    Err(Error::new(
        ErrorKind::Ledger,
        "this build cannot open a PostgreSQL ledger; build it with the feature `postgres` \
         (cargo build --release --features postgres), or give a file path instead",
    ))
}

impl PhotoRecord {
    /// What the ledger keeps of a photo.
    #[must_use]
    pub fn new(photo: &Photo, measures: &PhotoMeasures) -> Self {
        let camera = [&photo.camera.make, &photo.camera.model];
        let device: Vec<&str> = camera.into_iter().flatten().map(String::as_str).collect();
        Self {
            area: photo.label.area.clone(),
            phase: photo.label.phase.map(|phase| phase.name().to_owned()),
            taken: photo.capture_time.as_ref().map(|time| time.to_text()),
            device: (!device.is_empty()).then(|| device.join(" ")),
            ..Self::of_measures(&photo.path, measures)
        }
    }

    /// A record of measures alone, without what the file says.
    #[must_use]
    pub fn of_measures(path: &str, measures: &PhotoMeasures) -> Self {
        let [hash, ..] = measures.facts.fingerprint.hashes;
        Self {
            path: path.to_owned(),
            file_sha256: measures.facts.fingerprint.file_sha256.clone(),
            pixel_sha256: measures.facts.fingerprint.pixel_sha256.clone(),
            hash,
            features: CompactFeatures::new(&measures.features),
            area: None,
            phase: None,
            taken: None,
            device: None,
            first_seen: String::new(),
        }
    }
}

/// The kept hash; a broken one is like no picture.
fn hash_of(packed: &[u8]) -> PerceptualHash {
    if packed.len() == scan::PACKED {
        scan::unpack(packed)
    } else {
        PerceptualHash::default()
    }
}

/// Hashes and words of photos, packed for the pass.
fn packed(photos: &[PhotoRecord]) -> (Vec<u8>, Vec<u8>) {
    let hashes = photos.iter().flat_map(|photo| scan::pack(&photo.hash));
    let words = photos
        .iter()
        .flat_map(|photo| words::pack_words(&photo.features));
    (hashes.collect(), words.collect())
}

/// Random numbers of the tests.
#[cfg(test)]
fn draw(state: &mut u64) -> u64 {
    *state ^= *state << 13;
    *state ^= *state >> 7;
    *state ^= *state << 17;
    *state
}
