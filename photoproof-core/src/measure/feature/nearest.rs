//! Two nearest neighbours in both directions between two lists of descriptors.
//!
//! Whole-number arithmetic throughout: identical results on every processor. Descriptors have unit
//! length times 181, so a dot product and each of its partial sums fit 16 bits without sign
//! (Cauchy-Schwarz; 181 squared is 32 761, and rounding adds at most 5.7 to the length).

use pulp::{Arch, Simd, WithSimd};

use super::DESCRIPTOR_LEN;

/// Descriptors compared at a time: lanes of a 256-bit register of 16-bit sums.
const LANES: usize = 16;

/// Steps of two descriptor values each.
const STEPS: usize = DESCRIPTOR_LEN / 2;

/// Queries compared with a block while it is at hand.
const QUERIES: usize = 4;

/// Bits of an index in a key; the squared distance sits above them.
const INDEX_BITS: u32 = 15;

/// Descriptors a list may hold; more are ignored.
pub(super) const MAX_DESCRIPTORS: usize = 1 << INDEX_BITS;

/// Squared length of a lane that holds no descriptor: farther than any real distance can be.
const EMPTY_LANE: u32 = 90_000;

/// Two values of each of 16 descriptors, step by step.
type Block = [[u8; 2 * LANES]; STEPS];

/// Fills a row of flags: `u32::MAX` for each of b that is no partner of the given one of a, else 0.
pub(super) type Bar<'a> = &'a dyn Fn(usize, &mut [u32]);

/// The nearest and second nearest neighbour of one descriptor.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Nearest {
    /// Squared distance and index of the nearest.
    pub(super) best: Option<(u32, usize)>,
    /// Squared distance of the second nearest.
    pub(super) second: Option<u32>,
}

impl Nearest {
    fn of(best: u32, second: u32) -> Self {
        let real = |key: u32| (key >> INDEX_BITS < EMPTY_LANE).then_some(key >> INDEX_BITS);
        let index = (best & (MAX_DESCRIPTORS as u32 - 1)) as usize;
        Self {
            best: real(best).map(|distance| (distance, index)),
            second: real(second),
        }
    }
}

/// Smallest and second smallest key, lane by lane.
struct Keys {
    best: Vec<u32>,
    second: Vec<u32>,
}

impl Keys {
    fn new(length: usize) -> Self {
        Self {
            best: vec![u32::MAX; length],
            second: vec![u32::MAX; length],
        }
    }

    fn nearest(&self, count: usize) -> Vec<Nearest> {
        let keys = self.best.iter().zip(&self.second).take(count);
        keys.map(|(&best, &second)| Nearest::of(best, second))
            .collect()
    }
}

/// A list of descriptors, laid out for comparison.
struct Packed {
    blocks: Vec<Block>,
    /// Squared lengths, padded to whole blocks.
    lengths: Vec<u32>,
}

impl Packed {
    fn new(list: &[&[u8; DESCRIPTOR_LEN]]) -> Self {
        // An even number of blocks: they are compared two at a time.
        let count = list.len().div_ceil(2 * LANES) * 2;
        let mut blocks = vec![[[0_u8; 2 * LANES]; STEPS]; count];
        let mut lengths = vec![EMPTY_LANE; count * LANES];
        for (index, descriptor) in list.iter().enumerate() {
            let block = &mut blocks[index / LANES];
            let lane = 2 * (index % LANES);
            for (step, pair) in block.iter_mut().zip(descriptor.chunks_exact(2)) {
                step[lane..lane + 2].copy_from_slice(pair);
            }
            lengths[index] = squared_length(descriptor);
        }
        Self { blocks, lengths }
    }
}

fn squared_length(descriptor: &[u8; DESCRIPTOR_LEN]) -> u32 {
    descriptor
        .iter()
        .map(|&v| u32::from(v) * u32::from(v))
        .sum()
}

/// For each of `a` the nearest of `b`, and for each of `b` the nearest of `a`; of equally near ones
/// the first. `barred` may exclude pairs.
pub(super) fn nearest(
    a: &[&[u8; DESCRIPTOR_LEN]],
    b: &[&[u8; DESCRIPTOR_LEN]],
    barred: Option<Bar>,
) -> (Vec<Nearest>, Vec<Nearest>) {
    let a = &a[..a.len().min(MAX_DESCRIPTORS)];
    let b = &b[..b.len().min(MAX_DESCRIPTORS)];
    let packed = Packed::new(b);
    let mut rows = Keys::new(a.len());
    let mut columns = Keys::new(packed.lengths.len());
    let arch = Arch::new();
    arch.dispatch(Search {
        arch,
        a,
        b: &packed,
        barred,
        keys: (&mut rows, &mut columns),
    });
    (rows.nearest(a.len()), columns.nearest(b.len()))
}

