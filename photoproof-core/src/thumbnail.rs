//! Small pictures for the report, made from the working pixels while they are in memory.

use std::collections::BTreeMap;

use image::ExtendedColorType;
use image::codecs::jpeg::JpegEncoder;
use serde::{Deserialize, Serialize};

use crate::ingest::Pixels;
use crate::ingest::reduce::{reduced_size, smaller};

/// Long side of a thumbnail, pixels.
pub const LONG_SIDE: u32 = 480;

/// Qualities that are tried, best first, each with the least share of the first one's bytes that it leaves: 47 rendered
/// and public photos measured 0.79, 0.68 and 0.57. One that cannot be enough is not tried; the last always is.
const QUALITIES: [(u8, f64); 4] = [(72, 1.0), (60, 0.78), (50, 0.67), (40, 0.0)];

/// Bytes below which a quality is taken: five hundred photos then stay below 12 MB of a page.
const ENOUGH_BYTES: usize = 17_000;

/// A small JPEG of one photo.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Thumbnail {
    /// JPEG bytes.
    pub jpeg: Vec<u8>,
    /// Width, pixels.
    pub width: u32,
    /// Height, pixels.
    pub height: u32,
}

/// Thumbnails by path relative to the job folder.
pub type Thumbnails = BTreeMap<String, Thumbnail>;

impl Thumbnail {
    /// Reduces the working picture; `None` if it cannot be encoded.
    #[must_use]
    pub fn new(pixels: &Pixels) -> Option<Self> {
        let (width, height) = pixels.rgb.dimensions();
        let small = smaller(&pixels.rgb, reduced_size(width, height, LONG_SIDE))?;
        let mut jpeg = Vec::new();
        let mut first = 0;
        for (quality, share) in QUALITIES {
            if f64::from(first) * share > ENOUGH_BYTES as f64 {
                continue;
            }
            jpeg.clear();
            JpegEncoder::new_with_quality(&mut jpeg, quality)
                .encode(
                    small.as_raw(),
                    small.width(),
                    small.height(),
                    ExtendedColorType::Rgb8,
                )
                .ok()?;
            if jpeg.len() <= ENOUGH_BYTES {
                break;
            }
            if first == 0 {
                first = u32::try_from(jpeg.len()).unwrap_or(u32::MAX);
            }
        }
        Some(Self {
            jpeg,
            width: small.width(),
            height: small.height(),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::{Rgb, RgbImage};

    fn thumbnail(noise: u32) -> Thumbnail {
        let mut state = 7_u32;
        let picture = RgbImage::from_fn(480, 360, |x, y| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let grain = (state >> 24) * noise / 256;
            Rgb([(x / 4 + grain) as u8, (y / 4 + grain) as u8, grain as u8])
        });
        Thumbnail::new(&Pixels::new(picture, 480, 360)).unwrap()
    }

    #[test]
    fn pictures_of_much_detail_are_packed_tighter() {
        let (plain, busy) = (thumbnail(4), thumbnail(40));
        assert!(plain.jpeg.len() < ENOUGH_BYTES);
        assert!(busy.jpeg.len() > plain.jpeg.len());
        let tables = |thumbnail: &Thumbnail| {
            thumbnail
                .jpeg
                .iter()
                .take(200)
                .copied()
                .collect::<Vec<u8>>()
        };
        assert_ne!(tables(&plain), tables(&busy), "other quantisation tables");
    }
}
