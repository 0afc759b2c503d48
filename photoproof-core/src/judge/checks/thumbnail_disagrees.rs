//! `thumbnail-disagrees`: the thumbnail inside a file shows something else than its picture.

use crate::Limits;
use crate::ingest::PhotoId;
use crate::judge::together::{Instance, one_per_device};
use crate::judge::{Check, CheckMeta, Evidence, Finding, Severity, Status};
use crate::measure::EmbeddedMatch;

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
        let (mut different, mut altered) = (Vec::new(), Vec::new());
        for photo in evidence.photo_ids() {
            let Some(found) = evidence.measures.get(photo.0).and_then(|m| m.embedded) else {
                continue;
            };
            if let Some(instance) = instance(evidence.limits(), photo, found) {
                let is_different = found.correlation < DIFFERENT;
                let kind = if is_different {
                    &mut different
                } else {
                    &mut altered
                };
                kind.push(instance);
            }
        }
        let words = "carry a thumbnail that does not show what the picture shows";
        let mut findings = one_per_device(&META, evidence, different, words);
        let words = "differ in part from the thumbnail they carry";
        let notes = one_per_device(&META, evidence, altered, words);
        findings.extend(notes.into_iter().map(|note| note.at_most(Severity::Note)));
        findings
    }
}

/// How a thumbnail disagrees, if it does.
fn instance(limits: &Limits, photo: PhotoId, found: EmbeddedMatch) -> Option<Instance> {
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
    } else if found.worst_block > limits.max_thumbnail_difference {
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
    } else {
        return None;
    };
    Some(Instance {
        photo,
        message,
        measured: Some(measured),
    })
}
