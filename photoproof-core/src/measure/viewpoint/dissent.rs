//! What the most distinct matches say of a motion: how many agree, how many disagree, how well.
//!
//! Rooms built of the same parts in the same places differ in what stands a hand's breadth further: in
//! one of them the sink fits the motion, in the other the stove. Such parts still match each other, beside
//! their predicted places. In a true repeat hardly any distinct match does that; debris matches nothing.

use nalgebra::{Vector2, Vector3};

use super::camera::{Intrinsics, Motion};
use super::contradiction::cell_of;
use super::depth::DepthGrid;
use super::guided::{UNIT, squared_distance};
use crate::measure::coarse::{Marks, mark};
use crate::measure::feature::{Features, Keypoint, Match, overlay_suspects};

/// Largest ratio of the best to the second best descriptor distance of a distinct match.
const DISTINCT: f32 = 0.8;
/// Largest descriptor distance of a distinct match (root-normalised: 0..=sqrt 2).
const NEAR: f64 = 0.3;
/// Distance from the predicted place within which a match agrees, working pixels.
const AGREES: f64 = 3.0;
/// Distances from the predicted place between which it disagrees: beyond measuring errors, and near enough to be
/// the same kind of part rather than a chance likeness, working pixels.
const DISAGREES: std::ops::Range<f64> = 6.0..150.0;
/// Matches this near in both frames to a mark fixed to the frame are a mark's own: the digits of two date stamps
/// match each other all along the line. Working pixels.
const BESIDE_A_MARK: f32 = 120.0;
/// Inverse depths that are thought possible anywhere in the frame, as shares of that at its centre.
const DEPTHS: [f64; 2] = [0.1, 5.0];

/// What the most distinct matches say of a motion.
#[derive(Debug, Clone, Default)]
pub(super) struct Dissent {
    /// Distinct matches at their predicted places.
    pub(super) agreeing: u32,
    /// Distinct matches beside them.
    pub(super) against: u32,
    /// Median descriptor distance of the agreeing ones.
    pub(super) distance: f64,
    /// Median distance of the agreeing ones from their predicted places, working pixels.
    pub(super) error_px: f64,
    /// Cells over a's frame with matches beside their places: bit `column` of each row.
    pub(super) cells: Marks,
}

/// Asks the distinct ones of `matches`.
pub(super) fn dissent(
    features: [&Features; 2],
    matches: &[Match],
    cameras: &[Intrinsics; 2],
    motion: &Motion,
    depths: &DepthGrid,
) -> Dissent {
    let centre = depths.at(Vector2::zeros()).rho;
    let mut out = Dissent::default();
    let (mut distances, mut errors) = (Vec::new(), Vec::new());
    let marks = marks(features, matches);
    for m in matches.iter().filter(|m| m.ratio < DISTINCT) {
        let [Some(p), Some(q)] = [
            features[0].list.get(m.a as usize),
            features[1].list.get(m.b as usize),
        ] else {
            continue;
        };
        let distance = f64::from(squared_distance(&p.descriptor, &q.descriptor)).sqrt() / UNIT;
        if distance >= NEAR {
            continue;
        }
        let pixel = [f64::from(p.keypoint.x), f64::from(p.keypoint.y)];
        let seen = Vector2::new(f64::from(q.keypoint.x), f64::from(q.keypoint.y));
        let Some(error) = error(pixel, seen, cameras, motion, centre) else {
            continue;
        };
        if error < AGREES {
            out.agreeing += 1;
            distances.push(distance);
            errors.push(error);
        } else if DISAGREES.contains(&error) && !is_of_a_mark(&marks, [&p.keypoint, &q.keypoint]) {
            out.against += 1;
            mark(&mut out.cells, cell_of(pixel, &cameras[0]));
        }
    }
    out.distance = median(&mut distances);
    out.error_px = median(&mut errors);
    out
}

/// Places in both frames of matches that stay where they are, as a date stamp or a logo does.
fn marks([a, b]: [&Features; 2], matches: &[Match]) -> Vec<[[f32; 2]; 2]> {
    let suspects = overlay_suspects(a, b, matches);
    let fixed = matches.iter().zip(suspects).filter(|(_, fixed)| *fixed);
    fixed
        .filter_map(|(m, _)| {
            let p = &a.list.get(m.a as usize)?.keypoint;
            let q = &b.list.get(m.b as usize)?.keypoint;
            Some([[p.x, p.y], [q.x, q.y]])
        })
        .collect()
}

fn is_of_a_mark(marks: &[[[f32; 2]; 2]], ends: [&Keypoint; 2]) -> bool {
    marks.iter().any(|mark| {
        let mut both = mark.iter().zip(ends);
        both.all(|([x, y], end)| (x - end.x).hypot(y - end.y) < BESIDE_A_MARK)
    })
}

