//! Pixels to numbers. No limits, no words, no verdicts.
//!
//! Per photo: perceptual hash, quality, features. Per pair: viewpoint and copy measures.

mod appearance;
mod bars;
mod bezel;
mod blur;
pub mod change;
mod coarse;
mod comparison;
pub mod copy;
pub mod embedded;
pub mod feature;
mod moire;
pub(crate) mod packed;
pub mod pairs;
pub mod phash;
pub(crate) mod plane;
pub mod quality;
mod shelf;
pub mod viewpoint;

pub use change::{Change, SmallPicture};
pub use comparison::{Afresh, Comparison};
pub use copy::{CopyKind, CopyMeasure, Fingerprint, compare_copies, find_copies};
pub use embedded::EmbeddedMatch;
pub use feature::{Feature, Features, Frame, Keypoint};
pub use quality::Quality;
pub use shelf::{Placed, Shelf, Spool};
pub use viewpoint::{Evidence, Inconclusive, Model, Viewpoint, ViewpointShift};

use image::GrayImage;
use serde::{Deserialize, Serialize};

use crate::ingest::{CodedSample, EarlierSave, Photo, Pixels};

/// What is measured on one photo and small enough to be held for every photo of a job.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct PhotoFacts {
    /// Digests and perceptual hashes for the search of copies.
    pub fingerprint: Fingerprint,
    /// Sharpness and exposure.
    pub quality: Quality,
    /// Agreement of the thumbnail inside the file with the picture, where both say something.
    pub embedded: Option<EmbeddedMatch>,
    /// What the coded values of the file tell of a saving before the last one.
    pub earlier: Option<EarlierSave>,
    /// The working picture as a camera's frame.
    pub frame: Frame,
}

/// Everything measured on one photo. Independent of every other photo.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct PhotoMeasures {
    /// The small part of it.
    pub facts: PhotoFacts,
    /// Keypoints and descriptors in working pixels.
    pub features: Features,
    /// Small copy for the comparison of what two photos of one view show, and for the search of copies.
    pub small: SmallPicture,
    /// The middle of the working picture, for its noise. Never leaves the job: the ledger does not get it.
    #[serde(with = "packed::picture")]
    pub middle: GrayImage,
    /// Some of the values that the file holds, to tell a copy that was saved from another exposure. Never leave the job.
    pub coded: Option<CodedSample>,
}

/// Measures one photo. `pixels` are its reduced, upright pixels.
#[must_use]
pub fn measure_photo(photo: &Photo, pixels: &Pixels) -> PhotoMeasures {
    let mut measures = measured(
        photo.sha256.clone(),
        pixels,
        Features::extract(photo, pixels),
    );
    measures.facts.embedded = pixels
        .embedded
        .as_ref()
        .and_then(|embedded| EmbeddedMatch::between(embedded, &pixels.gray));
    measures
}

/// Measures a working picture without a file behind it; `file_sha256` names its bytes.
#[must_use]
pub fn measure_pixels(file_sha256: String, pixels: &Pixels) -> PhotoMeasures {
    measured(file_sha256, pixels, Features::from_gray(&pixels.gray, None))
}

fn measured(file_sha256: String, pixels: &Pixels, features: Features) -> PhotoMeasures {
    let small = SmallPicture::new(pixels);
    PhotoMeasures {
        facts: PhotoFacts {
            fingerprint: Fingerprint::new(file_sha256, pixels, &small),
            quality: Quality::new(pixels),
            embedded: None,
            earlier: pixels.earlier.clone(),
            frame: features.frame(),
        },
        features,
        small,
        middle: copy::middle(&pixels.gray),
        coded: pixels.coded.clone(),
    }
}
