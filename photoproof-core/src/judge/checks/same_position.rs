//! `same-position`: many photos over a long time state exactly the same position.

use std::collections::BTreeMap;

use super::capture_time_out_of_order::duration;
use crate::geodesy::distance_m;
use crate::ingest::PhotoId;
use crate::judge::{Check, CheckMeta, Evidence, Finding, Severity, Status};

static META: CheckMeta = CheckMeta {
    id: "same-position",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Note,
    summary: "Many photos over hours state exactly the same position.",
    why: "A receiver that measures gives slightly different positions each time; one position for all was kept, or written into the files later.",
    how_measured: "Photos of one camera (make and model) whose latitude and longitude are equal to the last digit, at least nine of them, and the time between the first and the last.",
    limit: "max_same_position_s (7200 seconds; common practice, no source).",
    remedy: "Let the phone find its position anew before each visit; say whether a program wrote the position.",
    innocent: &[
        "the phone kept its last position because it had no reception indoors",
        "the camera program writes the position of the order, or asks for it only once",
        "the phone rounds positions to protect privacy",
    ],
    blind_spots: "Does not say whether the position is right. Positions that were written with small differences are not seen.",
};

/// The check.
#[derive(Debug)]
pub struct SamePosition;

/// Photos from which equal positions are many: three views in three phases.
const MANY: usize = 9;

impl Check for SamePosition {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        let mut equal: BTreeMap<(usize, u64, u64), Vec<PhotoId>> = BTreeMap::new();
        for id in evidence.photo_ids() {
            let device = evidence.grouped.devices.of(id.0);
            if let (Some(device), Some(gps)) = (device, evidence.photo(id).gps) {
                let key = (device, gps.lat.to_bits(), gps.lon.to_bits());
                equal.entry(key).or_default().push(id);
            }
        }
        equal
            .into_iter()
            .filter(|(_, photos)| photos.len() >= MANY)
            .filter_map(|((_, lat, lon), photos)| {
                finding(evidence, (f64::from_bits(lat), f64::from_bits(lon)), photos)
            })
            .collect()
    }
}

fn finding(
    evidence: &Evidence<'_>,
    (lat, lon): (f64, f64),
    photos: Vec<PhotoId>,
) -> Option<Finding> {
    let limit = evidence.limits().max_same_position_s;
    let mut times: Vec<_> = photos
        .iter()
        .filter_map(|&id| evidence.moment(id))
        .collect();
    times.sort_by_key(|moment| moment.civil);
    let seconds = times.first()?.seconds_until(times.last()?);
    if seconds <= limit {
        return None;
    }
    let whose = match evidence.sheet.site.position() {
        Some(site) if distance_m(site, (lat, lon)) < 0.5 => ", that of the job sheet",
        _ => "",
    };
    let message = format!(
        "{} photos over {} state exactly the same position, {lat:.5}, {lon:.5}{whose}",
        photos.len(),
        duration(seconds)
    );
    Some(
        META.finding(message)
            .photos(photos)
            .measured(seconds as f64, limit as f64, "seconds"),
    )
}
