//! How near a kept hash can be to any of the asked ones, at the least: what a pass asks first.
//!
//! A hash is cut into sections. For every value that a section can take, a table holds how many bits it is away from
//! the nearest asked hash's section; the sum over the sections is a lower bound of the distance of the whole hashes,
//! whichever asked hash is meant. A kept hash whose sum is above the distance is near none of them. Those that are
//! left are cut elsewhere and tested again.
//!
//! The tables are made by growing the set of asked values by one bit at a time, so they cost the same for one
//! question and for thousands.

use pulp::{Arch, Simd, WithSimd};
use rayon::prelude::*;

/// Lengths of the sections of one word, bits. Short ones for few questions (16 KiB a table), long ones for many (512
/// KiB a table, for which one bit of each word is in none): the processor's caches hold them.
const SHORT: &[u32] = &[16; 4];
const LONG: &[u32] = &[21; 3];
/// Most asked hashes for which short sections tell near from far: a random one of 16 bits is then three bits and more
/// away from all of them, mostly.
const FEW: usize = 64;
/// How far the words are turned before they are cut, test after test: half a section apart.
const TURNS: [u32; 2] = [0, 11];
/// What the four levels of a table say: at least so many bits away. Four bits a level.
const LEVELS: u64 = 0x4320;
/// Hashes whose sections are cut out together.
const RUN: usize = 512;

/// The tables of one kind of hash.
pub(super) struct Bounds {
    tests: Vec<Vec<Table>>,
}

impl Bounds {
    /// The tables of `asked`.
    pub(super) fn new(asked: &[[u64; 4]]) -> Self {
        let lengths = if asked.len() <= FEW { SHORT } else { LONG };
        let tests = TURNS.map(|turn| {
            let sections = sections(lengths, turn).into_par_iter();
            sections.map(|section| Table::new(section, asked)).collect()
        });
        Self {
            tests: tests.into(),
        }
    }

    /// Which of the hashes `kept` may lie within `distance` of an asked one, in order, and their words.
    pub(super) fn may_be_near(
        &self,
        kept: [&[u64]; 4],
        distance: u32,
    ) -> (Vec<u32>, [Vec<u64>; 4]) {
        let mut left: Option<(Vec<u32>, [Vec<u64>; 4])> = None;
        for tables in &self.tests {
            let words = left
                .as_ref()
                .map_or(kept, |(_, words)| words.each_ref().map(Vec::as_slice));
            let near = below(tables, words, distance);
            let pick = |words: &[u64]| -> Vec<u64> {
                let words = near.iter().map(|at| words.get(*at as usize).copied());
                words.map(Option::unwrap_or_default).collect()
            };
            let words = words.map(pick);
            let places = match left {
                None => near,
                Some((before, _)) => {
                    let places = near.iter().map(|at| before.get(*at as usize).copied());
                    places.map(Option::unwrap_or_default).collect()
                }
            };
            left = Some((places, words));
        }
        left.unwrap_or_default()
    }
}

/// Which hashes have a sum of at most `distance`.
fn below(tables: &[Table], kept: [&[u64]; 4], distance: u32) -> Vec<u32> {
    let [first, ..] = kept;
    let mut sums = vec![0u8; first.len()];
    for table in tables {
        table.add(kept, &mut sums);
    }
    (0u32..)
        .zip(sums)
        .filter(|(_, sum)| u32::from(*sum) <= distance)
        .map(|(at, _)| at)
        .collect()
}

/// A run of bits of one word.
#[derive(Debug, Clone, Copy)]
struct Section {
    word: usize,
    start: u32,
    bits: u32,
}

impl Section {
    fn of(self, word: u64) -> u32 {
        (word.rotate_right(self.start) & ((1 << self.bits) - 1)) as u32
    }
}

/// All four words, turned by `turn` bits, cut into sections of these lengths; what is over is in none.
fn sections(lengths: &[u32], turn: u32) -> Vec<Section> {
    let one = |word| {
        lengths.iter().scan(turn, move |start, bits| {
            let section = Section {
                word,
                start: *start % 64,
                bits: *bits,
            };
            *start += bits;
            Some(section)
        })
    };
    (0..4).flat_map(one).collect()
}

