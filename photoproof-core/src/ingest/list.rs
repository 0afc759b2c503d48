//! The photos of a folder by name alone, for those who need paths and no pixels.

use std::path::Path;

use crate::error::Error;
use crate::ingest::container::claims_photo;
use crate::ingest::options::IngestOptions;
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
