//! What recording and claiming say to the server.

use std::collections::BTreeMap;
use std::time::Duration;

use chrono::{SecondsFormat, Utc};
use postgres::{Client, Transaction};

use super::number;
use crate::ledger::scan::pack;
use crate::ledger::{Claim, JobRecord, PhotoRecord, packed};

/// Writes a job in one transaction; `Some` other job if the two have the same number (1 in 10^6 for six million
/// jobs).
pub(super) fn write_job(
    client: &mut Client,
    job: &JobRecord,
) -> Result<Option<String>, postgres::Error> {
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
    write.execute("DELETE FROM photoproof_claims WHERE job = $1", &[&number])?;
    let seen = first_seen(&mut write, number)?;
    write.execute("DELETE FROM photoproof_photos WHERE job = $1", &[&number])?;
    write.execute("DELETE FROM photoproof_hashes WHERE job = $1", &[&number])?;
    let (hashes, words) = packed(&job.photos);
    write.execute(
        "INSERT INTO photoproof_hashes (job, packed, words) VALUES ($1, $2, $3)",
        &[&number, &hashes, &words],
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

/// Takes a job by the server's clock.
pub(super) fn claim(
    client: &mut Client,
    job: &str,
    worker: &str,
    lease: Duration,
) -> Result<Claim, postgres::Error> {
    let number = number(job);
    let seconds = lease.as_secs().min(u64::from(u32::MAX)) as i64;
    let mut write = client.transaction()?;
    // The claim first: a worker that records the same job deletes the claim in the same transaction, so that whoever
    // has the claim sees the recorded job.
    let taken = write.execute(
        "INSERT INTO photoproof_claims AS c (job, worker, until)
         VALUES ($1, $2, extract(epoch FROM now())::bigint + $3)
         ON CONFLICT (job) DO UPDATE SET worker = excluded.worker, until = excluded.until
         WHERE c.until <= extract(epoch FROM now())::bigint OR c.until > excluded.until + $3
             OR c.worker = excluded.worker",
        &[&number, &worker, &seconds],
    )?;
    let recorded = "SELECT recorded FROM photoproof_jobs WHERE job = $1 AND id = $2";
    if let Some(row) = write.query_opt(recorded, &[&number, &job])? {
        return Ok(Claim::Recorded(row.try_get(0)?));
    }
    if taken > 0 {
        write.commit()?;
        return Ok(Claim::Taken);
    }
    let holder = "SELECT worker FROM photoproof_claims WHERE job = $1";
    let row = write.query_opt(holder, &[&number])?;
    let holder = row.map_or(Ok(String::new()), |row| row.try_get(0))?;
    Ok(Claim::Held(holder))
}
