//! Gradient histograms: 4 x 4 cells of 8 directions (Lowe 2004, section 6), root-normalised
//! (Arandjelovic and Zisserman 2012) and quantised to 7 bits.

use std::f32::consts::TAU;

use super::detect::Candidate;
use super::orient::{atan2, dominant};
use super::scale_space::{Octave, Plane, exp2};
use super::{DESCRIPTOR_LEN, Feature, FeatureOptions, Keypoint};

/// Gradient samples along each side of the patch; the cells cover the inner 16, the outer two on each
/// side reach into the border cells by interpolation.
const SIDE: usize = 20;

/// Picture samples along each side: one more on each side for central differences.
const PATCH: usize = SIDE + 2;

/// Samples along a cell.
const CELL: f32 = 4.0;

/// Cells along each side.
const CELLS: usize = 4;

/// Directions a cell.
const BINS: usize = 8;

/// No single value of a unit-length histogram may exceed this (Lowe 2004, section 6.1).
const CLIP: f32 = 0.2;

/// A root value of 1 becomes this; real values stay below 0.5. Dot products of descriptors of this
/// length fit 16 bits.
const QUANTUM: f32 = 181.0;

/// Squared descriptor distance of 1, in quantised units.
pub(super) const UNIT_SQUARED: f32 = QUANTUM * QUANTUM;

/// Largest descriptor value: with 7 bits the products of two neighbours fit 16 bits.
const MAX_VALUE: f32 = 127.0;

/// Describes `chosen`, in their order.
pub(super) fn describe(
    octaves: &[Octave],
    chosen: &[Candidate],
    options: &FeatureOptions,
) -> Vec<Feature> {
    let window = Window::new();
    let features = chosen.iter().filter_map(|candidate| {
        let octave = octaves.get(candidate.octave)?;
        let plane = &octave.gauss[candidate.level];
        let angle = dominant(plane, candidate.u, candidate.v, candidate.sigma);
        let turned = if options.oriented { angle } else { 0.0 };
        let spacing = options.cell_width * candidate.sigma / CELL;
        let patch = Patch::cut(plane, candidate, spacing, turned);
        Some(Feature {
            keypoint: Keypoint {
                x: candidate.x,
                y: candidate.y,
                scale: candidate.sigma * octave.step,
                angle,
                response: candidate.response,
                bright: candidate.bright,
            },
            descriptor: quantise(&window.histogram(&patch)),
        })
    });
    features.collect()
}

impl Plane {
    /// Bilinear value at (x, y), pixel centres at whole numbers; edge values continue outside.
    #[inline(always)]
    pub(super) fn sample(&self, x: f32, y: f32) -> f32 {
        let x = x.clamp(0.0, (self.width - 1) as f32);
        let y = y.clamp(0.0, (self.height - 1) as f32);
        let (x0, y0) = (x as usize, y as usize);
        let (fx, fy) = (x - x0 as f32, y - y0 as f32);
        let x1 = (x0 + 1).min(self.width - 1);
        let y1 = (y0 + 1).min(self.height - 1);
        let top = self.at(x0, y0) + fx * (self.at(x1, y0) - self.at(x0, y0));
        let bottom = self.at(x0, y1) + fx * (self.at(x1, y1) - self.at(x0, y1));
        top + fy * (bottom - top)
    }
}

/// The picture around a keypoint, sampled evenly in the keypoint's frame.
struct Patch([[f32; PATCH]; PATCH]);

impl Patch {
    fn cut(plane: &Plane, candidate: &Candidate, spacing: f32, angle: f32) -> Self {
        let (sin, cos) = sin_cos(angle);
        let middle = (PATCH - 1) as f32 / 2.0;
        let mut values = [[0.0; PATCH]; PATCH];
        for (j, row) in values.iter_mut().enumerate() {
            let dj = (j as f32 - middle) * spacing;
            for (i, value) in row.iter_mut().enumerate() {
                let di = (i as f32 - middle) * spacing;
                let x = candidate.u + cos * di - sin * dj;
                let y = candidate.v + sin * di + cos * dj;
                *value = plane.sample(x, y);
            }
        }
        Self(values)
    }
}

