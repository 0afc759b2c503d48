//! The text of a stamp to the dates and the time it can mean. Nothing is guessed: where two orders of day,
//! month and year make a date, both are given.

use chrono::{Datelike, NaiveDate, NaiveTime, Weekday};
use serde::{Deserialize, Serialize};

use super::beside;

/// How a date is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum DateOrder {
    /// Year, month, day.
    YearFirst,
    /// Month, day, year.
    MonthFirst,
    /// Day, month, year.
    DayFirst,
    /// The month has a name.
    Named,
}

/// What a line of text can mean.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct Meaning {
    /// Possible dates, one per order; empty if no date is there.
    pub(super) dates: Vec<(DateOrder, NaiveDate)>,
    /// Time of day, and whether its seconds are shown.
    pub(super) time: Option<(NaiveTime, bool)>,
}

impl Meaning {
    /// How much of a full stamp it is: date, time, seconds.
    pub(super) fn parts(&self) -> usize {
        let seconds = self.time.is_some_and(|(_, seconds)| seconds);
        usize::from(!self.dates.is_empty())
            + usize::from(self.time.is_some())
            + usize::from(seconds)
    }

    /// Whether it is neither date nor time.
    pub(super) fn is_empty(&self) -> bool {
        self.dates.is_empty() && self.time.is_none()
    }
}

/// Years that a stamp may show; cameras do not count farther, and a wrong reading often lies outside.
const YEARS: std::ops::RangeInclusive<i32> = 1970..=2069;

const MONTHS: [&str; 12] = [
    "JANUARY",
    "FEBRUARY",
    "MARCH",
    "APRIL",
    "MAY",
    "JUNE",
    "JULY",
    "AUGUST",
    "SEPTEMBER",
    "OCTOBER",
    "NOVEMBER",
    "DECEMBER",
];

const DAYS: [(&str, Weekday); 7] = [
    ("MONDAY", Weekday::Mon),
    ("TUESDAY", Weekday::Tue),
    ("WEDNESDAY", Weekday::Wed),
    ("THURSDAY", Weekday::Thu),
    ("FRIDAY", Weekday::Fri),
    ("SATURDAY", Weekday::Sat),
    ("SUNDAY", Weekday::Sun),
];

/// Reads `text`, upper case. Where it shows no date, it is read again without what cameras write beside one.
pub(super) fn meaning(text: &str) -> Meaning {
    let whole = meaning_of_all(text);
    if !whole.dates.is_empty() {
        return whole;
    }
    let Some(rest) = beside::without_data(text) else {
        return whole;
    };
    let found = meaning_of_all(&rest);
    if found.parts() > whole.parts() {
        found
    } else {
        whole
    }
}

fn meaning_of_all(text: &str) -> Meaning {
    let text = untangled(text);
    if has_glued_letters(&text) {
        return Meaning::default();
    }
    let items = items(&text);
    let times = times(&items);
    if times.iter().any(|&(from, ..)| is_torn(&items, from)) {
        return Meaning::default();
    }
    let (time, rest) = match times[..] {
        [] => (None, items),
        [(from, to, time)] => (time, without(&items, from, to)),
        // A date written with colons in front of the time.
        [(0, _, _), (from, to, time)] => (time, without(&items, from, to)),
        _ => return Meaning::default(),
    };
    let weekday = rest.iter().find_map(|item| match item {
        Item::Word(word) => weekday(word),
        _ => None,
    });
    let mut dates = named_dates(&rest);
    if dates.is_empty() {
        dates = numeric_dates(&rest, time.is_some());
    }
    dates.retain(|(_, date)| weekday.is_none_or(|day| date.weekday() == day));
    dates.sort();
    dates.dedup_by_key(|(_, date)| *date);
    Meaning { dates, time }
}

/// Letters among digits that look like digits, and digits in names that look like letters, put right.
fn untangled(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(first) = rest.chars().next() {
        if !first.is_ascii_alphanumeric() {
            out.push(first);
            rest = rest.get(first.len_utf8()..).unwrap_or_default();
            continue;
        }
        let (word, after) = rest.split_at(run(rest, |c| c.is_ascii_alphanumeric()));
        rest = after;
        let as_digits = word.replace('O', "0").replace(['I', 'L'], "1");
        let as_letters = word.replace('0', "O");
        let is_number = as_digits.bytes().all(|b| b.is_ascii_digit());
        if is_number && word.len() <= 4 {
            out.push_str(&as_digits);
        } else if as_letters.len() >= 3 && month(&as_letters).is_some() {
            out.push_str(&as_letters);
        } else {
            out.push_str(word);
        }
    }
    out
}

