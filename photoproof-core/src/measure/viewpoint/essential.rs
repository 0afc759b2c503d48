//! The essential matrix through five correspondences, and the motions behind one.

use nalgebra::{Matrix3, SVector, Vector3};

use super::camera::{Motion, Pair};
use super::polynomial::real_roots;

type Linear = [f64; 4];
type Quadratic = [f64; 10];
type Cubic = [f64; 20];

/// Index of the product of two of the monomials x, y, z, 1 among the ten quadratic ones.
const QUADRATIC: [[usize; 4]; 4] = [[0, 1, 2, 3], [1, 4, 5, 6], [2, 5, 7, 8], [3, 6, 8, 9]];

/// Index of the product of a quadratic monomial with x, y, z, 1 among the twenty cubic ones, in the
/// order of Nister 2004: x3 y3 x2y xy2 x2z x2 y2z y2 xyz xy | xz2 xz x yz2 yz y z3 z2 z 1.
const CUBIC: [[usize; 4]; 10] = [
    [0, 2, 4, 5],
    [2, 3, 8, 9],
    [4, 8, 10, 11],
    [5, 9, 11, 12],
    [3, 1, 6, 7],
    [8, 6, 13, 14],
    [9, 7, 14, 15],
    [10, 13, 16, 17],
    [11, 14, 17, 18],
    [12, 15, 18, 19],
];

/// All real essential matrices through five correspondences, at most ten, each of unit norm.
///
/// Nister 2004, "An efficient solution to the five-point relative pose problem", IEEE PAMI 26(6).
pub(super) fn from_five(pairs: [&Pair; 5]) -> Vec<Matrix3<f64>> {
    let Some(basis) = null_space(pairs) else {
        return Vec::new();
    };
    let Some(rows) = reduced_constraints(&basis) else {
        return Vec::new();
    };
    let b = [
        eliminate(&rows[4], &rows[5]),
        eliminate(&rows[6], &rows[7]),
        eliminate(&rows[8], &rows[9]),
    ];
    real_roots(&determinant(&b), 50.0)
        .into_iter()
        .filter_map(|z| back_substitute(&b, z, &basis))
        .collect()
}

/// Four orthonormal 9-vectors (row-major matrices) that satisfy `x_b' E x_a = 0` for all pairs.
fn null_space(pairs: [&Pair; 5]) -> Option<[SVector<f64, 9>; 4]> {
    let mut found: Vec<SVector<f64, 9>> = Vec::with_capacity(9);
    for p in pairs {
        let (x, y, u, v) = (p.a.x, p.a.y, p.b.x, p.b.y);
        let row = SVector::<f64, 9>::from([u * x, u * y, u, v * x, v * y, v, x, y, 1.0]);
        found.push(orthogonal_part(&row, &found, 1e-7)?);
    }
    while found.len() < 9 {
        // Complete with the unit vector that is farthest from the span so far.
        let part = (0..9)
            .map(|i| {
                let mut unit = SVector::<f64, 9>::zeros();
                unit[i] = 1.0;
                found.iter().fold(unit, |u, f| u - f * f.dot(&unit))
            })
            .max_by(|a, b| a.norm_squared().total_cmp(&b.norm_squared()))?;
        found.push(orthogonal_part(&part, &found, 1e-9)?);
    }
    Some([
        *found.get(5)?,
        *found.get(6)?,
        *found.get(7)?,
        *found.get(8)?,
    ])
}

/// Gram-Schmidt with a second pass; `None` if nothing of `v` is left.
fn orthogonal_part(
    v: &SVector<f64, 9>,
    basis: &[SVector<f64, 9>],
    least: f64,
) -> Option<SVector<f64, 9>> {
    let norm = v.norm();
    let mut rest = *v;
    for _ in 0..2 {
        for f in basis {
            rest -= f * f.dot(&rest);
        }
    }
    (rest.norm() > least * norm).then(|| rest / rest.norm())
}

fn multiply(p: &Linear, q: &Linear) -> Quadratic {
    let mut out = [0.0; 10];
    for (i, row) in QUADRATIC.iter().enumerate() {
        for (j, k) in row.iter().enumerate() {
            out[*k] += p[i] * q[j];
        }
    }
    out
}

fn multiply_add(out: &mut Cubic, p: &Quadratic, q: &Linear, factor: f64) {
    for (i, row) in CUBIC.iter().enumerate() {
        for (j, k) in row.iter().enumerate() {
            out[*k] += factor * p[i] * q[j];
        }
    }
}

fn add(p: &Quadratic, q: &Quadratic, factor: f64) -> Quadratic {
    std::array::from_fn(|i| p[i] + factor * q[i])
}

