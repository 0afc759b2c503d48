//! The ledger as one SQLite file, safe under several processes and against being killed.

mod failed;
mod packs;
mod reading;
mod schema;

use std::path::{Path, PathBuf};
use std::time::Duration;

use chrono::{SecondsFormat, Utc};
use rusqlite::config::DbConfig;
use rusqlite::{Connection, OptionalExtension, TransactionBehavior, params};

use super::scan::pack;
use super::search::{Asked, candidates};
use super::{
    Claim, JobEntry, JobRecord, LATEST_JOBS, Lead, Ledger, PhotoRecord, Stats, VendorCameras,
    packed,
};
use crate::error::Error;
use crate::measure::Shelf;
use failed::failed;
use reading::{COLUMNS, Reading, photo_of};

/// How long a process waits for another one's write.
const BUSY: Duration = Duration::from_secs(60);

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
        schema::migrate(&mut ledger.connection, path)?;
        Ok(ledger)
    }

    /// How long to wait for another process that writes, instead of the usual minute.
    ///
    /// # Errors
    /// If the file cannot be used any more.
    pub fn wait_at_most(&mut self, wait: Duration) -> Result<(), Error> {
        let set = self.connection.busy_timeout(wait);
        set.map_err(|e| failed("open", &self.path, e))
    }

    fn prepare(&self) -> rusqlite::Result<()> {
        // A ledger has tables alone. Views and triggers of a file that somebody else made would run here.
        for (setting, value) in [
            (DbConfig::SQLITE_DBCONFIG_DEFENSIVE, true),
            (DbConfig::SQLITE_DBCONFIG_TRUSTED_SCHEMA, false),
            (DbConfig::SQLITE_DBCONFIG_ENABLE_VIEW, false),
            (DbConfig::SQLITE_DBCONFIG_ENABLE_TRIGGER, false),
        ] {
            self.connection.set_db_config(setting, value)?;
        }
        self.connection.busy_timeout(BUSY)?;
        self.connection.pragma_update(None, "foreign_keys", true)?;
        self.connection.pragma_update(None, "secure_delete", true)?;
        self.connection.pragma_update(None, "synchronous", "FULL")
    }

    fn write_job(&mut self, job: &JobRecord) -> rusqlite::Result<()> {
        let now = Utc::now().to_rfc3339_opts(SecondsFormat::Secs, true);
        let write = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)?;
        let seen = first_seen(&write, &job.job)?;
        write.execute("DELETE FROM claims WHERE job = ?1", [&job.job])?;
        packs::take_out(&write, &job.job)?;
        write.execute("DELETE FROM jobs WHERE job = ?1", [&job.job])?;
        write.execute(
            "INSERT INTO jobs (job, vendor, recorded, photos) VALUES (?1, ?2, ?3, ?4)",
            params![job.job, job.vendor, now, job.photos.len() as i64],
        )?;
        let id = write.last_insert_rowid();
        let (hashes, words) = packed(&job.photos);
        write.execute(
            "INSERT INTO hashes (job, packed, words) VALUES (?1, ?2, ?3)",
            params![id, hashes, words],
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
        packs::gather(&write)?;
        write.commit()
    }

    fn take(&mut self, job: &str, worker: &str, lease: Duration) -> rusqlite::Result<Claim> {
        let now = Utc::now().timestamp();
        let until = now.saturating_add_unsigned(lease.as_secs());
        // A claim that lasts longer than any was made before this clock was set back.
        let farthest = until.saturating_add_unsigned(lease.as_secs());
        let write = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)?;
        let recorded = write
            .query_row("SELECT recorded FROM jobs WHERE job = ?1", [job], |row| {
                row.get(0)
            })
            .optional()?;
        if let Some(at) = recorded {
            return Ok(Claim::Recorded(at));
        }
        let taken = write.execute(
            "INSERT INTO claims (job, worker, until) VALUES (?1, ?2, ?3)
             ON CONFLICT (job) DO UPDATE SET worker = excluded.worker, until = excluded.until
             WHERE until <= ?4 OR until > ?5 OR worker = excluded.worker",
            params![job, worker, until, now, farthest],
        )?;
        if taken > 0 {
            write.commit()?;
            return Ok(Claim::Taken);
        }
        let holder = "SELECT worker FROM claims WHERE job = ?1";
        write
            .query_row(holder, [job], |row| row.get(0))
            .map(Claim::Held)
    }

    fn forget(&mut self, job: &str) -> rusqlite::Result<bool> {
        let write = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)?;
        packs::take_out(&write, job)?;
        let rows = write.execute("DELETE FROM jobs WHERE job = ?1", [job])?;
        write.commit()?;
        Ok(rows > 0)
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

    fn cameras_of(&self, vendor: &str, except: Option<&str>) -> rusqlite::Result<VendorCameras> {
        let sql = "SELECT DISTINCT j.job, p.device FROM photos p JOIN
                     (SELECT id, job FROM jobs WHERE vendor = ?1 AND job IS NOT ?2
                      ORDER BY recorded DESC, job LIMIT ?3) j ON p.job = j.id
                   WHERE p.device IS NOT NULL ORDER BY j.job, p.device";
        let mut select = self.connection.prepare(sql)?;
        let values = rusqlite::params![vendor, except, LATEST_JOBS];
        let rows = select.query_map(values, |row| Ok((row.get(0)?, row.get(1)?)))?;
        let rows: Vec<(String, String)> = rows.collect::<rusqlite::Result<_>>()?;
        Ok(VendorCameras::of_rows(rows))
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
        self.write_job(job)
            .map_err(|e| failed("write", &self.path, e))
    }

    fn find(&self, photos: &Shelf, except_job: Option<&str>) -> Result<Vec<Lead>, Error> {
        let asked = Asked::new(photos)?;
        let search = || {
            let read = self.connection.unchecked_transaction()?;
            let candidates = candidates(&mut Reading(&read), &asked, except_job)?;
            read.commit().map(|()| candidates)
        };
        let candidates = search().map_err(|e| failed("read", &self.path, e))?;
        asked.leads(&candidates)
    }

    fn jobs(&self) -> Result<Vec<JobEntry>, Error> {
        self.list().map_err(|e| failed("read", &self.path, e))
    }

    fn cameras(&self, vendor: &str, except_job: Option<&str>) -> Result<VendorCameras, Error> {
        self.cameras_of(vendor, except_job)
            .map_err(|e| failed("read", &self.path, e))
    }

    fn photos(&self, job: &str) -> Result<Vec<PhotoRecord>, Error> {
        self.photos_of(job)
            .map_err(|e| failed("read", &self.path, e))
    }

    fn remove_job(&mut self, job: &str) -> Result<bool, Error> {
        self.forget(job).map_err(|e| failed("write", &self.path, e))
    }

    fn claim_job(&mut self, job: &str, worker: &str, lease: Duration) -> Result<Claim, Error> {
        self.take(job, worker, lease)
            .map_err(|e| failed("write", &self.path, e))
    }

    fn release_job(&mut self, job: &str, worker: &str) -> Result<(), Error> {
        let sql = "DELETE FROM claims WHERE job = ?1 AND worker = ?2";
        let released = self.connection.execute(sql, [job, worker]);
        released
            .map(|_| ())
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
