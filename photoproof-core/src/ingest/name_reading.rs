//! What one file or folder name says about phase and area, by vocabulary alone.

use crate::ingest::vocabulary::{self, Firmness, Meaning, meaning};
use crate::ingest::words::{Word, words};
use crate::phase::Phase;

/// Which kind of name is read: numbers and view words are parts of a folder's name and counters in a
/// file's.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum NameKind {
    /// One folder name.
    Folder,
    /// A file name without extension.
    File,
}

/// What a name says.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct NameReading {
    /// Phase, unless the name holds two.
    pub(crate) phase: Option<Phase>,
    /// Area by its words.
    pub(crate) area: Option<AreaWords>,
    /// All words, for the search of job sheet areas; phase words and counters in brackets replaced by
    /// [`Word::gap`].
    pub(crate) words: Vec<Word>,
}

/// The words of an area name.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct AreaWords {
    /// Words in front that only the whole job can judge: a colour, or the vendor's name.
    pub(crate) prefix: Vec<Word>,
    /// Qualifiers in front, kind words, and what belongs to the name behind them.
    pub(crate) core: Vec<Word>,
    /// Canonical kind that names the room (`closet` of "bedroom closet"); `None` if no kind was known.
    pub(crate) head: Option<&'static str>,
    /// A number right behind the kind.
    pub(crate) number: Option<(Word, NumberUse)>,
}

/// Whether a number belongs to the room.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum NumberUse {
    /// It does.
    Room,
    /// It ends a file name: a room's number or a counter.
    Ending,
}

/// Reads one name.
pub(crate) fn read(name: &str, kind: NameKind) -> NameReading {
    let all = words(name);
    let (phase, is_phase) = phase(&all);
    let area = match find_chain(&all, &is_phase) {
        Some(chain) => Some(known_area(&all, &is_phase, chain, kind)),
        None => unknown_area(&all, &is_phase, kind),
    };
    let gap = |(word, is_phase): (Word, &bool)| {
        if *is_phase || word.bracketed {
            Word::gap()
        } else {
            word
        }
    };
    let words = all.into_iter().zip(&is_phase).map(gap).collect();
    NameReading { phase, area, words }
}

/// The phase of a text such as a cell of `photos.csv`.
pub(crate) fn read_phase(text: &str) -> Option<Phase> {
    phase(&words(text)).0
}

/// The phase of a name, and which words say it. Two phases of equal firmness give none.
fn phase(all: &[Word]) -> (Option<Phase>, Vec<bool>) {
    let found: Vec<_> = all
        .iter()
        .map(|word| vocabulary::phase(&word.lower))
        .collect();
    let firmest: Option<Firmness> = found.iter().flatten().map(|(_, firmness)| *firmness).max();
    let mut phases = found
        .iter()
        .flatten()
        .filter(|(_, firmness)| Some(*firmness) == firmest)
        .map(|(phase, _)| *phase);
    let first = phases.next();
    let single = first.filter(|first| phases.all(|other| other == *first));
    (single, found.iter().map(Option::is_some).collect())
}

fn kind_of(word: &Word) -> Option<&'static [&'static str]> {
    match meaning(&word.lower) {
        Meaning::Kind(canonical) => Some(canonical),
        _ => None,
    }
}

/// First run of kind words: start and end.
fn find_chain(all: &[Word], is_phase: &[bool]) -> Option<(usize, usize)> {
    let kinds: Vec<bool> = all
        .iter()
        .zip(is_phase)
        .map(|(word, is_phase)| !is_phase && kind_of(word).is_some())
        .collect();
    let start = kinds.iter().position(|&is_kind| is_kind)?;
    let length = kinds
        .iter()
        .skip(start)
        .take_while(|is_kind| **is_kind)
        .count();
    Some((start, start + length))
}

/// Last canonical kind of a run of kind words; "room" and the like only complete the word before.
fn head(chain: &[Word]) -> Option<&'static str> {
    let mut heads = chain
        .iter()
        .filter_map(kind_of)
        .filter_map(|canonical| canonical.last().copied());
    let first = heads.next()?;
    Some(heads.fold(first, |head, next| if next == "room" { head } else { next }))
}

fn known_area(all: &[Word], is_phase: &[bool], chain: (usize, usize), kind: NameKind) -> AreaWords {
    let (start, end) = chain;
    let head = head(all.get(start..end).unwrap_or_default());
    let (prefix, in_front) = in_front(all, is_phase, start);
    let mut core: Vec<Word> = in_front;
    core.extend(all.get(start..end).unwrap_or_default().iter().cloned());
    let mut number = None;
    let is_last = |at: usize| at + 1 == all.len();
    for (at, word) in all.iter().enumerate().skip(end) {
        if is_phase.get(at) == Some(&true)
            || meaning(&word.lower) == Meaning::View
            || word.bracketed
        {
            break;
        }
        if word.is_room_number() && at == end {
            let numbered = kind == NameKind::Folder || head.is_some_and(vocabulary::is_numbered);
            let ending = kind == NameKind::File && is_last(at);
            let usage = if ending {
                NumberUse::Ending
            } else {
                NumberUse::Room
            };
            number = numbered.then(|| (word.clone(), usage));
        } else if belongs_behind(word, head, kind) {
            core.push(word.clone());
        } else if kind == NameKind::File {
            break;
        }
    }
    AreaWords {
        prefix,
        core,
        head,
        number,
    }
}

