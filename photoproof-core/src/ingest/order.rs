//! Which capture times can put photos in order, and how far apart two of them are.

use chrono::{Datelike, NaiveDate, NaiveDateTime, Timelike};

use crate::ingest::capture_time::{CaptureTime, TimeSource};
use crate::ingest::photo::Photo;

/// Days at which clocks start that were never set: the epochs of Unix, DOS, GPS, of the QuickTime format and of
/// Cocoa, and the first day of 2000 (epochs: the formats' own definitions; cameras: common practice, no source).
const FIRST_DAYS: [(i32, u32, u32); 6] = [
    (1904, 1, 1),
    (1970, 1, 1),
    (1980, 1, 1),
    (1980, 1, 6),
    (2000, 1, 1),
    (2001, 1, 1),
];

/// Minutes after midnight on 1 January of any other year that are taken for a clock at its start.
const START_MINUTES: u32 = 5;

/// The time a photo is judged by: the most trusted one that is the time of a clock that runs. File-system
/// times change with every copy and prove nothing.
#[must_use]
pub fn judged_time(photo: &Photo) -> Option<&CaptureTime> {
    photo
        .capture_time
        .iter()
        .chain(&photo.all_times)
        .find(|time| time.source != TimeSource::FileSystem && !is_never_set(time.civil))
}

/// What the camera's own clock said: DateTimeOriginal, else DateTimeDigitized; `None` if that clock was never set.
#[must_use]
pub fn camera_time(photo: &Photo) -> Option<&CaptureTime> {
    [TimeSource::ExifOriginal, TimeSource::ExifDigitized]
        .into_iter()
        .find_map(|source| photo.time_from(source))
        .filter(|time| !is_never_set(time.civil))
}

/// Whether `civil` is what a clock says that was never set and has run for less than a day or so: one of the
/// known first days, the day before in zones west of Greenwich, or the first minutes of a year.
#[must_use]
pub fn is_never_set(civil: NaiveDateTime) -> bool {
    let known = FIRST_DAYS
        .iter()
        .filter_map(|&(year, month, day)| NaiveDate::from_ymd_opt(year, month, day))
        .any(|first| (-1..=1).contains(&(civil.date() - first).num_days()));
    let new_year = civil.month() == 1 && civil.day() == 1;
    let minutes = civil.hour() * 60 + civil.minute();
    known || (new_year && minutes < START_MINUTES)
}

/// Seconds from `a` to `b`, negative if `b` is earlier. Instants where both offsets are known, else the
/// two wall clocks: photos of one job are taken at one site.
#[must_use]
pub fn seconds_between(a: &CaptureTime, b: &CaptureTime) -> i64 {
    match (a.instant(), b.instant()) {
        (Some(x), Some(y)) => (y - x).num_seconds(),
        _ => (b.civil - a.civil).num_seconds(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn first_days_are_of_clocks_never_set() {
        let never = |text: &str| is_never_set(text.parse().unwrap());
        for text in [
            "1970-01-01T00:00:00",
            "1969-12-31T18:00:07",
            "1980-01-01T00:12:00",
            "1980-01-06T00:00:00",
            "2000-01-01T00:00:00",
            "2000-01-02T09:30:00",
            "1904-01-01T00:00:00",
            "2012-01-01T00:01:30",
        ] {
            assert!(never(text), "{text}");
        }
        for text in [
            "2026-03-02T08:44:01",
            "2026-01-01T09:00:00",
            "2000-02-01T00:00:00",
            "1999-12-30T12:00:00",
            "2025-12-31T23:59:59",
        ] {
            assert!(!never(text), "{text}");
        }
    }
}
