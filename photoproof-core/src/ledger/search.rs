//! The search of a ledger, whatever holds it: digests by index, hashes in a pass, leads confirmed by geometry.

use std::collections::{BTreeMap, BTreeSet};

use rayon::prelude::*;

use super::scan::{Batch, MAX_ASKED, Passed, Place, Scan, pass_all};
use super::{Lead, PhotoRecord, exact};
use crate::measure::copy::signature::Laid;
use crate::measure::{CopyMeasure, PhotoMeasures};

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
    let (mut near, parts) = pass(store, asked)?;
    for (number, place) in store.equal(asked)? {
        near.insert((number, place), (0, 0));
    }
    let parts: BTreeMap<(usize, Place), usize> = parts.into_iter().collect();
    let places: BTreeSet<Place> = near.keys().chain(parts.keys()).map(|key| key.1).collect();
    let places: Vec<Place> = places.into_iter().collect();
    let kept: BTreeMap<Place, (String, PhotoRecord)> = store
        .photos(&places)?
        .into_iter()
        .filter(|(_, job, _)| except != Some(job.as_str()))
        .map(|(place, job, photo)| (place, (job, photo)))
        .collect();
    let mut pairs: BTreeMap<usize, Vec<Pair<'_>>> = BTreeMap::new();
    let keys: BTreeSet<&(usize, Place)> = near.keys().chain(parts.keys()).collect();
    for key in keys {
        if let Some((job, photo)) = kept.get(&key.1) {
            let (near, part) = (near.get(key).copied(), parts.get(key).copied());
            let pair = Pair {
                job,
                photo,
                near,
                part,
            };
            pairs.entry(key.0).or_default().push(pair);
        }
    }
    let mut leads: Vec<Lead> = pairs
        .par_iter()
        .filter_map(|(number, pairs)| Some((*number, *asked.get(*number)?, pairs)))
        .flat_map_iter(|(number, measures, pairs)| leads_of(number, measures, pairs))
        .collect();
    leads.sort_by(|a, b| (a.asked, &a.job, &a.photo.path).cmp(&(b.asked, &b.job, &b.photo.path)));
    Ok(leads)
}

/// A kept photo that an asked one may be made from.
struct Pair<'a> {
    job: &'a String,
    photo: &'a PhotoRecord,
    /// Hash distance and turn, where the whole frames are near.
    near: Option<(u32, usize)>,
    /// Turn in which they share words.
    part: Option<usize>,
}

/// The leads of one asked photo; one by shared words alone only if geometry confirms it.
fn leads_of(number: usize, asked: &PhotoMeasures, pairs: &[Pair<'_>]) -> Vec<Lead> {
    let mut laid: BTreeMap<usize, Option<Laid>> = BTreeMap::new();
    let mut confirm = |photo: &PhotoRecord, turn: usize| -> Option<CopyMeasure> {
        let laid = laid.entry(turn).or_insert_with(|| Laid::new(asked, turn));
        photo.features.confirm(laid.as_ref()?)
    };
    let mut leads = Vec::new();
    for pair in pairs {
        let turns = [pair.near.map(|(_, turn)| turn), pair.part];
        let measure = exact(asked, pair.photo).or_else(|| {
            let mut turns = turns.into_iter().flatten();
            turns.find_map(|turn| confirm(pair.photo, turn))
        });
        let distance = match (pair.near, &measure) {
            (Some((distance, _)), _) => distance,
            (None, None) => continue,
            (None, Some(_)) => {
                let all = asked.fingerprint.hashes.iter();
                let distances = all.map(|hash| hash.distance(&pair.photo.hash));
                distances.min().unwrap_or(256)
            }
        };
        leads.push(Lead {
            asked: number,
            job: pair.job.clone(),
            photo: pair.photo.clone(),
            distance,
            measure,
        });
    }
    leads
}

/// Photos within the hash distance, and those that share words, by asked photo and place.
fn pass<S: Snapshot>(store: &mut S, asked: &[&PhotoMeasures]) -> Result<Passed, S::Error> {
    let kept = store.kept()?;
    let mut passed = Passed::default();
    for (i, part) in asked.chunks(MAX_ASKED).enumerate() {
        let hashes: Vec<_> = part.iter().map(|p| &p.fingerprint.hashes).collect();
        let features: Vec<_> = part.iter().map(|p| &p.features).collect();
        let scan = Scan::new(&hashes, &features, kept);
        let (near, parts) = pass_all(&scan, |send| store.batches(send))?;
        let first = i * MAX_ASKED;
        let near = near.into_iter();
        passed
            .0
            .extend(near.map(|((n, place), hit)| ((first + n, place), hit)));
        let parts = parts.into_iter();
        passed
            .1
            .extend(parts.map(|((n, place), turn)| ((first + n, place), turn)));
    }
    Ok(passed)
}