/// One search, compiled for each instruction set.
struct Search<'a> {
    arch: Arch,
    a: &'a [&'a [u8; DESCRIPTOR_LEN]],
    b: &'a Packed,
    barred: Option<Bar<'a>>,
    keys: (&'a mut Keys, &'a mut Keys),
}

impl WithSimd for Search<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, _simd: S) {
        match self.arch {
            #[cfg(target_arch = "x86_64")]
            Arch::V3(simd) => search(&wide::Avx2(simd), self.a, self.b, self.barred, self.keys),
            _ => search(&Portable, self.a, self.b, self.barred, self.keys),
        }
    }
}

/// The two loops that take the time.
trait Arithmetic {
    /// Dot products of four queries with two blocks.
    fn dots(&self, queries: &[Block; QUERIES], blocks: &[Block]) -> [[[u16; LANES]; 2]; QUERIES];

    /// Updates the columns with one row of dot products; returns the row's two smallest keys. `own` are the squared
    /// length and the index of the row's descriptor.
    fn update(&self, own: (u32, u32), row: &Row<'_>, columns: &mut Keys) -> (u32, u32);
}

/// One row: dot products with all of b, their squared lengths, and the flags of those that are barred.
struct Row<'a> {
    dots: &'a [u16],
    lengths: &'a [u32],
    flags: &'a [u32],
}

/// The two smallest of the smallest keys of all lanes.
#[inline(always)]
fn smallest(keys: impl Iterator<Item = u32>) -> (u32, u32) {
    keys.fold((u32::MAX, u32::MAX), |(best, second), key| {
        (best.min(key), second.min(best.max(key)))
    })
}

#[inline(always)]
fn search(
    arithmetic: &impl Arithmetic,
    a: &[&[u8; DESCRIPTOR_LEN]],
    b: &Packed,
    barred: Option<Bar>,
    (rows, columns): (&mut Keys, &mut Keys),
) {
    let mut queries = [[[0_u8; 2 * LANES]; STEPS]; QUERIES];
    let mut dots = [(); QUERIES].map(|()| vec![0_u16; b.lengths.len()]);
    let mut flags = vec![0_u32; b.lengths.len()];
    for (group, list) in a.chunks(QUERIES).enumerate() {
        for (query, descriptor) in queries.iter_mut().zip(list) {
            for (step, pair) in query.iter_mut().zip(descriptor.chunks_exact(2)) {
                for lane in step.chunks_exact_mut(2) {
                    lane.copy_from_slice(pair);
                }
            }
        }
        for (pair, blocks) in b.blocks.chunks_exact(2).enumerate() {
            let products = arithmetic.dots(&queries, blocks);
            for (row, two) in dots.iter_mut().zip(&products) {
                let span = &mut row[2 * pair * LANES..2 * (pair + 1) * LANES];
                span[..LANES].copy_from_slice(&two[0]);
                span[LANES..].copy_from_slice(&two[1]);
            }
        }
        for (offset, (descriptor, row)) in list.iter().zip(&dots).enumerate() {
            let index = group * QUERIES + offset;
            if let Some(bar) = barred {
                bar(index, &mut flags);
            }
            let own = (squared_length(descriptor), index as u32);
            let row = Row {
                dots: row,
                lengths: &b.lengths,
                flags: &flags,
            };
            (rows.best[index], rows.second[index]) = arithmetic.update(own, &row, columns);
        }
    }
}

/// The same sums in plain Rust.
struct Portable;

impl Arithmetic for Portable {
    #[inline(always)]
    fn dots(&self, queries: &[Block; QUERIES], blocks: &[Block]) -> [[[u16; LANES]; 2]; QUERIES] {
        let mut sums = [[[0_u16; LANES]; 2]; QUERIES];
        for (sums, query) in sums.iter_mut().zip(queries) {
            for (sums, block) in sums.iter_mut().zip(blocks) {
                for (q, b) in query.iter().zip(block) {
                    for (lane, sum) in sums.iter_mut().enumerate() {
                        let product = |k: usize| u16::from(q[k]) * u16::from(b[k]);
                        *sum += product(2 * lane) + product(2 * lane + 1);
                    }
                }
            }
        }
        sums
    }

