//! Binary signatures of descriptors: what the ledger keeps of keypoints, and how they confirm a lead.

use super::align::{self, Map, PointPair};
use super::{CopyKind, CopyMeasure, MIN_COVER, frame, sides, turn_name};
use crate::measure::PhotoMeasures;
use crate::measure::feature::{DESCRIPTOR_LEN, Feature, Features, Turn};
use crate::measure::plane::Plane;

/// Bits that two signatures of the same keypoint may differ in; unrelated ones differ in about 31.
const MAX_BITS: u32 = 13;
/// Keypoints of the asked photo that are compared.
const ASKED: usize = 900;
/// Inliers that confirm a copy.
const MIN_INLIERS: usize = 12;
/// Share of the matches that must follow one map. Crops to half the area measured 0.22 and more, other copies 0.27.
const MIN_SHARE: f64 = 0.2;
/// Share of the kept keypoints inside the asked frame that must be there again: a copy shows everything, a later photo
/// of the same view shows what has stayed. Copies measured 0.24 and more, photos of one view or room up to 0.27.
const MIN_REFOUND: f64 = 0.24;
/// The product of the two where nobody can be sure, and where one can. Copies measured 0.06 and more, mostly 0.3 to 0.9,
/// other photos of one view up to 0.14.
const MIN_AGREEMENT: f64 = 0.07;
const SURE_AGREEMENT: f64 = 0.14;
/// Bend of a map that no cropping, turning or framing makes: those measured 0.002 at most, screens 0.0005 to 0.014, other
/// standpoints and directions mostly 0.004 to 0.05. Then the kept picture must end at edges in the asked one, as on a
/// screen ...
const BENT: f64 = 0.0025;
/// ... or, if it is shown in part, agree so well that nobody can be sure; parts of another view measured up to 0.275.
const MIN_AGREEMENT_BENT: f64 = 0.3;
/// Distance within which a kept keypoint is there again, working pixels, and bits of its signature that may differ.
const REFOUND_WITHIN: f64 = 1.5;
const REFOUND_BITS: u32 = 22;
/// Keypoints of a cell that is rich, and the share of them below which it is quiet.
const RICH: u32 = 4;
const QUIET: f64 = 0.15;
/// Share of quiet cells above which it is no copy, and above which nobody can be sure: something stands there that was
/// not there before. Of 600 crops, screens and pages two measured more than 0.3 (0.43 at most). Of copies that agree
/// little none was more than 0.2, other photos mostly 0.3 to 0.7.
const MAX_QUIET: f64 = 0.45;
const SURE_QUIET: f64 = 0.3;
const MAX_QUIET_UNSURE: f64 = 0.2;
/// Median error of the inliers, working pixels, above which a picture of the same frame may be a second exposure from the
/// hand: those measured 0.64 in the middle, copies of whole frames 0.51 at most.
const HAND_HELD: f64 = 0.55;
/// Distance of an inlier from its place, as a share of the long side.
const INLIER: f64 = 0.004;
/// Working pixels along the edge of the asked frame where keypoints are not expected again.
const EDGE: f64 = 8.0;
/// Cells of a 4 x 4 grid over the kept frame that inliers must reach: an overlay alone does not.
const MIN_CELLS: usize = 5;

/// Bits of a signature that make its word: bright or dark, and the tests that are most often undecided over rooms.
const WORD_BITS: u64 = 0xcc77_383e_db47_0605;
/// Keypoints of the asked photo that ask by words, strongest first.
const ASKING: usize = 400;

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

/// Signature, and by how much each of its tests was decided, from the first test on.
fn decided(feature: &Feature, tests: &[[u8; 4]; 63]) -> (u64, [u16; 63]) {
    let value = |i: u8| i16::from(feature.descriptor.get(usize::from(i)).copied().unwrap_or(0));
    let excess = tests.map(|[a, b, c, d]| value(a) + value(b) - value(c) - value(d));
    let bits = excess
        .iter()
        .fold(0u64, |bits, excess| bits << 1 | u64::from(*excess > 0));
    // A tie is no: it is as near to yes as an excess of one is to no.
    let margins = excess.map(|excess| (2 * excess - 1).unsigned_abs());
    (bits | u64::from(feature.keypoint.bright) << 63, margins)
}

