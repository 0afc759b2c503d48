//! How the camera of photo b stood and pointed compared with that of photo a.

//!
//! Matches -> bearings -> seeded consensus -> joint refinement -> depth, ratio, overlap, evidence.

mod camera;
mod chance;
mod consensus;
mod contradiction;
mod depth;
mod dissent;
mod essential;
mod estimate;
mod guided;
mod homography;
mod polynomial;
mod refine;
mod report;
mod surface;
mod verify;

#[cfg(test)]
mod tests;

use nalgebra::{Matrix3, Vector3};
use serde::{Deserialize, Serialize};

use crate::measure::change::{OtherSurfaces, SmallPicture};
use crate::measure::coarse;
use crate::measure::feature::{Features, Frame};
use crate::units::{Degrees, DistanceRatio, Ratio};

pub use camera::{Intrinsics, Motion, PixelMatch, rotation_angle};
pub use verify::between_matches;

/// Which geometric model explains the correspondences.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Model {
    /// Turning on the spot, or a flat scene (Hartley and Zisserman, section 13).
    Homography,
    /// A camera that moved in a scene with depth (Hartley and Zisserman, section 9.6).
    Essential,
}

/// How much the correspondences prove.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct Evidence {
    /// Keypoints in photo a and photo b.
    pub keypoints: [u32; 2],
    /// Mutual, ratio-tested matches.
    pub matches: u32,
    /// Matches that agree with the model.
    pub inliers: u32,
    /// Share of the cells of an 8 x 6 grid over each frame that hold an inlier, 0..=1.
    pub spread: [f64; 2],
    /// Base-10 logarithm of the expected number of chance models as good as this one; very negative
    /// means not chance (a contrario, Moisan and Stival 2004).
    pub log10_chance: f64,
    /// Matches at the same frame position in both photos that were set aside as a possible overlay
    /// (stamp, logo, border).
    pub overlay_matches: u32,
    /// Share of the features of a, in the part of its frame that b must show, that reappear in b at
    /// the predicted place, 0..=1; 0 before a motion is known. Debris and light lower it.
    pub reappearing: f64,
    /// Features of a that were looked for in b under the motion.
    pub looked_for: u32,
    /// Features of a that the search finds when it looks beside the predicted places: what likeness
    /// alone yields, as a share like `reappearing`.
    pub reappearing_by_chance: f64,
    /// Cells of a 12 x 9 grid over a's frame that both photos fill with detail.
    pub rich_cells: u32,
    /// Rich cells in which nothing agrees with the motion.
    pub silent_cells: u32,
    /// Distinct matches (clearly best, and near in descriptor) at their predicted places.
    pub distinct_agreeing: u32,
    /// Distinct matches beside their predicted places: a part that stands elsewhere.
    pub distinct_against: u32,
    /// Median descriptor distance of the distinct matches that agree, 0..=0.3.
    pub distinct_distance: f64,
    /// Median distance of the distinct matches that agree from their predicted places, working pixels.
    pub distinct_error_px: f64,
    /// Cells of a 12 x 9 grid over a's frame with distinct matches beside their places: a row each from the top,
    /// the lowest bit is the leftmost cell.
    pub against: [u16; 9],
}

impl Evidence {
    /// How consistently the whole picture supports the motion: the share of distinct matches that
    /// agree times the natural logarithm of how much more often features reappear at their predicted
    /// places than beside them. 0 = the motion explains nothing that likeness alone would not; `None`
    /// before the picture was searched under the motion.
    #[must_use]
    pub fn consistency(&self) -> Option<f64> {
        if self.looked_for == 0 || self.matches == 0 {
            return None;
        }
        // One find beside is assumed at least, so that a short search proves little.
        let by_chance = self
            .reappearing_by_chance
            .max(1.0 / f64::from(self.looked_for));
        let excess = (self.reappearing / by_chance).max(1.0).ln();
        Some(f64::from(self.inliers) / f64::from(self.matches) * excess)
    }

    /// Share of the distinct matches that lie beside their predicted places, 0..=1. Counted as if eight
    /// more had been seen, two of them beside, so that a handful proves little.
    #[must_use]
    pub fn against_share(&self) -> f64 {
        let seen = f64::from(self.distinct_agreeing) + f64::from(self.distinct_against);
        (f64::from(self.distinct_against) + 2.0) / (seen + 8.0)
    }

    /// The parts of a's frame with distinct matches beside their places: left, top, right and bottom edge as
    /// shares of its width and height, each a run of cells of one row.
    #[must_use]
    pub fn against_frames(&self) -> Vec<[f64; 4]> {
        coarse::frames(&self.against)
    }

    /// Share of the cells rich in detail in both photos in which nothing agrees, 0..=1.
    #[must_use]
    pub fn silent_share(&self) -> f64 {
        f64::from(self.silent_cells) / f64::from(self.rich_cells.max(1))
    }
}

