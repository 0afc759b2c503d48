//! The job folder, file by file, in path order. Nothing outside the folder is opened and nothing that
//! is not a regular file.

use std::ffi::OsStr;
use std::path::{Path, PathBuf};

use walkdir::{DirEntry, WalkDir};

use crate::error::{Error, ErrorKind};
use crate::ingest::archive::{self, Member};
use crate::ingest::objects;
use crate::ingest::options::IngestOptions;
use crate::ingest::{Ignored, Rejected};

/// Where the bytes of a file lie.
#[derive(Debug, Clone)]
pub(crate) enum FilePlace {
    /// In a file of this path.
    File(PathBuf),
    /// In an archive.
    Member(Member),
    /// In an object store.
    #[cfg(feature = "object-storage")]
    Object(objects::Object),
    /// In memory.
    Bytes(std::sync::Arc<[u8]>),
}

/// A regular file of the job folder.
#[derive(Debug, Clone)]
pub(crate) struct Entry {
    /// Path relative to the job folder, for display and for labels.
    pub(crate) shown: String,
    /// What to open.
    pub(crate) place: FilePlace,
}

/// What a walk found, each list in path order.
#[derive(Debug, Default)]
pub(crate) struct Walked {
    /// Regular files.
    pub(crate) files: Vec<Entry>,
    /// Everything that was left out, with the reason.
    pub(crate) ignored: Vec<Ignored>,
    /// Folders that could not be opened (photos may be missing), and photos of an archive that must
    /// not be unpacked.
    pub(crate) unreadable: Vec<Rejected>,
}

/// Lists the files of `root`: a job folder, a .zip of one, or the address of one in an object store.
pub(crate) fn walk(root: &Path, options: &IngestOptions) -> Result<Walked, Error> {
    let mut walked = if let Some(url) = objects::url(root) {
        objects::walk(url, options)?
    } else if root.is_file() {
        archive::walk(root, options)?
    } else {
        walk_folder(root, options)?
    };
    walked.files.sort_by(|a, b| a.shown.cmp(&b.shown));
    walked.ignored.sort_by(|a, b| a.path.cmp(&b.path));
    walked.unreadable.sort_by(|a, b| a.path.cmp(&b.path));
    Ok(walked)
}

fn walk_folder(root: &Path, options: &IngestOptions) -> Result<Walked, Error> {
    if !root.exists() {
        return Err(Error::missing("job folder", root.to_path_buf()));
    }
    if !root.is_dir() {
        return Err(archive::not_a_job(root));
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
            return Err(too_many(root, options));
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
                walked.unreadable.push(Rejected::unread(
                    shown_path(path.strip_prefix(root).unwrap_or(path)),
                    format!("cannot be opened: {cause}"),
                ));
            }
        }
    }
    Ok(walked)
}

/// Why something is left out, the same for folders and archives.
const SYSTEM: &str = "hidden or system file";
pub(crate) const LINK: &str = "symbolic link; links are not followed";
pub(crate) const SPECIAL: &str = "not a regular file (pipe, socket or device)";

fn too_deep(options: &IngestOptions) -> String {
    format!("folder deeper than {} levels", options.max_depth)
}

/// The first folder on the way to a file or folder of these `parts` (or itself) that is left out whole, and why.
pub(crate) fn left_out_at(
    parts: &[String],
    is_folder: bool,
    options: &IngestOptions,
) -> Option<(String, String)> {
    for (index, part) in parts.iter().enumerate() {
        let path = || parts.get(..=index).unwrap_or_default().join("/");
        if is_system_name(OsStr::new(part)) {
            return Some((path(), SYSTEM.to_owned()));
        }
        let folder = is_folder || index + 1 < parts.len();
        if folder && index >= options.max_depth {
            return Some((path(), too_deep(options)));
        }
    }
    None
}

/// The error of a job with too many files.
pub(crate) fn too_many(root: &Path, options: &IngestOptions) -> Error {
    let message = format!(
        "{} holds more than {} files; split the job or raise max_files",
        root.display(),
        options.max_files
    );
    Error::new(ErrorKind::Bounds, message)
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
            Some(SYSTEM.to_owned())
        } else if kind.is_symlink() {
            Some(LINK.to_owned())
        } else if kind.is_dir() {
            let deep = entry.depth() > options.max_depth;
            deep.then(|| too_deep(options))
        } else if kind.is_file() {
            None
        } else {
            Some(SPECIAL.to_owned())
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
                    let place = FilePlace::File(entry.path().to_path_buf());
                    self.files.push(Entry { shown, place });
                }
                Descend::Yes
            }
        }
    }
}

/// Names that file managers, archivers and servers leave behind, and everything hidden.
pub(crate) fn is_system_name(name: &OsStr) -> bool {
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
