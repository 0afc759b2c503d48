//! Keypoints, descriptors and their matches.
//!
//! Coordinates: working pixels, origin at the top left corner of the top left pixel, +x right,
//! +y down; the centre of the top left pixel is (0.5, 0.5).

use crate::ingest::{Photo, Pixels};

/// A local extremum of the picture, in working pixels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Keypoint {
    /// Column, working pixels.
    pub x: f32,
    /// Row, working pixels.
    pub y: f32,
    /// Scale (standard deviation of the Gaussian), working pixels.
    pub scale: f32,
    /// Dominant gradient direction, radians.
    pub angle: f32,
    /// Detector response; larger is stronger.
    pub response: f32,
}

/// Length of a descriptor.
pub const DESCRIPTOR_LEN: usize = 128;

/// A keypoint with its descriptor (root-normalised gradient histogram, quantised).
#[derive(Debug, Clone)]
pub struct Feature {
    /// Where.
    pub keypoint: Keypoint,
    /// Descriptor; the dot product of two of them measures likeness.
    pub descriptor: [u8; DESCRIPTOR_LEN],
}

/// The features of one photo and the camera facts needed to interpret them.
#[derive(Debug, Clone, Default)]
pub struct Features {
    /// Features, strongest first.
    pub list: Vec<Feature>,
    /// Working width, pixels.
    pub width: u32,
    /// Working height, pixels.
    pub height: u32,
    /// Focal length in working pixels from FocalLengthIn35mmFilm by the diagonal rule.
    pub focal_px: Option<f64>,
}

/// One correspondence: indices into the lists of photo a and photo b.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Match {
    /// Index into the features of photo a.
    pub a: u32,
    /// Index into the features of photo b.
    pub b: u32,
    /// Ratio of the best to the second best descriptor distance, 0..=1; smaller is more distinct.
    pub ratio: f32,
}

impl Features {
    /// Extracts the features of one photo.
    #[must_use]
    pub fn extract(_photo: &Photo, pixels: &Pixels) -> Self {
        Self {
            width: pixels.rgb.width(),
            height: pixels.rgb.height(),
            ..Self::default()
        }
    }
}

/// Mutual, ratio-tested matches.
#[must_use]
pub fn match_features(_a: &Features, _b: &Features) -> Vec<Match> {
    Vec::new()
}
