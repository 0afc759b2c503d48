//! The ledger as one SQLite file, safe under several processes and against being killed.

use std::path::{Path, PathBuf};
use std::time::Duration;

use chrono::{SecondsFormat, Utc};
use rusqlite::{Connection, OptionalExtension, Row, TransactionBehavior, params};

use super::scan::{Batch, Found, MAX_ASKED, PACKED, Scan, pack, pass_all, unpack};
use super::{CompactFeatures, JobEntry, JobRecord, Lead, Ledger, PhotoRecord, Stats, confirm};
use crate::error::{Error, ErrorKind};
use crate::measure::PhotoMeasures;
use crate::measure::phash::PerceptualHash;

/// Marks the file as ours (`application_id`): "phpr".
const APPLICATION: i64 = 0x7068_7072;
/// How long a process waits for another one's write.
const BUSY: Duration = Duration::from_secs(60);
/// Bits of a photo's key that number it within its job.
const POSITION_BITS: u32 = 24;

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

    /// Photos within the hash distance, by (asked photo, photo key).
    fn near(&self, photos: &[&PhotoMeasures]) -> rusqlite::Result<Found> {
        let kept = self.size()?.photos;
        let mut found = Found::new();
        for (i, part) in photos.chunks(MAX_ASKED).enumerate() {
            let turned: Vec<_> = part.iter().map(|p| &p.fingerprint.hashes).collect();
            let scan = Scan::new(&turned, kept);
            let part = pass_all(&scan, |send| self.batches(send))?;
            let first = i * MAX_ASKED;
            found.extend(
                part.into_iter()
                    .map(|((n, key), hit)| ((first + n, key), hit)),
            );
        }
        Ok(found)
    }

    /// Hands the packed hashes of all jobs to `send`, a batch at a time, until it takes no more.
    fn batches(&self, send: &dyn Fn(Batch) -> bool) -> rusqlite::Result<()> {
        let mut select = self.connection.prepare("SELECT job, packed FROM hashes")?;
        let mut rows = select.query([])?;
        let mut batch = Batch::default();
        while let Some(row) = rows.next()? {
            let packed = row.get_ref(1)?.as_blob().unwrap_or_default();
            batch.push((row.get::<_, i64>(0)? as u64) << POSITION_BITS, packed);
            if batch.is_full() && !send(std::mem::take(&mut batch)) {
                return Ok(());
            }
        }
        send(batch);
        Ok(())
    }

    /// Photos with an equal digest, as if found at distance 0.
    fn equal(&self, photos: &[&PhotoMeasures], found: &mut Found) -> rusqlite::Result<()> {
        let mut select = self.connection.prepare(
            "SELECT job, position FROM photos WHERE file_sha256 = ?1
             UNION SELECT job, position FROM photos WHERE pixel_sha256 = ?2",
        )?;
        for (asked, photo) in photos.iter().enumerate() {
            let digests = [
                &photo.fingerprint.file_sha256,
                &photo.fingerprint.pixel_sha256,
            ];
            let mut rows = select.query(digests)?;
            while let Some(row) = rows.next()? {
                let key =
                    (row.get::<_, i64>(0)? as u64) << POSITION_BITS | row.get::<_, i64>(1)? as u64;
                found.insert((asked, key), (0, 0));
            }
        }
        Ok(())
    }

    fn leads(
        &self,
        photos: &[&PhotoMeasures],
        except: Option<&str>,
    ) -> rusqlite::Result<Vec<Lead>> {
        // One snapshot for all look-ups, whatever other processes write meanwhile.
        let read = self.connection.unchecked_transaction()?;
        let mut found = self.near(photos)?;
        self.equal(photos, &mut found)?;
        let mut select = self.connection.prepare(&format!(
            "SELECT {COLUMNS}, j.job FROM photos p JOIN jobs j ON j.id = p.job
             WHERE p.job = ?1 AND p.position = ?2"
        ))?;
        let mut leads = Vec::new();
        for ((asked, key), (distance, turn)) in found {
            let at = [
                (key >> POSITION_BITS) as i64,
                (key & ((1 << POSITION_BITS) - 1)) as i64,
            ];
            let row = select
                .query_row(at, |row| Ok((photo_of(row)?, row.get::<_, String>(10)?)))
                .optional()?;
            let (Some((photo, job)), Some(measures)) = (row, photos.get(asked)) else {
                continue;
            };
            if except != Some(job.as_str()) {
                leads.push(Lead {
                    asked,
                    job,
                    distance,
                    measure: confirm(measures, &photo, turn),
                    photo,
                });
            }
        }
        read.commit()?;
        leads.sort_by(|a, b| {
            (a.asked, &a.job, &a.photo.path).cmp(&(b.asked, &b.job, &b.photo.path))
        });
        Ok(leads)
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

impl Ledger for SqliteLedger {
    fn record_job(&mut self, job: &JobRecord) -> Result<(), Error> {
        if job.photos.len() >= 1 << POSITION_BITS {
            return Err(refused(
                &self.path,
                "cannot hold a job of 16 million photos or more",
            ));
        }
        self.write_job(job)
            .map_err(|e| failed("write", &self.path, e))
    }

    fn find(
        &self,
        photos: &[&PhotoMeasures],
        except_job: Option<&str>,
    ) -> Result<Vec<Lead>, Error> {
        self.leads(photos, except_job)
            .map_err(|e| failed("read", &self.path, e))
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
    let known = hash.len() == PACKED;
    Ok(PhotoRecord {
        path: row.get(0)?,
        file_sha256: row.get(1)?,
        pixel_sha256: row.get(2)?,
        area: row.get(3)?,
        phase: row.get(4)?,
        taken: row.get(5)?,
        device: row.get(6)?,
        first_seen: row.get(7)?,
        hash: if known {
            unpack(&hash)
        } else {
            PerceptualHash::default()
        },
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
