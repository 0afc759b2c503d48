//! `changed-after-capture`: a file was last changed later than its picture was taken.

use super::capture_time_out_of_order::duration;
use super::capture_times_disagree::is_zone;
use crate::ingest::order::{camera_time, is_never_set, seconds_between};
use crate::ingest::{PhotoId, TimeSource};
use crate::judge::together::{Instance, one_per_device};
use crate::judge::{Check, CheckMeta, Evidence, Finding, Severity, Status};

static META: CheckMeta = CheckMeta {
    id: "changed-after-capture",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Note,
    summary: "Files state that they were changed some time after the picture was taken.",
    why: "A camera writes both times at once; a later DateTime tells that a program wrote the file again.",
    how_measured: "Exif DateTime less DateTimeOriginal (else DateTimeDigitized) (CIPA DC-008, 4.6.5). Where an offset is missing, differences of whole quarters of an hour count as a zone.",
    limit: "max_source_difference_s (1800 seconds).",
    remedy: "Send the original files as the camera wrote them, and say which program changed them.",
    innocent: &[
        "the photo was turned, made smaller or given a caption",
        "a program copied it from the phone and wrote the time of copying",
        "the camera developed the photo later",
    ],
    blind_spots: "Programs that leave DateTime as it is are not seen. Does not say what was changed.",
};

/// The check.
#[derive(Debug)]
pub struct ChangedAfterCapture;

impl Check for ChangedAfterCapture {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        let limit = evidence.limits().max_source_difference_s;
        let found = evidence
            .photo_ids()
            .filter_map(|photo| {
                let seconds = later_by(evidence, photo).filter(|&seconds| seconds > limit)?;
                Some(Instance {
                    photo,
                    message: format!(
                        "the file states a change {} after the picture was taken",
                        duration(seconds)
                    ),
                    measured: Some((seconds as f64, limit as f64, "seconds")),
                })
            })
            .collect();
        one_per_device(
            &META,
            evidence,
            found,
            "state a change long after the picture was taken",
        )
    }
}

/// Seconds from capture to the stated change; `None` where a zone explains them.
fn later_by(evidence: &Evidence<'_>, id: PhotoId) -> Option<i64> {
    let photo = evidence.photo(id);
    let taken = camera_time(photo)?;
    let changed = photo.time_from(TimeSource::ExifModified)?;
    let seconds = seconds_between(taken, changed);
    let zoned = taken.offset.is_none() || changed.offset.is_none();
    let running = !is_never_set(changed.civil);
    (running && !(zoned && is_zone(seconds))).then_some(seconds)
}
