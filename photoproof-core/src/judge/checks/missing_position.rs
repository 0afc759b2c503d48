//! `missing-position`: photos without a position among others that have one.

use crate::ingest::PhotoId;
use crate::judge::together::lacking;
use crate::judge::{Check, CheckMeta, Evidence, Finding, Severity, Status};

static META: CheckMeta = CheckMeta {
    id: "missing-position",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Note,
    summary: "Photos carry no position while others of the job do and the job sheet says where the site is.",
    why: "For these photos nothing but the picture tells where they were taken.",
    how_measured: "Photos without usable Exif GPSLatitude and GPSLongitude, where the job sheet gives the site's position and at least one photo has one. Photos that state 0, 0 are left out; position-never-set reports them.",
    limit: "No photo without a position, once one has it.",
    remedy: "Switch the camera's location on, and send the original files.",
    innocent: &[
        "the phone had no reception indoors",
        "one of the cameras has no receiver, or its location is switched off",
        "a messenger or upload form stripped the file's metadata",
    ],
    blind_spots: "Silent where no photo of the job has a position: the place is then not proven by any.",
};

/// The check.
#[derive(Debug)]
pub struct MissingPosition;

impl Check for MissingPosition {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        let (located, without): (Vec<PhotoId>, Vec<PhotoId>) = evidence
            .photo_ids()
            .filter(|&id| !evidence.photo(id).gps_zero)
            .partition(|&id| evidence.photo(id).gps.is_some());
        if evidence.sheet.site.position().is_none() || located.is_empty() {
            return Vec::new();
        }
        let all = located.len() + without.len();
        lacking(&META, without, all, "position")
    }
}
