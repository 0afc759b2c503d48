//! `reused-across-jobs`: a picture has already served an earlier job.

use super::reused_within_job::what;
use crate::group::{CopyPair, Original};
use crate::judge::own_photo::own_photo;
use crate::judge::{Check, CheckMeta, Evidence, Finding, Severity, Status};

static META: CheckMeta = CheckMeta {
    id: "reused-across-jobs",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Fail,
    summary: "A picture of this job is a copy of one that an earlier job in the ledger has used.",
    why: "A picture that proved another job proves nothing about this one.",
    how_measured: "Digests, a perceptual hash in eight orientations and words of keypoints against every photo of the ledger, each lead confirmed by keypoint geometry: nearly all that one photo shows must be there again in the other.",
    limit: "Any confirmed copy of a photo of another job; at most a review where it may be a second exposure.",
    remedy: "Replace the photo by one taken for this job.",
    innocent: &[
        "the same site was ordered twice under two job numbers",
        "a photo was uploaded to the wrong job",
        "a street view or document that both jobs share",
        "the view was photographed again from the same spot, with nothing changed in between",
    ],
    blind_spots: "Knows only jobs that were recorded. The ledger keeps no pictures: it cannot always tell a second exposure from the same spot, with nothing changed in between, from a copy. A part of a picture pasted into another one is found where it fills most of the frame or shows all of the original.",
};

/// The check.
#[derive(Debug)]
pub struct ReusedAcrossJobs;

impl Check for ReusedAcrossJobs {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        evidence
            .grouped
            .copies
            .iter()
            .filter_map(|copy| match &copy.original {
                Original::InLedger { job, path } => Some(finding(evidence, copy, job, path)),
                Original::InJob(_) => None,
            })
            .collect()
    }
}

fn finding(evidence: &Evidence<'_>, copy: &CopyPair, job: &str, path: &str) -> Finding {
    let finding = META
        .finding(format!("{} of {path} of job {job}", what(&copy.measure)))
        .area(evidence.area(copy.photo))
        .photos([copy.photo]);
    if !copy.measure.is_confirmed() {
        return finding.at_most(Severity::Review);
    }
    finding.retake(own_photo(
        evidence,
        copy.photo,
        format!("take or send this job's own photo; this one served job {job}"),
    ))
}
