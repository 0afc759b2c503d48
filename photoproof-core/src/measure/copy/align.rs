//! The plane-to-plane map between two pictures from their matched keypoints.

use nalgebra::{DMatrix, Matrix3, Vector3};

use crate::measure::feature::Turn;

/// A plane-to-plane map in homogeneous pixel coordinates.
pub(super) type Map = Matrix3<f64>;

/// A matched point: (x, y) in a, (x, y) in b.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct PointPair {
    pub(super) a: [f64; 2],
    pub(super) b: [f64; 2],
}

/// A map and the point pairs that follow it.
#[derive(Debug, Clone)]
pub(super) struct Alignment {
    /// From a to b.
    pub(super) map: Map,
    /// Number of point pairs within the final tolerance.
    pub(super) inliers: usize,
}

/// Fewest inliers of an alignment.
const MIN_INLIERS: usize = 8;
/// Fewest inliers that support the eight parameters of a homography; below, an affine map.
const MIN_HOMOGRAPHY: usize = 24;
/// Trials of the seeded search.
const TRIALS: u32 = 600;
/// Tolerances of the successive fits, as a share of the long side of b: the first admits a
/// similarity as the first guess of a perspective photo of a screen.
const TOLERANCES: [f64; 6] = [0.03, 0.015, 0.008, 0.005, 0.004, 0.003];

/// Applies a map; `None` at infinity.
pub(super) fn apply(map: &Map, [x, y]: [f64; 2]) -> Option<[f64; 2]> {
    let v = map * Vector3::new(x, y, 1.0);
    (v.z.abs() > 1e-9).then(|| [v.x / v.z, v.y / v.z])
}

/// The map from a picture of `size` to the same picture laid as `turn` says.
pub(super) fn turn_map(turn: Turn, size: [f64; 2]) -> Map {
    let [mut width, mut height] = size;
    let mut map = Map::identity();
    if turn.mirrored {
        map = Map::new(-1.0, 0.0, width, 0.0, 1.0, 0.0, 0.0, 0.0, 1.0) * map;
    }
    for _ in 0..turn.quarters % 4 {
        map = Map::new(0.0, -1.0, height, 1.0, 0.0, 0.0, 0.0, 0.0, 1.0) * map;
        std::mem::swap(&mut width, &mut height);
    }
    map
}

/// Share of a frame of `from` that lands inside a frame of `to`, 0..=1.
pub(super) fn seen(map: &Map, from: [f64; 2], to: [f64; 2]) -> f64 {
    const STEPS: usize = 40;
    let inside = (0..STEPS * STEPS)
        .filter(|i| {
            let x = ((i % STEPS) as f64 + 0.5) / STEPS as f64 * from[0];
            let y = ((i / STEPS) as f64 + 0.5) / STEPS as f64 * from[1];
            apply(map, [x, y])
                .is_some_and(|[u, v]| (0.0..to[0]).contains(&u) && (0.0..to[1]).contains(&v))
        })
        .count();
    inside as f64 / (STEPS * STEPS) as f64
}

/// How a picture lies under a map.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Pose {
    /// Nearest of the eight turns that leads from a to b.
    pub(super) turn: Turn,
    /// Rest of the rotation, degrees clockwise.
    pub(super) degrees: f64,
    /// Linear scale.
    pub(super) scale: f64,
}

/// Reads turn, fine rotation and scale from `map` at the centre of a frame of `size`.
pub(super) fn pose(map: &Map, size: [f64; 2]) -> Pose {
    let centre = [size[0] / 2.0, size[1] / 2.0];
    let step = size[0].max(size[1]) / 8.0;
    let image = |dx: f64, dy: f64| apply(map, [centre[0] + dx, centre[1] + dy]).unwrap_or(centre);
    let (o, p, q) = (image(0.0, 0.0), image(step, 0.0), image(0.0, step));
    let (ux, uy) = ((p[0] - o[0]) / step, (p[1] - o[1]) / step);
    let (vx, vy) = ((q[0] - o[0]) / step, (q[1] - o[1]) / step);
    let area = ux * vy - uy * vx;
    // A mirrored picture sends its leftward direction to where an unmirrored one sends +x.
    let (ax, ay) = if area < 0.0 { (-ux, -uy) } else { (ux, uy) };
    let angle = ay.atan2(ax).to_degrees();
    let quarters = (angle / 90.0).round();
    Pose {
        turn: Turn {
            mirrored: area < 0.0,
            quarters: quarters.rem_euclid(4.0) as u8 % 4,
        },
        degrees: angle - quarters * 90.0,
        scale: area.abs().sqrt(),
    }
}