/// Whether letters that no stamp writes there touch a number: `ZZ02` is a stamp read upside down.
fn has_glued_letters(text: &str) -> bool {
    let is_letter = |c: char| c.is_ascii_alphabetic();
    let is_known = |word: &str| {
        word.len() < 2
            || matches!(word, "AM" | "PM")
            || month(word).is_some()
            || weekday(word).is_some()
    };
    let mut before = None;
    let mut rest = text;
    while let Some(first) = rest.chars().next() {
        let length = if is_letter(first) {
            run(rest, is_letter)
        } else {
            first.len_utf8()
        };
        let (word, after) = rest.split_at(length);
        let touches = [before, after.chars().next()]
            .into_iter()
            .flatten()
            .any(|c: char| c.is_ascii_digit());
        if is_letter(first) && touches && !is_known(word) {
            return true;
        }
        before = word.chars().next_back();
        rest = after;
    }
    false
}

/// Whether a time of one-digit hour at `from` follows a lone digit that belongs to no date: an hour of two
/// digits with a space read into it.
fn is_torn(items: &[Item], from: usize) -> bool {
    let Some(before) = from
        .checked_sub(4)
        .and_then(|start| items.get(start..=from))
    else {
        return false;
    };
    matches!(
        before,
        [
            Item::Number(..),
            Item::Mark(' '),
            Item::Number(_, 1, false),
            Item::Mark(' '),
            Item::Number(_, 1, _)
        ]
    ) && !matches!(
        from.checked_sub(5).and_then(|at| items.get(at)),
        None | Some(Item::Mark(' '))
    )
}

/// A piece of the text.
#[derive(Debug, Clone, PartialEq, Eq)]
enum Item {
    /// Digits: value, how many, whether an apostrophe stands before them.
    Number(u32, usize, bool),
    /// Letters.
    Word(String),
    /// One mark; runs of spaces are one space.
    Mark(char),
}

fn items(text: &str) -> Vec<Item> {
    let mut items: Vec<Item> = Vec::new();
    let mut rest = text.trim();
    while let Some(first) = rest.chars().next() {
        let is_number = first.is_ascii_digit();
        let length = if is_number {
            run(rest, |c| c.is_ascii_digit())
        } else if first.is_ascii_alphabetic() {
            run(rest, |c| c.is_ascii_alphabetic())
        } else {
            first.len_utf8()
        };
        let (piece, after) = rest.split_at(length);
        rest = after;
        if is_number {
            let marked = items.last() == Some(&Item::Mark('\''));
            if marked {
                items.pop();
            }
            // Minutes and seconds have two digits: a space between them was not there.
            if let [
                ..,
                Item::Mark(':'),
                Item::Number(tens, 1, _),
                Item::Mark(' '),
            ] = items[..]
                && length == 1
            {
                items.truncate(items.len() - 2);
                items.push(Item::Number(
                    10 * tens + piece.parse().unwrap_or(0),
                    2,
                    false,
                ));
                continue;
            }
            // Ten digits and more are no part of a date.
            items.push(Item::Number(piece.parse().unwrap_or(0), length, marked));
        } else if first.is_ascii_alphabetic() {
            items.push(Item::Word(piece.to_owned()));
        } else if !(first == ' ' && items.last() == Some(&Item::Mark(' '))) {
            items.push(Item::Mark(first));
        }
    }
    items
}

pub(super) fn run(text: &str, belongs: impl Fn(char) -> bool) -> usize {
    text.find(|c| !belongs(c)).unwrap_or(text.len())
}

/// From, to (items) and value of every time of day; a value of `None` is a time that no clock shows.
type Found = (usize, usize, Option<(NaiveTime, bool)>);

