//! `viewpoint-inconclusive`: the pictures do not tell whether a photo repeats a view.

use crate::group::Pair;
use crate::ingest::PhotoId;
use crate::judge::gaps::Cause;
use crate::judge::{Check, CheckMeta, Evidence, Finding, Retake, Severity, Status};
use crate::measure::{Viewpoint, ViewpointShift};
use crate::relation::doubt;

static META: CheckMeta = CheckMeta {
    id: "viewpoint-inconclusive",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Review,
    summary: "The pictures do not tell whether a photo repeats a view; a person has to look.",
    why: "Too little fixed structure is visible in both photos to measure how the camera moved.",
    how_measured: "Keypoint inliers, their spread over the frame, and the expected number of chance models (Moisan and Stival 2004); parts that stand beside where the others put them; floors, walls and the like that only one of the photos shows; a distance whose uncertainty reaches beyond the limits.",
    limit: "The evidence line of the viewpoint measure; see the pair's reason in the report.",
    remedy: "Look at both photos. If they do not show the same view, shoot again with a door, window or cabinet in the frame.",
    innocent: &[
        "bare walls and floors offer no fixed points",
        "debris hid the room in the before photo",
        "strong change of light between the photos",
        "fittings or furniture were moved between the photos",
        "a floor was taken out or a wall was painted between the photos",
    ],
    blind_spots: "Says nothing about what the photos show.",
};

/// The check.
#[derive(Debug)]
pub struct ViewpointInconclusive;

impl Check for ViewpointInconclusive {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        evidence
            .gaps
            .iter()
            .filter_map(|gap| {
                let Cause::Undetermined(photo) = gap.cause else { return None };
                let set = &evidence.grouped.view_sets[gap.set];
                let pair = evidence.grouped.pair(gap.anchor, photo);
                let (why, against) = pair.map_or_else(
                    || ("0 common points".to_owned(), Vec::new()),
                    |pair| doubted(pair, photo, evidence),
                );
                let message = format!(
                    "cannot tell whether this {} photo repeats view {}: {why}",
                    gap.phase, set.id
                );
                let finding = META.finding(message).area(set.area.as_deref()).photos([photo, gap.anchor]);
                Some(finding.regions(&against).retake(
                    Retake {
                        area: set.area.clone(),
                        phase: Some(gap.phase),
                        view_set: Some(set.id.clone()),
                        like: Some(gap.anchor),
                        replaces: Some(photo),
                        instruction:
                            "if a reviewer cannot match the two, repeat the view with a door, window or cabinet in the frame"
                                .to_owned(),
                    },
                ))
            })
            .collect()
    }
}

/// What keeps the pictures from telling, and where `photo`, one of the pair, shows what speaks against a repeat.
fn doubted(pair: &Pair, photo: PhotoId, evidence: &Evidence<'_>) -> (String, Vec<[f64; 4]>) {
    if let Viewpoint::Shift(shift) = &pair.viewpoint
        && let Some(doubt) = doubt(shift, evidence.limits())
    {
        let against = in_photo(doubt.frames(shift), shift, pair, photo, evidence);
        return (doubt.reason(shift), against);
    }
    let inliers = pair.viewpoint.evidence().inliers;
    (format!("{inliers} common points"), Vec::new())
}

/// Frames of the pair's first photo in `photo`, one of the two.
fn in_photo(
    frames: Vec<[f64; 4]>,
    shift: &ViewpointShift,
    pair: &Pair,
    photo: PhotoId,
    evidence: &Evidence<'_>,
) -> Vec<[f64; 4]> {
    if photo == pair.a {
        return frames;
    }
    let measures = [pair.a, pair.b].map(|photo| evidence.measures.get(photo.0));
    let [Some(a), Some(b)] = measures else {
        return Vec::new();
    };
    let carried = frames
        .into_iter()
        .filter_map(|part| shift.carried(part, a.frame, b.frame));
    carried.collect()
}
