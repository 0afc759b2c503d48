//! Gaussian scale space and its differences (Lowe 2004, section 3).
//!
//! Plain multiplications and additions in a fixed order: the values are the same on every processor.

use image::GrayImage;

use super::FeatureOptions;
use crate::measure::blur::{blurred, exp2};

/// Blur that the camera and the reduction already put into the working picture, pixels (Lowe 2004).
const INPUT_SIGMA: f32 = 0.5;

/// An octave whose shorter side is below this many pixels is not built.
const MIN_SIDE: usize = 12;

/// A picture of single-precision values, 0..=1 for grey levels.
#[derive(Debug, Clone)]
pub(super) struct Plane {
    pub(super) width: usize,
    pub(super) height: usize,
    pub(super) data: Vec<f32>,
}

impl Plane {
    pub(super) fn row(&self, y: usize) -> &[f32] {
        &self.data[y * self.width..(y + 1) * self.width]
    }

    pub(super) fn at(&self, x: usize, y: usize) -> f32 {
        self.data[y * self.width + x]
    }
}

/// One octave: `levels + 3` blurred pictures. The differences of neighbours are formed where they are
/// needed, which is cheaper than storing them.
#[derive(Debug, Clone)]
pub(super) struct Octave {
    pub(super) gauss: Vec<Plane>,
    /// Working pixels per pixel of this octave.
    pub(super) step: f32,
}

impl Octave {
    /// Difference of Gaussians `level` at a pixel.
    #[inline(always)]
    pub(super) fn difference(&self, level: usize, x: usize, y: usize) -> f32 {
        self.gauss[level + 1].at(x, y) - self.gauss[level].at(x, y)
    }
}

/// Builds all octaves of `gray`; none if the picture is too small.
pub(super) fn build(gray: &GrayImage, options: &FeatureOptions) -> Vec<Octave> {
    let mut octaves: Vec<Octave> = Vec::new();
    let (width, height) = (gray.width() as usize, gray.height() as usize);
    if width.min(height) < MIN_SIDE {
        return octaves;
    }
    let mut base = to_plane(gray);
    let own = options.base_sigma * options.base_sigma - INPUT_SIGMA * INPUT_SIGMA;
    base = blur(&base, own.max(0.01).sqrt());
    let mut step = 1.0;
    while octaves.len() < options.max_octaves && base.width.min(base.height) >= MIN_SIDE {
        let octave = build_octave(base, step, options);
        base = halve(&octave.gauss[options.levels]);
        octaves.push(octave);
        step *= 2.0;
    }
    octaves
}

fn to_plane(gray: &GrayImage) -> Plane {
    Plane {
        width: gray.width() as usize,
        height: gray.height() as usize,
        data: gray
            .as_raw()
            .iter()
            .map(|&v| f32::from(v) / 255.0)
            .collect(),
    }
}

fn build_octave(base: Plane, step: f32, options: &FeatureOptions) -> Octave {
    let mut gauss = vec![base];
    for level in 1..options.levels + 3 {
        let sigma = level_sigma(level - 1, options);
        let next_sigma = level_sigma(level, options);
        let added = (next_sigma * next_sigma - sigma * sigma).sqrt();
        let next = blur(&gauss[level - 1], added);
        gauss.push(next);
    }
    Octave { gauss, step }
}

/// Blur of `level` in pixels of its octave.
fn level_sigma(level: usize, options: &FeatureOptions) -> f32 {
    options.base_sigma * exp2(level as f32 / options.levels as f32)
}

/// Every second pixel of every second row, the first included: of an odd side the last as well, so
/// that a turned picture keeps the same samples.
fn halve(plane: &Plane) -> Plane {
    let (width, height) = (plane.width.div_ceil(2), plane.height.div_ceil(2));
    let mut data = Vec::with_capacity(width * height);
    for y in 0..height {
        let row = plane.row(2 * y);
        data.extend((0..width).map(|x| row[2 * x]));
    }
    Plane {
        width,
        height,
        data,
    }
}

fn blur(source: &Plane, sigma: f32) -> Plane {
    Plane {
        width: source.width,
        height: source.height,
        data: blurred(&source.data, source.width, sigma),
    }
}
