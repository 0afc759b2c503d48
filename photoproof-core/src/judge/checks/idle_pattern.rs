//! `idle-pattern`: a photo pattern of the job sheet matches no photo.

use crate::job::UnmatchedPattern;
use crate::judge::{Check, CheckMeta, Evidence, Finding, Severity, Status};

static META: CheckMeta = CheckMeta {
    id: "idle-pattern",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Review,
    summary: "A photo pattern of the job sheet matches no photo.",
    why: "A mistyped pattern leaves the photos it was meant for uncounted.",
    how_measured: "Patterns of loads and of items counted apart against the paths of all photos.",
    limit: "One photo for each pattern.",
    remedy: "Correct the pattern or the folder and file names, or take the pattern off the job sheet.",
    innocent: &[
        "the photos were left out of the upload",
        "the pattern is a template's and this job has no such photos",
    ],
    blind_spots: "Silent where unevidenced-load or unevidenced-hazard already asks for the photos.",
};

/// The check.
#[derive(Debug)]
pub struct IdlePattern;

impl Check for IdlePattern {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        let photos = evidence.intake.photos.iter();
        let paths: Vec<&str> = photos.map(|photo| photo.path.as_str()).collect();
        evidence
            .sheet
            .unmatched_patterns(&paths)
            .into_iter()
            .filter(|unmatched| !asked_for_elsewhere(evidence, unmatched))
            .map(|unmatched| {
                META.finding(unmatched.message)
                    .subject(format!("{} {}", unmatched.owner, unmatched.pattern))
                    .measured(0.0, 1.0, "photos")
            })
            .collect()
    }
}

fn asked_for_elsewhere(evidence: &Evidence<'_>, unmatched: &UnmatchedPattern) -> bool {
    let debris = &evidence.grouped.debris;
    let load = debris
        .loads
        .iter()
        .find(|line| unmatched.owner == format!("load {}", line.name));
    let item = debris
        .hazards
        .iter()
        .find(|item| unmatched.owner == format!("hazard {}", item.item));
    load.is_some_and(|line| line.photos.is_empty() || !line.missing_states.is_empty())
        || item.is_some_and(|item| item.photos.is_empty())
}
