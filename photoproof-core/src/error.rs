//! The one public error type: what kept a job from being judged at all.
//!
//! A bad photo is never an [`Error`]; it is a finding. An error means that nothing was judged.

use std::path::{Path, PathBuf};

/// Why a job could not be judged. The message names the file, what is wrong and what to do.
#[derive(Debug, thiserror::Error)]
#[error("{message}")]
pub struct Error {
    kind: ErrorKind,
    message: String,
    #[source]
    source: Option<Box<dyn std::error::Error + Send + Sync>>,
}

/// The part of the input an [`Error`] belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum ErrorKind {
    /// A file or folder could not be read or written.
    Io,
    /// The job sheet is not valid.
    JobSheet,
    /// The waiver file is not valid.
    Waivers,
    /// The ledger could not be opened, read or written.
    Ledger,
    /// The input exceeds a stated bound (files, bytes, depth).
    Bounds,
    /// A parameter is outside its range.
    Usage,
}

impl Error {
    /// Makes an error of `kind`; `message` is one lower-case sentence without a full stop.
    pub fn new(kind: ErrorKind, message: impl Into<String>) -> Self {
        Self {
            kind,
            message: message.into(),
            source: None,
        }
    }

    /// An input or output error on `path` while doing `action` ("read", "write", ...).
    pub fn io(action: &str, path: &Path, source: std::io::Error) -> Self {
        Self {
            kind: ErrorKind::Io,
            message: format!("cannot {action} {}: {source}", path.display()),
            source: Some(Box::new(source)),
        }
    }

    /// A path that does not exist, with what to do about it.
    #[must_use]
    pub fn missing(what: &str, path: PathBuf) -> Self {
        Self::new(
            ErrorKind::Io,
            format!("{what} {} does not exist; check the path", path.display()),
        )
    }

    /// Adds the underlying cause.
    #[must_use]
    pub fn with_source(
        mut self,
        source: impl Into<Box<dyn std::error::Error + Send + Sync>>,
    ) -> Self {
        self.source = Some(source.into());
        self
    }

    /// Which part of the input is at fault.
    #[must_use]
    pub fn kind(&self) -> ErrorKind {
        self.kind
    }
}
