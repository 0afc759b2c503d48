//! Reducing a decoded picture to the working size.

use fast_image_resize::images::{TypedImage, TypedImageRef};
use fast_image_resize::pixels::{U8, U8x3};
use fast_image_resize::{FilterType, PixelTrait, ResizeAlg, ResizeOptions, Resizer};
use image::{GrayImage, RgbImage};

/// Meaning of the samples of a [`Raster`], 8 bits each.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Layout {
    /// Luma.
    Gray,
    /// Luma and alpha; alpha is dropped.
    GrayAlpha,
    /// Red, green, blue.
    Rgb,
    /// Red, green, blue, alpha; alpha is dropped.
    Rgba,
    /// Cyan, magenta, yellow, black: 0 is no ink.
    Cmyk,
}

impl Layout {
    /// Samples a pixel.
    fn samples(self) -> usize {
        match self {
            Layout::Gray => 1,
            Layout::GrayAlpha => 2,
            Layout::Rgb => 3,
            Layout::Rgba | Layout::Cmyk => 4,
        }
    }

    fn to_rgb(self, pixel: &[u8]) -> [u8; 3] {
        match (self, pixel) {
            (Layout::Gray | Layout::GrayAlpha, [luma, ..]) => [*luma; 3],
            (Layout::Rgb | Layout::Rgba, [r, g, b, ..]) => [*r, *g, *b],
            (Layout::Cmyk, [c, m, y, k]) => [c, m, y].map(|ink| {
                let light = (255 - u32::from(*ink)) * (255 - u32::from(*k));
                ((light + 127) / 255) as u8
            }),
            _ => [0; 3],
        }
    }
}

/// A decoded picture, row by row.
#[derive(Debug)]
pub(crate) struct Raster {
    /// Width, pixels.
    pub(crate) width: u32,
    /// Height, pixels.
    pub(crate) height: u32,
    /// Meaning of the samples.
    pub(crate) layout: Layout,
    /// Samples, interleaved.
    pub(crate) samples: Vec<u8>,
}

/// A picture at working size and, where the decoder gave more, with more pixels for small print.
#[derive(Debug)]
pub(crate) struct TwoSizes {
    /// The working picture.
    pub(crate) working: RgbImage,
    /// Long side at most [`DETAIL_LONG_SIDE`]; `None` if it would be no larger than the working picture.
    pub(crate) detail: Option<RgbImage>,
}

/// Long side of the picture that small print is read from, pixels: digits of 1.2 % of the height of a
/// 4:3 picture have 18 rows in it.
pub(crate) const DETAIL_LONG_SIDE: u32 = 2048;

/// Reduces `raster` to `size` (width, height; a smaller one stays as it is) by convolution with a triangle filter that widens with
/// the reduction (no aliasing).
pub(crate) fn reduce(raster: Raster, size: (u32, u32)) -> Result<TwoSizes, String> {
    let Raster {
        width,
        height,
        layout,
        samples,
    } = raster;
    let samples = if layout == Layout::Rgb {
        samples
    } else {
        let pixels = samples.chunks_exact(layout.samples());
        pixels.flat_map(|pixel| layout.to_rgb(pixel)).collect()
    };
    let picture = |(width, height): (u32, u32), samples: Vec<u8>| {
        RgbImage::from_raw(width, height, samples)
            .ok_or_else(|| "the decoder returned too few pixels".to_owned())
    };
    if size.0 >= width || size.1 >= height {
        let working = picture((width, height), samples)?;
        return Ok(TwoSizes {
            working,
            detail: None,
        });
    }
    let working = picture(size, convolve((width, height), &samples, size)?)?;
    let larger = reduced_size(width, height, DETAIL_LONG_SIDE);
    let detail = if larger == (width, height) {
        Some(picture(larger, samples)?)
    } else if larger.0 > size.0 {
        Some(picture(
            larger,
            convolve((width, height), &samples, larger)?,
        )?)
    } else {
        None
    };
    Ok(TwoSizes { working, detail })
}

