//! Pictures that lie beside a checkout, where there are any.

use std::path::{Path, PathBuf};

/// A file or folder of the shared pictures; `None` (said on stderr) where it is absent, a failure on CI.
pub(crate) fn shared(part: &str) -> Option<PathBuf> {
    let path = Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/../../shared")).join(part);
    if path.exists() {
        return Some(path);
    }
    assert!(
        std::env::var_os("CI").is_none(),
        "{} is missing",
        path.display()
    );
    eprintln!("skipped: {} is missing", path.display());
    None
}

/// All files below a folder, in order.
#[allow(dead_code, clippy::expect_used)]
pub(crate) fn files_under(folder: &Path, list: &mut Vec<PathBuf>) {
    let entries = std::fs::read_dir(folder).expect("the folder can be listed");
    let mut entries: Vec<PathBuf> = entries
        .map(|entry| entry.expect("an entry can be read").path())
        .collect();
    entries.sort();
    for path in entries {
        if path.is_dir() {
            files_under(&path, list);
        } else {
            list.push(path);
        }
    }
}
