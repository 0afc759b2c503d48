//! HEIC pixels by a decoder in pure Rust. The container's own turning and mirroring is applied there.

use heic_rs::{DecodeOptions, Error, PixelLayout};

use crate::ingest::decode::{Reduced, check_memory, check_size};
use crate::ingest::memory::MemoryGate;
use crate::ingest::options::IngestOptions;
use crate::ingest::reduce::{Layout, Raster, reduce, reduced_size};

/// Bytes a pixel that decoding holds: RGB, and three planes of 16 bits twice (tile and picture).
const BYTES_PER_PIXEL: u64 = 15;

/// Decodes a HEIC to at most the working size.
pub(crate) fn decode(
    bytes: &[u8],
    options: &IngestOptions,
    gate: &MemoryGate,
) -> Result<Reduced, String> {
    let claimed = heic_rs::probe(bytes).map_err(|error| words(&error))?;
    check_size(claimed.width, claimed.height, options)?;
    let pixels = u64::from(claimed.width) * u64::from(claimed.height);
    let needed = pixels * BYTES_PER_PIXEL + bytes.len() as u64;
    check_memory(needed, options)?;
    let _held = gate.hold(needed);
    let settings = DecodeOptions::default()
        .with_layout(PixelLayout::Rgb8)
        .with_max_pixels(Some(options.max_pixels))
        .with_alpha(false)
        .with_threads(Some(1));
    let image = heic_rs::decode(bytes, &settings).map_err(|error| words(&error))?;
    let (width, height) = (image.width, image.height);
    let raster = Raster {
        width,
        height,
        layout: Layout::Rgb,
        samples: image.data,
    };
    let sizes = reduce(
        raster,
        reduced_size(width, height, options.working_long_side),
    )?;
    Ok(Reduced {
        sizes,
        width,
        height,
    })
}

fn words(error: &Error) -> String {
    match error {
        Error::Truncated(_) => "truncated: the file ends before the picture does".to_owned(),
        Error::Unsupported(_) => format!("unsupported kind of HEIC, convert to JPEG: {error}"),
        _ => format!("damaged: {error}"),
    }
}
