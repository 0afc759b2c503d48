//! Bytes to the upright, reduced picture. Claimed sizes meet the bounds before anything is allocated,
//! and a panic inside a decoder becomes a reason.

use std::io::Cursor;
use std::panic::{AssertUnwindSafe, catch_unwind};

use image::error::ImageError;
use image::{ColorType, DynamicImage, ImageDecoder, ImageFormat, ImageReader};

use crate::ingest::container::Format;
use crate::ingest::jpeg;
use crate::ingest::memory::MemoryGate;
use crate::ingest::options::IngestOptions;
use crate::ingest::orient::upright;
use crate::ingest::pixels::Pixels;
use crate::ingest::reduce::{Layout, Raster, TwoSizes, reduce, reduced_size};
use crate::ingest::stamp::{Stamp, read_stamp};

/// A reduced picture as stored, before orientation.
pub(crate) struct Reduced {
    /// Long side at most the working size, and a larger one.
    pub(crate) sizes: TwoSizes,
    /// Stored width, pixels.
    pub(crate) width: u32,
    /// Stored height, pixels.
    pub(crate) height: u32,
}

/// Decodes `bytes`, reads the date stamp and turns the picture upright. The error says what is wrong, in words.
pub(crate) fn decode(
    format: Format,
    bytes: &[u8],
    orientation: Option<u16>,
    options: &IngestOptions,
    gate: &MemoryGate,
) -> Result<(Pixels, Option<Stamp>), String> {
    let decoded = catch_unwind(AssertUnwindSafe(|| match format {
        Format::Jpeg => jpeg::decode(bytes, options, gate),
        Format::Png => other(ImageFormat::Png, bytes, options, gate),
        Format::Webp => {
            complete_riff(bytes)?;
            other(ImageFormat::WebP, bytes, options, gate)
        }
        Format::Tiff => other(ImageFormat::Tiff, bytes, options, gate),
        Format::Heic => heic(bytes, options, gate),
        Format::Avif => Err("unsupported format avif: convert to JPEG".to_owned()),
        Format::OtherPicture(name) => Err(format!("unsupported format {name}: convert to JPEG")),
        Format::NotPicture(name) => Err(format!("not a photo: {name}")),
    }));
    let reduced = decoded.unwrap_or_else(|_| Err("the picture decoder failed on it".to_owned()))?;
    let (width, height) = (reduced.width, reduced.height);
    let swaps = matches!(orientation, Some(5..=8));
    let TwoSizes { working, detail } = reduced.sizes;
    let stamp = read_stamp(&working, || match format {
        Format::Jpeg => detail.or_else(|| jpeg::detail(bytes, options, gate)),
        _ => detail,
    });
    let rgb = upright(working, orientation);
    let (width, height) = if swaps {
        (height, width)
    } else {
        (width, height)
    };
    Ok((Pixels::new(rgb, width, height), stamp))
}

/// Checks a claimed size against the bounds.
pub(crate) fn check_size(width: u32, height: u32, options: &IngestOptions) -> Result<(), String> {
    let pixels = u64::from(width) * u64::from(height);
    if pixels == 0 {
        return Err(format!("picture of {width} x {height} pixels is empty"));
    }
    if pixels > options.max_pixels || width.max(height) > options.max_side {
        return Err(format!(
            "picture of {width} x {height} pixels is larger than the bound of {} million pixels",
            options.max_pixels / 1_000_000
        ));
    }
    Ok(())
}

/// Checks what decoding would hold in memory, file included.
pub(crate) fn check_memory(needed: u64, options: &IngestOptions) -> Result<(), String> {
    if needed > options.max_decode_bytes {
        return Err(format!(
            "decoding needs {} MiB of memory, more than the bound of {} MiB",
            needed >> 20,
            options.max_decode_bytes >> 20
        ));
    }
    Ok(())
}