/// Whether a word behind the kind belongs to the area's name. A file's name goes on with the view.
fn belongs_behind(word: &Word, head: Option<&str>, kind: NameKind) -> bool {
    match kind {
        NameKind::Folder => !word.is_number && meaning(&word.lower) != Meaning::Noise,
        NameKind::File => vocabulary::qualifies_behind(&word.lower, head.unwrap_or_default()),
    }
}

/// Words directly in front of `start`: unknown ones, and qualifiers.
fn in_front(all: &[Word], is_phase: &[bool], start: usize) -> (Vec<Word>, Vec<Word>) {
    let mut front: Vec<Word> = Vec::new();
    for at in (0..start).rev() {
        let (Some(word), Some(false)) = (all.get(at), is_phase.get(at)) else {
            break;
        };
        let fits = match meaning(&word.lower) {
            Meaning::Qualifier => true,
            Meaning::Unknown => is_plain(word) || vocabulary::is_ordinal(&word.lower),
            _ => false,
        };
        if !fits {
            break;
        }
        front.insert(0, word.clone());
    }
    let unknown = |word: &Word| meaning(&word.lower) == Meaning::Unknown && is_plain(word);
    let split = front.iter().rposition(unknown).map_or(0, |at| at + 1);
    let qualifiers = front.split_off(split);
    (front, qualifiers)
}

/// A word of letters, long enough to mean something and not a piece of a serial number.
fn is_plain(word: &Word) -> bool {
    !word.glued && word.lower.chars().count() >= 3 && word.lower.chars().all(char::is_alphabetic)
}

/// An area without a known kind: a folder's words as they are; a file's only beside a phase.
fn unknown_area(all: &[Word], is_phase: &[bool], kind: NameKind) -> Option<AreaWords> {
    let names_phase = is_phase.contains(&true);
    if kind == NameKind::File && !names_phase {
        return None;
    }
    let mut core = Vec::new();
    for (word, is_phase) in all.iter().zip(is_phase) {
        let means = meaning(&word.lower);
        if means == Meaning::View {
            break;
        }
        let follows_word = !core.is_empty() && kind == NameKind::Folder && word.is_room_number();
        let fits = means == Meaning::Qualifier || (means == Meaning::Unknown && is_plain(word));
        if !is_phase && (fits || follows_word) {
            core.push(word.clone());
        }
    }
    let says_something = core.iter().any(is_plain);
    says_something.then_some(AreaWords {
        prefix: Vec::new(),
        core,
        head: None,
        number: None,
    })
}

impl AreaWords {
    /// Canonical words in order of the alphabet: equal for two ways to write one area.
    pub(crate) fn key(&self, with_prefix: bool, with_number: bool) -> Vec<String> {
        let mut key = canonical(&self.core);
        if with_prefix {
            key.extend(canonical(&self.prefix));
        }
        if let (true, Some((number, _))) = (with_number, &self.number) {
            key.push(number.lower.clone());
        }
        key.sort();
        key.dedup();
        key
    }

    /// The name tidied: one blank between words, each with a capital.
    pub(crate) fn shown(&self, with_prefix: bool, with_number: bool) -> String {
        let prefix = if with_prefix {
            self.prefix.as_slice()
        } else {
            &[]
        };
        let number = self
            .number
            .as_ref()
            .filter(|_| with_number)
            .map(|(number, _)| number);
        let mut parts: Vec<String> = prefix.iter().map(capital).collect();
        let last_kind = self.core.iter().rposition(|word| kind_of(word).is_some());
        for (at, word) in self.core.iter().enumerate() {
            parts.push(capital(word));
            if Some(at) == last_kind {
                parts.extend(number.map(|number| number.lower.clone()));
            }
        }
        parts.join(" ")
    }
}

/// Canonical words of a name: kinds by their one spelling, "room" dropped behind another kind.
pub(crate) fn canonical(words: &[Word]) -> Vec<String> {
    let mut list: Vec<String> = Vec::new();
    let mut after_kind = false;
    for word in words {
        match kind_of(word) {
            Some(["room"]) if after_kind => {}
            Some(canonical) => list.extend(canonical.iter().map(|&part| part.to_owned())),
            None => list.push(word.lower.clone()),
        }
        after_kind = kind_of(word).is_some();
    }
    list
}

/// A word with a capital; shouted words quietly.
pub(crate) fn capital(word: &Word) -> String {
    let shouted = word.shown.chars().all(|letter| !letter.is_lowercase());
    let text = if shouted {
        word.lower.as_str()
    } else {
        word.shown.as_str()
    };
    let mut letters = text.chars();
    match letters.next() {
        Some(first) if !word.is_number => first.to_uppercase().chain(letters).collect(),
        _ => text.to_owned(),
    }
}
