//! When a photo was taken, as far as its time can be placed: at the site, and corrected by its clock's error.

use chrono::{DateTime, NaiveDateTime, TimeDelta, Utc};
use chrono_tz::Tz;

use super::zone::instants;
use crate::ingest::CaptureTime;

/// The moment of a photo.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Moment {
    /// Wall clock at the site where offset and zone are known, else as the camera wrote it; corrected.
    pub civil: NaiveDateTime,
    /// Earliest and latest instant it can be; two where the hour exists twice. `None` if neither the file nor
    /// the site tells an offset.
    pub instants: Option<(DateTime<Utc>, DateTime<Utc>)>,
    /// How much earlier and later it may have been because the clock's error is not known exactly, seconds.
    pub slack_s: (i64, i64),
}

impl Moment {
    /// Places a time at the site; `error_s` is how fast its clock was, seconds.
    #[must_use]
    pub fn new(time: &CaptureTime, zone: Option<Tz>, error_s: i64) -> Option<Self> {
        let error = TimeDelta::try_seconds(error_s)?;
        let stated = match (time.instant(), zone) {
            (Some(instant), _) => Some((instant.to_utc(), instant.to_utc())),
            (None, Some(zone)) => instants(time.civil, zone),
            (None, None) => None,
        };
        let placed = match stated {
            Some((a, b)) => Some((a.checked_sub_signed(error)?, b.checked_sub_signed(error)?)),
            None => None,
        };
        let civil = match (placed, zone) {
            (Some((first, _)), Some(zone)) if error_s != 0 || time.offset.is_some() => {
                first.with_timezone(&zone).naive_local()
            }
            _ => time.civil.checked_sub_signed(error)?,
        };
        Some(Self {
            civil,
            instants: placed,
            slack_s: (0, 0),
        })
    }

    /// Seconds to `later`, negative if it is earlier; of an hour that exists twice the reading that is in order.
    #[must_use]
    pub fn seconds_until(&self, later: &Self) -> i64 {
        match (self.instants, later.instants) {
            (Some((a, b)), Some((x, y))) => {
                let (least, most) = ((x - b).num_seconds(), (y - a).num_seconds());
                if least <= 0 && most >= 0 {
                    // They may be the same moment; the readings that keep the written order are the likely ones.
                    let written = (later.civil - self.civil).num_seconds();
                    return written.clamp(0, most);
                }
                if most < 0 { most } else { least }
            }
            _ => (later.civil - self.civil).num_seconds(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ingest::TimeSource;

    fn moment(text: &str, zone: Option<Tz>) -> Moment {
        let time = CaptureTime {
            civil: text.parse().unwrap(),
            offset: None,
            source: TimeSource::ExifOriginal,
        };
        Moment::new(&time, zone, 0).unwrap()
    }

    #[test]
    fn the_hour_that_happens_twice_is_no_contradiction() {
        let zone = Some(chrono_tz::America::Chicago);
        let before = moment("2026-11-01T01:50:00", zone);
        let after = moment("2026-11-01T01:10:00", zone);
        assert!(before.seconds_until(&after) >= 0);
        assert_eq!(
            moment("2026-11-01T01:50:00", None).seconds_until(&after),
            -2400
        );
        let much_later = moment("2026-11-01T04:00:00", zone);
        assert_eq!(much_later.seconds_until(&before), -2 * 3600 - 600);
    }
}
