//! Inverse depth over the frame of photo a, interpolated from the inliers, and what follows from it:
//! the distance ratio at the picture centre and the share of a's frame that b sees.
//!
//! The inverse depth of a plane is a linear function of the picture coordinates, so that a local
//! linear fit follows walls and floors exactly.

use nalgebra::{Matrix3, Vector2, Vector3};

use super::camera::{Intrinsics, Motion, Pair};
use super::refine::{explain, is_inlier};

/// Columns and rows of the grid on which the overlap is sampled.
const GRID: [usize; 2] = [16, 12];

/// Standard deviation of the inverse depth about a local plane: furniture, mouldings, debris.
const ROUGHNESS: f64 = 0.06;

/// One measured inverse depth.
#[derive(Debug, Clone, Copy)]
struct Sample {
    at: Vector2<f64>,
    rho: f64,
    variance: f64,
}

/// Inverse depth of the scene as seen from a.
#[derive(Debug, Clone)]
pub(super) struct DepthMap {
    samples: Vec<Sample>,
    /// Standard deviation of the distance weight, bearing units.
    reach: f64,
}

/// An interpolated inverse depth.
#[derive(Debug, Clone, Copy)]
pub(super) struct Depth {
    pub(super) rho: f64,
    pub(super) sigma: f64,
}

impl DepthMap {
    /// Collects the inverse depths of the inliers of `motion`.
    pub(super) fn new(motion: &Motion, pairs: &[Pair], sigma: f64, camera: &Intrinsics) -> Self {
        let samples = pairs
            .iter()
            .filter_map(|p| explain(motion, p, sigma).filter(is_inlier).map(|e| (p, e)))
            .map(|(p, e)| Sample {
                at: p.a,
                rho: e.rho,
                variance: e.rho_variance,
            })
            .collect();
        let reach = 0.15 * camera.width.hypot(camera.height) / camera.focal_px;
        Self { samples, reach }
    }

    /// Inverse depth at a bearing by a robust, locally weighted linear fit; 1 with a wide sigma where
    /// nothing is known.
    pub(super) fn at(&self, place: Vector2<f64>) -> Depth {
        let mut plane = Vector3::new(1.0, 0.0, 0.0);
        let mut sigma = 0.5;
        for pass in 0..4 {
            // Weak prior: typical depth, no slope beyond that of a floor or a side wall.
            let mut normal = Matrix3::from_diagonal(&Vector3::new(4.0, 0.7, 0.7));
            let mut right = Vector3::new(4.0, 0.0, 0.0);
            for s in &self.samples {
                let d = s.at - place;
                let near = (-0.5 * d.norm_squared() / (self.reach * self.reach)).exp();
                let variance = s.variance + ROUGHNESS * ROUGHNESS;
                let row = Vector3::new(1.0, d.x, d.y);
                let misfit = (s.rho - row.dot(&plane)).powi(2) / variance;
                let robust = if pass == 0 {
                    1.0
                } else {
                    1.0 / (1.0 + misfit / 2.0)
                };
                let w = (near + 1e-4) * robust / variance;
                normal += row * row.transpose() * w;
                right += row * (s.rho * w);
            }
            let Some(inverse) = normal.try_inverse() else {
                break;
            };
            plane = inverse * right;
            sigma = inverse[(0, 0)].max(0.0).sqrt();
        }
        Depth {
            rho: plane.x.clamp(0.02, 5.0),
            sigma,
        }
    }
}

/// Distance of camera b over distance of camera a to the scene point at a's picture centre, whose
/// inverse depth is `rho`: |R z + rho t|.
pub(super) fn distance_ratio(motion: &Motion, rho: f64) -> f64 {
    (motion.rotation * Vector3::z() + motion.translation * rho).norm()
}

/// Share of a's frame that lies in b's frame, 0..=1, over a 16 x 12 grid.
pub(super) fn overlap(motion: &Motion, depths: &DepthMap, cameras: &[Intrinsics; 2]) -> f64 {
    let mut seen = 0usize;
    for row in 0..GRID[1] {
        for column in 0..GRID[0] {
            let pixel = [
                (column as f64 + 0.5) / GRID[0] as f64 * cameras[0].width,
                (row as f64 + 0.5) / GRID[1] as f64 * cameras[0].height,
            ];
            let place = cameras[0].bearing(pixel);
            let rho = depths.at(place).rho;
            let x =
                motion.rotation * Vector3::new(place.x, place.y, 1.0) + motion.translation * rho;
            let inside = x.z > 0.02
                && cameras[1].contains(cameras[1].pixel(Vector2::new(x.x / x.z, x.y / x.z)));
            seen += usize::from(inside);
        }
    }
    seen as f64 / (GRID[0] * GRID[1]) as f64
}
