//! The date stamp that a camera or a program burned into the picture.
//!
//! A small net finds lines of text along the border, a second one reads them (`tools/stamp-model` trains
//! both), and the layouts say which dates the text can mean. The picture may lie in any of eight ways.

mod beam;
mod beside;
mod cut;
mod finder;
pub(crate) mod layout;
mod net;
mod place;
mod reader;
pub(crate) mod resolve;

use std::cell::Cell;
use std::ops::Range;
use std::sync::OnceLock;

use chrono::{NaiveDate, NaiveDateTime, NaiveTime};
use image::RgbImage;
use serde::{Deserialize, Serialize};

pub use layout::DateOrder;

use cut::{Direction, Margin, cut};
use finder::Finder;
use layout::{Meaning, meaning};
use place::Line;
use reader::{Reader, Strip};

/// Chance from which a reading counts. Of 1,300 drawn stamps in typefaces that trained nothing, 32 were read with 0.45 to
/// 0.65: one of them with a wrong date, at 0.52 (`--example stamp_report`).
pub const SURE: f64 = 0.6;

/// Chance from which an uncertain reading is a sign that a stamp is there.
const LIKELY: f64 = 0.05;

/// Chance from which a longer reading, or a second line, makes a shorter one doubtful.
const PLAUSIBLE: f64 = 0.3;

/// Columns read of one picture, all lines and cuts together: a page of print is no stamp, and may not take seconds.
const MOST_COLUMNS: usize = 10_000;

/// Times that a line is read with more of it.
const LONGER: usize = 4;

/// Distances of the lines of a stamp that are tried where only its date was found, heights of its digits.
const PITCHES: [f32; 3] = [1.4, 1.6, 1.85];

/// A direction less likely than this is not tried.
const LEAST_DIRECTION: f32 = 0.02;

/// Height of a line from which more pixels tell the reader no more, pixels.
const READER_ROWS: f32 = reader::DIGIT_HEIGHT;

/// Digits that an unreadable line must show to be called a date stamp.
const STAMP_DIGITS: usize = 6;

/// A date stamp seen in a picture.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct Stamp {
    /// The text as read, upper case, lines joined by a space; `*` for characters outside the alphabet.
    pub text: String,
    /// Probability that the reader gives to this text, 0..=1.
    pub confidence: f64,
    /// Dates that the text can mean; none if it cannot be read, several if the order of its parts is open.
    pub dates: Vec<(DateOrder, NaiveDate)>,
    /// Time of day, if one is shown.
    pub time: Option<NaiveTime>,
    /// Whether the time shows seconds.
    pub has_seconds: bool,
}

impl Stamp {
    /// The one date it states.
    #[must_use]
    pub fn date(&self) -> Option<NaiveDate> {
        match self.dates[..] {
            [(_, date)] => Some(date),
            _ => None,
        }
    }

    /// The one civil time it states. A stamp without a time of day states none.
    #[must_use]
    pub fn civil(&self) -> Option<NaiveDateTime> {
        Some(self.date()?.and_time(self.time?))
    }

    /// The stated time as ISO 8601, as exact as it is shown: a day, a minute or a second.
    #[must_use]
    pub fn to_text(&self) -> Option<String> {
        let date = self.date()?;
        Some(match self.time {
            None => date.to_string(),
            Some(time) => date.and_time(time).format("%Y-%m-%dT%H:%M:%S").to_string(),
        })
    }
}

/// Both nets.
#[derive(Debug)]
struct Nets {
    finder: Finder,
    reader: Reader,
}

fn nets() -> &'static Nets {
    static NETS: OnceLock<Nets> = OnceLock::new();
    NETS.get_or_init(|| Nets {
        finder: Finder::read(&mut net::halves(include_bytes!("finder.f16"))),
        reader: Reader::read(&mut net::halves(include_bytes!("reader.f16"))),
    })
}

/// A picture whose lines are read.
struct Page<'a> {
    nets: &'static Nets,
    detail: &'a RgbImage,
    /// Pixels of `detail` for one of the picture that was searched.
    scale: f32,
    /// Columns of lines that may still be read.
    columns: Cell<usize>,
}

