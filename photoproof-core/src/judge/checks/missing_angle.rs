//! `missing-angle`: a view of one phase has no partner in another.

use std::collections::BTreeMap;

use crate::group::ViewSet;
use crate::judge::gaps::{Cause, Gap, is_debris};
use crate::judge::{Check, CheckMeta, Evidence, Finding, Retake, Severity, Status};
use crate::phase::Phase;

static META: CheckMeta = CheckMeta {
    id: "missing-angle",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Fail,
    summary: "A view photographed in one phase has no partner in another.",
    why: "Before and after can only be compared when both were taken from the same distance and angle.",
    how_measured: "Views of the area (photos joined by keypoint geometry) that hold a before photo and no photo of a later phase, while the area has photos of that phase.",
    limit: "One photo for each phase of each view. A missing after fails; a missing during, or an after without a before, asks for a person.",
    remedy: "Stand where the before photo was taken, frame it the same way, and shoot again.",
    innocent: &[
        "the view was blocked or no longer exists after the work",
        "an extra before photo that was never meant to be repeated",
        "the repeat was taken but left out of the upload or put under another area",
    ],
    blind_spots: "Two photos of a bare wall may be the same view and share too little structure to prove it; then the view seems to lack a partner.",
};

/// The check.
#[derive(Debug)]
pub struct MissingAngle;

impl Check for MissingAngle {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        let mut by_set: BTreeMap<usize, Vec<&Gap>> = BTreeMap::new();
        for gap in &evidence.gaps {
            if matches!(gap.cause, Cause::NotRepeated | Cause::Elsewhere(_)) {
                by_set.entry(gap.set).or_default().push(gap);
            }
        }
        let never_repeated = by_set
            .into_iter()
            .map(|(set, gaps)| owed(&evidence.grouped.view_sets[set], &gaps));
        never_repeated.chain(without_before(evidence)).collect()
    }
}

/// A view with a before photo that owes later phases.
fn owed(set: &ViewSet, gaps: &[&Gap]) -> Finding {
    let area = set.area.as_deref();
    let phases: Vec<&str> = gaps.iter().map(|gap| gap.phase.name()).collect();
    // Without an area the phase was inferred as well: a person looks.
    let severity = if area.is_some() && gaps.iter().any(|gap| gap.phase == Phase::After) {
        Severity::Fail
    } else {
        Severity::Review
    };
    let anchor = gaps[0].anchor;
    let elsewhere = gaps.iter().filter_map(|gap| match gap.cause {
        Cause::Elsewhere(photo) => Some(photo),
        _ => None,
    });
    let replaces = elsewhere.clone().next_back();
    let phase = gaps[gaps.len() - 1].phase;
    META.finding(format!(
        "view {} has no {} photo",
        set.id,
        phases.join(" and no ")
    ))
    .area(area)
    .photos([anchor].into_iter().chain(elsewhere))
    .measured(0.0, 1.0, "photos")
    .at_most(severity)
    .retake(Retake {
        area: set.area.clone(),
        phase: Some(phase),
        view_set: Some(set.id.clone()),
        like: Some(anchor),
        replaces,
        instruction: format!("repeat this view for {}", phases.join(" and ")),
    })
}

/// Views that appear after the work only, although the area has before photos.
fn without_before<'a>(evidence: &'a Evidence<'_>) -> impl Iterator<Item = Finding> + 'a {
    // Where each shot is owed, missing-shot says which before photo is not there.
    let named = |set: &ViewSet| {
        let owed = evidence.owed_shots.as_ref();
        owed.is_some_and(|owed| {
            set.photos()
                .any(|id| owed.served.get(&id).is_some_and(|s| !s.is_empty()))
        })
    };
    let explained = |set: &ViewSet| {
        set.photos().all(|id| {
            evidence.is_copied(id)
                || evidence.gaps.iter().any(|gap| match gap.cause {
                    Cause::Elsewhere(photo)
                    | Cause::Undetermined(photo)
                    | Cause::LowDetail(photo) => photo == id,
                    Cause::NotRepeated | Cause::Unreadable(_) => false,
                })
                || super::low_detail::reason(evidence, id).is_some()
        })
    };
    evidence
        .grouped
        .view_sets
        .iter()
        .filter(move |set| {
            set.before.is_empty()
                && !set.after.is_empty()
                && evidence.has(set.area.as_deref(), Phase::Before)
                && evidence.required_phases().contains(&Phase::Before)
                && !is_debris(evidence, set)
                && !named(set)
                && !explained(set)
        })
        .map(|set| {
            META.finding(format!("view {} has an after photo and no before photo", set.id))
                .area(set.area.as_deref())
                .photos(set.photos())
                .measured(0.0, 1.0, "photos")
                .at_most(Severity::Review)
                .remedy("Send the before photo of this view if there is one; else have a reviewer decide whether the view is needed.")
        })
}
