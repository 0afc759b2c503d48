//! `missing-phase`: an area lacks a phase that the job asks for.

use crate::judge::{Check, CheckMeta, Evidence, Finding, Retake, Severity, Status};
use crate::phase::Phase;

static META: CheckMeta = CheckMeta {
    id: "missing-phase",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Fail,
    summary: "An area has photos but none of a phase that the job asks for.",
    why: "Without every phase the photos do not show that the work was done, only that somebody was there.",
    how_measured: "Usable photos labelled or inferred for the area and phase.",
    limit: "One photo for each phase of the job sheet's scope.phases (default before, during, after).",
    remedy: "Photograph the area in the missing phase from the standpoints of its before photos.",
    innocent: &[
        "the photos exist under a wrong phase label",
        "the photos were left out of the upload",
        "the area needed no work and was photographed once",
    ],
    blind_spots: "Counts photos, not what they show; viewpoint checks look at that.",
};

/// The check.
#[derive(Debug)]
pub struct MissingPhase;

impl Check for MissingPhase {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        let mut findings = Vec::new();
        for area in &evidence.grouped.areas {
            let rows: Vec<_> = evidence
                .grouped
                .coverage
                .iter()
                .filter(|cell| &cell.area == area)
                .collect();
            if rows.iter().all(|cell| cell.photos == 0) {
                continue;
            }
            for cell in rows.iter().filter(|cell| cell.required && cell.photos == 0) {
                findings.push(finding(evidence, area, cell.phase));
            }
        }
        findings
    }
}

fn finding(evidence: &Evidence<'_>, area: &str, phase: Phase) -> Finding {
    let like = Phase::ALL
        .into_iter()
        .find_map(|p| evidence.photos_of(Some(area), p).next());
    let views = evidence
        .grouped
        .view_sets
        .iter()
        .filter(|set| set.area.as_deref() == Some(area) && !set.before.is_empty())
        .count();
    let instruction = match (phase, views) {
        (Phase::Before, _) => {
            "no before photo of this area: send it if it was taken; it cannot be taken now"
                .to_owned()
        }
        (_, 0 | 1) => format!("take the {phase} photo from the standpoint of the earlier photo"),
        (_, n) => format!(
            "take {phase} photos of all {n} views from the standpoints of the before photos"
        ),
    };
    META.finding(format!("{area} has no {phase} photo"))
        .area(Some(area))
        .photos(like)
        .subject(phase.name())
        .measured(0.0, 1.0, "photos")
        .retake(Retake {
            area: Some(area.to_owned()),
            phase: Some(phase),
            view_set: None,
            like,
            replaces: None,
            instruction,
        })
}
