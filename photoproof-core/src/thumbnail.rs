//! Small pictures for the report, made from the working pixels while they are in memory.

use std::collections::BTreeMap;

use image::ExtendedColorType;
use image::codecs::jpeg::JpegEncoder;
use serde::{Deserialize, Serialize};

use crate::ingest::Pixels;
use crate::ingest::reduce::{reduced_size, smaller};

/// Long side of a thumbnail, pixels.
pub const LONG_SIDE: u32 = 480;
const QUALITY: u8 = 72;

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
        JpegEncoder::new_with_quality(&mut jpeg, QUALITY)
            .encode(
                small.as_raw(),
                small.width(),
                small.height(),
                ExtendedColorType::Rgb8,
            )
            .ok()?;
        Some(Self {
            jpeg,
            width: small.width(),
            height: small.height(),
        })
    }
}
