//! Sharpness and exposure of one photo.

use crate::ingest::Pixels;

/// Sharpness and exposure, measured on the working picture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Quality {
    /// Sharpness of the sharpest regions.
    pub sharpness: f64,
    /// Mean luma, 0..=1.
    pub mean_luma: f64,
    /// Share of pixels at or near black (luma <= 4 of 255), 0..=1.
    pub dark_share: f64,
    /// Share of pixels at or near white (luma >= 251 of 255), 0..=1.
    pub clipped_share: f64,
}

impl Quality {
    /// Measures one working picture.
    #[must_use]
    pub fn new(_pixels: &Pixels) -> Self {
        Self {
            sharpness: 0.0,
            mean_luma: 0.0,
            dark_share: 0.0,
            clipped_share: 0.0,
        }
    }
}
