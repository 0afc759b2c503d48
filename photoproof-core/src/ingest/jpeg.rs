//! JPEG: a reduced inverse DCT where it serves, a full decode where the first decoder fails, and a
//! file that was cut off is told from a whole one.

use image::RgbImage;
use jpeg_decoder::{Decoder, PixelFormat};
use zune_core::bytestream::ZCursor;
use zune_core::colorspace::ColorSpace;
use zune_core::options::DecoderOptions;

use crate::ingest::container::JpegSegments;
use crate::ingest::decode::{Reduced, check_memory, check_size};
use crate::ingest::jpeg_scan::guard;
use crate::ingest::memory::MemoryGate;
use crate::ingest::options::IngestOptions;
use crate::ingest::reduce::{DETAIL_LONG_SIDE, Layout, Raster, TwoSizes, reduce, reduced_size};

/// What the frame header says (ITU-T T.81, B.2.2).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Frame {
    width: u32,
    height: u32,
    /// Samples of all components for one pixel, times 256; fewer than the components where chroma is
    /// stored at lower resolution.
    density: u64,
    components: u64,
    progressive: bool,
}

impl Frame {
    /// Size of the working picture at most: from the full size, because a reduced decode rounds its sides up.
    fn working_size(self, options: &IngestOptions) -> (u32, u32) {
        reduced_size(self.width, self.height, options.working_long_side)
    }

    /// Progressive files need all coefficients at once, 16 bits each.
    fn coefficient_bytes(self) -> u64 {
        let samples = u64::from(self.width) * u64::from(self.height) * self.density / 256;
        if self.progressive { 2 * samples } else { 0 }
    }
}

/// Decodes a JPEG to at most the working size.
pub(crate) fn decode(
    bytes: &[u8],
    options: &IngestOptions,
    gate: &MemoryGate,
) -> Result<Reduced, String> {
    let frame = frame(bytes)?;
    check_size(frame.width, frame.height, options)?;
    let sizes = match reduced(bytes, frame, options, gate) {
        Ok(sizes) => sizes,
        Err(Failure::Incomplete(reason)) => return Err(reason),
        Err(Failure::Decoder(first)) => full(bytes, frame, options, gate).map_err(|second| {
            if first == second {
                first
            } else {
                format!("{first}; {second}")
            }
        })?,
    };
    Ok(Reduced {
        sizes,
        width: frame.width,
        height: frame.height,
    })
}

fn frame(bytes: &[u8]) -> Result<Frame, String> {
    for segment in JpegSegments::new(bytes) {
        let is_frame =
            matches!(segment.marker, 0xC0..=0xCF) && !matches!(segment.marker, 0xC4 | 0xC8 | 0xCC);
        if !is_frame {
            continue;
        }
        let [_, h1, h0, w1, w0, components, list @ ..] = segment.payload else {
            break;
        };
        return Ok(Frame {
            width: u32::from(u16::from_be_bytes([*w1, *w0])),
            height: u32::from(u16::from_be_bytes([*h1, *h0])),
            density: density(list),
            components: u64::from(*components),
            progressive: matches!(segment.marker, 0xC2 | 0xC6 | 0xCA | 0xCE),
        });
    }
    Err("truncated or damaged: no frame header".to_owned())
}

/// Samples for one pixel, times 256, by the sampling factors of the components (T.81, A.1.1).
fn density(components: &[u8]) -> u64 {
    let blocks = |component: &[u8]| {
        let factors = u64::from(component.get(1).copied().unwrap_or(0x11));
        (factors >> 4).clamp(1, 4) * (factors & 0xF).clamp(1, 4)
    };
    let sizes = || components.chunks_exact(3).map(blocks);
    let most = sizes().max().unwrap_or(1);
    256 * sizes().sum::<u64>() / most
}

/// Most scans that are decoded: programs write about ten; each pass over the whole picture costs time
/// even if the file holds only a few bytes for it.
const MOST_SCANS: usize = 100;

/// Why the first decoder gave up.
#[derive(Debug)]
enum Failure {
    /// The picture data end early, or the bounds forbid to decode.
    Incomplete(String),
    /// Something the second decoder may do better.
    Decoder(String),
}

/// Share of the wanted long side that a reduced decode may fall short of, in per cent: a quarter of 4,000 pixels
/// serves for 1,024, and takes three quarters of the time that a half takes.
const SHORT_PERCENT: u32 = 10;

/// The strongest reduction that leaves about `side` pixels along the long side of a picture of `long`.
fn factor(long: u32, side: u32) -> u32 {
    let least = side - side * SHORT_PERCENT / 100;
    let factor = [8, 4, 2].into_iter().find(|f| long.div_ceil(*f) >= least);
    factor.unwrap_or(1)
}

