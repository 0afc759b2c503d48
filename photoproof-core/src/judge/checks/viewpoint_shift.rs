//! `viewpoint-shift`: the camera was turned, or framed another part, between two photos of one view.

use crate::advice;
use crate::group::{Attempt, Pair, ViewSet};
use crate::judge::{Check, CheckMeta, Evidence, Finding, Retake, Severity, Status};
use crate::limits::Limits;
use crate::measure::{Viewpoint, ViewpointShift};

static META: CheckMeta = CheckMeta {
    id: "viewpoint-shift",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Fail,
    summary: "A repeat of a view was taken turned away from it, or shows too little of it.",
    why: "What changed cannot be told from what was merely not photographed.",
    how_measured: "Relative rotation in degrees from the essential matrix or homography on keypoint inliers (Hartley and Zisserman 2004, chapters 9 and 13), and the share of the earlier frame that the later one shows.",
    limit: "max_rotation_deg (10 degrees) and min_overlap (0.6). USDA PNW-GTR-526 (Hall 2002) rejects a repeat displaced by about 20 % of the frame height; no published figure exists for this trade.",
    remedy: "Stand where the before photo was taken, frame it the same way, and shoot again.",
    innocent: &[
        "the original standpoint was blocked or unsafe",
        "the photo was meant as an extra, not as the repeat",
        "one of the two photos was cropped by the phone or the upload",
    ],
    blind_spots: "Photos that share no visible structure cannot be measured; they show as missing-angle or viewpoint-inconclusive.",
};

/// The check.
#[derive(Debug)]
pub struct ViewpointShifted;

impl Check for ViewpointShifted {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        let limits = evidence.limits();
        attempts(evidence)
            .filter(|found| !distance_is_out(found.shift, limits) || turned(found.shift, limits))
            .map(|found| finding(evidence, &found))
            .collect()
    }
}

/// An attempted repeat with its measured motion.
pub(super) struct Found<'a> {
    pub(super) set: &'a ViewSet,
    pub(super) attempt: Attempt,
    pub(super) pair: &'a Pair,
    pub(super) shift: &'a ViewpointShift,
}

/// All attempted repeats of the job whose motion is measured.
pub(super) fn attempts<'a>(evidence: &'a Evidence<'_>) -> impl Iterator<Item = Found<'a>> + 'a {
    evidence.grouped.view_sets.iter().flat_map(move |set| {
        set.attempts.iter().filter_map(move |&attempt| {
            let pair = evidence.grouped.pair(attempt.anchor, attempt.photo)?;
            let Viewpoint::Shift(shift) = &pair.viewpoint else {
                return None;
            };
            Some(Found {
                set,
                attempt,
                pair,
                shift,
            })
        })
    })
}

pub(super) fn distance_is_out(shift: &ViewpointShift, limits: &Limits) -> bool {
    shift.distance_ratio.is_some_and(|ratio| {
        !(limits.min_distance_ratio..=limits.max_distance_ratio).contains(&ratio.get())
    })
}

fn turned(shift: &ViewpointShift, limits: &Limits) -> bool {
    shift.rotation.get() > limits.max_rotation_deg
}

fn finding(evidence: &Evidence<'_>, found: &Found<'_>) -> Finding {
    let limits = evidence.limits();
    let rotation = found.shift.rotation.get();
    let overlap = found.shift.overlap.get();
    let finding = if turned(found.shift, limits) {
        META.finding(format!(
            "the {} photo is turned {rotation:.0} degrees from the view it should repeat and shows {:.0} % of it",
            found.attempt.phase,
            overlap * 100.0
        ))
        .measured(rotation, limits.max_rotation_deg, "degrees")
    } else {
        META.finding(format!(
            "the {} photo shows {:.0} % of the view it should repeat",
            found.attempt.phase,
            overlap * 100.0
        ))
        .measured(overlap, limits.min_overlap, "share of the frame")
    };
    placed(finding, evidence, found)
}

/// Area, photos, retake: the same for every finding about an attempted repeat.
pub(super) fn placed(finding: Finding, evidence: &Evidence<'_>, found: &Found<'_>) -> Finding {
    let Attempt {
        anchor,
        photo,
        phase,
    } = found.attempt;
    let reversed = found.pair.a != anchor;
    let instruction = advice::brief_advice(found.shift, evidence.limits())
        .filter(|_| !reversed)
        .unwrap_or_else(|| "repeat the view from the standpoint of the earlier photo".to_owned());
    finding
        .area(found.set.area.as_deref())
        .photos([photo, anchor])
        .retake(Retake {
            area: found.set.area.clone(),
            phase: Some(phase),
            view_set: Some(found.set.id.clone()),
            like: Some(anchor),
            replaces: Some(photo),
            instruction,
        })
}
