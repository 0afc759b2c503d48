//! One pass over packed hashes against tables of the asked ones.
//!
//! The tables are made of the asked photos and not of the ledger: three hundred photos in eight orientations and two
//! hashes are 4,800 questions, and with so many of them every page of a stored index of ten million photos would be
//! read anyway, in random order. One sequential pass reads less and needs no index on disk. Bounds turn away all but
//! one kept hash in some hundreds (`bounds.rs`); multi-index hashing leads from those to the asked hashes
//! (`pieces.rs`).

use std::collections::BTreeMap;
use std::sync::mpsc;

use rayon::prelude::*;

use super::bounds::Bounds;
use super::pieces::{Piece, cheapest};
use super::words::{PACKED_WORDS, Parts, Questions, Tally, append};
use crate::measure::copy::signature::TurnedWords;
use crate::measure::copy::sum_up;
use crate::measure::phash::{PerceptualHash, TurnedHashes, hamming};

/// Hash distance, of 256 bits, up to which no photo of the ledger is missed. Copies that were
/// re-encoded, resized, recoloured, stamped, turned or mirrored measured 0 to 28 bits.
pub const MAX_DISTANCE: u32 = 31;

/// Bytes of one packed photo: both hashes, little-endian words.
pub(super) const PACKED: usize = 64;

/// Photos compared with one table before the next one is taken: the table stays in the cache for that long.
const BLOCK: usize = 1 << 16;

/// Photos of a ledger from which tables of bounds are worth their making: 0.1 s for many questions.
const BOUNDED: u64 = 200_000;
/// Of so many hashes the bounds leave one, about: more than of random ones, as rooms resemble each other.
const LEFT: u64 = 100;

/// Asked photos of one pass; more are searched in several passes: with more questions the bounds turn away little.
pub(super) const MAX_ASKED: usize = 384;

/// Where a photo is kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Place {
    /// The job's number in its store.
    pub(super) job: i64,
    /// Which photo of the job, from 0.
    pub(super) position: i32,
}

/// The smallest distance found for an asked photo and a kept one, and the turn it was found in.
pub(super) type Found = BTreeMap<(usize, Place), (u32, usize)>;

/// Packs a hash for the pass.
pub(super) fn pack(hash: &PerceptualHash) -> [u8; PACKED] {
    let mut out = [0; PACKED];
    let words = hash.gradient.iter().chain(&hash.cosine);
    for (chunk, word) in out.chunks_exact_mut(8).zip(words) {
        chunk.copy_from_slice(&word.to_le_bytes());
    }
    out
}

/// Reads a packed hash.
pub(super) fn unpack(bytes: &[u8]) -> PerceptualHash {
    let mut words = bytes
        .as_chunks::<8>()
        .0
        .iter()
        .map(|c| u64::from_le_bytes(*c));
    let mut four = || [(); 4].map(|()| words.next().unwrap_or(0));
    PerceptualHash {
        gradient: four(),
        cosine: four(),
    }
}

/// Bytes of packed hashes in a batch.
const BATCH_BYTES: usize = 8 << 20;

/// Packed photos of many jobs, read from a store together.
#[derive(Debug, Default)]
pub(super) struct Batch {
    packed: Vec<u8>,
    /// The words of the same photos.
    words: Vec<u8>,
    /// The jobs' numbers, and where their photos begin.
    jobs: Vec<(i64, usize)>,
}

impl Batch {
    /// Adds the photos of a job, hashes and words each packed one after the other in the order of their positions;
    /// photos without words have none to share.
    pub(super) fn push(&mut self, job: i64, packed: &[u8], words: &[u8]) {
        if self.jobs.is_empty() {
            // Grown step by step, it would be moved at every step.
            self.packed.reserve(BATCH_BYTES + packed.len());
            self.words
                .reserve(BATCH_BYTES / PACKED * PACKED_WORDS + words.len());
        }
        self.jobs.push((job, self.packed.len()));
        let photos = packed.len() / PACKED;
        let hashes = packed.get(..photos * PACKED).unwrap_or_default();
        self.packed.extend_from_slice(hashes);
        append(&mut self.words, words, photos);
    }

    /// Whether it is time to compare it.
    pub(super) fn is_full(&self) -> bool {
        self.packed.len() >= BATCH_BYTES
    }

