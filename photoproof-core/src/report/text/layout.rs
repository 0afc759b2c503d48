//! Lines of a terminal page: wrapping, indentation, colour.

use unicode_width::{UnicodeWidthChar, UnicodeWidthStr};

use super::{Colour, TextOptions};
use crate::judge::finding::Severity;
use crate::report::words;

const BOLD: &str = "\u{1b}[1m";
const RED: &str = "\u{1b}[1;31m";
const YELLOW: &str = "\u{1b}[1;33m";
const CYAN: &str = "\u{1b}[36m";
const RESET: &str = "\u{1b}[0m";

/// Text under construction.
pub(super) struct Page {
    out: String,
    width: usize,
    colour: Colour,
}

impl Page {
    pub(super) fn new(options: &TextOptions) -> Self {
        Self {
            out: String::new(),
            width: options.width.clamp(40, 100),
            colour: options.colour,
        }
    }

    pub(super) fn finish(self) -> String {
        self.out
    }

    pub(super) fn blank(&mut self) {
        self.out.push('\n');
    }

    /// A section title with a blank line before it.
    pub(super) fn title(&mut self, text: &str) {
        self.blank();
        self.strong(0, &text.to_uppercase());
    }

    /// Wrapped text in bold.
    pub(super) fn strong(&mut self, indent: usize, text: &str) {
        self.lines(indent, indent, text, BOLD);
    }

    /// Wrapped text: first line at `first`, the others at `indent` columns.
    pub(super) fn wrapped(&mut self, first: usize, indent: usize, text: &str) {
        if !text.is_empty() {
            self.lines(first, indent, text, "");
        }
    }

    /// A finding's first line: severity as a word, then the check.
    pub(super) fn severity(&mut self, indent: usize, severity: Severity, check: &str) {
        let style = match severity {
            Severity::Fail => RED,
            Severity::Review => YELLOW,
            Severity::Note => CYAN,
        };
        let text = format!("{}: {check}", words::severity(severity));
        self.lines(indent, indent + 2, &text, style);
    }

    fn lines(&mut self, first: usize, indent: usize, text: &str, style: &str) {
        let room = self.width.saturating_sub(first.max(indent)).max(20);
        for (index, line) in wrap(text, room).iter().enumerate() {
            let columns = if index == 0 { first } else { indent };
            let line = words::unglued(line);
            self.out.push_str(&" ".repeat(columns));
            match self.colour {
                Colour::Ansi if !style.is_empty() => {
                    self.out.extend([style, line.as_str(), RESET]);
                }
                _ => self.out.push_str(&line),
            }
            self.out.push('\n');
        }
    }
}

/// Breaks `text` at spaces into lines of at most `room` columns; a longer word is broken where it must be.
fn wrap(text: &str, room: usize) -> Vec<String> {
    let mut lines = Vec::new();
    let mut line = String::new();
    for word in text.split(' ') {
        for piece in pieces(word, room) {
            let gap = usize::from(!line.is_empty());
            if columns(&line) + gap + columns(&piece) > room && !line.is_empty() {
                lines.push(std::mem::take(&mut line));
            }
            if !line.is_empty() {
                line.push(' ');
            }
            line.push_str(&piece);
        }
    }
    lines.push(line);
    lines
}

/// Columns of a text; the sign that glues a path together takes one, as the space it becomes.
fn columns(text: &str) -> usize {
    words::unglued(text).width()
}

/// `word` in pieces of at most `room` columns.
fn pieces(word: &str, room: usize) -> Vec<String> {
    let mut pieces = vec![String::new()];
    let mut used = 0;
    for c in word.chars() {
        let columns = c.width().unwrap_or(1);
        if used + columns > room {
            pieces.push(String::new());
            used = 0;
        }
        used += columns;
        if let Some(piece) = pieces.last_mut() {
            piece.push(c);
        }
    }
    pieces
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_fit_and_nothing_is_lost() {
        let text = "Kitchen, after: step back about 20 %, turn left 10 degrees; match Kitchen/before/a.jpg";
        let lines = wrap(text, 30);
        assert!(lines.iter().all(|line| line.width() <= 30), "{lines:?}");
        assert_eq!(lines.join(" "), text);
        let wide = wrap(&"厨房".repeat(40), 30);
        assert!(wide.iter().all(|line| line.width() <= 30), "{wide:?}");
        assert_eq!(wide.concat().chars().count(), 80);
    }

    #[test]
    fn colour_stands_beside_words_only() {
        let mut page = Page::new(&TextOptions {
            width: 80,
            colour: Colour::Ansi,
        });
        page.severity(0, Severity::Fail, "missing-after");
        assert_eq!(page.finish(), "\u{1b}[1;31mfail: missing-after\u{1b}[0m\n");
    }
}
