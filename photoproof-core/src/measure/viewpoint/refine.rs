//! Maximum a-posteriori motion from correspondences, with one inverse depth each.
//!
//! One model serves turning on the spot, flat scenes and free motion: `x_b = pi(R x_a + rho t)`.
//! The inverse depth `rho` is measured where there is parallax; where there is none a broad prior
//! (mean 1, the typical depth, standard deviation [`INVERSE_DEPTH_SIGMA`]) keeps it bounded, so that
//! the rotation of a camera that hardly moved is as stable as that of one that only turned. The
//! inverse depths are eliminated by the Schur complement (Triggs et al. 2000, "Bundle adjustment: a
//! modern synthesis", section 6.1).

use nalgebra::{Matrix2x3, Matrix6, Vector2, Vector3, Vector6};

use super::camera::{Motion, Pair, cross_matrix, rotation_of};

/// Standard deviation of the inverse depth of scene points about the typical one (1).
pub(super) const INVERSE_DEPTH_SIGMA: f64 = 0.7;

/// Standard deviation of the camera's displacement in units of the typical depth; broad, it only
/// keeps the normal equations regular.
const TRANSLATION_SIGMA: f64 = 1.0;

/// Square of the residual, in standard deviations, at which the Cauchy weight is one half.
const CAUCHY: f64 = 4.0;

/// Square of the residual, in standard deviations, beyond which a correspondence is an outlier.
const CUT: f64 = 16.0;

/// Weight of the cost of a free inverse depth in the comparison of motions. Inverse depths are far
/// from independent (walls and floors), so that the full cost of one free number a match would
/// favour a camera that did not move.
const OCCAM: f64 = 0.04;

/// The same weight in the fit itself.
const OCCAM_FIT: f64 = 0.12;

/// Smallest inverse depth in units of the typical one.
const LEAST_INVERSE_DEPTH: f64 = 0.01;

/// How a motion explains one correspondence.
#[derive(Debug, Clone, Copy)]
pub(super) struct Explained {
    /// Inverse depth in camera a.
    pub(super) rho: f64,
    /// Variance of `rho`, prior included.
    pub(super) rho_variance: f64,
    /// Squared residual in standard deviations, prior included.
    pub(super) squared: f64,
    /// Length of the picture segment that the free inverse depth spans, in standard deviations.
    pub(super) stretch: f64,
}

/// Explains one correspondence by the best inverse depth; `None` behind a camera.
pub(super) fn explain(motion: &Motion, p: &Pair, sigma: f64) -> Option<Explained> {
    let q = motion.rotation * Vector3::new(p.a.x, p.a.y, 1.0);
    let t = motion.translation;
    let prior = 1.0 / (INVERSE_DEPTH_SIGMA * INVERSE_DEPTH_SIGMA);
    let offset = Vector2::new(q.x - p.b.x * q.z, q.y - p.b.y * q.z);
    let slope = Vector2::new(t.x - p.b.x * t.z, t.y - p.b.y * t.z);
    let (mut rho, mut information) = (1.0, prior);
    for _ in 0..2 {
        let depth = q.z + rho * t.z;
        if depth < 0.05 {
            return None;
        }
        let weight = 1.0 / (depth * depth * sigma * sigma);
        information = weight * slope.norm_squared() + prior;
        rho = ((prior - weight * slope.dot(&offset)) / information).max(LEAST_INVERSE_DEPTH);
    }
    let depth = q.z + rho * t.z;
    if depth < 0.05 {
        return None;
    }
    let residual = (offset + slope * rho) / (depth * sigma);
    let deviation = (rho - 1.0) / INVERSE_DEPTH_SIGMA;
    Some(Explained {
        rho,
        rho_variance: 1.0 / information,
        squared: residual.norm_squared() + deviation * deviation,
        stretch: INVERSE_DEPTH_SIGMA * slope.norm() / (depth * sigma),
    })
}

/// What a correspondence adds to the worth of a motion, at least 0: how far its robust misfit stays
/// below that of an outlier, weighted by the prior probability of being right, less a small charge
/// for the freedom of its inverse depth.
pub(super) fn gain(e: &Explained, p: &Pair) -> f64 {
    if e.squared >= CUT {
        return 0.0;
    }
    let limit = 0.5 * CAUCHY * (CUT / CAUCHY).ln_1p();
    let misfit = 0.5 * CAUCHY * (e.squared / CAUCHY).ln_1p();
    let freedom = OCCAM * 0.5 * (e.stretch * e.stretch).ln_1p();
    let right = 1.0 / (1.0 + (-1.0 - p.odds).exp());
    (right * (limit - misfit) - freedom).max(0.0)
}

/// Total gain of a motion over all pairs.
pub(super) fn total_gain(motion: &Motion, pairs: &[Pair], sigma: f64) -> f64 {
    pairs
        .iter()
        .filter_map(|p| explain(motion, p, sigma).map(|e| gain(&e, p)))
        .sum()
}

/// Whether a correspondence counts as an inlier.
pub(super) fn is_inlier(e: &Explained) -> bool {
    e.squared < CUT
}

/// The normal equations of the six motion parameters (rotation vector, translation).
struct Normal {
    information: Matrix6<f64>,
    gradient: Vector6<f64>,
    cost: f64,
    translation: Vector3<f64>,
}

/// Weight of a correspondence in the iteratively re-weighted fit.
fn weight(squared: f64) -> f64 {
    if squared < CUT {
        1.0 / (1.0 + squared / CAUCHY)
    } else {
        0.0
    }
}

