//! Dominant gradient direction of a keypoint and a portable arc tangent.

use std::f32::consts::{FRAC_PI_2, PI, TAU};

use super::describe::BINS;

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

/// Dominant direction of a histogram over the full circle, the first bin at angle 0, by a parabola
/// through the highest bin and its neighbours; radians, -pi..=pi.
pub(super) fn dominant(histogram: &[f32; BINS]) -> f32 {
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
    let angle = (best as f32 + shift) / BINS as f32 * TAU;
    if angle > PI { angle - TAU } else { angle }
}
