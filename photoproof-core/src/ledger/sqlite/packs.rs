//! Packs: the hashes of many jobs in one row.
//!
//! A search reads every hash and nothing else. In a row a job, they would lie all over the file, between the rows of
//! photos, and a file that is not in memory would be read in as many small steps as there are jobs; in packs they are
//! read in long runs. A job's hashes are written to `hashes` and join a pack when enough have gathered.

use rusqlite::{Connection, OptionalExtension, params};

use crate::ledger::scan::{Batch, PACKED};

/// Jobs that wait in `hashes` before the oldest of them are packed.
const WAITING: i64 = 128;
/// Jobs of one pack, at most.
const JOBS: i64 = 64;
/// Bytes after which a pack takes no further job.
const BYTES: usize = 4 << 20;
/// Packs made when one job is recorded, at most: an old file is packed little by little.
const AT_ONCE: usize = 16;

/// Which jobs a pack holds, and how many photos of each: pairs of little-endian numbers.
fn members(jobs: &[u8]) -> impl Iterator<Item = (i64, usize)> {
    jobs.as_chunks::<16>().0.iter().map(|pair| {
        let (numbers, _) = pair.as_chunks::<8>();
        let number = |i: usize| numbers.get(i).map_or(0, |n| i64::from_le_bytes(*n));
        (number(0), usize::try_from(number(1)).unwrap_or(0))
    })
}

fn add(jobs: &mut Vec<u8>, job: i64, photos: usize) {
    jobs.extend(job.to_le_bytes());
    jobs.extend((photos as i64).to_le_bytes());
}

/// Hands the hashes of a pack to `batch`.
pub(super) fn unpack(jobs: &[u8], packed: &[u8], batch: &mut Batch) {
    let mut rest = packed;
    for (job, photos) in members(jobs) {
        let bytes = photos.saturating_mul(PACKED).min(rest.len());
        let (own, others) = rest.split_at(bytes);
        batch.push(job, own);
        rest = others;
    }
}

/// Packs the jobs that have waited longest, if many wait.
pub(super) fn gather(write: &Connection) -> rusqlite::Result<()> {
    for _ in 0..AT_ONCE {
        let waiting: i64 = write.query_row("SELECT count(*) FROM hashes", [], |row| row.get(0))?;
        if waiting < WAITING {
            return Ok(());
        }
        let (mut jobs, mut packed, mut last) = (Vec::new(), Vec::new(), 0);
        let mut select = write.prepare("SELECT job, packed FROM hashes ORDER BY job LIMIT ?1")?;
        let mut rows = select.query([JOBS])?;
        while let (true, Some(row)) = (packed.len() < BYTES, rows.next()?) {
            let own = row.get_ref(1)?.as_blob().unwrap_or_default();
            last = row.get(0)?;
            add(&mut jobs, last, own.len() / PACKED);
            packed.extend_from_slice(own);
        }
        drop(rows);
        // Written before the rows are freed: a new pack then lies at the end of the file, in one run.
        let insert = "INSERT INTO packs (jobs, packed) VALUES (?1, ?2)";
        write.execute(insert, params![jobs, packed])?;
        let pack = write.last_insert_rowid();
        let mark = "UPDATE jobs SET pack = ?1 WHERE id IN (SELECT job FROM hashes WHERE job <= ?2)";
        write.execute(mark, [pack, last])?;
        write.execute("DELETE FROM hashes WHERE job <= ?1", [last])?;
    }
    Ok(())
}

/// Takes a job out of its pack, if it is in one; the space is overwritten.
pub(super) fn take_out(write: &Connection, job: &str) -> rusqlite::Result<()> {
    let found = write
        .query_row(
            "SELECT j.id, p.id, p.jobs, p.packed FROM jobs j JOIN packs p ON p.id = j.pack WHERE j.job = ?1",
            [job],
            |row| {
                let blobs: (Vec<u8>, Vec<u8>) = (row.get(2)?, row.get(3)?);
                Ok((row.get::<_, i64>(0)?, row.get::<_, i64>(1)?, blobs))
            },
        )
        .optional()?;
    let Some((gone, pack, (jobs, packed))) = found else {
        return Ok(());
    };
    let (mut left, mut kept) = (Vec::new(), Vec::with_capacity(packed.len()));
    let mut start = 0;
    for (job, photos) in members(&jobs) {
        let end = start + photos * PACKED;
        if job != gone {
            add(&mut left, job, photos);
            kept.extend_from_slice(packed.get(start..end).unwrap_or_default());
        }
        start = end;
    }
    if left.is_empty() {
        write.execute("DELETE FROM packs WHERE id = ?1", [pack])?;
    } else {
        let update = "UPDATE packs SET jobs = ?1, packed = ?2 WHERE id = ?3";
        write.execute(update, params![left, kept, pack])?;
    }
    Ok(())
}
