//! Dominant gradient direction of a keypoint (Lowe 2004, section 5), and a portable arc tangent.

use std::f32::consts::{FRAC_PI_2, PI, TAU};

use super::scale_space::Plane;

/// Directions told apart.
const BINS: usize = 36;

/// Samples each side of the keypoint.
const REACH: i32 = 6;

/// Angle of the vector (x, y), radians, -pi..=pi. Polynomial of Abramowitz and Stegun 4.4.49 (error
/// below 1e-5): the same on every platform, unlike the system's.
#[inline(always)]
pub(super) fn atan2(y: f32, x: f32) -> f32 {
    let (ax, ay) = (x.abs(), y.abs());
    let (small, large) = if ax < ay { (ax, ay) } else { (ay, ax) };
    let t = if large > 0.0 { small / large } else { 0.0 };
    let s = t * t;
    let p = 0.020_835_1 * s - 0.085_133;
    let p = p * s + 0.180_141;
    let p = p * s - 0.330_299_5;
    let p = p * s + 0.999_866;
    let mut angle = p * t;
    if ay > ax {
        angle = FRAC_PI_2 - angle;
    }
    if x < 0.0 {
        angle = PI - angle;
    }
    if y < 0.0 { -angle } else { angle }
}

/// Dominant gradient direction around (u, v) of the blurred picture `plane`, radians.
pub(super) fn dominant(plane: &Plane, u: f32, v: f32, sigma: f32) -> f32 {
    let mut histogram = [0.0_f32; BINS];
    let spacing = 0.75 * sigma;
    for j in -REACH..=REACH {
        for i in -REACH..=REACH {
            let (di, dj) = (i as f32, j as f32);
            let (x, y) = (u + di * spacing, v + dj * spacing);
            let gx = plane.sample(x + 0.5 * spacing, y) - plane.sample(x - 0.5 * spacing, y);
            let gy = plane.sample(x, y + 0.5 * spacing) - plane.sample(x, y - 0.5 * spacing);
            // Rational stand-in for the Gaussian window of 1.5 sigma (two samples).
            let near = 1.0 + (di * di + dj * dj) * 0.125;
            let weight = (gx * gx + gy * gy).sqrt() / (near * near);
            let turn = (atan2(gy, gx) + TAU) / TAU * BINS as f32;
            histogram[turn as usize % BINS] += weight;
        }
    }
    peak(&smoothed(&smoothed(&histogram)))
}

fn smoothed(histogram: &[f32; BINS]) -> [f32; BINS] {
    std::array::from_fn(|i| {
        let (before, after) = (histogram[(i + BINS - 1) % BINS], histogram[(i + 1) % BINS]);
        0.25 * before + 0.5 * histogram[i] + 0.25 * after
    })
}

/// Direction of the highest bin, by a parabola through it and its neighbours.
fn peak(histogram: &[f32; BINS]) -> f32 {
    let mut best = 0;
    for i in 1..BINS {
        if histogram[i] > histogram[best] {
            best = i;
        }
    }
    let (left, top, right) = (
        histogram[(best + BINS - 1) % BINS],
        histogram[best],
        histogram[(best + 1) % BINS],
    );
    let bend = left - 2.0 * top + right;
    let shift = if bend < 0.0 {
        0.5 * (left - right) / bend
    } else {
        0.0
    };
    let angle = (best as f32 + 0.5 + shift) / BINS as f32 * TAU;
    if angle > PI { angle - TAU } else { angle }
}