fn times(items: &[Item]) -> Vec<Found> {
    let mut found = Vec::new();
    let mut at = 0;
    while at < items.len() {
        let free = at == 0 || !matches!(items.get(at - 1), Some(Item::Mark(':' | '.' | '-' | '/')));
        match time_at(items, at).filter(|_| free) {
            Some(time) => {
                at = time.1;
                found.push(time);
            }
            None => at += 1,
        }
    }
    found
}

fn time_at(items: &[Item], at: usize) -> Option<Found> {
    let number = |at: usize, lengths: std::ops::RangeInclusive<usize>| match items.get(at) {
        Some(&Item::Number(value, length, false)) if lengths.contains(&length) => Some(value),
        _ => None,
    };
    let colon = |at: usize| items.get(at) == Some(&Item::Mark(':'));
    let hour = number(at, 1..=2)?;
    let minute = colon(at + 1).then(|| number(at + 2, 2..=2)).flatten()?;
    let second = colon(at + 3).then(|| number(at + 4, 2..=2)).flatten();
    let mut to = at + if second.is_some() { 5 } else { 3 };
    if colon(to) {
        return None;
    }
    let half = half_of_day(items, to);
    if let Some((_, end)) = half {
        to = end;
    }
    let hour = match half {
        None => Some(hour),
        Some((noon, _)) => (1..=12)
            .contains(&hour)
            .then_some(hour % 12 + if noon { 12 } else { 0 }),
    };
    let time = hour.and_then(|hour| NaiveTime::from_hms_opt(hour, minute, second.unwrap_or(0)));
    Some((at, to, time.map(|time| (time, second.is_some()))))
}

/// AM or PM (true) at `at`, and the item behind it.
fn half_of_day(items: &[Item], at: usize) -> Option<(bool, usize)> {
    let at = if items.get(at) == Some(&Item::Mark(' ')) {
        at + 1
    } else {
        at
    };
    let Some(Item::Word(word)) = items.get(at) else {
        return None;
    };
    match word.as_str() {
        "AM" => Some((false, at + 1)),
        "PM" => Some((true, at + 1)),
        "A" | "P" => {
            let tail = items.get(at + 1..at + 4)?;
            let dotted =
                matches!(tail, [Item::Mark('.'), Item::Word(m), Item::Mark('.')] if m == "M");
            dotted.then_some((word == "P", at + 4))
        }
        _ => None,
    }
}

/// The items outside `from..to`, with a break where those were.
fn without(items: &[Item], from: usize, to: usize) -> Vec<Item> {
    let before = items.iter().take(from).cloned();
    let after = items.iter().skip(to).cloned();
    before
        .chain(std::iter::once(Item::Mark('|')))
        .chain(after)
        .collect()
}

pub(super) fn month(word: &str) -> Option<u32> {
    let fits = |name: &&str| word.len() >= 3 && name.starts_with(word);
    match word {
        "SEPT" => Some(9),
        _ => MONTHS
            .iter()
            .position(fits)
            .and_then(|index| u32::try_from(index + 1).ok()),
    }
}

pub(super) fn weekday(word: &str) -> Option<Weekday> {
    DAYS.iter()
        .find(|(name, _)| word.len() >= 3 && name.starts_with(word))
        .map(|(_, day)| *day)
}

fn year(value: u32, length: usize) -> Option<i32> {
    let value = i32::try_from(value).ok()?;
    match length {
        4 => Some(value),
        // Two digits: 69 to 99 are of the twentieth century (POSIX.1-2017, strptime, %y).
        2 if value >= 69 => Some(1900 + value),
        2 => Some(2000 + value),
        _ => None,
    }
    .filter(|year| YEARS.contains(year))
}

fn date(year: Option<i32>, month: u32, day: u32) -> Option<NaiveDate> {
    NaiveDate::from_ymd_opt(year?, month, day)
}

