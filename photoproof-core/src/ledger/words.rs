//! Leads to parts: words of keypoints that an asked photo shares with a kept one.
//!
//! A hash of the whole frame is blind to crops, borders, photos of a screen and pictures on a page. Their keypoints
//! are there: of every kept photo the words of its strongest keypoints lie packed beside its hashes, 256 bytes,
//! and the same pass asks them for the words of all asked photos in all orientations. A word of 32 bits is shared by
//! chance once in four thousand million; what is shared for a reason, such as the corner of a common fitting, is
//! shared by many photos and says nothing, so words that many kept photos hold are not counted. The photos with
//! most of the other words in common are leads, and geometry decides.

use rayon::prelude::*;

use super::CompactFeatures;
use super::scan::{Place, spread};
use crate::measure::copy::signature::TurnedWords;
use crate::measure::copy::sum_up;
use crate::measure::feature::Turn;

/// Words kept of a photo, of its strongest keypoints.
const KEPT: usize = 64;
/// Bytes of the words of one photo, little-endian; zeros where there are fewer.
pub(super) const PACKED_WORDS: usize = KEPT * 4;

/// A word that more kept photos hold says nothing.
const COMMON: u32 = 256;
/// A word that more asked photos hold, each turn counted, says nothing either.
const ASKED_BY: usize = 192;
/// Shared words of a lead. Copies of rendered rooms measured 1 (crops to half the area) and more, mostly 10 to 20.
const MIN_SHARED: u32 = 2;
/// Leads of one asked photo, those with most shared words.
const LEADS: usize = 12;

/// Packs the words of a photo for the pass.
pub(super) fn pack_words(features: &CompactFeatures) -> [u8; PACKED_WORDS] {
    let mut words: Vec<u32> = features.words().take(KEPT).collect();
    words.sort_unstable();
    words.dedup();
    let mut out = [0; PACKED_WORDS];
    for (place, word) in out.as_chunks_mut::<4>().0.iter_mut().zip(words) {
        *place = word.to_le_bytes();
    }
    out
}

/// Adds the words of so many more photos; those of an older version have none.
pub(super) fn append(words: &mut Vec<u8>, own: &[u8], photos: usize) {
    let end = words.len() + photos * PACKED_WORDS;
    words.extend_from_slice(own);
    words.resize(end, 0);
}

/// The words of the asked photos in all orientations.
pub(super) struct Questions {
    /// Distinct words, spread, sorted.
    words: Vec<u32>,
    /// Start of each word's askers, and the end of the last one's.
    starts: Vec<u32>,
    /// Asked photo times eight plus turn, by word.
    askers: Vec<u32>,
    /// Start of the words of each value of the upper bits.
    buckets: Vec<u32>,
    bucket_shift: u32,
    /// One bit for each value of more of the upper bits: whether any word has it.
    filter: Vec<u64>,
    filter_shift: u32,
}

impl Questions {
    /// Makes the questions of the asked photos.
    pub(super) fn new(asked: &[TurnedWords]) -> Self {
        let turned = asked.par_iter().enumerate().flat_map_iter(|(i, turns)| {
            let turns = turns.iter().enumerate();
            turns.flat_map(move |(turn, words)| {
                let asker = (i * Turn::ALL.len() + turn) as u32;
                words.iter().map(move |word| (spread(*word), asker))
            })
        });
        let mut all: Vec<(u32, u32)> = turned.collect();
        all.par_sort_unstable();
        let (mut words, mut starts, mut askers) = (Vec::new(), vec![0], Vec::new());
        for run in all.chunk_by(|a, b| a.0 == b.0) {
            if let (Some((word, _)), true) = (run.first(), run.len() <= ASKED_BY) {
                words.push(*word);
                askers.extend(run.iter().map(|(_, asker)| *asker));
                starts.push(askers.len() as u32);
            }
        }
        let log = words.len().max(1).ilog2();
        let (bucket_bits, filter_bits) = (log.clamp(1, 22), (log + 5).clamp(6, 27));
        let mut questions = Self {
            buckets: vec![0; (1 << bucket_bits) + 1],
            bucket_shift: 32 - bucket_bits,
            filter: vec![0; 1 << (filter_bits - 6)],
            filter_shift: 32 - filter_bits,
            words,
            starts,
            askers,
        };
        for word in &questions.words {
            let bit = word >> questions.filter_shift;
            if let Some(bits) = questions.filter.get_mut(bit as usize / 64) {
                *bits |= 1 << (bit % 64);
            }
            let bucket = (word >> questions.bucket_shift) as usize;
            if let Some(count) = questions.buckets.get_mut(bucket + 1) {
                *count += 1;
            }
        }
        sum_up(&mut questions.buckets);
        questions
    }

