//! Is a picture set into another one? Where a screen, a page or a border ends, the picture ends at an edge; a view
//! that another photo shows more of goes on.

use super::align::{Map, apply};
use crate::measure::plane::Plane;

/// Distance from the outline at which both of its sides are looked at, samples.
const NEAR: f64 = 3.0;
/// A second point inside, as far from the first as the one outside.
const DEEP: f64 = 9.0;
/// Points looked at along a side, its ends left out.
const POINTS: usize = 32;
/// Fewest points of a side that lie inside the holder.
const MIN_POINTS: usize = 12;
/// How many times the step across the outline is larger than the step inside.
const MIN_RATIO: f64 = 1.5;
/// Smallest mean step across the outline, luma levels.
const MIN_STEP: f64 = 5.0;
/// Sides that must end at an edge; a dark room may meet a dark bezel on one.
const MIN_SIDES: usize = 3;

/// Whether the outline of a picture of `size` that `map` lays into `holder` is an edge there.
pub(super) fn framed(size: [f64; 2], holder: &Plane, map: &Map) -> bool {
    let [w, h] = size;
    // Corner, direction along the side, direction inwards.
    let sides = [
        ([0.0, 0.0], [w, 0.0], [0.0, 1.0]),
        ([0.0, h], [w, 0.0], [0.0, -1.0]),
        ([0.0, 0.0], [0.0, h], [1.0, 0.0]),
        ([w, 0.0], [0.0, h], [-1.0, 0.0]),
    ];
    let ends = |(from, along, inwards): &([f64; 2], [f64; 2], [f64; 2])| {
        let mut steps = [0.0; 2];
        let mut count = 0usize;
        for i in 0..POINTS {
            let share = 0.1 + 0.8 * (i as f64 + 0.5) / POINTS as f64;
            let at = [from[0] + share * along[0], from[1] + share * along[1]];
            let luma = |distance: f64| luma_beside(holder, map, at, *inwards, distance);
            if let (Some(outside), Some(inside), Some(deep)) = (luma(-NEAR), luma(NEAR), luma(DEEP))
            {
                steps[0] += (outside - inside).abs();
                steps[1] += (inside - deep).abs();
                count += 1;
            }
        }
        let [across, within] = steps.map(|sum| sum / count.max(1) as f64);
        count >= MIN_POINTS && across >= MIN_STEP.max(MIN_RATIO * within)
    };
    sides.iter().filter(|side| ends(side)).count() >= MIN_SIDES
}

/// Luma of `holder` at `distance` of its samples inwards from the image of `at`.
fn luma_beside(
    holder: &Plane,
    map: &Map,
    at: [f64; 2],
    inwards: [f64; 2],
    distance: f64,
) -> Option<f64> {
    let [x, y] = apply(map, at)?;
    let [u, v] = apply(map, [at[0] + inwards[0], at[1] + inwards[1]])?;
    let (dx, dy) = (u - x, v - y);
    let length = dx.hypot(dy).max(1e-9);
    let luma = holder.sample(x + distance * dx / length, y + distance * dy / length)?;
    Some(f64::from(luma))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn scene(x: usize, y: usize) -> f32 {
        120.0 + 40.0 * ((x as f32) / 23.0).sin() + 30.0 * ((y as f32) / 17.0).cos()
    }

    fn plane(value: impl Fn(usize, usize) -> f32) -> Plane {
        let mut plane = Plane::zeros(300, 200);
        for (i, v) in plane.data.iter_mut().enumerate() {
            *v = value(i % 300, i / 300);
        }
        plane
    }

    #[test]
    fn a_picture_on_a_page_is_framed_and_a_part_of_a_view_is_not() {
        let map = Map::new(1.0, 0.0, 60.0, 0.0, 1.0, 40.0, 0.0, 0.0, 1.0);
        let size = [160.0, 110.0];
        let inside = |x: usize, y: usize| (60..220).contains(&x) && (40..150).contains(&y);
        let page = plane(|x, y| if inside(x, y) { scene(x, y) } else { 240.0 });
        assert!(framed(size, &page, &map));
        assert!(!framed(size, &plane(scene), &map));
    }
}
