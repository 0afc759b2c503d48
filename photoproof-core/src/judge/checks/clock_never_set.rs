//! `clock-never-set`: a capture time is the one at which a clock starts that nobody has set.

use crate::ingest::order::is_never_set;
use crate::judge::together::{Instance, each_or_one_of_all};
use crate::judge::{Check, CheckMeta, Evidence, Finding, Severity, Status};

static META: CheckMeta = CheckMeta {
    id: "clock-never-set",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Review,
    summary: "A photo's capture time is the start of a clock that was never set, such as 1970-01-01 or 2000-01-01.",
    why: "Such a time says nothing about when the photo was taken; order and work window cannot be checked with it.",
    how_measured: "The most trusted time of the file lies within a day of the first day of a known clock (1904-01-01, 1970-01-01, 1980-01-01, 1980-01-06, 2000-01-01, 2001-01-01) or in the first five minutes of a year. Order and window then use the file's next time, if it has one.",
    limit: "No photo with such a time.",
    remedy: "Set date, time and zone of the camera before the next photo, and say in writing when these photos were taken.",
    innocent: &[
        "the camera's battery was empty or out, and its clock started anew",
        "a new camera was used before its clock was set",
    ],
    blind_spots: "A clock that was set wrongly runs on as any other; capture-time-outside-window and device-clock-wrong look at that.",
};

/// The check.
#[derive(Debug)]
pub struct ClockNeverSet;

impl Check for ClockNeverSet {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        let found = evidence
            .photo_ids()
            .filter_map(|photo| {
                let time = evidence.photo(photo).capture_time.as_ref()?;
                is_never_set(time.civil).then(|| Instance {
                    photo,
                    message: format!(
                        "the photo's clock says {}: the start of a clock that was never set",
                        time.civil.format("%Y-%m-%d %H:%M")
                    ),
                    measured: None,
                })
            })
            .collect();
        each_or_one_of_all(
            &META,
            evidence,
            found,
            "photos carry the start of a clock that was never set",
        )
    }
}