impl Page<'_> {
    /// A cut of a line; `None` where there is none, or enough was read.
    fn strip(&self, line: &Line, direction: Direction, margin: Margin) -> Option<Strip> {
        let strip = cut(self.detail, self.scale, line, direction, margin)?;
        self.columns
            .set(self.columns.get().checked_sub(strip.width)?);
        Some(strip)
    }
}

/// One line of text, read.
#[derive(Debug, Clone)]
struct Read {
    line: Line,
    direction: Direction,
    text: String,
    chance: f64,
    meaning: Meaning,
    /// Whether a wider cut shows more digits.
    goes_on: bool,
}

impl Read {
    fn says_something(&self) -> bool {
        !self.meaning.is_empty()
    }

    /// How much of a full stamp it shows.
    fn parts(&self) -> usize {
        let has_half = ["AM", "PM", "A.M.", "P.M."]
            .iter()
            .any(|word| self.text.contains(word));
        self.meaning.parts() + usize::from(has_half)
    }
}

/// Looks for a date stamp in `picture`. Where there seems to be one, in print too small for the reader, `detail`
/// is asked for the same picture with more pixels.
#[must_use]
pub fn read_stamp(picture: &RgbImage, detail: impl FnOnce() -> Option<RgbImage>) -> Option<Stamp> {
    let nets = nets();
    let lines = nets.finder.lines(picture);
    if lines.is_empty() {
        return None;
    }
    let is_small = lines.iter().any(|line| line.height() < READER_ROWS);
    let larger = if is_small { detail() } else { None };
    let detail = larger.as_ref().unwrap_or(picture);
    let scale = detail.width() as f32 / picture.width().max(1) as f32;
    let page = &Page {
        nets,
        detail,
        scale,
        columns: Cell::new(MOST_COLUMNS),
    };
    let mut reads: Vec<Read> = lines
        .into_iter()
        .filter_map(|line| read_line(page, line))
        .collect();
    let alone: Vec<Read> = reads
        .iter()
        .filter(|read| !read.meaning.dates.is_empty() && read.meaning.time.is_none())
        .filter(|read| read.chance >= LIKELY)
        .filter(|read| !reads.iter().any(|other| is_next_line(read, other)))
        .cloned()
        .collect();
    let beside = alone.iter().filter_map(|date| time_beside(page, date));
    reads.extend(beside);
    best_stamp(&reads)
}

/// Margins of the cuts that are read of one line: beyond its ends, and of its height.
const MARGINS: [Margin; 3] = [
    Margin {
        ends: 1.0,
        zoom: 1.0,
    },
    Margin {
        ends: 0.5,
        zoom: 1.12,
    },
    Margin {
        ends: 1.7,
        zoom: 0.94,
    },
];

/// Reads a line in the likeliest direction in which it says something.
fn read_line(page: &Page<'_>, line: Line) -> Option<Read> {
    let mut directions: Vec<Direction> = (0..8)
        .map(Direction)
        .filter(|direction| direction.lies(line.axis))
        .collect();
    let chance_of = |direction: Direction| line.directions.get(direction.0).copied().unwrap_or(0.0);
    directions.sort_by(|a, b| chance_of(*b).total_cmp(&chance_of(*a)));
    let mut best: Option<Read> = None;
    for direction in directions {
        if best.is_some() && chance_of(direction) < LEAST_DIRECTION {
            break;
        }
        let Some(read) = read_whole(page, (&line, direction)) else {
            continue;
        };
        let better = best.as_ref().is_none_or(|best| {
            (read.says_something(), read.chance) > (best.says_something(), best.chance)
        });
        let sure = read.says_something() && read.chance >= SURE;
        if better {
            best = Some(read);
        }
        if sure {
            break;
        }
    }
    best
}

