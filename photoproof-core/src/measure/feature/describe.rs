//! Gradient histograms: 4 x 4 cells of 8 directions (Lowe 2004, section 6), root-normalised
//! (Arandjelovic and Zisserman 2012) and quantised to 7 bits.

use std::f32::consts::TAU;

use pulp::{Arch, Simd, WithSimd};

use super::detect::Candidate;
use super::orient::{atan2, dominant};
use super::scale_space::{Octave, Plane};
use super::{DESCRIPTOR_LEN, Feature, FeatureOptions, Keypoint};
use crate::measure::blur::exp2;

/// Gradient samples along each side of the patch: the width of five cells, since samples up to half a
/// cell outside reach into the border cells by interpolation.
const SIDE: usize = 16;

/// Picture samples along each side: one more on each side for central differences.
const PATCH: usize = SIDE + 2;

/// Samples along a cell.
const CELL: f32 = 3.2;

/// Cells along each side.
const CELLS: usize = 4;

/// Directions a cell.
pub(super) const BINS: usize = 8;

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
    let arch = Arch::new();
    // In the order of the pixels, so that the picture is read through once.
    let mut order: Vec<usize> = (0..chosen.len()).collect();
    order.sort_by_key(|&i| (chosen[i].octave, chosen[i].level, chosen[i].v as usize, i));
    let mut features: Vec<(usize, Feature)> = order
        .into_iter()
        .filter_map(|i| {
            let candidate = &chosen[i];
            let plane = octaves.get(candidate.octave)?.gauss.get(candidate.level)?;
            let spacing = options.cell_width * candidate.sigma / CELL;
            let mut histogram = [0.0_f32; DESCRIPTOR_LEN];
            arch.dispatch(Gather {
                window: &window,
                plane,
                centre: (candidate.u, candidate.v),
                spacing,
                histogram: &mut histogram,
            });
            Some((i, feature(candidate, &histogram)))
        })
        .collect();
    features.sort_by_key(|(i, _)| *i);
    features.into_iter().map(|(_, feature)| feature).collect()
}

/// One descriptor's histogram, compiled for each instruction set.
struct Gather<'a> {
    window: &'a Window,
    plane: &'a Plane,
    centre: (f32, f32),
    spacing: f32,
    histogram: &'a mut [f32; DESCRIPTOR_LEN],
}

impl WithSimd for Gather<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, _simd: S) {
        let patch = Patch::cut(self.plane, self.centre, self.spacing);
        self.window.histogram(&patch, self.histogram);
    }
}

fn feature(candidate: &Candidate, histogram: &[f32; DESCRIPTOR_LEN]) -> Feature {
    Feature {
        keypoint: Keypoint {
            x: candidate.x,
            y: candidate.y,
            scale: candidate.scale,
            angle: dominant(&directions(histogram)),
            response: candidate.response,
            bright: candidate.bright,
        },
        descriptor: quantise(histogram),
    }
}

/// The histogram over all cells.
fn directions(histogram: &[f32; DESCRIPTOR_LEN]) -> [f32; BINS] {
    let mut sum = [0.0; BINS];
    for cell in histogram.chunks_exact(BINS) {
        for (total, value) in sum.iter_mut().zip(cell) {
            *total += value;
        }
    }
    sum
}

/// The picture around a keypoint, sampled evenly.
struct Patch([[f32; PATCH]; PATCH]);

impl Patch {
    /// Bilinear samples `spacing` apart about (u, v); edge values continue outside the picture.
    #[inline(always)]
    fn cut(plane: &Plane, (u, v): (f32, f32), spacing: f32) -> Self {
        let columns = places(u, spacing, plane.width);
        let rows = places(v, spacing, plane.height);
        let mut values = [[0.0; PATCH]; PATCH];
        for (row, (j, next, part)) in values.iter_mut().zip(rows) {
            let (top, bottom) = (plane.row(j), plane.row(next));
            for (value, (i, next, share)) in row.iter_mut().zip(columns) {
                let left = top[i] + part * (bottom[i] - top[i]);
                let right = top[next] + part * (bottom[next] - top[next]);
                *value = left + share * (right - left);
            }
        }
        Self(values)
    }
}

