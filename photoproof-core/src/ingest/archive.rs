//! A .zip of a job folder, read entry by entry. Nothing is unpacked to disk, so no name can lead out of
//! a folder, and no entry yields more bytes than its table of contents declared and the bounds allow.
//!
//! Format: PKWARE APPNOTE.TXT 6.3.10. Stored and deflated entries are read.

use std::collections::{BTreeMap, BTreeSet};
use std::ffi::OsStr;
use std::fs::File;
use std::io::{BufReader, Read, Seek, SeekFrom};
use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError};

use zip::CompressionMethod;
use zip::read::{Config, OwnedZipFileEntry, ZipReadOptions};
use zip::result::ZipError;
use zip::unstable::read::ZipIterable;

use crate::error::{Error, ErrorKind};
use crate::ingest::container::claims_photo;
use crate::ingest::options::IngestOptions;
use crate::ingest::read::extension;
use crate::ingest::walk::{
    Entry, FilePlace, LINK, SPECIAL, Walked, is_system_name, left_out_at, shown_path, too_many,
};
use crate::ingest::{Ignored, Rejected};

/// An entry of an archive that may be read.
#[derive(Debug, Clone)]
pub(crate) struct Member {
    file: SharedFile,
    entry: Arc<OwnedZipFileEntry>,
}

impl Member {
    /// Hands the unpacked bytes to `read`, at most as many as the entry declares, with that number.
    pub(crate) fn with_reader<T>(
        &self,
        read: impl FnOnce(&mut dyn Read, u64) -> T,
    ) -> Result<T, String> {
        let mut file = BufReader::with_capacity(1 << 16, self.file.clone());
        let size = self.entry.size();
        let unpacked = (*self.entry)
            .as_ref()
            .with_reader(&mut file, ZipReadOptions::new())
            .map_err(|error| format!("cannot be unpacked: {error}"))?;
        let mut bounded = Declared {
            inner: unpacked,
            left: size,
        };
        Ok(read(&mut bounded, size))
    }
}

/// Yields the declared number of bytes; more or fewer is an error.
struct Declared<R> {
    inner: R,
    left: u64,
}

impl<R: Read> Read for Declared<R> {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        if buffer.is_empty() {
            return Ok(0);
        }
        let count = self.inner.read(buffer)?;
        let counted = u64::try_from(count).unwrap_or(u64::MAX);
        let wrong = |what: &str| Err(std::io::Error::new(std::io::ErrorKind::InvalidData, what));
        if counted > self.left {
            return wrong("unpacks to more than the archive declares");
        }
        if count == 0 && self.left > 0 {
            return wrong("unpacks to less than the archive declares");
        }
        self.left -= counted;
        Ok(count)
    }
}

/// One open file, read from several places.
#[derive(Debug, Clone)]
struct SharedFile {
    file: Arc<Mutex<File>>,
    size: u64,
    at: u64,
}

impl Read for SharedFile {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        let mut file = self.file.lock().unwrap_or_else(PoisonError::into_inner);
        file.seek(SeekFrom::Start(self.at))?;
        let count = file.read(buffer)?;
        self.at = self
            .at
            .saturating_add(u64::try_from(count).unwrap_or(u64::MAX));
        Ok(count)
    }
}

impl Seek for SharedFile {
    fn seek(&mut self, to: SeekFrom) -> std::io::Result<u64> {
        let at = match to {
            SeekFrom::Start(at) => Some(at),
            SeekFrom::End(by) => self.size.checked_add_signed(by),
            SeekFrom::Current(by) => self.at.checked_add_signed(by),
        };
        self.at = at.ok_or(std::io::ErrorKind::InvalidInput)?;
        Ok(self.at)
    }
}

/// Whether `path` is a file that is called `.zip` or begins as one.
#[must_use]
pub fn is_archive(path: &Path) -> bool {
    if !path.is_file() {
        return false;
    }
    let mut head = Vec::new();
    // What cannot be read goes by its name.
    let _ = File::open(path).and_then(|file| file.take(2).read_to_end(&mut head));
    claims_archive(path, &head)
}

/// Whether a file that begins with `head` is called `.zip` or begins as one.
fn claims_archive(path: &Path, head: &[u8]) -> bool {
    head == b"PK" || extension(&path.to_string_lossy()) == "zip"
}

/// The error of a path that is neither a folder nor an archive.
pub(crate) fn not_a_job(root: &Path) -> Error {
    let message = format!(
        "{} is neither a folder nor a .zip archive; give the job folder or a .zip of it",
        root.display()
    );
    Error::new(ErrorKind::Usage, message)
}

