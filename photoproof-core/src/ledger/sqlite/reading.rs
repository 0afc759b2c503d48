//! What a search asks the file.

use super::packs;
use rusqlite::{Connection, OptionalExtension, Row, params};

use crate::ledger::scan::{Batch, Place};
use crate::ledger::search::Snapshot;
use crate::ledger::{CompactFeatures, PhotoRecord, hash_of};
use crate::measure::PhotoFacts;

/// Columns in the order that `photo_of` reads.
pub(super) const COLUMNS: &str = "p.path, p.file_sha256, p.pixel_sha256, p.area, p.phase, p.taken, p.device, \
                       p.first_seen, p.hash, p.features";

/// One snapshot of the file, whatever other processes write meanwhile.
pub(super) struct Reading<'a>(pub(super) &'a Connection);

impl Snapshot for Reading<'_> {
    type Error = rusqlite::Error;

    fn kept(&mut self) -> rusqlite::Result<u64> {
        let sql = "SELECT coalesce(sum(photos), 0) FROM jobs";
        let photos = self.0.query_row(sql, [], |row| row.get::<_, i64>(0));
        photos.map(|count| count.max(0) as u64)
    }

    fn batches(&mut self, send: &dyn Fn(Batch) -> bool) -> rusqlite::Result<()> {
        let mut batch = Batch::default();
        let mut select = self.0.prepare("SELECT jobs, packed, words FROM packs")?;
        let mut rows = select.query([])?;
        while let Some(row) = rows.next()? {
            let jobs = row.get_ref(0)?.as_blob().unwrap_or_default();
            let packed = row.get_ref(1)?.as_blob().unwrap_or_default();
            let words = row.get_ref(2)?.as_blob().unwrap_or_default();
            packs::unpack(jobs, packed, words, &mut batch);
            if batch.is_full() && !send(std::mem::take(&mut batch)) {
                return Ok(());
            }
        }
        let mut select = self.0.prepare("SELECT job, packed, words FROM hashes")?;
        let mut rows = select.query([])?;
        while let Some(row) = rows.next()? {
            let packed = row.get_ref(1)?.as_blob().unwrap_or_default();
            let words = row.get_ref(2)?.as_blob().unwrap_or_default();
            batch.push(row.get(0)?, packed, words);
            if batch.is_full() && !send(std::mem::take(&mut batch)) {
                return Ok(());
            }
        }
        send(batch);
        Ok(())
    }

    fn equal(&mut self, asked: &[PhotoFacts]) -> rusqlite::Result<Vec<(usize, Place)>> {
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

/// Reads [`COLUMNS`].
pub(super) fn photo_of(row: &Row<'_>) -> rusqlite::Result<PhotoRecord> {
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
