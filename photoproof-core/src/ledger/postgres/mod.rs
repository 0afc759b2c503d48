//! The ledger in PostgreSQL, or in a distributed database that speaks its protocol: shared by many workers.

mod connect;
mod reading;
mod schema;
mod writing;

use std::cell::RefCell;
use std::fmt;
use std::time::Duration;

use postgres::{Client, IsolationLevel, Row};
use sha2::{Digest, Sha256};

use super::search::{Asked, candidates};
use super::{
    Claim, JobEntry, JobRecord, LATEST_JOBS, Lead, Ledger, PhotoRecord, Stats, VendorCameras,
};
use crate::error::{Error, ErrorKind};
use crate::measure::Shelf;
use connect::Connection;
use reading::{COLUMNS, Reading, photo_of};

/// A ledger in a PostgreSQL database.
pub struct PostgresLedger {
    connection: RefCell<Connection>,
}

impl fmt::Debug for PostgresLedger {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        // Not the connection: it knows a password.
        f.debug_tuple("PostgresLedger")
            .field(&self.connection.borrow().shown())
            .finish()
    }
}

impl PostgresLedger {
    /// Connects to `url` (`postgres://USER@HOST:PORT/DATABASE`), makes the tables if there are none, and brings them
    /// up to date.
    ///
    /// # Errors
    /// If the server cannot be reached or refuses, or the tables were written by a newer version.
    pub fn open(url: &str) -> Result<Self, Error> {
        let mut connection = Connection::open(url)?;
        if let Some(version) = connection.run("open", schema::migrate)? {
            let message = format!(
                "ledger {} was written by a newer version (schema {version}); update photoproof",
                connection.shown()
            );
            return Err(Error::new(ErrorKind::Ledger, message));
        }
        Ok(Self {
            connection: RefCell::new(connection),
        })
    }

    fn run<T>(
        &self,
        action: &str,
        work: impl FnMut(&mut Client) -> Result<T, postgres::Error>,
    ) -> Result<T, Error> {
        self.connection.borrow_mut().run(action, work)
    }
}

impl Ledger for PostgresLedger {
    fn record_job(&mut self, job: &JobRecord) -> Result<(), Error> {
        let other = self.run("write", |client| writing::write_job(client, job))?;
        match other {
            None => Ok(()),
            Some(other) => Err(Error::new(
                ErrorKind::Ledger,
                format!(
                    "job {} cannot be told from job {other} in the ledger; give it another id",
                    job.job
                ),
            )),
        }
    }

    fn find(&self, photos: &Shelf, except_job: Option<&str>) -> Result<Vec<Lead>, Error> {
        let asked = Asked::new(photos)?;
        let candidates = self.run("read", |client| {
            let read = client
                .build_transaction()
                .isolation_level(IsolationLevel::RepeatableRead)
                .read_only(true)
                .start()?;
            candidates(&mut Reading(read), &asked, except_job)
        })?;
        asked.leads(&candidates)
    }

    fn jobs(&self) -> Result<Vec<JobEntry>, Error> {
        let sql =
            "SELECT id, vendor, recorded, photos FROM photoproof_jobs ORDER BY id COLLATE \"C\"";
        let entry = |row: &Row| {
            Ok(JobEntry {
                job: row.try_get(0)?,
                vendor: row.try_get(1)?,
                recorded: row.try_get(2)?,
                photos: row.try_get::<_, i64>(3)?.max(0) as u64,
            })
        };
        self.run("read", |client| {
            client.query(sql, &[])?.iter().map(entry).collect()
        })
    }

    fn cameras(&self, vendor: &str, except_job: Option<&str>) -> Result<VendorCameras, Error> {
        let sql = "SELECT DISTINCT j.id COLLATE \"C\", p.device COLLATE \"C\" FROM photoproof_photos p JOIN
                     (SELECT job, id FROM photoproof_jobs WHERE vendor = $1 AND id IS DISTINCT FROM $2
                      ORDER BY recorded DESC, id COLLATE \"C\" LIMIT $3) j ON p.job = j.job
                   WHERE p.device IS NOT NULL ORDER BY 1, 2";
        self.run("read", |client| {
            let rows = client.query(sql, &[&vendor, &except_job, &LATEST_JOBS])?;
            let pairs = rows
                .iter()
                .map(|row| Ok((row.try_get(0)?, row.try_get(1)?)));
            let pairs: Vec<(String, String)> = pairs.collect::<Result<_, postgres::Error>>()?;
            Ok(VendorCameras::of_rows(pairs))
        })
    }

    fn photos(&self, job: &str) -> Result<Vec<PhotoRecord>, Error> {
        let sql = format!(
            "SELECT {COLUMNS} FROM photoproof_photos p JOIN photoproof_jobs j ON j.job = p.job
             WHERE j.job = $1 AND j.id = $2 ORDER BY p.position"
        );
        self.run("read", |client| {
            let rows = client.query(&sql, &[&number(job), &job])?;
            rows.iter().map(photo_of).collect()
        })
    }

    fn remove_job(&mut self, job: &str) -> Result<bool, Error> {
        let sql = "DELETE FROM photoproof_jobs WHERE job = $1 AND id = $2";
        self.run("write", |client| {
            Ok(client.execute(sql, &[&number(job), &job])? > 0)
        })
    }

    fn claim_job(&mut self, job: &str, worker: &str, lease: Duration) -> Result<Claim, Error> {
        self.run("write", |client| writing::claim(client, job, worker, lease))
    }

    fn release_job(&mut self, job: &str, worker: &str) -> Result<(), Error> {
        let sql = "DELETE FROM photoproof_claims WHERE job = $1 AND worker = $2";
        self.run("write", |client| {
            client.execute(sql, &[&number(job), &worker]).map(|_| ())
        })
    }

    fn stats(&self) -> Result<Stats, Error> {
        let sql = "SELECT count(*), coalesce(sum(photos), 0)::bigint,
                   pg_total_relation_size('photoproof_jobs') + pg_total_relation_size('photoproof_hashes')
                   + pg_total_relation_size('photoproof_photos') FROM photoproof_jobs";
        self.run("read", |client| {
            let row = client.query_one(sql, &[])?;
            let size = |i| row.try_get::<_, i64>(i).map(|v| v.max(0) as u64);
            Ok(Stats {
                jobs: size(0)?,
                photos: size(1)?,
                bytes: size(2)?,
            })
        })
    }
}

/// The number of a job: the first 63 bits of the SHA-256 of its id.
fn number(job: &str) -> i64 {
    let digest = Sha256::digest(job.as_bytes());
    let first = digest.iter().take(8);
    let bits = first.fold(0u64, |sum, byte| sum << 8 | u64::from(*byte));
    (bits >> 1) as i64
}