/// Sine and cosine by series, the same on every platform.
fn sin_cos(angle: f32) -> (f32, f32) {
    let z = f64::from(angle);
    let (mut sin, mut cos, mut term) = (0.0, 0.0, 1.0_f64);
    for n in 0..24_i32 {
        match n % 4 {
            0 => cos += term,
            1 => sin += term,
            2 => cos -= term,
            _ => sin -= term,
        }
        term *= z / f64::from(n + 1);
    }
    (sin as f32, cos as f32)
}

/// Weights of the samples, the same for every keypoint.
struct Window {
    /// Along one side: the lower of the two cells a sample belongs to, counted from -1, and its share.
    cells: [(i32, f32); SIDE],
    /// Gaussian fall-off along one side.
    falloff: [f32; SIDE],
}

impl Window {
    fn new() -> Self {
        let middle = (SIDE - 1) as f32 / 2.0;
        let cells = std::array::from_fn(|i| {
            let position = (i as f32 - middle) / CELL + (CELLS - 1) as f32 / 2.0;
            let lower = position.floor();
            (lower as i32, 1.0 - (position - lower))
        });
        // Standard deviation: half the width of the four cells (Lowe 2004, section 6.1).
        let sigma = CELL * CELLS as f32 / 2.0;
        let falloff = std::array::from_fn(|i| {
            let d = (i as f32 - middle) / sigma;
            exp2(-0.5 * d * d / std::f32::consts::LN_2)
        });
        Self { cells, falloff }
    }

    fn histogram(&self, patch: &Patch) -> [f32; DESCRIPTOR_LEN] {
        // One ring of cells more, so that no share needs a test.
        const RING: usize = CELLS + 2;
        let mut bins = [[0.0_f32; BINS]; RING * RING];
        let p = &patch.0;
        for j in 0..SIDE {
            let (cell_row, share_row) = self.cells[j];
            for i in 0..SIDE {
                let gx = p[j + 1][i + 2] - p[j + 1][i];
                let gy = p[j + 2][i + 1] - p[j][i + 1];
                let weight = (gx * gx + gy * gy).sqrt() * self.falloff[i] * self.falloff[j];
                let turn = (atan2(gy, gx) + TAU) * (BINS as f32 / TAU);
                let whole = turn as usize;
                let part = turn - whole as f32;
                let (first, second) = (whole % BINS, (whole + 1) % BINS);
                let (cell_column, share_column) = self.cells[i];
                let corner = (cell_row + 1) as usize * RING + (cell_column + 1) as usize;
                let mut add = |cell: usize, share: f32| {
                    bins[cell][first] += share * (1.0 - part);
                    bins[cell][second] += share * part;
                };
                let (top, bottom) = (weight * share_row, weight * (1.0 - share_row));
                add(corner, top * share_column);
                add(corner + 1, top * (1.0 - share_column));
                add(corner + RING, bottom * share_column);
                add(corner + RING + 1, bottom * (1.0 - share_column));
            }
        }
        std::array::from_fn(|k| {
            let (cell, bin) = (k / BINS, k % BINS);
            bins[(cell / CELLS + 1) * RING + cell % CELLS + 1][bin]
        })
    }
}

/// Clips, root-normalises and quantises a histogram; all zero stays all zero.
fn quantise(histogram: &[f32; DESCRIPTOR_LEN]) -> [u8; DESCRIPTOR_LEN] {
    let length = histogram.iter().map(|v| v * v).sum::<f32>().sqrt();
    let limit = CLIP * length;
    let total: f32 = histogram.iter().map(|v| v.min(limit)).sum();
    if total <= 0.0 {
        return [0; DESCRIPTOR_LEN];
    }
    let scale = 1.0 / total;
    histogram.map(|v| ((v.min(limit) * scale).sqrt() * QUANTUM + 0.5).min(MAX_VALUE) as u8)
}