    /// Where the photo at `at` of the batch is kept.
    fn place(&self, at: usize) -> Option<Place> {
        let byte = at * PACKED;
        let after = self.jobs.partition_point(|(_, start)| *start <= byte);
        let (job, start) = self.jobs.get(after.checked_sub(1)?)?;
        Some(Place {
            job: *job,
            position: ((byte - start) / PACKED) as i32,
        })
    }
}

/// The hashes of a block of photos, word by word: a piece of all of them lies in one or two runs of memory.
struct Words([Vec<u64>; PACKED / 8]);

impl Words {
    fn of(packed: &[u8]) -> Self {
        Self(std::array::from_fn(|i| {
            let words = packed.as_chunks::<PACKED>().0.iter();
            let word = words.map(|photo| photo.as_chunks::<8>().0.get(i).copied());
            word.map(|word| u64::from_le_bytes(word.unwrap_or_default()))
                .collect()
        }))
    }

    /// The words of one kind of hash.
    fn kind(&self, kind: Kind) -> [&[u64]; 4] {
        let [a, b, c, d, e, f, g, h] = &self.0;
        match kind {
            Kind::Gradient => [a, b, c, d],
            Kind::Cosine => [e, f, g, h],
        }
    }
}

#[derive(Debug, Clone, Copy)]
enum Kind {
    Gradient,
    Cosine,
}

/// Compares all batches that `read` sends, while it goes on reading: photos that are near as a whole, and those that may be
/// so in parts.
pub(super) fn pass_all<E>(
    scan: &Scan,
    read: impl FnOnce(&dyn Fn(Batch) -> bool) -> Result<(), E>,
) -> Result<(Found, Parts), E> {
    // One batch waits while another is compared and a third is read: three batches of memory, no more.
    let (send, receive) = mpsc::sync_channel::<Batch>(1);
    std::thread::scope(|scope| {
        let comparing = scope.spawn(move || {
            let (mut found, mut tally) = (Found::new(), Tally::default());
            for batch in receive {
                found.extend(scan.pass(&batch, &mut tally));
            }
            (found, tally.leads(&scan.words))
        });
        let read = read(&|batch| send.send(batch).is_ok());
        drop(send);
        let found = comparing.join();
        read.map(|()| match found {
            Ok(found) => found,
            Err(panic) => std::panic::resume_unwind(panic),
        })
    })
}

/// A value as it is looked up: spread evenly, so that its upper bits tell it apart. One to one.
pub(super) fn spread(value: u32) -> u32 {
    // Knuth's multiplicative hash: 2^32 over the golden ratio.
    value.wrapping_mul(0x9E37_79B1)
}

/// The values within the radius of one piece of any asked hash.
struct Table {
    piece: Piece,
    /// One bit a value: whether any asked hash is near it.
    bits: Vec<u64>,
    /// Start of each bucket of `entries`; a value's bucket is the top of its scrambled bits.
    starts: Vec<u32>,
    shift: u32,
    /// Value and number of the asked hash.
    entries: Vec<(u32, u32)>,
}

impl Table {
    fn new(piece: Piece, hashes: &[[u64; 4]]) -> Self {
        let count = hashes.len() as f64 * piece.ball();
        let log = (count.max(1.0).log2().ceil() as u32).clamp(1, 22);
        let mut table = Self {
            piece,
            bits: vec![0; (1usize << piece.bits).div_ceil(64)],
            starts: vec![0; (1 << log) + 1],
            shift: 32 - log,
            entries: Vec::new(),
        };
        for hash in hashes {
            piece.each_near(piece.of(hash), &mut |value| {
                let bucket = table.bucket(value);
                if let Some(count) = table.starts.get_mut(bucket + 1) {
                    *count += 1;
                }
                if let Some(word) = table.bits.get_mut(value as usize / 64) {
                    *word |= 1 << (value % 64);
                }
            });
        }
        let sum = sum_up(&mut table.starts);
        table.entries = vec![(0, 0); sum as usize];
        let mut next = table.starts.clone();
        for (number, hash) in hashes.iter().enumerate() {
            piece.each_near(piece.of(hash), &mut |value| {
                let bucket = table.bucket(value);
                let Some(at) = next.get_mut(bucket) else {
                    return;
                };
                if let Some(entry) = table.entries.get_mut(*at as usize) {
                    *entry = (value, number as u32);
                }
                *at += 1;
            });
        }
        table
    }