    fn may_hold(&self, word: u32) -> bool {
        let bit = word >> self.filter_shift;
        let bits = self.filter.get(bit as usize / 64);
        bits.is_some_and(|bits| bits >> (bit % 64) & 1 == 1)
    }

    /// The number of a word.
    fn number(&self, word: u32) -> Option<u32> {
        let bucket = (word >> self.bucket_shift) as usize;
        let &[start, end] = self.buckets.get(bucket..bucket + 2)? else {
            return None;
        };
        let words = self.words.get(start as usize..end as usize)?;
        let at = words.binary_search(&word).ok()?;
        Some(start + at as u32)
    }

    /// Numbers of the asked words that packed photos hold, each with the place of the photo among them.
    pub(super) fn hits(&self, packed: &[u8]) -> Vec<(u32, u32)> {
        let photos = packed.as_chunks::<PACKED_WORDS>().0.iter();
        let mut likely = Vec::new();
        for (at, photo) in (0u32..).zip(photos) {
            let words = photo.as_chunks::<4>().0.iter();
            let words = words.map(|word| u32::from_le_bytes(*word));
            let words = words.filter(|word| *word != 0).map(spread);
            likely.extend(
                words
                    .filter(|word| self.may_hold(*word))
                    .map(|word| (word, at)),
            );
        }
        likely
            .into_iter()
            .filter_map(|(word, at)| Some((self.number(word)?, at)))
            .collect()
    }
}

/// What a pass has counted so far.
#[derive(Debug, Default)]
pub(super) struct Tally {
    /// Kept photos that hold each asked word.
    counts: Vec<u32>,
    /// Word and place, of words that are not common so far.
    hits: Vec<(u32, Place)>,
}

/// The turn in which an asked photo shares words with a kept one.
pub(super) type Parts = Vec<((usize, Place), usize)>;

impl Tally {
    /// Counts the hits of one batch.
    pub(super) fn add(&mut self, questions: &Questions, hits: impl Iterator<Item = (u32, Place)>) {
        self.counts.resize(questions.words.len(), 0);
        for (word, place) in hits {
            if let Some(count) = self.counts.get_mut(word as usize) {
                *count += 1;
                if *count <= COMMON {
                    self.hits.push((word, place));
                }
            }
        }
    }

