//! What a user is told when the file fails.

use std::path::Path;

use rusqlite::ErrorCode;

use crate::error::{Error, ErrorKind};

/// The error of `action` ("open", "read", "write"), in words a user can act on.
pub(super) fn failed(action: &str, path: &Path, source: rusqlite::Error) -> Error {
    let shown = path.display();
    let message = match source.sqlite_error_code() {
        Some(ErrorCode::NotADatabase) => {
            format!("ledger {shown} is not a ledger; give another file")
        }
        Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => {
            format!("ledger {shown} is held by another process; try again")
        }
        Some(ErrorCode::DatabaseCorrupt) => {
            format!(
                "ledger {shown} is damaged; put back a copy, or begin a new one and record the jobs again"
            )
        }
        Some(ErrorCode::DiskFull) => format!(
            "cannot {action} ledger {shown}: no space is left; nothing was changed, make room and try again"
        ),
        Some(ErrorCode::SystemIoFailure) => format!(
            "cannot {action} ledger {shown}: {source}; nothing was changed, check the disk and its quota"
        ),
        Some(ErrorCode::ReadOnly) => {
            format!("cannot {action} ledger {shown}: the file or its folder may not be written to")
        }
        Some(ErrorCode::CannotOpen) => {
            format!(
                "cannot open ledger {shown}: {source}; check that the folder exists and may be written to"
            )
        }
        _ => format!("cannot {action} ledger {shown}: {source}"),
    };
    Error::new(ErrorKind::Ledger, message).with_source(source)
}

/// The error of a file that is not ours to open.
pub(super) fn refused(path: &Path, why: &str) -> Error {
    Error::new(
        ErrorKind::Ledger,
        format!("ledger {} {why}", path.display()),
    )
}