/// Signatures of the `count` strongest features.
pub(crate) fn placed_signatures(features: &Features, count: usize) -> Vec<PlacedSignature> {
    let tests = tests();
    let strongest = features.list.iter().take(count);
    strongest
        .map(|f| PlacedSignature {
            x: f64::from(f.keypoint.x),
            y: f64::from(f.keypoint.y),
            signature: decided(f, &tests).0,
        })
        .collect()
}

/// The word of a signature: half of its bits, close together. Equal keypoints mostly have equal words, others
/// hardly ever.
pub(crate) fn word_of(signature: u64) -> u32 {
    (0..64)
        .rev()
        .filter(|bit| WORD_BITS >> bit & 1 == 1)
        .fold(0, |word, bit| word << 1 | (signature >> bit & 1) as u32)
}

/// The words of a photo by the turn in which it is laid.
pub(crate) type TurnedWords = [Vec<u32>; Turn::ALL.len()];

/// The words by which `features` ask when laid as each turn, sorted, each once: of every keypoint its own and those in
/// which the least decided tests, one of four or the first with one of the next two, went the other way.
pub(crate) fn asked_words(features: &Features) -> TurnedWords {
    let tests = tests();
    let strongest = features.strongest(ASKING);
    Turn::ALL.map(|turn| {
        let turned = strongest.turned(turn).list;
        let mut words: Vec<u32> = turned.iter().flat_map(|f| words_near(f, &tests)).collect();
        words.sort_unstable();
        words.dedup();
        words
    })
}

/// The word of a keypoint, and those in which the least decided tests went the other way.
fn words_near(feature: &Feature, tests: &[[u8; 4]; 63]) -> [u32; 7] {
    let (signature, margins) = decided(feature, tests);
    let chosen = (0..63).rev().zip(margins);
    let chosen = chosen.filter(|(bit, _)| WORD_BITS >> bit & 1 == 1);
    // Margins with the word's own bits, which lie below the one for bright or dark.
    let mut bits: Vec<(u16, u32)> = chosen
        .map(|(_, margin)| margin)
        .zip((0..31).rev())
        .collect();
    bits.sort_unstable();
    let flip = |i: usize| bits.get(i).map_or(0, |(_, bit)| 1 << bit);
    let [a, b, c, d] = [0, 1, 2, 3].map(flip);
    [0, a, b, c, d, a | b, a | c].map(|flips| word_of(signature) ^ flips)
}

/// An asked photo laid as one of the eight turns.
pub(crate) struct Laid {
    turn: Turn,
    signatures: Vec<PlacedSignature>,
    size: [f64; 2],
    full: [f64; 2],
    thumbnail: Plane,
    /// From working pixels as laid to samples of the thumbnail.
    to_thumbnail: Map,
}

impl Laid {
    /// Lays `asked` as turn number `turn`; `None` if there is no such turn.
    pub(crate) fn new(asked: &PhotoMeasures, turn: usize) -> Option<Self> {
        let turn = *Turn::ALL.get(turn)?;
        let upright = [asked.features.width, asked.features.height].map(f64::from);
        let turned = asked.features.strongest(ASKED).turned(turn);
        let thumbnail = Plane::from_gray(&asked.small.luma);
        let raised = align::turn_map(turn, upright).try_inverse()?;
        Some(Self {
            to_thumbnail: align::scale_map(upright, sides(&thumbnail)) * raised,
            thumbnail,
            turn,
            signatures: placed_signatures(&turned, ASKED),
            size: [f64::from(turned.width), f64::from(turned.height)],
            full: asked.facts.fingerprint.full_size.map(f64::from),
        })
    }
}

