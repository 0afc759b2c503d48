//! Verification: what changed, is missing or was added since sealing.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

use sha2::{Sha256, Sha512};

use super::manifest::{self, Encoding};
use super::{digested, entries_below, must_be_folder, slashed, usual_bag};
use crate::error::{Error, ErrorKind};

/// Largest manifest read, bytes.
const MAX_BYTES: u64 = 64 << 20;

/// Where a problem was seen.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Place {
    /// In the bag.
    Bag,
    /// In the job folder beside it.
    Folder,
}

/// What is wrong with a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    /// Its bytes differ from those sealed.
    Changed,
    /// It was sealed and is gone.
    Missing,
    /// It is there and was not sealed.
    Added,
    /// The manifest names a place outside the bag; it was not opened.
    Outside,
}

/// One difference.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Problem {
    /// Where.
    pub place: Place,
    /// What.
    pub kind: Kind,
    /// Path, relative to the bag or the job folder.
    pub path: String,
}

/// The answer of [`verify`].
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub struct Verification {
    /// The bag that was read.
    pub bag: PathBuf,
    /// Files of the payload as sealed.
    pub files: usize,
    /// Differences; empty when everything is as sealed.
    pub problems: Vec<Problem>,
}

/// Compares a bag with its manifests. `folder` is a bag, or a job folder with its bag beside it; then the files
/// of the job folder are compared with what was sealed as well.
///
/// # Errors
///
/// When there is no bag, or its declaration or a manifest cannot be read.
pub fn verify(folder: &Path, bag: Option<&Path>) -> Result<Verification, Error> {
    must_be_folder(folder, "folder")?;
    if bag.is_none() && folder.join("bagit.txt").is_file() {
        let (payload, problems) = check_bag(folder)?;
        return Ok(answer(folder.to_path_buf(), payload.len(), problems));
    }
    let bag = bag.map_or_else(|| usual_bag(folder), Path::to_path_buf);
    if !bag.join("bagit.txt").is_file() {
        let message = format!(
            "{} is not sealed: there is no bag at {}; run photoproof seal first",
            folder.display(),
            bag.display()
        );
        return Err(Error::new(ErrorKind::Io, message));
    }
    let (payload, mut problems) = check_bag(&bag)?;
    problems.extend(check_folder(folder, &payload)?);
    Ok(answer(bag, payload.len(), problems))
}

fn answer(bag: PathBuf, files: usize, mut problems: Vec<Problem>) -> Verification {
    problems.sort();
    problems.dedup();
    Verification {
        bag,
        files,
        problems,
    }
}

/// A digest a manifest may use.
#[derive(Debug, Clone, Copy)]
enum Algorithm {
    Sha256,
    Sha512,
}

