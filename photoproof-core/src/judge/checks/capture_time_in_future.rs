//! `capture-time-in-future`: a photo says that it was taken after the check was run.

use chrono::TimeDelta;

use super::capture_time_out_of_order::duration;
use crate::ingest::order::judged_time;
use crate::judge::together::{Instance, each_or_one_of_all};
use crate::judge::{Check, CheckMeta, Evidence, Finding, Severity, Status};

static META: CheckMeta = CheckMeta {
    id: "capture-time-in-future",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Review,
    summary: "A photo's capture time is later than the moment at which it is checked.",
    why: "No photo can be taken later than it is looked at: its clock was wrong, or the time was written by hand.",
    how_measured: "Capture time against the clock of the computer that runs the check. A time without an offset counts as the earliest instant it can be, 14 hours before the same time in UTC.",
    limit: "max_clock_error_s (120 seconds).",
    remedy: "Check year, date and zone of the camera's clock.",
    innocent: &[
        "the camera's date was set to the wrong year or month",
        "the clock of the computer that ran the check is behind",
    ],
    blind_spots: "A clock that is fast by less than the time from photo to check is not seen. The result depends on the day of the check.",
};

/// The zone farthest ahead of UTC, hours.
const FARTHEST_AHEAD_H: i64 = 14;

/// The check.
#[derive(Debug)]
pub struct CaptureTimeInFuture;

impl Check for CaptureTimeInFuture {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        let Some(now) = evidence.now else {
            return Vec::new();
        };
        let limit = evidence.limits().max_clock_error_s;
        let found = evidence
            .photo_ids()
            .filter_map(|photo| {
                let time = judged_time(evidence.photo(photo))?;
                let earliest = match time.instant() {
                    Some(instant) => instant.naive_utc(),
                    None => time
                        .civil
                        .checked_sub_signed(TimeDelta::hours(FARTHEST_AHEAD_H))?,
                };
                let seconds = (earliest - now.naive_utc()).num_seconds();
                (seconds > limit).then(|| Instance {
                    photo,
                    message: format!(
                        "the photo says that it was taken at {}, at least {} after this check was run",
                        time.civil.format("%Y-%m-%d %H:%M"),
                        duration(seconds)
                    ),
                    measured: Some((seconds as f64, limit as f64, "seconds")),
                })
            })
            .collect();
        each_or_one_of_all(
            &META,
            evidence,
            found,
            "photos say that they were taken after this check was run",
        )
    }
}
