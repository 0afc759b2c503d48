//! What lies in a job folder besides pixels: the photos by name alone, and the job sheet.

use std::path::Path;

use crate::error::{Error, ErrorKind};
use crate::ingest::container::claims_photo;
use crate::ingest::options::IngestOptions;
use crate::ingest::read::read_bounded;
use crate::ingest::walk::walk;

/// Paths of the files below `root` whose names say that they are photos, relative to it with `/`
/// between folders, sorted. No file is opened.
///
/// # Errors
/// If `root` is no readable folder, or holds more files than the default options allow.
pub fn photo_paths(root: &Path) -> Result<Vec<String>, Error> {
    let walked = walk(root, &IngestOptions::default())?;
    Ok(walked
        .files
        .into_iter()
        .map(|entry| entry.shown)
        .filter(|shown| {
            let extension = Path::new(shown).extension().and_then(|e| e.to_str());
            extension.is_some_and(|e| claims_photo(&e.to_lowercase()))
        })
        .collect())
}

/// The text of `job.toml` of a job folder that is archived or in an object store, at most `bound` bytes; `None` if it
/// has none.
///
/// # Errors
/// If the place or the entry cannot be read, exceeds a bound, or is not UTF-8.
pub fn job_sheet_text(place: &Path, bound: u64) -> Result<Option<String>, Error> {
    let walked = walk(place, &IngestOptions::default())?;
    let Some(entry) = walked.files.iter().find(|entry| entry.shown == "job.toml") else {
        return match walked.ignored.iter().find(|left| left.path == "job.toml") {
            Some(left) => Err(job_sheet_error(place, &left.reason)),
            None => Ok(None),
        };
    };
    let bytes = read_bounded(&entry.place, bound).map_err(|why| job_sheet_error(place, &why))?;
    String::from_utf8(bytes)
        .map(Some)
        .map_err(|_| job_sheet_error(place, "not UTF-8 text"))
}

fn job_sheet_error(place: &Path, reason: &str) -> Error {
    let message = format!(
        "{}: job.toml cannot be used ({reason}); give the job sheet with --job-sheet",
        place.display()
    );
    Error::new(ErrorKind::JobSheet, message)
}
