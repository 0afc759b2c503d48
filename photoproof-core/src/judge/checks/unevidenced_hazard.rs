//! `unevidenced-hazard`: separately counted items have no photo.

use crate::judge::{Check, CheckMeta, Evidence, Finding, Severity, Status};

static META: CheckMeta = CheckMeta {
    id: "unevidenced-hazard",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Review,
    summary: "Items that are counted apart, such as hazardous ones, have no photo.",
    why: "Hazardous items are claimed by count; without a photo of them staged together nobody can count.",
    how_measured: "Photos that match the globs of the item on the job sheet; without globs, photos whose file name holds the item's words.",
    limit: "One photo for each kind of item.",
    remedy: "Photograph the items staged together so that each can be counted; do not open, mix or move leaking containers, and follow local hazardous-waste rules.",
    innocent: &[
        "the photos are in the folder under another name than the glob says",
        "the items were taken by a licensed hauler who keeps the photos",
    ],
    blind_spots: "Looks at names; does not count items in the picture.",
};

/// The check.
#[derive(Debug)]
pub struct UnevidencedHazard;

impl Check for UnevidencedHazard {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        evidence
            .grouped
            .debris
            .hazards
            .iter()
            .filter(|hazard| hazard.photos.is_empty())
            .map(|hazard| {
                META.finding(format!(
                    "{} x {} claimed and no photo",
                    hazard.count, hazard.item
                ))
                .subject(&hazard.item)
                .measured(0.0, 1.0, "photos")
            })
            .collect()
    }
}