/// Confirms that `asked` shows the picture that `kept` (with the size of its working picture) was taken from. Says
/// nothing about single blocks: the pixels are gone.
pub(crate) fn confirm(
    (kept, size): (&[PlacedSignature], [f64; 2]),
    asked: &Laid,
) -> Option<CopyMeasure> {
    let pairs = matched(kept, &asked.signatures);
    let long = asked.size[0].max(asked.size[1]);
    let found = align::align(&pairs, long)?;
    let share = found.inliers as f64 / pairs.len().max(1) as f64;
    let cells = reached(&pairs, &found.map, (size, long));
    if found.inliers < MIN_INLIERS || share < MIN_SHARE || cells < MIN_CELLS {
        return None;
    }
    let back = found.map.try_inverse()?;
    let [crop, filled] = [
        align::seen(&found.map, size, asked.size),
        align::seen(&back, asked.size, size),
    ];
    if crop.max(filled) < MIN_COVER {
        return None;
    }
    let again = refound((kept, size), &found.map, asked);
    let bend = align::bend(&found.map, size, asked.size);
    let sure = if bend.is_none_or(|bend| bend < BENT) || is_framed(size, &found.map, asked) {
        again.is_copy(share)?
    } else if crop < MIN_COVER {
        again.may_be_bent_part(share).then_some(false)?
    } else {
        return None;
    };
    let same_frame = crop.min(filled) >= MIN_COVER && asked.turn == Turn::default();
    let moved = same_frame && median_error(&pairs, &found.map, long) > HAND_HELD;
    let kind = if sure && !moved {
        CopyKind::Edited
    } else {
        CopyKind::Unsure
    };
    let pose = align::pose(&found.map, size);
    Some(CopyMeasure {
        kind,
        transform: turn_name(inverse(asked.turn)),
        crop,
        filled,
        resized: pose.scale * asked.full[0].max(asked.full[1]) / long.max(1.0),
        turned_deg: pose.degrees,
        recoloured: 0.0,
        overlaid: 0.0,
        confidence: share.clamp(0.0, 1.0),
    })
}

/// What of the kept picture is there again.
struct Refound {
    /// Share of the kept keypoints inside the asked frame.
    share: f64,
    /// Share of the cells of a 4 x 4 grid over the kept frame with keypoints inside the asked frame in which hardly
    /// any is there again.
    quiet: f64,
}

impl Refound {
    /// Whether it is surely a copy, `share` of the matches following one map; `None` if it is none.
    fn is_copy(&self, share: f64) -> Option<bool> {
        let agreement = share * self.share;
        let (least, calm) = if agreement < SURE_AGREEMENT {
            (MIN_AGREEMENT, MAX_QUIET_UNSURE)
        } else {
            (SURE_AGREEMENT, MAX_QUIET)
        };
        let may_be = self.share >= MIN_REFOUND && agreement >= least && self.quiet <= calm;
        may_be.then_some(agreement >= SURE_AGREEMENT && self.quiet <= SURE_QUIET)
    }

    /// Whether it may be a copy though the map of the part that is shown is bent.
    fn may_be_bent_part(&self, share: f64) -> bool {
        self.share >= MIN_REFOUND
            && share * self.share >= MIN_AGREEMENT_BENT
            && self.quiet <= SURE_QUIET
    }
}

/// Whether a kept picture of `size` ends at edges where `map` lays it into the asked one.
fn is_framed(size: [f64; 2], map: &Map, asked: &Laid) -> bool {
    frame::framed(size, &asked.thumbnail, &(asked.to_thumbnail * map))
}

