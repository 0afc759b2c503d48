//! Pixels to bearings: intrinsics, correspondences and the motion between two cameras.
//!
//! Camera axes: +x right, +y down, +z forwards. A bearing is `[x, y, 1]` with
//! `x = (column - cx) / f` and `y = (row - cy) / f`; the principal point is the picture centre.

use nalgebra::{Matrix3, Vector2, Vector3};

use crate::measure::feature::Features;

/// Diagonal of the 36 mm x 24 mm frame that 35 mm equivalents refer to, millimetres.
const FULL_FRAME_DIAGONAL_MM: f64 = 43.266_615_305_567_87;

/// Equivalent focal length assumed when Exif does not tell, millimetres: the usual main camera of a
/// phone (common practice, no source).
const DEFAULT_FOCAL_35MM: f64 = 26.0;

/// Pinhole intrinsics of one working picture; square pixels, principal point at the centre.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Intrinsics {
    /// Focal length, working pixels.
    pub focal_px: f64,
    /// Width of the working picture, pixels.
    pub width: f64,
    /// Height of the working picture, pixels.
    pub height: f64,
    /// Whether the focal length comes from Exif rather than from the default.
    pub known: bool,
}

impl Intrinsics {
    /// Intrinsics of a working picture of `width` x `height` pixels; without a focal length the
    /// stated default (26 mm equivalent, diagonal rule) is used.
    #[must_use]
    pub fn new(width: u32, height: u32, focal_px: Option<f64>) -> Self {
        let (width, height) = (f64::from(width.max(1)), f64::from(height.max(1)));
        let diagonal = width.hypot(height);
        let usable = focal_px.filter(|f| f.is_finite() && *f > 0.1 * diagonal);
        Self {
            focal_px: usable.unwrap_or(DEFAULT_FOCAL_35MM / FULL_FRAME_DIAGONAL_MM * diagonal),
            width,
            height,
            known: usable.is_some(),
        }
    }

    /// Intrinsics of the picture the features come from.
    #[must_use]
    pub fn of(features: &Features) -> Self {
        Self::new(features.width, features.height, features.focal_px)
    }

    /// Bearing (x, y of `[x, y, 1]`) of a point in working pixels.
    #[must_use]
    pub fn bearing(&self, pixel: [f64; 2]) -> Vector2<f64> {
        Vector2::new(
            (pixel[0] - 0.5 * self.width) / self.focal_px,
            (pixel[1] - 0.5 * self.height) / self.focal_px,
        )
    }

    /// Working pixel of a bearing.
    #[must_use]
    pub fn pixel(&self, bearing: Vector2<f64>) -> [f64; 2] {
        [
            bearing.x * self.focal_px + 0.5 * self.width,
            bearing.y * self.focal_px + 0.5 * self.height,
        ]
    }

    /// Whether a working pixel lies in the frame.
    #[must_use]
    pub fn contains(&self, pixel: [f64; 2]) -> bool {
        (0.0..self.width).contains(&pixel[0]) && (0.0..self.height).contains(&pixel[1])
    }

    /// Focal length over the frame diagonal: comparable between pictures of different size.
    #[must_use]
    pub fn relative_focal(&self) -> f64 {
        self.focal_px / self.width.hypot(self.height)
    }

    /// The camera matrix K.
    #[must_use]
    pub fn matrix(&self) -> Matrix3<f64> {
        Matrix3::new(
            self.focal_px,
            0.0,
            0.5 * self.width,
            0.0,
            self.focal_px,
            0.5 * self.height,
            0.0,
            0.0,
            1.0,
        )
    }

    /// Area of the frame in bearing units.
    #[must_use]
    pub(super) fn bearing_area(&self) -> f64 {
        self.width * self.height / (self.focal_px * self.focal_px)
    }
}

/// One correspondence in working pixels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PixelMatch {
    /// Column and row in photo a.
    pub a: [f64; 2],
    /// Column and row in photo b.
    pub b: [f64; 2],
    /// Ratio of the best to the second best descriptor distance, 0..=1; smaller is more distinct.
    pub ratio: f64,
}

/// One correspondence as bearings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Pair {
    pub(super) a: Vector2<f64>,
    pub(super) b: Vector2<f64>,
    /// Natural logarithm of the prior odds of being right, from the match ratio.
    pub(super) odds: f64,
}

/// Motion from camera a to camera b: `X_b = rotation * X_a + translation`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Motion {
    /// Rotation from a's camera axes to b's.
    pub rotation: Matrix3<f64>,
    /// Translation in units of the scene's typical depth from a.
    pub translation: Vector3<f64>,
}

impl Motion {
    /// Camera b stands and points exactly as camera a.
    #[must_use]
    pub fn identity() -> Self {
        Self {
            rotation: Matrix3::identity(),
            translation: Vector3::zeros(),
        }
    }
}

/// Angle of a rotation matrix, radians: acos((trace R - 1) / 2), computed from the skew part where
/// the arc cosine loses digits.
#[must_use]
pub fn rotation_angle(rotation: &Matrix3<f64>) -> f64 {
    let skew = Vector3::new(
        rotation[(2, 1)] - rotation[(1, 2)],
        rotation[(0, 2)] - rotation[(2, 0)],
        rotation[(1, 0)] - rotation[(0, 1)],
    );
    (0.5 * skew.norm()).atan2(0.5 * (rotation.trace() - 1.0))
}

/// The matrix of the cross product with `v`.
pub(super) fn cross_matrix(v: &Vector3<f64>) -> Matrix3<f64> {
    Matrix3::new(0.0, -v.z, v.y, v.z, 0.0, -v.x, -v.y, v.x, 0.0)
}

/// Rotation by the vector `w` (axis times angle in radians; Rodrigues 1840).
pub(super) fn rotation_of(w: &Vector3<f64>) -> Matrix3<f64> {
    nalgebra::Rotation3::new(*w).into_inner()
}

/// Nearest rotation to a 3 x 3 matrix (Kabsch 1976), or `None` if there is none.
pub(super) fn nearest_rotation(m: &Matrix3<f64>) -> Option<Matrix3<f64>> {
    let svd = m.svd(true, true);
    let (u, vt) = (svd.u?, svd.v_t?);
    let sign = (u * vt).determinant().signum();
    let fix = Matrix3::from_diagonal(&Vector3::new(1.0, 1.0, sign));
    let rotation = u * fix * vt;
    rotation.iter().all(|v| v.is_finite()).then_some(rotation)
}
