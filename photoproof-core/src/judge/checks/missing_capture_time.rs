//! `missing-capture-time`: no time says when a photo was taken.

use crate::ingest::PhotoId;
use crate::judge::{Check, CheckMeta, Evidence, Finding, Severity, Status};

static META: CheckMeta = CheckMeta {
    id: "missing-capture-time",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Review,
    summary: "A photo carries no capture time.",
    why: "Order and work window cannot be checked for it.",
    how_measured: "Exif DateTimeOriginal, DateTimeDigitized, GPS time, XMP or container time, a time in the file name; blank and zero dates are no dates (CIPA DC-008). File-system times do not count.",
    limit: "One usable time.",
    remedy: "Send the original file from the phone; messengers and screenshots drop the time.",
    innocent: &[
        "a messenger or upload form stripped the file's metadata",
        "the phone is set not to write it",
        "the photo was edited and saved anew",
    ],
    blind_spots: "A time that is present can still be wrong; the order and window checks and clock-never-set look at that.",
};

/// The check.
#[derive(Debug)]
pub struct MissingCaptureTime;

impl Check for MissingCaptureTime {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        let (timed, untimed): (Vec<PhotoId>, Vec<PhotoId>) = evidence
            .photo_ids()
            .partition(|&id| evidence.photo(id).capture_time.is_some());
        if untimed.len() > timed.len() {
            // One cause, one finding: most of the folder lost its times.
            let message = format!(
                "{} of {} photos carry no capture time",
                untimed.len(),
                untimed.len() + timed.len()
            );
            let value = untimed.len() as f64;
            return vec![
                META.finding(message)
                    .photos(untimed)
                    .measured(value, 0.0, "photos"),
            ];
        }
        untimed
            .into_iter()
            .map(|id| {
                META.finding("the photo carries no capture time")
                    .area(evidence.area(id))
                    .photos([id])
            })
            .collect()
    }
}
