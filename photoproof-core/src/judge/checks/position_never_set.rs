//! `position-never-set`: a photo states the position 0, 0.

use crate::ingest::PhotoId;
use crate::judge::{Check, CheckMeta, Evidence, Finding, Severity, Status};

static META: CheckMeta = CheckMeta {
    id: "position-never-set",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Note,
    summary: "Photos state the position 0, 0, which a receiver writes that has never found its place.",
    why: "Such a position says nothing about where the photo was taken; the place cannot be checked with it.",
    how_measured: "Exif GPSLatitude and GPSLongitude are both exactly zero, a point in the open sea. The photo then counts as having no position.",
    limit: "No photo with that position.",
    remedy: "Let the phone find its position outdoors before the first photo of a visit.",
    innocent: &[
        "the camera's receiver had not found its place yet",
        "a program wrote empty position tags",
    ],
    blind_spots: "Other positions that were never measured, such as the last one of the day before, are not told from right ones here; away-from-site and position-jump look at that.",
};

/// The check.
#[derive(Debug)]
pub struct PositionNeverSet;

impl Check for PositionNeverSet {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        let unset: Vec<PhotoId> = evidence
            .photo_ids()
            .filter(|&id| evidence.photo(id).gps_zero)
            .collect();
        let message = match unset.len() {
            0 => return Vec::new(),
            1 => {
                "a photo states the position 0, 0: its receiver had not found its place".to_owned()
            }
            count => format!(
                "{count} photos state the position 0, 0: the receiver had not found its place"
            ),
        };
        let value = unset.len() as f64;
        vec![
            META.finding(message)
                .photos(unset)
                .measured(value, 0.0, "photos"),
        ]
    }
}
