//! When the photos were taken: by device and phase, at the site, with what is known of each clock.

use serde::{Deserialize, Serialize};

use crate::phase::Phase;

/// The timeline of a job.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Timeline {
    /// IANA zone of the times, if anything tells the site's.
    pub timezone: Option<String>,
    /// What tells it: `job_sheet`, `site_position`, `photo_positions`.
    pub timezone_source: Option<String>,
    /// Work window start, civil time at the site.
    pub window_start: Option<String>,
    /// Work window end.
    pub window_end: Option<String>,
    /// Cameras by name; photos whose file names no camera come last.
    pub devices: Vec<Device>,
    /// Photos without a usable time.
    pub without_time: usize,
}

/// One camera.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Device {
    /// Make and model; `null` for photos whose file names none.
    pub device: Option<String>,
    /// Photos of it.
    pub photos: usize,
    /// What its clock is known by.
    pub clock: Clock,
    /// Its photos by phase, in working order, photos without a phase last.
    pub phases: Vec<PhaseSpan>,
}

/// What is known of a clock.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Clock {
    /// `gps`, `order`, or `null` if nothing tells its error.
    pub basis: Option<String>,
    /// GPS stamps that agree, or contradictions of order that the error explains.
    pub evidence: usize,
    /// Seconds by which it was fast (negative: slow) and its times were corrected; 0 if not corrected.
    pub error_s: i64,
    /// Smallest error that the evidence allows, seconds.
    pub low_s: i64,
    /// Largest error that the evidence allows, seconds.
    pub high_s: i64,
}

/// Photos of one camera in one phase.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PhaseSpan {
    /// Phase; `null` if unknown.
    pub phase: Option<Phase>,
    /// Photos, those without a time included.
    pub photos: usize,
    /// First time, corrected, civil at the site.
    pub first: Option<String>,
    /// Last time.
    pub last: Option<String>,
}
