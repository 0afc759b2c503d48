//! Inverse depth over the frame of photo a, interpolated from the inliers, and what follows from it:
//! the distance ratio at the picture centre and the share of a's frame that b sees.
//!
//! The inverse depth of a plane is a linear function of the picture coordinates, so that a local
//! linear fit follows walls and floors exactly. Scenery seen through a window lies far behind the
//! wall around it; the wall is what the camera's distance is measured to, so that points at less than
//! [`SEE_THROUGH`] of the inverse depth on three sides around them are left out.

use nalgebra::{Matrix3, Vector2, Vector3};

use super::camera::{Intrinsics, Motion, Pair};
use super::refine::{explain, is_inlier};
use super::surface::{Planes, VOTE_REACH};

/// Columns and rows of the grid on which depth and overlap are sampled.
const GRID: [usize; 2] = [12, 9];

/// Standard deviation of the inverse depth about a local plane: furniture, mouldings, debris.
const ROUGHNESS: f64 = 0.06;

/// Share of the inverse depth of the surroundings below which a place counts as seen through an
/// opening.
const SEE_THROUGH: f64 = 0.6;

/// Information of the prior of a local plane: its value and its slopes.
const PRIOR: Vector3<f64> = Vector3::new(4.0, 0.7, 0.7);

/// Distance within which the frame of an opening is looked for, in units of the weight's reach.
const FRAME_REACH: f64 = 2.5;

/// Standard deviation of the distance weight, share of the frame diagonal.
const REACH: f64 = 0.15;

/// One measured inverse depth.
#[derive(Debug, Clone, Copy)]
pub(super) struct Sample {
    pub(super) at: Vector2<f64>,
    pub(super) rho: f64,
    pub(super) variance: f64,
}

/// Inverse depth of the scene as seen from a.
#[derive(Debug, Clone)]
pub(super) struct DepthMap {
    samples: Vec<Sample>,
    /// Standard deviation of the distance weight, bearing units.
    reach: f64,
    /// Plane through all samples: inverse depth at the axis and its slopes.
    overall: Vector3<f64>,
}

