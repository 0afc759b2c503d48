//! The ledger as one SQLite file, safe under several processes and against being killed.

use std::path::{Path, PathBuf};
use std::time::Duration;

use chrono::{SecondsFormat, Utc};
use rusqlite::{Connection, OptionalExtension, Row, TransactionBehavior, params};

use super::scan::{Batch, Place, pack};
use super::search::{Snapshot, leads};
use super::{CompactFeatures, JobEntry, JobRecord, Lead, Ledger, PhotoRecord, Stats, hash_of};
use crate::error::{Error, ErrorKind};
use crate::measure::PhotoMeasures;

/// Marks the file as ours (`application_id`): "phpr".
const APPLICATION: i64 = 0x7068_7072;
/// How long a process waits for another one's write.
const BUSY: Duration = Duration::from_secs(60);

/// Schema changes, applied in order; `user_version` counts them.
const MIGRATIONS: [&str; 1] = ["
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
"];

/// Columns in the order that `photo_of` reads.
const COLUMNS: &str = "p.path, p.file_sha256, p.pixel_sha256, p.area, p.phase, p.taken, p.device, \
                       p.first_seen, p.hash, p.features";

/// A ledger in one SQLite file (write-ahead log beside it while it is open).
#[derive(Debug)]
pub struct SqliteLedger {
    connection: Connection,
    path: PathBuf,
}

impl SqliteLedger {
    /// Opens the file, makes it if it does not exist, and brings its schema up to date.
    ///
    /// # Errors
    /// If it cannot be opened, is no ledger, or was written by a newer version.
    pub fn open(path: &Path) -> Result<Self, Error> {
        let connection = Connection::open(path).map_err(|e| failed("open", path, e))?;
        let mut ledger = Self {
            connection,
            path: path.to_owned(),
        };
        ledger.prepare().map_err(|e| failed("open", path, e))?;
        ledger.migrate()?;
        Ok(ledger)
    }

    fn prepare(&self) -> rusqlite::Result<()> {
        self.connection.busy_timeout(BUSY)?;
        self.connection.pragma_update(None, "foreign_keys", true)?;
        self.connection.pragma_update(None, "secure_delete", true)?;
        self.connection.pragma_update(None, "synchronous", "FULL")
    }

    fn migrate(&mut self) -> Result<(), Error> {
        let path = self.path.clone();
        let fail = |e| failed("open", &path, e);
        let pragma =
            |c: &Connection, name: &str| c.pragma_query_value(None, name, |r| r.get::<_, i64>(0));
        let version = pragma(&self.connection, "user_version").map_err(fail)?;
        let newest = MIGRATIONS.len() as i64;
        let tables: i64 = self
            .connection
            .query_row("SELECT count(*) FROM sqlite_master", [], |r| r.get(0))
            .map_err(fail)?;
        let application = pragma(&self.connection, "application_id").map_err(fail)?;
        if tables > 0 && application != APPLICATION {
            return Err(refused(
                &path,
                "is a database of another program; give another file",
            ));
        }
        if version > newest {
            return Err(refused(
                &path,
                "was written by a newer version; update photoproof",
            ));
        }
        if version < newest {
            let write = self
                .connection
                .transaction_with_behavior(TransactionBehavior::Immediate)
                .map_err(fail)?;
            // Another process may have been first.
            let version = pragma(&write, "user_version").map_err(fail)?;
            for migration in MIGRATIONS.iter().skip(version.max(0) as usize) {
                write.execute_batch(migration).map_err(fail)?;
            }
            write
                .pragma_update(None, "application_id", APPLICATION)
                .map_err(fail)?;
            write
                .pragma_update(None, "user_version", newest)
                .map_err(fail)?;
            write.commit().map_err(fail)?;
        }
        self.use_log()
    }

    /// Switches to the write-ahead log. The switch does not wait for other connections by itself.
    fn use_log(&self) -> Result<(), Error> {
        let mut tries = 0;
        loop {
            let mode = self
                .connection
                .pragma_update_and_check(None, "journal_mode", "WAL", |r| r.get::<_, String>(0));
            match mode {
                Ok(_) => return Ok(()),
                Err(_) if tries < 200 => {
                    tries += 1;
                    std::thread::sleep(Duration::from_millis(50));
                }
                Err(e) => return Err(failed("open", &self.path, e)),
            }
        }
    }

    fn write_job(&mut self, job: &JobRecord) -> rusqlite::Result<()> {
        let now = Utc::now().to_rfc3339_opts(SecondsFormat::Secs, true);
        let write = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)?;
        let seen = first_seen(&write, &job.job)?;
        write.execute("DELETE FROM jobs WHERE job = ?1", [&job.job])?;
        write.execute(
            "INSERT INTO jobs (job, vendor, recorded, photos) VALUES (?1, ?2, ?3, ?4)",
            params![job.job, job.vendor, now, job.photos.len() as i64],
        )?;
        let id = write.last_insert_rowid();
        let packed: Vec<u8> = job.photos.iter().flat_map(|p| pack(&p.hash)).collect();
        write.execute(
            "INSERT INTO hashes (job, packed) VALUES (?1, ?2)",
            params![id, packed],
        )?;
        {
            let mut insert = write.prepare(
                "INSERT INTO photos VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12)",
            )?;
            for (position, photo) in job.photos.iter().enumerate() {
                insert.execute(params![
                    id,
                    position as i64,
                    photo.path,
                    photo.file_sha256,
                    photo.pixel_sha256,
                    photo.area,
                    photo.phase,
                    photo.taken,
                    photo.device,
                    seen.get(&photo.file_sha256).unwrap_or(&now),
                    pack(&photo.hash).as_slice(),
                    photo.features.to_bytes(),
                ])?;
            }
        }
        write.commit()
    }

    fn list(&self) -> rusqlite::Result<Vec<JobEntry>> {
        let sql = "SELECT job, vendor, recorded, photos FROM jobs ORDER BY job";
        let mut select = self.connection.prepare(sql)?;
        let rows = select.query_map([], |row| {
            Ok(JobEntry {
                job: row.get(0)?,
                vendor: row.get(1)?,
                recorded: row.get(2)?,
                photos: row.get::<_, i64>(3)? as u64,
            })
        })?;
        rows.collect()
    }

    fn photos_of(&self, job: &str) -> rusqlite::Result<Vec<PhotoRecord>> {
        let mut select = self.connection.prepare(&format!(
            "SELECT {COLUMNS} FROM photos p JOIN jobs j ON j.id = p.job
             WHERE j.job = ?1 ORDER BY p.position"
        ))?;
        let rows = select.query_map([job], photo_of)?;
        rows.collect()
    }

    fn size(&self) -> rusqlite::Result<Stats> {
        let sql = "SELECT count(*), coalesce(sum(photos), 0),
                   (SELECT page_count * page_size FROM pragma_page_count, pragma_page_size) FROM jobs";
        self.connection.query_row(sql, [], |row| {
            let number = |i| row.get::<_, i64>(i).map(|v| v as u64);
            Ok(Stats {
                jobs: number(0)?,
                photos: number(1)?,
                bytes: number(2)?,
            })
        })
    }
}

