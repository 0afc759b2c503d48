//! A photo of the report, and what its file says.

use serde::{Deserialize, Serialize};

use crate::phase::Phase;

/// One photo of the report; members as in `inspect --format json`, with labels.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Photo {
    /// Path relative to the job folder.
    pub path: String,
    /// SHA-256 of the file.
    pub sha256: String,
    /// Area label.
    pub area: Option<String>,
    /// Where the area comes from.
    pub area_source: Option<String>,
    /// Phase label.
    pub phase: Option<Phase>,
    /// Where the phase comes from.
    pub phase_source: Option<String>,
    /// Caption from `photos.csv`.
    pub caption: Option<String>,
    /// Chosen capture time.
    pub capture_time: Option<Time>,
    /// Wall clock at the site where offset and zone are known, else as written; corrected by the error of the
    /// device's clock.
    #[serde(default)]
    pub site_time: Option<String>,
    /// Every time the file offers.
    pub all_times: Vec<Time>,
    /// Container format.
    pub format: String,
    /// Upright width, pixels.
    pub width: u32,
    /// Upright height, pixels.
    pub height: u32,
    /// Exif Orientation.
    pub orientation: Option<u16>,
    /// GPS position.
    pub gps: Option<Gps>,
    /// Camera tags.
    pub camera: Camera,
    /// Software tags.
    pub software: Option<String>,
    /// Sharpness measure.
    pub sharpness: f64,
    /// Exposure measures.
    pub exposure: Exposure,
    /// Visible date stamp, when one was read.
    pub stamp: Option<Stamp>,
    /// Oddities of the file.
    pub problems: Vec<String>,
}

/// One time of a photo.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Time {
    /// RFC 3339, or local without offset when the offset is unknown.
    pub value: String,
    /// Source name.
    pub source: String,
    /// Whether the offset from UTC is known.
    pub offset_known: bool,
}

/// GPS position.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Gps {
    /// Latitude, decimal degrees.
    pub lat: f64,
    /// Longitude, decimal degrees.
    pub lon: f64,
    /// Horizontal error, metres.
    pub error_m: Option<f64>,
}

/// Camera tags.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Camera {
    /// Exif Make.
    pub make: Option<String>,
    /// Exif Model.
    pub model: Option<String>,
    /// Exif LensModel.
    pub lens: Option<String>,
    /// Exif FocalLength, millimetres.
    pub focal_mm: Option<f64>,
    /// Exif FocalLengthIn35mmFilm, millimetres.
    pub focal_35mm: Option<f64>,
}

/// Exposure measures of a photo.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Exposure {
    /// Mean luma, 0..=1.
    pub mean_luma: f64,
    /// Share of pixels at or near black.
    pub dark_share: f64,
    /// Share of pixels at or near white.
    pub clipped_share: f64,
}

/// Visible date stamp.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Stamp {
    /// The text as read.
    pub text: String,
    /// The time it states, local without offset, if unambiguous.
    pub time: Option<String>,
}