/// Reads a line; as long as more of it shows more digits or more of a stamp, once more with more of it.
fn read_whole(page: &Page<'_>, (line, direction): (&Line, Direction)) -> Option<Read> {
    let mut best = read_in(page, (line, direction))?;
    let mut last = best.clone();
    for _ in 0..LONGER {
        if !last.goes_on && count_digits(&last.text) < 3 {
            break;
        }
        let mut longer = last.line.clone();
        let more = longer.height() * if last.goes_on { 1.5 } else { 3.0 };
        longer.along = (longer.along.0 - more, longer.along.1 + more);
        let Some(again) = read_in(page, (&longer, direction)) else {
            break;
        };
        let has_more_digits = again.goes_on || count_digits(&again.text) > count_digits(&last.text);
        let gained = last.goes_on
            && (again.says_something(), again.chance) > (best.says_something(), best.chance);
        let is_richer = again.parts() > best.parts() && again.chance >= PLAUSIBLE;
        last = again;
        if gained || is_richer {
            best = last.clone();
        } else if !has_more_digits {
            break;
        }
    }
    Some(best)
}

/// The line above or below a date that shows a time, where the finder saw none.
fn time_beside(page: &Page<'_>, date: &Read) -> Option<Read> {
    let height = date.line.height();
    let mut best: Option<Read> = None;
    for pitch in PITCHES {
        for side in [-1.0, 1.0] {
            let mut line = date.line.clone();
            let shift = side * pitch * height;
            line.across = (line.across.0 + shift, line.across.1 + shift);
            line.along = (line.along.0 - height, line.along.1 + height);
            let is_time = |meaning: &Meaning| meaning.time.is_some() && meaning.dates.is_empty();
            let Some(strip) = page.strip(&line, date.direction, MARGINS[0]) else {
                continue;
            };
            let first = page.nets.reader.line(&strip).into_iter().next();
            if !first.is_some_and(|first| is_time(&meaning(&first.text))) {
                continue;
            }
            let read = read_whole(page, (&line, date.direction));
            let read = read.filter(|read| read.chance >= PLAUSIBLE && is_time(&read.meaning));
            if let Some(read) = read
                && best.as_ref().is_none_or(|best| read.chance > best.chance)
            {
                best = Some(read);
            }
        }
    }
    best
}

/// Reads a line in one direction, several times with other margins. The chance of a meaning is the mean over
/// the cuts of the chances of all texts that mean it.
fn read_in(page: &Page<'_>, (line, direction): (&Line, Direction)) -> Option<Read> {
    let mut meanings: Vec<(Meaning, f64, String)> = Vec::new();
    let mut digits = Vec::new();
    for (number, margin) in MARGINS.into_iter().enumerate() {
        let strip = page.strip(line, direction, margin)?;
        let readings = page.nets.reader.line(&strip);
        digits.push(
            readings
                .first()
                .map_or(0, |first| count_digits(&first.text)),
        );
        for reading in readings {
            let meaning = meaning(&reading.text);
            match meanings.iter_mut().find(|known| known.0 == meaning) {
                Some(known) => known.1 += reading.chance,
                None => meanings.push((meaning, reading.chance, reading.text)),
            }
        }
        let says_nothing = meanings.iter().all(|(meaning, ..)| meaning.is_empty());
        if number == 0 && says_nothing && digits.first().is_some_and(|&count| count < 3) {
            break;
        }
    }
    let cuts = digits.len() as f64;
    let most = |wanted: bool| {
        meanings
            .iter()
            .filter(|(meaning, ..)| meaning.is_empty() != wanted)
            .max_by(|a, b| a.1.total_cmp(&b.1))
    };
    let (meaning, chance, text) = most(true)
        .filter(|(_, chance, _)| chance / cuts >= LIKELY)
        .or_else(|| most(false))?;
    Some(Read {
        line: line.clone(),
        direction,
        text: text.clone(),
        chance: (chance / cuts).min(1.0),
        meaning: meaning.clone(),
        goes_on: digits.last() > digits.first(),
    })
}

fn count_digits(text: &str) -> usize {
    text.chars().filter(char::is_ascii_digit).count()
}

