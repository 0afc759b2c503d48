//! Which pairs of a job are worth a look: perceptual hashes for whole pictures, shared descriptor
//! words for parts of pictures. Cost grows with the number of real likenesses, not of pairs.

use crate::measure::feature::{DESCRIPTOR_LEN, Feature, Features, Turn};
use crate::measure::phash::TurnedHashes;

/// Hash tables and bits of a word. A word must match in full, so copies share many words and other
/// pictures few.
const TABLES: usize = 6;
const WORD_BITS: usize = 18;
/// Features of a photo that are indexed, strongest first.
const INDEXED: usize = 1500;
/// Features of a photo that ask, strongest first.
const ASKING: usize = 800;
/// A word that more photos share says nothing.
const MAX_BUCKET: usize = 48;

/// A pair worth comparing: photo `b` laid as `turn` resembles photo `a`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Lead {
    pub(super) a: usize,
    pub(super) b: usize,
    /// Index into [`Turn::ALL`].
    pub(super) turn: usize,
    /// Shared descriptor words.
    pub(super) votes: u32,
}

/// One bit of a word: which sum of two descriptor values is larger.
type Test = [u8; 4];

/// The fixed tests of all tables. Seeded: the same words on every machine.
fn tests() -> Vec<[Test; WORD_BITS]> {
    let mut state = 0x5DEE_CE66_D1CE_4E5B_u64;
    let mut draw = || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        (state >> 32) as u8 % DESCRIPTOR_LEN as u8
    };
    let mut tables = Vec::with_capacity(TABLES);
    for _ in 0..TABLES {
        tables.push([(); WORD_BITS].map(|()| [draw(), draw(), draw(), draw()]));
    }
    tables
}

fn word(feature: &Feature, tests: &[Test; WORD_BITS]) -> u32 {
    let value = |i: u8| u16::from(feature.descriptor.get(usize::from(i)).copied().unwrap_or(0));
    let bits = tests.iter().fold(0, |word, [a, b, c, d]| {
        word << 1 | u32::from(value(*a) + value(*b) > value(*c) + value(*d))
    });
    bits << 1 | u32::from(feature.keypoint.bright)
}

/// An index of the descriptor words of several photos.
pub(super) struct WordIndex {
    tests: Vec<[Test; WORD_BITS]>,
    /// For each table the sorted (word, photo).
    tables: Vec<Vec<(u32, u32)>>,
    photos: usize,
}

impl WordIndex {
    /// Indexes the unturned features of `photos`.
    pub(super) fn new(photos: &[&Features]) -> Self {
        let tests = tests();
        let tables = tests
            .iter()
            .map(|table| {
                let mut entries: Vec<(u32, u32)> = photos
                    .iter()
                    .enumerate()
                    .flat_map(|(i, f)| {
                        f.list
                            .iter()
                            .take(INDEXED)
                            .map(move |f| (word(f, table), i as u32))
                    })
                    .collect();
                entries.sort_unstable();
                entries.dedup();
                entries
            })
            .collect();
        Self {
            tests,
            tables,
            photos: photos.len(),
        }
    }

    /// Votes for each (photo, turn) below `end`: words that `features`, laid as `turn`, shares.
    pub(super) fn votes(&self, features: &Features, end: usize) -> Vec<[u32; 8]> {
        let mut votes = vec![[0u32; 8]; self.photos];
        for (t, turn) in Turn::ALL.iter().enumerate() {
            let strongest = Features {
                list: features.list.iter().take(ASKING).cloned().collect(),
                ..*features
            };
            for feature in &strongest.turned(*turn).list {
                for (tests, table) in self.tests.iter().zip(&self.tables) {
                    let key = word(feature, tests);
                    let start = table.partition_point(|e| e.0 < key);
                    let bucket = table.get(start..).unwrap_or_default();
                    let len = bucket
                        .iter()
                        .take(MAX_BUCKET + 1)
                        .take_while(|e| e.0 == key)
                        .count();
                    if len > MAX_BUCKET {
                        continue;
                    }
                    for (_, photo) in bucket.iter().take(len) {
                        let vote = votes.get_mut(*photo as usize).and_then(|v| v.get_mut(t));
                        if let (true, Some(vote)) = ((*photo as usize) < end, vote) {
                            *vote += 1;
                        }
                    }
                }
            }
        }
        votes
    }
}

/// The turns of b in which its hash is nearest to that of a, with the distance.
pub(super) fn hash_leads(a: &TurnedHashes, b: &TurnedHashes) -> [u32; 8] {
    let [first, ..] = a;
    b.map(|turned| first.distance(&turned))
}