/// Lists the entries of the archive `root` as if they lay in a folder.
pub(crate) fn walk(root: &Path, options: &IngestOptions) -> Result<Walked, Error> {
    let entries = entries(root, options)?;
    let names: Vec<Name> = entries.iter().map(|(_, entry)| Name::of(entry)).collect();
    let strip = common_folder(root, &names);
    let mut sorter = Sorter {
        walked: Walked::default(),
        placed: BTreeSet::new(),
        folders: 0,
        options,
    };
    let mut files: BTreeMap<String, Vec<Member>> = BTreeMap::new();
    for ((file, entry), name) in entries.into_iter().zip(&names) {
        let Some(shown) = sorter.place(name, strip.as_deref(), &entry) else {
            continue;
        };
        let entry = Arc::new(entry);
        files.entry(shown).or_default().push(Member { file, entry });
    }
    if files.len() + sorter.folders > options.max_files {
        return Err(too_many(root, options));
    }
    sorter.sort(files);
    Ok(sorter.walked)
}

/// The table of contents, within the bounds.
fn entries(
    root: &Path,
    options: &IngestOptions,
) -> Result<Vec<(SharedFile, OwnedZipFileEntry)>, Error> {
    let mut file = File::open(root).map_err(|e| Error::io("read", root, e))?;
    let size = file
        .metadata()
        .map_err(|e| Error::io("read", root, e))?
        .len();
    let mut head = Vec::new();
    let read = (&mut file).take(2).read_to_end(&mut head);
    read.map_err(|e| Error::io("read", root, e))?;
    if !claims_archive(root, &head) {
        return Err(not_a_job(root));
    }
    let file = SharedFile {
        file: Arc::new(Mutex::new(file)),
        size,
        at: 0,
    };
    let broken = |error: ZipError| damaged(root, &error.to_string());
    let buffered = BufReader::with_capacity(1 << 16, file.clone());
    let mut archive = ZipIterable::try_new(buffered, Config::default()).map_err(broken)?;
    if archive.len() > options.max_files {
        return Err(too_many(root, options));
    }
    let mut list = Vec::new();
    let (mut packed, mut unpacked, mut first) = (0_u64, 0_u64, None);
    for entry in archive.files().map_err(broken)? {
        let entry = OwnedZipFileEntry::from(entry.map_err(broken)?);
        packed = packed.saturating_add(entry.compressed_size());
        unpacked = unpacked.saturating_add(entry.size());
        let start = entry.central_header_start();
        let read = start.saturating_sub(*first.get_or_insert(start));
        if read > options.max_archive_directory_bytes {
            return Err(too_large(
                root,
                "the table of contents",
                options.max_archive_directory_bytes,
            ));
        }
        list.push((file.clone(), entry));
    }
    if unpacked > options.max_archive_bytes {
        return Err(too_large(
            root,
            "what it unpacks to",
            options.max_archive_bytes,
        ));
    }
    if packed > size {
        return Err(damaged(root, "its entries lie over one another"));
    }
    Ok(list)
}

fn too_large(root: &Path, what: &str, bound: u64) -> Error {
    let message = format!(
        "{}: {what} is larger than the bound of {} MiB; split the job",
        root.display(),
        bound >> 20
    );
    Error::new(ErrorKind::Bounds, message)
}

fn damaged(root: &Path, what: &str) -> Error {
    let message = format!(
        "{} is not a whole .zip archive ({what}); pack the job folder again, or give the folder itself",
        root.display()
    );
    Error::new(ErrorKind::Io, message)
}

/// The name of an entry.
struct Name {
    /// Parts of the path if it stays below the job folder.
    parts: Option<Vec<String>>,
    /// As it is shown otherwise.
    raw: String,
    /// Whether the name ends as that of a folder.
    folder: bool,
}

impl Name {
    /// UTF-8 is taken as it is; other bytes are in code page 437, the format's own (APPNOTE, D.1).
    /// A backslash parts folders, as some programs write it against the format.
    fn of(entry: &OwnedZipFileEntry) -> Self {
        let bytes = entry.name_raw();
        let text = match std::str::from_utf8(bytes) {
            Ok(text) => text.to_owned(),
            Err(_) => match entry.name() {
                Ok(name) if !name.contains('\u{FFFD}') => name.into_owned(),
                _ => escaped(bytes),
            },
        };
        let raw = text.replace('\\', "/");
        let mut parts = Some(Vec::new());
        let drive = raw.as_bytes().get(1) == Some(&b':');
        if raw.starts_with('/') || drive || raw.contains('\0') || raw.is_empty() {
            parts = None;
        }
        for part in raw.split('/') {
            match part {
                "" | "." => {}
                ".." => parts = None,
                part => {
                    if let Some(parts) = &mut parts {
                        parts.push(part.to_owned());
                    }
                }
            }
        }
        let folder = raw.ends_with('/');
        let parts = parts.filter(|parts| folder || !parts.is_empty());
        Self { parts, raw, folder }
    }
}

fn escaped(bytes: &[u8]) -> String {
    let mut shown = String::new();
    for chunk in bytes.utf8_chunks() {
        shown.push_str(chunk.valid());
        for byte in chunk.invalid() {
            shown.push_str(&format!("\\x{byte:02X}"));
        }
    }
    shown
}

