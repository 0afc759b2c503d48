//! Flags that several commands share, turned into what the library takes.

use std::path::Path;

use photoproof_core::ingest::{is_object_url, job_sheet_text};
use photoproof_core::job::{self, JobSheet};
use photoproof_core::{Error, ErrorKind};

/// The given job sheet, else the one in the job folder, its archive or the object store, if there is one.
pub(crate) fn job_sheet(folder: &Path, given: Option<&Path>) -> Result<Option<JobSheet>, Error> {
    let usual = folder.join("job.toml");
    if let Some(path) = given {
        return JobSheet::read(path).map(Some);
    }
    if folder.is_file() || is_object_url(folder) {
        let text = job_sheet_text(folder, job::MAX_BYTES)?;
        return text.map(|text| JobSheet::parse(&text, &usual)).transpose();
    }
    match std::fs::symlink_metadata(&usual) {
        // Whoever made the folder must not choose what is read outside it.
        Ok(facts) if facts.is_symlink() => Err(Error::new(
            ErrorKind::JobSheet,
            format!(
                "{} is a symbolic link, which is not followed; give the job sheet with --job-sheet",
                usual.display()
            ),
        )),
        Ok(_) => JobSheet::read(&usual).map(Some),
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => Ok(None),
        Err(error) => Err(Error::io("read", &usual, error)),
    }
}

/// The folder's own name, also for `.` and paths that end in `..`; that of an archive without `.zip`.
pub(crate) fn folder_name(folder: &Path) -> String {
    let whole = folder
        .canonicalize()
        .unwrap_or_else(|_| folder.to_path_buf());
    let zip = |end: &std::ffi::OsStr| end.eq_ignore_ascii_case("zip");
    let archive = whole.is_file() && whole.extension().is_some_and(zip);
    let name = if archive {
        whole.file_stem()
    } else {
        whole.file_name()
    };
    name.map_or_else(
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
