//! The measured motion in the terms of the public types.

use nalgebra::{Vector2, Vector3};

use super::camera::{Intrinsics, Motion, Pair, rotation_angle};
use super::consensus::inliers;
use super::depth::{DepthGrid, DepthMap, distance_ratio};
use super::refine::covariance;
use super::{Evidence, Model, ViewpointShift, homography};
use crate::units::{Degrees, DistanceRatio, Ratio};

/// Turns a motion and its pairs into angles, ratio, overlap and their uncertainties.
pub(super) fn shift(
    motion: &Motion,
    pairs: &[Pair],
    sigma: f64,
    cameras: &[Intrinsics; 2],
    evidence: Evidence,
) -> ViewpointShift {
    let depths = DepthMap::new(motion, pairs, sigma, &cameras[0]);
    let centre = depths.on_plane(Vector2::zeros());
    let ratio = distance_ratio(motion, centre.rho);
    let covariance = covariance(motion, pairs, sigma);
    let rotation_variance = covariance.map_or(0.0, |c| {
        c.fixed_view::<3, 3>(0, 0).symmetric_eigenvalues().max()
    });
    let direction = motion.rotation * Vector3::z() + motion.translation * centre.rho;
    let direction = direction / direction.norm().max(1e-9);
    let from_depth = direction.dot(&motion.translation) * centre.sigma;
    let from_motion = covariance.map_or(0.0, |c| {
        (direction.transpose() * c.fixed_view::<3, 3>(3, 3) * direction)[0] * centre.rho.powi(2)
    });
    // The axis of camera b seen from a tells turn and tilt; the rest is roll.
    let axis = motion.rotation.transpose() * Vector3::z();
    let right = motion.rotation.transpose() * Vector3::x();
    let camera_b = -(motion.rotation.transpose() * motion.translation) * centre.rho;
    let (model, alignment) = alignment(motion, pairs, sigma, cameras);
    ViewpointShift {
        rotation: Degrees::from_radians(rotation_angle(&motion.rotation)),
        turn_right: Degrees::from_radians(axis.x.atan2(axis.z)),
        tilt_up: Degrees::from_radians((-axis.y).atan2(axis.x.hypot(axis.z))),
        roll_clockwise: Degrees::from_radians(right.y.atan2(right.x.hypot(right.z))),
        distance_ratio: DistanceRatio::new(ratio),
        translation: Some([camera_b.x, camera_b.y, camera_b.z]),
        rotation_sigma_deg: rotation_variance.max(0.0).sqrt().to_degrees(),
        distance_ratio_sigma: Some((from_depth.powi(2) + from_motion.max(0.0)).sqrt() / ratio),
        overlap: Ratio::new(DepthGrid::new(&depths, &cameras[0]).overlap(motion, &cameras[1])),
        zoom: cameras[1].relative_focal() / cameras[0].relative_focal(),
        focal_known: cameras.iter().all(|c| c.known),
        model,
        evidence,
        alignment,
        other_surfaces: None,
    }
}

/// The least-squares homography over the inliers in working pixels, and whether it alone explains
/// them.
fn alignment(
    motion: &Motion,
    pairs: &[Pair],
    sigma: f64,
    cameras: &[Intrinsics; 2],
) -> (Model, [[f64; 3]; 3]) {
    let agreeing: Vec<Pair> = inliers(motion, pairs, sigma)
        .iter()
        .filter_map(|i| pairs.get(*i).copied())
        .collect();
    let cut = (3.0 * sigma).powi(2);
    let mut weights = vec![1.0; agreeing.len()];
    let mut h = motion.rotation;
    let mut flat = 0;
    for _ in 0..3 {
        h = homography::least_squares(&agreeing, &weights).unwrap_or(h);
        flat = 0;
        for (w, p) in weights.iter_mut().zip(&agreeing) {
            let d =
                homography::transfer(&h, &p.a).map_or(f64::INFINITY, |q| (q - p.b).norm_squared());
            *w = 1.0 / (1.0 + d / cut);
            flat += usize::from(d < 4.0 * cut);
        }
    }
    let model = if flat * 10 >= agreeing.len() * 9 {
        Model::Homography
    } else {
        Model::Essential
    };
    let to_pixels = cameras[1].matrix()
        * h
        * cameras[0]
            .matrix()
            .try_inverse()
            .unwrap_or_else(nalgebra::Matrix3::identity);
    let scale = to_pixels[(2, 2)];
    let scaled = if scale.abs() > 1e-12 {
        to_pixels / scale
    } else {
        to_pixels
    };
    (
        model,
        std::array::from_fn(|r| std::array::from_fn(|c| scaled[(r, c)])),
    )
}