/// One snapshot of the file, whatever other processes write meanwhile.
struct Reading<'a>(&'a Connection);

impl Snapshot for Reading<'_> {
    type Error = rusqlite::Error;

    fn kept(&mut self) -> rusqlite::Result<u64> {
        let sql = "SELECT coalesce(sum(photos), 0) FROM jobs";
        let photos = self.0.query_row(sql, [], |row| row.get::<_, i64>(0));
        photos.map(|count| count.max(0) as u64)
    }

    fn batches(&mut self, send: &dyn Fn(Batch) -> bool) -> rusqlite::Result<()> {
        let mut select = self.0.prepare("SELECT job, packed FROM hashes")?;
        let mut rows = select.query([])?;
        let mut batch = Batch::default();
        while let Some(row) = rows.next()? {
            let packed = row.get_ref(1)?.as_blob().unwrap_or_default();
            batch.push(row.get(0)?, packed);
            if batch.is_full() && !send(std::mem::take(&mut batch)) {
                return Ok(());
            }
        }
        send(batch);
        Ok(())
    }

    fn equal(&mut self, asked: &[&PhotoMeasures]) -> rusqlite::Result<Vec<(usize, Place)>> {
        let mut select = self.0.prepare(
            "SELECT job, position FROM photos WHERE file_sha256 = ?1
             UNION SELECT job, position FROM photos WHERE pixel_sha256 = ?2",
        )?;
        let mut equal = Vec::new();
        for (number, photo) in asked.iter().enumerate() {
            let print = &photo.fingerprint;
            let mut rows = select.query([&print.file_sha256, &print.pixel_sha256])?;
            while let Some(row) = rows.next()? {
                let (job, position) = (row.get(0)?, row.get(1)?);
                equal.push((number, Place { job, position }));
            }
        }
        Ok(equal)
    }

    fn photos(&mut self, places: &[Place]) -> rusqlite::Result<Vec<(Place, String, PhotoRecord)>> {
        let mut select = self.0.prepare(&format!(
            "SELECT {COLUMNS}, j.job FROM photos p JOIN jobs j ON j.id = p.job
             WHERE p.job = ?1 AND p.position = ?2"
        ))?;
        let mut photos = Vec::new();
        for place in places {
            let row = select
                .query_row(params![place.job, place.position], |row| {
                    Ok((photo_of(row)?, row.get::<_, String>(10)?))
                })
                .optional()?;
            photos.extend(row.map(|(photo, job)| (*place, job, photo)));
        }
        Ok(photos)
    }
}

