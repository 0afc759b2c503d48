//! `--events`: what happens, as JSON lines, for programs that wait for it.

use std::fs::File;
use std::io::Write;
use std::path::Path;
use std::sync::{Mutex, PoisonError};

use photoproof_core::Error;
use serde::Serialize;

use crate::style;

/// One line. New members may be added; a program should skip events that it does not know.
#[derive(Debug, Serialize)]
#[serde(tag = "event", rename_all = "kebab-case")]
pub(crate) enum Event<'a> {
    /// A job is being looked at.
    JobStarted {
        /// Its name: that of its folder, made distinct, and of its folder of reports.
        job: &'a str,
        /// The job folder as given.
        folder: String,
        /// Files whose names say that they are photos.
        photos: usize,
    },
    /// Photos measured so far.
    Photos {
        job: &'a str,
        done: usize,
        of: usize,
    },
    /// Pairs compared so far.
    Pairs {
        job: &'a str,
        done: usize,
        of: usize,
    },
    /// A job has ended.
    JobFinished {
        job: &'a str,
        /// `judged`, `unchanged` (finished earlier), `left-out`, `no-photos` or `error`.
        result: &'static str,
        /// `pass`, `review` or `fail`; null unless there is a report.
        outcome: Option<photoproof_core::judge::Outcome>,
        /// Standing findings; null unless there is a report.
        findings: Option<usize>,
        /// Why there is no report, else null.
        reason: Option<String>,
    },
    /// All jobs have ended.
    BatchFinished {
        jobs: usize,
        /// How many have a report.
        judged: usize,
        /// How many of these were finished earlier.
        unchanged: usize,
        /// How many could not be judged.
        errors: usize,
        /// The exit code.
        exit: u8,
    },
}

/// Where events go.
pub(crate) struct Events(Mutex<Option<Box<dyn Write + Send>>>);

impl Events {
    /// Opens FILE anew, or stdout for `-`; without either, events go nowhere.
    ///
    /// # Errors
    /// If the file cannot be written.
    pub(crate) fn open(place: Option<&Path>) -> Result<Self, Error> {
        let sink: Option<Box<dyn Write + Send>> = match place {
            None => None,
            Some(path) if path == Path::new("-") => Some(Box::new(std::io::stdout())),
            Some(path) => {
                let file = File::create(path).map_err(|e| Error::io("write", path, e))?;
                Some(Box::new(file))
            }
        };
        Ok(Self(Mutex::new(sink)))
    }

    /// Writes one line at once, unless nobody listens any more.
    pub(crate) fn tell(&self, event: &Event<'_>) {
        let mut sink = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let Some(open) = sink.as_mut() else { return };
        let Ok(mut line) = serde_json::to_vec(event) else {
            return;
        };
        line.push(b'\n');
        if let Err(error) = open.write_all(&line).and_then(|()| open.flush()) {
            *sink = None;
            if error.kind() != std::io::ErrorKind::BrokenPipe {
                let message = format!("cannot write events: {error}; the check goes on without");
                style::diagnostic("warning", &message);
            }
        }
    }
}
