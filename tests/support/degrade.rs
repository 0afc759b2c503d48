//! Deterministic damage to a picture, as phones and messengers do it.

use image::{Rgb, RgbImage};

use crate::evaluation::Failure;

/// What to do to every picture.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Degradation {
    /// Nothing.
    None,
    /// JPEG at quality 50.
    Jpeg,
    /// Gaussian noise of 8 grey levels.
    Noise,
    /// Motion blur over 7 pixels.
    Motion,
    /// Half the width and height.
    Small,
    /// A date stamp, a logo block and a border, the same in all pictures.
    Stamp,
}

impl Degradation {
    /// Reads a name as on the command line.
    pub(crate) fn named(name: &str) -> Option<Self> {
        Some(match name {
            "none" => Self::None,
            "jpeg" => Self::Jpeg,
            "noise" => Self::Noise,
            "motion" => Self::Motion,
            "small" => Self::Small,
            "stamp" => Self::Stamp,
            _ => return None,
        })
    }
}

/// Degrades one picture; `name` seeds what is random.
pub(crate) fn degrade(
    picture: RgbImage,
    how: Degradation,
    name: &str,
) -> Result<RgbImage, Failure> {
    Ok(match how {
        Degradation::None => picture,
        Degradation::Jpeg => jpeg(&picture, 50)?,
        Degradation::Noise => noise(picture, name),
        Degradation::Motion => motion(&picture),
        Degradation::Small => image::imageops::resize(
            &picture,
            picture.width() / 2,
            picture.height() / 2,
            image::imageops::FilterType::Triangle,
        ),
        Degradation::Stamp => stamp(picture),
    })
}

fn jpeg(picture: &RgbImage, quality: u8) -> Result<RgbImage, Failure> {
    let mut bytes = Vec::new();
    image::codecs::jpeg::JpegEncoder::new_with_quality(&mut bytes, quality)
        .encode_image(picture)?;
    Ok(image::load_from_memory(&bytes)?.to_rgb8())
}

fn noise(mut picture: RgbImage, name: &str) -> RgbImage {
    let mut state = name.bytes().fold(0xcbf2_9ce4_8422_2325_u64, |h, b| {
        (h ^ u64::from(b)).wrapping_mul(0x0100_0000_01b3)
    });
    let mut uniform = || {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (state >> 40) as f32 / (1u64 << 24) as f32
    };
    for value in picture.iter_mut() {
        // Twelve uniform numbers approach a normal one with standard deviation 1.
        let normal: f32 = (0..12).map(|_| uniform()).sum::<f32>() - 6.0;
        *value = (f32::from(*value) + 8.0 * normal).round().clamp(0.0, 255.0) as u8;
    }
    picture
}

fn motion(picture: &RgbImage) -> RgbImage {
    let (width, height) = picture.dimensions();
    RgbImage::from_fn(width, height, |x, y| {
        let mut sum = [0u32; 3];
        for k in 0..7u32 {
            let column = (x + k).saturating_sub(3).min(width - 1);
            let row = (y + k / 2).saturating_sub(1).min(height - 1);
            for (s, v) in sum.iter_mut().zip(picture.get_pixel(column, row).0) {
                *s += u32::from(v);
            }
        }
        Rgb(sum.map(|s| ((s + 3) / 7) as u8))
    })
}

/// Rows of 5 x 7 glyphs for the digits, one byte a row.
const DIGITS: [[u8; 7]; 10] = [
    [14, 17, 19, 21, 25, 17, 14],
    [4, 12, 4, 4, 4, 4, 14],
    [14, 17, 1, 2, 4, 8, 31],
    [31, 2, 4, 2, 1, 17, 14],
    [2, 6, 10, 18, 31, 2, 2],
    [31, 16, 30, 1, 1, 17, 14],
    [6, 8, 16, 30, 17, 17, 14],
    [31, 1, 2, 4, 8, 8, 8],
    [14, 17, 17, 14, 17, 17, 14],
    [14, 17, 17, 15, 1, 2, 12],
];

fn stamp(mut picture: RgbImage) -> RgbImage {
    let (width, height) = picture.dimensions();
    let size = (height / 200).max(2);
    let left = width.saturating_sub(20 * 6 * size);
    let top = height.saturating_sub(12 * size);
    for (k, digit) in [2usize, 0, 2, 6, 0, 3, 0, 2, 1, 4, 3, 7, 5, 9]
        .into_iter()
        .enumerate()
    {
        for (r, bits) in DIGITS[digit].iter().enumerate() {
            for c in (0..5u32).filter(|c| bits >> (4 - c) & 1 == 1) {
                let (x, y) = (left + (k as u32 * 6 + c) * size, top + r as u32 * size);
                fill(&mut picture, [x, y, size, size], [255, 190, 40]);
            }
        }
    }
    // A logo: nested blocks in the top left corner.
    for (k, colour) in [
        [20, 60, 140],
        [240, 240, 240],
        [200, 40, 30],
        [250, 220, 60],
    ]
    .into_iter()
    .enumerate()
    {
        let k = k as u32;
        let side = 16 * size - 4 * size * k;
        fill(
            &mut picture,
            [8 + 3 * size * k, 8 + 2 * size * k, side, side / 2 + k],
            colour,
        );
    }
    // A border with ticks.
    let edge = (height / 100).max(4);
    for [x, y, w, h] in [
        [0, 0, width, edge],
        [0, height - edge, width, edge],
        [0, 0, edge, height],
        [width - edge, 0, edge, height],
    ] {
        fill(&mut picture, [x, y, w, h], [250, 250, 250]);
    }
    for k in 0..width / 32 {
        fill(&mut picture, [k * 32, 1, 3 + k % 5, edge - 2], [10, 10, 10]);
        fill(
            &mut picture,
            [k * 32, height - edge + 1, 3 + k % 7, edge - 2],
            [10, 10, 10],
        );
    }
    picture
}

fn fill(picture: &mut RgbImage, [x, y, w, h]: [u32; 4], colour: [u8; 3]) {
    for row in y..(y + h).min(picture.height()) {
        for column in x..(x + w).min(picture.width()) {
            picture.put_pixel(column, row, Rgb(colour));
        }
    }
}
