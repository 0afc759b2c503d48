//! What is left to move once two pictures are aligned. In a copy nothing is: one map moves every
//! pixel. A camera that stood elsewhere leaves parallax that no single map takes out.

use nalgebra::{SMatrix, SVector};
use pulp::{Arch, Simd, WithSimd};

use super::align::{Map, apply};
use crate::measure::plane::Plane;

/// Side of a block, samples.
const BLOCK: usize = 12;
/// Mean squared gradient along the edge normal from which a block's shift is trusted.
const MIN_GRADIENT: f64 = 16.0;
/// Block correlation below which the blocks show different things and have no shift.
const MIN_CORRELATION: f64 = 0.6;

/// The shift of one block along its edge normal (Lucas and Kanade 1981, one step).
#[derive(Debug, Clone, Copy)]
pub(super) struct Shift {
    /// Block centre, samples.
    at: [f64; 2],
    /// Unit normal of the block's edges.
    normal: [f64; 2],
    /// How far the second picture must move along it, samples.
    shift: f64,
}

/// Shifts of all blocks with clear edges between `first` and the aligned `second`.
fn shifts(first: &Plane, second: &Plane) -> Vec<Shift> {
    Arch::new().dispatch(Shifts(first, second))
}

/// The two planes, compiled for each instruction set.
struct Shifts<'a>(&'a Plane, &'a Plane);

impl WithSimd for Shifts<'_> {
    type Output = Vec<Shift>;

    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) -> Vec<Shift> {
        let Self(first, second) = self;
        let mut found = Vec::new();
        for top in (1..first.height.saturating_sub(BLOCK)).step_by(BLOCK) {
            for left in (1..first.width.saturating_sub(BLOCK)).step_by(BLOCK) {
                found.extend(block_shift(first, second, (left, top)));
            }
        }
        found
    }
}

/// Sums over the pixels of a block, one lane for each of its columns: added in this order on every processor.
#[derive(Clone, Copy, Default)]
struct Lanes([f32; BLOCK]);

impl Lanes {
    #[inline(always)]
    fn add(&mut self, x: &[f32; BLOCK], y: &[f32; BLOCK]) {
        for (sum, (x, y)) in self.0.iter_mut().zip(x.iter().zip(y)) {
            *sum += x * y;
        }
    }

    #[inline(always)]
    fn total(&self) -> f64 {
        self.0.iter().map(|lane| f64::from(*lane)).sum()
    }
}

/// A row of samples of `plane`, `by` columns and rows from a corner.
#[inline(always)]
fn row(plane: &Plane, (left, top): (usize, usize), by: [usize; 2]) -> Option<&[f32; BLOCK]> {
    let start = (top + by[1]) * plane.width + left + by[0];
    plane.data.get(start..)?.first_chunk()
}

/// Two blocks, their means taken off, and the gradient of the second: sums of products.
struct Products {
    pp: f64,
    qq: f64,
    pq: f64,
    xx: f64,
    xy: f64,
    yy: f64,
    px: f64,
    py: f64,
    qx: f64,
    qy: f64,
}

/// The products of the blocks at `corner`, inside the frame by one sample; `None` where they are not.
#[inline(always)]
fn products(first: &Plane, second: &Plane, corner: (usize, usize)) -> Option<Products> {
    const ONE: [f32; BLOCK] = [1.0; BLOCK];
    let corner = (corner.0.checked_sub(1)?, corner.1.checked_sub(1)?);
    let (mut sp, mut sq) = (Lanes::default(), Lanes::default());
    for y in 1..=BLOCK {
        sp.add(row(first, corner, [1, y])?, &ONE);
        sq.add(row(second, corner, [1, y])?, &ONE);
    }
    let count = (BLOCK * BLOCK) as f64;
    let means = [sp, sq].map(|sum| (sum.total() / count) as f32);
    let mut sums = [Lanes::default(); 10];
    for y in 1..=BLOCK {
        let p = row(first, corner, [1, y])?.map(|v| v - means[0]);
        let q = row(second, corner, [1, y])?.map(|v| v - means[1]);
        let (left, right) = (row(second, corner, [0, y])?, row(second, corner, [2, y])?);
        let (above, below) = (
            row(second, corner, [1, y - 1])?,
            row(second, corner, [1, y + 1])?,
        );
        let x: [f32; BLOCK] = std::array::from_fn(|i| (right[i] - left[i]) / 2.0);
        let y: [f32; BLOCK] = std::array::from_fn(|i| (below[i] - above[i]) / 2.0);
        let factors = [
            (&p, &p),
            (&q, &q),
            (&p, &q),
            (&x, &x),
            (&x, &y),
            (&y, &y),
            (&p, &x),
            (&p, &y),
            (&q, &x),
            (&q, &y),
        ];
        for (sum, (u, v)) in sums.iter_mut().zip(factors) {
            sum.add(u, v);
        }
    }
    let [pp, qq, pq, xx, xy, yy, px, py, qx, qy] = sums.map(|sum| sum.total());
    Some(Products {
        pp,
        qq,
        pq,
        xx,
        xy,
        yy,
        px,
        py,
        qx,
        qy,
    })
}