fn normal_equations(motion: &Motion, pairs: &[Pair], sigma: f64) -> Normal {
    let mut normal = Normal {
        information: Matrix6::zeros(),
        gradient: Vector6::zeros(),
        cost: 0.0,
        translation: motion.translation,
    };
    let prior = 1.0 / (INVERSE_DEPTH_SIGMA * INVERSE_DEPTH_SIGMA);
    let t = motion.translation;
    for p in pairs {
        let Some(e) = explain(motion, p, sigma) else {
            normal.cost += 0.5 * CAUCHY * (CUT / CAUCHY).ln_1p();
            continue;
        };
        normal.cost += 0.5 * CAUCHY * (e.squared.min(CUT) / CAUCHY).ln_1p();
        let w = weight(e.squared);
        if w <= 0.0 {
            continue;
        }
        let q = motion.rotation * Vector3::new(p.a.x, p.a.y, 1.0);
        let x = q + t * e.rho;
        let (u, v) = (x.x / x.z, x.y / x.z);
        let scale = 1.0 / (x.z * sigma);
        let to_picture = Matrix2x3::new(scale, 0.0, -u * scale, 0.0, scale, -v * scale);
        let residual = Vector2::new(u - p.b.x, v - p.b.y) / sigma;
        let turn = -to_picture * cross_matrix(&q);
        let shift = to_picture * e.rho;
        let along = to_picture * t;
        let mut jacobian = nalgebra::Matrix2x6::<f64>::zeros();
        jacobian.fixed_columns_mut::<3>(0).copy_from(&turn);
        jacobian.fixed_columns_mut::<3>(3).copy_from(&shift);
        let depth_information = along.norm_squared() + prior;
        let depth_gradient = along.dot(&residual) + prior * (e.rho - 1.0);
        let mixed = jacobian.transpose() * along;
        normal.information +=
            (jacobian.transpose() * jacobian - mixed * mixed.transpose() / depth_information) * w;
        normal.gradient +=
            (jacobian.transpose() * residual - mixed * (depth_gradient / depth_information)) * w;
        charge_freedom(&mut normal, p, &e, x.z * sigma, w);
    }
    let regular = 1.0 / (TRANSLATION_SIGMA * TRANSLATION_SIGMA);
    for i in 0..3 {
        normal.information[(3 + i, 3 + i)] += regular;
        normal.gradient[3 + i] += regular * t[i];
    }
    normal.cost += 0.5 * regular * t.norm_squared();
    normal
}

/// Adds the charge for the freedom of an inverse depth, `OCCAM / 2 ln(1 + stretch^2)`, by its
/// quadratic majorant: without it the joint optimum over motion and depths prefers a camera that
/// moved a little, because free depths then soak up noise.
fn charge_freedom(normal: &mut Normal, p: &Pair, e: &Explained, scale: f64, w: f64) {
    let slope = Matrix2x3::new(1.0, 0.0, -p.b.x, 0.0, 1.0, -p.b.y) * (INVERSE_DEPTH_SIGMA / scale);
    let weight = OCCAM_FIT * w / (1.0 + e.stretch * e.stretch);
    let information = slope.transpose() * slope * weight;
    let mut block = normal.information.fixed_view_mut::<3, 3>(3, 3);
    block += information;
    let mut gradient = normal.gradient.fixed_rows_mut::<3>(3);
    gradient += information * normal.translation;
    normal.cost += OCCAM_FIT * 0.5 * (e.stretch * e.stretch).ln_1p() * w;
}

/// Levenberg-Marquardt descent from `start`; at most `iterations` evaluations.
pub(super) fn refine(start: &Motion, pairs: &[Pair], sigma: f64, iterations: usize) -> Motion {
    let mut best = *start;
    let mut normal = normal_equations(&best, pairs, sigma);
    let mut damping = 1e-3;
    for _ in 0..iterations {
        let mut system = normal.information;
        for i in 0..6 {
            system[(i, i)] += damping * system[(i, i)].max(1e-6);
        }
        let Some(factor) = system.cholesky() else {
            break;
        };
        let step = factor.solve(&(-normal.gradient));
        let tried = Motion {
            rotation: rotation_of(&step.fixed_rows::<3>(0).into()) * best.rotation,
            translation: best.translation + step.fixed_rows::<3>(3),
        };
        let next = normal_equations(&tried, pairs, sigma);
        if next.cost < normal.cost {
            let small = normal.cost - next.cost < 1e-6 * (1.0 + normal.cost);
            best = tried;
            normal = next;
            damping = (damping * 0.2).max(1e-7);
            if small {
                break;
            }
        } else {
            damping *= 10.0;
            if damping > 1e5 {
                break;
            }
        }
    }
    best
}

/// Covariance of the six motion parameters at a fitted motion.
pub(super) fn covariance(motion: &Motion, pairs: &[Pair], sigma: f64) -> Option<Matrix6<f64>> {
    normal_equations(motion, pairs, sigma)
        .information
        .try_inverse()
}

/// Standard deviation of one picture coordinate from the inliers' residuals: median absolute
/// deviation, each inlier having one or two degrees of freedom left after its inverse depth.
pub(super) fn noise(motion: &Motion, pairs: &[Pair], sigma: f64) -> Option<f64> {
    let mut squared: Vec<f64> = pairs
        .iter()
        .filter_map(|p| explain(motion, p, sigma))
        .filter(is_inlier)
        .map(|e| e.squared)
        .collect();
    let middle = squared.len() / 2;
    if squared.len() < 8 {
        return None;
    }
    let (_, median, _) = squared.select_nth_unstable_by(middle, f64::total_cmp);
    // Median of chi squared with 1.5 degrees of freedom, between 0.455 (one) and 1.386 (two).
    Some(sigma * (*median / 0.93).sqrt())
}
