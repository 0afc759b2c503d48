//! Is one picture made from another? Digests and hashes give leads, geometry and pixels decide.

use serde::Serialize;

use crate::ingest::{Photo, Pixels};

/// What is kept of a photo to find copies of it; no picture can be recovered from it.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct Fingerprint {
    /// SHA-256 of the file, lower-case hexadecimal.
    pub file_sha256: String,
}

/// How a copy was made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum CopyKind {
    /// Identical bytes.
    SameBytes,
    /// Other bytes, identical upright pixels.
    SamePixels,
    /// Re-encoded, resized, cropped, turned, mirrored, recoloured or overlaid.
    Edited,
}

/// A confirmed copy.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct CopyMeasure {
    /// What kind of copy.
    pub kind: CopyKind,
    /// For `Edited`: how b was turned or mirrored against a (`none`, `mirrored`, `turned 90`, ...).
    pub transform: String,
    /// For `Edited`: share of a's area that b shows, 0..=1.
    pub crop: f64,
}

impl Fingerprint {
    /// Fingerprints one photo.
    #[must_use]
    pub fn new(photo: &Photo, _pixels: &Pixels) -> Self {
        Self {
            file_sha256: photo.sha256.clone(),
        }
    }
}
