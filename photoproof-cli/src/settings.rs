//! Flags that several commands share, turned into what the library takes.

use std::path::Path;

use photoproof_core::job::JobSheet;
use photoproof_core::{Error, ErrorKind};

/// The given job sheet, else the one in the job folder, if there is one.
pub(crate) fn job_sheet(folder: &Path, given: Option<&Path>) -> Result<Option<JobSheet>, Error> {
    let usual = folder.join("job.toml");
    match given {
        Some(path) => JobSheet::read(path).map(Some),
        None if usual.exists() => JobSheet::read(&usual).map(Some),
        None => Ok(None),
    }
}

/// The folder's own name, also for `.` and paths that end in `..`.
pub(crate) fn folder_name(folder: &Path) -> String {
    let whole = folder
        .canonicalize()
        .unwrap_or_else(|_| folder.to_path_buf());
    whole.file_name().map_or_else(
        || "job".to_owned(),
        |name| name.to_string_lossy().into_owned(),
    )
}

/// `--threads`.
#[derive(Debug, Clone, Copy, clap::Args)]
pub(crate) struct Threads {
    /// Worker threads; the result does not depend on it [default: one a core]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024))]
    threads: Option<u16>,
}

impl Threads {
    /// Sets up the worker pool. Call once.
    pub(crate) fn apply(self) -> Result<(), Error> {
        let threads = self.threads.map_or(0, usize::from);
        rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build_global()
            .map_err(|e| {
                Error::new(
                    ErrorKind::Usage,
                    format!("cannot start worker threads: {e}"),
                )
            })
    }
}