/// The stamp that the lines make together: a date and, in the same line or in the next one, a time.
fn best_stamp(reads: &[Read]) -> Option<Stamp> {
    let mut stamps: Vec<Stamp> = reads
        .iter()
        .filter(|read| !read.meaning.dates.is_empty() && read.chance >= LIKELY)
        .map(|read| stamp(read, reads))
        .collect();
    stamps.sort_by(|a, b| {
        let rank = |s: &Stamp| (s.confidence >= SURE, s.time.is_some());
        rank(b)
            .cmp(&rank(a))
            .then(b.confidence.total_cmp(&a.confidence))
    });
    if let Some(mut best) = stamps.into_iter().next() {
        if best.confidence < SURE {
            best.dates.clear();
            best.time = None;
        }
        return Some(best);
    }
    let joints = |read: &Read| read.text.matches(['-', '/', '.', ':']).count();
    reads
        .iter()
        .find(|read| {
            count_digits(&read.text) >= STAMP_DIGITS && joints(read) >= 2 && read.chance >= LIKELY
        })
        .map(|read| Stamp {
            text: read.text.clone(),
            confidence: read.chance,
            dates: Vec::new(),
            time: None,
            has_seconds: false,
        })
}

fn stamp(read: &Read, reads: &[Read]) -> Stamp {
    let mut stamp = Stamp {
        text: read.text.clone(),
        confidence: read.chance,
        dates: read.meaning.dates.clone(),
        time: read.meaning.time.map(|(time, _)| time),
        has_seconds: read.meaning.time.is_some_and(|(_, seconds)| seconds),
    };
    if stamp.time.is_some() {
        return stamp;
    }
    let times = || {
        let times = reads.iter().filter(|other| other.meaning.time.is_some());
        times.filter(|other| other.meaning.dates.is_empty() && other.chance >= LIKELY)
    };
    let next = times()
        .filter(|other| is_next_line(read, other))
        .max_by(|a, b| a.chance.total_cmp(&b.chance))
        .or_else(|| {
            let mut apart = times().filter(|other| is_same_strip(read, other));
            apart.next().filter(|_| apart.next().is_none())
        });
    if let Some((other, (time, seconds))) =
        next.and_then(|other| Some((other, other.meaning.time?)))
    {
        stamp.text = if reading_position(other) < reading_position(read) {
            format!("{} {}", other.text, read.text)
        } else {
            format!("{} {}", read.text, other.text)
        };
        stamp.time = Some(time);
        stamp.has_seconds = seconds;
        stamp.confidence = stamp.confidence.min(other.chance);
    }
    stamp
}

/// Where a line stands among the lines of its stamp, from the top as it is read.
fn reading_position(read: &Read) -> f32 {
    let middle = read.line.across.0 + read.line.across.1;
    if read.direction.top_is_last() {
        -middle
    } else {
        middle
    }
}

/// Whether two lines stand in one strip of data, however far apart.
fn is_same_strip(a: &Read, b: &Read) -> bool {
    let distance = (a.line.across.0 - b.line.across.0)
        .abs()
        .max((a.line.across.1 - b.line.across.1).abs());
    is_alike(a, b, 0.75..1.35) && distance < 0.35 * a.line.height()
}

/// Whether two lines stand below or beside each other as parts of one stamp.
fn is_next_line(a: &Read, b: &Read) -> bool {
    let height = a.line.height();
    let distance =
        (a.line.across.0 + a.line.across.1 - b.line.across.0 - b.line.across.1).abs() / 2.0;
    let gap = a.line.along.0.max(b.line.along.0) - a.line.along.1.min(b.line.along.1);
    b.meaning.time.is_some()
        && is_alike(a, b, 0.6..1.7)
        && (distance > 0.8 * height && distance < 3.0 * height && gap < 0.0
            || distance < 0.5 * height && gap < 8.0 * height)
}

/// Whether two lines run the same way, the second `heights` times as high as the first.
fn is_alike(a: &Read, b: &Read, heights: Range<f32>) -> bool {
    a.line.axis == b.line.axis
        && a.direction == b.direction
        && heights.contains(&(b.line.height() / a.line.height()))
}
