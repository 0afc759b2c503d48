//! Which pairs of a job are worth a look: perceptual hashes for whole pictures, shared descriptor
//! words for parts of pictures. Cost grows with the number of real likenesses, not of pairs.

use pulp::{Arch, Simd, WithSimd};
use rayon::prelude::*;

use crate::error::Error;
use crate::measure::Shelf;
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

/// A pair worth comparing: the asking photo laid as `turn` resembles photo `a`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Lead {
    pub(super) a: usize,
    /// Index into [`Turn::ALL`].
    pub(super) turn: usize,
    /// Shared descriptor words.
    pub(super) votes: u32,
}

/// One bit of a word: which sum of two descriptor values is larger.
type Test = [u8; 4];

/// The fixed tests of all tables. Seeded: the same words on every machine.
fn tests() -> [[Test; WORD_BITS]; TABLES] {
    let mut state = 0x5DEE_CE66_D1CE_4E5B_u64;
    let mut draw = || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        (state >> 32) as u8 % DESCRIPTOR_LEN as u8
    };
    [(); TABLES].map(|()| [(); WORD_BITS].map(|()| [draw(), draw(), draw(), draw()]))
}

/// Descriptors by position of their values, so that a test is made on many features at once.
struct Columns {
    /// First all first values, then all second ones, and so on.
    values: Vec<u8>,
    bright: Vec<bool>,
}

impl Columns {
    fn new(list: &[Feature]) -> Self {
        let mut values = vec![0; list.len() * DESCRIPTOR_LEN];
        for (i, feature) in list.iter().enumerate() {
            let column = values.iter_mut().skip(i).step_by(list.len());
            for (place, value) in column.zip(feature.descriptor) {
                *place = value;
            }
        }
        Self {
            values,
            bright: list.iter().map(|f| f.keypoint.bright).collect(),
        }
    }

    fn column(&self, at: u8) -> &[u8] {
        let (at, count) = (usize::from(at), self.bright.len());
        self.values
            .get(at * count..(at + 1) * count)
            .unwrap_or_default()
    }

    /// The word of every feature. Values are at most 127, so two of them fit into a byte.
    fn words(&self, tests: &[Test; WORD_BITS]) -> Vec<u32> {
        let mut words = vec![0u32; self.bright.len()];
        let arch = Arch::new();
        for test in tests {
            let columns = test.map(|at| self.column(at));
            arch.dispatch(Append(&mut words, columns));
        }
        for (word, bright) in words.iter_mut().zip(&self.bright) {
            *word = *word << 1 | u32::from(*bright);
        }
        words
    }
}

/// Words, and the four columns whose comparison is the next bit of each.
struct Append<'a>(&'a mut [u32], [&'a [u8]; 4]);

impl WithSimd for Append<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) {
        let [a, b, c, d] = self.1;
        let values = a.iter().zip(b).zip(c.iter().zip(d));
        for (word, ((a, b), (c, d))) in self.0.iter_mut().zip(values) {
            *word = *word << 1 | u32::from(a.wrapping_add(*b) > c.wrapping_add(*d));
        }
    }
}

/// One hash table: photos by word, with the start of every word's bucket.
struct Table {
    starts: Vec<u32>,
    photos: Vec<u32>,
}

impl Table {
    /// `words` of each photo.
    fn new(words: &[&[u32]]) -> Self {
        let mut entries: Vec<(u32, u32)> = (0..)
            .zip(words)
            .flat_map(|(photo, words)| words.iter().map(move |word| (*word, photo)))
            .collect();
        entries.sort_unstable();
        entries.dedup();
        let mut starts = vec![0u32; (1 << (WORD_BITS + 1)) + 1];
        for (word, _) in &entries {
            if let Some(count) = starts.get_mut(*word as usize + 1) {
                *count += 1;
            }
        }
        sum_up(&mut starts);
        Self {
            starts,
            photos: entries.into_iter().map(|(_, photo)| photo).collect(),
        }
    }

    fn bucket(&self, word: u32) -> &[u32] {
        let range = self.starts.get(word as usize..word as usize + 2);
        match range {
            Some(&[from, to]) => self
                .photos
                .get(from as usize..to as usize)
                .unwrap_or_default(),
            _ => &[],
        }
    }
}

/// Makes starts of buckets of their sizes, each size standing one place after its bucket; the sum of all.
pub(crate) fn sum_up(sizes: &mut [u32]) -> u32 {
    let mut sum = 0;
    for size in sizes {
        sum += *size;
        *size = sum;
    }
    sum
}

/// An index of the descriptor words of several photos.
pub(super) struct WordIndex {
    tables: Vec<([Test; WORD_BITS], Table)>,
    photos: usize,
}

/// The words of one photo in each table.
type Words = [Vec<u32>; TABLES];

/// The words of the strongest features, unturned.
fn words_of(features: &Features, tests: &[[Test; WORD_BITS]; TABLES]) -> Words {
    let columns = Columns::new(features.list.get(..INDEXED).unwrap_or(&features.list));
    tests.each_ref().map(|tests| columns.words(tests))
}

