//! Times written in file names. A name that holds only a day gives nothing: no time is invented.

use chrono::{DateTime, FixedOffset, NaiveDate, NaiveDateTime};

use crate::ingest::date_text::digits;
use crate::ingest::{CaptureTime, TimeSource};

/// The time in a file name, if exactly one is there.
///
/// Forms: `20260302_141502`, `20260302141502`, `2026-03-02 14.15.02` with any single separators, each
/// with optional milliseconds, and thirteen digits of milliseconds since 1970 (UTC).
pub(crate) fn read(path: &str) -> Option<CaptureTime> {
    let name = path.rsplit('/').next().unwrap_or(path);
    let runs = digit_runs(name.as_bytes());
    let mut found: Vec<(NaiveDateTime, Option<FixedOffset>)> = Vec::new();
    for at in 0..runs.len() {
        found.extend(time_at(&runs[at..], name.as_bytes()));
    }
    found.dedup();
    let [(civil, offset)] = found[..] else {
        return None;
    };
    // Names that begin with PXL_ state UTC (from memory).
    let offset = offset.or_else(|| name.starts_with("PXL_").then(utc).flatten());
    Some(CaptureTime {
        civil,
        offset,
        source: TimeSource::FileName,
    })
}

fn utc() -> Option<FixedOffset> {
    FixedOffset::east_opt(0)
}

/// Start and end of each run of digits.
fn digit_runs(name: &[u8]) -> Vec<(usize, usize)> {
    let mut runs = Vec::new();
    let mut start = None;
    for at in 0..=name.len() {
        let is_digit = name.get(at).is_some_and(u8::is_ascii_digit);
        match (start, is_digit) {
            (None, true) => start = Some(at),
            (Some(from), false) => {
                runs.push((from, at));
                start = None;
            }
            _ => {}
        }
    }
    runs
}

fn time_at(runs: &[(usize, usize)], name: &[u8]) -> Option<(NaiveDateTime, Option<FixedOffset>)> {
    let run = |index: usize| runs.get(index).and_then(|&(from, to)| name.get(from..to));
    let close = |index: usize, gap: usize| match (runs.get(index), runs.get(index + 1)) {
        (Some(a), Some(b)) => b.0 - a.1 <= gap,
        _ => false,
    };
    let first = run(0)?;
    match first.len() {
        13 => epoch_millis(first).map(|civil| (civil, utc())),
        14 | 17 => civil(first.get(..8)?, first.get(8..14)?).map(|civil| (civil, None)),
        8 if close(0, 2) => {
            let time = run(1).filter(|time| matches!(time.len(), 6 | 9))?;
            civil(first, time.get(..6)?).map(|civil| (civil, None))
        }
        4 if close(0, 1) && close(1, 1) && close(2, 4) => {
            let day = [first, run(1)?, run(2)?].concat();
            let time = match run(3)?.len() {
                2 if close(3, 1) && close(4, 1) => [run(3)?, run(4)?, run(5)?].concat(),
                6 => run(3)?.to_vec(),
                _ => return None,
            };
            civil(&day, &time).map(|civil| (civil, None))
        }
        _ => None,
    }
}

/// `YYYYMMDD` and `HHMMSS`, years 1990 to 2099: other eight-digit numbers are seldom dates.
fn civil(day: &[u8], time: &[u8]) -> Option<NaiveDateTime> {
    if day.len() != 8 || time.len() != 6 {
        return None;
    }
    let year = digits(day.get(..4)?)?;
    let date = NaiveDate::from_ymd_opt(
        i32::try_from(year).ok()?,
        digits(&day[4..6])?,
        digits(&day[6..8])?,
    )?;
    let civil = date.and_hms_opt(
        digits(&time[..2])?,
        digits(&time[2..4])?,
        digits(&time[4..6])?,
    )?;
    (1990..=2099).contains(&year).then_some(civil)
}

/// Milliseconds since 1970-01-01 UTC, 2001-09-09 (the first with thirteen digits) to 2099.
fn epoch_millis(text: &[u8]) -> Option<NaiveDateTime> {
    let millis = text
        .iter()
        .fold(0_i64, |value, digit| value * 10 + i64::from(digit - b'0'));
    let time = DateTime::from_timestamp_millis(millis)?;
    (1_000_000_000_000..4_102_444_800_000)
        .contains(&millis)
        .then_some(time.naive_utc())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_with_a_time() {
        let cases = [
            ("IMG_20260302_141502.jpg", "2026-03-02T14:15:02"),
            ("a/b/20260302_141502.jpg", "2026-03-02T14:15:02"),
            ("20260302141502.jpg", "2026-03-02T14:15:02"),
            ("20260302-141502_kitchen.jpg", "2026-03-02T14:15:02"),
            ("IMG_20260302_141502_1.jpg", "2026-03-02T14:15:02"),
            ("IMG_20260302_141502123_HDR.jpg", "2026-03-02T14:15:02"),
            ("PXL_20260302_201502123.MP.jpg", "2026-03-02T20:15:02Z"),
            ("2026-03-02 14.15.02.jpg", "2026-03-02T14:15:02"),
            ("2026-03-02 14.15.02-1.jpg", "2026-03-02T14:15:02"),
            ("Photo 2026-03-02 at 14.15.02.jpg", "2026-03-02T14:15:02"),
            ("shot_2026-03-02-14-15-02.png", "2026-03-02T14:15:02"),
            ("2026_03_02_14_15_02.jpg", "2026-03-02T14:15:02"),
            ("2026-03-02T141502.jpg", "2026-03-02T14:15:02"),
            ("1772460902000.jpg", "2026-03-02T14:15:02Z"),
            ("img_1772460902000_2.jpg", "2026-03-02T14:15:02Z"),
        ];
        for (name, expected) in cases {
            let time = read(name).unwrap_or_else(|| panic!("{name} has a time"));
            assert_eq!(time.to_text(), expected, "{name}");
        }
    }

    #[test]
    fn names_without_a_time() {
        let names = [
            "IMG_0412.jpg",
            "IMG-20260302-WA0001.jpg",
            "20260302.jpg",
            "2026-03-02 kitchen.jpg",
            "20261302_141502.jpg",
            "20260302_251502.jpg",
            "12345678_141502.jpg",
            "IMG_99999999999999.jpg",
            "0000000000000.jpg",
            "20260302_141502 20260303_141502.jpg",
            "20260302/141502.jpg",
            "",
        ];
        for name in names {
            assert_eq!(read(name), None, "{name}");
        }
    }
}