/// Points along each side of a frame at which the bend of a map is taken.
const BEND_POINTS: usize = 7;

/// How far a map is from one that keeps parallel lines parallel: the root mean square distance, as a share of the long
/// side of frame b, between where it puts the points of frame a that b shows and where the nearest such map puts them.
/// Cropping, turning and stretching a picture bend nothing; another standpoint or direction does (Hartley and Zisserman
/// 2004, 2.4). `None` where b shows too few of them.
pub(super) fn bend(map: &Map, a: [f64; 2], b: [f64; 2]) -> Option<f64> {
    let shares = (0..BEND_POINTS).map(|step| step as f64 / (BEND_POINTS - 1) as f64);
    let places = shares
        .clone()
        .flat_map(|x| shares.clone().map(move |y| [x * a[0], y * a[1]]));
    let is_inside = |[x, y]: &[f64; 2]| (0.0..=b[0]).contains(x) && (0.0..=b[1]).contains(y);
    let pairs: Vec<PointPair> = places
        .filter_map(|a| {
            Some(PointPair {
                a,
                b: apply(map, a)?,
            })
        })
        .filter(|pair| is_inside(&pair.b))
        .collect();
    if pairs.len() < 2 * BEND_POINTS {
        return None;
    }
    let plain = affine(&pairs)?;
    let squares = pairs.iter().map(|pair| error(&plain, pair).powi(2));
    let mean = squares.sum::<f64>() / pairs.len() as f64;
    Some(mean.sqrt() / b[0].max(b[1]))
}

/// The map of a picture of `from` pixels onto one of `to` pixels.
pub(super) fn scale_map(from: [f64; 2], to: [f64; 2]) -> Map {
    Map::from_diagonal(&Vector3::new(
        to[0] / from[0].max(1.0),
        to[1] / from[1].max(1.0),
        1.0,
    ))
}

/// Robust map from a to b; `size` is the long side of b. Seeded, so the same input gives the same map.
pub(super) fn align(pairs: &[PointPair], size: f64) -> Option<Alignment> {
    if pairs.len() < MIN_INLIERS {
        return None;
    }
    let mut map = best_similarity(pairs, size * TOLERANCES[1])?;
    for tolerance in TOLERANCES {
        let near = within(pairs, &map, tolerance * size);
        if near.len() < MIN_INLIERS {
            return None;
        }
        map = fit(&near)?;
    }
    let inliers = within(pairs, &map, TOLERANCES[5] * size).len();
    (inliers >= MIN_INLIERS && plausible(&map)).then_some(Alignment { map, inliers })
}

fn plausible(map: &Map) -> bool {
    let scale = (map[(0, 0)] * map[(1, 1)] - map[(0, 1)] * map[(1, 0)])
        .abs()
        .sqrt();
    map.iter().all(|v| v.is_finite()) && (0.05..20.0).contains(&scale)
}

fn within(pairs: &[PointPair], map: &Map, tolerance: f64) -> Vec<PointPair> {
    pairs
        .iter()
        .filter(|pair| error(map, pair) <= tolerance)
        .copied()
        .collect()
}

/// Distance of the pair's point in b from where the map puts that in a; infinite where it puts it nowhere.
pub(super) fn error(map: &Map, pair: &PointPair) -> f64 {
    apply(map, pair.a).map_or(f64::INFINITY, |[x, y]| {
        let (dx, dy) = (x - pair.b[0], y - pair.b[1]);
        (dx * dx + dy * dy).sqrt()
    })
}

