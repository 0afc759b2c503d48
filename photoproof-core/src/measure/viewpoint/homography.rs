//! Homographies between bearings: four points, least squares, and the motions behind one.

use nalgebra::{Matrix3, SMatrix, SVector, Vector2, Vector3};

use super::camera::{Motion, Pair, nearest_rotation};

/// Homography through four correspondences with its last element 1, or `None` if degenerate.
pub(super) fn from_four(pairs: [&Pair; 4]) -> Option<Matrix3<f64>> {
    let mut system = SMatrix::<f64, 8, 8>::zeros();
    let mut right = SVector::<f64, 8>::zeros();
    for (i, p) in pairs.iter().enumerate() {
        let (x, y, u, v) = (p.a.x, p.a.y, p.b.x, p.b.y);
        let rows = [
            ([x, y, 1.0, 0.0, 0.0, 0.0, -u * x, -u * y], u),
            ([0.0, 0.0, 0.0, x, y, 1.0, -v * x, -v * y], v),
        ];
        for (k, (row, value)) in rows.iter().enumerate() {
            for (j, e) in row.iter().enumerate() {
                system[(2 * i + k, j)] = *e;
            }
            right[2 * i + k] = *value;
        }
    }
    let h = system.lu().solve(&right)?;
    let h = Matrix3::new(h[0], h[1], h[2], h[3], h[4], h[5], h[6], h[7], 1.0);
    let sane = h.iter().all(|v| v.is_finite() && v.abs() < 1e4) && h.determinant() > 1e-6;
    sane.then_some(h)
}

/// Least-squares homography by the normalised direct linear transformation
/// (Hartley and Zisserman 2004, algorithm 4.2). Needs four or more pairs.
pub(super) fn least_squares(pairs: &[Pair], weights: &[f64]) -> Option<Matrix3<f64>> {
    if pairs.len() < 4 || pairs.len() != weights.len() {
        return None;
    }
    let (ta, tb) = (
        normaliser(pairs, weights, |p| p.a)?,
        normaliser(pairs, weights, |p| p.b)?,
    );
    let mut normal = SMatrix::<f64, 9, 9>::zeros();
    for (p, w) in pairs.iter().zip(weights).filter(|(_, w)| **w > 0.0) {
        let a = ta * Vector3::new(p.a.x, p.a.y, 1.0);
        let b = tb * Vector3::new(p.b.x, p.b.y, 1.0);
        let (x, y, u, v) = (a.x, a.y, b.x, b.y);
        for row in [
            SVector::<f64, 9>::from([-x, -y, -1.0, 0.0, 0.0, 0.0, u * x, u * y, u]),
            SVector::<f64, 9>::from([0.0, 0.0, 0.0, -x, -y, -1.0, v * x, v * y, v]),
        ] {
            normal += row * row.transpose() * *w;
        }
    }
    let eigen = normal.symmetric_eigen();
    let smallest = (0..9).min_by(|i, j| eigen.eigenvalues[*i].total_cmp(&eigen.eigenvalues[*j]))?;
    let h = eigen.eigenvectors.column(smallest);
    let h = Matrix3::new(h[0], h[1], h[2], h[3], h[4], h[5], h[6], h[7], h[8]);
    let h = tb.try_inverse()? * h * ta;
    let scale = h[(2, 2)];
    (scale.abs() > 1e-12).then(|| h / scale)
}

/// Similarity that moves the weighted points to mean 0 and mean distance sqrt 2.
fn normaliser(
    pairs: &[Pair],
    weights: &[f64],
    point: impl Fn(&Pair) -> Vector2<f64>,
) -> Option<Matrix3<f64>> {
    let total: f64 = weights.iter().sum();
    let mean: Vector2<f64> = pairs
        .iter()
        .zip(weights)
        .map(|(p, w)| point(p) * *w)
        .sum::<Vector2<f64>>()
        / total;
    let spread = pairs
        .iter()
        .zip(weights)
        .map(|(p, w)| (point(p) - mean).norm() * w)
        .sum::<f64>()
        / total;
    let s = std::f64::consts::SQRT_2 / spread;
    s.is_finite()
        .then(|| Matrix3::new(s, 0.0, -s * mean.x, 0.0, s, -s * mean.y, 0.0, 0.0, 1.0))
}

/// Where a homography takes a bearing, or `None` behind the camera.
pub(super) fn transfer(h: &Matrix3<f64>, p: &Vector2<f64>) -> Option<Vector2<f64>> {
    let q = h * Vector3::new(p.x, p.y, 1.0);
    (q.z > 1e-9).then(|| Vector2::new(q.x / q.z, q.y / q.z))
}

/// The motions that a calibrated homography allows with the plane in front of camera a: two for a
/// moved camera, one for a turned one. The translation is in units of the plane's distance.
///
/// Ma, Soatto, Kosecka and Sastry 2004, "An Invitation to 3-D Vision", section 5.3.3.
pub(super) fn motions(h: &Matrix3<f64>) -> Vec<Motion> {
    let singular = h.singular_values();
    let middle = singular[1];
    if middle.is_nan() || middle <= 1e-9 {
        return Vec::new();
    }
    let sign = h.determinant().signum();
    let h = h * (sign / middle);
    let eigen = (h.transpose() * h).symmetric_eigen();
    let mut order = [0usize, 1, 2];
    order.sort_by(|i, j| eigen.eigenvalues[*j].total_cmp(&eigen.eigenvalues[*i]));
    let column = |i: usize| -> Vector3<f64> { eigen.eigenvectors.column(order[i]).into() };
    let (v1, v2, v3) = (column(0), column(1), column(2));
    let (s1, s3) = (eigen.eigenvalues[order[0]], eigen.eigenvalues[order[2]]);
    if s1 - s3 < 1e-7 {
        let turned = nearest_rotation(&h);
        return turned
            .map(|rotation| Motion {
                rotation,
                translation: Vector3::zeros(),
            })
            .into_iter()
            .collect();
    }
    let (p, q, d) = (
        (1.0 - s3).max(0.0).sqrt(),
        (s1 - 1.0).max(0.0).sqrt(),
        (s1 - s3).sqrt(),
    );
    [(v1 * p + v3 * q) / d, (v1 * p - v3 * q) / d]
        .iter()
        .filter_map(|u| motion_of(&h, &v2, u))
        .collect()
}

fn motion_of(h: &Matrix3<f64>, v2: &Vector3<f64>, u: &Vector3<f64>) -> Option<Motion> {
    let from = Matrix3::from_columns(&[*v2, *u, v2.cross(u)]);
    let (hv, hu) = (h * v2, h * u);
    let to = Matrix3::from_columns(&[hv, hu, hv.cross(&hu)]);
    let rotation = nearest_rotation(&(to * from.transpose()))?;
    let normal = v2.cross(u);
    let translation = (h - rotation) * normal;
    // The plane lies in front of camera a: its distance along the optical axis sets the unit.
    let facing = if normal.z < 0.0 { -1.0 } else { 1.0 };
    let per_depth = (normal.z * facing).max(0.2);
    Some(Motion {
        rotation,
        translation: translation * facing * per_depth,
    })
}