/// Dates with a month's name.
fn named_dates(items: &[Item]) -> Vec<(DateOrder, NaiveDate)> {
    let mut dates = Vec::new();
    for (at, item) in items.iter().enumerate() {
        let Item::Word(word) = item else { continue };
        let Some(month) = month(word) else { continue };
        let before = neighbour(items.iter().take(at).rev());
        let mut after = items.iter().skip(at + 1);
        let first = neighbour(&mut after);
        let second = first.and_then(|_| neighbour(&mut after));
        let mut add = |year_of: (u32, usize), day: (u32, usize)| {
            if day.1 <= 2 {
                dates.extend(
                    date(year(year_of.0, year_of.1), month, day.0)
                        .map(|date| (DateOrder::Named, date)),
                );
            }
        };
        match (before, first, second) {
            (_, Some(day), Some(last)) if last.1 == 4 => add(last, day),
            (Some(day), Some(last), _) if day.1 <= 2 => add(last, day),
            (Some(first), Some(day), _) if first.1 == 4 => add(first, day),
            (None, Some(day), Some(last)) => add(last, day),
            _ => {}
        }
    }
    dates
}

/// The next number, over at most marks that join.
fn neighbour<'a>(items: impl IntoIterator<Item = &'a Item>) -> Option<(u32, usize)> {
    for item in items {
        match item {
            Item::Number(value, length, _) => return Some((*value, *length)),
            Item::Mark('|') | Item::Word(_) => return None,
            Item::Mark(_) => {}
        }
    }
    None
}

/// Dates of three numbers, or of eight digits in a row.
fn numeric_dates(items: &[Item], has_time: bool) -> Vec<(DateOrder, NaiveDate)> {
    let mut dates = Vec::new();
    for chain in chains(items) {
        match chain.numbers[..] {
            [(value, 8, _)] => dates.extend(
                date(year(value / 10_000, 4), value / 100 % 100, value % 100)
                    .map(|date| (DateOrder::YearFirst, date)),
            ),
            [a, b, c] if !chain.loose || has_time || a.2 || c.2 || a.1 == 4 || c.1 == 4 => {
                dates.extend(orders(a, b, c));
            }
            _ => {}
        }
    }
    dates
}

/// Numbers joined by one kind of mark.
#[derive(Debug)]
struct Chain {
    numbers: Vec<(u32, usize, bool)>,
    /// Joined by spaces alone.
    loose: bool,
}

fn chains(items: &[Item]) -> Vec<Chain> {
    let mut chains: Vec<Chain> = Vec::new();
    let mut joint: Option<String> = None;
    let mut open = String::from("|");
    for item in items {
        match item {
            Item::Number(value, length, marked) => {
                let number = (*value, *length, *marked);
                // An apostrophe joins like a space.
                let mark = match open.trim() {
                    "" => " ".to_owned(),
                    mark => mark.to_owned(),
                };
                let joins = mark != "|" && joint.as_ref().is_none_or(|joint| *joint == mark);
                match chains.last_mut().filter(|_| joins) {
                    Some(chain) => {
                        chain.numbers.push(number);
                        chain.loose = mark == " ";
                        joint = Some(mark);
                    }
                    None => {
                        chains.push(Chain {
                            numbers: vec![number],
                            loose: false,
                        });
                        joint = None;
                    }
                }
                open.clear();
            }
            Item::Mark(mark @ ('-' | '/' | '.' | ':' | ' ')) => open.push(*mark),
            _ => open = String::from("|"),
        }
    }
    chains
}

