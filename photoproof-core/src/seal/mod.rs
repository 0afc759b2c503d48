//! The evidence manifest: a job folder copied into a bag (BagIt, RFC 8493) with SHA-256 of every file.
//!
//! The job folder itself is never changed. The bag is a new folder beside it, `JOB_FOLDER.bag` unless another
//! place is named:
//!
//! ```text
//! WB-1187.bag/
//!   bagit.txt  bag-info.txt  manifest-sha256.txt  tagmanifest-sha256.txt
//!   data/job/...        the job folder, photos and job sheet
//!   data/report/...     the report folder, if one was given
//! ```
//!
//! A matching checksum shows integrity: the file is what was sealed. It does not show authenticity: who took a
//! photo, where or when. Whoever can rewrite the files can rewrite the manifest with them; keep a copy of the
//! manifest's own checksum elsewhere.

use std::collections::BTreeMap;
use std::ffi::OsString;
use std::fs::{self, File};
use std::io::{Read, Write};
use std::path::{Path, PathBuf};

use chrono::NaiveDate;
use sha2::{Digest, Sha256};

use crate::error::{Error, ErrorKind};
use crate::hex::hex;

mod manifest;
mod verify;

pub use verify::{Kind, Place, Problem, Verification, verify};

/// What is sealed, and where to.
#[derive(Debug, Clone)]
pub struct Request<'a> {
    /// Job folder.
    pub folder: &'a Path,
    /// Report folder to seal with it.
    pub report: Option<&'a Path>,
    /// Bag to make; must not exist.
    pub bag: &'a Path,
    /// Day of sealing, written into the bag.
    pub day: NaiveDate,
}

/// A finished bag.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub struct Sealed {
    /// Files of the payload.
    pub files: usize,
    /// Bytes of the payload.
    pub bytes: u64,
    /// SHA-256 of the payload manifest, hexadecimal: the one line to keep elsewhere.
    pub manifest_sha256: String,
}

/// `JOB_FOLDER.bag`, beside the job folder.
#[must_use]
pub fn usual_bag(folder: &Path) -> PathBuf {
    let whole = folder
        .canonicalize()
        .unwrap_or_else(|_| folder.to_path_buf());
    let mut name = whole
        .file_name()
        .map_or_else(|| OsString::from("job"), OsString::from);
    name.push(".bag");
    whole.with_file_name(name)
}

/// Copies the job folder (and the report) into a new bag with its manifests. On an error nothing is left behind.
///
/// # Errors
///
/// When the bag exists or lies inside what it should hold, when the folder is empty or holds a link or a name
/// that is not UTF-8, and when a file cannot be read or written.
pub fn seal(request: &Request<'_>) -> Result<Sealed, Error> {
    must_be_folder(request.folder, "job folder")?;
    if request.bag.exists() {
        let message = format!(
            "{} exists already; verify it, or name another place with --out",
            request.bag.display()
        );
        return Err(Error::new(ErrorKind::Usage, message));
    }
    let mut files = listed(request.folder, "data/job")?;
    if let Some(report) = request.report {
        files.extend(listed(report, "data/report")?);
    }
    apart(request)?;
    if files.is_empty() {
        let message = format!(
            "{} holds no file; there is nothing to seal",
            request.folder.display()
        );
        return Err(Error::new(ErrorKind::Usage, message));
    }
    let mut part = request.bag.as_os_str().to_owned();
    part.push(".part");
    let part = PathBuf::from(part);
    let sealed =
        fill(&part, &files, request.day).and_then(|sealed| match fs::rename(&part, request.bag) {
            Ok(()) => Ok(sealed),
            Err(e) => Err(Error::io("write", request.bag, e)),
        });
    if sealed.is_err() {
        // The first error counts; what cannot be removed stays as `.part` and is no bag.
        let _ = fs::remove_dir_all(&part);
    }
    sealed
}

/// An archive has no files of its own that could be sealed or compared one by one.
fn must_be_folder(path: &Path, what: &str) -> Result<(), Error> {
    if path.is_dir() {
        return Ok(());
    }
    if path.is_file() {
        let message = format!(
            "{} is a file and not a {what}; unpack an archive first and name the folder it gives",
            path.display()
        );
        return Err(Error::new(ErrorKind::Usage, message));
    }
    Err(Error::missing(what, path.to_path_buf()))
}

/// The bag must lie outside the folders it copies.
fn apart(request: &Request<'_>) -> Result<(), Error> {
    let parent = request
        .bag
        .parent()
        .filter(|parent| !parent.as_os_str().is_empty());
    let parent = parent.unwrap_or(Path::new("."));
    let parent = parent
        .canonicalize()
        .map_err(|e| Error::io("open", parent, e))?;
    for folder in [Some(request.folder), request.report].into_iter().flatten() {
        let folder = folder
            .canonicalize()
            .map_err(|e| Error::io("open", folder, e))?;
        if parent.starts_with(&folder) {
            let message = format!(
                "{} lies inside {}; name a place outside with --out",
                request.bag.display(),
                folder.display()
            );
            return Err(Error::new(ErrorKind::Usage, message));
        }
    }
    Ok(())
}

