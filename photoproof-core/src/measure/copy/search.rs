//! Which pairs of a job are worth a look: perceptual hashes for whole pictures, shared descriptor
//! words for parts of pictures. Cost grows with the number of real likenesses, not of pairs.

use std::ops::Range;

use pulp::{Arch, Simd, WithSimd};
use rayon::prelude::*;

use super::coherence::{Spots, is_coherent};
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

/// One hash table: photos by word, each once, with the start of every word's bucket.
struct Table {
    starts: Vec<u32>,
    photos: Vec<u32>,
    /// Strongest feature of the photo that has the word.
    features: Vec<u16>,
}

impl Table {
    /// `words` of each photo.
    fn new(words: &[&[u32]]) -> Self {
        let mut entries: Vec<(u32, u32, u16)> = (0..)
            .zip(words)
            .flat_map(|(photo, words)| (0..).zip(*words).map(move |(i, word)| (*word, photo, i)))
            .collect();
        entries.sort_unstable();
        entries.dedup_by_key(|(word, photo, _)| (*word, *photo));
        let mut starts = vec![0u32; (1 << (WORD_BITS + 1)) + 1];
        for (word, ..) in &entries {
            if let Some(count) = starts.get_mut(*word as usize + 1) {
                *count += 1;
            }
        }
        sum_up(&mut starts);
        Self {
            starts,
            photos: entries.iter().map(|(_, photo, _)| *photo).collect(),
            features: entries.iter().map(|(.., feature)| *feature).collect(),
        }
    }

    /// Place of the photos that have `word`; none where there are so many that it says nothing.
    fn bucket(&self, word: u32) -> Range<usize> {
        match self.starts.get(word as usize..word as usize + 2) {
            Some(&[from, to]) if (to - from) as usize <= MAX_BUCKET => from as usize..to as usize,
            _ => 0..0,
        }
    }

    /// Photos that have `word`.
    fn photos(&self, word: u32) -> &[u32] {
        self.photos.get(self.bucket(word)).unwrap_or_default()
    }

    /// Photos that have `word`, each with its feature.
    fn entries(&self, word: u32) -> impl Iterator<Item = (usize, u16)> {
        let place = self.bucket(word);
        let features = self.features.get(place.clone()).unwrap_or_default();
        let photos = self.photos.get(place).unwrap_or_default();
        let photos = photos.iter().map(|photo| *photo as usize);
        photos.zip(features.iter().copied())
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
    photos: Vec<Spots>,
}

/// The words of one photo in each table.
type Words = [Vec<u32>; TABLES];

/// The words of the strongest features, unturned, and where they lie.
fn words_of(features: &Features, tests: &[[Test; WORD_BITS]; TABLES]) -> (Words, Spots) {
    let columns = Columns::new(features.list.get(..INDEXED).unwrap_or(&features.list));
    let words = tests.each_ref().map(|tests| columns.words(tests));
    (words, Spots::new(features, INDEXED))
}

/// A photo that asks, laid as one of the eight turns.
struct Laid {
    words: Vec<Vec<u32>>,
    spots: Spots,
}

impl WordIndex {
    /// Indexes the unturned features of one photo.
    pub(super) fn of_one(features: &Features) -> Self {
        let tests = tests();
        Self::new(tests, vec![words_of(features, &tests)])
    }

    /// Indexes the unturned features of the photos of a job.
    pub(super) fn of_shelf(photos: &Shelf) -> Result<Self, Error> {
        let tests = tests();
        let words: Result<Vec<_>, Error> = (0..photos.len())
            .into_par_iter()
            .map(|photo| Ok(words_of(&photos.get(photo)?.features, &tests)))
            .collect();
        Ok(Self::new(tests, words?))
    }

    fn new(tests: [[Test; WORD_BITS]; TABLES], photos: Vec<(Words, Spots)>) -> Self {
        let (all, spots): (Vec<Words>, Vec<Spots>) = photos.into_iter().unzip();
        let tables = tests.into_par_iter().enumerate();
        let tables = tables.map(|(at, tests)| {
            let words: Vec<&[u32]> = all.iter().map(|words| words[at].as_slice()).collect();
            (tests, Table::new(&words))
        });
        Self {
            tables: tables.collect(),
            photos: spots,
        }
    }

