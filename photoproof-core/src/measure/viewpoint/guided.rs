//! Re-matching under a motion: each feature of a is compared only with the features of b near the
//! place where the motion puts it, so that likeness elsewhere in the picture cannot spoil a match.

use nalgebra::{Vector2, Vector3};

use super::camera::{Intrinsics, Motion, PixelMatch};
use super::depth::DepthGrid;
use crate::measure::feature::{Feature, Features};

/// Side of a search bucket, working pixels.
const BUCKET: f64 = 16.0;

/// Largest descriptor distance (root-normalised: 0..=sqrt 2) of a guided match.
const MAX_DISTANCE: f64 = 0.6;

/// Largest ratio of the best to the second best distance among the allowed features.
const MAX_RATIO: f64 = 0.8;

/// Quantised units of descriptor distance 1.
pub(super) const UNIT: f64 = 256.0;

/// Longest searched segment, working pixels.
const LONGEST: f64 = 120.0;

/// Largest mismatch of keypoint scales after the predicted change, natural logarithm.
const SCALE_TOLERANCE: f64 = 0.7;

/// Where a feature of a should be in b.
#[derive(Debug, Clone, Copy)]
struct Expected {
    from: Vector2<f64>,
    to: Vector2<f64>,
    scale: f64,
}

/// What the search looks for.
#[derive(Clone, Copy)]
pub(super) struct Guide<'g> {
    pub(super) motion: &'g Motion,
    pub(super) depths: &'g DepthGrid,
    pub(super) cameras: &'g [Intrinsics; 2],
    /// Tolerance across the predicted segment, working pixels.
    pub(super) reach: f64,
    /// Displacement of every prediction, working pixels: zero, or a control that should find nothing.
    pub(super) offset: [f64; 2],
}

impl Guide<'_> {
    /// Whether a feature of a should lie in b's frame.
    pub(super) fn is_in_frame(&self, feature: &Feature) -> bool {
        self.expected(feature).is_some_and(|e| {
            let middle = (e.from + e.to) * 0.5;
            self.cameras[1].contains([middle.x, middle.y])
        })
    }

    fn expected(&self, feature: &Feature) -> Option<Expected> {
        let k = &feature.keypoint;
        let place = self.cameras[0].bearing([f64::from(k.x), f64::from(k.y)]);
        let depth = self.depths.at(place);
        let spread = (0.15 * depth.rho).max(2.0 * depth.sigma);
        let ray = self.motion.rotation * Vector3::new(place.x, place.y, 1.0);
        let at = |rho: f64| {
            let x = ray + self.motion.translation * rho;
            let pixel = self.cameras[1].pixel(Vector2::new(x.x / x.z, x.y / x.z));
            (x.z > 0.05).then(|| Vector2::new(pixel[0] + self.offset[0], pixel[1] + self.offset[1]))
        };
        let (from, to) = (at((depth.rho - spread).max(0.02))?, at(depth.rho + spread)?);
        let z = (ray + self.motion.translation * depth.rho).z;
        let scale = self.cameras[1].focal_px / (self.cameras[0].focal_px * z);
        ((to - from).norm() < LONGEST).then_some(Expected { from, to, scale })
    }
}

/// Features of b by place.
struct Buckets {
    columns: usize,
    rows: usize,
    lists: Vec<Vec<u32>>,
}

impl Buckets {
    fn new(b: &Features) -> Self {
        let columns = (f64::from(b.width) / BUCKET).ceil().max(1.0) as usize;
        let rows = (f64::from(b.height) / BUCKET).ceil().max(1.0) as usize;
        let mut lists = vec![Vec::new(); columns * rows];
        for (i, f) in b.list.iter().enumerate() {
            let column = (f64::from(f.keypoint.x) / BUCKET) as usize;
            let row = (f64::from(f.keypoint.y) / BUCKET) as usize;
            if let Some(list) = lists.get_mut(row.min(rows - 1) * columns + column.min(columns - 1))
            {
                list.push(i as u32);
            }
        }
        Self {
            columns,
            rows,
            lists,
        }
    }

    fn near(&self, low: Vector2<f64>, high: Vector2<f64>) -> impl Iterator<Item = u32> + '_ {
        let index = |v: f64, n: usize| (v / BUCKET).clamp(0.0, n as f64) as usize;
        let columns =
            index(low.x, self.columns)..(index(high.x, self.columns) + 1).min(self.columns);
        (index(low.y, self.rows)..(index(high.y, self.rows) + 1).min(self.rows)).flat_map(
            move |row| {
                columns
                    .clone()
                    .filter_map(move |column| self.lists.get(row * self.columns + column))
                    .flatten()
                    .copied()
            },
        )
    }
}