fn orders(
    a: (u32, usize, bool),
    b: (u32, usize, bool),
    c: (u32, usize, bool),
) -> Vec<(DateOrder, NaiveDate)> {
    let short = |number: (u32, usize, bool)| number.1 <= 2 && !number.2;
    let mut dates = Vec::new();
    if !short(b) {
        return dates;
    }
    let year_last = short(a) && (c.1 == 4 || c.1 == 2) && !a.2;
    let year_first = short(c) && (a.1 == 4 || a.1 == 2 && !c.2);
    let mut add = |order: DateOrder, date: Option<NaiveDate>| {
        dates.extend(date.map(|date| (order, date)));
    };
    if year_first {
        add(DateOrder::YearFirst, date(year(a.0, a.1), b.0, c.0));
    }
    if year_last {
        add(DateOrder::MonthFirst, date(year(c.0, c.1), a.0, b.0));
        add(DateOrder::DayFirst, date(year(c.0, c.1), b.0, a.0));
    }
    dates
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shown(text: &str) -> String {
        let meaning = meaning(text);
        let dates: Vec<String> = meaning.dates.iter().map(|d| d.1.to_string()).collect();
        let time = meaning.time.map(|(time, seconds)| {
            let form = if seconds { "%H:%M:%S" } else { "%H:%M" };
            time.format(form).to_string()
        });
        [dates.join(" or "), time.unwrap_or_default()]
            .join(" ")
            .trim()
            .to_owned()
    }

    #[test]
    fn every_common_layout_is_understood() {
        for (text, expected) in [
            ("2014-11-29 6:00:00 AM", "2014-11-29 06:00:00"),
            ("2026/03/25 14:15", "2026-03-25 14:15"),
            ("2026.03.02", "2026-03-02"),
            ("2026:03:02 14:15:02", "2026-03-02 14:15:02"),
            ("03/25/2026 02:15 PM", "2026-03-25 14:15"),
            ("25.03.2026 14:15:02", "2026-03-25 14:15:02"),
            ("'26 03 02", "2026-03-02"),
            ("'26 3 2 14:15", "2026-03-02 14:15"),
            ("3 25 '26", "2026-03-25"),
            ("MAR 02 2026", "2026-03-02"),
            ("MARCH 2, 2026 12:05AM", "2026-03-02 00:05"),
            ("2 MAR 2026, 12:05:09 P.M.", "2026-03-02 12:05:09"),
            ("02-MAR-26", "2026-03-02"),
            ("02MAR2026 09:00", "2026-03-02 09:00"),
            ("2026 SEP 30", "2026-09-30"),
            ("MON, MAR 2 2026", "2026-03-02"),
            ("14:15 2026-03-02", "2026-03-02 14:15"),
            ("2014-11-29 6:00:00 AM T 2*C", "2014-11-29 06:00:00"),
            ("14:15", "14:15"),
            ("20260302", "2026-03-02"),
            ("2014-11-29 6:O0:O0 AM", "2014-11-29 06:00:00"),
            ("13-0CT-2O16", "2016-10-13"),
            ("'22 3 6 20:4 1:44", "2022-03-06 20:41:44"),
            ("28.55IN 5120 * 05/27/15 17:53:40", "2015-05-27 17:53:40"),
            ("M 3/8 2026 12/20/2025 08:02", "2025-12-20 08:02"),
            ("1001HPA 2015:02:07", "2015-02-07"),
            ("IMG*8979 7/31/2019 9:57 PM -19C -2F", "2019-07-31 21:57"),
            ("35*C/95*F CAM30 12 20 2025 10:00", "2025-12-20 10:00"),
            ("8* 28.46IN DEC 4, 2019 18:25:01", "2019-12-04 18:25:01"),
            ("29.81IN '22 09 19 03:46", "2022-09-19 03:46"),
            ("1034HPA CAM 04 1/1/2025", "2025-01-01"),
            (
                "-10*C/14*F 80* * CAM 30 7/14/2018 07:14",
                "2018-07-14 07:14",
            ),
            (
                "68 F 20 C IMG*3007 CAM 25 2024:07:10 1:04 AM",
                "2024-07-10 01:04",
            ),
        ] {
            assert_eq!(shown(text), expected, "{text}");
        }
    }

    #[test]
    fn what_can_mean_two_dates_means_two() {
        assert_eq!(shown("03/04/2026"), "2026-03-04 or 2026-04-03");
        assert_eq!(shown("03/04/26"), "2003-04-26 or 2026-03-04 or 2026-04-03");
        assert_eq!(shown("05.05.2026"), "2026-05-05");
    }

    #[test]
    fn what_is_no_date_gives_none() {
        for text in [
            "2026-13-02",
            "2026-02-30",
            "192.168.10.12",
            "555-01-2345",
            "HC500 HYPERFIRE",
            "2*C",
            "1 2 3",
            "31/31/2026",
            "TUE, MAR 2 2026",
            "",
            "9338 56 57",
            "2022/03/18 1 1:01",
            "99999999999999999999-03-02",
            "M 3/8 2026 T 12/20",
            "CAM30 ZZ02-03-02",
        ] {
            assert_eq!(shown(text), "", "{text}");
        }
        assert_eq!(shown("2026-03-02 25:15"), "2026-03-02");
        assert_eq!(shown("2026-03-02 13:15 PM"), "2026-03-02");
    }
}
