//! Mistakes of a job sheet, gathered so that all of them are reported at once.

use std::cell::RefCell;
use std::ops::Range;

use crate::error::{Error, ErrorKind};

/// More mistakes than this are not listed; the sheet is some other file then.
const MAX_MISTAKES: usize = 200;
/// More syntax mistakes than this are echoes of the first.
const MAX_SYNTAX: usize = 5;
/// Longest message, characters: it may quote what the sheet says.
const MAX_MESSAGE: usize = 800;
/// Longer words than this are not compared with candidates.
const MAX_WORD: usize = 64;

/// One mistake: where, what, and what to do.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
struct Mistake {
    offset: usize,
    message: String,
}

/// The text of a TOML file and the mistakes found in it so far.
///
/// The list is behind a `RefCell` because readers of nested tables share it.
#[derive(Debug)]
pub(crate) struct Mistakes<'t> {
    text: &'t str,
    /// Byte offset at which each line starts.
    lines: Vec<usize>,
    shown_path: String,
    found: RefCell<Vec<Mistake>>,
    /// Finished lines about other files that the sheet names.
    elsewhere: RefCell<Vec<String>>,
}

impl<'t> Mistakes<'t> {
    pub(crate) fn new(text: &'t str, shown_path: String) -> Self {
        Self {
            lines: std::iter::once(0)
                .chain(text.match_indices('\n').map(|(at, _)| at + 1))
                .collect(),
            text,
            shown_path,
            found: RefCell::new(Vec::new()),
            elsewhere: RefCell::new(Vec::new()),
        }
    }

    /// Adds a mistake at the start of `span` (byte offsets into the text).
    pub(crate) fn add(&self, span: &Range<usize>, message: impl Into<String>) {
        self.found.borrow_mut().push(Mistake {
            offset: span.start,
            message: plain(&message.into()),
        });
    }

    /// Adds the mistakes of another file, as they are.
    pub(crate) fn add_elsewhere(&self, error: &Error) {
        self.elsewhere
            .borrow_mut()
            .extend(error.to_string().lines().map(str::to_owned));
    }

    /// Line and column, both from 1, the column in characters.
    pub(crate) fn position(&self, offset: usize) -> (usize, usize) {
        let mut end = offset.min(self.text.len());
        while !self.text.is_char_boundary(end) {
            end -= 1;
        }
        let line = self.lines.partition_point(|&start| start <= end);
        let start = self.lines.get(line.saturating_sub(1)).copied();
        let before = self.text.get(start.unwrap_or(0)..end).unwrap_or_default();
        let column = before.chars().count() + 1;
        (line, column)
    }

    /// All mistakes as one error, one a line in file order, or `Ok` when there is none.
    ///
    /// A syntax mistake hides other mistakes of its line, and one with many others in its wake hides
    /// all that follows: they are only its echoes.
    pub(crate) fn into_result(self, syntax: &[(Range<usize>, String)]) -> Result<(), Error> {
        let mut syntax: Vec<&(Range<usize>, String)> = syntax.iter().collect();
        syntax.sort_by_key(|(span, _)| span.start);
        let mut end = usize::MAX;
        if syntax.len() > MAX_SYNTAX {
            // An open bracket or quote turns the rest of the file into echoes of itself.
            syntax.truncate(1);
            end = syntax.first().map_or(0, |(span, _)| span.start);
        }
        let syntax_lines: Vec<usize> = syntax
            .iter()
            .map(|(span, _)| self.position(span.start).0)
            .collect();
        let mut all: Vec<Mistake> = self
            .found
            .borrow()
            .iter()
            .filter(|m| m.offset < end)
            .filter(|m| !syntax_lines.contains(&self.position(m.offset).0))
            .cloned()
            .collect();
        all.extend(syntax.iter().map(|(span, message)| Mistake {
            offset: span.start,
            message: plain(message),
        }));
        let elsewhere = self.elsewhere.borrow();
        if all.is_empty() && elsewhere.is_empty() {
            return Ok(());
        }
        all.sort();
        all.dedup();
        let mut lines: Vec<String> = all
            .iter()
            .take(MAX_MISTAKES)
            .map(|m| {
                let (line, column) = self.position(m.offset);
                format!("{}:{line}:{column}: {}", self.shown_path, m.message)
            })
            .collect();
        if all.len() > MAX_MISTAKES {
            lines.push(format!(
                "{}: {} more mistakes are not listed",
                self.shown_path,
                all.len() - MAX_MISTAKES
            ));
        }
        lines.extend(elsewhere.iter().take(MAX_MISTAKES).cloned());
        Err(Error::new(ErrorKind::JobSheet, lines.join("\n")))
    }
}