/// Reduces RGB samples. Typed calls: the library's call for any pixel type would build every one of
/// its formats into this crate, minutes of compilation for nothing.
fn convolve(from: (u32, u32), samples: &[u8], to: (u32, u32)) -> Result<Vec<u8>, String> {
    convolve_typed::<U8x3>(from, samples, to)
}

/// Reduces an RGB picture to `to` (width, height); `None` if a side is empty.
pub(crate) fn smaller(picture: &RgbImage, to: (u32, u32)) -> Option<RgbImage> {
    let samples = convolve(picture.dimensions(), picture.as_raw(), to).ok()?;
    RgbImage::from_raw(to.0, to.1, samples)
}

/// As [`smaller`] for luma.
pub(crate) fn smaller_gray(picture: &GrayImage, to: (u32, u32)) -> Option<GrayImage> {
    let samples = convolve_typed::<U8>(picture.dimensions(), picture.as_raw(), to).ok()?;
    GrayImage::from_raw(to.0, to.1, samples)
}

fn convolve_typed<P: PixelTrait>(
    from: (u32, u32),
    samples: &[u8],
    to: (u32, u32),
) -> Result<Vec<u8>, String> {
    let fault = |error: &dyn std::fmt::Display| format!("cannot be reduced: {error}");
    let source = TypedImageRef::<P>::from_buffer(from.0, from.1, samples).map_err(|e| fault(&e))?;
    let mut reduced = vec![0; to.0 as usize * to.1 as usize * P::size()];
    let mut target =
        TypedImage::<P>::from_buffer(to.0, to.1, &mut reduced).map_err(|e| fault(&e))?;
    let options = ResizeOptions::new()
        .resize_alg(ResizeAlg::Convolution(FilterType::Bilinear))
        .use_alpha(false);
    Resizer::new()
        .resize_typed(&source, &mut target, &options)
        .map_err(|e| fault(&e))?;
    Ok(reduced)
}

/// The size with the same shape whose long side is at most `long_side`; at least one pixel a side.
pub(crate) fn reduced_size(width: u32, height: u32, long_side: u32) -> (u32, u32) {
    let long = width.max(height);
    if long <= long_side {
        return (width, height);
    }
    let scaled = |side: u32| {
        let scaled =
            (u64::from(side) * u64::from(long_side) + u64::from(long) / 2) / u64::from(long);
        scaled.max(1) as u32
    };
    (scaled(width), scaled(height))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sizes_keep_shape_and_never_grow() {
        assert_eq!(reduced_size(4032, 3024, 1024), (1024, 768));
        assert_eq!(reduced_size(3024, 4032, 1024), (768, 1024));
        assert_eq!(reduced_size(640, 480, 1024), (640, 480));
        assert_eq!(reduced_size(60_000, 1, 1024), (1024, 1));
    }

    #[test]
    fn a_flat_picture_stays_flat_in_every_layout() {
        let cases = [
            (Layout::Gray, vec![90], [90, 90, 90]),
            (Layout::GrayAlpha, vec![90, 10], [90, 90, 90]),
            (Layout::Rgb, vec![10, 20, 30], [10, 20, 30]),
            (Layout::Rgba, vec![10, 20, 30, 40], [10, 20, 30]),
            (Layout::Cmyk, vec![0, 255, 0, 0], [255, 0, 255]),
            (Layout::Cmyk, vec![0, 0, 0, 255], [0, 0, 0]),
        ];
        for (layout, pixel, expected) in cases {
            for size in [(8, 4), (40, 20)] {
                let samples = pixel.repeat(40 * 20);
                let raster = Raster {
                    width: 40,
                    height: 20,
                    layout,
                    samples,
                };
                let rgb = reduce(raster, size).unwrap().working;
                assert!(rgb.pixels().all(|pixel| pixel.0 == expected), "{layout:?}");
            }
        }
    }

    #[test]
    fn too_few_samples_are_an_error() {
        let raster = Raster {
            width: 40,
            height: 20,
            layout: Layout::Rgb,
            samples: vec![0; 30],
        };
        assert!(reduce(raster, (8, 4)).is_err());
        let raster = Raster {
            width: 40,
            height: 20,
            layout: Layout::Rgb,
            samples: vec![0; 30],
        };
        assert!(reduce(raster, (40, 20)).is_err());
    }
}
