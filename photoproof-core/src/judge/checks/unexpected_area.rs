//! `unexpected-area`: photos of an area that is not on the job sheet.

use crate::judge::{Check, CheckMeta, Evidence, Finding, Severity, Status};
use crate::scope::{Scope, place_of};

static META: CheckMeta = CheckMeta {
    id: "unexpected-area",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Note,
    summary: "Photos are labelled with an area that is not on the job sheet.",
    why: "A misspelt area leaves the right one without photos.",
    how_measured: "Area labels against the names and patterns of the job sheet.",
    limit: "Any label that matches no area of the sheet.",
    remedy: "Correct the label, or add the area or a match pattern to the job sheet.",
    innocent: &[
        "another word for an area of the sheet",
        "extra photos of a part of the house that was not ordered",
    ],
    blind_spots: "Silent when the job sheet names no area.",
};

/// The check.
#[derive(Debug)]
pub struct UnexpectedArea;

impl Check for UnexpectedArea {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        if evidence.sheet.areas.is_empty() {
            return Vec::new();
        }
        // Places that the scope asks of every job need no line on the sheet.
        let shots = Scope::for_job(evidence.sheet);
        let known = |name: &str| {
            evidence.sheet.areas.iter().any(|area| area.name == name)
                || place_of(&shots, evidence.sheet, name).is_some()
        };
        evidence
            .grouped
            .areas
            .iter()
            .filter(|area| !known(area))
            .map(|area| {
                let photos: Vec<_> = evidence
                    .photo_ids()
                    .filter(|&id| evidence.area(id) == Some(area))
                    .collect();
                let count = photos.len() as f64;
                META.finding(format!("{area} is not on the job sheet"))
                    .area(Some(area))
                    .photos(photos)
                    .measured(count, 0.0, "photos")
            })
            .collect()
    }
}