/// The picture with more pixels than the working one, for small print; `None` if there are no more, or if it
/// cannot be decoded so.
pub(crate) fn detail(bytes: &[u8], options: &IngestOptions, gate: &MemoryGate) -> Option<RgbImage> {
    let frame = frame(bytes).ok()?;
    let long = frame.width.max(frame.height);
    let factor = factor(long, DETAIL_LONG_SIDE);
    if factor >= self::factor(long, options.working_long_side) {
        return None;
    }
    let raster = samples(bytes, frame, factor, options, gate).ok()?;
    let size = reduced_size(frame.width, frame.height, DETAIL_LONG_SIDE);
    reduce(raster, size).ok().map(|sizes| sizes.working)
}

/// Decodes at about the working size.
fn reduced(
    bytes: &[u8],
    frame: Frame,
    options: &IngestOptions,
    gate: &MemoryGate,
) -> Result<TwoSizes, Failure> {
    let factor = factor(frame.width.max(frame.height), options.working_long_side);
    let raster = samples(bytes, frame, factor, options, gate)?;
    reduce(raster, frame.working_size(options)).map_err(Failure::Decoder)
}

/// Decodes at the size divided by `factor`: 1, 2, 4 or 8.
fn samples(
    bytes: &[u8],
    frame: Frame,
    factor: u32,
    options: &IngestOptions,
    gate: &MemoryGate,
) -> Result<Raster, Failure> {
    let full = u64::from(frame.width) * u64::from(frame.height) * frame.components;
    let square = u64::from(factor * factor);
    // Planes and the interleaved picture.
    let needed = 2 * full / square + frame.coefficient_bytes();
    let needed = needed + 2 * bytes.len() as u64;
    check_memory(needed, options).map_err(Failure::Incomplete)?;
    let _held = gate.hold(needed);
    let guarded = guard(bytes);
    if frame.progressive && !guarded.has_end {
        // Scans refine the whole picture one after the other: only the end marker tells that all came.
        return Err(Failure::Incomplete(CUT_OFF.to_owned()));
    }
    if guarded.scans > MOST_SCANS {
        let reason = format!("damaged: {} scans, more than {MOST_SCANS}", guarded.scans);
        return Err(Failure::Incomplete(reason));
    }
    // What it cannot decode without a warning, the default decoder judges.
    #[cfg(feature = "fast-jpeg")]
    if guarded.has_end
        && let Some(raster) = fast(bytes, frame, factor)
    {
        return Ok(raster);
    }
    // Without an end marker, whatever fails fails because of the cut.
    let failure = |error: jpeg_decoder::Error| match failure(&error) {
        Failure::Decoder(_) if !guarded.has_end => Failure::Incomplete(CUT_OFF.to_owned()),
        failure => failure,
    };
    let mut decoder = Decoder::new(guarded.bytes.as_slice());
    decoder.set_max_decoding_buffer_size(
        usize::try_from(options.max_decode_bytes).unwrap_or(usize::MAX),
    );
    let side = |full: u32| u16::try_from(full.div_ceil(factor)).unwrap_or(u16::MAX);
    let (width, height) = decoder
        .scale(side(frame.width), side(frame.height))
        .map_err(failure)?;
    let samples = decoder.decode().map_err(failure)?;
    let format = decoder.info().map(|info| info.pixel_format);
    let (layout, samples) = match format {
        Some(PixelFormat::L8) => (Layout::Gray, samples),
        Some(PixelFormat::RGB24) => (Layout::Rgb, samples),
        Some(PixelFormat::CMYK32) => (Layout::Cmyk, samples),
        Some(PixelFormat::L16) => {
            let high = samples
                .chunks_exact(2)
                .map(|pair| u16::from_ne_bytes([pair[0], pair[1]]) >> 8);
            (Layout::Gray, high.map(|sample| sample as u8).collect())
        }
        None => return Err(Failure::Decoder("damaged: no frame header".to_owned())),
    };
    Ok(Raster {
        width: u32::from(width),
        height: u32::from(height),
        layout,
        samples,
    })
}

