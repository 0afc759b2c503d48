//! `missing-area`: an area of the job sheet has no photo at all.

use crate::judge::{Check, CheckMeta, Evidence, Finding, Retake, Severity, Status};

static META: CheckMeta = CheckMeta {
    id: "missing-area",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Fail,
    summary: "An area on the job sheet has no photo.",
    why: "Nothing shows that the area was visited, let alone emptied or cleaned.",
    how_measured: "Usable photos labelled or inferred for the area, all phases together.",
    limit: "One photo; the areas are those of the job sheet.",
    remedy: "Photograph the area in every phase the job asks for, or correct the labels if it was photographed.",
    innocent: &[
        "the photos are in the folder under another name for the area",
        "the house has no such area and the job sheet is a template",
        "the photos were left out of the upload",
    ],
    blind_spots: "Silent without a job sheet: then only photographed areas are known.",
};

/// The check.
#[derive(Debug)]
pub struct MissingArea;

impl Check for MissingArea {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        let photographed = |name: &str| {
            evidence
                .photo_ids()
                .any(|id| evidence.area(id) == Some(name))
        };
        evidence
            .sheet
            .areas
            .iter()
            .filter(|area| !photographed(&area.name))
            .map(|area| {
                META.finding(format!(
                    "{} is on the job sheet and has no photo",
                    area.name
                ))
                .area(Some(&area.name))
                .measured(0.0, 1.0, "photos")
                .retake(Retake {
                    area: Some(area.name.clone()),
                    phase: None,
                    view_set: None,
                    like: None,
                    replaces: None,
                    instruction: "photograph the area; nothing of it is in the folder".to_owned(),
                })
            })
            .collect()
    }
}
