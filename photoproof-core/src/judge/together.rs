//! One cause, one finding: the same defect in most photos is reported once.

use std::collections::BTreeMap;

use crate::group::ViewSet;
use crate::ingest::PhotoId;
use crate::judge::{CheckMeta, Evidence, Finding};
use crate::measure::Quality;

/// Instances from which many are reported as one.
const MANY: usize = 4;

/// Photos of one camera from which one can tell what is usual for it.
const MAJORITY: usize = 8;

/// A photo with the defect.
#[derive(Debug, Clone)]
pub(super) struct Instance {
    /// The photo.
    pub(super) photo: PhotoId,
    /// One sentence about it.
    pub(super) message: String,
    /// Measured value, limit, unit.
    pub(super) measured: Option<(f64, f64, &'static str)>,
}

/// As [`each_or_one`], of all photos of the job.
pub(super) fn each_or_one_of_all(
    meta: &'static CheckMeta,
    evidence: &Evidence<'_>,
    found: Vec<Instance>,
    words: &str,
) -> Vec<Finding> {
    each_or_one(meta, evidence, found, evidence.intake.photos.len(), words)
}

/// One finding of `photos` that lack `what`, among `all` that might have it; none where none lacks it.
pub(super) fn lacking(
    meta: &'static CheckMeta,
    photos: Vec<PhotoId>,
    all: usize,
    what: &str,
) -> Vec<Finding> {
    let count = photos.len();
    let verb = match count {
        0 => return Vec::new(),
        1 => "carries",
        _ => "carry",
    };
    vec![
        meta.finding(format!("{count} of {all} photos {verb} no {what}"))
            .photos(photos)
            .measured(count as f64, 0.0, "photos"),
    ]
}

/// What `finding` says of the view sets of each area, in report order. A set without an area stands alone.
pub(super) fn each_area(
    evidence: &Evidence<'_>,
    finding: impl Fn(&Evidence<'_>, Option<&str>, &[&ViewSet]) -> Option<Finding>,
) -> Vec<Finding> {
    let mut areas: Vec<(Option<&str>, Vec<&ViewSet>)> = Vec::new();
    for set in &evidence.grouped.view_sets {
        let area = set.area.as_deref();
        match areas
            .iter_mut()
            .find(|(name, _)| area.is_some() && *name == area)
        {
            Some((_, sets)) => sets.push(set),
            None => areas.push((area, vec![set])),
        }
    }
    areas
        .into_iter()
        .filter_map(|(area, sets)| finding(evidence, area, &sets))
        .collect()
}

/// One finding for each photo with a `share` of at least `least` and above 0; `words` say it, given the per cent.
pub(super) fn each_with_share(
    meta: &'static CheckMeta,
    evidence: &Evidence<'_>,
    least: f64,
    share: impl Fn(&Quality) -> f64,
    words: impl Fn(f64) -> String,
) -> Vec<Finding> {
    evidence
        .photo_ids()
        .filter_map(|id| {
            let share = share(&evidence.measures[id.0].quality);
            (share >= least && share > 0.0).then(|| {
                meta.finding(words(share * 100.0))
                    .area(evidence.area(id))
                    .photos([id])
                    .measured(share, least, "share")
            })
        })
        .collect()
}

/// One finding for each camera: of one photo its own sentence, of more their number and `words`.
pub(super) fn one_per_device(
    meta: &'static CheckMeta,
    evidence: &Evidence<'_>,
    found: Vec<Instance>,
    words: &str,
) -> Vec<Finding> {
    let mut by_device: BTreeMap<Option<usize>, Vec<Instance>> = BTreeMap::new();
    for instance in found {
        let device = evidence.grouped.devices.of(instance.photo.0);
        by_device.entry(device).or_default().push(instance);
    }
    let finding = |(device, found): (Option<usize>, Vec<Instance>)| {
        if found.len() == 1 {
            return each_or_one(meta, evidence, found, 1, words);
        }
        let clock = device.and_then(|device| evidence.grouped.devices.clocks.get(device));
        let of = clock.map_or(String::new(), |clock| format!(" of the {}", clock.device));
        let value = found.len() as f64;
        let photos = found.into_iter().map(|instance| instance.photo);
        let finding = meta
            .finding(format!("{value} photos{of} {words}"))
            .photos(photos)
            .measured(value, 0.0, "photos");
        vec![match clock {
            Some(clock) => finding.subject(&clock.device),
            None => finding,
        }]
    };
    by_device.into_iter().flat_map(finding).collect()
}

/// The photos of each camera whose `value` is not that of nearly all its photos, with the number of those and of all:
/// at least `MAJORITY` photos, and three quarters of those that have a value, must agree.
pub(super) fn odd_ones<T: Ord>(
    evidence: &Evidence<'_>,
    value: impl Fn(PhotoId) -> Option<T>,
) -> Vec<(PhotoId, usize, usize)> {
    let devices = &evidence.grouped.devices;
    let mut odd = Vec::new();
    for device in 0..devices.clocks.len() {
        let mut by_value: BTreeMap<T, Vec<PhotoId>> = BTreeMap::new();
        for id in devices.photos_of(Some(device)).map(PhotoId) {
            if let Some(value) = value(id) {
                by_value.entry(value).or_default().push(id);
            }
        }
        let all: usize = by_value.values().map(Vec::len).sum();
        let most = by_value.values().map(Vec::len).max().unwrap_or(0);
        if most >= MAJORITY && most * 4 >= all * 3 {
            let others = by_value.into_values().filter(|photos| photos.len() < most);
            odd.extend(others.flatten().map(|id| (id, most, all)));
        }
    }
    odd.sort_unstable();
    odd
}

/// A finding for each instance; one for all of them where they are many and the greater part of `of` photos.
/// `words` says what they all are, after their number.
pub(super) fn each_or_one(
    meta: &'static CheckMeta,
    evidence: &Evidence<'_>,
    found: Vec<Instance>,
    of: usize,
    words: &str,
) -> Vec<Finding> {
    if found.len() >= MANY && found.len() * 2 > of {
        let message = format!("{} of {of} {words}", found.len());
        let value = found.len() as f64;
        return vec![
            meta.finding(message)
                .photos(found.into_iter().map(|instance| instance.photo))
                .measured(value, 0.0, "photos"),
        ];
    }
    found
        .into_iter()
        .map(|instance| {
            let finding = meta
                .finding(instance.message)
                .area(evidence.area(instance.photo))
                .photos([instance.photo]);
            match instance.measured {
                Some((value, limit, unit)) => finding.measured(value, limit, unit),
                None => finding,
            }
        })
        .collect()
}
