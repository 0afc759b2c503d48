//! The job folder, file by file, in path order. Nothing outside the folder is opened and nothing that
//! is not a regular file.

use std::ffi::OsStr;
use std::path::{Path, PathBuf};

use walkdir::{DirEntry, WalkDir};

use crate::error::{Error, ErrorKind};
use crate::ingest::Ignored;
use crate::ingest::options::IngestOptions;

/// A regular file of the job folder.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Entry {
    /// Path relative to the job folder, for display and for labels.
    pub(crate) shown: String,
    /// Path to open.
    pub(crate) path: PathBuf,
}

/// What a walk found, each list in path order.
#[derive(Debug, Default)]
pub(crate) struct Walked {
    /// Regular files.
    pub(crate) files: Vec<Entry>,
    /// Everything that was left out, with the reason.
    pub(crate) ignored: Vec<Ignored>,
    /// Folders that could not be opened: photos may be missing.
    pub(crate) unreadable: Vec<Ignored>,
}

/// Lists the files of `root`.
pub(crate) fn walk(root: &Path, options: &IngestOptions) -> Result<Walked, Error> {
    if !root.exists() {
        return Err(Error::missing("job folder", root.to_path_buf()));
    }
    if !root.is_dir() {
        let message = format!("{} is not a folder; give the job folder", root.display());
        return Err(Error::new(ErrorKind::Usage, message));
    }
    std::fs::read_dir(root).map_err(|source| Error::io("open folder", root, source))?;
    let mut walked = Walked::default();
    let mut seen = 0_usize;
    let mut entries = WalkDir::new(root)
        .min_depth(1)
        .sort_by_file_name()
        .into_iter();
    while let Some(entry) = entries.next() {
        seen += 1;
        if seen > options.max_files {
            let message = format!(
                "{} holds more than {} files; split the job or raise max_files",
                root.display(),
                options.max_files
            );
            return Err(Error::new(ErrorKind::Bounds, message));
        }
        match entry {
            Ok(entry) => {
                if walked.visit(root, &entry, options) == Descend::No && entry.file_type().is_dir()
                {
                    entries.skip_current_dir();
                }
            }
            Err(error) => {
                let path = error.path().unwrap_or(root);
                let cause = error
                    .io_error()
                    .map_or_else(|| error.to_string(), ToString::to_string);
                walked.unreadable.push(Ignored {
                    path: shown_path(path.strip_prefix(root).unwrap_or(path)),
                    reason: format!("cannot be opened: {cause}"),
                });
            }
        }
    }
    walked.files.sort();
    walked.ignored.sort_by(|a, b| a.path.cmp(&b.path));
    walked.unreadable.sort_by(|a, b| a.path.cmp(&b.path));
    Ok(walked)
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Descend {
    Yes,
    No,
}

impl Walked {
    fn visit(&mut self, root: &Path, entry: &DirEntry, options: &IngestOptions) -> Descend {
        let relative = entry.path().strip_prefix(root).unwrap_or(entry.path());
        let shown = shown_path(relative);
        let kind = entry.file_type();
        let reason = if is_system_name(entry.file_name()) {
            Some("hidden or system file".to_owned())
        } else if kind.is_symlink() {
            Some("symbolic link; links are not followed".to_owned())
        } else if kind.is_dir() {
            let too_deep = entry.depth() > options.max_depth;
            too_deep.then(|| format!("folder deeper than {} levels", options.max_depth))
        } else if kind.is_file() {
            None
        } else {
            Some("not a regular file (pipe, socket or device)".to_owned())
        };
        match reason {
            Some(reason) => {
                self.ignored.push(Ignored {
                    path: shown,
                    reason,
                });
                Descend::No
            }
            None => {
                if kind.is_file() {
                    let path = entry.path().to_path_buf();
                    self.files.push(Entry { shown, path });
                }
                Descend::Yes
            }
        }
    }
}

/// Names that file managers, archivers and servers leave behind, and everything hidden.
fn is_system_name(name: &OsStr) -> bool {
    const NAMES: [&str; 8] = [
        "thumbs.db",
        "ehthumbs.db",
        "desktop.ini",
        "__macosx",
        "@eadir",
        "$recycle.bin",
        "system volume information",
        "lost+found",
    ];
    let lower = name.to_string_lossy().to_lowercase();
    lower.starts_with('.') || NAMES.contains(&lower.as_str())
}

/// A relative path for display: `/` between parts, bytes that are not UTF-8 as `\xNN`, so that two
/// different names never look alike.
pub(crate) fn shown_path(path: &Path) -> String {
    let parts: Vec<String> = path.iter().map(shown_name).collect();
    parts.join("/")
}

fn shown_name(name: &OsStr) -> String {
    let mut shown = String::new();
    for chunk in name.as_encoded_bytes().utf8_chunks() {
        shown.push_str(chunk.valid());
        for byte in chunk.invalid() {
            shown.push_str(&format!("\\x{byte:02X}"));
        }
    }
    shown
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn system_names_are_known_in_any_case() {
        for name in [
            ".DS_Store",
            "Thumbs.db",
            "THUMBS.DB",
            "._IMG_1.jpg",
            "@eaDir",
            "__MACOSX",
        ] {
            assert!(is_system_name(OsStr::new(name)), "{name}");
        }
        for name in ["IMG_1.jpg", "thumbs.jpg", "a.db"] {
            assert!(!is_system_name(OsStr::new(name)), "{name}");
        }
    }

    #[test]
    fn a_missing_or_plain_file_root_is_an_error() {
        let folder = tempfile::tempdir().unwrap();
        let options = IngestOptions::default();
        assert!(walk(&folder.path().join("absent"), &options).is_err());
        let file = folder.path().join("a.txt");
        std::fs::write(&file, "x").unwrap();
        assert!(walk(&file, &options).is_err());
    }

    #[test]
    fn files_are_sorted_by_shown_path_and_bounds_hold() {
        let folder = tempfile::tempdir().unwrap();
        for name in [
            "b/2.jpg",
            "b/1.jpg",
            "a.jpg",
            "b.jpg",
            ".hidden/x.jpg",
            "d/e/f/x.jpg",
        ] {
            let path = folder.path().join(name);
            std::fs::create_dir_all(path.parent().unwrap()).unwrap();
            std::fs::write(path, "x").unwrap();
        }
        let mut options = IngestOptions {
            max_depth: 2,
            ..IngestOptions::default()
        };
        let walked = walk(folder.path(), &options).unwrap();
        let names: Vec<_> = walked
            .files
            .iter()
            .map(|file| file.shown.as_str())
            .collect();
        assert_eq!(names, ["a.jpg", "b.jpg", "b/1.jpg", "b/2.jpg"]);
        let ignored: Vec<_> = walked
            .ignored
            .iter()
            .map(|file| file.path.as_str())
            .collect();
        assert_eq!(ignored, [".hidden", "d/e/f"]);
        options.max_files = 3;
        assert_eq!(
            walk(folder.path(), &options).unwrap_err().kind(),
            ErrorKind::Bounds
        );
    }

    #[cfg(unix)]
    #[test]
    fn links_and_odd_names_are_accounted_for() {
        use std::os::unix::ffi::OsStrExt;
        let folder = tempfile::tempdir().unwrap();
        let root = folder.path();
        std::os::unix::fs::symlink(root, root.join("loop")).unwrap();
        std::os::unix::fs::symlink("/etc/hostname", root.join("out.jpg")).unwrap();
        std::fs::write(root.join(OsStr::from_bytes(b"a\xff.jpg")), "x").unwrap();
        std::fs::write(root.join(OsStr::from_bytes(b"a\xfe.jpg")), "x").unwrap();
        let walked = walk(root, &IngestOptions::default()).unwrap();
        let names: Vec<_> = walked
            .files
            .iter()
            .map(|file| file.shown.as_str())
            .collect();
        assert_eq!(names, ["a\\xFE.jpg", "a\\xFF.jpg"]);
        assert_eq!(walked.ignored.len(), 2);
        assert!(
            walked
                .ignored
                .iter()
                .all(|file| file.reason.contains("link"))
        );
    }
}