/// Every file below `folder` by its path in the bag.
fn listed(folder: &Path, prefix: &str) -> Result<BTreeMap<String, PathBuf>, Error> {
    let mut files = BTreeMap::new();
    for entry in entries_below(folder)? {
        let refuse =
            |what: &str| Error::new(ErrorKind::Io, format!("{} {what}", entry.path().display()));
        if !entry.file_type().is_file() {
            return Err(refuse(
                "is a link or a device; seal a folder of plain files",
            ));
        }
        let relative = entry.path().strip_prefix(folder).unwrap_or(entry.path());
        let Some(name) = slashed(relative) else {
            return Err(refuse("has a name that is not UTF-8; rename it"));
        };
        files.insert(format!("{prefix}/{name}"), entry.path().to_path_buf());
    }
    Ok(files)
}

/// Everything below `folder` that is not a folder, by name.
fn entries_below(folder: &Path) -> Result<Vec<walkdir::DirEntry>, Error> {
    let walk = walkdir::WalkDir::new(folder)
        .min_depth(1)
        .sort_by_file_name();
    let mut entries = Vec::new();
    for entry in walk {
        let entry = entry.map_err(|error| {
            let at = error.path().unwrap_or(folder).to_path_buf();
            Error::io("read", &at, error.into())
        })?;
        if !entry.file_type().is_dir() {
            entries.push(entry);
        }
    }
    Ok(entries)
}

/// A relative path with `/` between its parts; `None` when it is not UTF-8.
fn slashed(path: &Path) -> Option<String> {
    let parts: Option<Vec<&str>> = path.iter().map(|part| part.to_str()).collect();
    parts.map(|parts| parts.join("/"))
}

fn fill(bag: &Path, files: &BTreeMap<String, PathBuf>, day: NaiveDate) -> Result<Sealed, Error> {
    fs::create_dir(bag).map_err(|e| Error::io("make folder", bag, e))?;
    let mut payload = BTreeMap::new();
    let mut bytes = 0;
    for (path, source) in files {
        let (digest, size) = copied(source, &bag.join(path))?;
        payload.insert(path.clone(), digest);
        bytes += size;
    }
    let text = manifest::render(&payload);
    let info = format!(
        "Bag-Software-Agent: photoproof {}\nBagging-Date: {}\nPayload-Oxum: {bytes}.{}\n\
         Internal-Sender-Description: SHA-256 shows that a file is unchanged since it was sealed (integrity). \
         It does not show who took a photo, where or when (authenticity).\n",
        env!("CARGO_PKG_VERSION"),
        day.format("%Y-%m-%d"),
        payload.len()
    );
    let tags = [
        ("bagit.txt", manifest::DECLARATION.to_owned()),
        ("bag-info.txt", info),
        ("manifest-sha256.txt", text.clone()),
    ];
    let mut digests = BTreeMap::new();
    for (name, text) in &tags {
        written(&bag.join(name), text)?;
        digests.insert((*name).to_owned(), hex(&Sha256::digest(text.as_bytes())));
    }
    written(
        &bag.join("tagmanifest-sha256.txt"),
        &manifest::render(&digests),
    )?;
    Ok(Sealed {
        files: payload.len(),
        bytes,
        manifest_sha256: hex(&Sha256::digest(text.as_bytes())),
    })
}

fn written(path: &Path, text: &str) -> Result<(), Error> {
    let mut file = File::create_new(path).map_err(|e| Error::io("write", path, e))?;
    let done = file
        .write_all(text.as_bytes())
        .and_then(|()| file.sync_all());
    done.map_err(|e| Error::io("write", path, e))
}

/// Copies a file and digests the bytes that were copied.
fn copied(source: &Path, target: &Path) -> Result<(String, u64), Error> {
    if let Some(parent) = target.parent() {
        fs::create_dir_all(parent).map_err(|e| Error::io("make folder", parent, e))?;
    }
    let mut output = File::create_new(target).map_err(|e| Error::io("write", target, e))?;
    let mut keep = |block: &[u8]| output.write_all(block);
    let result = digested::<Sha256>(source, &mut keep)?;
    output
        .sync_all()
        .map_err(|e| Error::io("write", target, e))?;
    Ok(result)
}

/// Digest (hexadecimal) and size of a file; each block read is also given to `keep`.
fn digested<D: Digest>(
    path: &Path,
    keep: &mut dyn FnMut(&[u8]) -> std::io::Result<()>,
) -> Result<(String, u64), Error> {
    let mut file = File::open(path).map_err(|e| Error::io("read", path, e))?;
    let (mut digest, mut size) = (D::new(), 0);
    let mut block = vec![0; 1 << 16];
    loop {
        let read = file
            .read(&mut block)
            .map_err(|e| Error::io("read", path, e))?;
        let Some(filled) = block.get(..read).filter(|filled| !filled.is_empty()) else {
            return Ok((hex(&digest.finalize()), size));
        };
        digest.update(filled);
        keep(filled).map_err(|e| Error::io("copy", path, e))?;
        size += read as u64;
    }
}