    #[inline(always)]
    fn update(&self, (length, index): (u32, u32), row: &Row<'_>, columns: &mut Keys) -> (u32, u32) {
        let mut best = [u32::MAX; LANES];
        let mut second = [u32::MAX; LANES];
        let numbers: [u32; LANES] = std::array::from_fn(|lane| lane as u32);
        let targets = columns.best.chunks_exact_mut(LANES);
        let targets = targets.zip(columns.second.chunks_exact_mut(LANES));
        let sources = row.dots.chunks_exact(LANES);
        let sources = sources.zip(row.lengths.chunks_exact(LANES));
        let sources = sources.zip(row.flags.chunks_exact(LANES)).enumerate();
        for ((column_best, column_second), (block, ((dots, lengths), flags))) in
            targets.zip(sources)
        {
            let first = (block * LANES) as u32;
            for lane in 0..LANES {
                let distance = length + lengths[lane] - 2 * u32::from(dots[lane]);
                let shifted = distance << INDEX_BITS;
                let key = (shifted | (first + numbers[lane])) | flags[lane];
                second[lane] = second[lane].min(best[lane].max(key));
                best[lane] = best[lane].min(key);
                let key = (shifted | index) | flags[lane];
                column_second[lane] = column_second[lane].min(column_best[lane].max(key));
                column_best[lane] = column_best[lane].min(key);
            }
        }
        smallest(best.into_iter().chain(second))
    }
}

#[cfg(target_arch = "x86_64")]
mod wide {
    use std::arch::x86_64::__m256i;

    use pulp::cast;
    use pulp::x86::V3;

    use super::{Arithmetic, Block, INDEX_BITS, Keys, LANES, QUERIES, Row, smallest};

    /// Keys in a register.
    const KEYS: usize = 8;

    /// The same numbers with 256-bit registers.
    pub(super) struct Avx2(pub(super) V3);

    impl Arithmetic for Avx2 {
        #[inline(always)]
        fn dots(
            &self,
            queries: &[Block; QUERIES],
            blocks: &[Block],
        ) -> [[[u16; LANES]; 2]; QUERIES] {
            let avx2 = self.0.avx2;
            let zero: __m256i = cast([0_u8; 2 * LANES]);
            let mut sums = [[zero; 2]; QUERIES];
            let [q0, q1, q2, q3] = queries;
            let [left, right, ..] = blocks else {
                return [[[0; LANES]; 2]; QUERIES];
            };
            let values = q0.iter().zip(q1).zip(q2).zip(q3).zip(left).zip(right);
            for (((((q0, q1), q2), q3), left), right) in values {
                let two: [__m256i; 2] = [cast(*left), cast(*right)];
                for (sums, query) in sums.iter_mut().zip([q0, q1, q2, q3]) {
                    let query: __m256i = cast(*query);
                    for (sum, block) in sums.iter_mut().zip(two) {
                        // Both factors are below 128: pairs stay below the signed limit.
                        let products = avx2._mm256_maddubs_epi16(query, block);
                        *sum = avx2._mm256_add_epi16(*sum, products);
                    }
                }
            }
            sums.map(|two| two.map(cast))
        }