/// Distance of a place in b from where the motion puts a place of a at any possible depth, working pixels of b;
/// `None` if it puts it behind the camera.
fn error(
    pixel: [f64; 2],
    seen: Vector2<f64>,
    cameras: &[Intrinsics; 2],
    motion: &Motion,
    centre: f64,
) -> Option<f64> {
    let place = cameras[0].bearing(pixel);
    let ray = motion.rotation * Vector3::new(place.x, place.y, 1.0);
    // Nearest depth at which the place is still before the camera.
    let most = if motion.translation.z < 0.0 {
        (ray.z - 0.05) / -motion.translation.z
    } else {
        f64::INFINITY
    };
    let at = |rho: f64| {
        let x = ray + motion.translation * rho;
        let [column, row] = cameras[1].pixel(Vector2::new(x.x / x.z, x.y / x.z));
        (x.z >= 0.049).then(|| Vector2::new(column, row))
    };
    let [least, greatest] = DEPTHS.map(|share| (share * centre).min(most));
    let (from, to) = (at(least)?, at(greatest)?);
    let along = to - from;
    let share = (seen - from).dot(&along) / along.norm_squared().max(1e-9);
    Some((seen - from - along * share.clamp(0.0, 1.0)).norm())
}

fn median(values: &mut [f64]) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::feature::{DESCRIPTOR_LEN, Feature, Keypoint};
    use crate::measure::viewpoint::depth::DepthMap;

    const SIZE: (u32, u32) = (960, 720);

    fn features(places: impl Iterator<Item = (f32, f32)>) -> Features {
        let list = places.enumerate().map(|(i, (x, y))| Feature {
            keypoint: Keypoint {
                x,
                y,
                scale: 2.0,
                angle: 0.0,
                response: 0.05,
                bright: true,
            },
            // Each its own, the same in both photos.
            descriptor: std::array::from_fn(|k| ((i * 37 + k * 11) % 90) as u8),
        });
        Features {
            list: list.collect(),
            width: SIZE.0,
            height: SIZE.1,
            focal_px: Some(700.0),
        }
    }

    fn each_with_itself(count: u32) -> Vec<Match> {
        let one = |i| Match {
            a: i,
            b: i,
            ratio: 0.5,
        };
        (0..count).map(one).collect()
    }

    #[test]
    fn parts_beside_their_places_are_counted_and_shown() {
        assert_eq!(DESCRIPTOR_LEN, 128);
        let grid = || {
            (0..60).map(|i| {
                (
                    60.0 + 80.0 * (i % 12) as f32,
                    60.0 + 120.0 * (i / 12) as f32,
                )
            })
        };
        // The camera stays; all that is seen on the left of column 200 stands 40 pixels lower, one point anywhere.
        let moved = grid().enumerate().map(|(i, (x, y))| match i {
            59 => (20.0, 20.0),
            _ if x < 200.0 => (x, y + 40.0),
            _ => (x, y),
        });
        let (a, b) = (features(grid()), features(moved));
        let matches = each_with_itself(60);
        let cameras = [Intrinsics::of(&a), Intrinsics::of(&b)];
        let motion = Motion {
            rotation: nalgebra::Matrix3::identity(),
            translation: Vector3::zeros(),
        };
        let map = DepthMap::new(&motion, &[], 0.001, &cameras[0]);
        let depths = DepthGrid::new(&map, &cameras[0]);
        let said = dissent([&a, &b], &matches, &cameras, &motion, &depths);
        assert_eq!((said.agreeing, said.against), (49, 10));
        assert!(said.error_px < 0.01 && said.distance < 0.01);
        let columns = said.cells.iter().fold(0, |all, row| all | row);
        assert_eq!(columns, 0b11, "two columns of cells on the left");
        assert_eq!(said.cells.iter().filter(|row| **row != 0).count(), 5);
    }

    #[test]
    fn the_digits_of_a_burned_in_mark_are_not_asked() {
        // The picture moves by 30 pixels, six points in a corner stay.
        let grid = || (0..40).map(|i| (60.0 + 90.0 * (i % 8) as f32, 60.0 + 90.0 * (i / 8) as f32));
        let mark = || (0..6).map(|i| (700.0 + 20.0 * i as f32, 690.0));
        let moved = grid().map(|(x, y)| (x + 30.0, y)).chain(mark());
        let (a, b) = (features(grid().chain(mark())), features(moved));
        let matches = each_with_itself(46);
        let marks = marks([&a, &b], &matches);
        assert_eq!(marks.len(), 6);
        let end = |i: usize| &a.list[i].keypoint;
        assert!(is_of_a_mark(&marks, [end(40), end(45)]));
        assert!(!is_of_a_mark(&marks, [end(40), end(3)]));
        assert!(!is_of_a_mark(&marks, [end(3), end(4)]));
    }
}