/// Far points among near ones.
#[derive(Debug, Clone, Copy)]
struct Opening {
    /// Smallest inverse depth of the near points.
    edge: f64,
    /// Whether the near points lie in one plane on three of the four sides of the far ones: the wall around a window.
    is_framed: bool,
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
        let reach = REACH * camera.width.hypot(camera.height) / camera.focal_px;
        let mut map = Self {
            samples,
            reach,
            overall: Vector3::new(1.0, 0.0, 0.0),
        };
        map.overall = map.solve(Vector2::zeros(), |_| 1.0, 0.0, PRIOR).0;
        map
    }

    /// Inverse depth at a bearing by the planes of the scene; by the smooth fit where none is near.
    pub(super) fn on_plane(&self, place: Vector2<f64>) -> Depth {
        let opening = self.opening_at(place);
        let smooth = self.smooth(place, opening);
        let diagonal = self.reach / REACH;
        // What lies behind an opening has planes of its own, which are not meant.
        let edge = opening.filter(|o| o.is_framed).map_or(0.0, |o| o.edge);
        let wall: Vec<Sample> = self
            .samples
            .iter()
            .copied()
            .filter(|s| s.rho >= edge)
            .collect();
        let planes = Planes::find(&wall, diagonal);
        let seated = planes.at(place, &wall, VOTE_REACH * diagonal);
        let depth = seated.map_or(smooth, |s| Depth {
            rho: s.rho.clamp(0.02, 5.0),
            sigma: smooth.sigma.hypot(s.sigma),
        });
        // Near and far things without a frame between them: either may be meant.
        let other = opening
            .filter(|o| !o.is_framed)
            .map_or(0.0, |o| (self.fit(place, o.edge).rho - depth.rho) / 2.0);
        Depth {
            sigma: depth.sigma.hypot(other),
            ..depth
        }
    }

    /// Inverse depth at a bearing by a robust, locally weighted linear fit; 1 with a wide sigma where
    /// nothing is known.
    pub(super) fn at(&self, place: Vector2<f64>) -> Depth {
        self.smooth(place, self.opening_at(place))
    }

    fn smooth(&self, place: Vector2<f64>, opening: Option<Opening>) -> Depth {
        let seen = self.fit(place, 0.0);
        match opening {
            Some(opening) if opening.is_framed => {
                let wall = self.fit(place, opening.edge);
                if wall.rho > seen.rho { wall } else { seen }
            }
            _ => seen,
        }
    }

    /// The opening at `place`, if far points are seen there among near ones.
    fn opening_at(&self, place: Vector2<f64>) -> Option<Opening> {
        let reach = FRAME_REACH * self.reach;
        let mut around: Vec<(f64, Vector2<f64>)> = self
            .samples
            .iter()
            .filter(|s| s.variance < 0.1 * s.rho * s.rho)
            .map(|s| (s.rho, s.at - place))
            .filter(|(_, d)| d.norm() < reach)
            .collect();
        around.sort_by(|x, y| x.0.total_cmp(&y.0));
        let high = around.get(around.len() * 9 / 10)?.0;
        let edge = SEE_THROUGH * high;
        let first = around.partition_point(|(rho, _)| *rho < edge);
        let (far, near) = around.split_at_checked(first)?;
        let through = far.iter().filter(|(_, d)| d.norm() < self.reach).count();
        if far.len() * 5 < around.len() || through < 3 {
            return None;
        }
        let mut sides = [0usize; 4];
        for (_, d) in near {
            let side = match (d.x.abs() > d.y.abs(), d.x > 0.0, d.y > 0.0) {
                (true, right, _) => usize::from(right),
                (false, _, below) => 2 + usize::from(below),
            };
            sides[side] += 1;
        }
        let enclosed = sides.iter().filter(|n| **n >= 2).count() >= 3;
        let (plane, _) = self.solve(
            place,
            |d| f64::from(u8::from(d < reach * reach)),
            edge,
            PRIOR,
        );
        let flat = near
            .iter()
            .filter(|(rho, d)| (rho - plane.dot(&Vector3::new(1.0, d.x, d.y))).abs() < 0.12 * high);
        Some(Opening {
            edge,
            is_framed: enclosed && flat.count() * 5 >= near.len() * 4,
        })
    }

    /// The fit over the near samples with at least the inverse depth `least`.
    fn fit(&self, place: Vector2<f64>, least: f64) -> Depth {
        let reach = self.reach * self.reach;
        let nearness = |squared: f64| {
            if squared < 4.0 * reach {
                (-0.5 * squared / reach).exp()
            } else {
                0.0
            }
        };
        let (plane, sigma) = self.solve(place, nearness, least, PRIOR);
        Depth {
            rho: plane.x.clamp(0.02, 5.0),
            sigma,
        }
    }

    /// Robust weighted plane about `place`; the prior (information of value and slopes) is the plane
    /// through all samples.
    fn solve(
        &self,
        place: Vector2<f64>,
        nearness: impl Fn(f64) -> f64,
        least: f64,
        prior: Vector3<f64>,
    ) -> (Vector3<f64>, f64) {
        let row = Vector3::new(1.0, place.x, place.y);
        let expected = Vector3::new(self.overall.dot(&row), self.overall.y, self.overall.z);
        let near: Vec<(Vector3<f64>, f64, f64, f64)> = self
            .samples
            .iter()
            .filter(|s| s.rho >= least)
            .filter_map(|s| {
                let d = s.at - place;
                let w = nearness(d.norm_squared());
                let variance = s.variance + ROUGHNESS * ROUGHNESS;
                (w > 0.0).then(|| (Vector3::new(1.0, d.x, d.y), s.rho, w, variance))
            })
            .collect();
        let (mut plane, mut sigma) = (expected, 0.5);
        for pass in 0..3 {
            let mut normal = Matrix3::from_diagonal(&prior);
            let mut right = prior.component_mul(&expected);
            for (row, rho, near, variance) in &near {
                let misfit = (rho - row.dot(&plane)).powi(2) / variance;
                let robust = if pass == 0 {
                    1.0
                } else {
                    1.0 / (1.0 + misfit / 2.0)
                };
                let w = near * robust / variance;
                normal += row * row.transpose() * w;
                right += row * (rho * w);
            }
            let Some(inverse) = normal.try_inverse() else {
                break;
            };
            plane = inverse * right;
            sigma = inverse[(0, 0)].max(0.0).sqrt();
        }
        (plane, sigma)
    }
}