/// Along one axis: lower sample, upper sample and share of the upper one for each patch sample.
#[inline(always)]
fn places(centre: f32, spacing: f32, length: usize) -> [(usize, usize, f32); PATCH] {
    let middle = (PATCH - 1) as f32 / 2.0;
    let last = length - 1;
    std::array::from_fn(|k| {
        let position = (centre + (k as f32 - middle) * spacing).clamp(0.0, last as f32);
        let lower = (position as usize).min(last);
        (lower, (lower + 1).min(last), position - lower as f32)
    })
}

/// Weights of the samples, the same for every keypoint.
struct Window {
    /// Along one side: the lower of the two cells a sample belongs to, counted with one cell more in
    /// front, and its share.
    cells: [(usize, f32); SIDE],
    /// Gaussian fall-off along one side.
    falloff: [f32; SIDE],
}

impl Window {
    fn new() -> Self {
        let middle = (SIDE - 1) as f32 / 2.0;
        let cells = std::array::from_fn(|i| {
            let position = (i as f32 - middle) / CELL + (CELLS + 1) as f32 / 2.0;
            let lower = position.floor();
            (lower as usize, 1.0 - (position - lower))
        });
        // Standard deviation: half the width of the four cells (Lowe 2004, section 6.1).
        let sigma = CELL * CELLS as f32 / 2.0;
        let falloff = std::array::from_fn(|i| {
            let d = (i as f32 - middle) / sigma;
            exp2(-0.5 * d * d / std::f32::consts::LN_2)
        });
        Self { cells, falloff }
    }

    #[inline(always)]
    fn histogram(&self, patch: &Patch, histogram: &mut [f32; DESCRIPTOR_LEN]) {
        // One ring of cells more, so that no share needs a test.
        const RING: usize = CELLS + 2;
        let mut bins = [[[0.0_f32; BINS]; RING]; RING];
        for (j, &(cell_row, share_row)) in self.cells.iter().enumerate() {
            let (weights, turns) = self.gradients(&patch.0, j);
            let mut row = [[0.0_f32; BINS]; RING];
            for i in 0..SIDE {
                let whole = turns[i] as u32;
                let part = turns[i] - whole as f32;
                let (first, second) = ((whole % 8) as usize, ((whole + 1) % 8) as usize);
                let (cell, share) = self.cells[i];
                let (near, far) = (weights[i] * share, weights[i] * (1.0 - share));
                row[cell][first] += near * (1.0 - part);
                row[cell][second] += near * part;
                row[cell + 1][first] += far * (1.0 - part);
                row[cell + 1][second] += far * part;
            }
            for (target, share) in [(cell_row, share_row), (cell_row + 1, 1.0 - share_row)] {
                for (sums, values) in bins[target].iter_mut().zip(&row) {
                    for (sum, value) in sums.iter_mut().zip(values) {
                        *sum += share * value;
                    }
                }
            }
        }
        for (index, cell) in histogram.chunks_exact_mut(BINS).enumerate() {
            cell.copy_from_slice(&bins[index / CELLS + 1][index % CELLS + 1]);
        }
    }

    /// Weighted magnitude and direction (0..16, 8 a turn) of the gradients in row `j`.
    #[inline(always)]
    fn gradients(&self, p: &[[f32; PATCH]; PATCH], j: usize) -> ([f32; SIDE], [f32; SIDE]) {
        let (above, here, below) = (&p[j], &p[j + 1], &p[j + 2]);
        let (mut weights, mut turns) = ([0.0; SIDE], [0.0; SIDE]);
        for i in 0..SIDE {
            let gx = here[i + 2] - here[i];
            let gy = below[i + 1] - above[i + 1];
            weights[i] = (gx * gx + gy * gy).sqrt() * (self.falloff[i] * self.falloff[j]);
            turns[i] = (atan2(gy, gx) + TAU) * (BINS as f32 / TAU);
        }
        (weights, turns)
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
