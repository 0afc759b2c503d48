//! What is left to move once two pictures are aligned. In a copy nothing is: one map moves every
//! pixel. A camera that stood elsewhere leaves parallax that no single map takes out.

use nalgebra::{SMatrix, SVector};

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
    let mut found = Vec::new();
    for top in (1..first.height.saturating_sub(BLOCK)).step_by(BLOCK) {
        for left in (1..first.width.saturating_sub(BLOCK)).step_by(BLOCK) {
            found.extend(block_shift(first, second, (left, top)));
        }
    }
    found
}

fn block_shift(first: &Plane, second: &Plane, (left, top): (usize, usize)) -> Option<Shift> {
    let (mut pixels, mut sums) = (Vec::with_capacity(BLOCK * BLOCK), [0.0f64; 5]);
    for y in top..top + BLOCK {
        for x in left..left + BLOCK {
            let (i, j) = (x as isize, y as isize);
            let (p, q) = (f64::from(first.at(i, j)), f64::from(second.at(i, j)));
            let gx = f64::from(second.at(i + 1, j) - second.at(i - 1, j)) / 2.0;
            let gy = f64::from(second.at(i, j + 1) - second.at(i, j - 1)) / 2.0;
            pixels.push([p, q, gx, gy]);
            for (sum, value) in sums.iter_mut().zip([p, q, p * p, q * q, p * q]) {
                *sum += value;
            }
        }
    }
    let n = pixels.len() as f64;
    let (mp, mq) = (sums[0] / n, sums[1] / n);
    let (vp, vq) = (sums[2] / n - mp * mp, sums[3] / n - mq * mq);
    let cov = sums[4] / n - mp * mq;
    // Not-a-number (outside the frame) fails this test as well.
    if cov.is_nan() || cov <= MIN_CORRELATION * (vp * vq).sqrt() {
        return None;
    }
    let gain = cov / vq;
    let (mut xx, mut xy, mut yy, mut xr, mut yr) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for [p, q, gx, gy] in &pixels {
        let (gx, gy) = (gain * gx, gain * gy);
        let rest = (p - mp) - gain * (q - mq);
        xx += gx * gx;
        xy += gx * gy;
        yy += gy * gy;
        xr += gx * rest;
        yr += gy * rest;
    }
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
