//! Content Credentials: what the maker of a file has signed about it (C2PA specification 2.2), and whether the file
//! is still as it was signed.
//!
//! Verified by the `c2pa` crate behind the feature `content-credentials`, without a network and without a list of
//! trusted signers: the signer is named, never judged.

use serde::{Deserialize, Serialize};

/// Content Credentials of a file. A file without them means nothing.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct Credentials {
    /// What their verification gave.
    pub state: CredentialsState,
    /// Who signed, as the certificate says; unknown where it was not read.
    pub signed_by: Option<String>,
    /// Failure codes as the C2PA specification names them, sorted, each once; or why they cannot be read.
    pub failures: Vec<String>,
}

/// What the verification of Content Credentials gave.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum CredentialsState {
    /// This build does not verify them: it lacks the feature `content-credentials`.
    NotVerified,
    /// The signature and every digest that it covers fit the file.
    Intact,
    /// The signature or a digest that it covers does not fit the file.
    Broken,
    /// They can be neither confirmed nor refuted: cut off, of an unknown kind, or signed with a certificate that
    /// has expired.
    Unclear,
}

#[cfg(not(feature = "content-credentials"))]
pub(crate) fn verify(_format: &str, _bytes: &[u8]) -> Credentials {
    Credentials {
        state: CredentialsState::NotVerified,
        signed_by: None,
        failures: Vec::new(),
    }
}

#[cfg(feature = "content-credentials")]
pub(crate) use verified::verify;

#[cfg(feature = "content-credentials")]
mod verified {
    use std::io::Cursor;
    use std::panic::catch_unwind;

    use c2pa::{Context, Reader, Settings};

    use super::{Credentials, CredentialsState};

    /// Nothing comes from the network.
    const SETTINGS: &str = r#"{"verify": {"remote_manifest_fetch": false, "ocsp_fetch": false}}"#;
    /// Longest name of a signer or reason, characters.
    const MAX_TEXT: usize = 200;

    /// Verifies the Content Credentials in the bytes of a file of the format `jpeg`, `png` and so on.
    pub(crate) fn verify(format: &str, bytes: &[u8]) -> Credentials {
        let read = catch_unwind(|| {
            let settings = Settings::new().with_json(SETTINGS)?;
            let context = Context::new().with_settings(settings)?;
            Reader::from_context(context).with_stream(format, Cursor::new(bytes))
        });
        match read {
            Ok(Ok(reader)) => judged(&reader),
            Ok(Err(error)) => unreadable(&error.to_string()),
            Err(_) => unreadable("the reader gave up"),
        }
    }

    fn unreadable(reason: &str) -> Credentials {
        Credentials {
            state: CredentialsState::Unclear,
            signed_by: None,
            failures: vec![reason.chars().take(MAX_TEXT).collect()],
        }
    }

    fn judged(reader: &Reader) -> Credentials {
        let results = reader.validation_results();
        let codes = results.and_then(|results| results.active_manifest());
        let failures = codes.map(|codes| codes.failure().as_slice());
        let mut failures: Vec<String> = failures
            .unwrap_or_default()
            .iter()
            .map(|failure| failure.code().to_owned())
            // Without a list of trusted signers nobody is trusted.
            .filter(|code| code != "signingCredential.untrusted")
            .collect();
        failures.sort();
        failures.dedup();
        let state = if codes.is_none() {
            CredentialsState::Unclear
        } else if failures.is_empty() {
            CredentialsState::Intact
        } else if failures.iter().any(|code| code.ends_with(".mismatch")) {
            CredentialsState::Broken
        } else {
            CredentialsState::Unclear
        };
        Credentials {
            state,
            signed_by: reader.active_manifest().and_then(signer),
            failures,
        }
    }

    /// Common name and organisation of the certificate.
    fn signer(manifest: &c2pa::Manifest) -> Option<String> {
        let name = match (manifest.common_name(), manifest.issuer()) {
            (Some(name), Some(issuer)) => format!("{name}, {issuer}"),
            (name, issuer) => name.or(issuer)?,
        };
        Some(name.chars().take(MAX_TEXT).collect())
    }
}
