//! The search of a ledger, whatever holds it: digests by index, hashes in a pass, leads confirmed by geometry.

use std::collections::{BTreeMap, BTreeSet};

use rayon::prelude::*;

use super::scan::{Batch, MAX_ASKED, Place, Scan, pass_all};
use super::{Lead, PhotoRecord};
use crate::error::Error;
use crate::measure::copy::exact;
use crate::measure::copy::signature::{Laid, TurnedWords, asked_words};
use crate::measure::{PhotoFacts, Shelf};

/// What a store answers within one snapshot.
pub(super) trait Snapshot {
    /// Why the store cannot answer.
    type Error;

    /// Photos in the ledger, about.
    fn kept(&mut self) -> Result<u64, Self::Error>;

    /// Hands the packed hashes and words of all jobs to `send`, a batch at a time, until it takes no more.
    fn batches(&mut self, send: &dyn Fn(Batch) -> bool) -> Result<(), Self::Error>;

    /// Photos with the same file or pixel digest, with the number of the asked photo.
    fn equal(&mut self, asked: &[PhotoFacts]) -> Result<Vec<(usize, Place)>, Self::Error>;

    /// What is kept of photos and in which job; unknown places are left out.
    fn photos(
        &mut self,
        places: &[Place],
    ) -> Result<Vec<(Place, String, PhotoRecord)>, Self::Error>;
}

/// The photos that a ledger is asked about.
pub(super) struct Asked<'a> {
    photos: &'a Shelf,
    words: Vec<TurnedWords>,
}

/// Kept photos that asked ones may be made from, each with its job.
pub(super) struct Candidates {
    reasons: Vec<((usize, Place), Candidate)>,
    kept: BTreeMap<Place, (String, PhotoRecord)>,
}

/// Photos of other jobs than `except` that `asked` may be made from.
pub(super) fn candidates<S: Snapshot>(
    store: &mut S,
    asked: &Asked<'_>,
    except: Option<&str>,
) -> Result<Candidates, S::Error> {
    let mut reasons = pass(store, asked)?;
    for key in store.equal(asked.photos.facts())? {
        reasons.entry(key).or_default().near = Some((0, 0));
    }
    let places: BTreeSet<Place> = reasons.keys().map(|(_, place)| *place).collect();
    let places: Vec<Place> = places.into_iter().collect();
    let kept = store.photos(&places)?.into_iter();
    Ok(Candidates {
        reasons: reasons.into_iter().collect(),
        kept: kept
            .filter(|(_, job, _)| except != Some(job.as_str()))
            .map(|(place, job, photo)| (place, (job, photo)))
            .collect(),
    })
}

impl<'a> Asked<'a> {
    /// What is asked about the photos of a job.
    pub(super) fn new(photos: &'a Shelf) -> Result<Self, Error> {
        let words: Result<Vec<TurnedWords>, Error> = (0..photos.len())
            .into_par_iter()
            .map(|photo| Ok(asked_words(&photos.get(photo)?.features)))
            .collect();
        Ok(Self {
            photos,
            words: words?,
        })
    }

    /// What geometry leaves of the candidates, sorted by asked photo, job and path.
    pub(super) fn leads(&self, candidates: &Candidates) -> Result<Vec<Lead>, Error> {
        let leads: Result<Vec<Vec<Lead>>, Error> = candidates
            .reasons
            .par_chunk_by(|a, b| a.0.0 == b.0.0)
            .map(|of_one| self.leads_of(of_one, &candidates.kept))
            .collect();
        let mut leads: Vec<Lead> = leads?.into_iter().flatten().collect();
        leads.sort_by(|a, b| {
            (a.asked, &a.job, &a.photo.path).cmp(&(b.asked, &b.job, &b.photo.path))
        });
        Ok(leads)
    }

    /// The leads of one asked photo; one by shared words alone only if geometry confirms it.
    fn leads_of(
        &self,
        candidates: &[((usize, Place), Candidate)],
        kept: &BTreeMap<Place, (String, PhotoRecord)>,
    ) -> Result<Vec<Lead>, Error> {
        let Some(((number, _), _)) = candidates.first() else {
            return Ok(Vec::new());
        };
        let asked = self.photos.get(*number)?;
        let mut laid: BTreeMap<usize, Option<Laid>> = BTreeMap::new();
        let mut leads = Vec::new();
        for ((number, place), candidate) in candidates {
            let Some((job, photo)) = kept.get(place) else {
                continue;
            };
            let digests = [photo.file_sha256.as_str(), photo.pixel_sha256.as_str()];
            let measure = exact(&asked.facts.fingerprint, digests).or_else(|| {
                let turns = [candidate.near.map(|(_, turn)| turn), candidate.part];
                turns.into_iter().flatten().find_map(|turn| {
                    let laid = laid.entry(turn).or_insert_with(|| Laid::new(&asked, turn));
                    photo.features.confirm(laid.as_ref()?)
                })
            });
            if candidate.near.is_none() && measure.is_none() {
                continue;
            }
            let distance = candidate.near.map_or_else(
                || {
                    let all = asked.facts.fingerprint.hashes.iter();
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
        Ok(leads)
    }
}

/// Why a kept photo may be what an asked one was made from.
#[derive(Debug, Clone, Copy, Default)]
struct Candidate {
    /// Hash distance and turn, where the whole frames are near.
    near: Option<(u32, usize)>,
    /// Turn in which they share words.
    part: Option<usize>,
}

/// Photos within the hash distance, and those that share words, by asked photo and place.
fn pass<S: Snapshot>(
    store: &mut S,
    asked: &Asked<'_>,
) -> Result<BTreeMap<(usize, Place), Candidate>, S::Error> {
    let kept = store.kept()?;
    let mut candidates: BTreeMap<(usize, Place), Candidate> = BTreeMap::new();
    let facts = asked.photos.facts().chunks(MAX_ASKED);
    for (i, (part, words)) in facts.zip(asked.words.chunks(MAX_ASKED)).enumerate() {
        let hashes: Vec<_> = part.iter().map(|p| &p.fingerprint.hashes).collect();
        let scan = Scan::new(&hashes, words, kept);
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
