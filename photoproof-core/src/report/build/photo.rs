//! A photo as the report and `inspect` print it.

use crate::ingest::{Label, LabelSource, Photo, Stamp, TimeSource};
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
        capture_time: photo.capture_time.as_ref().map(v1::Time::from),
        site_time: None,
        all_times: photo
            .all_times
            .iter()
            .filter(|t| t.source != TimeSource::FileSystem)
            .map(v1::Time::from)
            .collect(),
        format: photo.format.clone(),
        width: photo.width,
        height: photo.height,
        orientation: photo.orientation,
        gps: photo.gps.map(v1::Gps::from),
        camera: v1::Camera::from(&photo.camera),
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

/// The stamp of a photo.
#[must_use]
pub(crate) fn stamp(stamp: &Stamp) -> v1::Stamp {
    v1::Stamp {
        text: stamp.text.clone(),
        time: stamp.to_text(),
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