fn refound((kept, size): (&[PlacedSignature], [f64; 2]), map: &Map, asked: &Laid) -> Refound {
    let within = |v: f64, side: f64| (EDGE..side - EDGE).contains(&v);
    // Keypoints inside the asked frame, and how many of them are there again.
    let mut cells = [(0u32, 0u32); 16];
    for point in kept {
        let Some([x, y]) = align::apply(map, [point.x, point.y]) else {
            continue;
        };
        let cell = cells.get_mut(cell_of([point.x, point.y], size));
        let Some((inside, again)) =
            cell.filter(|_| within(x, asked.size[0]) && within(y, asked.size[1]))
        else {
            continue;
        };
        *inside += 1;
        *again += u32::from(asked.signatures.iter().any(|there| {
            (there.x - x).hypot(there.y - y) < REFOUND_WITHIN
                && (there.signature ^ point.signature).count_ones() <= REFOUND_BITS
        }));
    }
    let inside: u32 = cells.iter().map(|(inside, _)| inside).sum();
    let again: u32 = cells.iter().map(|(_, again)| again).sum();
    let rich = cells.iter().filter(|(inside, _)| *inside >= RICH);
    let is_quiet = |(inside, again): &&(u32, u32)| f64::from(*again) < QUIET * f64::from(*inside);
    Refound {
        share: f64::from(again) / f64::from(inside.max(1)),
        quiet: rich.clone().filter(is_quiet).count() as f64 / rich.count().max(1) as f64,
    }
}

/// Median distance of the inliers from where the map puts them, working pixels.
fn median_error(pairs: &[PointPair], map: &Map, long: f64) -> f64 {
    let errors = pairs.iter().map(|pair| align::error(map, pair));
    let mut errors: Vec<f64> = errors.filter(|error| *error < INLIER * long).collect();
    errors.sort_by(f64::total_cmp);
    errors.get(errors.len() / 2).copied().unwrap_or(0.0)
}