impl Algorithm {
    const ALL: [(Algorithm, &'static str); 2] =
        [(Algorithm::Sha256, "sha256"), (Algorithm::Sha512, "sha512")];

    fn of(self, path: &Path) -> Result<String, Error> {
        let mut ignore = |_: &[u8]| Ok(());
        let (digest, _) = match self {
            Algorithm::Sha256 => digested::<Sha256>(path, &mut ignore)?,
            Algorithm::Sha512 => digested::<Sha512>(path, &mut ignore)?,
        };
        Ok(digest)
    }
}

/// Digests by path with their algorithm.
type Payload = BTreeMap<String, (Algorithm, String)>;

fn check_bag(bag: &Path) -> Result<(Payload, Vec<Problem>), Error> {
    let encoding = declaration(bag)?;
    let mut payload = Payload::new();
    let mut problems = Vec::new();
    for (algorithm, name) in Algorithm::ALL {
        if let Some(digests) = manifest_of(bag, &format!("manifest-{name}.txt"), encoding)? {
            problems.extend(compare(bag, &digests, algorithm)?);
            payload.extend(digests.into_iter().map(|(path, d)| (path, (algorithm, d))));
        }
        if let Some(digests) = manifest_of(bag, &format!("tagmanifest-{name}.txt"), encoding)? {
            problems.extend(compare(bag, &digests, algorithm)?);
        }
    }
    if payload.is_empty() {
        let message = format!(
            "{} has no manifest-sha256.txt or manifest-sha512.txt with entries; it cannot be verified",
            bag.display()
        );
        return Err(Error::new(ErrorKind::Io, message));
    }
    let there = files_below(&bag.join("data"), "data/")?;
    let added = there.into_iter().filter(|path| !payload.contains_key(path));
    problems.extend(added.map(|path| Problem {
        place: Place::Bag,
        kind: Kind::Added,
        path,
    }));
    Ok((payload, problems))
}

fn declaration(bag: &Path) -> Result<Encoding, Error> {
    let path = bag.join("bagit.txt");
    let text = bounded(&path)?;
    let value = |key: &str| {
        let line = text
            .lines()
            .find_map(|line| line.strip_prefix(key)?.strip_prefix(':'));
        line.map(|value| value.trim().to_owned())
    };
    let version = value("BagIt-Version");
    let utf8 =
        value("Tag-File-Character-Encoding").is_some_and(|v| v.eq_ignore_ascii_case("utf-8"));
    match version.as_deref() {
        Some("1.0") if utf8 => Ok(Encoding::Current),
        Some("0.97" | "0.96" | "0.95" | "0.94" | "0.93") if utf8 => Ok(Encoding::Draft),
        _ => {
            let message = format!(
                "{} does not declare a BagIt version up to 1.0 in UTF-8; this is no bag that can be verified",
                path.display()
            );
            Err(Error::new(ErrorKind::Io, message))
        }
    }
}

/// The entries of a manifest, if it is there.
fn manifest_of(
    bag: &Path,
    name: &str,
    encoding: Encoding,
) -> Result<Option<BTreeMap<String, String>>, Error> {
    let path = bag.join(name);
    if !path.is_file() {
        return Ok(None);
    }
    let text = bounded(&path)?;
    let entries = manifest::parse(&text, encoding).map_err(|line| {
        let message = format!(
            "{}:{line}: no checksum and path on this line; the manifest is damaged",
            path.display()
        );
        Error::new(ErrorKind::Io, message)
    })?;
    Ok(Some(entries))
}

fn bounded(path: &Path) -> Result<String, Error> {
    let facts = fs::metadata(path).map_err(|e| Error::io("read", path, e))?;
    if !facts.is_file() {
        let message = format!("{} is not a regular file; check the path", path.display());
        return Err(Error::new(ErrorKind::Io, message));
    }
    if facts.len() > MAX_BYTES {
        let message = format!(
            "{} is larger than {MAX_BYTES} bytes; check the path",
            path.display()
        );
        return Err(Error::new(ErrorKind::Bounds, message));
    }
    fs::read_to_string(path).map_err(|e| Error::io("read", path, e))
}

fn compare(
    bag: &Path,
    digests: &BTreeMap<String, String>,
    algorithm: Algorithm,
) -> Result<Vec<Problem>, Error> {
    let mut problems = Vec::new();
    for (path, wanted) in digests {
        let kind = match inside(path) {
            false => Some(Kind::Outside),
            true => difference(&bag.join(path), algorithm, wanted)?,
        };
        problems.extend(kind.map(|kind| Problem {
            place: Place::Bag,
            kind,
            path: path.clone(),
        }));
    }
    Ok(problems)
}

/// Whether a manifest path stays below the bag.
fn inside(path: &str) -> bool {
    let parts = Path::new(path).components();
    parts
        .into_iter()
        .all(|part| matches!(part, std::path::Component::Normal(_)))
}

fn difference(path: &Path, algorithm: Algorithm, wanted: &str) -> Result<Option<Kind>, Error> {
    match fs::symlink_metadata(path) {
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => Ok(Some(Kind::Missing)),
        Err(e) => Err(Error::io("read", path, e)),
        // A link in the place of a sealed file is a change; it is not followed.
        Ok(found) if !found.is_file() => Ok(Some(Kind::Changed)),
        Ok(_) => Ok((algorithm.of(path)? != wanted).then_some(Kind::Changed)),
    }
}

/// Compares the job folder with `data/job/` as sealed.
fn check_folder(folder: &Path, payload: &Payload) -> Result<Vec<Problem>, Error> {
    let mut problems = Vec::new();
    let mut sealed = BTreeSet::new();
    for (path, (algorithm, wanted)) in payload {
        let Some(path) = path.strip_prefix("data/job/").filter(|path| inside(path)) else {
            continue;
        };
        sealed.insert(path);
        let kind = difference(&folder.join(path), *algorithm, wanted)?;
        problems.extend(kind.map(|kind| Problem {
            place: Place::Folder,
            kind,
            path: path.to_owned(),
        }));
    }
    let there = files_below(folder, "")?;
    let added = there
        .into_iter()
        .filter(|path| !sealed.contains(path.as_str()));
    problems.extend(added.map(|path| Problem {
        place: Place::Folder,
        kind: Kind::Added,
        path,
    }));
    Ok(problems)
}

/// Every entry below `folder` that is not a folder, as `prefix` and its path.
fn files_below(folder: &Path, prefix: &str) -> Result<Vec<String>, Error> {
    let mut files = Vec::new();
    for entry in entries_below(folder)? {
        let relative = entry.path().strip_prefix(folder).unwrap_or(entry.path());
        let name = slashed(relative).unwrap_or_else(|| relative.to_string_lossy().into_owned());
        files.push(format!("{prefix}{name}"));
    }
    Ok(files)
}
