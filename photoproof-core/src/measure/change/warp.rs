//! Photo b drawn in the frame of photo a by the plane map of their alignment.

use crate::measure::plane::Plane;

/// A plane map from a's pixels to b's, row major.
pub(super) type Map = [[f64; 3]; 3];

/// Where the map sends a point; `None` behind the camera.
pub(super) fn transfer(map: &Map, [x, y]: [f64; 2]) -> Option<[f64; 2]> {
    let [r, s, t] = map.map(|row| row[0] * x + row[1] * y + row[2]);
    (t > 1e-6 && t.is_finite()).then(|| [r / t, s / t])
}

/// The map between frames that are `a` and `b` times as large.
pub(super) fn scaled(map: &Map, a: f64, b: f64) -> Map {
    let mut out = *map;
    for (i, row) in out.iter_mut().enumerate() {
        for (j, value) in row.iter_mut().enumerate() {
            if j < 2 {
                *value /= a;
            }
            if i < 2 {
                *value *= b;
            }
        }
    }
    out
}

/// Every second sample of a plane smoothed by a 2 x 2 mean; holes spread.
pub(super) fn halved(plane: &Plane) -> Plane {
    let (width, height) = (plane.width / 2, plane.height / 2);
    let mut out = Plane::zeros(width, height);
    for (index, value) in out.data.iter_mut().enumerate() {
        let (x, y) = ((index % width.max(1)) * 2, (index / width.max(1)) * 2);
        let at = |dx: usize, dy: usize| plane.at((x + dx) as isize, (y + dy) as isize);
        *value = (at(0, 0) + at(1, 0) + at(0, 1) + at(1, 1)) / 4.0;
    }
    out
}
