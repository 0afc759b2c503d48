//! Mutual nearest neighbours with ratio test (Lowe 2004, section 7.1).

use pulp::Arch;

use super::{DESCRIPTOR_LEN, Feature, Features};

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

/// Squared descriptor distance of 1, in quantised units.
const UNIT: f32 = 65536.0;

/// Mutual nearest neighbours of `a` and `b` that pass the ratio test, most distinct first.
///
/// Bright blobs are compared with bright ones only, dark with dark.
#[must_use]
pub fn match_features(a: &Features, b: &Features, options: &MatchOptions) -> Vec<Match> {
    match_where(a, b, options, |_, _| true)
}

/// As [`match_features`], among the pairs that `allowed` accepts: re-matching under a model. The ratio
/// compares with the second best allowed one, so what a model excludes cannot spoil a match.
#[must_use]
pub fn match_guided(
    a: &Features,
    b: &Features,
    options: &MatchOptions,
    allowed: impl Fn(&Feature, &Feature) -> bool,
) -> Vec<Match> {
    match_where(a, b, options, |i, j| allowed(&a.list[i], &b.list[j]))
}

/// Nearest and second nearest of one feature.
#[derive(Clone, Copy)]
struct Nearest {
    best: u32,
    second: u32,
    index: u32,
}

impl Nearest {
    const NONE: Self = Self {
        best: u32::MAX,
        second: u32::MAX,
        index: u32::MAX,
    };

    #[inline(always)]
    fn offer(&mut self, distance: u32, index: u32) {
        if distance < self.best {
            self.second = self.best;
            self.best = distance;
            self.index = index;
        } else if distance < self.second {
            self.second = distance;
        }
    }

    fn ratio(&self) -> f32 {
        if self.second == u32::MAX {
            return 0.0;
        }
        if self.second == 0 {
            return 1.0;
        }
        (self.best as f32 / self.second as f32).sqrt()
    }
}

fn match_where(
    a: &Features,
    b: &Features,
    options: &MatchOptions,
    allowed: impl Fn(usize, usize) -> bool,
) -> Vec<Match> {
    let mut rows = vec![Nearest::NONE; a.list.len()];
    let mut columns = vec![Nearest::NONE; b.list.len()];
    Arch::new().dispatch(|| fill(a, b, &mut rows, &mut columns, &allowed));
    let limit = (options.max_distance * options.max_distance * UNIT) as u32;
    let mut matches: Vec<Match> = rows
        .iter()
        .enumerate()
        .filter_map(|(i, row)| {
            let column = columns.get(row.index as usize)?;
            let ratio = row.ratio().max(column.ratio());
            let keep = column.index as usize == i && row.best <= limit;
            (keep && ratio <= options.max_ratio).then_some(Match {
                a: i as u32,
                b: row.index,
                ratio,
            })
        })
        .collect();
    matches.sort_by(|m, n| m.ratio.total_cmp(&n.ratio).then(m.a.cmp(&n.a)));
    matches
}

#[inline(always)]
fn fill(
    a: &Features,
    b: &Features,
    rows: &mut [Nearest],
    columns: &mut [Nearest],
    allowed: &impl Fn(usize, usize) -> bool,
) {
    for (i, (feature, row)) in a.list.iter().zip(rows.iter_mut()).enumerate() {
        for (j, (other, column)) in b.list.iter().zip(columns.iter_mut()).enumerate() {
            if feature.keypoint.bright != other.keypoint.bright || !allowed(i, j) {
                continue;
            }
            let d = distance(&feature.descriptor, &other.descriptor);
            row.offer(d, j as u32);
            column.offer(d, i as u32);
        }
    }
}

/// Squared distance.
#[inline(always)]
fn distance(a: &[u8; DESCRIPTOR_LEN], b: &[u8; DESCRIPTOR_LEN]) -> u32 {
    let mut sum = 0_i32;
    for (x, y) in a.iter().zip(b) {
        let d = i16::from(*x) - i16::from(*y);
        sum += i32::from(d) * i32::from(d);
    }
    sum as u32
}
