//! Keypoints, descriptors and their matches.
//!
//! Keypoints are extrema of a difference-of-Gaussians scale space, described by root-normalised
//! gradient histograms (Lowe 2004; Arandjelovic and Zisserman 2012).
//!
//! Coordinates: working pixels, origin at the top left corner of the top left pixel, +x right,
//! +y down; the centre of the top left pixel is (0.5, 0.5).

mod describe;
mod detect;
mod matching;
mod nearest;
mod options;
mod orient;
mod overlay;
mod scale_space;
mod spread;
mod turn;

pub use matching::{Match, MatchOptions, match_features, match_guided};
pub use options::FeatureOptions;
pub use overlay::{frame_fixed, overlay_suspects};
pub use turn::Turn;

use image::GrayImage;
use serde::{Deserialize, Serialize};

use crate::ingest::{Photo, Pixels};
use crate::measure::packed;

/// Diagonal of the 36 mm x 24 mm frame that FocalLengthIn35mmFilm refers to, millimetres.
const FRAME_DIAGONAL_MM: f64 = 43.266_615_305_567_87;

/// A local extremum of the picture, in working pixels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Keypoint {
    /// Column, working pixels.
    pub x: f32,
    /// Row, working pixels.
    pub y: f32,
    /// Scale (standard deviation of the Gaussian), working pixels.
    pub scale: f32,
    /// Dominant gradient direction, radians, -pi..=pi, from +x towards +y (down).
    pub angle: f32,
    /// Detector response: difference of Gaussians at the extremum, grey levels as a share of full
    /// scale, always positive.
    pub response: f32,
    /// Whether the blob is brighter than its surroundings.
    pub bright: bool,
}

/// Length of a descriptor.
pub const DESCRIPTOR_LEN: usize = 128;

/// A keypoint with its descriptor (root-normalised gradient histogram, quantised).
#[derive(Debug, Clone, PartialEq)]
pub struct Feature {
    /// Where.
    pub keypoint: Keypoint,
    /// Descriptor, each value 0..=127; the dot product of two of them measures likeness. Layout: four
    /// rows of four cells, top left first, eight gradient directions a cell, from +x towards +y.
    pub descriptor: [u8; DESCRIPTOR_LEN],
}

/// A working picture as the frame of a camera.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct Frame {
    /// Working width, pixels.
    pub width: u32,
    /// Working height, pixels.
    pub height: u32,
    /// Focal length in working pixels from FocalLengthIn35mmFilm by the diagonal rule.
    pub focal_px: Option<f64>,
}

/// The features of one photo and the camera facts needed to interpret them.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Features {
    /// Features, strongest first.
    #[serde(with = "packed::features")]
    pub list: Vec<Feature>,
    /// Working width, pixels.
    pub width: u32,
    /// Working height, pixels.
    pub height: u32,
    /// Focal length in working pixels from FocalLengthIn35mmFilm by the diagonal rule.
    pub focal_px: Option<f64>,
}

impl Features {
    /// Extracts the features of one photo.
    #[must_use]
    pub fn extract(photo: &Photo, pixels: &Pixels) -> Self {
        let focal = photo
            .camera
            .focal_35mm
            .and_then(|mm| focal_px(mm, pixels.gray.width(), pixels.gray.height()));
        Self::from_gray(&pixels.gray, focal)
    }

    /// Extracts the features of a working picture. `focal_px`: focal length in its pixels, if known.
    #[must_use]
    pub fn from_gray(gray: &GrayImage, focal_px: Option<f64>) -> Self {
        Self::with_options(gray, focal_px, &FeatureOptions::default())
    }

    /// The frame they were found in.
    #[must_use]
    pub fn frame(&self) -> Frame {
        Frame {
            width: self.width,
            height: self.height,
            focal_px: self.focal_px,
        }
    }

    /// The `count` strongest of these features.
    #[must_use]
    pub fn strongest(&self, count: usize) -> Self {
        Self {
            list: self.list.iter().take(count).cloned().collect(),
            ..*self
        }
    }

    /// As [`Features::from_gray`], with other options.
    #[must_use]
    pub fn with_options(gray: &GrayImage, focal_px: Option<f64>, options: &FeatureOptions) -> Self {
        let octaves = scale_space::build(gray, options);
        let candidates = detect::extrema(&octaves, options);
        let chosen = spread::choose(candidates, (gray.width(), gray.height()), options);
        Self {
            list: describe::describe(&octaves, &chosen, options),
            width: gray.width(),
            height: gray.height(),
            focal_px,
        }
    }
}

/// Focal length in pixels of a frame `width` x `height` from the 35 mm equivalent `focal_35mm`, by the
/// diagonal rule (CIPA DCG-001 defines the equivalent on the diagonal angle of view).
///
/// `None` if the equivalent is not a positive finite number or the frame is empty.
#[must_use]
pub fn focal_px(focal_35mm: f64, width: u32, height: u32) -> Option<f64> {
    let diagonal = f64::from(width).hypot(f64::from(height));
    (focal_35mm.is_finite() && focal_35mm > 0.0 && diagonal > 0.0)
        .then(|| focal_35mm / FRAME_DIAGONAL_MM * diagonal)
}

#[cfg(test)]
mod tests;
