//! A file or folder name as words.

use unicode_normalization::UnicodeNormalization;

use crate::ingest::vocabulary::{is_ordinal, number_word};

/// One word or number of a name.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Word {
    /// Lower case, composed (Unicode NFC); numbers without leading zeros.
    pub(crate) lower: String,
    /// As written.
    pub(crate) shown: String,
    /// Digits only.
    pub(crate) is_number: bool,
    /// Inside brackets: a counter that a file manager added.
    pub(crate) bracketed: bool,
    /// Touches the word before without a separator.
    pub(crate) glued: bool,
}

/// Splits a name at separators, at `kitchenAfter` and between letters and digits. `b4` and `2nd` stay
/// whole.
pub(crate) fn words(name: &str) -> Vec<Word> {
    let name: String = name.nfc().collect();
    let mut list = Vec::new();
    let mut depth = 0_usize;
    let mut run = String::new();
    for letter in name.chars().chain(std::iter::once(' ')) {
        if letter.is_alphanumeric() || is_combining(letter) {
            run.push(letter);
        } else if matches!(letter, '\'' | '\u{2019}') {
            // "kid's" is one word.
        } else {
            push_run(&mut list, &run, depth > 0);
            run.clear();
            match letter {
                '(' | '[' | '{' => depth += 1,
                ')' | ']' | '}' => depth = depth.saturating_sub(1),
                _ => {}
            }
        }
    }
    list
}

fn is_combining(letter: char) -> bool {
    unicode_normalization::char::is_combining_mark(letter)
}

fn push_run(list: &mut Vec<Word>, run: &str, bracketed: bool) {
    let lower = run.to_lowercase();
    if run.is_empty() {
        return;
    }
    if lower == "b4" || is_ordinal(&lower) {
        list.push(word(run, bracketed, false));
        return;
    }
    let mut start = 0;
    let mut before: Option<char> = None;
    let mut glued = false;
    for (at, letter) in run.char_indices() {
        let splits = before.is_some_and(|before| {
            before.is_numeric() != letter.is_numeric()
                || (before.is_lowercase() && letter.is_uppercase())
        });
        if splits {
            list.push(word(&run[start..at], bracketed, glued));
            start = at;
            glued = true;
        }
        before = Some(letter);
    }
    list.push(word(&run[start..], bracketed, glued));
}

fn word(text: &str, bracketed: bool, glued: bool) -> Word {
    let is_number = text.bytes().all(|byte| byte.is_ascii_digit());
    let lower = text.to_lowercase();
    let lower = match number_word(&lower) {
        _ if is_number => {
            let trimmed = lower.trim_start_matches('0');
            if trimmed.is_empty() {
                "0".to_owned()
            } else {
                trimmed.to_owned()
            }
        }
        Some(digit) => digit.to_owned(),
        None => lower,
    };
    Word {
        is_number: is_number || lower.bytes().all(|byte| byte.is_ascii_digit()),
        lower,
        shown: text.to_owned(),
        bracketed,
        glued,
    }
}

impl Word {
    /// Stands where a word was taken out, so that its neighbours do not look adjacent.
    pub(crate) fn gap() -> Self {
        Self {
            lower: String::new(),
            shown: String::new(),
            is_number: false,
            bracketed: false,
            glued: false,
        }
    }

    /// A number that can be a room's: no leading zero, 1 to 99, not in brackets.
    pub(crate) fn is_room_number(&self) -> bool {
        self.is_number && !self.bracketed && !self.shown.starts_with('0') && self.lower.len() <= 2
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn split(name: &str) -> Vec<String> {
        words(name).into_iter().map(|word| word.lower).collect()
    }

    #[test]
    fn names_split_where_people_see_words() {
        let cases: [(&str, &[&str]); 12] = [
            ("kitchen_after_2", &["kitchen", "after", "2"]),
            ("KitchenAfter02", &["kitchen", "after", "2"]),
            ("BEFORE - Bath 1 (3)", &["before", "bath", "1", "3"]),
            ("b4-bath1", &["b4", "bath", "1"]),
            ("2nd Bedroom", &["2nd", "bedroom"]),
            ("afternoon", &["afternoon"]),
            ("Kid\u{2019}s room", &["kids", "room"]),
            ("Cafe\u{301} before", &["caf\u{e9}", "before"]),
            ("bedroom two", &["bedroom", "2"]),
            ("a\u{2013}b\u{2014}c.d", &["a", "b", "c", "d"]),
            ("", &[]),
            ("000", &["0"]),
        ];
        for (name, expected) in cases {
            assert_eq!(split(name), expected, "{name}");
        }
    }

    #[test]
    fn brackets_and_zeros_mark_counters() {
        let list = words("Bath 1 (3) 07");
        let room: Vec<bool> = list.iter().map(Word::is_room_number).collect();
        assert_eq!(room, [false, true, false, false]);
    }
}
