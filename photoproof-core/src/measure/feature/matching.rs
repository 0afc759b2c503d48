//! Mutual nearest neighbours with ratio test (Lowe 2004, section 7.1).

use super::describe::UNIT_SQUARED;
use super::nearest::{Bar, MAX_DESCRIPTORS, Nearest, nearest};
use super::{DESCRIPTOR_LEN, Feature, Features, Keypoint};

/// One correspondence: indices into the lists of photo a and photo b.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Match {
    /// Index into the features of photo a.
    pub a: u32,
    /// Index into the features of photo b.
    pub b: u32,
    /// Ratio of the best to the second best descriptor distance, 0..=1; smaller is more distinct.
    /// The larger of the two directions.
    pub ratio: f32,
}

/// Tuning of the matching.
#[derive(Debug, Clone, PartialEq)]
pub struct MatchOptions {
    /// Largest ratio of the best to the second best distance, 0..=1; 1 keeps every mutual match.
    pub max_ratio: f32,
    /// Largest distance of matched descriptors (root-normalised: 0..=sqrt 2).
    pub max_distance: f32,
}

impl Default for MatchOptions {
    fn default() -> Self {
        Self {
            max_ratio: 0.85,
            max_distance: 0.8,
        }
    }
}

/// Mutual nearest neighbours of `a` and `b` that pass the ratio test, most distinct first.
///
/// Bright blobs are compared with bright ones only, dark with dark. Swapping `a` and `b` gives the
/// same matches, swapped.
#[must_use]
pub fn match_features(a: &Features, b: &Features, options: &MatchOptions) -> Vec<Match> {
    match_where(a, b, options, None)
}

/// As [`match_features`], among the pairs that `allowed` accepts: re-matching under a model. The ratio
/// compares with the second best allowed one, so what a model excludes cannot spoil a match.
#[must_use]
pub fn match_guided(
    a: &Features,
    b: &Features,
    options: &MatchOptions,
    allowed: &dyn Fn(&Keypoint, &Keypoint) -> bool,
) -> Vec<Match> {
    match_where(a, b, options, Some(allowed))
}

type Allowed<'a> = Option<&'a dyn Fn(&Keypoint, &Keypoint) -> bool>;

fn match_where(a: &Features, b: &Features, options: &MatchOptions, allowed: Allowed) -> Vec<Match> {
    let mut matches = Vec::new();
    for bright in [false, true] {
        let (side_a, side_b) = (Side::new(a, bright), Side::new(b, bright));
        let bar = |i: usize, flags: &mut [u32]| {
            let (Some(p), Some(test)) = (side_a.keypoint(i), allowed) else {
                return;
            };
            for (flag, q) in flags.iter_mut().zip(side_b.keypoints()) {
                *flag = if test(p, q) { 0 } else { u32::MAX };
            }
        };
        let barred: Option<Bar> = allowed.is_some().then_some(&bar);
        let (rows, columns) = nearest(&side_a.descriptors(), &side_b.descriptors(), barred);
        let found = mutual(&rows, &columns, options);
        matches.extend(found.map(|(i, j, ratio)| Match {
            a: side_a.indices[i],
            b: side_b.indices[j],
            ratio,
        }));
    }
    matches.sort_by(|m, n| {
        let by_a = m.a.cmp(&n.a).then(m.b.cmp(&n.b));
        m.ratio.total_cmp(&n.ratio).then(by_a)
    });
    matches
}

/// The bright or the dark features of a photo.
struct Side<'a> {
    list: &'a [Feature],
    indices: Vec<u32>,
}

impl<'a> Side<'a> {
    fn new(features: &'a Features, bright: bool) -> Self {
        let list = &features.list;
        let all = list.iter().zip(0_u32..);
        let kept = all.filter(|(f, _)| f.keypoint.bright == bright);
        Self {
            list,
            indices: kept.map(|(_, i)| i).take(MAX_DESCRIPTORS).collect(),
        }
    }

    fn keypoint(&self, i: usize) -> Option<&'a Keypoint> {
        self.indices
            .get(i)
            .map(|&k| &self.list[k as usize].keypoint)
    }

    fn keypoints(&self) -> impl Iterator<Item = &'a Keypoint> {
        self.indices
            .iter()
            .map(|&k| &self.list[k as usize].keypoint)
    }

    fn descriptors(&self) -> Vec<&'a [u8; DESCRIPTOR_LEN]> {
        let chosen = self.indices.iter();
        chosen.map(|&k| &self.list[k as usize].descriptor).collect()
    }
}

/// Mutual nearest neighbours within the limits of `options`: index in a, index in b, ratio.
fn mutual(
    rows: &[Nearest],
    columns: &[Nearest],
    options: &MatchOptions,
) -> impl Iterator<Item = (usize, usize, f32)> {
    let limit = options.max_distance * options.max_distance * UNIT_SQUARED;
    rows.iter().enumerate().filter_map(move |(i, row)| {
        let (distance, j) = row.best?;
        let column = columns.get(j)?;
        let back = column.best?.1;
        let ratio = ratio(row, limit)?.max(ratio(column, limit)?);
        let keep = back == i && distance as f32 <= limit && ratio <= options.max_ratio;
        keep.then_some((i, j, ratio))
    })
}

/// Ratio of best to second best distance; where there is no second, `limit` stands in for it.
fn ratio(nearest: &Nearest, limit: f32) -> Option<f32> {
    let best = nearest.best?.0 as f32;
    let second = nearest.second.map_or(limit, |s| s as f32);
    Some(if second > best {
        (best / second).sqrt()
    } else {
        1.0
    })
}
