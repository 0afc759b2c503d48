//! `signature-broken`: a file is no longer as its Content Credentials say that it was signed.

use crate::ingest::CredentialsState;
use crate::judge::together::{Instance, each_or_one_of_all};
use crate::judge::{Check, CheckMeta, Evidence, Finding, Severity, Status};

static META: CheckMeta = CheckMeta {
    id: "signature-broken",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Review,
    summary: "A file is no longer as its Content Credentials say that it was signed.",
    why: "Somebody signed the picture; what came is not what was signed.",
    how_measured: "Content Credentials (C2PA specification 2.2) in the file: its signature and every digest that the signature covers, those of the picture included, are computed again, without a network. Whether the signer can be trusted is not judged.",
    limit: "No digest and no signature that does not fit; only in a build with the feature content-credentials, which verifies them.",
    remedy: "Send the original files from the camera.",
    innocent: &[
        "an app that does not know Content Credentials stamped, turned or compressed the picture and left them in",
        "the file was damaged on its way",
        "a tag was added to the file for the upload",
    ],
    blind_spots: "Most photos carry none, and taking them out leaves no trace: their absence means nothing. Credentials that cannot be read, or whose certificate has expired, are shown by inspect alone.",
};

/// The check.
#[derive(Debug)]
pub struct SignatureBroken;

impl Check for SignatureBroken {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        let found = evidence.photo_ids().filter_map(|photo| {
            let credentials = evidence.photo(photo).traces.content_credentials.as_ref()?;
            if credentials.state != CredentialsState::Broken {
                return None;
            }
            let signer = credentials.signed_by.as_deref().unwrap_or("its maker");
            Some(Instance {
                photo,
                message: format!(
                    "the file is no longer as {signer} signed it ({})",
                    credentials.failures.join(", ")
                ),
                measured: None,
            })
        });
        let words = "are no longer as they were signed";
        each_or_one_of_all(&META, evidence, found.collect(), words)
    }
}
