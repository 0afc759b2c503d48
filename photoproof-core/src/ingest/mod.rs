//! Disk to [`Intake`]: walk, digest, decode, Exif, capture time, labels.
//!
//! The only stage that reads the job folder. A photo's pixels live for the length of one call of the
//! observer that the caller passes in, so memory does not grow with the job.

pub mod capture_time;
pub mod order;
pub mod photo;
pub mod pixels;

pub use capture_time::{CaptureTime, TimeSource};
pub use photo::{Camera, Gps, Label, LabelSource, Photo, PhotoId};
pub use pixels::Pixels;

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
}

/// A file that is not a photo.
#[derive(Debug, Clone)]
pub struct Ignored {
    /// Path relative to the job folder.
    pub path: String,
    /// Why it was left out.
    pub reason: String,
}
