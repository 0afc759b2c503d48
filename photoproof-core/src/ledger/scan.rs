//! One pass over packed hashes against an index of the asked ones.

use std::collections::BTreeMap;

use crate::measure::phash::{PerceptualHash, TurnedHashes, hamming};

/// Hash distance, of 256 bits, up to which no photo of the ledger is missed. Copies that were
/// re-encoded, resized, recoloured, stamped, turned or mirrored measured 0 to 28 bits; with 16 chunks of
/// 16 bits two hashes within 31 bits share a chunk that differs in one bit at most.
pub const MAX_DISTANCE: u32 = 31;

/// Bytes of one packed photo: both hashes, little-endian words.
pub(super) const PACKED: usize = 64;

const CHUNKS: usize = 16;
const BUCKETS: usize = 1 << 16;

/// The smallest distance found for (asked photo, ledger photo), and the turn it was found in.
pub(super) type Found = BTreeMap<(usize, u64), (u32, usize)>;

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
        .chunks_exact(8)
        .map(|c| c.iter().rev().fold(0u64, |sum, b| sum << 8 | u64::from(*b)));
    let mut four = || [(); 4].map(|()| words.next().unwrap_or(0));
    PerceptualHash {
        gradient: four(),
        cosine: four(),
    }
}

/// Chunk index over the turned hashes of the asked photos, one kind of hash.
struct Index {
    hashes: Vec<[u64; 4]>,
    /// For each chunk position: start of each bucket, then the hash numbers.
    starts: Vec<Vec<u32>>,
    entries: Vec<Vec<u32>>,
}

fn chunks(hash: &[u64; 4]) -> [u16; CHUNKS] {
    let mut out = [0; CHUNKS];
    for (i, chunk) in out.iter_mut().enumerate() {
        let word = hash.get(i / 4).copied().unwrap_or(0);
        *chunk = (word >> (16 * (i % 4))) as u16;
    }
    out
}

impl Index {
    fn new(hashes: Vec<[u64; 4]>) -> Self {
        let mut starts = Vec::with_capacity(CHUNKS);
        let mut entries = Vec::with_capacity(CHUNKS);
        for position in 0..CHUNKS {
            let mut pairs: Vec<(u16, u32)> = Vec::with_capacity(hashes.len() * 17);
            for (number, hash) in hashes.iter().enumerate() {
                let chunk = chunks(hash).get(position).copied().unwrap_or(0);
                pairs.push((chunk, number as u32));
                pairs.extend((0..16).map(|bit| (chunk ^ (1 << bit), number as u32)));
            }
            pairs.sort_unstable();
            let mut start = vec![0u32; BUCKETS + 1];
            for (chunk, _) in &pairs {
                if let Some(count) = start.get_mut(usize::from(*chunk) + 1) {
                    *count += 1;
                }
            }
            let mut sum = 0;
            for value in &mut start {
                sum += *value;
                *value = sum;
            }
            starts.push(start);
            entries.push(pairs.into_iter().map(|(_, number)| number).collect());
        }
        Self {
            hashes,
            starts,
            entries,
        }
    }

    /// Calls `hit` with the number and distance of every asked hash within the distance.
    fn near(&self, hash: &[u64; 4], mut hit: impl FnMut(usize, u32)) {
        let tables = self.starts.iter().zip(&self.entries);
        for (chunk, (starts, entries)) in chunks(hash).into_iter().zip(tables) {
            let from = usize::from(chunk);
            let Some(&[start, end]) = starts.get(from..from + 2) else {
                continue;
            };
            for number in entries
                .get(start as usize..end as usize)
                .unwrap_or_default()
            {
                let Some(asked) = self.hashes.get(*number as usize) else {
                    continue;
                };
                let distance = hamming(asked, hash);
                if distance <= MAX_DISTANCE {
                    hit(*number as usize, distance);
                }
            }
        }
    }
}

/// The asked photos, ready for a pass over a ledger.
pub(super) struct Scan {
    gradient: Index,
    cosine: Index,
}

impl Scan {
    /// Indexes the asked photos in all orientations.
    pub(super) fn new(asked: &[&TurnedHashes]) -> Self {
        let all = || asked.iter().flat_map(|turned| turned.iter());
        Self {
            gradient: Index::new(all().map(|h| h.gradient).collect()),
            cosine: Index::new(all().map(|h| h.cosine).collect()),
        }
    }

    /// Compares the packed photos of one job; `key` numbers the first of them.
    pub(super) fn pass(&self, packed: &[u8], key: u64, found: &mut Found) {
        for (i, bytes) in packed.chunks_exact(PACKED).enumerate() {
            let hash = unpack(bytes);
            let mut hit = |number: usize, distance: u32| {
                let best = found
                    .entry((number / 8, key + i as u64))
                    .or_insert((u32::MAX, 0));
                *best = (*best).min((distance, number % 8));
            };
            self.gradient.near(&hash.gradient, &mut hit);
            self.cosine.near(&hash.cosine, &mut hit);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn draw(state: &mut u64) -> u64 {
        *state ^= *state << 13;
        *state ^= *state >> 7;
        *state ^= *state << 17;
        *state
    }

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
        let mut expected = Found::new();
        for (i, turned) in asked.iter().enumerate() {
            for (j, kept) in ledger.iter().enumerate() {
                for (t, hash) in turned.iter().enumerate() {
                    let distance = hash.distance(kept);
                    if distance <= MAX_DISTANCE {
                        let best = expected.entry((i, j as u64)).or_insert((u32::MAX, 0));
                        *best = (*best).min((distance, t));
                    }
                }
            }
        }
        let packed: Vec<u8> = ledger.iter().flat_map(pack).collect();
        let mut found = Found::new();
        Scan::new(&asked.iter().collect::<Vec<_>>()).pass(&packed, 0, &mut found);
        assert!(expected.len() >= 60);
        assert_eq!(found, expected);
    }
}
