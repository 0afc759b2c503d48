//! Files that are there whole or not at all: written beside their place, then renamed.
//!
//! Unfinished files begin with `.part-` and name their writer, so that what a killed process left can be told from what
//! another one is writing.

use std::collections::BTreeSet;
use std::fs::Metadata;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::Duration;

const PART: &str = ".part-";
/// Unfinished files of other machines, or on systems that do not tell which processes live, are given up after this.
const GIVEN_UP: Duration = Duration::from_secs(24 * 3600);

/// What a file is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Use {
    /// Flushed to disk, and readable as the user's umask says.
    Report,
    /// For its owner alone. Not flushed: its reader notices what a power cut did to it.
    Cache,
}

/// Unfinished files of this process.
static UNFINISHED: Mutex<BTreeSet<PathBuf>> = Mutex::new(BTreeSet::new());

fn unfinished() -> MutexGuard<'static, BTreeSet<PathBuf>> {
    UNFINISHED.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Writes `bytes` to `target`, replacing what is there. Its folder must exist.
///
/// # Errors
/// If the file cannot be written; what was there before is then still there.
pub fn write(target: &Path, bytes: &[u8], purpose: Use) -> io::Result<()> {
    let folder = target.parent().unwrap_or(Path::new("."));
    let prefix = format!("{PART}{}-{}-", host(), std::process::id());
    let mut builder = tempfile::Builder::new();
    builder.prefix(&prefix);
    #[cfg(unix)]
    if purpose == Use::Report {
        builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
    }
    let mut file = {
        let mut unfinished = unfinished();
        let file = builder.tempfile_in(folder)?;
        unfinished.insert(file.path().to_path_buf());
        file
    };
    let path = file.path().to_path_buf();
    let filled = file.write_all(bytes).and_then(|()| match purpose {
        Use::Report => file.as_file().sync_all(),
        Use::Cache => Ok(()),
    });
    let mut unfinished = unfinished();
    unfinished.remove(&path);
    filled?;
    file.persist(target)
        .map(drop)
        .map_err(|failed| failed.error)
}

/// Removes the unfinished files of this process and lets it begin no other and finish none, for a process that ends
/// at once. The process has to end while it holds what this returns.
#[must_use]
pub fn abandon_all() -> impl Sized {
    let unfinished = unfinished();
    for path in unfinished.iter() {
        let _ = std::fs::remove_file(path);
    }
    unfinished
}

/// Removes unfinished files in `folder` whose writers are gone.
pub fn clear_abandoned(folder: &Path) {
    for entry in std::fs::read_dir(folder).into_iter().flatten().flatten() {
        let path = entry.path();
        if std::fs::symlink_metadata(&path).is_ok_and(|facts| is_abandoned(&path, &facts)) {
            let _ = std::fs::remove_file(path);
        }
    }
}

/// Whether a file is unfinished and its writer is gone.
pub(crate) fn is_abandoned(path: &Path, facts: &Metadata) -> bool {
    let name = path.file_name().map(|name| name.to_string_lossy());
    let Some(writer) = name.as_ref().and_then(|name| name.strip_prefix(PART)) else {
        return false;
    };
    if !facts.is_file() {
        return false;
    }
    let mut parts = writer.rsplitn(3, '-').skip(1);
    let process = parts.next().and_then(|text| text.parse::<u32>().ok());
    let is_here = parts.next() == Some(&host());
    match process {
        // A number comes again, as in a container that is started anew.
        Some(process) if is_here && process == std::process::id() => !unfinished().contains(path),
        Some(process) if is_here && Path::new("/proc/self").exists() => {
            !Path::new("/proc").join(process.to_string()).exists()
        }
        _ => {
            let age = facts.modified().ok().and_then(|then| then.elapsed().ok());
            age.is_some_and(|age| age > GIVEN_UP)
        }
    }
}

/// The machine's name, as far as it fits into a file name.
fn host() -> String {
    let name = std::fs::read_to_string("/proc/sys/kernel/hostname").unwrap_or_default();
    let kept = name.trim().chars().filter(|c| c.is_ascii_alphanumeric());
    kept.take(40).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_replaces_another_and_nothing_else_stays() {
        let folder = tempfile::tempdir().unwrap();
        let target = folder.path().join("a");
        for text in ["one", "two"] {
            write(&target, text.as_bytes(), Use::Report).unwrap();
            assert_eq!(std::fs::read_to_string(&target).unwrap(), text);
        }
        assert!(write(&folder.path().join("none/a"), b"x", Use::Cache).is_err());
        assert!(write(folder.path(), b"x", Use::Cache).is_err());
        assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1);
    }

    #[cfg(target_os = "linux")]
    #[test]
    fn only_files_of_dead_writers_are_abandoned() {
        let folder = tempfile::tempdir().unwrap();
        let name = |host: &str, process: u32| format!("{PART}{host}-{process}-abcdef");
        // Process numbers end below this one (PID_MAX_LIMIT of the kernel).
        let dead = (1 << 22) + 1;
        let names = [
            (name(&host(), dead), true),
            (name(&host(), std::process::id()), true),
            (name(&host(), 1), false),
            (name("elsewhere", dead), false),
            ("report.json".to_owned(), false),
            (".part-notes".to_owned(), false),
        ];
        for (name, _) in &names {
            std::fs::write(folder.path().join(name), "x").unwrap();
        }
        clear_abandoned(folder.path());
        for (name, abandoned) in names {
            assert_eq!(folder.path().join(&name).exists(), !abandoned, "{name}");
        }
    }
}