/// What a message quotes may hold anything: signs that act instead of showing (controls, direction
/// marks) are spelled out, and long texts are cut.
pub(crate) fn plain(message: &str) -> String {
    let mut out = String::new();
    for (shown, sign) in message.chars().enumerate() {
        if shown == MAX_MESSAGE {
            out.push_str(" ...");
            break;
        }
        match sign {
            '\n' | '\r' | '\t' => out.push(' '),
            '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}' => {
                out.extend(sign.escape_unicode());
            }
            sign if sign.is_control() => out.extend(sign.escape_unicode()),
            sign => out.push(sign),
        }
    }
    out
}

/// The candidate a mistyped `word` probably stands for.
///
/// Damerau-Levenshtein distance (Damerau 1964) of at most a third of the word, or one is the
/// beginning of the other.
pub(crate) fn nearest<'a>(
    word: &str,
    candidates: impl IntoIterator<Item = &'a str>,
) -> Option<&'a str> {
    if word.len() > MAX_WORD {
        return None;
    }
    let word = word.to_lowercase().replace(['_', ' '], "-");
    let allowed = (word.chars().count() / 3).clamp(1, 4);
    let mut best: Option<(usize, &'a str)> = None;
    for candidate in candidates {
        let plain = candidate.to_lowercase().replace(['_', ' '], "-");
        let distance = strsim::damerau_levenshtein(&word, &plain);
        let begins = word.len() >= 3 && (plain.starts_with(&word) || word.starts_with(&plain));
        let rank = if begins { distance.min(2) } else { distance };
        if (begins || distance <= allowed) && best.is_none_or(|(d, _)| rank < d) {
            best = Some((rank, candidate));
        }
    }
    best.map(|(_, candidate)| candidate)
}

/// "did you mean ...?", or the list of what is allowed.
pub(crate) fn suggestion(word: &str, candidates: &[&str]) -> String {
    match nearest(word, candidates.iter().copied()) {
        Some(candidate) => format!("did you mean `{candidate}`?"),
        None => format!("use one of: {}", candidates.join(", ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn positions_count_lines_and_characters_from_one() {
        let mistakes = Mistakes::new("a = 1\nnäme = 2\n", "job.toml".into());
        assert_eq!(mistakes.position(0), (1, 1));
        assert_eq!(mistakes.position("a = 1\nnäme".len()), (2, 5));
        assert_eq!(mistakes.position(10_000), (3, 1));
    }

    #[test]
    fn quoted_signs_show_instead_of_acting() {
        let shown = plain("a\u{1b}[31m\nb\u{202e}c");
        assert_eq!(shown, "a\\u{1b}[31m b\\u{202e}c");
        assert!(plain(&"x".repeat(5_000)).len() < MAX_MESSAGE + 100);
    }

    #[test]
    fn nearest_finds_typos_and_refuses_strangers() {
        let words = ["kitchen", "bathroom", "crawl-space"];
        assert_eq!(nearest("kitchn", words), Some("kitchen"));
        assert_eq!(nearest("Crawl space", words), Some("crawl-space"));
        assert_eq!(nearest("bath", words), Some("bathroom"));
        assert_eq!(nearest("observatory", words), None);
    }
}