        #[inline(always)]
        fn update(
            &self,
            (length, index): (u32, u32),
            row: &Row<'_>,
            columns: &mut Keys,
        ) -> (u32, u32) {
            let avx2 = self.0.avx2;
            let splat = |value: u32| -> __m256i { cast([value; KEYS]) };
            let less = |a: __m256i, b: __m256i| avx2._mm256_min_epu32(a, b);
            let more = |a: __m256i, b: __m256i| avx2._mm256_max_epu32(a, b);
            let both = |a: __m256i, b: __m256i| avx2._mm256_or_si256(a, b);
            let (length, index, step) = (splat(length), splat(index), splat(KEYS as u32));
            let mut numbers: __m256i = cast([0_u32, 1, 2, 3, 4, 5, 6, 7]);
            let (mut best, mut second) = (splat(u32::MAX), splat(u32::MAX));
            let targets = columns.best.as_chunks_mut::<KEYS>().0.iter_mut();
            let targets = targets.zip(columns.second.as_chunks_mut::<KEYS>().0);
            let sources = row.dots.as_chunks::<KEYS>().0.iter();
            let sources = sources.zip(row.lengths.as_chunks::<KEYS>().0);
            let sources = sources.zip(row.flags.as_chunks::<KEYS>().0);
            for ((column_best, column_second), ((dots, lengths), flags)) in targets.zip(sources) {
                let dots = avx2._mm256_cvtepu16_epi32(cast(*dots));
                let lengths = avx2._mm256_add_epi32(length, cast(*lengths));
                let distance = avx2._mm256_sub_epi32(lengths, avx2._mm256_add_epi32(dots, dots));
                let shifted = avx2._mm256_slli_epi32::<{ INDEX_BITS as i32 }>(distance);
                let shifted = both(shifted, cast(*flags));
                let key = both(shifted, numbers);
                second = less(second, more(best, key));
                best = less(best, key);
                let key = both(shifted, index);
                let known: __m256i = cast(*column_best);
                *column_second = cast(less(cast(*column_second), more(known, key)));
                *column_best = cast(less(known, key));
                numbers = avx2._mm256_add_epi32(numbers, step);
            }
            let (best, second): ([u32; KEYS], [u32; KEYS]) = (cast(best), cast(second));
            smallest(best.into_iter().chain(second))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Descriptor-like values from a fixed linear congruential sequence.
    fn descriptors(count: usize, mut state: u32) -> Vec<[u8; DESCRIPTOR_LEN]> {
        let mut next = || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (state >> 24) % 23 + 4
        };
        (0..count)
            .map(|_| std::array::from_fn(|_| next() as u8))
            .collect()
    }

    fn plain(a: &[[u8; DESCRIPTOR_LEN]], b: &[[u8; DESCRIPTOR_LEN]]) -> Vec<Nearest> {
        let row = |x: &[u8; DESCRIPTOR_LEN]| {
            let mut all: Vec<(u32, usize)> = b
                .iter()
                .map(|y| {
                    x.iter()
                        .zip(y)
                        .map(|(&p, &q)| u32::from(p.abs_diff(q)).pow(2))
                        .sum()
                })
                .enumerate()
                .map(|(index, distance)| (distance, index))
                .collect();
            all.sort_unstable();
            Nearest {
                best: all.first().copied(),
                second: all.get(1).map(|s| s.0),
            }
        };
        a.iter().map(row).collect()
    }

    #[test]
    fn agrees_with_plain_search_for_any_size() {
        for (m, n) in [(0, 3), (3, 0), (1, 1), (5, 1), (37, 70), (64, 33)] {
            let (a, b) = (descriptors(m, 7), descriptors(n, 11));
            let (ra, rb): (Vec<_>, Vec<_>) = (a.iter().collect(), b.iter().collect());
            let (rows, columns) = nearest(&ra, &rb, None);
            assert_eq!(rows, plain(&a, &b), "{m} x {n}");
            assert_eq!(columns, plain(&b, &a), "{m} x {n}");
        }
    }

    #[test]
    fn portable_sums_equal_wide_ones() {
        let (a, b) = (descriptors(50, 3), descriptors(90, 5));
        let (ra, rb): (Vec<_>, Vec<_>) = (a.iter().collect(), b.iter().collect());
        let packed = Packed::new(&rb);
        let mut rows = Keys::new(ra.len());
        let mut columns = Keys::new(packed.lengths.len());
        search(&Portable, &ra, &packed, None, (&mut rows, &mut columns));
        let (wide_rows, wide_columns) = nearest(&ra, &rb, None);
        assert_eq!(rows.nearest(ra.len()), wide_rows);
        assert_eq!(columns.nearest(rb.len()), wide_columns);
    }

    #[test]
    fn barred_partners_are_never_taken() {
        let (a, b) = (descriptors(20, 3), descriptors(20, 3));
        let (ra, rb): (Vec<_>, Vec<_>) = (a.iter().collect(), b.iter().collect());
        let bar = |i: usize, flags: &mut [u32]| {
            for (j, flag) in flags.iter_mut().enumerate() {
                *flag = if i == j { u32::MAX } else { 0 };
            }
        };
        let (free, _) = nearest(&ra, &rb, None);
        let (rows, columns) = nearest(&ra, &rb, Some(&bar));
        for (i, (row, column)) in rows.iter().zip(&columns).enumerate() {
            assert_eq!(free[i].best, Some((0, i)));
            assert_ne!(row.best.map(|b| b.1), Some(i));
            assert_ne!(column.best.map(|b| b.1), Some(i));
        }
    }
}
