//! `stamp-disagrees`: the date stamp in the picture and the file's own time differ.

use chrono::{NaiveDate, NaiveDateTime, TimeDelta};

use super::capture_time_out_of_order::duration;
use crate::ingest::order::camera_time;
use crate::ingest::{CaptureTime, PhotoId, Stamp};
use crate::judge::together::{Instance, each_or_one};
use crate::judge::{Check, CheckMeta, Evidence, Finding, Severity, Status};

static META: CheckMeta = CheckMeta {
    id: "stamp-disagrees",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Review,
    summary: "The date stamp seen in the picture and the time in its file differ.",
    why: "One of the two is not the time at which the picture was taken.",
    how_measured: "Stamp as read against Exif DateTimeOriginal, else DateTimeDigitized, both as wall clocks; where offset and site zone are known the time at the site counts as well. A stamp without seconds covers its minute, one without a time its day. Of a stamp with several readings (03/04) the nearest counts.",
    limit: "max_stamp_difference_s (120 seconds).",
    remedy: "Check the clock of the camera and that of the stamping program; send the original file.",
    innocent: &[
        "the stamping program used another zone or printed the day of upload",
        "the stamp was misread",
        "the camera's clock was set between picture and stamp",
    ],
    blind_spots: "Silent where the stamp cannot be read for sure, or the file has no Exif time. A stamp and an Exif time that were changed together agree.",
};

/// The check.
#[derive(Debug)]
pub struct StampDisagrees;

impl Check for StampDisagrees {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        let limit = evidence.limits().max_stamp_difference_s;
        let mut compared = 0;
        let mut found = Vec::new();
        for photo in evidence.photo_ids() {
            let Some((seconds, stamp)) = difference(evidence, photo) else {
                continue;
            };
            compared += 1;
            if seconds.abs() > limit {
                let side = if seconds > 0 { "later" } else { "earlier" };
                found.push(Instance {
                    photo,
                    message: format!(
                        "the stamp \"{}\" is {} {side} than the time in the file",
                        stamp.text,
                        duration(seconds)
                    ),
                    measured: Some((seconds as f64, limit as f64, "seconds")),
                });
            }
        }
        let words = "photos with a readable stamp show another time than their files";
        each_or_one(&META, evidence, found, compared, words)
    }
}

/// Seconds by which the stamp is later than the file's time; 0 where the time shown covers it.
fn difference<'a>(evidence: &'a Evidence<'_>, id: PhotoId) -> Option<(i64, &'a Stamp)> {
    let photo = evidence.photo(id);
    let stamp = photo.stamp.as_ref()?;
    let walls = wall_clocks(evidence, camera_time(photo)?);
    let nearest = stamp
        .dates
        .iter()
        .flat_map(|&(_, date)| walls.iter().map(move |&wall| apart(stamp, date, wall)))
        .min_by_key(|seconds| seconds.abs())?;
    Some((nearest, stamp))
}

/// The time as written and, where it can be told, at the site.
fn wall_clocks(evidence: &Evidence<'_>, time: &CaptureTime) -> Vec<NaiveDateTime> {
    let mut walls = vec![time.civil];
    if let (Some(instant), Some(zone)) = (time.instant(), evidence.sheet.site.timezone) {
        walls.push(instant.with_timezone(&zone).naive_local());
    }
    walls
}

/// Seconds from `wall` to the nearest moment that the stamp covers.
fn apart(stamp: &Stamp, date: NaiveDate, wall: NaiveDateTime) -> i64 {
    let (start, length) = match stamp.time {
        Some(time) if stamp.has_seconds => (date.and_time(time), TimeDelta::seconds(1)),
        Some(time) => (date.and_time(time), TimeDelta::minutes(1)),
        None => (date.and_time(chrono::NaiveTime::MIN), TimeDelta::days(1)),
    };
    let end = start.checked_add_signed(length).unwrap_or(start);
    if wall < start {
        (start - wall).num_seconds()
    } else if wall >= end {
        -((wall - end).num_seconds() + 1)
    } else {
        0
    }
}