fn cell_of([x, y]: [f64; 2], size: [f64; 2]) -> usize {
    let index = |v: f64, side: f64| (v / side.max(1.0) * 4.0).clamp(0.0, 3.0) as usize;
    index(y, size[1]) * 4 + index(x, size[0])
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
fn reached(pairs: &[PointPair], map: &Map, (size, long): ([f64; 2], f64)) -> usize {
    let mut cells = [false; 16];
    for pair in pairs {
        let near = align::error(map, pair) < INLIER * long;
        if let (true, Some(cell)) = (near, cells.get_mut(cell_of(pair.a, size))) {
            *cell = true;
        }
    }
    cells.iter().filter(|c| **c).count()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_word_gathers_its_bits_in_order() {
        assert_eq!(WORD_BITS.count_ones(), 32);
        assert_eq!(word_of(u64::MAX), u32::MAX);
        assert_eq!(word_of(!WORD_BITS), 0);
        assert_eq!(word_of(1 << 63), 1 << 31);
        assert_eq!(word_of(WORD_BITS & WORD_BITS.wrapping_neg()), 1);
    }

    #[test]
    fn a_keypoint_asks_by_its_own_word_and_by_those_of_its_least_decided_tests() {
        let feature = Feature {
            keypoint: crate::measure::feature::Keypoint {
                x: 10.0,
                y: 20.0,
                scale: 2.0,
                angle: 0.0,
                response: 0.1,
                bright: true,
            },
            descriptor: std::array::from_fn(|i| (i * 37 % 101) as u8),
        };
        let features = Features {
            list: vec![feature],
            width: 100,
            height: 100,
            focal_px: None,
        };
        let own = word_of(placed_signatures(&features, 1)[0].signature);
        let [words, ..] = asked_words(&features);
        assert_eq!(words.len(), 7);
        assert!(words.contains(&own));
        let apart = |of: &u32| (of ^ own).count_ones();
        assert_eq!(words.iter().filter(|w| apart(w) == 1).count(), 4);
        assert_eq!(words.iter().filter(|w| apart(w) == 2).count(), 2);
    }

    const SIZE: [f64; 2] = [1000.0, 750.0];

    /// Keypoints all over a frame.
    fn kept() -> Vec<PlacedSignature> {
        let mixed = |i: usize| {
            let word = (i as u64 + 1).wrapping_mul(0x9E37_79B9_7F4A_7C15);
            (word ^ word >> 31).wrapping_mul(0xBF58_476D_1CE4_E5B9)
        };
        let place = |i: usize, cells: usize, side: f64| (i as f64 + 0.5) / cells as f64 * side;
        (0..160)
            .map(|i| PlacedSignature {
                x: place(i % 16, 16, SIZE[0]) + (i * 7919 % 23) as f64,
                y: place(i / 16, 10, SIZE[1]) + (i * 6007 % 29) as f64,
                signature: mixed(i),
            })
            .collect()
    }

    /// An asked photo of the same size, with every keypoint where `map` puts it, all of it as bright as `luma` says.
    fn asked(map: &Map, luma: impl Fn(f64, f64) -> f32) -> Laid {
        let signatures = kept().into_iter().filter_map(|point| {
            let [x, y] = align::apply(map, [point.x, point.y])?;
            let inside = (0.0..SIZE[0]).contains(&x) && (0.0..SIZE[1]).contains(&y);
            inside.then_some(PlacedSignature { x, y, ..point })
        });
        let mut thumbnail = Plane::zeros(384, 288);
        let to_thumbnail = align::scale_map(SIZE, sides(&thumbnail));
        for (i, value) in thumbnail.data.iter_mut().enumerate() {
            let at = |v: usize, side: usize, length: f64| (v as f64 + 0.5) / side as f64 * length;
            *value = luma(at(i % 384, 384, SIZE[0]), at(i / 384, 288, SIZE[1]));
        }
        Laid {
            turn: Turn::default(),
            signatures: signatures.collect(),
            size: SIZE,
            full: SIZE,
            thumbnail,
            to_thumbnail,
        }
    }

    /// Six tenths of the size, in the middle, its right side `bend` smaller.
    fn set_in(bend: f64) -> Map {
        let [width, height] = SIZE;
        let towards = Map::new_translation(&[0.5 * width, 0.5 * height].into());
        let smaller = Map::new(0.6, 0.0, 0.0, 0.0, 0.6, 0.0, bend / width, 0.0, 1.0);
        let from = Map::new_translation(&[-0.5 * width, -0.5 * height].into());
        towards * smaller * from
    }

    fn kind(asked: &Laid) -> Option<CopyKind> {
        confirm((&kept(), SIZE), asked).map(|measure| measure.kind)
    }

    #[test]
    fn a_bent_picture_is_a_copy_only_where_it_ends_at_edges() {
        let plain = |_: f64, _: f64| 120.0;
        assert_eq!(kind(&asked(&set_in(0.0), plain)), Some(CopyKind::Edited));
        let bent = set_in(0.2);
        assert_eq!(kind(&asked(&bent, plain)), None);
        let back = bent.try_inverse().unwrap();
        let on_a_screen = |x: f64, y: f64| {
            let [x, y] = align::apply(&back, [x, y]).unwrap();
            let is_shown = (0.0..SIZE[0]).contains(&x) && (0.0..SIZE[1]).contains(&y);
            if is_shown { 120.0 } else { 20.0 }
        };
        assert_eq!(kind(&asked(&bent, on_a_screen)), Some(CopyKind::Edited));
    }

    #[test]
    fn what_agrees_little_is_unsure_if_it_does_so_everywhere() {
        let refound = |share, quiet| Refound { share, quiet };
        assert_eq!(refound(0.5, 0.1).is_copy(0.5), Some(true));
        assert_eq!(refound(0.5, 0.4).is_copy(0.5), Some(false));
        assert_eq!(refound(0.3, 0.1).is_copy(0.3), Some(false));
        assert_eq!(refound(0.3, 0.3).is_copy(0.3), None);
        assert_eq!(refound(0.25, 0.1).is_copy(0.2), None);
    }
}