impl Ledger for SqliteLedger {
    fn record_job(&mut self, job: &JobRecord) -> Result<(), Error> {
        self.write_job(job)
            .map_err(|e| failed("write", &self.path, e))
    }

    fn find(
        &self,
        photos: &[&PhotoMeasures],
        except_job: Option<&str>,
    ) -> Result<Vec<Lead>, Error> {
        let search = || {
            let read = self.connection.unchecked_transaction()?;
            let leads = leads(&mut Reading(&read), photos, except_job)?;
            read.commit().map(|()| leads)
        };
        search().map_err(|e| failed("read", &self.path, e))
    }

    fn jobs(&self) -> Result<Vec<JobEntry>, Error> {
        self.list().map_err(|e| failed("read", &self.path, e))
    }

    fn photos(&self, job: &str) -> Result<Vec<PhotoRecord>, Error> {
        self.photos_of(job)
            .map_err(|e| failed("read", &self.path, e))
    }

    fn remove_job(&mut self, job: &str) -> Result<bool, Error> {
        let removed = self
            .connection
            .execute("DELETE FROM jobs WHERE job = ?1", [job]);
        removed
            .map(|rows| rows > 0)
            .map_err(|e| failed("write", &self.path, e))
    }

    fn stats(&self) -> Result<Stats, Error> {
        self.size().map_err(|e| failed("read", &self.path, e))
    }
}

/// First-seen times of a job's photos by file digest.
fn first_seen(
    connection: &Connection,
    job: &str,
) -> rusqlite::Result<std::collections::BTreeMap<String, String>> {
    let mut select = connection.prepare(
        "SELECT p.file_sha256, min(p.first_seen) FROM photos p JOIN jobs j ON j.id = p.job
         WHERE j.job = ?1 GROUP BY p.file_sha256",
    )?;
    let rows = select.query_map([job], |row| Ok((row.get(0)?, row.get(1)?)))?;
    rows.collect()
}

fn photo_of(row: &Row<'_>) -> rusqlite::Result<PhotoRecord> {
    let hash: Vec<u8> = row.get(8)?;
    let features: Vec<u8> = row.get(9)?;
    Ok(PhotoRecord {
        path: row.get(0)?,
        file_sha256: row.get(1)?,
        pixel_sha256: row.get(2)?,
        area: row.get(3)?,
        phase: row.get(4)?,
        taken: row.get(5)?,
        device: row.get(6)?,
        first_seen: row.get(7)?,
        hash: hash_of(&hash),
        features: CompactFeatures::from_bytes(&features),
    })
}

fn failed(action: &str, path: &Path, source: rusqlite::Error) -> Error {
    let shown = path.display();
    let message = match source.sqlite_error_code() {
        Some(rusqlite::ErrorCode::NotADatabase) => {
            format!("ledger {shown} is not a ledger; give another file")
        }
        Some(rusqlite::ErrorCode::DatabaseBusy) => {
            format!("ledger {shown} is held by another process; try again")
        }
        _ => format!("cannot {action} ledger {shown}: {source}"),
    };
    Error::new(ErrorKind::Ledger, message).with_source(source)
}

fn refused(path: &Path, why: &str) -> Error {
    Error::new(
        ErrorKind::Ledger,
        format!("ledger {} {why}", path.display()),
    )
}
