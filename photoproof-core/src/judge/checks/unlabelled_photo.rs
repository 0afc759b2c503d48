//! `unlabelled-photo`: nothing tells which area or phase a photo belongs to.

use crate::ingest::PhotoId;
use crate::judge::{Check, CheckMeta, Evidence, Finding, Severity, Status};

static META: CheckMeta = CheckMeta {
    id: "unlabelled-photo",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Review,
    summary: "Nothing tells which area or phase a photo belongs to.",
    why: "It is not counted for any area, so it proves nothing.",
    how_measured: "Labels from photos.csv, the job sheet, folders and file names; else the labels of the same view and the times of the phases.",
    limit: "An area if the job names areas, and a phase.",
    remedy: "Put the photo into a folder named after its area and phase, or list it in photos.csv.",
    innocent: &[
        "a street view or a receipt that belongs to no area",
        "the phone's own file name was kept",
    ],
    blind_spots: "A wrong label is not noticed here.",
};

/// The check.
#[derive(Debug)]
pub struct UnlabelledPhoto;

impl Check for UnlabelledPhoto {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        let areas_matter = !evidence.grouped.areas.is_empty();
        let lost: Vec<PhotoId> = evidence
            .photo_ids()
            .filter(|&id| !evidence.grouped.debris_photos.contains(&id))
            .filter(|&id| {
                let label = evidence.label(id);
                label.phase.is_none() || (areas_matter && label.area.is_none())
            })
            .collect();
        match lost.len() {
            0 => Vec::new(),
            1 => vec![META.finding("the photo has no area or phase").photos(lost)],
            n => vec![
                META.finding(format!("{n} photos have no area or phase"))
                    .photos(lost)
                    .measured(n as f64, 0.0, "photos"),
            ],
        }
    }
}
