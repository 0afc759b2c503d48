//! Where the parts of a's picture lie in the warped picture of b.
//!
//! One plane map does not align a room seen from two standpoints: near and far things shift apart. Places
//! that are told apart in all directions are searched for around the map's answer; their shifts are what
//! the places around them may have moved by.

use super::CELL;
use super::warp::halved;
use super::window::{Shift, compare};
use crate::measure::plane::Plane;

/// Half side of the search window, half-size pixels.
const HALF: isize = 7;
/// Search reach, half-size pixels.
const REACH: isize = 10;
/// Spacing of the searched places, half-size pixels.
const STEP: usize = 8;
/// Correlation from which a find is believed.
const SURE: f32 = 0.8;
/// Smallest root eigenvalue of the structure tensor of a place that is told apart in all directions.
const CORNER: f32 = 2.5;
/// Shifts that are offered to a place.
const OFFERED: usize = 6;

/// Believed shifts, in pixels of the small picture.
#[derive(Debug, Clone, Default)]
pub(super) struct Field {
    found: Vec<((f32, f32), Shift)>,
}

impl Field {
    /// Searches places of `a` in `b`, which is warped into a's frame.
    pub(super) fn search(a: &Plane, b: &Plane) -> Self {
        let (a, b) = (halved(a), halved(b));
        let mut found = Vec::new();
        for y in (HALF as usize..a.height.saturating_sub(HALF as usize)).step_by(STEP) {
            for x in (HALF as usize..a.width.saturating_sub(HALF as usize)).step_by(STEP) {
                let place = (x as isize, y as isize);
                if corner_strength(&a, place) < CORNER {
                    continue;
                }
                if let Some((dx, dy)) = best_shift(&a, &b, place) {
                    found.push(((2.0 * x as f32, 2.0 * y as f32), (2 * dx, 2 * dy)));
                }
            }
        }
        Self { found }
    }

    /// Shifts worth trying at a place, no shift first, then those of the nearest finds.
    pub(super) fn offers(&self, x: f32, y: f32) -> Vec<Shift> {
        let mut near: Vec<(f32, Shift)> = self
            .found
            .iter()
            .map(|((fx, fy), shift)| ((fx - x).hypot(fy - y), *shift))
            .filter(|(distance, _)| *distance < 8.0 * CELL as f32)
            .collect();
        near.sort_by(|p, q| p.0.total_cmp(&q.0).then(p.1.cmp(&q.1)));
        let mut offers = vec![(0, 0)];
        for (_, shift) in near {
            if offers.len() > OFFERED {
                break;
            }
            let new = |known: &Shift| (known.0 - shift.0).abs().max((known.1 - shift.1).abs()) > 1;
            if offers.iter().all(new) {
                offers.push(shift);
            }
        }
        offers
    }
}

/// Every second shift first, then those around the best.
fn best_shift(a: &Plane, b: &Plane, place: Shift) -> Option<Shift> {
    let reach = (-REACH..=REACH).step_by(2);
    let coarse = reach
        .clone()
        .flat_map(|dy| reach.clone().map(move |dx| (dx, dy)));
    let (around, _) = best_of(a, b, place, coarse)?;
    let fine = (-1..=1).flat_map(|dy| (-1..=1).map(move |dx| (around.0 + dx, around.1 + dy)));
    let (shift, correlation) = best_of(a, b, place, fine)?;
    (correlation > SURE).then_some(shift)
}

fn best_of(
    a: &Plane,
    b: &Plane,
    place: Shift,
    shifts: impl Iterator<Item = Shift>,
) -> Option<(Shift, f32)> {
    shifts
        .filter_map(|shift| Some((shift, compare(a, b, place, HALF, shift)?.correlation)))
        .reduce(|best, next| if next.1 > best.1 { next } else { best })
}

/// Root of the smaller eigenvalue of the mean structure tensor (Shi and Tomasi, "Good Features to Track",
/// CVPR 1994), luma levels per pixel.
fn corner_strength(plane: &Plane, (x, y): Shift) -> f32 {
    let (mut xx, mut yy, mut xy) = (0.0f32, 0.0f32, 0.0f32);
    for row in y - HALF..y + HALF {
        for column in x - HALF..x + HALF {
            let gx = (plane.at(column + 1, row) - plane.at(column - 1, row)) / 2.0;
            let gy = (plane.at(column, row + 1) - plane.at(column, row - 1)) / 2.0;
            xx += gx * gx;
            yy += gy * gy;
            xy += gx * gy;
        }
    }
    let n = (4 * HALF * HALF) as f32;
    let (half, turn) = ((xx + yy) / 2.0, ((xx - yy) / 2.0).hypot(xy));
    ((half - turn).max(0.0) / n).sqrt()
}