/// The one folder that everything lies in, if it is the job folder itself: it has the archive's name, or
/// the job sheet or the label table lie in it.
fn common_folder(root: &Path, names: &[Name]) -> Option<String> {
    let mut top: Option<&str> = None;
    let mut marked = false;
    for name in names {
        let Some([first, rest @ ..]) = name.parts.as_deref() else {
            continue;
        };
        if is_system_name(OsStr::new(first)) {
            continue;
        }
        if (rest.is_empty() && !name.folder) || top.is_some_and(|top| top != first) {
            return None;
        }
        top = Some(first);
        marked |=
            matches!(rest, [file] if file == "job.toml" || file.eq_ignore_ascii_case("photos.csv"));
    }
    let top = top?;
    let stem = root.file_stem().map(|stem| shown_path(Path::new(stem)));
    (marked || stem.as_deref() == Some(top)).then(|| top.to_owned())
}

/// Puts every entry in one of the three lists.
struct Sorter<'a> {
    walked: Walked,
    /// Paths already accounted for by the folder they lie in.
    placed: BTreeSet<String>,
    folders: usize,
    options: &'a IngestOptions,
}

impl Sorter<'_> {
    /// The path of a regular file, or `None` if the entry was accounted for otherwise.
    fn place(
        &mut self,
        name: &Name,
        strip: Option<&str>,
        entry: &OwnedZipFileEntry,
    ) -> Option<String> {
        let Some(parts) = name.parts.as_deref() else {
            self.leave_out(
                name.raw.clone(),
                "its name leads out of the job folder; not unpacked",
            );
            return None;
        };
        let parts = match (parts, strip) {
            ([first, rest @ ..], Some(strip)) if first == strip => rest,
            _ => parts,
        };
        if parts.is_empty() {
            return None;
        }
        let is_folder = name.folder || entry.is_dir();
        if let Some((path, reason)) = left_out_at(parts, is_folder, self.options) {
            if self.placed.insert(path.clone()) {
                self.walked.ignored.push(Ignored { path, reason });
            }
            return None;
        }
        if is_folder {
            self.folders += 1;
            return None;
        }
        let shown = parts.join("/");
        // Unix file types: 0xA000 a link, 0x8000 a regular file (APPNOTE names no others; stat.h).
        let kind = entry.unix_mode().map_or(0, |mode| mode & 0xF000);
        match kind {
            0 | 0x8000 => Some(shown),
            kind => {
                let reason = if kind == 0xA000 { LINK } else { SPECIAL };
                self.walked.ignored.push(Ignored {
                    path: shown,
                    reason: reason.to_owned(),
                });
                None
            }
        }
    }

    /// A photo that is not unpacked is a loss and so a finding; any other file is listed.
    fn leave_out(&mut self, path: String, reason: &str) {
        let reason = reason.to_owned();
        if claims_photo(&extension(&path)) {
            self.walked.unreadable.push(Rejected::unread(path, reason));
        } else {
            self.walked.ignored.push(Ignored { path, reason });
        }
    }

    fn sort(&mut self, files: BTreeMap<String, Vec<Member>>) {
        let taken: BTreeSet<String> = files.keys().cloned().collect();
        for (shown, mut members) in files {
            let below = format!("{shown}/");
            let also_folder = taken
                .range(below.clone()..)
                .next()
                .is_some_and(|next| next.starts_with(&below));
            let Some(member) = members.pop() else {
                continue;
            };
            if !members.is_empty() {
                let reason = format!(
                    "the archive holds {} files of this name; which one is meant is not known",
                    members.len() + 1
                );
                self.leave_out(shown, &reason);
            } else if also_folder {
                self.leave_out(shown, "the archive holds a file and a folder of this name");
            } else if let Some(reason) = refusal(&member.entry, self.options) {
                self.leave_out(shown, &reason);
            } else {
                let place = FilePlace::Member(member);
                self.walked.files.push(Entry { shown, place });
            }
        }
    }
}

/// Why an entry is not unpacked.
fn refusal(entry: &OwnedZipFileEntry, options: &IngestOptions) -> Option<String> {
    if entry.encrypted() {
        return Some("encrypted; send the archive without a password".to_owned());
    }
    let (packed, unpacked) = (entry.compressed_size(), entry.size());
    match entry.compression() {
        CompressionMethod::Stored if packed != unpacked => {
            return Some("the archive declares two sizes for it".to_owned());
        }
        CompressionMethod::Stored | CompressionMethod::Deflated => {}
        other => {
            return Some(format!(
                "packed with {other}, which is not read; pack it with the usual method (deflate)"
            ));
        }
    }
    let bound = packed
        .saturating_mul(options.max_archive_ratio)
        .max(1 << 20);
    (unpacked > bound).then(|| {
        format!(
            "unpacks to more than {} times its packed size",
            options.max_archive_ratio
        )
    })
}
