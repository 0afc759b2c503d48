//! Flags that several commands share, turned into what the library takes.

use photoproof_core::{Error, ErrorKind};

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
