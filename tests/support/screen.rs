//! A photo of a screen that shows a picture: what a sensor behind a Bayer filter makes of stripes of three colours.
//!
//! Each camera pixel sees one colour only, through a lens that blurs; 4 x 4 of them become one pixel of the result.
//! Geometry and stripes are those of a common display; what a phone does to colours afterwards is left out.

use image::{Rgb, RgbImage};

/// How a screen is photographed.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Screen {
    /// Camera pixels that a pixel of the screen takes in the middle.
    pub(crate) pitch: f32,
    /// By how much the distance grows from the middle to a point as far away as the camera, down and across.
    pub(crate) slant: [f32; 2],
    /// How the screen is turned, radians.
    pub(crate) turn: f32,
    /// Blur of the lens, camera pixels.
    pub(crate) blur: f32,
}

/// Camera pixels along the side of a pixel of the result.
const BINNED: u32 = 4;
/// Samples of the lens's blur along each direction: quantiles of a normal distribution.
const QUANTILES: [f32; 4] = [-1.15, -0.32, 0.32, 1.15];
/// Part of a screen's pixel, at each edge, that is black.
const BLACK: f32 = 0.06;

/// The picture, shown on a screen and photographed, in its own size.
pub(crate) fn photographed(picture: &RgbImage, screen: Screen) -> RgbImage {
    let (width, height) = picture.dimensions();
    let linear: [f32; 256] = std::array::from_fn(|level| (level as f32 / 255.0).powf(2.2));
    let shown = |x: f32, y: f32, channel: usize| -> f32 {
        let x = (x.max(0.0) as u32).min(width - 1);
        let y = (y.max(0.0) as u32).min(height - 1);
        linear[usize::from(picture.get_pixel(x, y).0[channel])]
    };
    let middle = [width, height].map(|side| (side * BINNED) as f32 / 2.0);
    let distance = 2.2 * middle[0];
    let (sin, cos) = screen.turn.sin_cos();
    // Light of a point of the sensor, in camera pixels from its middle.
    let light = |x: f32, y: f32, channel: usize| -> f32 {
        let depth = 1.0 + (x * screen.slant[1] + y * screen.slant[0]) / distance;
        let (u, v) = ((cos * x - sin * y) / depth, (sin * x + cos * y) / depth);
        let (across, down) = (
            (u / screen.pitch).rem_euclid(1.0),
            (v / screen.pitch).rem_euclid(1.0),
        );
        let stripe = 3.0 * across - channel as f32;
        let lit = |at: f32, edge: f32| (edge..1.0 - edge).contains(&at);
        if !lit(stripe, 3.0 * BLACK / 2.0) || !lit(down, BLACK) {
            return 0.0;
        }
        let binned = BINNED as f32;
        shown((u + middle[0]) / binned, (v + middle[1]) / binned, channel)
    };
    let seen = |x: u32, y: u32, channel: usize| -> f32 {
        let (x, y) = (x as f32 + 0.5 - middle[0], y as f32 + 0.5 - middle[1]);
        let mut sum = 0.0;
        for down in QUANTILES {
            for across in QUANTILES {
                sum += light(x + screen.blur * across, y + screen.blur * down, channel);
            }
        }
        sum / 16.0
    };
    RgbImage::from_fn(width, height, |x, y| {
        let mut sums = [0.0_f32; 3];
        let mut counts = [0.0_f32; 3];
        for row in y * BINNED..(y + 1) * BINNED {
            for column in x * BINNED..(x + 1) * BINNED {
                let channel = [[0, 1], [1, 2]][(row % 2) as usize][(column % 2) as usize];
                sums[channel] += seen(column, row, channel);
                counts[channel] += 1.0;
            }
        }
        // A stripe is a third of a pixel's width; the rest is black.
        let gain = 3.0 / (1.0 - 3.0 * BLACK) / (1.0 - 2.0 * BLACK);
        Rgb(std::array::from_fn(|channel| {
            let mean = gain * sums[channel] / counts[channel];
            (255.0 * mean.clamp(0.0, 1.0).powf(1.0 / 2.2)) as u8
        }))
    })
}
