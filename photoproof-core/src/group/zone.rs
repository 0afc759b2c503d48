//! The time zone of the site: from the job sheet, else from coordinates, else unknown.

use std::sync::OnceLock;

use chrono::{DateTime, LocalResult, NaiveDateTime, Offset, TimeDelta, TimeZone, Utc};
use chrono_tz::Tz;
use tzf_rs::DefaultFinder;

use crate::ingest::Photo;
use crate::job::JobSheet;

/// A zone and how it is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SiteZone {
    /// The zone.
    pub zone: Tz,
    /// What tells it.
    pub source: ZoneSource,
}

/// What tells the zone of the site.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ZoneSource {
    /// `site.timezone` of the job sheet.
    JobSheet,
    /// `site.latitude` and `site.longitude` of the job sheet.
    SitePosition,
    /// The middle of the photos' positions.
    PhotoPositions,
}

impl ZoneSource {
    /// Name as reports print it.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::JobSheet => "job_sheet",
            Self::SitePosition => "site_position",
            Self::PhotoPositions => "photo_positions",
        }
    }
}

/// Latitude and longitude of the site: from the job sheet, else the medians of the photos' positions.
#[must_use]
pub fn site_position(sheet: &JobSheet, photos: &[Photo]) -> Option<(f64, f64, ZoneSource)> {
    if let Some((lat, lon)) = sheet.site.position() {
        return Some((lat, lon, ZoneSource::SitePosition));
    }
    let median = |value: fn(&crate::ingest::Gps) -> f64| {
        let mut values: Vec<f64> = photos
            .iter()
            .filter_map(|photo| photo.gps.as_ref().map(value))
            .collect();
        values.sort_by(f64::total_cmp);
        values.get(values.len() / 2).copied()
    };
    let (lat, lon) = (median(|gps| gps.lat)?, median(|gps| gps.lon)?);
    Some((lat, lon, ZoneSource::PhotoPositions))
}

/// The zone of the site, if anything tells it.
#[must_use]
pub fn site_zone(sheet: &JobSheet, photos: &[Photo]) -> Option<SiteZone> {
    if let Some(zone) = sheet.site.timezone {
        let source = ZoneSource::JobSheet;
        return Some(SiteZone { zone, source });
    }
    let (lat, lon, source) = site_position(sheet, photos)?;
    let zone = zone_at(lat, lon)?;
    Some(SiteZone { zone, source })
}

/// The zone of a place on land, where exactly one claims it.
#[must_use]
pub fn zone_at(lat: f64, lon: f64) -> Option<Tz> {
    static FINDER: OnceLock<DefaultFinder> = OnceLock::new();
    let names = FINDER
        .get_or_init(DefaultFinder::new)
        .get_tz_names(lon, lat);
    match names[..] {
        [name] if !name.starts_with("Etc/") => name.parse().ok(),
        _ => None,
    }
}

/// The earliest and the latest instant that a wall clock in `zone` can mean: two where clocks were set back
/// over it or forward past it, else one.
#[must_use]
pub fn instants(civil: NaiveDateTime, zone: Tz) -> Option<(DateTime<Utc>, DateTime<Utc>)> {
    match zone.from_local_datetime(&civil) {
        LocalResult::Single(time) => Some((time.to_utc(), time.to_utc())),
        LocalResult::Ambiguous(a, b) => Some((a.min(b).to_utc(), a.max(b).to_utc())),
        LocalResult::None => {
            // A clock that was not set forward, or was too early: the offsets on both sides.
            let side = |hours: i64| {
                let near = civil.checked_add_signed(TimeDelta::hours(hours))?;
                let offset = zone.offset_from_utc_datetime(&near).fix();
                civil.and_local_timezone(offset).single()
            };
            let (a, b) = (side(-26)?.to_utc(), side(26)?.to_utc());
            Some((a.min(b), a.max(b)))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Places well inside their zones; zone names from the IANA time zone database (from memory).
    #[test]
    fn zones_of_places() {
        for (lat, lon, name) in [
            (41.5812, -93.6544, "America/Chicago"),
            (33.45, -112.07, "America/Phoenix"),
            (39.77, -86.16, "America/Indiana/Indianapolis"),
            (40.71, -74.0, "America/New_York"),
            (52.52, 13.4, "Europe/Berlin"),
            (-33.87, 151.2, "Australia/Sydney"),
        ] {
            assert_eq!(zone_at(lat, lon).map(|zone| zone.name()), Some(name));
        }
        assert_eq!(zone_at(0.0, -30.0), None, "the open sea");
        assert_eq!(zone_at(f64::NAN, 0.0), None);
    }

    // United States rules: 2026-03-08 02:00 forward, 2026-11-01 02:00 back (15 U.S.C. 260a).
    #[test]
    fn gaps_and_folds_give_two_instants() {
        let zone = chrono_tz::America::Chicago;
        let both = |text: &str| {
            let (a, b) = instants(text.parse().unwrap(), zone).unwrap();
            (
                a.format("%dT%H:%M").to_string(),
                b.format("%dT%H:%M").to_string(),
            )
        };
        let pair = |a: &str, b: &str| (a.to_owned(), b.to_owned());
        assert_eq!(both("2026-11-01T01:30:00"), pair("01T06:30", "01T07:30"));
        assert_eq!(both("2026-03-08T02:30:00"), pair("08T07:30", "08T08:30"));
        assert_eq!(both("2026-03-08T03:00:00"), pair("08T08:00", "08T08:00"));
    }
}
