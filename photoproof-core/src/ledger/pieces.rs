//! How 256-bit hashes are cut into pieces, so that two hashes within a distance agree closely in one of them.
//!
//! Multi-index hashing (Norouzi, Punjani and Fleet, "Fast Search in Hamming Space with Multi-Index Hashing",
//! CVPR 2012, section 3): of `m` pieces of two hashes that differ in `d` bits, one of the first `a + 1` pieces
//! differs in at most `d / m` bits, or one of the others in at most `d / m - 1`, where `a` is the rest of the
//! division. Nothing within the distance is missed, whatever `m` is; `m` decides only what the search costs.

use crate::measure::phash::HASH_BITS;

/// Longest piece: its table of bits takes 8 MiB.
const MAX_BITS: u32 = 26;
/// Memory that the tables of one pass may take, bytes.
const MAX_BYTES: f64 = 384e6;

/// Costs in nanoseconds, measured on one core of a busy machine: test of one piece of one kept hash, with a table that
/// stays in the processor's second cache and with a larger one; a hit that has to be compared; entering one value into
/// a table.
const LOOK: [f64; 2] = [1.5, 8.0];
const HIT: [f64; 2] = [35.0, 100.0];
const ENTER: f64 = 40.0;
/// Longest piece whose table stays in the second cache: 512 KiB.
const CACHED_BITS: u32 = 22;

/// A run of bits of a hash, and how many of them may differ.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Piece {
    /// First bit, 0..256.
    start: u32,
    /// Length, 1..=32 bits.
    pub(super) bits: u32,
    /// Bits that may differ.
    radius: u32,
}

impl Piece {
    /// The bits of a hash that the piece covers, as a number.
    pub(super) fn of(self, hash: &[u64; 4]) -> u32 {
        let (word, shift) = ((self.start / 64) as usize, self.start % 64);
        let low = hash.get(word).map_or(0, |w| w >> shift);
        let high = match shift {
            0 => 0,
            _ => hash.get(word + 1).map_or(0, |w| w << (64 - shift)),
        };
        ((low | high) & ((1 << self.bits) - 1)) as u32
    }

    /// [`Piece::of`] of many hashes that are kept word by word.
    pub(super) fn of_all(self, words: [&[u64]; 4]) -> impl Iterator<Item = u32> {
        let (word, shift) = ((self.start / 64) as usize, self.start % 64);
        let low = words.get(word).copied().unwrap_or_default();
        // A piece that lies in one word takes nothing of the other: shifted by 63 and one more it is gone.
        let high = words.get(word + 1).copied().unwrap_or(low);
        let mask = (1 << self.bits) - 1;
        low.iter().zip(high).map(move |(low, high)| {
            let bits = low >> shift | (high << 1) << (63 - shift);
            (bits & mask) as u32
        })
    }

    /// How many values lie within the radius of one value.
    pub(super) fn ball(self) -> f64 {
        let mut sum = 1.0;
        let mut layer = 1.0;
        for k in 0..self.radius {
            layer *= f64::from(self.bits - k) / f64::from(k + 1);
            sum += layer;
        }
        sum
    }

    /// Calls `visit` with every value within the radius of `value`, each once.
    pub(super) fn each_near(self, value: u32, visit: &mut impl FnMut(u32)) {
        flip(value, (0, self.bits), self.radius, visit);
    }
}

fn flip(value: u32, (from, bits): (u32, u32), left: u32, visit: &mut impl FnMut(u32)) {
    visit(value);
    if left > 0 {
        for bit in from..bits {
            flip(value ^ (1 << bit), (bit + 1, bits), left - 1, visit);
        }
    }
}

