//! The ledger in PostgreSQL, or in a distributed database that speaks its protocol: shared by many workers.

mod connect;
mod schema;

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::fmt;

use chrono::{SecondsFormat, Utc};
use fallible_iterator::FallibleIterator;
use postgres::{Client, IsolationLevel, Row, Transaction};
use sha2::{Digest, Sha256};

use super::scan::{Batch, Place, pack};
use super::search::{Snapshot, leads};
use super::{CompactFeatures, JobEntry, JobRecord, Lead, Ledger, PhotoRecord, Stats, hash_of};
use crate::error::{Error, ErrorKind};
use crate::measure::PhotoMeasures;
use connect::Connection;

/// Columns in the order that `photo_of` reads.
const COLUMNS: &str = "p.path, p.file_sha256, p.pixel_sha256, p.area, p.phase, p.taken, p.device, \
                       p.first_seen, p.hash, p.features";

/// Rows of packed hashes fetched at a time: bounds the memory of a search.
const FETCH: i32 = 512;

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
        let other = self.run("write", |client| write_job(client, job))?;
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

    fn find(
        &self,
        photos: &[&PhotoMeasures],
        except_job: Option<&str>,
    ) -> Result<Vec<Lead>, Error> {
        self.run("read", |client| {
            let read = client
                .build_transaction()
                .isolation_level(IsolationLevel::RepeatableRead)
                .read_only(true)
                .start()?;
            leads(&mut Reading(read), photos, except_job)
        })
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

/// Writes a job in one transaction; `Some` other job if the two have the same number (1 in 10^6 for six million
/// jobs).
fn write_job(client: &mut Client, job: &JobRecord) -> Result<Option<String>, postgres::Error> {
    let now = Utc::now().to_rfc3339_opts(SecondsFormat::Secs, true);
    let number = number(&job.job);
    let mut write = client.transaction()?;
    // The row of the job is the lock of the job: a second recorder of the same job waits here, and replaces.
    let row = write.query_one(
        "INSERT INTO photoproof_jobs AS j (job, id, vendor, recorded, photos) VALUES ($1, $2, $3, $4, $5)
         ON CONFLICT (job) DO UPDATE SET vendor = CASE WHEN j.id = excluded.id THEN excluded.vendor ELSE j.vendor END,
             recorded = CASE WHEN j.id = excluded.id THEN excluded.recorded ELSE j.recorded END,
             photos = CASE WHEN j.id = excluded.id THEN excluded.photos ELSE j.photos END
         RETURNING id",
        &[&number, &job.job, &job.vendor, &now, &(job.photos.len() as i64)],
    )?;
    let holder: String = row.try_get(0)?;
    if holder != job.job {
        return Ok(Some(holder));
    }
    let seen = first_seen(&mut write, number)?;
    write.execute("DELETE FROM photoproof_photos WHERE job = $1", &[&number])?;
    write.execute("DELETE FROM photoproof_hashes WHERE job = $1", &[&number])?;
    let packed: Vec<u8> = job.photos.iter().flat_map(|p| pack(&p.hash)).collect();
    write.execute(
        "INSERT INTO photoproof_hashes (job, packed) VALUES ($1, $2)",
        &[&number, &packed],
    )?;
    write_photos(&mut write, number, &job.photos, &|photo| {
        seen.get(&photo.file_sha256).unwrap_or(&now)
    })?;
    write.commit()?;
    Ok(None)
}

/// One statement for all photos: one round trip, however far the server is.
fn write_photos<'a>(
    write: &mut Transaction<'_>,
    job: i64,
    photos: &'a [PhotoRecord],
    seen: &dyn Fn(&'a PhotoRecord) -> &'a str,
) -> Result<(), postgres::Error> {
    let texts = |field: fn(&PhotoRecord) -> Option<&str>| -> Vec<Option<&str>> {
        photos.iter().map(field).collect()
    };
    let positions: Vec<i32> = (0..photos.len() as i32).collect();
    let hashes: Vec<Vec<u8>> = photos.iter().map(|p| pack(&p.hash).to_vec()).collect();
    let features: Vec<Vec<u8>> = photos.iter().map(|p| p.features.to_bytes()).collect();
    let seen: Vec<&str> = photos.iter().map(seen).collect();
    write.execute(
        "INSERT INTO photoproof_photos (job, position, path, file_sha256, pixel_sha256, area, phase, taken, device,
             first_seen, hash, features)
         SELECT $1, t.* FROM unnest($2::int[], $3::text[], $4::text[], $5::text[], $6::text[], $7::text[], $8::text[],
             $9::text[], $10::text[], $11::bytea[], $12::bytea[]) AS t",
        &[
            &job,
            &positions,
            &texts(|p| Some(&p.path)),
            &texts(|p| Some(&p.file_sha256)),
            &texts(|p| Some(&p.pixel_sha256)),
            &texts(|p| p.area.as_deref()),
            &texts(|p| p.phase.as_deref()),
            &texts(|p| p.taken.as_deref()),
            &texts(|p| p.device.as_deref()),
            &seen,
            &hashes,
            &features,
        ],
    )?;
    Ok(())
}