fn other(
    format: ImageFormat,
    bytes: &[u8],
    options: &IngestOptions,
    gate: &MemoryGate,
) -> Result<Reduced, String> {
    let mut reader = ImageReader::with_format(Cursor::new(bytes), format);
    let mut limits = image::Limits::default();
    limits.max_image_width = Some(options.max_side);
    limits.max_image_height = Some(options.max_side);
    limits.max_alloc = Some(options.max_decode_bytes);
    reader.limits(limits);
    let decoder = reader.into_decoder().map_err(|error| reason(&error))?;
    let (width, height) = decoder.dimensions();
    check_size(width, height, options)?;
    // WebP and TIFF decoders keep a second copy of the picture while they work.
    let copies = if format == ImageFormat::Png { 1 } else { 2 };
    // Everything but RGB of 8 bits is converted to it first.
    let converted = match decoder.color_type() {
        ColorType::Rgb8 => 0,
        _ => 3 * u64::from(width) * u64::from(height),
    };
    let decoded = decoder.total_bytes().saturating_mul(copies);
    let needed = decoded.saturating_add(converted + bytes.len() as u64);
    check_memory(needed, options)?;
    let _held = gate.hold(needed);
    let picture = DynamicImage::from_decoder(decoder).map_err(|error| reason(&error))?;
    let sizes = reduce(
        raster(picture),
        reduced_size(width, height, options.working_long_side),
    )?;
    Ok(Reduced {
        sizes,
        width,
        height,
    })
}

/// Views any picture as one of the layouts that the resizer knows.
fn raster(picture: DynamicImage) -> Raster {
    let (width, height) = (picture.width(), picture.height());
    let (layout, samples) = match picture {
        DynamicImage::ImageLuma8(buffer) => (Layout::Gray, buffer.into_raw()),
        DynamicImage::ImageLumaA8(buffer) => (Layout::GrayAlpha, buffer.into_raw()),
        DynamicImage::ImageRgb8(buffer) => (Layout::Rgb, buffer.into_raw()),
        DynamicImage::ImageRgba8(buffer) => (Layout::Rgba, buffer.into_raw()),
        DynamicImage::ImageLuma16(buffer) => (Layout::Gray, high_bytes(&buffer)),
        DynamicImage::ImageLumaA16(buffer) => (Layout::GrayAlpha, high_bytes(&buffer)),
        DynamicImage::ImageRgb16(buffer) => (Layout::Rgb, high_bytes(&buffer)),
        DynamicImage::ImageRgba16(buffer) => (Layout::Rgba, high_bytes(&buffer)),
        other => (Layout::Rgb, other.into_rgb8().into_raw()),
    };
    Raster {
        width,
        height,
        layout,
        samples,
    }
}

/// 16-bit samples to 8 bits, rounded.
fn high_bytes(samples: &[u16]) -> Vec<u8> {
    samples
        .iter()
        .map(|&sample| ((u32::from(sample) * 255 + 32_767) / 65_535) as u8)
        .collect()
}

/// A RIFF file that is shorter than it says was cut off.
fn complete_riff(bytes: &[u8]) -> Result<(), String> {
    let size = bytes
        .get(4..8)
        .and_then(|field| field.try_into().ok())
        .map_or(0, u32::from_le_bytes);
    if bytes.len() as u64 >= u64::from(size) + 8 - u64::from(size % 2) {
        return Ok(());
    }
    Err(format!(
        "truncated: {} of {} bytes are there",
        bytes.len(),
        u64::from(size) + 8
    ))
}

/// What a decoder said, in our words where we know better.
fn reason(error: &ImageError) -> String {
    match error {
        ImageError::Limits(_) => "the picture is larger than the bounds allow".to_owned(),
        ImageError::Unsupported(_) => format!("unsupported kind of picture: {error}"),
        _ if is_early_end(error) => "truncated: the file ends before the picture does".to_owned(),
        _ => format!("damaged: {error}"),
    }
}

fn is_early_end(error: &(dyn std::error::Error + 'static)) -> bool {
    let mut cause = Some(error);
    while let Some(error) = cause {
        let io = error.downcast_ref::<std::io::Error>();
        if io.is_some_and(|io| io.kind() == std::io::ErrorKind::UnexpectedEof) {
            return true;
        }
        cause = error.source();
    }
    let text = error.to_string().to_lowercase();
    ["unexpected end", "failed to fill", "truncat", "eof"]
        .iter()
        .any(|sign| text.contains(sign))
}

#[cfg(not(feature = "heic"))]
fn heic(_: &[u8], _: &IngestOptions, _: &MemoryGate) -> Result<Reduced, String> {
    Err("unsupported: convert to JPEG or build with the heic feature".to_owned())
}

#[cfg(feature = "heic")]
use crate::ingest::heic::decode as heic;
