//! The folder itself: made for its owner alone, kept below a bound.

use std::fs::{DirBuilder, File, Metadata};
use std::io;
use std::path::{Path, PathBuf};
use std::time::{Duration, SystemTime};

use crate::whole_file::is_abandoned;

/// An entry that was used within this time is not marked again.
const MARK_AFTER: Duration = Duration::from_secs(3600);

/// Tells programs that make backups what the folder is (Cache Directory Tagging Specification, version 0.6).
const TAG: &str = "CACHEDIR.TAG";
const TAG_TEXT: &str = "Signature: 8a477f597d28d172789f06886806bc55
# Measures of photos, kept by photoproof. May be deleted at any time.
";

/// Makes the folder of an entry, and the cache above it. Others may not look inside.
pub(super) fn make(cache: &Path, folder: &Path) -> io::Result<()> {
    let mut builder = DirBuilder::new();
    builder.recursive(true);
    #[cfg(unix)]
    std::os::unix::fs::DirBuilderExt::mode(&mut builder, 0o700);
    builder.create(folder)?;
    let tag = cache.join(TAG);
    if !tag.exists() {
        std::fs::write(tag, TAG_TEXT)?;
    }
    Ok(())
}

/// Makes an entry the newest, since it was used. One from the future, after a clock was set back, is put right too.
pub(super) fn mark_used(file: &File, facts: &Metadata) {
    let age = facts.modified().ok().and_then(|then| then.elapsed().ok());
    if age.is_none_or(|age| age > MARK_AFTER) {
        // An entry that cannot be marked is removed earlier, nothing more.
        let _ = file.set_modified(SystemTime::now());
    }
}

/// Removes unfinished files whose writers are gone, and the oldest entries until the rest takes at most nine tenths
/// of `bound` bytes, if it was above `bound`. Other files are left alone.
pub(super) fn tidy(cache: &Path, bound: u64) {
    let mut entries = Vec::new();
    for folder in listed(cache).filter(|path| is_hex(path, 2)) {
        for path in listed(&folder) {
            let Ok(facts) = std::fs::symlink_metadata(&path) else {
                continue;
            };
            let changed = facts.modified().unwrap_or(SystemTime::UNIX_EPOCH);
            if is_hex(&path, 62) && facts.is_file() {
                entries.push((changed, facts.len(), path));
            } else if is_abandoned(&path, &facts) {
                let _ = std::fs::remove_file(path);
            }
        }
    }
    let mut sum: u64 = entries.iter().map(|(_, bytes, _)| bytes).sum();
    if sum <= bound {
        return;
    }
    entries.sort();
    for (_, bytes, path) in entries {
        if sum <= bound / 10 * 9 {
            break;
        }
        if std::fs::remove_file(path).is_ok() {
            sum -= bytes;
        }
    }
}

fn listed(folder: &Path) -> impl Iterator<Item = PathBuf> {
    let entries = std::fs::read_dir(folder).into_iter().flatten();
    entries.flatten().map(|entry| entry.path())
}

fn is_hex(path: &Path, length: usize) -> bool {
    let name = path.file_name().map(|name| name.as_encoded_bytes());
    name.is_some_and(|name| name.len() == length && name.iter().all(u8::is_ascii_hexdigit))
}