impl WordIndex {
    /// Indexes the unturned features of one photo.
    pub(super) fn of_one(features: &Features) -> Self {
        let tests = tests();
        Self::new(tests, &[words_of(features, &tests)])
    }

    /// Indexes the unturned features of the photos of a job.
    pub(super) fn of_shelf(photos: &Shelf) -> Result<Self, Error> {
        let tests = tests();
        let words: Result<Vec<Words>, Error> = (0..photos.len())
            .into_par_iter()
            .map(|photo| Ok(words_of(&photos.get(photo)?.features, &tests)))
            .collect();
        Ok(Self::new(tests, &words?))
    }

    fn new(tests: [[Test; WORD_BITS]; TABLES], photos: &[Words]) -> Self {
        let tables = tests.into_par_iter().enumerate();
        let tables = tables.map(|(at, tests)| {
            let words: Vec<&[u32]> = photos.iter().map(|words| words[at].as_slice()).collect();
            (tests, Table::new(&words))
        });
        Self {
            tables: tables.collect(),
            photos: photos.len(),
        }
    }

    /// Votes for the photos before `end` in each turn: words that `features`, so laid, shares.
    pub(super) fn votes(&self, features: &Features, end: usize) -> Vec<[u32; 8]> {
        let end = end.min(self.photos);
        let mut votes = vec![[0u32; 8]; end];
        let strongest = features.strongest(ASKING);
        for (t, turn) in Turn::ALL.iter().enumerate() {
            let columns = Columns::new(&strongest.turned(*turn).list);
            for (tests, table) in &self.tables {
                for word in columns.words(tests) {
                    let bucket = table.bucket(word);
                    if bucket.len() > MAX_BUCKET {
                        continue;
                    }
                    for photo in bucket {
                        let vote = votes.get_mut(*photo as usize).and_then(|v| v.get_mut(t));
                        if let Some(vote) = vote {
                            *vote += 1;
                        }
                    }
                }
            }
        }
        votes
    }
}

/// Fewest shared words of a lead.
const MIN_VOTES: u32 = 24;
/// A lead shares this many times more words than the mean of the photo's other pairs.
const VOTES_OVER_MEAN: f64 = 2.5;

/// Votes from which a lead is looked at whatever others there are: copies measured 481 and more of some 2,000 (reduced to a
/// quarter of the size), photos that only share a room or a fitting mostly below 60.
const STRONG: u32 = 100;
/// Leads below that, those with most votes: in a large job there are as many as photos of rooms alike.
const WEAK_LEADS: usize = 6;
/// A turn with fewer votes than this part of those of the likeliest one is not looked at: a copy's words are shared in
/// the turn in which it lies.
const LIKELIEST: u32 = 4;

/// The turns worth a look in each photo before `end`, most votes first, two a photo at most.
pub(super) fn word_leads(votes: &[[u32; 8]]) -> Vec<Lead> {
    let total: u64 = votes.iter().flatten().map(|&v| u64::from(v)).sum();
    let largest = votes.iter().flatten().max().copied().unwrap_or(0);
    let cells = (votes.len() * 8).saturating_sub(1).max(1) as f64;
    let mean = (total - u64::from(largest)) as f64 / cells;
    let least = MIN_VOTES.max((mean * VOTES_OVER_MEAN) as u32);
    let (mut leads, mut weak) = (Vec::new(), Vec::new());
    for (a, row) in votes.iter().enumerate() {
        let turns = most_votes(row).map(|turn| (turn, row.get(turn).copied().unwrap_or(0)));
        let [(_, most), _] = turns;
        for (turn, votes) in turns {
            if votes >= least.max(most / LIKELIEST) {
                let list = if votes < STRONG {
                    &mut weak
                } else {
                    &mut leads
                };
                list.push(Lead { a, turn, votes });
            }
        }
    }
    weak.sort_by_key(|lead| (std::cmp::Reverse(lead.votes), lead.a));
    leads.extend(weak.into_iter().take(WEAK_LEADS));
    leads.sort_by_key(|lead| (lead.a, std::cmp::Reverse(lead.votes), lead.turn));
    leads
}

/// The turns worth a look in the only photo of an index: there are no other photos to hold its votes against.
pub(super) fn likeliest_turns(votes: &[[u32; 8]]) -> Vec<usize> {
    votes.first().map(most_votes).unwrap_or_default().to_vec()
}

/// The two turns with most votes, most first.
fn most_votes(row: &[u32; 8]) -> [usize; 2] {
    let mut turns = [0, 1, 2, 3, 4, 5, 6, 7];
    turns.sort_by_key(|&t| (std::cmp::Reverse(row.get(t).copied()), t));
    let [first, second, ..] = turns;
    [first, second]
}

/// The turns of b in which its hash is nearest to that of a, with the distance.
pub(super) fn hash_leads(a: &TurnedHashes, b: &TurnedHashes) -> [u32; 8] {
    let [first, ..] = a;
    b.map(|turned| first.distance(&turned))
}
