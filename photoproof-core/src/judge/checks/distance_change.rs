//! `distance-change`: the camera stood nearer or farther than in the view it repeats.

use super::viewpoint_shift::{attempts, distance_is_out, placed};
use crate::judge::{Check, CheckMeta, Evidence, Finding, Severity, Status};

static META: CheckMeta = CheckMeta {
    id: "distance-change",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Fail,
    summary: "A repeat of a view was taken from too near or too far.",
    why: "A nearer photo leaves parts of the area out; a farther one hides dirt and damage.",
    how_measured: "Distance of the later camera over that of the earlier one to the scene point at the earlier picture's centre, from triangulated keypoint inliers; zoom is told apart by FocalLengthIn35mmFilm.",
    limit: "min_distance_ratio (0.8) and max_distance_ratio (1.25). With care a station is re-occupied within 1 % of distance (Geology 2(9), 1974); hand-held indoor repeats spread to 15 %.",
    remedy: "Stand at the distance of the before photo and shoot again without zoom.",
    innocent: &[
        "the original standpoint was blocked",
        "another phone with a wider or narrower lens, its focal length not written to the file",
        "the photo was cropped by the phone or the upload",
    ],
    blind_spots: "Without a focal length in both files, zoom and distance cannot be told apart.",
};

/// The check.
#[derive(Debug)]
pub struct DistanceChange;

impl Check for DistanceChange {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        let limits = evidence.limits();
        attempts(evidence)
            .filter(|found| distance_is_out(found.shift, limits))
            .filter_map(|found| {
                let ratio = found.shift.distance_ratio?.get();
                let (limit, words) = if ratio < 1.0 {
                    (limits.min_distance_ratio, "nearer than")
                } else {
                    (limits.max_distance_ratio, "farther than")
                };
                let per_cent = (ratio - 1.0).abs() * 100.0;
                let message = format!(
                    "the {} photo was taken about {per_cent:.0} % {words} the view it should repeat",
                    found.attempt.phase
                );
                let finding = META.finding(message).measured(ratio, limit, "distance ratio");
                Some(placed(finding, evidence, &found))
            })
            .collect()
    }
}