/// Decodes by the C decoder; `None` at its least doubt.
#[cfg(feature = "fast-jpeg")]
fn fast(bytes: &[u8], frame: Frame, factor: u32) -> Option<Raster> {
    use turbojpeg::{Decompressor, Image, PixelFormat, ScalingFactor};
    let (layout, format) = match frame.components {
        1 => (Layout::Gray, PixelFormat::GRAY),
        3 => (Layout::Rgb, PixelFormat::RGB),
        _ => return None,
    };
    let mut decoder = Decompressor::new().ok()?;
    decoder
        .set_scan_limit(u32::try_from(MOST_SCANS).ok()?)
        .ok()?;
    let factor = ScalingFactor::new(1, usize::try_from(factor).ok()?);
    decoder.set_scaling_factor(factor).ok()?;
    let header = decoder.read_header(bytes).ok()?;
    let size = |side: usize| u32::try_from(side).ok();
    if (size(header.width)?, size(header.height)?) != (frame.width, frame.height) {
        return None;
    }
    let scaled = header.scaled(factor);
    let pitch = scaled.width * format.size();
    let mut samples = vec![0; pitch * scaled.height];
    let image = Image {
        pixels: samples.as_mut_slice(),
        width: scaled.width,
        pitch,
        height: scaled.height,
        format,
    };
    decoder.decompress(bytes, image).ok()?;
    Some(Raster {
        width: size(scaled.width)?,
        height: size(scaled.height)?,
        layout,
        samples,
    })
}

const CUT_OFF: &str = "truncated: the file ends before the picture does";

fn failure(error: &jpeg_decoder::Error) -> Failure {
    match error {
        jpeg_decoder::Error::Io(_) => Failure::Incomplete(CUT_OFF.to_owned()),
        jpeg_decoder::Error::Format(text) if text.contains("huffman code") => Failure::Incomplete(
            "truncated or damaged: the picture data end before the picture does".to_owned(),
        ),
        jpeg_decoder::Error::Unsupported(_) => {
            Failure::Decoder(format!("unsupported kind of JPEG: {error}"))
        }
        _ => Failure::Decoder(format!("damaged: {error}")),
    }
}

/// Full decode by the second decoder.
fn full(
    bytes: &[u8],
    frame: Frame,
    options: &IngestOptions,
    gate: &MemoryGate,
) -> Result<TwoSizes, String> {
    let full = u64::from(frame.width) * u64::from(frame.height) * frame.components.max(3);
    let needed = full + frame.coefficient_bytes() + bytes.len() as u64;
    check_memory(needed, options)?;
    let _held = gate.hold(needed);
    let bound = options.max_side as usize;
    let settings = DecoderOptions::default()
        .set_strict_mode(true)
        .set_max_width(bound)
        .set_max_height(bound)
        .jpeg_set_out_colorspace(ColorSpace::RGB);
    let mut decoder = zune_jpeg::JpegDecoder::new_with_options(ZCursor::new(bytes), settings);
    let samples = decoder
        .decode()
        .map_err(|error| format!("damaged: {error:?}"))?;
    let (width, height) = (frame.width, frame.height);
    reduce(
        Raster {
            width,
            height,
            layout: Layout::Rgb,
            samples,
        },
        frame.working_size(options),
    )
}

#[cfg(all(test, feature = "fast-jpeg"))]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    /// Levels by which the two decoders differ on average: chroma is interpolated in another way.
    const LEVELS: f64 = 2.0;

    #[test]
    fn fast_decoder_agrees_with_the_default_one_at_every_size() {
        let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../fixtures/pictures");
        let bytes = std::fs::read(folder.join("kitchen-a-before.jpg")).unwrap();
        let frame = frame(&bytes).unwrap();
        for factor in [1, 2, 4, 8] {
            let c = fast(&bytes, frame, factor).unwrap();
            let mut decoder = Decoder::new(bytes.as_slice());
            let side = |full: u32| u16::try_from(full / factor).unwrap();
            decoder
                .scale(side(frame.width), side(frame.height))
                .unwrap();
            let samples = decoder.decode().unwrap();
            assert_eq!(c.samples.len(), samples.len(), "{factor}");
            let apart = c
                .samples
                .iter()
                .zip(&samples)
                .map(|(a, b)| f64::from(a.abs_diff(*b)));
            let mean = apart.sum::<f64>() / samples.len() as f64;
            assert!(mean < LEVELS, "{factor}: {mean}");
        }
    }

    #[test]
    fn fast_decoder_leaves_what_is_damaged_to_the_default_one() {
        let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../fixtures/pictures");
        let bytes = std::fs::read(folder.join("kitchen-a-before.jpg")).unwrap();
        let frame = frame(&bytes).unwrap();
        for length in [bytes.len() / 3, bytes.len() / 2, bytes.len() - 400] {
            let mut cut = bytes[..length].to_vec();
            cut.extend([0xFF, 0xD9]);
            assert!(fast(&cut, frame, 1).is_none(), "{length}");
        }
    }
}