/// Why no motion could be stated.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum Inconclusive {
    /// Too few keypoints on at least one side.
    TooFewKeypoints {
        /// Smaller of the two counts.
        found: u32,
        /// Needed on each side.
        needed: u32,
    },
    /// Some agreement, but not enough to exclude chance.
    WeakAgreement {
        /// Inliers found.
        found: u32,
        /// Inliers needed for this number of matches.
        needed: u32,
    },
    /// All agreement sits in a small part of the frame (an overlay would do that).
    SmallRegion {
        /// Share of grid cells with an inlier.
        spread_percent: u32,
        /// Needed share.
        needed_percent: u32,
    },
    /// Two motions explain the picture about equally well.
    Ambiguous,
}

/// Motion of camera b relative to camera a.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct ViewpointShift {
    /// Angle of the relative rotation.
    pub rotation: Degrees,
    /// Turn of b against a to the right, degrees (negative: to the left).
    pub turn_right: Degrees,
    /// Tilt of b against a upwards, degrees (negative: downwards).
    pub tilt_up: Degrees,
    /// Roll of b against a clockwise, degrees.
    pub roll_clockwise: Degrees,
    /// Distance of camera b over distance of camera a to the scene point at a's picture centre.
    pub distance_ratio: Option<DistanceRatio>,
    /// Unit direction of camera b's centre in a's frame (+x right, +y down, +z forwards) times its
    /// length as a share of the distance to the scene point at a's picture centre.
    pub translation: Option<[f64; 3]>,
    /// Standard uncertainty of `rotation`, degrees.
    pub rotation_sigma_deg: f64,
    /// Standard uncertainty of `distance_ratio` as a share of it.
    pub distance_ratio_sigma: Option<f64>,
    /// Share of a's frame seen in b.
    pub overlap: Ratio,
    /// Focal length of b over that of a in equal frame units (1 = no zoom).
    pub zoom: f64,
    /// Whether both focal lengths come from Exif.
    pub focal_known: bool,
    /// The model that was selected.
    pub model: Model,
    /// How much the correspondences prove.
    pub evidence: Evidence,
    /// Best plane-to-plane map from a's working pixels to b's, row major, for showing the pair aligned.
    pub alignment: [[f64; 3]; 3],
    /// Where surfaces of the one photo are others in the other; `None` where nobody looked.
    pub other_surfaces: Option<OtherSurfaces>,
}

impl ViewpointShift {
    /// Where a part of photo a lies in photo b, both given as left, top, right and bottom edge as shares of width and
    /// height, 0..=1; `None` where b does not show it. Exact for the plane that `alignment` follows, near for the rest.
    #[must_use]
    pub fn carried(
        &self,
        [left, top, right, bottom]: [f64; 4],
        a: Frame,
        b: Frame,
    ) -> Option<[f64; 4]> {
        let map = Matrix3::from_row_slice(self.alignment.as_flattened());
        let [mut low, mut high] = [[1.0_f64; 2], [0.0_f64; 2]];
        for [x, y] in [[left, top], [right, top], [right, bottom], [left, bottom]] {
            let at = map * Vector3::new(x * f64::from(a.width), y * f64::from(a.height), 1.0);
            if at.z <= 1e-9 {
                return None;
            }
            let place = [
                at.x / at.z / f64::from(b.width),
                at.y / at.z / f64::from(b.height),
            ];
            for ((low, high), share) in low.iter_mut().zip(&mut high).zip(place) {
                *low = low.min(share.clamp(0.0, 1.0));
                *high = high.max(share.clamp(0.0, 1.0));
            }
        }
        let is_seen = low.iter().zip(&high).all(|(low, high)| low < high);
        is_seen.then_some([low[0], low[1], high[0], high[1]])
    }
}

/// Outcome of comparing the viewpoints of two photos.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
#[allow(clippy::large_enum_variant)]
pub enum Viewpoint {
    /// The same structure is seen; the motion is measured.
    Shift(ViewpointShift),
    /// Both photos are rich in structure and share none of it.
    NoCommonStructure(Evidence),
    /// The pictures do not tell.
    Inconclusive(Inconclusive, Evidence),
}

impl Viewpoint {
    /// Compares the viewpoints of two photos by what is found in both.
    #[must_use]
    pub fn between(a: &Features, b: &Features) -> Self {
        verify::between_features(a, b)
    }

    /// Like [`between`](Self::between), and looks at the pictures laid over each other by the motion for surfaces that
    /// both cannot have in common.
    #[must_use]
    pub fn between_photos(features: [&Features; 2], pictures: [&SmallPicture; 2]) -> Self {
        let mut viewpoint = Self::between(features[0], features[1]);
        if let Viewpoint::Shift(shift) = &mut viewpoint {
            shift.other_surfaces = OtherSurfaces::between(pictures[0], pictures[1], shift);
        }
        viewpoint
    }

    /// The evidence behind the answer.
    #[must_use]
    pub fn evidence(&self) -> &Evidence {
        match self {
            Viewpoint::Shift(shift) => &shift.evidence,
            Viewpoint::NoCommonStructure(evidence) | Viewpoint::Inconclusive(_, evidence) => {
                evidence
            }
        }
    }
}
