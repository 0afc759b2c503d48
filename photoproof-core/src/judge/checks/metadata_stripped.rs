//! `metadata-stripped`: photos carry no Exif while others of the job do.

use crate::ingest::PhotoId;
use crate::judge::together::lacking;
use crate::judge::{Check, CheckMeta, Evidence, Finding, Severity, Status};

static META: CheckMeta = CheckMeta {
    id: "metadata-stripped",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Note,
    summary: "Photos carry no Exif while most of the job's photos do.",
    why: "Camera, position and the camera's own time of these photos are not known.",
    how_measured: "Files without a readable Exif block, where at least half of the job's photos have one. Photos without any time are left out; missing-capture-time reports them.",
    limit: "No photo without Exif, where most have it.",
    remedy: "Send the original files from the camera; messengers and screenshots drop Exif.",
    innocent: &[
        "a messenger or upload form stripped the file",
        "the photo was saved from a screen or a web page",
        "a program was set to remove private data",
    ],
    blind_spots: "Silent where most of the job's photos carry no Exif. Exif that was written later looks like the camera's.",
};

/// The check.
#[derive(Debug)]
pub struct MetadataStripped;

impl Check for MetadataStripped {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        let (with, without): (Vec<PhotoId>, Vec<PhotoId>) = evidence
            .photo_ids()
            .partition(|&id| evidence.photo(id).traces.has_exif);
        let all = with.len() + without.len();
        let stripped: Vec<PhotoId> = without
            .into_iter()
            .filter(|&id| evidence.photo(id).capture_time.is_some())
            .collect();
        if with.len() * 2 < all {
            return Vec::new();
        }
        lacking(&META, stripped, all, "Exif")
    }
}
