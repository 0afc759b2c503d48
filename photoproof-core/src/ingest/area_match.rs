//! Finding the areas of the job sheet in paths.

use globset::{GlobBuilder, GlobMatcher};
use unicode_normalization::UnicodeNormalization;

use crate::ingest::name_reading::canonical;
use crate::ingest::vocabulary::{Meaning, meaning};
use crate::ingest::words::{Word, words};
use crate::job::JobSheet;

/// The areas of a job sheet, ready to be found.
#[derive(Debug, Default)]
pub(crate) struct SheetAreas {
    areas: Vec<SheetArea>,
}

#[derive(Debug)]
struct SheetArea {
    name: String,
    canonical: Vec<String>,
    patterns: Vec<GlobMatcher>,
}

impl SheetAreas {
    /// Prepares the areas of `sheet`. Patterns that are no globs match nothing (the job sheet's own
    /// check refuses them).
    pub(crate) fn new(sheet: &JobSheet) -> Self {
        let area = |area: &crate::job::Area| SheetArea {
            name: area.name.clone(),
            canonical: canonical(&words(&area.name)),
            patterns: area
                .patterns
                .iter()
                .filter_map(|pattern| matcher(pattern))
                .collect(),
        };
        Self {
            areas: sheet.areas.iter().map(area).collect(),
        }
    }

    /// The area whose pattern matches the path, one of its parts, or a part without extension; the
    /// first on the sheet.
    pub(crate) fn by_pattern(&self, path: &str) -> Option<&str> {
        let path: String = path.nfc().collect();
        let mut forms = vec![path.clone()];
        for part in path.split('/') {
            forms.push(part.to_owned());
            forms.push(
                part.rsplit_once('.')
                    .map_or(part, |(stem, _)| stem)
                    .to_owned(),
            );
            let spoken: Vec<String> = words(part).into_iter().map(|word| word.lower).collect();
            forms.push(spoken.join(" "));
        }
        let hit = |area: &&SheetArea| {
            area.patterns
                .iter()
                .any(|pattern| forms.iter().any(|form| pattern.is_match(form)))
        };
        self.areas.iter().find(hit).map(|area| area.name.as_str())
    }

    /// The area of exactly this name, letters of any case, or the one that these words name.
    pub(crate) fn named(&self, text: &str) -> Option<String> {
        let lower = text.trim().to_lowercase();
        let exact = self
            .areas
            .iter()
            .find(|area| area.name.to_lowercase() == lower);
        let found = exact
            .map(|area| area.name.as_str())
            .or_else(|| self.by_words(&words(text)));
        found.map(str::to_owned)
    }

    /// The area that the words of a name state: all of the area's words stand side by side; the longest
    /// name wins, then the one further right (the head of "bedroom closet" is the closet).
    pub(crate) fn by_words(&self, name: &[Word]) -> Option<&str> {
        let said = canonical(name);
        let mut best: Option<(usize, usize, &str)> = None;
        for area in &self.areas {
            let Some(at) = find(&said, &area.canonical) else {
                continue;
            };
            let rank = (area.canonical.len(), at + area.canonical.len());
            if best.is_none_or(|(length, end, _)| rank > (length, end)) {
                best = Some((rank.0, rank.1, &area.name));
            }
        }
        let found = best.map(|(_, _, name)| name);
        found.or_else(|| self.only_of_kind(&said))
    }

    /// The one area of the kind that the words name: "bedroom" finds "Master Bedroom" if the sheet has
    /// no other bedroom; "bedroom 2" and "guest bedroom" do not.
    fn only_of_kind(&self, said: &[String]) -> Option<&str> {
        let is_kind = |word: &&String| matches!(meaning(word), Meaning::Kind(_));
        let head = said.iter().rev().find(is_kind)?;
        let mut same = self
            .areas
            .iter()
            .filter(|area| area.canonical.iter().rev().find(is_kind) == Some(head));
        let only = same.next()?;
        let is_number =
            |word: &String| !word.is_empty() && word.bytes().all(|byte| byte.is_ascii_digit());
        let numbered = said
            .windows(2)
            .any(|pair| pair[0] == *head && is_number(&pair[1]));
        let distinct = numbered
            || said.iter().any(|word| {
                matches!(meaning(word), Meaning::Qualifier) && !only.canonical.contains(word)
            });
        (same.next().is_none() && !distinct).then_some(only.name.as_str())
    }
}

/// Last place where `part` stands in `whole`.
fn find(whole: &[String], part: &[String]) -> Option<usize> {
    if part.is_empty() {
        return None;
    }
    whole.windows(part.len()).rposition(|window| window == part)
}

fn matcher(pattern: &str) -> Option<GlobMatcher> {
    let pattern: String = pattern.nfc().collect();
    let glob = GlobBuilder::new(&pattern)
        .case_insensitive(true)
        .build()
        .ok()?;
    Some(glob.compile_matcher())
}