/// The ten cubic constraints det E = 0 and 2 E E' E - trace(E E') E = 0, in reduced echelon form.
fn reduced_constraints(basis: &[SVector<f64, 9>; 4]) -> Option<Rows> {
    let e: [Linear; 9] = std::array::from_fn(|i| std::array::from_fn(|k| basis[k][i]));
    let mut eet = [[[0.0; 10]; 3]; 3];
    for (r, line) in eet.iter_mut().enumerate() {
        for (c, entry) in line.iter_mut().enumerate() {
            for k in 0..3 {
                *entry = add(entry, &multiply(&e[3 * r + k], &e[3 * c + k]), 1.0);
            }
        }
    }
    let trace = add(&add(&eet[0][0], &eet[1][1], 1.0), &eet[2][2], 1.0);
    for (i, line) in eet.iter_mut().enumerate() {
        line[i] = add(&line[i], &trace, -0.5);
    }
    let mut rows = [[0.0; 20]; 10];
    for r in 0..3 {
        for c in 0..3 {
            for k in 0..3 {
                multiply_add(&mut rows[3 * r + c], &eet[r][k], &e[3 * k + c], 1.0);
            }
        }
    }
    for (i, (j, k)) in [(1, 2), (2, 0), (0, 1)].into_iter().enumerate() {
        let minor = add(
            &multiply(&e[3 + j], &e[6 + k]),
            &multiply(&e[3 + k], &e[6 + j]),
            -1.0,
        );
        multiply_add(&mut rows[9], &minor, &e[i], 1.0);
    }
    echelon(rows)
}

type Rows = [Cubic; 10];

/// Gauss-Jordan elimination of the first ten columns with row pivoting.
fn echelon(mut rows: Rows) -> Option<Rows> {
    for c in 0..10 {
        let pivot = (c..10).max_by(|i, j| rows[*i][c].abs().total_cmp(&rows[*j][c].abs()))?;
        rows.swap(c, pivot);
        let lead = rows[c][c];
        if lead.abs() < 1e-14 {
            return None;
        }
        rows[c].iter_mut().for_each(|v| *v /= lead);
        let base = rows[c];
        for (r, row) in rows.iter_mut().enumerate() {
            let factor = row[c];
            if r != c && factor != 0.0 {
                row.iter_mut()
                    .zip(&base)
                    .for_each(|(v, b)| *v -= factor * b);
            }
        }
    }
    Some(rows)
}

/// One row of Nister's 3 x 3 matrix: polynomials in z (lowest power first) that multiply x, y, 1.
type PolyRow = [[f64; 5]; 3];

fn eliminate(with_z: &Cubic, without: &Cubic) -> PolyRow {
    let (c, d) = (with_z, without);
    let cubic = |i: usize| [c[i + 2], c[i + 1] - d[i + 2], c[i] - d[i + 1], -d[i], 0.0];
    [
        cubic(10),
        cubic(13),
        [c[19], c[18] - d[19], c[17] - d[18], c[16] - d[17], -d[16]],
    ]
}

fn determinant(b: &[PolyRow; 3]) -> Vec<f64> {
    let mut out = vec![0.0; 11];
    for (i, (j, k)) in [(1, 2), (2, 0), (0, 1)].into_iter().enumerate() {
        let mut minor = [0.0; 9];
        for (p, x) in b[1][j].iter().enumerate() {
            for (q, y) in b[2][k].iter().enumerate() {
                minor[p + q] += x * y;
            }
        }
        for (p, x) in b[1][k].iter().enumerate() {
            for (q, y) in b[2][j].iter().enumerate() {
                minor[p + q] -= x * y;
            }
        }
        for (p, x) in b[0][i].iter().enumerate() {
            for (q, y) in minor.iter().enumerate() {
                if let Some(o) = out.get_mut(p + q) {
                    *o += x * y;
                }
            }
        }
    }
    out
}

fn back_substitute(b: &[PolyRow; 3], z: f64, basis: &[SVector<f64, 9>; 4]) -> Option<Matrix3<f64>> {
    let at = |p: &[f64; 5]| p.iter().rev().fold(0.0, |s, c| s * z + c);
    let row = |i: usize| Vector3::new(at(&b[i][0]), at(&b[i][1]), at(&b[i][2]));
    let rows = [row(0), row(1), row(2)];
    let null = [(0, 1), (1, 2), (2, 0)]
        .into_iter()
        .map(|(i, j)| rows[i].cross(&rows[j]))
        .max_by(|a, b| a.norm_squared().total_cmp(&b.norm_squared()))?;
    if null.z.abs() < 1e-12 * null.norm() {
        return None;
    }
    let (x, y) = (null.x / null.z, null.y / null.z);
    let e = basis[0] * x + basis[1] * y + basis[2] * z + basis[3];
    let e = e / e.norm();
    e.iter()
        .all(|v| v.is_finite())
        .then(|| Matrix3::new(e[0], e[1], e[2], e[3], e[4], e[5], e[6], e[7], e[8]))
}

