//! The thumbnail that Exif carries (IFD1, CIPA DC-008, 4.5.5): found, decoded, turned upright.

use std::panic::{AssertUnwindSafe, catch_unwind};

use exif::{Exif, In, Tag};
use image::GrayImage;

use crate::ingest::jpeg;
use crate::ingest::memory::MemoryGate;
use crate::ingest::options::IngestOptions;
use crate::ingest::orient::upright;
use crate::ingest::pixels::Pixels;

/// Most bytes of a thumbnail that are read; an Exif block of a JPEG has 64 KiB at most.
const MOST_BYTES: usize = 1 << 18;

/// Longest side of a thumbnail that is decoded, pixels.
const LONGEST_SIDE: u32 = 1024;

/// The bytes of the JPEG thumbnail.
pub(crate) fn thumbnail(exif: &Exif) -> Option<Vec<u8>> {
    let number = |tag| {
        let value = &exif.get_field(tag, In::THUMBNAIL)?.value;
        value.get_uint(0).map(|number| number as usize)
    };
    let start = number(Tag::JPEGInterchangeFormat)?;
    let length = number(Tag::JPEGInterchangeFormatLength)?;
    let end = start.checked_add(length.min(MOST_BYTES))?;
    let bytes = exif.buf().get(start..end)?;
    bytes.starts_with(&[0xFF, 0xD8]).then(|| bytes.to_vec())
}

/// Decodes a thumbnail; one that is damaged or too large is none.
pub(crate) fn decoded(
    bytes: &[u8],
    orientation: Option<u16>,
    gate: &MemoryGate,
) -> Option<GrayImage> {
    let bounds = IngestOptions {
        max_side: LONGEST_SIDE,
        max_pixels: u64::from(LONGEST_SIDE * LONGEST_SIDE),
        ..IngestOptions::default()
    };
    let decoded = catch_unwind(AssertUnwindSafe(|| jpeg::decode(bytes, &bounds, gate)));
    let reduced = decoded.ok()?.ok()?;
    let picture = upright(reduced.sizes.working, orientation);
    let (width, height) = picture.dimensions();
    Some(Pixels::new(picture, width, height).gray)
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::codecs::jpeg::JpegEncoder;

    fn small() -> Vec<u8> {
        let picture = GrayImage::from_fn(160, 120, |x, y| image::Luma([(x + y) as u8]));
        let mut bytes = Vec::new();
        JpegEncoder::new_with_quality(&mut bytes, 70)
            .encode_image(&picture)
            .unwrap();
        bytes
    }

    #[test]
    fn a_thumbnail_is_turned_as_its_picture() {
        let gate = MemoryGate::new(1 << 30);
        let size = |orientation| decoded(&small(), orientation, &gate).map(|p| p.dimensions());
        assert_eq!(size(Some(1)), Some((160, 120)));
        assert_eq!(size(Some(6)), Some((120, 160)));
    }

    #[test]
    fn damaged_and_oversized_thumbnails_are_none() {
        let gate = MemoryGate::new(1 << 30);
        let whole = small();
        for cut in 0..whole.len() - 2 {
            assert_eq!(decoded(&whole[..cut], None, &gate), None, "{cut}");
        }
        // The frame header claims 65 535 pixels a side.
        let mut huge = whole.clone();
        let frame = huge.windows(2).position(|pair| pair == [0xFF, 0xC0]);
        let at = frame.unwrap() + 5;
        huge[at..at + 4].copy_from_slice(&[0xFF; 4]);
        assert_eq!(decoded(&huge, None, &gate), None);
    }
}
