//! What a photo file says, as reports and `inspect` write it.

use crate::ingest::{Camera, CaptureTime, Gps, TimeSource};
use crate::report::v1;

impl From<&CaptureTime> for v1::Time {
    fn from(time: &CaptureTime) -> Self {
        Self {
            value: time.to_text(),
            source: time_source(time.source).to_owned(),
            offset_known: time.offset.is_some(),
        }
    }
}

impl From<Gps> for v1::Gps {
    fn from(gps: Gps) -> Self {
        Self {
            lat: gps.lat,
            lon: gps.lon,
            error_m: gps.error_m,
        }
    }
}

impl From<&Camera> for v1::Camera {
    fn from(camera: &Camera) -> Self {
        Self {
            make: camera.make.clone(),
            model: camera.model.clone(),
            lens: camera.lens.clone(),
            focal_mm: camera.focal_mm,
            focal_35mm: camera.focal_35mm,
        }
    }
}

/// The report's name of a time source.
#[must_use]
fn time_source(source: TimeSource) -> &'static str {
    match source {
        TimeSource::ExifOriginal => "exif_original",
        TimeSource::ExifDigitized => "exif_digitized",
        TimeSource::Gps => "gps",
        TimeSource::Stamp => "stamp",
        TimeSource::Container => "container",
        TimeSource::FileName => "file_name",
        TimeSource::ExifModified => "exif_modified",
        TimeSource::FileSystem => "file_system",
    }
}
