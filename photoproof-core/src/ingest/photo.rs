//! A photo as ingest hands it on: what the file says, and the labels it carries.

use serde::Serialize;

use crate::ingest::capture_time::{CaptureTime, TimeSource};
use crate::ingest::stamp::Stamp;
use crate::ingest::traces::Traces;
use crate::phase::Phase;

/// Index of a photo in [`Intake::photos`](crate::ingest::Intake), which is sorted by path.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct PhotoId(pub usize);

/// One readable photo of the job folder. Pixels are not kept.
#[derive(Debug, Clone, Default)]
#[non_exhaustive]
pub struct Photo {
    /// Path relative to the job folder, `/` between parts; invalid UTF-8 replaced for display.
    pub path: String,
    /// Container format, lower case: `jpeg`, `png`, `webp`, `tiff`, `heic`.
    pub format: String,
    /// Width in pixels after Exif Orientation was applied.
    pub width: u32,
    /// Height in pixels after Exif Orientation was applied.
    pub height: u32,
    /// Exif Orientation as stored, 1..=8; `None` if absent or invalid.
    pub orientation: Option<u16>,
    /// SHA-256 of the file, lower-case hexadecimal.
    pub sha256: String,
    /// Size of the file in bytes.
    pub bytes: u64,
    /// The capture time that was chosen among `all_times`, the most trusted first.
    pub capture_time: Option<CaptureTime>,
    /// Every time the file offers, most trusted first.
    pub all_times: Vec<CaptureTime>,
    /// Position from the Exif GPS tags.
    pub gps: Option<Gps>,
    /// Whether the Exif GPS tags state 0, 0, which a receiver without a fix writes; `gps` is then `None`.
    pub gps_zero: bool,
    /// Exif GPSImgDirection: where the camera pointed, degrees clockwise from north.
    pub direction_deg: Option<f64>,
    /// Light that the exposure settings were made for: exposure value at ISO 100, from ExposureTime, FNumber and
    /// PhotographicSensitivity.
    pub light_ev: Option<f64>,
    /// Camera tags.
    pub camera: Camera,
    /// Exif Software and editing-software tags, joined by "; ".
    pub software: Option<String>,
    /// Programs, stated size, coding.
    pub traces: Traces,
    /// Exif ImageUniqueID.
    pub unique_id: Option<String>,
    /// Area, phase and caption with their sources.
    pub label: Label,
    /// Date stamp seen in the picture.
    pub stamp: Option<Stamp>,
    /// What is wrong or odd about the file, in words, without a verdict.
    pub problems: Vec<String>,
}

impl Photo {
    /// Chooses the capture time among all times: the most trusted; never the file system's.
    pub(crate) fn choose_time(&mut self) {
        self.capture_time = self
            .all_times
            .iter()
            .find(|time| time.source != TimeSource::FileSystem)
            .cloned();
    }

    /// The time that `source` states.
    #[must_use]
    pub fn time_from(&self, source: TimeSource) -> Option<&CaptureTime> {
        self.all_times.iter().find(|time| time.source == source)
    }
}

/// Position from Exif GPS tags, decimal degrees WGS 84.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gps {
    /// Latitude, -90..=90, north positive.
    pub lat: f64,
    /// Longitude, -180..=180, east positive.
    pub lon: f64,
    /// GPSHPositioningError in metres, if given.
    pub error_m: Option<f64>,
}

/// Camera tags of a photo.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Camera {
    /// Exif Make, trimmed.
    pub make: Option<String>,
    /// Exif Model, trimmed.
    pub model: Option<String>,
    /// Exif LensModel.
    pub lens: Option<String>,
    /// Exif FocalLength in millimetres.
    pub focal_mm: Option<f64>,
    /// Exif FocalLengthIn35mmFilm in millimetres; 0 in the file means unknown.
    pub focal_35mm: Option<f64>,
}

/// Where a label comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum LabelSource {
    /// A row of `photos.csv`.
    PhotosCsv,
    /// A `match` pattern of the job sheet.
    JobSheet,
    /// A folder name.
    Folder,
    /// The file name.
    FileName,
    /// Inferred from view sets and time; marked as inferred everywhere.
    Inferred,
}

/// Labels of a photo, each with its source. `None` = not labelled.
#[derive(Debug, Clone, Default)]
pub struct Label {
    /// Area name as on the job sheet if it matches one, else as written by the crew, tidied.
    pub area: Option<String>,
    /// Where the area label comes from.
    pub area_source: Option<LabelSource>,
    /// Phase.
    pub phase: Option<Phase>,
    /// Where the phase label comes from.
    pub phase_source: Option<LabelSource>,
    /// Caption from `photos.csv`.
    pub caption: Option<String>,
    /// Shot it shows, from `photos.csv` (`corner-2`).
    pub view: Option<String>,
}