/// How far every value of a section is from the nearest asked one: at most one bit, two, three, or more.
struct Table {
    section: Section,
    /// Two bits a value.
    levels: Vec<u64>,
}

impl Table {
    fn new(section: Section, asked: &[[u64; 4]]) -> Self {
        let mut near = vec![0u64; (1usize << section.bits).div_ceil(64)];
        for word in asked.iter().filter_map(|hash| hash.get(section.word)) {
            let value = section.of(*word);
            if let Some(word) = near.get_mut(value as usize / 64) {
                *word |= 1 << (value % 64);
            }
        }
        let one = grown(&near);
        let two = grown(&one);
        let three = grown(&two);
        let levels = one.iter().zip(&two).zip(&three);
        let levels = levels.flat_map(|((one, two), three)| {
            // As numbers: 0 within one bit, 1 within two, 2 within three, 3 beyond.
            let (low, high) = (!one & two | !three, !two);
            [0, 32].map(|half| spread((low >> half) as u32) | spread((high >> half) as u32) << 1)
        });
        Self {
            section,
            levels: levels.collect(),
        }
    }

    /// Adds the bounds of one section of all hashes to `sums`.
    fn add(&self, kept: [&[u64]; 4], sums: &mut [u8]) {
        let words = kept.get(self.section.word).copied().unwrap_or_default();
        Arch::new().dispatch(Sum(self, words, sums));
    }
}

/// A table, words of the hashes, and the sums that its bounds are added to.
struct Sum<'a>(&'a Table, &'a [u64], &'a mut [u8]);

impl WithSimd for Sum<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) {
        let Self(table, words, sums) = self;
        let mut values = [0u32; RUN];
        for (words, sums) in words.chunks(RUN).zip(sums.chunks_mut(RUN)) {
            for (value, word) in values.iter_mut().zip(words) {
                *value = table.section.of(*word);
            }
            for (sum, value) in sums.iter_mut().zip(&values) {
                let levels = table.levels.get((value >> 5) as usize);
                let level = levels.copied().unwrap_or(0) >> ((value & 31) * 2) & 3;
                *sum += (LEVELS >> (level * 4)) as u8 & 15;
            }
        }
    }
}

/// A set of values and all values that differ from one of them in one bit.
fn grown(set: &[u64]) -> Vec<u64> {
    Arch::new().dispatch(Grow(set))
}

/// A set to be grown.
struct Grow<'a>(&'a [u64]);

impl WithSimd for Grow<'_> {
    type Output = Vec<u64>;

    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) -> Vec<u64> {
        const LOW: [u64; 6] = [
            0x5555_5555_5555_5555,
            0x3333_3333_3333_3333,
            0x0F0F_0F0F_0F0F_0F0F,
            0x00FF_00FF_00FF_00FF,
            0x0000_FFFF_0000_FFFF,
            0x0000_0000_FFFF_FFFF,
        ];
        let Self(set) = self;
        let within = |word: &u64| {
            LOW.iter().enumerate().fold(*word, |all, (bit, low)| {
                let shift = 1 << bit;
                all | (word & low) << shift | word >> shift & low
            })
        };
        let mut all: Vec<u64> = set.iter().map(within).collect();
        // The next three bits choose one word of eight.
        let (eights, _) = all.as_chunks_mut::<8>();
        for (all, set) in eights.iter_mut().zip(set.as_chunks::<8>().0) {
            for (i, to) in all.iter_mut().enumerate() {
                let near = [1, 2, 4].map(|bit| set.get(i ^ bit).copied().unwrap_or(0));
                *to |= near[0] | near[1] | near[2];
            }
        }
        let mut step = 8;
        while step < set.len() {
            let pairs = all.chunks_mut(2 * step).zip(set.chunks(2 * step));
            for (all, set) in pairs {
                let (all_low, all_high) = all.split_at_mut(step.min(all.len()));
                let (low, high) = set.split_at(step.min(set.len()));
                all_low
                    .iter_mut()
                    .zip(high)
                    .for_each(|(to, from)| *to |= from);
                all_high
                    .iter_mut()
                    .zip(low)
                    .for_each(|(to, from)| *to |= from);
            }
            step *= 2;
        }
        all
    }
}

