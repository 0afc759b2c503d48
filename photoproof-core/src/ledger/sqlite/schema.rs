//! Tables of the ledger file, and how they are brought up to date.

use std::path::Path;
use std::time::Duration;

use rusqlite::{Connection, ErrorCode, TransactionBehavior};

use super::failed::{failed, refused};
use crate::error::Error;

/// Marks the file as ours (`application_id`): "phpr".
const APPLICATION: i64 = 0x7068_7072;

/// Schema changes, applied in order; `user_version` counts them.
const MIGRATIONS: [&str; 4] = [
    "
CREATE TABLE jobs (
    id INTEGER PRIMARY KEY,
    job TEXT NOT NULL UNIQUE,
    vendor TEXT,
    recorded TEXT NOT NULL,
    photos INTEGER NOT NULL
);
CREATE TABLE hashes (
    job INTEGER PRIMARY KEY REFERENCES jobs (id) ON DELETE CASCADE,
    packed BLOB NOT NULL
);
CREATE TABLE photos (
    job INTEGER NOT NULL REFERENCES jobs (id) ON DELETE CASCADE,
    position INTEGER NOT NULL,
    path TEXT NOT NULL,
    file_sha256 TEXT NOT NULL,
    pixel_sha256 TEXT NOT NULL,
    area TEXT,
    phase TEXT,
    taken TEXT,
    device TEXT,
    first_seen TEXT NOT NULL,
    hash BLOB NOT NULL,
    features BLOB NOT NULL
);
CREATE UNIQUE INDEX photos_job ON photos (job, position);
CREATE INDEX photos_file ON photos (file_sha256);
CREATE INDEX photos_pixels ON photos (pixel_sha256);
",
    "
CREATE TABLE claims (
    job TEXT PRIMARY KEY,
    worker TEXT NOT NULL,
    until INTEGER NOT NULL
) WITHOUT ROWID;
",
    "
CREATE TABLE packs (
    id INTEGER PRIMARY KEY,
    jobs BLOB NOT NULL,
    packed BLOB NOT NULL
);
ALTER TABLE jobs ADD COLUMN pack INTEGER;
",
    // Jobs recorded before have no words: they are found by whole frames until they are recorded again.
    "
ALTER TABLE hashes ADD COLUMN words BLOB NOT NULL DEFAULT x'';
ALTER TABLE packs ADD COLUMN words BLOB NOT NULL DEFAULT x'';
",
];

/// Makes or updates the tables, and switches to the write-ahead log.
pub(super) fn migrate(connection: &mut Connection, path: &Path) -> Result<(), Error> {
    let fail = |e| failed("open", path, e);
    let version = pragma(connection, "user_version").map_err(fail)?;
    let newest = MIGRATIONS.len() as i64;
    let tables: i64 = connection
        .query_row("SELECT count(*) FROM sqlite_master", [], |r| r.get(0))
        .map_err(fail)?;
    let application = pragma(connection, "application_id").map_err(fail)?;
    if tables > 0 && application != APPLICATION {
        return Err(refused(
            path,
            "is a database of another program; give another file",
        ));
    }
    if version > newest {
        return Err(refused(
            path,
            "was written by a newer version; update photoproof",
        ));
    }
    if version < newest {
        update(connection).map_err(fail)?;
    }
    use_log(connection).map_err(fail)
}

fn pragma(connection: &Connection, name: &str) -> rusqlite::Result<i64> {
    connection.pragma_query_value(None, name, |row| row.get(0))
}

fn update(connection: &mut Connection) -> rusqlite::Result<()> {
    let write = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
    // Another process may have been first.
    let version = pragma(&write, "user_version")?;
    for migration in MIGRATIONS.iter().skip(version.max(0) as usize) {
        write.execute_batch(migration)?;
    }
    write.pragma_update(None, "application_id", APPLICATION)?;
    write.pragma_update(None, "user_version", version.max(MIGRATIONS.len() as i64))?;
    write.commit()
}

/// Switches to the write-ahead log. The switch does not wait for other connections by itself.
fn use_log(connection: &Connection) -> rusqlite::Result<()> {
    let mut tries = 0;
    loop {
        let mode = connection
            .pragma_update_and_check(None, "journal_mode", "WAL", |row| row.get::<_, String>(0));
        let busy = mode.as_ref().is_err_and(|e| {
            let code = e.sqlite_error_code();
            matches!(
                code,
                Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked)
            )
        });
        if !busy || tries == 200 {
            return mode.map(|_| ());
        }
        tries += 1;
        std::thread::sleep(Duration::from_millis(50));
    }
}
