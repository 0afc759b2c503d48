//! `capture-times-disagree`: the times that one file states contradict each other.

use super::capture_time_out_of_order::duration;
use crate::group::clock::{error_of, gps_and_clock};
use crate::group::zone::zone_at;
use crate::ingest::order::{camera_time, seconds_between};
use crate::ingest::{CaptureTime, PhotoId, TimeSource};
use crate::judge::together::{Instance, each_or_one_of_all};
use crate::judge::{Check, CheckMeta, Evidence, Finding, Severity, Status};

static META: CheckMeta = CheckMeta {
    id: "capture-times-disagree",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Review,
    summary: "The times of one photo contradict each other: Exif against GPS, against the file's last change, or against its name.",
    why: "At least one of them is not the time at which the picture was taken.",
    how_measured: "Exif DateTimeOriginal (else DateTimeDigitized) against GPSDateStamp and GPSTimeStamp in UTC, after the offset or the zone of the photo's position or the site and after the error of the device's clock; DateTime that is earlier than DateTimeOriginal; a time in the file name that differs from it. Without a known offset any whole quarter of an hour from 12 hours behind to 14 ahead counts as a zone.",
    limit: "max_source_difference_s (1800 seconds).",
    remedy: "Send the original file as the camera wrote it, and say which program changed or renamed it.",
    innocent: &[
        "the file was edited on a computer whose clock or zone was wrong",
        "the file was named when it was copied",
        "the GPS receiver had an old fix, or none",
    ],
    blind_spots: "A zone's worth of difference is not seen where the offset is unknown. Times that were changed together agree.",
};

/// The check.
#[derive(Debug)]
pub struct CaptureTimesDisagree;

impl Check for CaptureTimesDisagree {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        let limit = evidence.limits().max_source_difference_s;
        let found = evidence
            .photo_ids()
            .filter_map(|photo| {
                let apart = disagreements(evidence, photo);
                let worst = apart.iter().map(|(seconds, _)| seconds.abs()).max()?;
                let words: Vec<String> = apart.into_iter().map(|(_, words)| words).collect();
                Some(Instance {
                    photo,
                    message: words.join("; "),
                    measured: Some((worst as f64, limit as f64, "seconds")),
                })
            })
            .collect();
        each_or_one_of_all(
            &META,
            evidence,
            found,
            "photos state times that contradict each other",
        )
    }
}

/// Differences above the limit, with words.
fn disagreements(evidence: &Evidence<'_>, id: PhotoId) -> Vec<(i64, String)> {
    let limit = evidence.limits().max_source_difference_s;
    let photo = evidence.photo(id);
    let mut found = Vec::new();
    let ahead = |seconds: i64| if seconds > 0 { "later" } else { "earlier" };
    if let Some(seconds) = gps_difference(evidence, id).filter(|s| s.abs() > limit) {
        found.push((
            seconds,
            format!(
                "the camera's time is {} {} than the GPS time",
                duration(seconds),
                ahead(seconds)
            ),
        ));
    }
    let Some(taken) = camera_time(photo) else {
        return found;
    };
    let changed = photo
        .time_from(TimeSource::ExifModified)
        .map(|time| seconds_between(taken, time));
    let zoned = |time: Option<&CaptureTime>| {
        time.is_none_or(|t| t.offset.is_none()) || taken.offset.is_none()
    };
    let is_zone = |seconds: i64, source| zoned(photo.time_from(source)) && is_zone(seconds);
    let changed = changed.filter(|&s| s < -limit && !is_zone(s, TimeSource::ExifModified));
    if let Some(seconds) = changed {
        found.push((
            seconds,
            format!(
                "the file was last changed {} before it was taken",
                duration(seconds)
            ),
        ));
    }
    let named = photo
        .time_from(TimeSource::FileName)
        .map(|time| seconds_between(taken, time));
    let named = named.filter(|&s| s.abs() > limit && !is_zone(s, TimeSource::FileName));
    if let Some(seconds) = named {
        found.push((
            seconds,
            format!(
                "the time in the file name is {} {} than the one in the file",
                duration(seconds),
                ahead(seconds)
            ),
        ));
    }
    found
}

/// Seconds by which the camera's time is ahead of GPS, beyond the known error of its clock.
fn gps_difference(evidence: &Evidence<'_>, id: PhotoId) -> Option<i64> {
    let (gps, own) = gps_and_clock(evidence.photo(id))?;
    // Where the photo says it was taken, else at the site.
    let there = evidence.photo(id).gps.filter(|_| own.offset.is_none());
    let there = there.and_then(|gps| zone_at(gps.lat, gps.lon));
    let zone = there.or(evidence.grouped.zone.map(|zone| zone.zone));
    let known = evidence.grouped.devices.clock(id.0);
    let error = known.map_or(0, |clock| clock.error_s);
    match error_of(gps, own, zone) {
        Some(seconds) => Some(seconds - error),
        None => {
            let seconds = (own.civil - gps.civil).num_seconds() - error;
            (!(-12 * 3600..=14 * 3600).contains(&seconds)).then_some(seconds)
        }
    }
}

/// Whether another zone explains a difference of two wall clocks: whole quarters of an hour, a few seconds aside.
pub(super) fn is_zone(seconds: i64) -> bool {
    let quarter = (seconds as f64 / 900.0).round() as i64 * 900;
    quarter.abs() <= 14 * 3600 && (seconds - quarter).abs() <= 5
}
