//! The search of a ledger, whatever holds it: digests by index, hashes in a pass, leads confirmed by geometry.

use std::collections::{BTreeMap, BTreeSet};

use rayon::prelude::*;

use super::scan::{Batch, MAX_ASKED, Place, Scan, pass_all};
use super::{Lead, PhotoRecord};
use crate::measure::PhotoMeasures;
use crate::measure::copy::exact;
use crate::measure::copy::signature::Laid;

/// What a store answers within one snapshot.
pub(super) trait Snapshot {
    /// Why the store cannot answer.
    type Error;

    /// Photos in the ledger, about.
    fn kept(&mut self) -> Result<u64, Self::Error>;

    /// Hands the packed hashes and words of all jobs to `send`, a batch at a time, until it takes no more.
    fn batches(&mut self, send: &dyn Fn(Batch) -> bool) -> Result<(), Self::Error>;

    /// Photos with the same file or pixel digest, with the number of the asked photo.
    fn equal(&mut self, asked: &[&PhotoMeasures]) -> Result<Vec<(usize, Place)>, Self::Error>;

    /// What is kept of photos and in which job; unknown places are left out.
    fn photos(
        &mut self,
        places: &[Place],
    ) -> Result<Vec<(Place, String, PhotoRecord)>, Self::Error>;
}

/// Photos of other jobs than `except` that `asked` may be made from, sorted by asked photo, job and path.
pub(super) fn leads<S: Snapshot>(
    store: &mut S,
    asked: &[&PhotoMeasures],
    except: Option<&str>,
) -> Result<Vec<Lead>, S::Error> {
    let mut candidates = pass(store, asked)?;
    for key in store.equal(asked)? {
        candidates.entry(key).or_default().near = Some((0, 0));
    }
    let places: BTreeSet<Place> = candidates.keys().map(|(_, place)| *place).collect();
    let places: Vec<Place> = places.into_iter().collect();
    let kept: BTreeMap<Place, (String, PhotoRecord)> = store
        .photos(&places)?
        .into_iter()
        .filter(|(_, job, _)| except != Some(job.as_str()))
        .map(|(place, job, photo)| (place, (job, photo)))
        .collect();
    let candidates: Vec<((usize, Place), Candidate)> = candidates.into_iter().collect();
    let mut leads: Vec<Lead> = candidates
        .par_chunk_by(|a, b| a.0.0 == b.0.0)
        .flat_map_iter(|of_one| leads_of(asked, of_one, &kept))
        .collect();
    leads.sort_by(|a, b| (a.asked, &a.job, &a.photo.path).cmp(&(b.asked, &b.job, &b.photo.path)));
    Ok(leads)
}

/// Why a kept photo may be what an asked one was made from.
#[derive(Debug, Clone, Copy, Default)]
struct Candidate {
    /// Hash distance and turn, where the whole frames are near.
    near: Option<(u32, usize)>,
    /// Turn in which they share words.
    part: Option<usize>,
}

/// The leads of one asked photo; one by shared words alone only if geometry confirms it.
fn leads_of(
    asked: &[&PhotoMeasures],
    candidates: &[((usize, Place), Candidate)],
    kept: &BTreeMap<Place, (String, PhotoRecord)>,
) -> Vec<Lead> {
    let mut laid: BTreeMap<usize, Option<Laid>> = BTreeMap::new();
    let mut leads = Vec::new();
    for ((number, place), candidate) in candidates {
        let (Some(asked), Some((job, photo))) = (asked.get(*number), kept.get(place)) else {
            continue;
        };
        let digests = [photo.file_sha256.as_str(), photo.pixel_sha256.as_str()];
        let measure = exact(&asked.fingerprint, digests).or_else(|| {
            let turns = [candidate.near.map(|(_, turn)| turn), candidate.part];
            turns.into_iter().flatten().find_map(|turn| {
                let laid = laid.entry(turn).or_insert_with(|| Laid::new(asked, turn));
                photo.features.confirm(laid.as_ref()?)
            })
        });
        if candidate.near.is_none() && measure.is_none() {
            continue;
        }
        let distance = candidate.near.map_or_else(
            || {
                let all = asked.fingerprint.hashes.iter();
                let distances = all.map(|hash| hash.distance(&photo.hash));
                distances.min().unwrap_or(256)
            },
            |(distance, _)| distance,
        );
        leads.push(Lead {
            asked: *number,
            job: job.clone(),
            photo: photo.clone(),
            distance,
            measure,
        });
    }
    leads
}

/// Photos within the hash distance, and those that share words, by asked photo and place.
fn pass<S: Snapshot>(
    store: &mut S,
    asked: &[&PhotoMeasures],
) -> Result<BTreeMap<(usize, Place), Candidate>, S::Error> {
    let kept = store.kept()?;
    let mut candidates: BTreeMap<(usize, Place), Candidate> = BTreeMap::new();
    for (i, part) in asked.chunks(MAX_ASKED).enumerate() {
        let hashes: Vec<_> = part.iter().map(|p| &p.fingerprint.hashes).collect();
        let features: Vec<_> = part.iter().map(|p| &p.features).collect();
        let scan = Scan::new(&hashes, &features, kept);
        let (near, parts) = pass_all(&scan, |send| store.batches(send))?;
        let first = i * MAX_ASKED;
        for ((n, place), hit) in near {
            candidates.entry((first + n, place)).or_default().near = Some(hit);
        }
        for ((n, place), turn) in parts {
            candidates.entry((first + n, place)).or_default().part = Some(turn);
        }
    }
    Ok(candidates)
}