/// First-seen times of a job's photos by file digest.
fn first_seen(
    write: &mut Transaction<'_>,
    job: i64,
) -> Result<BTreeMap<String, String>, postgres::Error> {
    let sql = "SELECT file_sha256, min(first_seen) FROM photoproof_photos WHERE job = $1 GROUP BY file_sha256";
    let rows = write.query(sql, &[&job])?;
    rows.iter()
        .map(|row| Ok((row.try_get(0)?, row.try_get(1)?)))
        .collect()
}

/// One snapshot of the tables, whatever others write meanwhile.
struct Reading<'a>(Transaction<'a>);

impl Snapshot for Reading<'_> {
    type Error = postgres::Error;

    fn kept(&mut self) -> Result<u64, postgres::Error> {
        let sql = "SELECT coalesce(sum(photos), 0)::bigint FROM photoproof_jobs";
        let photos: i64 = self.0.query_one(sql, &[])?.try_get(0)?;
        Ok(photos.max(0) as u64)
    }

    fn batches(&mut self, send: &dyn Fn(Batch) -> bool) -> Result<(), postgres::Error> {
        let portal = self
            .0
            .bind("SELECT job, packed FROM photoproof_hashes", &[])?;
        let mut batch = Batch::default();
        loop {
            let mut rows = self.0.query_portal_raw(&portal, FETCH)?;
            let mut any = false;
            while let Some(row) = rows.next()? {
                any = true;
                batch.push(row.try_get(0)?, row.try_get(1)?);
                if batch.is_full() && !send(std::mem::take(&mut batch)) {
                    return Ok(());
                }
            }
            if !any {
                send(batch);
                return Ok(());
            }
        }
    }

    fn equal(&mut self, asked: &[&PhotoMeasures]) -> Result<Vec<(usize, Place)>, postgres::Error> {
        let prints = || asked.iter().map(|photo| &photo.fingerprint);
        let files: Vec<&str> = prints().map(|p| p.file_sha256.as_str()).collect();
        let pixels: Vec<&str> = prints().map(|p| p.pixel_sha256.as_str()).collect();
        let sql = "SELECT a.n, p.job, p.position FROM unnest($1::text[]) WITH ORDINALITY AS a (digest, n)
                   JOIN photoproof_photos p ON p.file_sha256 = a.digest
                   UNION SELECT a.n, p.job, p.position FROM unnest($2::text[]) WITH ORDINALITY AS a (digest, n)
                   JOIN photoproof_photos p ON p.pixel_sha256 = a.digest";
        let rows = self.0.query(sql, &[&files, &pixels])?;
        rows.iter()
            .map(|row| {
                let number = row.try_get::<_, i64>(0)? - 1;
                let (job, position) = (row.try_get(1)?, row.try_get(2)?);
                Ok((number.max(0) as usize, Place { job, position }))
            })
            .collect()
    }

    fn photos(
        &mut self,
        places: &[Place],
    ) -> Result<Vec<(Place, String, PhotoRecord)>, postgres::Error> {
        let jobs: Vec<i64> = places.iter().map(|place| place.job).collect();
        let positions: Vec<i32> = places.iter().map(|place| place.position).collect();
        let sql = format!(
            "SELECT {COLUMNS}, j.id, p.job, p.position FROM unnest($1::bigint[], $2::int[]) AS a (job, position)
             JOIN photoproof_photos p ON p.job = a.job AND p.position = a.position
             JOIN photoproof_jobs j ON j.job = p.job"
        );
        let rows = self.0.query(&sql, &[&jobs, &positions])?;
        rows.iter()
            .map(|row| {
                let (job, position) = (row.try_get(11)?, row.try_get(12)?);
                Ok((Place { job, position }, row.try_get(10)?, photo_of(row)?))
            })
            .collect()
    }
}

fn photo_of(row: &Row) -> Result<PhotoRecord, postgres::Error> {
    Ok(PhotoRecord {
        path: row.try_get(0)?,
        file_sha256: row.try_get(1)?,
        pixel_sha256: row.try_get(2)?,
        area: row.try_get(3)?,
        phase: row.try_get(4)?,
        taken: row.try_get(5)?,
        device: row.try_get(6)?,
        first_seen: row.try_get(7)?,
        hash: hash_of(row.try_get(8)?),
        features: CompactFeatures::from_bytes(row.try_get(9)?),
    })
}
