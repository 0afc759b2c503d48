//! Binary signatures of descriptors: what the ledger keeps of keypoints, and how they confirm a lead.

use super::align::{self, PointPair};
use super::{CopyKind, CopyMeasure, turn_name};
use crate::measure::PhotoMeasures;
use crate::measure::feature::{DESCRIPTOR_LEN, Feature, Features, Turn};

/// Bits that two signatures of the same keypoint may differ in; unrelated ones differ in about 31.
const MAX_BITS: u32 = 13;
/// Keypoints of the asked photo that are compared.
const ASKED: usize = 900;
/// Inliers that confirm a copy.
const MIN_INLIERS: usize = 12;
/// Share of the matches that must follow one map.
const MIN_SHARE: f64 = 0.5;
/// Cells of a 4 x 4 grid over the kept frame that inliers must reach: an overlay alone does not.
const MIN_CELLS: usize = 5;

/// A keypoint position in working pixels with a 63-bit signature; the top bit tells bright from dark.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct PlacedSignature {
    pub(crate) x: f64,
    pub(crate) y: f64,
    pub(crate) signature: u64,
}

/// Which sums of descriptor values a signature compares; fixed for good, because ledgers keep the result.
fn tests() -> [[u8; 4]; 63] {
    let mut state = 0x2545_F491_4F6C_DD1D_u64;
    let mut draw = || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        (state >> 32) as u8 % DESCRIPTOR_LEN as u8
    };
    [(); 63].map(|()| [draw(), draw(), draw(), draw()])
}

fn signature(feature: &Feature, tests: &[[u8; 4]; 63]) -> u64 {
    let value = |i: u8| u16::from(feature.descriptor.get(usize::from(i)).copied().unwrap_or(0));
    let bits = tests.iter().fold(0u64, |bits, [a, b, c, d]| {
        bits << 1 | u64::from(value(*a) + value(*b) > value(*c) + value(*d))
    });
    bits | u64::from(feature.keypoint.bright) << 63
}

/// Signatures of the `count` strongest features.
pub(crate) fn placed_signatures(features: &Features, count: usize) -> Vec<PlacedSignature> {
    let tests = tests();
    let strongest = features.list.iter().take(count);
    strongest
        .map(|f| PlacedSignature {
            x: f64::from(f.keypoint.x),
            y: f64::from(f.keypoint.y),
            signature: signature(f, &tests),
        })
        .collect()
}

/// Confirms that `asked`, laid as turn number `turn`, shows the picture that `kept` (with the size of its
/// working picture) was taken from. Says nothing about single blocks: the pixels are gone.
pub(crate) fn confirm(
    (kept, size): (&[PlacedSignature], [f64; 2]),
    asked: &PhotoMeasures,
    turn: usize,
) -> Option<CopyMeasure> {
    let turn = *Turn::ALL.get(turn)?;
    let strongest = Features {
        list: asked.features.list.iter().take(ASKED).cloned().collect(),
        ..asked.features
    };
    let turned = strongest.turned(turn);
    let pairs = matched(kept, &placed_signatures(&turned, ASKED));
    let long = f64::from(turned.width.max(turned.height));
    let found = align::align(&pairs, long)?;
    let share = found.inliers as f64 / pairs.len().max(1) as f64;
    let cells = reached(&pairs, &found.map, (size, long));
    if found.inliers < MIN_INLIERS || share < MIN_SHARE || cells < MIN_CELLS {
        return None;
    }
    let turned_size = [f64::from(turned.width), f64::from(turned.height)];
    let full = asked.fingerprint.full_size.map(f64::from);
    let pose = align::pose(&found.map, size);
    let seen = align::seen(&found.map, size, turned_size);
    let back = found.map.try_inverse()?;
    Some(CopyMeasure {
        kind: CopyKind::Edited,
        transform: turn_name(inverse(turn)),
        crop: seen,
        filled: align::seen(&back, turned_size, size),
        resized: pose.scale * full[0].max(full[1]) / long.max(1.0),
        turned_deg: pose.degrees,
        recoloured: 0.0,
        overlaid: 0.0,
        confidence: share.clamp(0.0, 1.0),
    })
}

/// The turn that undoes `turn`.
fn inverse(turn: Turn) -> Turn {
    // A mirrored turn undoes itself.
    let quarters = if turn.mirrored {
        turn.quarters
    } else {
        (4 - turn.quarters % 4) % 4
    };
    Turn {
        mirrored: turn.mirrored,
        quarters,
    }
}

/// Mutual nearest signatures, nearest first.
fn matched(kept: &[PlacedSignature], asked: &[PlacedSignature]) -> Vec<PointPair> {
    let nearest = |from: &PlacedSignature, to: &[PlacedSignature]| {
        to.iter()
            .enumerate()
            .map(|(i, p)| ((p.signature ^ from.signature).count_ones(), i))
            .min()
    };
    let mut pairs: Vec<(u32, PointPair)> = kept
        .iter()
        .enumerate()
        .filter_map(|(i, k)| {
            let (bits, j) = nearest(k, asked)?;
            let a = asked.get(j)?;
            let (_, back) = nearest(a, kept)?;
            (bits <= MAX_BITS && back == i).then_some((
                bits,
                PointPair {
                    a: [k.x, k.y],
                    b: [a.x, a.y],
                },
            ))
        })
        .collect();
    pairs.sort_by_key(|(bits, _)| *bits);
    pairs.into_iter().map(|(_, pair)| pair).collect()
}

/// Cells of a 4 x 4 grid over the kept frame that hold an inlier.
fn reached(pairs: &[PointPair], map: &align::Map, (size, long): ([f64; 2], f64)) -> usize {
    let mut cells = [false; 16];
    for pair in pairs {
        let near = align::apply(map, pair.a)
            .is_some_and(|[x, y]| (x - pair.b[0]).hypot(y - pair.b[1]) < 0.004 * long);
        let column = (pair.a[0] / size[0].max(1.0) * 4.0).clamp(0.0, 3.0) as usize;
        let row = (pair.a[1] / size[1].max(1.0) * 4.0).clamp(0.0, 3.0) as usize;
        if let (true, Some(cell)) = (near, cells.get_mut(row * 4 + column)) {
            *cell = true;
        }
    }
    cells.iter().filter(|c| **c).count()
}
