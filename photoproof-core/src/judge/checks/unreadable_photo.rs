//! `unreadable-photo`: a file that should be a photo cannot be decoded.

use crate::judge::{Check, CheckMeta, Evidence, Finding, Retake, Severity, Status};

static META: CheckMeta = CheckMeta {
    id: "unreadable-photo",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Review,
    summary: "A file of the folder should be a photo and cannot be read.",
    why: "Whatever it shows is lost to the proof.",
    how_measured: "Decoding of the whole picture; a truncated file does not count as read.",
    limit: "Any file with a picture's name or signature that does not decode within the stated bounds.",
    remedy: "Send the file again; if it opens on the phone, export it as JPEG first.",
    innocent: &[
        "the upload broke off",
        "the phone saves a format that is not supported here",
        "the memory card is failing",
    ],
    blind_spots: "A file that decodes may still have been damaged before it was saved.",
};

/// The check.
#[derive(Debug)]
pub struct UnreadablePhoto;

impl Check for UnreadablePhoto {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        evidence
            .intake
            .rejected
            .iter()
            .map(|file| {
                META.finding(format!("the file cannot be read: {}", file.reason))
                    .area(file.label.area.as_deref())
                    .files([file.path.clone()])
                    .retake(Retake {
                        area: file.label.area.clone(),
                        phase: file.label.phase,
                        view_set: None,
                        like: None,
                        replaces: None,
                        instruction: format!(
                            "send {} again; the file is damaged or not supported",
                            file.path
                        ),
                    })
            })
            .collect()
    }
}
