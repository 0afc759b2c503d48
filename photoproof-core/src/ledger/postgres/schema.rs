//! Tables of the ledger in PostgreSQL, and how they are brought up to date.

use postgres::{Client, Transaction};

/// Changes, applied in order; `photoproof_schema` holds how many have been.
///
/// Every table begins with `job`, 63 bits of the SHA-256 of the job's id: spread evenly and known without asking the
/// server, it is the key by which a distributed database divides the tables, so that one job lies in one place and
/// is recorded in one place.
const MIGRATIONS: [&str; 3] = [
    "
CREATE TABLE photoproof_jobs (
    job BIGINT PRIMARY KEY,
    id TEXT NOT NULL,
    vendor TEXT,
    recorded TEXT NOT NULL,
    photos BIGINT NOT NULL
);
CREATE TABLE photoproof_hashes (
    job BIGINT PRIMARY KEY REFERENCES photoproof_jobs (job) ON DELETE CASCADE,
    packed BYTEA NOT NULL
);
CREATE TABLE photoproof_photos (
    job BIGINT NOT NULL REFERENCES photoproof_jobs (job) ON DELETE CASCADE,
    position INTEGER NOT NULL,
    path TEXT NOT NULL,
    file_sha256 TEXT NOT NULL,
    pixel_sha256 TEXT NOT NULL,
    area TEXT,
    phase TEXT,
    taken TEXT,
    device TEXT,
    first_seen TEXT NOT NULL,
    hash BYTEA NOT NULL,
    features BYTEA NOT NULL,
    PRIMARY KEY (job, position)
);
CREATE INDEX photoproof_photos_file ON photoproof_photos (file_sha256);
CREATE INDEX photoproof_photos_pixels ON photoproof_photos (pixel_sha256);
",
    "
CREATE TABLE photoproof_claims (
    job BIGINT PRIMARY KEY,
    worker TEXT NOT NULL,
    until BIGINT NOT NULL
);
",
    // Jobs recorded before have no words: they are found by whole frames until they are recorded again.
    "
ALTER TABLE photoproof_hashes ADD COLUMN words BYTEA NOT NULL DEFAULT '';
",
];

/// Any number, the same for all: two that open a new ledger at once do not both make its tables.
const LOCK: &str = "SELECT pg_advisory_xact_lock(7022906182)";

/// Makes or updates the tables. `Some` version if it is newer than this build knows.
pub(super) fn migrate(client: &mut Client) -> Result<Option<i64>, postgres::Error> {
    let newest = MIGRATIONS.len() as i64;
    let exists = "SELECT to_regclass('photoproof_schema') IS NOT NULL";
    let known: bool = client.query_one(exists, &[])?.try_get(0)?;
    if known {
        let version = version(&mut client.transaction()?)?;
        if version >= newest {
            return Ok((version > newest).then_some(version));
        }
    }
    let mut write = client.transaction()?;
    write.batch_execute(LOCK)?;
    write
        .batch_execute("CREATE TABLE IF NOT EXISTS photoproof_schema (version BIGINT NOT NULL)")?;
    let version = version(&mut write)?;
    for migration in MIGRATIONS.iter().skip(version.max(0) as usize) {
        write.batch_execute(migration)?;
    }
    if version < newest {
        write.execute("DELETE FROM photoproof_schema", &[])?;
        write.execute("INSERT INTO photoproof_schema VALUES ($1)", &[&newest])?;
    }
    write.commit()?;
    Ok((version > newest).then_some(version))
}

fn version(read: &mut Transaction<'_>) -> Result<i64, postgres::Error> {
    let sql = "SELECT coalesce(max(version), 0) FROM photoproof_schema";
    read.query_one(sql, &[])?.try_get(0)
}
