//! What was measured before: photos by the SHA-256 of their file, pairs by the digests of both pictures.
//!
//! The cache is a folder of small files that may be deleted at any time, as a whole or in part. Each entry carries
//! its key and a checksum; one that is cut off, damaged, of another version or not ours is left unread and written
//! again. Entries are written to a temporary file and renamed, so any number of processes may share a folder.
//! Nothing that goes wrong with a cache stops a check or changes its report.
//!
//! An entry of a photo holds its measures, keypoints and descriptors, small grey and colour copies of at most 384
//! pixels, the middle of it at working size, the picture of 480 pixels that the page shows, and the text of the date
//! stamp: as private as the photos. Names and places are not in it.

mod entry;
mod folder;
mod pairs;
mod photos;
#[doc(hidden)]
pub mod trial;

use std::io::Read;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;
use std::sync::atomic::{AtomicU64, Ordering};

use serde::Serialize;
use serde::de::DeserializeOwned;
use sha2::{Digest, Sha256};

pub(crate) use pairs::Remembered;
pub(crate) use photos::Onlooker;

use crate::hex::hex;
use crate::whole_file::{self, Use};

/// Version of what is measured: a digest of the source text of ingest and measures and of the versions of the crates.
pub const MEASURES: &str = env!("PHOTOPROOF_MEASURES");
/// Bytes that all entries together may take before the oldest are removed: some 6,000 photos.
pub const MAX_BYTES: u64 = 4 << 30;

/// A folder of earlier measures.
#[derive(Debug)]
pub struct Cache {
    folder: PathBuf,
    bound: u64,
    written: AtomicU64,
    fault: OnceLock<String>,
}

/// Names an entry: what it is about, and the version of what is measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Key([u8; 32]);

impl Key {
    /// The key of what is called `kind` and told apart by `parts`.
    pub(crate) fn new(kind: &str, parts: &[&[u8]]) -> Self {
        let mut digest = Sha256::new();
        let fixed = [env!("CARGO_PKG_VERSION"), MEASURES, kind].map(str::as_bytes);
        for part in fixed.iter().chain(parts) {
            digest.update((part.len() as u64).to_le_bytes());
            digest.update(part);
        }
        Self(digest.finalize().into())
    }
}

impl Cache {
    /// The cache in `folder`, which is made when the first entry is written. `bound`: bytes that all entries may take,
    /// usually [`MAX_BYTES`].
    #[must_use]
    pub fn new(folder: &Path, bound: u64) -> Self {
        Self {
            folder: folder.to_path_buf(),
            bound,
            written: AtomicU64::new(0),
            fault: OnceLock::new(),
        }
    }

    /// Where it is.
    #[must_use]
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// What kept entries from being written, if anything did; reading goes on then, and writing does not.
    #[must_use]
    pub fn fault(&self) -> Option<&str> {
        self.fault.get().map(String::as_str)
    }

    /// Removes the oldest entries if all together are above the bound, and what killed writers left behind. Does
    /// nothing if this process has written nothing.
    pub fn tidy(&self) {
        if self.written.swap(0, Ordering::Relaxed) > 0 {
            folder::tidy(&self.folder, self.bound);
        }
    }

    /// Reads an entry; `None` if there is none that can be believed.
    pub(crate) fn get<T: DeserializeOwned>(&self, key: &Key) -> Option<T> {
        let path = self.place(key);
        let facts = std::fs::symlink_metadata(&path).ok()?;
        if !facts.is_file() || facts.len() > entry::MAX_BYTES {
            return None;
        }
        let file = std::fs::File::open(&path).ok()?;
        let mut bytes = Vec::with_capacity(usize::try_from(facts.len()).ok()?);
        (&file)
            .take(entry::MAX_BYTES)
            .read_to_end(&mut bytes)
            .ok()?;
        let value = postcard::from_bytes(entry::opened(&bytes, key)?).ok()?;
        folder::mark_used(&file, &facts);
        Some(value)
    }

    /// Writes an entry. The first failure is kept for [`Cache::fault`] and ends the writing.
    pub(crate) fn put<T: Serialize>(&self, key: &Key, value: &T) {
        if self.fault.get().is_some() {
            return;
        }
        let Ok(payload) = postcard::to_allocvec(value) else {
            return;
        };
        let bytes = entry::sealed(&payload, key);
        if bytes.len() as u64 > entry::MAX_BYTES {
            return;
        }
        match self.write(key, &bytes) {
            Ok(()) => {
                self.written
                    .fetch_add(bytes.len() as u64, Ordering::Relaxed);
            }
            Err(error) => {
                let message = format!(
                    "cannot write the cache {}: {error}; the check goes on without it",
                    self.folder.display()
                );
                let _ = self.fault.set(message);
            }
        }
    }

    fn write(&self, key: &Key, bytes: &[u8]) -> std::io::Result<()> {
        let path = self.place(key);
        let folder = path.parent().unwrap_or(&self.folder);
        if !folder.is_dir() {
            folder::make(&self.folder, folder)?;
        }
        whole_file::write(&path, bytes, Use::Cache)
    }