/// The orientation-preserving similarity with the most agreement (sample consensus, Fischler and
/// Bolles 1981), samples drawn from the most distinct half first.
fn best_similarity(pairs: &[PointPair], tolerance: f64) -> Option<Map> {
    let mut state = 0x9E37_79B9_7F4A_7C15_u64;
    let mut draw = |below: usize| {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        ((state >> 33) as usize) % below.max(1)
    };
    let mut best: Option<(usize, Map)> = None;
    for trial in 0..TRIALS {
        let pool = if trial % 2 == 0 {
            pairs.len().div_ceil(2)
        } else {
            pairs.len()
        };
        let (Some(p), Some(q)) = (pairs.get(draw(pool)), pairs.get(draw(pool))) else {
            continue;
        };
        let Some(map) = similarity(p, q) else {
            continue;
        };
        let count = pairs
            .iter()
            .filter(|pair| error(&map, pair) <= tolerance)
            .count();
        if best.as_ref().is_none_or(|(most, _)| count > *most) {
            best = Some((count, map));
        }
    }
    best.filter(|(count, _)| *count >= MIN_INLIERS)
        .map(|(_, map)| map)
}

fn similarity(p: &PointPair, q: &PointPair) -> Option<Map> {
    let (dx, dy) = (q.a[0] - p.a[0], q.a[1] - p.a[1]);
    let (ex, ey) = (q.b[0] - p.b[0], q.b[1] - p.b[1]);
    let square = dx * dx + dy * dy;
    if square < 400.0 {
        return None;
    }
    let c = (dx * ex + dy * ey) / square;
    let s = (dx * ey - dy * ex) / square;
    let scale = c.hypot(s);
    if !(0.1..10.0).contains(&scale) {
        return None;
    }
    let tx = p.b[0] - c * p.a[0] + s * p.a[1];
    let ty = p.b[1] - s * p.a[0] - c * p.a[1];
    Some(Map::new(c, -s, tx, s, c, ty, 0.0, 0.0, 1.0))
}

/// Least-squares map: homography by the normalised direct linear transform (Hartley and Zisserman
/// 2004, algorithm 4.2), affine when there are few pairs.
fn fit(pairs: &[PointPair]) -> Option<Map> {
    let na = normaliser(pairs.iter().map(|p| p.a));
    let nb = normaliser(pairs.iter().map(|p| p.b));
    let points: Vec<PointPair> = pairs
        .iter()
        .filter_map(|p| {
            Some(PointPair {
                a: apply(&na, p.a)?,
                b: apply(&nb, p.b)?,
            })
        })
        .collect();
    let core = if points.len() >= MIN_HOMOGRAPHY {
        homography(&points)?
    } else {
        affine(&points)?
    };
    let map = nb.try_inverse()? * core * na;
    let last = map[(2, 2)];
    (last.abs() > 1e-12).then(|| map / last)
}

fn normaliser(points: impl Iterator<Item = [f64; 2]> + Clone) -> Map {
    let count = points.clone().count().max(1) as f64;
    let (sx, sy) = points
        .clone()
        .fold((0.0, 0.0), |(x, y), p| (x + p[0], y + p[1]));
    let (mx, my) = (sx / count, sy / count);
    let spread: f64 = points.map(|p| (p[0] - mx).hypot(p[1] - my)).sum::<f64>() / count;
    let k = std::f64::consts::SQRT_2 / spread.max(1e-9);
    Map::new(k, 0.0, -k * mx, 0.0, k, -k * my, 0.0, 0.0, 1.0)
}

fn homography(points: &[PointPair]) -> Option<Map> {
    let mut normal = DMatrix::<f64>::zeros(9, 9);
    for PointPair {
        a: [x, y],
        b: [u, v],
    } in points
    {
        for row in [
            [-x, -y, -1.0, 0.0, 0.0, 0.0, u * x, u * y, *u],
            [0.0, 0.0, 0.0, -x, -y, -1.0, v * x, v * y, *v],
        ] {
            let r = nalgebra::DVector::from_row_slice(&row);
            normal.ger(1.0, &r, &r, 1.0);
        }
    }
    let eigen = normal.symmetric_eigen();
    let least = eigen.eigenvalues.imin();
    let h = eigen.eigenvectors.column(least);
    Some(Map::from_row_iterator(h.iter().copied()))
}