    fn bucket(&self, value: u32) -> usize {
        (spread(value) >> self.shift) as usize
    }

    fn may_hold(&self, value: u32) -> bool {
        self.bits
            .get(value as usize / 64)
            .is_some_and(|word| word >> (value % 64) & 1 == 1)
    }

    /// Where the asked hashes that are near `value` are, among others.
    fn range(&self, value: u32) -> (u32, u32) {
        let bucket = self.bucket(value);
        match self.starts.get(bucket..bucket + 2) {
            Some(&[start, end]) => (start, end),
            _ => (0, 0),
        }
    }

    /// Calls `hit` with position, asked number and distance of every kept hash that this table leads to. Each step is
    /// done for all photos before the next: what the processor waits for, it then waits for together.
    fn compare(
        &self,
        asked: &[[u64; 4]],
        kept: [&[u64]; 4],
        hit: &mut impl FnMut(usize, usize, u32),
    ) {
        let values = self.piece.of_all(kept);
        let near: Vec<(u32, u32)> = values
            .enumerate()
            .filter(|(_, value)| self.may_hold(*value))
            .map(|(at, value)| (at as u32, value))
            .collect();
        let ranges: Vec<(u32, u32)> = near.iter().map(|(_, value)| self.range(*value)).collect();
        let mut pairs: Vec<(u32, u32)> = Vec::with_capacity(near.len());
        for ((at, value), (start, end)) in near.iter().zip(ranges) {
            let entries = self.entries.get(start as usize..end as usize);
            let same = entries
                .unwrap_or_default()
                .iter()
                .filter(|(kept, _)| kept == value);
            pairs.extend(same.map(|(_, number)| (*at, *number)));
        }
        for (at, number) in pairs {
            let (at, number) = (at as usize, number as usize);
            let hash = kept.map(|words| words.get(at).copied().unwrap_or(0));
            let distance = asked
                .get(number)
                .map_or(u32::MAX, |asked| hamming(asked, &hash));
            if distance <= MAX_DISTANCE {
                hit(at, number, distance);
            }
        }
    }
}

/// The asked hashes of one kind in all orientations.
struct Asked {
    hashes: Vec<[u64; 4]>,
    /// Turns away most kept hashes of a large ledger.
    bounds: Option<Bounds>,
    /// Lead from those that are left to the asked hashes that are near.
    tables: Vec<Table>,
}

impl Asked {
    fn new(hashes: Vec<[u64; 4]>, kept: u64) -> Self {
        let bounds = (kept >= BOUNDED).then(|| Bounds::new(&hashes));
        let left = if bounds.is_some() { kept / LEFT } else { kept };
        let pieces = cheapest(MAX_DISTANCE, hashes.len(), left);
        let tables = pieces.par_iter().map(|piece| Table::new(*piece, &hashes));
        Self {
            tables: tables.collect(),
            bounds,
            hashes,
        }
    }

    /// Calls `hit` with position, asked number and distance of every kept hash that is near.
    fn compare(&self, kept: [&[u64]; 4], hit: &mut impl FnMut(usize, usize, u32)) {
        let Some(bounds) = &self.bounds else {
            for table in &self.tables {
                table.compare(&self.hashes, kept, hit);
            }
            return;
        };
        let (left, words) = bounds.may_be_near(kept, MAX_DISTANCE);
        for table in &self.tables {
            let words = words.each_ref().map(Vec::as_slice);
            table.compare(&self.hashes, words, &mut |at, number, distance| {
                if let Some(at) = left.get(at) {
                    hit(*at as usize, number, distance);
                }
            });
        }
    }
}

/// The asked photos, ready for a pass over a ledger.
pub(super) struct Scan {
    gradient: Asked,
    cosine: Asked,
    words: Questions,
}

impl Scan {
    /// Makes the tables of the asked photos in all orientations for a ledger of about `kept` photos.
    pub(super) fn new(asked: &[&TurnedHashes], words: &[TurnedWords], kept: u64) -> Self {
        let all = || asked.iter().flat_map(|turned| turned.iter());
        Self {
            gradient: Asked::new(all().map(|h| h.gradient).collect(), kept),
            cosine: Asked::new(all().map(|h| h.cosine).collect(), kept),
            words: Questions::new(words),
        }
    }

