//! What a job folder looks like from outside, to tell whether it has changed.

use std::fs::Metadata;
use std::path::Path;

use sha2::{Digest, Sha256};

use crate::error::Error;
use crate::hex::hex;
use crate::ingest::container::claims_photo;
use crate::ingest::options::IngestOptions;
use crate::ingest::read::extension;
use crate::ingest::walk::{FilePlace, walk};

/// A job folder as it stands, without its files having been read.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub struct FolderState {
    /// Digest of the names, sizes and times of change of all files, lower-case hexadecimal.
    pub digest: String,
    /// Files whose names say that they are photos.
    pub photos: usize,
}

impl FolderState {
    /// Looks at the job folder at `root`, or a .zip of one, or one in an object store.
    ///
    /// # Errors
    /// If `root` is no readable folder, or holds more files than `options` allow.
    pub fn read(root: &Path, options: &IngestOptions) -> Result<Self, Error> {
        let walked = walk(root, options)?;
        let mut digest = Sha256::new();
        let mut add = |text: &str| {
            digest.update((text.len() as u64).to_le_bytes());
            digest.update(text);
        };
        let facts =
            |path: &Path| std::fs::symlink_metadata(path).map_or_else(|e| e.to_string(), seen);
        if root.is_file() {
            add(&facts(root));
        }
        let mut photos = 0;
        for file in &walked.files {
            photos += usize::from(claims_photo(&extension(&file.shown)));
            add(&file.shown);
            match &file.place {
                FilePlace::File(path) => add(&facts(path)),
                #[cfg(feature = "object-storage")]
                FilePlace::Object(object) => add(&object.facts()),
                // As the archive stands, so do they.
                FilePlace::Member(_) | FilePlace::Bytes(_) => {}
            }
        }
        for ignored in &walked.ignored {
            add(&ignored.path);
            add(&ignored.reason);
        }
        for unreadable in &walked.unreadable {
            add(&unreadable.path);
            add(&unreadable.reason);
        }
        Ok(Self {
            digest: hex(&digest.finalize()),
            photos,
        })
    }
}

/// Size and times of change. The time at which the entry changed (ctime) cannot be set back by programs that copy
/// the time of the content.
fn seen(facts: Metadata) -> String {
    #[cfg(unix)]
    {
        use std::os::unix::fs::MetadataExt;
        format!(
            "{} {}.{} {}.{}",
            facts.len(),
            facts.mtime(),
            facts.mtime_nsec(),
            facts.ctime(),
            facts.ctime_nsec()
        )
    }
    #[cfg(not(unix))]
    format!("{} {:?}", facts.len(), facts.modified().ok())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_change_of_the_folder_shows() {
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| folder.path().join(name);
        let state = || FolderState::read(folder.path(), &IngestOptions::default()).unwrap();
        std::fs::write(at("a.jpg"), "one").unwrap();
        let mut seen = vec![state()];
        let mut changed = || {
            let now = state();
            assert!(!seen.contains(&now), "{now:?}");
            seen.push(now);
        };
        std::fs::write(at("b.JPG"), "two").unwrap();
        changed();
        std::fs::write(at("notes.txt"), "x").unwrap();
        changed();
        std::fs::rename(at("a.jpg"), at("c.jpg")).unwrap();
        changed();
        std::fs::write(at("c.jpg"), "longer").unwrap();
        changed();
        std::fs::write(at(".hidden"), "x").unwrap();
        changed();
        std::fs::remove_file(at("notes.txt")).unwrap();
        changed();
        assert_eq!(state(), state());
        assert_eq!(state().photos, 2);
    }
}