fn affine(points: &[PointPair]) -> Option<Map> {
    let mut normal = Matrix3::<f64>::zeros();
    let (mut ru, mut rv) = (Vector3::zeros(), Vector3::zeros());
    for PointPair {
        a: [x, y],
        b: [u, v],
    } in points
    {
        let p = Vector3::new(*x, *y, 1.0);
        normal += p * p.transpose();
        ru += p * *u;
        rv += p * *v;
    }
    let inverse = normal.try_inverse()?;
    let (first, second) = (inverse * ru, inverse * rv);
    Some(Map::new(
        first.x, first.y, first.z, second.x, second.y, second.z, 0.0, 0.0, 1.0,
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn grid(map: &Map) -> Vec<PointPair> {
        (0..60)
            .map(|i| {
                let a = [
                    f64::from(i % 10) * 90.0 + 20.0,
                    f64::from(i / 10) * 110.0 + 30.0,
                ];
                PointPair {
                    a,
                    b: apply(map, a).unwrap(),
                }
            })
            .collect()
    }

    #[test]
    fn a_homography_survives_outliers() {
        let truth = Map::new(0.9, 0.05, 12.0, -0.04, 0.95, 30.0, 4e-5, -3e-5, 1.0);
        let mut pairs = grid(&truth);
        for (i, pair) in pairs.iter_mut().enumerate().filter(|(i, _)| i % 3 == 0) {
            pair.b = [(i * 7919 % 900) as f64, (i * 104_729 % 700) as f64];
        }
        let found = align(&pairs, 1000.0).unwrap();
        assert!(found.inliers >= 40);
        for corner in [[0.0, 0.0], [900.0, 0.0], [900.0, 700.0], [0.0, 700.0]] {
            let (t, f) = (
                apply(&truth, corner).unwrap(),
                apply(&found.map, corner).unwrap(),
            );
            assert!((t[0] - f[0]).hypot(t[1] - f[1]) < 0.5);
        }
    }

    #[test]
    fn unrelated_points_do_not_align() {
        let pairs: Vec<PointPair> = (0..60usize)
            .map(|i| PointPair {
                a: [(i * 7919 % 997) as f64, (i * 6007 % 751) as f64],
                b: [(i * 3571 % 991) as f64, (i * 4409 % 743) as f64],
            })
            .collect();
        assert!(align(&pairs, 1000.0).is_none());
    }

    #[test]
    fn only_another_standpoint_bends_a_map() {
        let (a, b) = ([384.0, 288.0], [300.0, 225.0]);
        for turn in Turn::ALL {
            let cropped = Map::new(0.9, -0.05, 7.0, 0.05, 0.7, -4.0, 0.0, 0.0, 1.0);
            let plain = cropped * turn_map(turn, a);
            assert!(bend(&plain, a, [384.0, 384.0]).unwrap() < 1e-9, "{turn:?}");
        }
        // Turned by a degree about the upright axis, 300 samples of focal length.
        let slope = 1.0_f64.to_radians().tan() / 300.0;
        let leaning = Map::new(0.8, 0.0, 0.0, 0.0, 0.8, 0.0, slope, 0.0, 1.0);
        let found = bend(&leaning, a, b).unwrap();
        assert!((0.001..0.01).contains(&found), "{found}");
        assert_eq!(
            bend(&Map::new_translation(&[900.0, 0.0].into()), a, b),
            None
        );
    }

    #[test]
    fn four_quarter_turns_are_the_identity() {
        let turn = Turn {
            mirrored: false,
            quarters: 1,
        };
        let (there, back) = (
            turn_map(turn, [300.0, 200.0]),
            turn_map(turn, [200.0, 300.0]),
        );
        let full = back * there * back * there;
        assert!((full - Map::identity()).norm() < 1e-9);
    }
}