#[inline(always)]
fn block_shift(first: &Plane, second: &Plane, (left, top): (usize, usize)) -> Option<Shift> {
    let n = (BLOCK * BLOCK) as f64;
    let s = products(first, second, (left, top))?;
    // Not-a-number (outside the frame) fails this test as well.
    if s.pq.is_nan() || s.pq <= MIN_CORRELATION * (s.pp * s.qq).sqrt() {
        return None;
    }
    let gain = s.pq / s.qq;
    let [xx, xy, yy] = [s.xx, s.xy, s.yy].map(|sum| gain * gain * sum);
    let [xr, yr] = [s.px - gain * s.qx, s.py - gain * s.qy].map(|sum| gain * sum);
    // Leading eigenvector of the structure tensor.
    let half = (xx - yy) / 2.0;
    let strength = (xx + yy) / 2.0 + half.hypot(xy);
    let angle = 0.5 * xy.atan2(half);
    // Not-a-number beside the frame fails this test as well.
    if strength.is_nan() || strength < MIN_GRADIENT * n {
        return None;
    }
    let normal = [angle.cos(), angle.sin()];
    Some(Shift {
        at: [
            left as f64 + BLOCK as f64 / 2.0,
            top as f64 + BLOCK as f64 / 2.0,
        ],
        normal,
        shift: (normal[0] * xr + normal[1] * yr) / strength,
    })
}

/// The small map x -> x + d(x) that explains the shifts best, to be applied before the present map.
fn correction(shifts: &[Shift], size: [f64; 2]) -> Option<Map> {
    if shifts.len() < 16 {
        return None;
    }
    let scale = size[0].max(size[1]) / 2.0;
    let centre = [size[0] / 2.0, size[1] / 2.0];
    let mut normal = SMatrix::<f64, 8, 8>::identity() * 1e-3;
    let mut right = SVector::<f64, 8>::zeros();
    for s in shifts {
        let (x, y) = ((s.at[0] - centre[0]) / scale, (s.at[1] - centre[1]) / scale);
        let [nx, ny] = s.normal;
        let row = SVector::<f64, 8>::from([
            nx,
            nx * x,
            nx * y,
            ny,
            ny * x,
            ny * y,
            nx * x * x + ny * x * y,
            nx * x * y + ny * y * y,
        ]);
        // Huber weight: a block that moved on its own must not drag the map.
        let weight = 1.0 / (s.shift.abs() / 0.3).max(1.0);
        normal += row * row.transpose() * weight;
        right += row * (s.shift * weight);
    }
    let p = normal.try_inverse()? * right / scale;
    let there = Map::new(
        1.0 / scale,
        0.0,
        -centre[0] / scale,
        0.0,
        1.0 / scale,
        -centre[1] / scale,
        0.0,
        0.0,
        1.0,
    );
    let step = Map::new(
        1.0 + p[1],
        p[2],
        p[0],
        p[4],
        1.0 + p[5],
        p[3],
        -p[6],
        -p[7],
        1.0,
    );
    Some(there.try_inverse()? * step * there)
}

/// Refines the `map` from `first` to `second` up to `times` times; `second` so laid onto `first`, and the shifts left.
pub(super) fn refine(
    first: &Plane,
    second: &Plane,
    map: &mut Map,
    times: usize,
) -> (Plane, Vec<Shift>) {
    let size = (first.width, first.height);
    let mut warped = second.resampled(size, |at| apply(map, at));
    let mut found = shifts(first, &warped);
    for _ in 0..times {
        let Some(step) = correction(&found, [size.0 as f64, size.1 as f64]) else {
            break;
        };
        let next = *map * step;
        let rewarped = second.resampled(size, |at| apply(&next, at));
        let left = shifts(first, &rewarped);
        if left.len() * 5 < found.len() * 4 || spread(&left) >= spread(&found) {
            break;
        }
        (*map, warped, found) = (next, rewarped, left);
    }
    (warped, found)
}

/// The shift that a fifth of the blocks exceed, samples; 0 with too few blocks to say.
pub(super) fn spread(shifts: &[Shift]) -> f64 {
    if shifts.len() < 16 {
        return 0.0;
    }
    let mut sizes: Vec<f64> = shifts.iter().map(|s| s.shift.abs()).collect();
    sizes.sort_by(f64::total_cmp);
    sizes.get(sizes.len() * 4 / 5).copied().unwrap_or(0.0)
}
