//! What a photo leaves behind for the comparison of its content, with other photos of the view and with copies: small luma,
//! and smaller colour.

use image::imageops::thumbnail;
use image::{GrayImage, RgbImage};
use serde::{Deserialize, Serialize};

use crate::ingest::Pixels;
use crate::ingest::reduce::{reduced_size, smaller_gray};
use crate::measure::packed;
use crate::measure::plane::Plane;

/// Long side of the small luma picture, pixels.
pub(super) const LONG_SIDE: u32 = 384;
/// Small luma pixels per colour pixel.
pub(super) const COLOUR_STEP: u32 = 4;

/// A small copy of one photo: luma with a long side of 384 pixels, colour at a quarter of that.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SmallPicture {
    #[serde(with = "packed::picture")]
    pub(in crate::measure) luma: GrayImage,
    #[serde(with = "packed::picture")]
    colour: RgbImage,
    /// Small pixels per working pixel.
    scale: f64,
}

impl SmallPicture {
    /// Reduces a working picture. A smaller one stays as it is.
    #[must_use]
    pub fn new(pixels: &Pixels) -> Self {
        let (width, height) = pixels.gray.dimensions();
        let size = reduced_size(width, height, LONG_SIDE);
        let luma = (size != (width, height)).then(|| smaller_gray(&pixels.gray, size));
        let scale = f64::from(LONG_SIDE) / f64::from(width.max(height).max(LONG_SIDE));
        let side = |full: u32| {
            let side = f64::from(full) * scale / f64::from(COLOUR_STEP);
            (side.round() as u32).max(1)
        };
        Self {
            luma: luma.flatten().unwrap_or_else(|| pixels.gray.clone()),
            colour: thumbnail(&pixels.rgb, side(width), side(height)),
            scale,
        }
    }

    /// Small pixels per working pixel, above 0, at most 1.
    pub(super) fn scale(&self) -> f64 {
        self.scale
    }

    /// The luma, slightly smoothed so that two photos of unlike sharpness compare.
    pub(super) fn smoothed(&self) -> Plane {
        Plane::from_gray(&self.luma).blurred(0.7)
    }

    /// The three colour channels, 0..=255.
    pub(super) fn colours(&self) -> [Plane; 3] {
        std::array::from_fn(|channel| Plane {
            width: self.colour.width() as usize,
            height: self.colour.height() as usize,
            data: self
                .colour
                .pixels()
                .filter_map(|pixel| pixel.0.get(channel).map(|&v| f32::from(v)))
                .collect(),
        })
    }
}
