//! `file-number-out-of-order`: a camera's file numbers run against its times.

use std::collections::{BTreeMap, BTreeSet};

use super::{capture_time_out_of_order, capture_time_outside_window};
use crate::group::Moment;
use crate::group::counter::{file_number, out_of_sequence};
use crate::ingest::PhotoId;
use crate::judge::together::{Instance, each_or_one};
use crate::judge::{Check, CheckMeta, Evidence, Finding, Severity, Status};

static META: CheckMeta = CheckMeta {
    id: "file-number-out-of-order",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Review,
    summary: "The numbers that a camera gives its files run against the capture times.",
    why: "A camera counts up; a photo with a higher number and an earlier time has another number or another time than the camera gave it.",
    how_measured: "Photos of one camera whose names are one prefix and a number of three to five digits, at least four of them, sorted by number; the fewest photos whose times are out of the sequence are named. A step from the highest to the lowest number is a new round of the counter. Several phones of one model are judged apart where their numbers tell them apart: divided at the largest gaps (more than 100), at least four photos each, at most one in eight of each out of order. Photos that the order or window checks name, and copies, are left out.",
    limit: "clock_tolerance_s (0 seconds).",
    remedy: "Check the camera's clock, and say whether files were renamed.",
    innocent: &[
        "files were renamed or numbered when they were copied",
        "the clock was set during the job",
        "two phones of one model were used, one of them for fewer than four photos or with numbers near those of the other",
    ],
    blind_spots: "Where the numbers go through one area after the other, the sorted folder was numbered and nothing is said. Names that a program gave are numbers of no camera. A camera that starts a new folder may count anew.",
};

/// The check.
#[derive(Debug)]
pub struct FileNumberOutOfOrder;

/// Photos of one camera and prefix from which the sequence is judged.
const SEQUENCE: usize = 4;

impl Check for FileNumberOutOfOrder {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        let mut known: BTreeSet<PhotoId> = BTreeSet::new();
        known.extend(first_photos(
            &capture_time_out_of_order::CaptureTimeOutOfOrder,
            evidence,
        ));
        known.extend(first_photos(
            &capture_time_outside_window::CaptureTimeOutsideWindow,
            evidence,
        ));
        let mut rows: BTreeMap<(usize, String), Vec<Numbered>> = BTreeMap::new();
        for photo in evidence.photo_ids() {
            let Some((key, numbered)) = numbered(evidence, photo) else {
                continue;
            };
            if !known.contains(&photo) && !evidence.is_copied(photo) {
                rows.entry(key).or_default().push(numbered);
            }
        }
        rows.into_values()
            .filter(|row| row.len() >= SEQUENCE && !is_numbered_by_place(evidence, row))
            .flat_map(|row| judge_row(evidence, row))
            .collect()
    }
}

fn first_photos(check: &dyn Check, evidence: &Evidence<'_>) -> Vec<PhotoId> {
    check
        .run(evidence)
        .into_iter()
        .flat_map(|finding| finding.photos)
        .collect()
}

#[derive(Debug, Clone, Copy)]
pub(super) struct Numbered {
    pub(super) number: u32,
    pub(super) photo: PhotoId,
    pub(super) moment: Moment,
}

/// Camera and prefix, and the number, of a name such as `IMG_0412.jpg`.
pub(super) fn numbered(
    evidence: &Evidence<'_>,
    photo: PhotoId,
) -> Option<((usize, String), Numbered)> {
    let device = evidence.grouped.devices.of(photo.0)?;
    let (prefix, number) = file_number(&evidence.photo(photo).path)?;
    let moment = *evidence.moment(photo)?;
    let numbered = Numbered {
        number,
        photo,
        moment,
    };
    Some(((device, prefix), numbered))
}

/// Whether the numbers go through areas and phases one after the other: then somebody numbered the sorted
/// folder, not the camera.
fn is_numbered_by_place(evidence: &Evidence<'_>, row: &[Numbered]) -> bool {
    let mut sorted = row.to_vec();
    sorted.sort_by_key(|numbered| (numbered.number, numbered.photo));
    let places = sorted.iter().map(|numbered| evidence.label(numbered.photo));
    let mut areas: Vec<Option<&str>> = places.map(|label| label.area.as_deref()).collect();
    areas.dedup();
    let runs = areas.len();
    areas.sort_unstable();
    areas.dedup();
    areas.len() > 1 && runs == areas.len()
}

fn judge_row(evidence: &Evidence<'_>, mut row: Vec<Numbered>) -> Vec<Finding> {
    row.sort_by_key(|numbered| (numbered.number, numbered.moment.civil, numbered.photo));
    let numbers: Vec<u32> = row.iter().map(|numbered| numbered.number).collect();
    let tolerance = evidence.limits().clock_tolerance_s;
    let moment = |at: usize| row.get(at).map(|numbered| &numbered.moment);
    let follows = |earlier: usize, later: usize| {
        let pair = moment(earlier).zip(moment(later));
        pair.is_some_and(|(earlier, later)| earlier.seconds_until(later) >= -tolerance)
    };
    let out = out_of_sequence(&numbers, &follows);
    let out = out.into_iter().filter_map(|at| row.get(at));
    let found = out
        .map(|numbered| Instance {
            photo: numbered.photo,
            message: format!(
                "file number {} does not fit its time, {}, in the camera's sequence",
                numbered.number,
                numbered.moment.civil.format("%Y-%m-%d %H:%M:%S")
            ),
            measured: None,
        })
        .collect();
    each_or_one(
        &META,
        evidence,
        found,
        row.len(),
        "file numbers of one camera run against their times",
    )
}
