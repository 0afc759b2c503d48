//! Exit codes, the one table of them.

use photoproof_core::Error;

/// Shown under `--help`.
pub(crate) const HELP: &str = "Exit codes:
  0  nothing at or above --fail-on
  1  a finding at or above --fail-on
  2  usage, job sheet, ledger or input/output error: nothing was judged
  3  no photos found";

/// How the program ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Exit {
    /// Nothing at or above `--fail-on`.
    Clean = 0,
    /// A finding at or above `--fail-on`.
    Findings = 1,
    /// Nothing was judged.
    Failed = 2,
    /// No photos found.
    NoPhotos = 3,
}

impl Exit {
    /// The code of a batch: an error weighs most, then findings, then an empty folder.
    pub(crate) fn worse(self, other: Exit) -> Exit {
        let weight = |exit| match exit {
            Exit::Clean => 0,
            Exit::NoPhotos => 1,
            Exit::Findings => 2,
            Exit::Failed => 3,
        };
        if weight(other) > weight(self) {
            other
        } else {
            self
        }
    }
}

impl From<Exit> for std::process::ExitCode {
    fn from(exit: Exit) -> Self {
        std::process::ExitCode::from(exit as u8)
    }
}

/// Ends the program after a signal, with the code that shells give to Ctrl-C (128 and the signal's number).
#[expect(clippy::exit, reason = "a signal ends the program at once")]
pub(crate) fn interrupted() -> ! {
    std::process::exit(130)
}

/// Reports an error on stderr, one line a mistake.
pub(crate) fn failed(error: &Error) -> Exit {
    for line in error.to_string().lines() {
        crate::style::diagnostic("error", line);
    }
    Exit::Failed
}

/// Prints help, version or a usage error; help and version succeed.
pub(crate) fn usage(error: &clap::Error) -> std::process::ExitCode {
    let exit = if error.use_stderr() {
        Exit::Failed
    } else {
        Exit::Clean
    };
    // A closed stream must not change the code.
    let _ = error.print();
    exit.into()
}
