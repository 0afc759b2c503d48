//! `thumbnail-disagrees`: the thumbnail inside a file shows something else than its picture.

use crate::ingest::PhotoId;
use crate::judge::together::{Instance, one_per_device};
use crate::judge::{Check, CheckMeta, Evidence, Finding, Severity, Status};

static META: CheckMeta = CheckMeta {
    id: "thumbnail-disagrees",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Review,
    summary: "The thumbnail inside a file does not show what its picture shows.",
    why: "A camera makes both from one exposure; a picture that was cropped or changed by a program may keep its old thumbnail.",
    how_measured: "Correlation of the Exif thumbnail and the picture, both averaged to 32 x 24 cells, and the largest difference in 48 parts of the frame once tone is evened out by a line, in standard deviations. The thumbnail may lie on its side, have bars, or show the middle; what fits best counts. Review where the correlation is below one half, else a note.",
    limit: "min_thumbnail_correlation (0.93) and max_thumbnail_difference (0.7): 30 public pictures with their own thumbnails have at least 0.97 and at most 0.27.",
    remedy: "Send the original file from the camera; a reviewer looks at both pictures.",
    innocent: &[
        "the photo was cropped, or straightened, in the phone's own gallery",
        "a program that turned the photo left the old thumbnail",
        "a filter or a date stamp was laid over the picture",
    ],
    blind_spots: "Most programs write a new thumbnail or none, and many phones write none at all. Half of the crops by a twentieth, and a quarter of the changes of a fifth of the frame's sides, are not seen.",
};

/// The check.
#[derive(Debug)]
pub struct ThumbnailDisagrees;

/// Below this correlation the two are different pictures.
const DIFFERENT: f64 = 0.5;

impl Check for ThumbnailDisagrees {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        let found: Vec<PhotoId> = evidence
            .photo_ids()
            .filter(|&id| disagrees(evidence, id))
            .collect();
        let (different, altered): (Vec<PhotoId>, Vec<PhotoId>) =
            found.into_iter().partition(|&id| {
                correlation(evidence, id).is_some_and(|correlation| correlation < DIFFERENT)
            });
        let instances = |photos: Vec<PhotoId>| -> Vec<Instance> {
            let each = photos.into_iter();
            each.filter_map(|photo| instance(evidence, photo)).collect()
        };
        let words = "carry a thumbnail that does not show what the picture shows";
        let mut findings = one_per_device(&META, evidence, instances(different), words);
        let words = "differ in part from the thumbnail they carry";
        let notes = one_per_device(&META, evidence, instances(altered), words);
        findings.extend(notes.into_iter().map(|note| note.at_most(Severity::Note)));
        findings
    }
}

fn correlation(evidence: &Evidence<'_>, id: PhotoId) -> Option<f64> {
    Some(evidence.measures.get(id.0)?.embedded?.correlation)
}

fn disagrees(evidence: &Evidence<'_>, id: PhotoId) -> bool {
    let limits = evidence.limits();
    let found = evidence
        .measures
        .get(id.0)
        .and_then(|measures| measures.embedded);
    found.is_some_and(|found| {
        found.correlation < limits.min_thumbnail_correlation
            || found.worst_block > limits.max_thumbnail_difference
    })
}

fn instance(evidence: &Evidence<'_>, photo: PhotoId) -> Option<Instance> {
    let limits = evidence.limits();
    let found = evidence.measures.get(photo.0)?.embedded?;
    let (message, measured) = if found.correlation < limits.min_thumbnail_correlation {
        (
            format!(
                "the thumbnail inside the file agrees with the picture by {:.2} only",
                found.correlation
            ),
            (
                found.correlation,
                limits.min_thumbnail_correlation,
                "correlation",
            ),
        )
    } else {
        (
            format!(
                "in a part of the frame the thumbnail inside the file differs from the picture by {:.1} standard deviations",
                found.worst_block
            ),
            (
                found.worst_block,
                limits.max_thumbnail_difference,
                "standard deviations",
            ),
        )
    };
    Some(Instance {
        photo,
        message,
        measured: Some(measured),
    })
}
