//! `missing-stamp`: the job asks for a visible date stamp and a photo shows none.

use crate::judge::together::{Instance, each_or_one_of_all};
use crate::judge::{Check, CheckMeta, Evidence, Finding, Severity, Status};

static META: CheckMeta = CheckMeta {
    id: "missing-stamp",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Review,
    summary: "The job sheet asks for a visible date stamp and none is seen in the photo.",
    why: "Whoever looks at the picture alone, printed or in a portal, cannot tell when it was taken.",
    how_measured: "A small net looks for lines of text along the border of the picture in any of its eight orientations and reads them.",
    limit: "One stamp in each photo; only where the sheet sets scope.require_stamp.",
    remedy: "Switch the date stamp of the camera on and take the photo again while the place still shows the phase; never add a stamp afterwards.",
    innocent: &[
        "the stamp was switched off in the camera's settings",
        "the stamp is there, and too faint or too small to be found",
        "the picture was cropped or resized on its way",
    ],
    blind_spots: "A stamp that is there but cannot be read counts as there and is named among the photo's problems. Faint, tiny or decorated stamps may be missed.",
};

/// The check.
#[derive(Debug)]
pub struct MissingStamp;

impl Check for MissingStamp {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        if !evidence.sheet.scope.require_stamp {
            return Vec::new();
        }
        let missing = evidence
            .photo_ids()
            .filter(|&id| evidence.photo(id).stamp.is_none())
            .map(|photo| Instance {
                photo,
                message: "no date stamp is seen in the photo, and the job asks for one".to_owned(),
                measured: None,
            })
            .collect();
        each_or_one_of_all(
            &META,
            evidence,
            missing,
            "photos show no date stamp, and the job asks for one",
        )
    }
}