    /// `features` laid as each turn.
    fn laid(&self, features: &Features) -> [Laid; 8] {
        let strongest = features.strongest(ASKING);
        Turn::ALL.map(|turn| {
            let turned = strongest.turned(turn);
            let columns = Columns::new(&turned.list);
            Laid {
                words: self
                    .tables
                    .iter()
                    .map(|(tests, _)| columns.words(tests))
                    .collect(),
                spots: Spots::new(&turned, ASKING),
            }
        })
    }

    /// Votes for the photos before `end` in each turn: words that the photo, so laid, shares.
    fn votes(&self, laid: &[Laid; 8], end: usize) -> Vec<[u32; 8]> {
        let mut votes = vec![[0u32; 8]; end.min(self.photos.len())];
        for (turn, laid) in laid.iter().enumerate() {
            for ((_, table), words) in self.tables.iter().zip(&laid.words) {
                for photo in words.iter().flat_map(|word| table.photos(*word)) {
                    let row = votes.get_mut(*photo as usize);
                    if let Some(vote) = row.and_then(|row| row.get_mut(turn)) {
                        *vote += 1;
                    }
                }
            }
        }
        votes
    }

    /// The pairs worth a look of a photo with the ones before `end`.
    pub(super) fn leads(&self, features: &Features, end: usize) -> Vec<Lead> {
        let laid = self.laid(features);
        let leads = word_leads(&self.votes(&laid, end));
        let coherent = self.coherent(&laid, &leads);
        let both = leads.into_iter().zip(coherent);
        both.filter_map(|(lead, coherent)| coherent.then_some(lead))
            .collect()
    }

    /// Which of the leads share words that lie as in a copy.
    fn coherent(&self, laid: &[Laid; 8], leads: &[Lead]) -> Vec<bool> {
        let mut pairs = vec![Vec::new(); leads.len()];
        for (turn, laid) in laid.iter().enumerate() {
            if leads.iter().all(|lead| lead.turn != turn) {
                continue;
            }
            // Where a photo's lead in this turn stands.
            let mut places = vec![None; self.photos.len()];
            for (at, lead) in (0..).zip(leads).filter(|(_, lead)| lead.turn == turn) {
                if let Some(place) = places.get_mut(lead.a) {
                    *place = Some(at);
                }
            }
            for (photo, pair) in self.shared(laid) {
                let at: Option<usize> = places.get(photo).copied().flatten();
                if let Some(list) = at.and_then(|at| pairs.get_mut(at)) {
                    list.push(pair);
                }
            }
        }
        let of_lead = |(lead, pairs): (&Lead, &mut Vec<(u16, u16)>)| {
            pairs.sort_unstable();
            pairs.dedup();
            let spots = (self.photos.get(lead.a), laid.get(lead.turn));
            matches!(spots, (Some(a), Some(b)) if is_coherent(pairs, a, &b.spots))
        };
        leads.iter().zip(&mut pairs).map(of_lead).collect()
    }

    /// Every photo that shares a word, with its feature and the one that asks.
    fn shared(&self, laid: &Laid) -> impl Iterator<Item = (usize, (u16, u16))> {
        let tables = self.tables.iter().zip(&laid.words);
        let words = tables.flat_map(|((_, table), words)| {
            let numbered = words.iter().zip(0u16..);
            numbered.map(move |(word, j)| (table.entries(*word), j))
        });
        words.flat_map(|(entries, j)| entries.map(move |(photo, i)| (photo, (i, j))))
    }

    /// Votes for the first photo in each turn.
    pub(super) fn votes_for_first(&self, features: &Features) -> [u32; 8] {
        let votes = self.votes(&self.laid(features), 1);
        votes.first().copied().unwrap_or_default()
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
fn word_leads(votes: &[[u32; 8]]) -> Vec<Lead> {
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

/// The two turns with most votes, most first.
pub(super) fn most_votes(row: &[u32; 8]) -> [usize; 2] {
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
