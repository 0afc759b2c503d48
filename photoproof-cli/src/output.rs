//! Report files: whole or not at all.

use std::io::Write;
use std::path::Path;

use photoproof_core::Error;

/// Writes `bytes` to `dir/name`: a temporary file, flushed to disk, then renamed over the old one.
pub(crate) fn write(dir: &Path, name: &str, bytes: &[u8]) -> Result<(), Error> {
    let target = dir.join(name);
    let fault = |e| Error::io("write", &target, e);
    let mut file = tempfile::NamedTempFile::new_in(dir).map_err(fault)?;
    file.write_all(bytes).map_err(fault)?;
    file.as_file().sync_all().map_err(fault)?;
    file.persist(&target).map_err(|e| fault(e.error))?;
    Ok(())
}

/// Makes a folder and its parents.
pub(crate) fn folder(dir: &Path) -> Result<(), Error> {
    std::fs::create_dir_all(dir).map_err(|e| Error::io("make folder", dir, e))
}