    /// Where an entry lies: 256 folders keep each of them small.
    fn place(&self, key: &Key) -> PathBuf {
        let name = hex(&key.0);
        let (folder, file) = name.split_at(2);
        self.folder.join(folder).join(file)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cache(folder: &Path, bound: u64) -> Cache {
        Cache::new(folder, bound)
    }

    #[test]
    fn an_entry_comes_back_under_its_own_key_only() {
        let folder = tempfile::tempdir().unwrap();
        let cache = cache(folder.path(), MAX_BYTES);
        let key = Key::new("kind", &[b"ab", b"c"]);
        assert_eq!(cache.get::<String>(&key), None);
        cache.put(&key, &"answer");
        assert_eq!(cache.get::<String>(&key).as_deref(), Some("answer"));
        assert_ne!(key, Key::new("kind", &[b"a", b"bc"]));
        let other = Key::new("other", &[b"ab", b"c"]);
        std::fs::create_dir_all(cache.place(&other).parent().unwrap()).unwrap();
        std::fs::copy(cache.place(&key), cache.place(&other)).unwrap();
        assert_eq!(cache.get::<String>(&other), None);
        assert!(cache.fault().is_none());
    }

    #[test]
    fn whatever_is_damaged_is_not_believed() {
        let folder = tempfile::tempdir().unwrap();
        let cache = cache(folder.path(), MAX_BYTES);
        let key = Key::new("kind", &[]);
        cache.put(&key, &"answer");
        let whole = std::fs::read(cache.place(&key)).unwrap();
        for at in 0..whole.len() {
            let mut damaged = whole.clone();
            damaged[at] ^= 0x10;
            std::fs::write(cache.place(&key), &damaged).unwrap();
            assert_eq!(cache.get::<String>(&key), None, "byte {at}");
            std::fs::write(cache.place(&key), &whole[..at]).unwrap();
            assert_eq!(cache.get::<String>(&key), None, "cut at {at}");
        }
        std::fs::write(cache.place(&key), [whole.as_slice(), b"x"].concat()).unwrap();
        assert_eq!(cache.get::<String>(&key), None);
        cache.put(&key, &"answer");
        assert_eq!(cache.get::<String>(&key).as_deref(), Some("answer"));
    }

    #[test]
    fn a_folder_that_cannot_be_written_is_told_once() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("file");
        std::fs::write(&file, "x").unwrap();
        let cache = cache(&file, MAX_BYTES);
        let key = Key::new("kind", &[]);
        cache.put(&key, &1_u32);
        cache.put(&key, &1_u32);
        assert!(cache.fault().unwrap().contains("goes on without it"));
        assert_eq!(cache.get::<u32>(&key), None);
    }

    /// The file of an entry, as if it had been used then.
    fn used_at(cache: &Cache, key: &Key, then: std::time::SystemTime) -> std::fs::File {
        let file = std::fs::File::options()
            .write(true)
            .open(cache.place(key))
            .unwrap();
        file.set_modified(then).unwrap();
        file
    }

    #[test]
    fn the_oldest_go_first_and_foreign_files_stay() {
        let folder = tempfile::tempdir().unwrap();
        let keys: Vec<Key> = (0..8_u8).map(|n| Key::new("kind", &[&[n]])).collect();
        let cache = cache(folder.path(), 5_000);
        let day = std::time::Duration::from_secs(86_400);
        for (age, key) in keys.iter().rev().enumerate() {
            cache.put(key, &vec![0_u8; 1_000]);
            let then = std::time::SystemTime::now() - day * (keys.len() - age) as u32;
            used_at(&cache, key, then);
        }
        let foreign = cache.place(&keys[0]).with_file_name("notes.txt");
        std::fs::write(&foreign, "mine").unwrap();
        // What is read counts as new.
        assert!(cache.get::<Vec<u8>>(&keys[7]).is_some());
        cache.tidy();
        let left: Vec<bool> = keys.iter().map(|k| cache.place(k).exists()).collect();
        assert_eq!(
            left,
            [true, true, true, false, false, false, false, true],
            "four entries of 1,0xx bytes fit into nine tenths of 5,000"
        );
        assert!(foreign.exists());
    }

    #[test]
    fn an_entry_from_the_future_is_believed_and_gets_the_time_of_its_use() {
        let folder = tempfile::tempdir().unwrap();
        let cache = cache(folder.path(), MAX_BYTES);
        let key = Key::new("kind", &[]);
        cache.put(&key, &"answer");
        let now = std::time::SystemTime::now();
        let hour = std::time::Duration::from_secs(3_600);
        let file = used_at(&cache, &key, now + 24 * hour);
        assert_eq!(cache.get::<String>(&key).as_deref(), Some("answer"));
        assert!(file.metadata().unwrap().modified().unwrap() < now + hour);
    }
}
