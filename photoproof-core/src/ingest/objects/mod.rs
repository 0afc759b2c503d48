//! A job folder in an object store: `s3://bucket/prefix`, `gs://bucket/prefix` or `az://container/prefix`.
//!
//! Objects are listed once and streamed one by one into memory; nothing is put on disk. The addresses are
//! given by whoever runs the check, never by what lies in the job folder.

#[cfg(feature = "object-storage")]
mod store;

use std::path::{Path, PathBuf};

#[cfg(feature = "object-storage")]
use self::store::folders_below;
#[cfg(feature = "object-storage")]
pub(crate) use self::store::{Object, walk};
use crate::error::Error;
#[cfg(not(feature = "object-storage"))]
use crate::error::ErrorKind;
#[cfg(not(feature = "object-storage"))]
use crate::ingest::{options::IngestOptions, walk::Walked};

/// Whether `root` is an address of an object store rather than a path, in any build.
#[must_use]
pub fn is_object_url(root: &Path) -> bool {
    url(root).is_some()
}

const SCHEMES: [&str; 3] = ["s3://", "gs://", "az://"];

/// The address as text if `root` is one of an object store rather than a path.
pub(crate) fn url(root: &Path) -> Option<&str> {
    let text = root.to_str()?;
    SCHEMES
        .iter()
        .any(|scheme| text.starts_with(scheme))
        .then_some(text)
}

/// The job folders that `place` stands for: of `s3://bucket/prefix/*` one for each name below the prefix, sorted; any
/// other place, on disk or in an object store, is a job folder itself.
///
/// # Errors
/// If the object store cannot be read, or there is nothing below the prefix.
pub fn job_folders(place: &Path) -> Result<Vec<PathBuf>, Error> {
    match url(place).and_then(|url| url.strip_suffix("/*")) {
        Some(above) => folders_below(above),
        None => Ok(vec![place.to_path_buf()]),
    }
}

#[cfg(not(feature = "object-storage"))]
fn folders_below(url: &str) -> Result<Vec<PathBuf>, Error> {
    Err(not_built(url))
}

#[cfg(not(feature = "object-storage"))]
pub(crate) fn walk(url: &str, _: &IngestOptions) -> Result<Walked, Error> {
    Err(not_built(url))
}

#[cfg(not(feature = "object-storage"))]
fn not_built(url: &str) -> Error {
    let message = format!(
        "this build reads no object store; for {url} build it with the feature `object-storage` \
         (cargo build --release --features object-storage), or give a folder"
    );
    Error::new(ErrorKind::Usage, message)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn addresses_and_paths_are_told_apart() {
        for address in ["s3://jobs/a", "gs://jobs", "az://jobs/a/b"] {
            assert_eq!(url(Path::new(address)), Some(address));
        }
        for path in ["jobs/s3", "/s3:/a", "s3:/a", "C:/jobs", "http://jobs/a"] {
            assert_eq!(url(Path::new(path)), None, "{path}");
        }
        let folder = Path::new("jobs/*");
        assert_eq!(job_folders(folder).unwrap(), [folder.to_path_buf()]);
    }
}
