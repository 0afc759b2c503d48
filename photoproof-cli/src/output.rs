//! Report files: whole or not at all.

use std::io::Write;
use std::path::Path;

use photoproof_core::Error;

/// Writes `bytes` to `dir/name`: a temporary file, flushed to disk, then renamed over the old one.
pub(crate) fn write(dir: &Path, name: &str, bytes: &[u8]) -> Result<(), Error> {
    let target = dir.join(name);
    let fault = |e| Error::io("write", &target, e);
    let mut builder = tempfile::Builder::new();
    // Readable like any other file, as far as the user's umask allows; temporary files are not.
    #[cfg(unix)]
    builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
    let mut file = builder.tempfile_in(dir).map_err(fault)?;
    file.write_all(bytes).map_err(fault)?;
    file.as_file().sync_all().map_err(fault)?;
    file.persist(&target).map_err(|e| fault(e.error))?;
    Ok(())
}

/// Makes a folder and its parents.
pub(crate) fn folder(dir: &Path) -> Result<(), Error> {
    std::fs::create_dir_all(dir).map_err(|e| Error::io("make folder", dir, e))
}
