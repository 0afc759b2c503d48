//! Packs: the hashes and words of many jobs in one row.
//!
//! A search reads every hash, every word and nothing else. In a row a job, they would lie all over the file, between
//! the rows of photos, and a file that is not in memory would be read in as many small steps as there are jobs; in
//! packs they are read in long runs. A job's hashes are written to `hashes` and join a pack when enough have gathered.

use rusqlite::{Connection, OptionalExtension, params};

use crate::ledger::scan::{Batch, PACKED};
use crate::ledger::words::{PACKED_WORDS, append};

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

/// Hands the hashes and words of a pack to `batch`.
pub(super) fn unpack(jobs: &[u8], packed: &[u8], words: &[u8], batch: &mut Batch) {
    let (mut packed, mut words) = (packed, words);
    for (job, photos) in members(jobs) {
        let hashes = first(&mut packed, photos.saturating_mul(PACKED));
        let own = first(&mut words, photos.saturating_mul(PACKED_WORDS));
        batch.push(job, hashes, own);
    }
}

/// Takes the first `bytes` off `rest`, or what there is.
fn first<'a>(rest: &mut &'a [u8], bytes: usize) -> &'a [u8] {
    let (own, others) = rest.split_at(bytes.min(rest.len()));
    *rest = others;
    own
}

/// Packs the jobs that have waited longest, if many wait.
pub(super) fn gather(write: &Connection) -> rusqlite::Result<()> {
    for _ in 0..AT_ONCE {
        let waiting: i64 = write.query_row("SELECT count(*) FROM hashes", [], |row| row.get(0))?;
        if waiting < WAITING {
            return Ok(());
        }
        let (mut jobs, mut packed, mut words, mut last) = (Vec::new(), Vec::new(), Vec::new(), 0);
        let mut select =
            write.prepare("SELECT job, packed, words FROM hashes ORDER BY job LIMIT ?1")?;
        let mut rows = select.query([JOBS])?;
        while let (true, Some(row)) = (packed.len() < BYTES, rows.next()?) {
            let own = row.get_ref(1)?.as_blob().unwrap_or_default();
            last = row.get(0)?;
            let photos = own.len() / PACKED;
            add(&mut jobs, last, photos);
            packed.extend_from_slice(own);
            let own = row.get_ref(2)?.as_blob().unwrap_or_default();
            append(&mut words, own, photos);
        }
        drop(rows);
        // Written before the rows are freed: a new pack then lies at the end of the file, in one run.
        let insert = "INSERT INTO packs (jobs, packed, words) VALUES (?1, ?2, ?3)";
        write.execute(insert, params![jobs, packed, words])?;
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
            "SELECT j.id, p.id, p.jobs, p.packed, p.words FROM jobs j JOIN packs p ON p.id = j.pack WHERE j.job = ?1",
            [job],
            |row| {
                let blobs: [Vec<u8>; 3] = [row.get(2)?, row.get(3)?, row.get(4)?];
                Ok((row.get::<_, i64>(0)?, row.get::<_, i64>(1)?, blobs))
            },
        )
        .optional()?;
    let Some((gone, pack, [jobs, packed, words])) = found else {
        return Ok(());
    };
    let (mut left, mut kept, mut kept_words) = (Vec::new(), Vec::new(), Vec::new());
    let (mut packed, mut words) = (packed.as_slice(), words.as_slice());
    for (job, photos) in members(&jobs) {
        let hashes = first(&mut packed, photos.saturating_mul(PACKED));
        let own = first(&mut words, photos.saturating_mul(PACKED_WORDS));
        if job != gone {
            add(&mut left, job, photos);
            kept.extend_from_slice(hashes);
            kept_words.extend_from_slice(own);
        }
    }
    if left.is_empty() {
        write.execute("DELETE FROM packs WHERE id = ?1", [pack])?;
    } else {
        let update = "UPDATE packs SET jobs = ?1, packed = ?2, words = ?3 WHERE id = ?4";
        write.execute(update, params![left, kept, kept_words, pack])?;
    }
    Ok(())
}
