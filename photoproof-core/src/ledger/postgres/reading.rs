//! What a search asks the server.

use fallible_iterator::FallibleIterator;
use postgres::{Row, Transaction};

use crate::ledger::scan::{Batch, Place};
use crate::ledger::search::Snapshot;
use crate::ledger::{CompactFeatures, PhotoRecord, hash_of};
use crate::measure::PhotoFacts;

/// Columns in the order that `photo_of` reads.
pub(super) const COLUMNS: &str = "p.path, p.file_sha256, p.pixel_sha256, p.area, p.phase, p.taken, p.device, \
                       p.first_seen, p.hash, p.features";

/// Rows of packed hashes fetched at a time: bounds the memory of a search.
const FETCH: i32 = 128;

/// One snapshot of the tables, whatever others write meanwhile.
pub(super) struct Reading<'a>(pub(super) Transaction<'a>);

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
            .bind("SELECT job, packed, words FROM photoproof_hashes", &[])?;
        let mut batch = Batch::default();
        loop {
            let mut rows = self.0.query_portal_raw(&portal, FETCH)?;
            let mut any = false;
            while let Some(row) = rows.next()? {
                any = true;
                batch.push(row.try_get(0)?, row.try_get(1)?, row.try_get(2)?);
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

    fn equal(&mut self, asked: &[PhotoFacts]) -> Result<Vec<(usize, Place)>, postgres::Error> {
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

/// Reads [`COLUMNS`].
pub(super) fn photo_of(row: &Row) -> Result<PhotoRecord, postgres::Error> {
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