/// Squared Sampson distance of a pair to an essential matrix
/// (Hartley and Zisserman 2004, equation 11.9), bearing units squared.
pub(super) fn sampson(e: &Matrix3<f64>, p: &Pair) -> f64 {
    let (x, y, u, v) = (p.a.x, p.a.y, p.b.x, p.b.y);
    let l0 = e[(0, 0)] * x + e[(0, 1)] * y + e[(0, 2)];
    let l1 = e[(1, 0)] * x + e[(1, 1)] * y + e[(1, 2)];
    let l2 = e[(2, 0)] * x + e[(2, 1)] * y + e[(2, 2)];
    let m0 = e[(0, 0)] * u + e[(1, 0)] * v + e[(2, 0)];
    let m1 = e[(0, 1)] * u + e[(1, 1)] * v + e[(2, 1)];
    let value = u * l0 + v * l1 + l2;
    value * value / (l0 * l0 + l1 * l1 + m0 * m0 + m1 * m1).max(1e-18)
}

/// The four motions of an essential matrix with a unit translation
/// (Hartley and Zisserman 2004, result 9.19).
pub(super) fn motions(e: &Matrix3<f64>) -> Vec<Motion> {
    let svd = e.svd(true, true);
    let (Some(u), Some(vt)) = (svd.u, svd.v_t) else {
        return Vec::new();
    };
    let u = if u.determinant() < 0.0 { -u } else { u };
    let vt = if vt.determinant() < 0.0 { -vt } else { vt };
    // nalgebra orders singular values from large to small.
    let w = Matrix3::new(0.0, -1.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0, 1.0);
    let t: Vector3<f64> = u.column(2).into();
    let mut out = Vec::with_capacity(4);
    for rotation in [u * w * vt, u * w.transpose() * vt] {
        for translation in [t, -t] {
            out.push(Motion {
                rotation,
                translation,
            });
        }
    }
    out
}

/// Inverse depth of a pair in camera a, in units where the translation has its own length; `None`
/// without parallax or behind a camera.
pub(super) fn inverse_depth(motion: &Motion, p: &Pair) -> Option<f64> {
    let q = motion.rotation * Vector3::new(p.a.x, p.a.y, 1.0);
    let x = Vector3::new(p.b.x, p.b.y, 1.0);
    let (c, d) = (q.cross(&x), motion.translation.cross(&x));
    let rho = -c.dot(&d) / d.norm_squared();
    (rho.is_finite() && rho > 0.0 && q.z + rho * motion.translation.z > 0.0).then_some(rho)
}

#[cfg(test)]
mod tests {
    use nalgebra::{Matrix3, Vector2, Vector3};

    use super::{from_five, motions, sampson};
    use crate::measure::viewpoint::camera::{Pair, cross_matrix, rotation_angle, rotation_of};

    #[test]
    fn five_exact_points_give_back_the_motion() {
        let rotation = rotation_of(&Vector3::new(0.05, -0.2, 0.1));
        let translation = Vector3::new(0.6, -0.1, 0.3);
        let truth = cross_matrix(&translation) * rotation;
        let truth = truth / truth.norm();
        let pairs: Vec<Pair> = [
            [-0.4, -0.3, 2.0],
            [0.5, -0.2, 3.5],
            [0.1, 0.35, 2.7],
            [-0.25, 0.2, 4.5],
            [0.3, 0.05, 3.1],
        ]
        .iter()
        .map(|[x, y, depth]| {
            let p = rotation * Vector3::new(*x, *y, 1.0) * *depth + translation;
            let (a, b) = (Vector2::new(*x, *y), Vector2::new(p.x / p.z, p.y / p.z));
            Pair { a, b, odds: 0.0 }
        })
        .collect();
        let found = from_five([&pairs[0], &pairs[1], &pairs[2], &pairs[3], &pairs[4]]);
        let best = found
            .iter()
            .min_by(|x, y| {
                let error = |e: &Matrix3<f64>| (truth - e).norm().min((truth + e).norm());
                error(*x).total_cmp(&error(*y))
            })
            .unwrap();
        assert!(
            (truth - best).norm().min((truth + best).norm()) < 1e-6,
            "{found:?}"
        );
        assert!(pairs.iter().all(|p| sampson(best, p) < 1e-16));
        let nearest = motions(best)
            .iter()
            .map(|m| {
                rotation_angle(&(m.rotation * rotation.transpose()))
                    + (m.translation - translation.normalize()).norm()
            })
            .fold(f64::INFINITY, f64::min);
        assert!(nearest < 1e-5, "{nearest}");
    }
}