/// The bits of a number with a gap after each.
fn spread(bits: u32) -> u64 {
    let mut x = u64::from(bits);
    x = (x | x << 16) & 0x0000_FFFF_0000_FFFF;
    x = (x | x << 8) & 0x00FF_00FF_00FF_00FF;
    x = (x | x << 4) & 0x0F0F_0F0F_0F0F_0F0F;
    x = (x | x << 2) & 0x3333_3333_3333_3333;
    (x | x << 1) & 0x5555_5555_5555_5555
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::phash::hamming;
    use proptest::prelude::*;

    /// The largest sum of all tests.
    fn sum(bounds: &Bounds, hash: [u64; 4]) -> u32 {
        let words = hash.map(|word| [word]);
        let sums = bounds.tests.iter().map(|tables| {
            let mut sums = [0];
            for table in tables {
                table.add(words.each_ref().map(|word| word.as_slice()), &mut sums);
            }
            u32::from(sums[0])
        });
        sums.max().unwrap()
    }

    fn draw(state: &mut u64) -> [u64; 4] {
        [(); 4].map(|()| crate::ledger::draw(state))
    }

    #[test]
    fn sections_hold_no_bit_twice_and_nearly_all() {
        for (lengths, turn) in [(SHORT, 0), (LONG, 0), (SHORT, 11), (LONG, 11)] {
            let mut words = [0u64; 4];
            for section in sections(lengths, turn) {
                let bits = ((1u64 << section.bits) - 1).rotate_left(section.start);
                assert_eq!(words[section.word] & bits, 0);
                words[section.word] |= bits;
            }
            for word in words {
                assert_eq!(word.count_ones(), lengths.iter().sum::<u32>());
                assert!(word.count_ones() >= 63);
            }
        }
    }

    #[test]
    fn a_set_grows_by_one_bit() {
        let mut set = vec![0u64; 4096 / 64];
        for value in [5usize, 700, 4095] {
            set[value / 64] |= 1 << (value % 64);
        }
        let all = grown(&set);
        for value in 0..4096u32 {
            let holds = all[value as usize / 64] >> (value % 64) & 1 == 1;
            let near = [5u32, 700, 4095].map(|v| (v ^ value).count_ones() <= 1);
            assert_eq!(holds, near.contains(&true), "{value}");
        }
    }

    #[test]
    fn most_random_hashes_are_turned_away() {
        let mut state = 3u64;
        let kept: Vec<[u64; 4]> = (0..20_000).map(|_| draw(&mut state)).collect();
        let words: [Vec<u64>; 4] = std::array::from_fn(|i| kept.iter().map(|h| h[i]).collect());
        for (count, most) in [(8, 20), (64, 200), (2400, 1000)] {
            let asked: Vec<[u64; 4]> = (0..count).map(|_| draw(&mut state)).collect();
            let words = words.each_ref().map(Vec::as_slice);
            let (left, _) = Bounds::new(&asked).may_be_near(words, 31);
            assert!(left.len() <= most, "{} of 20,000 by {count}", left.len());
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]
        #[test]
        fn the_sum_is_never_above_the_distance(
            mut asked in prop::collection::vec(any::<[u64; 4]>(), 1..40),
            which: prop::sample::Index,
            flips in prop::collection::vec(0u32..256, 0..=40),
            more in prop::sample::select(vec![0, 2 * FEW]),
        ) {
            let mut hash = asked[which.index(asked.len())];
            for bit in flips {
                hash[(bit / 64) as usize] ^= 1 << (bit % 64);
            }
            let mut state = 5;
            asked.extend((0..more).map(|_| draw(&mut state)));
            let nearest = asked.iter().map(|a| hamming(a, &hash)).min().unwrap();
            let bounds = Bounds::new(&asked);
            prop_assert!(sum(&bounds, hash) <= nearest);
            let words = hash.map(|word| [word]);
            let words = words.each_ref().map(|word| word.as_slice());
            let (left, same) = bounds.may_be_near(words, 31);
            prop_assert!(!left.is_empty() || nearest > 31);
            if !left.is_empty() {
                prop_assert_eq!(same.map(|word| word[0]), hash);
            }
        }
    }
}
