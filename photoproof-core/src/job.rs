//! The job sheet: what was ordered, where, when, which areas, which claims.

use chrono::NaiveDateTime;

use crate::limits::Limits;
use crate::phase::Phase;

/// A job sheet, read and checked. Everything is optional; absent parts are inferred or not judged.
#[derive(Debug, Clone, Default)]
#[non_exhaustive]
pub struct JobSheet {
    /// `[job] id`.
    pub id: Option<String>,
    /// `[job] vendor`.
    pub vendor: Option<String>,
    /// `[job] services`.
    pub services: Vec<String>,
    /// `[job] window`: civil times at the site.
    pub window: Option<Window>,
    /// `[site]`.
    pub site: Site,
    /// `[[area]]`, in sheet order.
    pub areas: Vec<Area>,
    /// `[limits]` over the defaults.
    pub limits: Limits,
    /// `[scope] phases`; default all three.
    pub phases: Vec<Phase>,
}

/// The work window, civil time at the site, both ends included.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Window {
    /// First moment.
    pub start: NaiveDateTime,
    /// Last moment.
    pub end: NaiveDateTime,
}

/// Where the work is.
#[derive(Debug, Clone, Default, PartialEq)]
#[non_exhaustive]
pub struct Site {
    /// Postal address, as written.
    pub address: Option<String>,
    /// Latitude, decimal degrees.
    pub latitude: Option<f64>,
    /// Longitude, decimal degrees.
    pub longitude: Option<f64>,
    /// Radius within which a photo counts as taken at the site, metres.
    pub radius_m: Option<f64>,
    /// IANA zone of the site.
    pub timezone: Option<chrono_tz::Tz>,
}

/// One area of the site.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct Area {
    /// Name as printed everywhere.
    pub name: String,
    /// Kind, picks the scope (`kitchen`, `bathroom`, ...).
    pub kind: Option<String>,
    /// Extra label patterns (globs, case-insensitive).
    pub patterns: Vec<String>,
}
