//! Report files: whole or not at all.

use std::path::Path;

use photoproof_core::Error;
use photoproof_core::whole_file::{self, Use};

/// Writes `bytes` to `dir/name`: a temporary file, flushed to disk, then renamed over the old one.
pub(crate) fn write(dir: &Path, name: &str, bytes: &[u8]) -> Result<(), Error> {
    let target = dir.join(name);
    whole_file::write(&target, bytes, Use::Report).map_err(|e| Error::io("write", &target, e))
}

/// Makes a folder and its parents, and takes away what a killed run left unfinished in it.
pub(crate) fn folder(dir: &Path) -> Result<(), Error> {
    std::fs::create_dir_all(dir).map_err(|e| Error::io("make folder", dir, e))?;
    whole_file::clear_abandoned(dir);
    Ok(())
}