/// The depth map sampled on a grid over a's frame.
#[derive(Debug, Clone)]
pub(super) struct DepthGrid {
    cells: Vec<Depth>,
    camera: Intrinsics,
}

impl DepthGrid {
    pub(super) fn new(map: &DepthMap, camera: &Intrinsics) -> Self {
        let cells = (0..GRID[0] * GRID[1])
            .map(|i| map.at(camera.bearing(grid_pixel(i, camera))))
            .collect();
        Self {
            cells,
            camera: *camera,
        }
    }

    /// Depth of the grid cell that holds a bearing.
    pub(super) fn at(&self, place: Vector2<f64>) -> Depth {
        let pixel = self.camera.pixel(place);
        let index =
            |v: f64, size: f64, n: usize| ((v / size * n as f64).max(0.0) as usize).min(n - 1);
        let column = index(pixel[0], self.camera.width, GRID[0]);
        let row = index(pixel[1], self.camera.height, GRID[1]);
        self.cells
            .get(row * GRID[0] + column)
            .copied()
            .unwrap_or(Depth {
                rho: 1.0,
                sigma: 0.5,
            })
    }

    /// Share of a's frame that lies in b's frame, 0..=1.
    pub(super) fn overlap(&self, motion: &Motion, b: &Intrinsics) -> f64 {
        let seen = self.cells.iter().enumerate().filter(|(i, depth)| {
            let place = self.camera.bearing(grid_pixel(*i, &self.camera));
            let x = motion.rotation * Vector3::new(place.x, place.y, 1.0)
                + motion.translation * depth.rho;
            x.z > 0.02 && b.contains(b.pixel(Vector2::new(x.x / x.z, x.y / x.z)))
        });
        seen.count() as f64 / self.cells.len().max(1) as f64
    }
}

/// Centre of grid cell `index` in working pixels.
fn grid_pixel(index: usize, camera: &Intrinsics) -> [f64; 2] {
    let (column, row) = (index % GRID[0], index / GRID[0]);
    [
        (column as f64 + 0.5) / GRID[0] as f64 * camera.width,
        (row as f64 + 0.5) / GRID[1] as f64 * camera.height,
    ]
}

/// Distance of camera b over distance of camera a to the scene point at a's picture centre, whose
/// inverse depth is `rho`: |R z + rho t|.
pub(super) fn distance_ratio(motion: &Motion, rho: f64) -> f64 {
    (motion.rotation * Vector3::z() + motion.translation * rho).norm()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Scenery at inverse depth 0.2 within a frame of near points at `near`.
    fn scene(near: impl Fn(i32) -> f64) -> DepthMap {
        let mut samples = Vec::new();
        for row in -8i32..=8 {
            for column in -8i32..=8 {
                let is_far = row.abs() < 5 && column.abs() < 5;
                samples.push(Sample {
                    at: Vector2::new(f64::from(column), f64::from(row)) * 0.04,
                    rho: if is_far { 0.2 } else { near(row + column) },
                    variance: 1e-5,
                });
            }
        }
        DepthMap {
            samples,
            reach: REACH * 1.25,
            overall: Vector3::new(0.8, 0.0, 0.0),
        }
    }

    #[test]
    fn the_distance_to_a_window_is_that_of_the_wall_around_it() {
        let depth = scene(|_| 1.0).on_plane(Vector2::zeros());
        assert!((depth.rho - 1.0).abs() < 0.02, "{depth:?}");
        assert!(depth.sigma < 0.1, "{depth:?}");
    }

    #[test]
    fn far_things_among_near_ones_in_no_plane_leave_the_distance_open() {
        let furniture = |place: i32| [0.7, 1.0, 1.3][place.rem_euclid(3) as usize];
        let depth = scene(furniture).on_plane(Vector2::zeros());
        assert!(depth.sigma > 0.2, "{depth:?}");
    }
}
