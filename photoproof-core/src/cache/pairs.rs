//! Pairs compared before. The answers about one first photo lie in one entry, so that a job reads as many entries as it
//! has photos.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Arc, Mutex, MutexGuard, OnceLock, PoisonError};

use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};

use super::{Cache, Key};
use crate::measure::{Afresh, Change, Comparison, CopyMeasure, PhotoMeasures};
use crate::measure::{Viewpoint, ViewpointShift};

/// Answers that are kept about one first photo; those of the last job come first.
const MAX_ANSWERS: usize = 256;

/// Names a question about a pair.
type Question = [u8; 32];

/// Answers about one first photo, packed.
#[derive(Debug, Default)]
struct Group {
    answers: BTreeMap<Question, Vec<u8>>,
    /// Those that this job has asked for.
    asked: BTreeSet<Question>,
    is_changed: bool,
}

/// What is written of a group.
#[derive(Debug, Serialize, Deserialize)]
struct Kept(Vec<(Question, Vec<u8>)>);

/// Compares the pairs of one job, or remembers the answers.
pub(crate) struct Remembered<'a> {
    cache: Option<&'a Cache>,
    groups: Mutex<BTreeMap<Key, Arc<OnceLock<Mutex<Group>>>>>,
}

fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

/// All that answers depend on: the pixels, the focal length in them, and how they are coded.
fn identity(photo: &PhotoMeasures) -> Key {
    let focal = photo.features.focal_px.map(f64::to_bits);
    let pixels = photo.facts.fingerprint.pixel_sha256.as_bytes();
    let coded = photo.coded.as_ref();
    let coded = coded.map(|coded| (coded.steps, coded.blocks.len()));
    Key::new(
        "pairs",
        &[pixels, format!("{focal:?} {coded:?}").as_bytes()],
    )
}

impl<'a> Remembered<'a> {
    /// One that looks into `cache` first, if there is one.
    pub(crate) fn new(cache: Option<&'a Cache>) -> Self {
        Self {
            cache,
            groups: Mutex::default(),
        }
    }

    /// Writes the groups that have new answers.
    pub(crate) fn save(&self) {
        let Some(cache) = self.cache else { return };
        for (key, group) in locked(&self.groups).iter() {
            if let Some(group) = group.get() {
                let mut group = locked(group);
                if std::mem::take(&mut group.is_changed) {
                    cache.put(key, &kept(&group));
                }
            }
        }
    }

    fn group(&self, cache: &Cache, key: Key) -> Arc<OnceLock<Mutex<Group>>> {
        let group = locked(&self.groups).entry(key).or_default().clone();
        group.get_or_init(|| {
            let kept = cache.get(&key).unwrap_or(Kept(Vec::new()));
            Mutex::new(Group {
                answers: kept.0.into_iter().collect(),
                ..Group::default()
            })
        });
        group
    }

    /// The kept answer to a question, else the one that `compare` gives.
    fn answer<T: Serialize + DeserializeOwned>(
        &self,
        kind: &str,
        (a, b): (&PhotoMeasures, &PhotoMeasures),
        parameters: &[u8],
        compare: impl FnOnce() -> T,
    ) -> T {
        let Some(cache) = self.cache else {
            return compare();
        };
        let (first, second) = (identity(a), identity(b));
        let question = Key::new(kind, &[&first.0, &second.0, parameters]).0;
        let group = self.group(cache, first);
        let Some(group) = group.get() else {
            return compare();
        };
        let known = {
            let mut group = locked(group);
            group.asked.insert(question);
            let packed = group.answers.get(&question);
            packed.and_then(|packed| postcard::from_bytes(packed).ok())
        };
        known.unwrap_or_else(|| {
            let answer = compare();
            if let Ok(packed) = postcard::to_allocvec(&answer) {
                let mut group = locked(group);
                group.answers.insert(question, packed);
                group.is_changed = true;
            }
            answer
        })
    }
}

/// The answers of this job, then others up to the bound.
fn kept(group: &Group) -> Kept {
    let (asked, others): (Vec<_>, Vec<_>) = group
        .answers
        .iter()
        .partition(|(question, _)| group.asked.contains(*question));
    let all = asked.into_iter().chain(others);
    let all = all.map(|(question, packed)| (*question, packed.clone()));
    Kept(all.take(MAX_ANSWERS).collect())
}

impl Comparison for Remembered<'_> {
    fn viewpoint(&self, a: &PhotoMeasures, b: &PhotoMeasures) -> Viewpoint {
        self.answer("viewpoint", (a, b), &[], || Afresh.viewpoint(a, b))
    }

    fn copy(&self, a: &PhotoMeasures, b: &PhotoMeasures, turns: &[usize]) -> Option<CopyMeasure> {
        let parameters = format!("{turns:?}");
        self.answer("copy", (a, b), parameters.as_bytes(), || {
            Afresh.copy(a, b, turns)
        })
    }

    fn change(
        &self,
        a: &PhotoMeasures,
        b: &PhotoMeasures,
        shift: &ViewpointShift,
    ) -> Option<Change> {
        let numbers = shift.alignment.as_flattened();
        let parameters: Vec<u8> = numbers.iter().flat_map(|n| n.to_le_bytes()).collect();
        self.answer("change", (a, b), &parameters, || Afresh.change(a, b, shift))
    }
}