/// Cuts a hash into `count` pieces for `distance`; pieces that need not be looked at are left out.
pub(super) fn cut(count: u32, distance: u32) -> Vec<Piece> {
    let (radius, rest) = (distance / count, distance % count);
    let (bits, longer) = (HASH_BITS / count, HASH_BITS % count);
    let mut start = 0;
    let mut pieces = Vec::new();
    for i in 0..count {
        let bits = bits + u32::from(i < longer);
        let radius = (radius + u32::from(i <= rest)).checked_sub(1);
        pieces.extend(radius.map(|radius| Piece {
            start,
            bits,
            radius,
        }));
        start += bits;
    }
    pieces
}

/// The cut that searches `kept` photos for `asked` hashes at the least cost.
pub(super) fn cheapest(distance: u32, asked: usize, kept: u64) -> Vec<Piece> {
    let asked = asked as f64;
    let cuts = (HASH_BITS.div_ceil(MAX_BITS)..=32).map(|count| cut(count, distance));
    let cost = |pieces: &[Piece]| {
        let (mut build, mut look, mut bytes) = (0.0, 0.0, 0.0);
        for piece in pieces {
            let values = 2f64.powi(piece.bits as i32);
            let entered = asked * piece.ball();
            let far = usize::from(piece.bits > CACHED_BITS);
            build += entered * ENTER;
            look += LOOK[far] + entered / values * HIT[usize::from(entered > 2e5)];
            bytes += entered * 10.0 + values / 8.0;
        }
        // Both kinds of hash have their tables. Too much memory is worse than any time.
        let over = if 2.0 * bytes > MAX_BYTES { bytes } else { 0.0 };
        (over, build + look * kept as f64)
    };
    cuts.min_by(|a, b| {
        let ((a_over, a_cost), (b_over, b_cost)) = (cost(a), cost(b));
        a_over.total_cmp(&b_over).then(a_cost.total_cmp(&b_cost))
    })
    .unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::phash::hamming;
    use proptest::prelude::*;

    #[test]
    fn pieces_cover_the_hash_and_promise_no_more_than_the_distance() {
        for count in 8..=32 {
            let pieces = cut(count, 31);
            let covered: u32 = pieces.iter().map(|p| p.bits).sum();
            // Norouzi et al.: sum of (radius + 1) is one more than the distance.
            let promised: u32 = pieces.iter().map(|p| p.radius + 1).sum();
            assert_eq!(promised, 32, "{count} pieces");
            assert!(covered == HASH_BITS || pieces.len() < count as usize);
        }
    }

    #[test]
    fn a_ball_has_as_many_values_as_it_says() {
        for piece in [11, 16, 10].map(|count| cut(count, 31)[0]) {
            let mut seen = std::collections::BTreeSet::new();
            piece.each_near(77, &mut |value| {
                assert!((value ^ 77).count_ones() <= piece.radius);
                assert!(seen.insert(value));
            });
            assert_eq!(seen.len() as f64, piece.ball());
        }
    }

    #[test]
    fn more_photos_are_cut_into_longer_pieces() {
        let count = |kept| cheapest(31, 2400, kept).len();
        assert!(count(10_000) > count(1_000_000));
        assert!(count(1_000_000) >= count(10_000_000));
        assert!((11..=13).contains(&count(10_000_000)));
    }

    proptest! {
        #[test]
        fn hashes_within_the_distance_share_a_piece(
            hash: [u64; 4],
            flips in prop::collection::vec(0u32..256, 0..=31),
            count in 8u32..=32,
        ) {
            let mut other = hash;
            for bit in flips {
                other[(bit / 64) as usize] ^= 1 << (bit % 64);
            }
            prop_assert!(hamming(&hash, &other) <= 31);
            let pieces = cut(count, 31);
            let shared = pieces
                .iter()
                .any(|p| (p.of(&hash) ^ p.of(&other)).count_ones() <= p.radius);
            prop_assert!(shared);
            let words = hash.map(|word| [word]);
            for piece in pieces {
                let all = piece.of_all(words.each_ref().map(|word| word.as_slice()));
                prop_assert_eq!(all.collect::<Vec<u32>>(), [piece.of(&hash)]);
            }
        }
    }
}
