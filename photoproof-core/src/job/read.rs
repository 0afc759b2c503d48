//! Reading a job sheet: file to text to TOML to a checked [`JobSheet`].

use std::io::Read;
use std::ops::Range;
use std::path::Path;

use toml::de::DeTable;

use super::mistake::Mistakes;
use super::table::Reader;
use super::{JobSheet, MAX_BYTES, areas, load, settings};
use crate::error::{Error, ErrorKind};

const TABLES: [&str; 9] = [
    "job", "site", "area", "load", "claim", "limits", "scope", "volume", "labels",
];

impl JobSheet {
    /// Reads and checks the job sheet at `path`.
    ///
    /// # Errors
    ///
    /// When the file cannot be read, is larger than [`MAX_BYTES`], is not UTF-8, or holds mistakes;
    /// the message then lists all of them, one a line: `path:line:column: what; what to do`.
    pub fn read(path: &Path) -> Result<Self, Error> {
        let text = read_text(path, "job sheet")?;
        Self::parse(&text, path)
    }

    /// Checks the text of a job sheet. `shown_path` is the path that messages name; a relative
    /// `[scope] profile` is looked up beside it.
    ///
    /// # Errors
    ///
    /// When the text holds mistakes; the message lists all of them, one a line.
    pub fn parse(text: &str, shown_path: &Path) -> Result<Self, Error> {
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        let (root, syntax) = DeTable::parse_recoverable(text);
        let syntax = syntax_mistakes(&syntax);
        let mistakes = Mistakes::new(text, shown_path.display().to_string());
        let sheet = sheet(root.get_ref(), shown_path, &mistakes);
        mistakes.into_result(&syntax)?;
        Ok(sheet)
    }
}

/// Reads a TOML file of bounded size as UTF-8.
pub(crate) fn read_text(path: &Path, what: &str) -> Result<String, Error> {
    if !path.exists() {
        return Err(Error::missing(what, path.to_path_buf()));
    }
    // Opening a pipe would wait for whoever writes into it.
    let facts = std::fs::metadata(path).map_err(|e| Error::io("read", path, e))?;
    if !facts.is_file() {
        let message = format!(
            "{what} {} is not a regular file; check the path",
            path.display()
        );
        return Err(Error::new(ErrorKind::Io, message));
    }
    let file = std::fs::File::open(path).map_err(|e| Error::io("read", path, e))?;
    let mut bytes = Vec::new();
    file.take(MAX_BYTES + 1)
        .read_to_end(&mut bytes)
        .map_err(|e| Error::io("read", path, e))?;
    if bytes.len() as u64 > MAX_BYTES {
        return Err(Error::new(
            ErrorKind::Bounds,
            format!(
                "{} is larger than {MAX_BYTES} bytes, which no {what} needs; check the path",
                path.display()
            ),
        ));
    }
    String::from_utf8(bytes).map_err(|error| {
        let valid = error.utf8_error().valid_up_to();
        let before = error.as_bytes().get(..valid).unwrap_or_default();
        let line = before.iter().filter(|&&b| b == b'\n').count() + 1;
        let start = before
            .iter()
            .rposition(|&b| b == b'\n')
            .map_or(0, |p| p + 1);
        let column = String::from_utf8_lossy(before.get(start..).unwrap_or_default())
            .chars()
            .count()
            + 1;
        Error::new(
            ErrorKind::JobSheet,
            format!(
                "{}:{line}:{column}: not UTF-8 text; save the file as UTF-8",
                path.display()
            ),
        )
    })
}

/// The parser's own mistakes, in our form.
pub(crate) fn syntax_mistakes(errors: &[toml::de::Error]) -> Vec<(Range<usize>, String)> {
    errors
        .iter()
        .map(|error| {
            let message = error.message().to_lowercase();
            let advice = if message.contains("duplicate key") {
                "remove one of the two"
            } else if message.contains("datetime") || message.contains("date") {
                "write a time as 2026-03-02T07:00:00"
            } else {
                "texts stand in quotes, lists in [ ], tables in { }"
            };
            (error.span().unwrap_or(0..0), format!("{message}; {advice}"))
        })
        .collect()
}

fn sheet<'a>(root: &'a DeTable<'a>, path: &Path, mistakes: &'a Mistakes<'a>) -> JobSheet {
    let root = Reader::open(root, (0..0, String::new()), &TABLES, mistakes);
    let mut sheet = JobSheet::default();
    // The zone decides about window times and the profiles decide about kinds, so both come first.
    settings::site(&root, &mut sheet);
    settings::scope_profiles(&root, path, &mut sheet);
    let units = settings::job(&root, &mut sheet);
    settings::claim(&root, &mut sheet);
    settings::labels(&root, &mut sheet);
    settings::scope(&root, &mut sheet);
    settings::volume(&root, &mut sheet);
    settings::limits(&root, &mut sheet);
    areas::areas(&root, &mut sheet);
    load::loads(&root, units, &mut sheet);
    sheet
}