    /// The leads of all asked photos. The order in which photos were counted makes no difference.
    pub(super) fn leads(self, questions: &Questions) -> Parts {
        let telling = |word: u32| self.counts.get(word as usize).is_some_and(|n| *n <= COMMON);
        let mut votes: Vec<(u32, Place)> = Vec::new();
        for (word, place) in self.hits.iter().filter(|(word, _)| telling(*word)) {
            let range = questions.starts.get(*word as usize..*word as usize + 2);
            let Some(&[start, end]) = range else {
                continue;
            };
            let askers = questions.askers.get(start as usize..end as usize);
            votes.extend(
                askers
                    .unwrap_or_default()
                    .iter()
                    .map(|asker| (*asker, *place)),
            );
        }
        votes.par_sort_unstable();
        let turns = Turn::ALL.len() as u32;
        // Asked photo, place, shared words and turn.
        let mut found: Vec<(u32, Place, u32, u32)> = votes
            .chunk_by(|a, b| a == b)
            .filter(|run| run.len() as u32 >= MIN_SHARED)
            .filter_map(|run| {
                let (asker, place) = run.first()?;
                Some((asker / turns, *place, run.len() as u32, asker % turns))
            })
            .collect();
        // The turn with most shared words first, the lower one of two; then one turn a photo.
        found.sort_unstable_by_key(|(asked, place, shared, turn)| {
            (*asked, *place, std::cmp::Reverse(*shared), *turn)
        });
        found.dedup_by_key(|(asked, place, _, _)| (*asked, *place));
        found.sort_unstable_by_key(|(asked, place, shared, _)| {
            (*asked, std::cmp::Reverse(*shared), *place)
        });
        found
            .chunk_by(|a, b| a.0 == b.0)
            .flat_map(|leads| leads.iter().take(LEADS))
            .map(|(asked, place, _, turn)| ((*asked as usize, *place), *turn as usize))
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use super::*;
    use crate::ledger::draw;
    use crate::measure::Features;
    use crate::measure::copy::signature::asked_words;
    use crate::measure::feature::{Feature, Keypoint};

    fn features(count: usize, state: &mut u64) -> Features {
        let list = (0..count).map(|_| Feature {
            keypoint: Keypoint {
                x: 100.0,
                y: 100.0,
                scale: 2.0,
                angle: 0.0,
                response: 0.05,
                bright: draw(state).is_multiple_of(2),
            },
            descriptor: std::array::from_fn(|_| (draw(state) % 100) as u8),
        });
        Features {
            list: list.collect(),
            width: 200,
            height: 200,
            focal_px: None,
        }
    }

    /// Packs words as they are, the first of them at most.
    fn packed(words: &[u32]) -> Vec<u8> {
        let mut bytes: Vec<u8> = words.iter().flat_map(|w| w.to_le_bytes()).collect();
        bytes.resize(PACKED_WORDS, 0);
        bytes
    }

    #[test]
    fn leads_are_those_of_a_count_by_hand() {
        let mut state = 4242;
        let asked: Vec<Features> = (0..4).map(|_| features(40, &mut state)).collect();
        let all: Vec<TurnedWords> = asked.iter().map(asked_words).collect();
        let words = |photo: usize, turn: usize| all[photo][turn].clone();
        // Every kept photo shares up to eleven words with one asked photo in one turn; all but the first 40 share one
        // more with the first asked photo, which is therefore common.
        let common = words(0, 0)[7];
        let kept: Vec<Vec<u32>> = (0..400usize)
            .map(|i| {
                let shared = words(i % 4, i / 4 % 8).into_iter().skip(20 + i % 50);
                let mut all: Vec<u32> = shared.step_by(3).take(i % 12).collect();
                all.extend((0..20).map(|_| draw(&mut state) as u32 | 1));
                all.extend((i >= 40).then_some(common));
                all
            })
            .collect();
        let mut holders: BTreeMap<u32, usize> = BTreeMap::new();
        for word in kept.iter().flatten() {
            *holders.entry(*word).or_default() += 1;
        }
        let place = |i: usize| Place {
            job: i as i64,
            position: 0,
        };
        let mut expected = Parts::new();
        for photo in 0..asked.len() {
            let mut leads: Vec<(std::cmp::Reverse<u32>, Place, usize)> = Vec::new();
            for (i, kept) in kept.iter().enumerate() {
                let shared = (0..8).map(|turn| {
                    let asked = words(photo, turn);
                    let telling = kept.iter().filter(|w| holders[*w] <= COMMON as usize);
                    telling.filter(|w| asked.contains(w)).count() as u32
                });
                let most = shared.clone().max().unwrap_or(0);
                let turn = shared.clone().position(|count| count == most).unwrap_or(0);
                if most >= MIN_SHARED {
                    leads.push((std::cmp::Reverse(most), place(i), turn));
                }
            }
            leads.sort_unstable();
            let best = leads.into_iter().take(LEADS);
            expected.extend(best.map(|(_, place, turn)| ((photo, place), turn)));
        }
        assert!(expected.len() > 40);
        let questions = Questions::new(&all);
        let mut tally = Tally::default();
        for (i, kept) in kept.iter().enumerate() {
            let hits = questions.hits(&packed(kept)).into_iter();
            tally.add(&questions, hits.map(|(word, _)| (word, place(i))));
        }
        assert_eq!(tally.leads(&questions), expected);
    }

    #[test]
    fn packed_words_are_found_again_and_nothing_is_found_of_none() {
        let mut state = 77;
        let photo = features(90, &mut state);
        let packed = pack_words(&CompactFeatures::new(&photo));
        let questions = Questions::new(&[asked_words(&photo)]);
        assert_eq!(questions.hits(&packed).len(), KEPT);
        assert!(questions.hits(&[0; PACKED_WORDS]).is_empty());
        assert!(Questions::new(&[]).hits(&packed).is_empty());
    }
}
