//! The reduced, upright picture that every measurement works on.

use image::{GrayImage, RgbImage};

use crate::ingest::{CodedSample, EarlierSave};

/// Long side of the working picture in pixels. All measurements refer to it.
pub const WORKING_LONG_SIDE: u32 = 1024;

/// Reduced, upright pixels of one photo.
#[derive(Debug, Clone)]
pub struct Pixels {
    /// 8-bit sRGB, long side at most [`WORKING_LONG_SIDE`]; never enlarged.
    pub rgb: RgbImage,
    /// Luma (BT.601) of the same pixels.
    pub gray: GrayImage,
    /// Width of the full picture after orientation, pixels.
    pub full_width: u32,
    /// Height of the full picture after orientation, pixels.
    pub full_height: u32,
    /// The thumbnail inside the file, upright as the picture, if there is one that can be read.
    pub embedded: Option<GrayImage>,
    /// Some of the values that the file holds, if it is a JPEG that is not progressive.
    pub coded: Option<CodedSample>,
    /// What the coded values tell of an earlier saving.
    pub earlier: Option<EarlierSave>,
}

impl Pixels {
    /// Builds the working picture from upright RGB pixels; luma is computed here and nowhere else.
    #[must_use]
    pub fn new(rgb: RgbImage, full_width: u32, full_height: u32) -> Self {
        let gray = GrayImage::from_fn(rgb.width(), rgb.height(), |x, y| {
            let [r, g, b] = rgb.get_pixel(x, y).0.map(u32::from);
            // BT.601 weights in 1/65536, rounded.
            image::Luma([((19595 * r + 38470 * g + 7471 * b + 32768) >> 16) as u8])
        });
        Self {
            rgb,
            gray,
            full_width,
            full_height,
            embedded: None,
            coded: None,
            earlier: None,
        }
    }

    /// Working pixels per full pixel, 0..=1.
    #[must_use]
    pub fn scale(&self) -> f64 {
        f64::from(self.rgb.width()) / f64::from(self.full_width.max(1))
    }
}
