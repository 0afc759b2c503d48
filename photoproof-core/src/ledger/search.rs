//! The search of a ledger, whatever holds it: digests by index, hashes in a pass, leads confirmed by geometry.

use std::collections::{BTreeMap, BTreeSet};

use super::scan::{Batch, Found, MAX_ASKED, Place, Scan, pass_all};
use super::{Lead, PhotoRecord, confirm};
use crate::measure::PhotoMeasures;

/// What a store answers within one snapshot.
pub(super) trait Snapshot {
    /// Why the store cannot answer.
    type Error;

    /// Photos in the ledger, about.
    fn kept(&mut self) -> Result<u64, Self::Error>;

    /// Hands the packed hashes of all jobs to `send`, a batch at a time, until it takes no more.
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
    let mut found = near(store, asked)?;
    for (number, place) in store.equal(asked)? {
        found.insert((number, place), (0, 0));
    }
    let places: BTreeSet<Place> = found.keys().map(|(_, place)| *place).collect();
    let places: Vec<Place> = places.into_iter().collect();
    let kept: BTreeMap<Place, (String, PhotoRecord)> = store
        .photos(&places)?
        .into_iter()
        .map(|(place, job, photo)| (place, (job, photo)))
        .collect();
    let mut leads = Vec::new();
    for ((number, place), (distance, turn)) in found {
        let (Some((job, photo)), Some(measures)) = (kept.get(&place), asked.get(number)) else {
            continue;
        };
        if except != Some(job.as_str()) {
            leads.push(Lead {
                asked: number,
                job: job.clone(),
                distance,
                measure: confirm(measures, photo, turn),
                photo: photo.clone(),
            });
        }
    }
    leads.sort_by(|a, b| (a.asked, &a.job, &a.photo.path).cmp(&(b.asked, &b.job, &b.photo.path)));
    Ok(leads)
}

/// Photos within the hash distance, by asked photo and place.
fn near<S: Snapshot>(store: &mut S, asked: &[&PhotoMeasures]) -> Result<Found, S::Error> {
    let kept = store.kept()?;
    let mut found = Found::new();
    for (i, part) in asked.chunks(MAX_ASKED).enumerate() {
        let turned: Vec<_> = part.iter().map(|p| &p.fingerprint.hashes).collect();
        let scan = Scan::new(&turned, kept);
        let part = pass_all(&scan, |send| store.batches(send))?;
        let first = i * MAX_ASKED;
        found.extend(
            part.into_iter()
                .map(|((n, place), hit)| ((first + n, place), hit)),
        );
    }
    Ok(found)
}
