//! One cause, one finding: the same defect in most photos is reported once.

use crate::ingest::PhotoId;
use crate::judge::{CheckMeta, Evidence, Finding};

/// Instances from which many are reported as one.
const MANY: usize = 4;

/// A photo with the defect.
#[derive(Debug, Clone)]
pub(super) struct Instance {
    /// The photo.
    pub(super) photo: PhotoId,
    /// One sentence about it.
    pub(super) message: String,
    /// Measured value, limit, unit.
    pub(super) measured: Option<(f64, f64, &'static str)>,
}

/// As [`each_or_one`], of all photos of the job.
pub(super) fn each_or_one_of_all(
    meta: &'static CheckMeta,
    evidence: &Evidence<'_>,
    found: Vec<Instance>,
    words: &str,
) -> Vec<Finding> {
    each_or_one(meta, evidence, found, evidence.intake.photos.len(), words)
}

/// A finding for each instance; one for all of them where they are many and the greater part of `of` photos.
/// `words` says what they all are, after their number.
pub(super) fn each_or_one(
    meta: &'static CheckMeta,
    evidence: &Evidence<'_>,
    found: Vec<Instance>,
    of: usize,
    words: &str,
) -> Vec<Finding> {
    if found.len() >= MANY && found.len() * 2 > of {
        let message = format!("{} of {of} {words}", found.len());
        let value = found.len() as f64;
        return vec![
            meta.finding(message)
                .photos(found.into_iter().map(|instance| instance.photo))
                .measured(value, 0.0, "photos"),
        ];
    }
    found
        .into_iter()
        .map(|instance| {
            let finding = meta
                .finding(instance.message)
                .area(evidence.area(instance.photo))
                .photos([instance.photo]);
            match instance.measured {
                Some((value, limit, unit)) => finding.measured(value, limit, unit),
                None => finding,
            }
        })
        .collect()
}
