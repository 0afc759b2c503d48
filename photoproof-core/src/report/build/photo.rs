//! A photo as the report and `inspect` print it.

use crate::ingest::{CaptureTime, Label, LabelSource, Photo, Stamp, TimeSource};
use crate::measure::Quality;
use crate::report::v1;

/// The report's row of one photo.
#[must_use]
pub fn photo(photo: &Photo, label: &Label, quality: &Quality) -> v1::Photo {
    v1::Photo {
        path: photo.path.clone(),
        sha256: photo.sha256.clone(),
        area: label.area.clone(),
        area_source: label
            .area_source
            .map(|source| label_source(source).to_owned()),
        phase: label.phase,
        phase_source: label
            .phase_source
            .map(|source| label_source(source).to_owned()),
        caption: label.caption.clone(),
        capture_time: photo.capture_time.as_ref().map(time),
        all_times: photo
            .all_times
            .iter()
            .filter(|t| t.source != TimeSource::FileSystem)
            .map(time)
            .collect(),
        format: photo.format.clone(),
        width: photo.width,
        height: photo.height,
        orientation: photo.orientation,
        gps: photo.gps.map(|gps| v1::Gps {
            lat: gps.lat,
            lon: gps.lon,
            error_m: gps.error_m,
        }),
        camera: v1::Camera {
            make: photo.camera.make.clone(),
            model: photo.camera.model.clone(),
            lens: photo.camera.lens.clone(),
            focal_mm: photo.camera.focal_mm,
            focal_35mm: photo.camera.focal_35mm,
        },
        software: photo.software.clone(),
        sharpness: rounded(quality.sharpness, 3),
        exposure: v1::Exposure {
            mean_luma: rounded(quality.mean_luma, 4),
            dark_share: rounded(quality.dark_share, 4),
            clipped_share: rounded(quality.clipped_share, 4),
        },
        stamp: photo.stamp.as_ref().map(stamp),
        problems: photo.problems.clone(),
    }
}

/// One time of a photo.
#[must_use]
pub fn time(time: &CaptureTime) -> v1::Time {
    v1::Time {
        value: time.to_text(),
        source: time_source(time.source).to_owned(),
        offset_known: time.offset.is_some(),
    }
}

/// The stamp of a photo.
#[must_use]
pub(crate) fn stamp(stamp: &Stamp) -> v1::Stamp {
    v1::Stamp {
        text: stamp.text.clone(),
        time: stamp.to_text(),
    }
}

/// The report's name of a time source.
#[must_use]
pub fn time_source(source: TimeSource) -> &'static str {
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

fn label_source(source: LabelSource) -> &'static str {
    match source {
        LabelSource::PhotosCsv => "photos_csv",
        LabelSource::JobSheet => "job_sheet",
        LabelSource::Folder => "folder",
        LabelSource::FileName => "file_name",
        LabelSource::Inferred => "inferred",
    }
}

/// Rounds to `digits` decimals, so that reports do not carry noise.
pub(crate) fn rounded(value: f64, digits: i32) -> f64 {
    let factor = 10f64.powi(digits);
    (value * factor).round() / factor
}