    /// Compares the photos of a batch, and counts the words they share.
    fn pass(&self, batch: &Batch, tally: &mut Tally) -> Found {
        let blocks = batch.packed.par_chunks(BLOCK * PACKED);
        let words = batch.words.par_chunks(BLOCK * PACKED_WORDS);
        let parts: Vec<(Found, Vec<(u32, u32)>)> = blocks
            .zip(words)
            .enumerate()
            .map(|(i, (packed, words))| {
                let found = self.block(batch, i * BLOCK, &Words::of(packed));
                (found, self.words.hits(words))
            })
            .collect();
        let mut found = Found::new();
        for (i, (near, hits)) in parts.into_iter().enumerate() {
            found.extend(near);
            let places = hits.into_iter().filter_map(|(word, at)| {
                let place = batch.place(i * BLOCK + at as usize)?;
                Some((word, place))
            });
            tally.add(&self.words, places);
        }
        found
    }

    fn block(&self, batch: &Batch, first: usize, words: &Words) -> Found {
        let mut found = Found::new();
        let mut hit = |at: usize, number: usize, distance: u32| {
            let Some(place) = batch.place(first + at) else {
                return;
            };
            let best = found.entry((number / 8, place)).or_insert((u32::MAX, 0));
            *best = (*best).min((distance, number % 8));
        };
        self.gradient.compare(words.kind(Kind::Gradient), &mut hit);
        self.cosine.compare(words.kind(Kind::Cosine), &mut hit);
        found
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ledger::draw;

    #[test]
    fn packing_keeps_the_hash() {
        let mut state = 9;
        let hash = PerceptualHash {
            gradient: [(); 4].map(|()| draw(&mut state)),
            cosine: [(); 4].map(|()| draw(&mut state)),
        };
        assert_eq!(unpack(&pack(&hash)), hash);
    }

    #[test]
    fn the_pass_finds_exactly_what_an_exhaustive_scan_finds() {
        let mut state = 77;
        let random = |state: &mut u64| PerceptualHash {
            gradient: [(); 4].map(|()| draw(state)),
            cosine: [(); 4].map(|()| draw(state)),
        };
        let ledger: Vec<PerceptualHash> = (0..3000).map(|_| random(&mut state)).collect();
        // Asked: ledger hashes with 0 to 39 bits flipped, one orientation each.
        let asked: Vec<TurnedHashes> = (0..80usize)
            .map(|i| {
                let mut turned = [(); 8].map(|()| random(&mut state));
                let mut hash = ledger[i * 37];
                for _ in 0..i / 2 {
                    let bit = draw(&mut state) % 256;
                    hash.gradient[(bit / 64) as usize] ^= 1 << (bit % 64);
                    hash.cosine[(bit / 64) as usize] ^= 1 << (63 - bit % 64);
                }
                turned[i % 8] = hash;
                turned
            })
            .collect();
        let place = |j: usize| Place {
            job: 7,
            position: j as i32,
        };
        let mut expected = Found::new();
        for (i, turned) in asked.iter().enumerate() {
            for (j, kept) in ledger.iter().enumerate() {
                for (t, hash) in turned.iter().enumerate() {
                    let distance = hash.distance(kept);
                    if distance <= MAX_DISTANCE {
                        let best = expected.entry((i, place(j))).or_insert((u32::MAX, 0));
                        *best = (*best).min((distance, t));
                    }
                }
            }
        }
        let packed: Vec<u8> = ledger.iter().flat_map(pack).collect();
        assert!(expected.len() >= 60);
        // With few questions and many, and whatever size of ledger the tables are made for.
        for asking in [1, 8, asked.len()] {
            let asked: Vec<&TurnedHashes> = asked.iter().take(asking).collect();
            let mut expected = expected.clone();
            expected.retain(|(i, _), _| *i < asking);
            for kept in [0, 3000, 1_000_000, 10_000_000] {
                let scan = Scan::new(&asked, &[], kept);
                let mut batch = Batch::default();
                batch.push(6, &packed[..7 * PACKED], &[]);
                batch.push(7, &packed, &[]);
                let mut found = scan.pass(&batch, &mut Tally::default());
                found.retain(|(_, place), _| place.job == 7);
                assert_eq!(found, expected);
            }
        }
    }
}
