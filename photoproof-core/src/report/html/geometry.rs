//! Plane maps for the page: drawing one photo in the frame of another and outlining what both show.

use nalgebra::{Matrix3, Vector3};

/// A 3x3 plane map between two frames scaled to width 1, row major.
pub(super) type Map = [[f64; 3]; 3];

/// The inverse map, scaled so that its last element is 1; `None` when it has none.
pub(super) fn inverse(map: &Map) -> Option<Map> {
    let flat: Vec<f64> = map.iter().flatten().copied().collect();
    let inverse = Matrix3::from_row_slice(&flat).try_inverse()?;
    let last = inverse[(2, 2)];
    let scaled = inverse / last;
    if !scaled.iter().all(|value| value.is_finite()) {
        return None;
    }
    let row = |r: usize| [scaled[(r, 0)], scaled[(r, 1)], scaled[(r, 2)]];
    Some([row(0), row(1), row(2)])
}

/// The part of a frame of height `height` (width 1) that the other frame, of height `other`, covers when
/// `map` takes points of the other frame into this one. Corners in order; `None` when nothing is shared or a
/// corner maps to infinity.
pub(super) fn shared(map: &Map, other: f64, height: f64) -> Option<Vec<(f64, f64)>> {
    let flat: Vec<f64> = map.iter().flatten().copied().collect();
    let map = Matrix3::from_row_slice(&flat);
    let mut polygon = Vec::new();
    for (x, y) in [(0.0, 0.0), (1.0, 0.0), (1.0, other), (0.0, other)] {
        let mapped = map * Vector3::new(x, y, 1.0);
        if mapped.z <= 1e-6 {
            return None;
        }
        polygon.push((mapped.x / mapped.z, mapped.y / mapped.z));
    }
    // Sutherland and Hodgman 1974: clip against one edge of the frame after the other.
    let edges: [&dyn Fn((f64, f64)) -> f64; 4] =
        [&|(x, _)| x, &|(x, _)| 1.0 - x, &|(_, y)| y, &|(_, y)| {
            height - y
        }];
    for inside in edges {
        polygon = clip(&polygon, inside);
    }
    (polygon.len() >= 3).then_some(polygon)
}

/// Keeps the part of `polygon` where `inside` is not negative.
fn clip(polygon: &[(f64, f64)], inside: &dyn Fn((f64, f64)) -> f64) -> Vec<(f64, f64)> {
    let mut kept = Vec::new();
    let followed = polygon.iter().zip(polygon.iter().cycle().skip(1));
    for (&from, &to) in followed {
        let (start, end) = (inside(from), inside(to));
        if start >= 0.0 {
            kept.push(from);
        }
        if (start >= 0.0) != (end >= 0.0) {
            let t = start / (start - end);
            kept.push((from.0 + t * (to.0 - from.0), from.1 + t * (to.1 - from.1)));
        }
    }
    kept
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Half the distance: the picture is enlarged twice about its centre (0.5, 0.375).
    const NEARER: Map = [[2.0, 0.0, -0.5], [0.0, 2.0, -0.375], [0.0, 0.0, 1.0]];

    #[test]
    fn the_inverse_of_twice_is_half() {
        let half = inverse(&NEARER).unwrap();
        assert!((half[0][0] - 0.5).abs() < 1e-12 && (half[0][2] - 0.25).abs() < 1e-12);
        assert!(inverse(&[[0.0; 3]; 3]).is_none());
    }

    #[test]
    fn a_nearer_photo_shows_the_middle() {
        // b nearer than a: in a's frame, b covers the middle quarter.
        let in_a = shared(&inverse(&NEARER).unwrap(), 0.75, 0.75).unwrap();
        assert_eq!(in_a.len(), 4);
        assert!((in_a[0].0 - 0.25).abs() < 1e-9 && (in_a[0].1 - 0.1875).abs() < 1e-9);
        // In b's frame, a covers everything.
        let in_b = shared(&NEARER, 0.75, 0.75).unwrap();
        let wide = in_b.iter().map(|point| point.0).fold(0.0, f64::max);
        assert!((wide - 1.0).abs() < 1e-9);
    }

    #[test]
    fn frames_apart_share_nothing() {
        let apart = [[1.0, 0.0, 5.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];
        assert!(shared(&apart, 0.75, 0.75).is_none());
    }
}