/// A guided match by feature indices.
#[derive(Debug, Clone, Copy)]
pub(super) struct Guided {
    a: u32,
    b: u32,
    distance: u32,
    ratio: f64,
}

/// Matches the features of a with those of b near their predicted places, one to one.
pub(super) fn rematch(a: &Features, b: &Features, guide: &Guide) -> Vec<Guided> {
    let buckets = Buckets::new(b);
    let mut best: std::collections::BTreeMap<u32, Guided> = std::collections::BTreeMap::new();
    for (i, feature) in a.list.iter().enumerate() {
        let Some(found) = search(i as u32, feature, b, &buckets, guide) else {
            continue;
        };
        best.entry(found.b)
            .and_modify(|old| {
                if found.distance < old.distance {
                    *old = found;
                }
            })
            .or_insert(found);
    }
    best.into_values().collect()
}

fn search(
    index: u32,
    feature: &Feature,
    b: &Features,
    buckets: &Buckets,
    guide: &Guide,
) -> Option<Guided> {
    let expected = guide.expected(feature)?;
    let margin = Vector2::new(guide.reach, guide.reach);
    let low = expected.from.inf(&expected.to) - margin;
    let high = expected.from.sup(&expected.to) + margin;
    let (mut nearest, mut second) = (None::<(u32, u32, Vector2<f64>)>, u32::MAX);
    for j in buckets.near(low, high) {
        let Some(other) = b.list.get(j as usize) else {
            continue;
        };
        let Some(place) = allowed(feature, other, &expected, guide.reach) else {
            continue;
        };
        let d = squared_distance(&feature.descriptor, &other.descriptor);
        match nearest {
            Some((_, best, at)) if d >= best => {
                // The same detail found twice (two scales) is not a rival.
                if d < second && (place - at).norm_squared() > 9.0 {
                    second = d;
                }
            }
            Some((_, best, at)) => {
                if (place - at).norm_squared() > 9.0 {
                    second = best;
                }
                nearest = Some((j, d, place));
            }
            None => nearest = Some((j, d, place)),
        }
    }
    let (j, distance, _) = nearest?;
    let length = f64::from(distance).sqrt() / UNIT;
    let ratio = if second == u32::MAX {
        length
    } else {
        (f64::from(distance) / f64::from(second.max(1))).sqrt()
    };
    (length <= MAX_DISTANCE && ratio <= MAX_RATIO).then_some(Guided {
        a: index,
        b: j,
        distance,
        ratio: ratio.max(length),
    })
}

fn allowed(a: &Feature, b: &Feature, expected: &Expected, reach: f64) -> Option<Vector2<f64>> {
    if a.keypoint.bright != b.keypoint.bright {
        return None;
    }
    let place = Vector2::new(f64::from(b.keypoint.x), f64::from(b.keypoint.y));
    let along = expected.to - expected.from;
    let share = (place - expected.from).dot(&along) / along.norm_squared().max(1e-9);
    let nearest = expected.from + along * share.clamp(0.0, 1.0);
    if (place - nearest).norm_squared() > reach * reach {
        return None;
    }
    let change = f64::from(b.keypoint.scale) / (f64::from(a.keypoint.scale) * expected.scale);
    (change > 0.0 && change.ln().abs() < SCALE_TOLERANCE).then_some(place)
}

pub(super) fn squared_distance(a: &[u8], b: &[u8]) -> u32 {
    a.iter()
        .zip(b)
        .map(|(x, y)| {
            let d = i32::from(*x) - i32::from(*y);
            (d * d) as u32
        })
        .sum()
}

/// Guided matches in working pixels.
pub(super) fn pixel_matches(a: &Features, b: &Features, guided: &[Guided]) -> Vec<PixelMatch> {
    guided
        .iter()
        .filter_map(|g| {
            let (p, q) = (
                a.list.get(g.a as usize)?.keypoint,
                b.list.get(g.b as usize)?.keypoint,
            );
            Some(PixelMatch {
                a: [f64::from(p.x), f64::from(p.y)],
                b: [f64::from(q.x), f64::from(q.y)],
                ratio: g.ratio,
            })
        })
        .collect()
}
