//! Label patterns and photo globs: syntax, overlaps, and globs that match nothing.

use globset::{Glob, GlobBuilder, GlobMatcher};

use super::JobSheet;

/// A photo glob of the sheet that no photo matches.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub struct UnmatchedPattern {
    /// What the glob belongs to: `load Trailer 1`, `hazard propane cylinder`.
    pub owner: String,
    /// The glob as written.
    pub pattern: String,
    /// One sentence: what is wrong and what to do.
    pub message: String,
}

impl JobSheet {
    /// Photo globs of loads and hazards that match none of `photos` (paths relative to the job
    /// folder, `/` between folders), in sheet order.
    #[must_use]
    pub fn unmatched_patterns(&self, photos: &[&str]) -> Vec<UnmatchedPattern> {
        let loads = self.loads.iter().flat_map(|load| {
            load.photos
                .all()
                .map(move |glob| (format!("load {}", load.name), glob))
        });
        let hazards = self.claim.hazards.iter().flat_map(|hazard| {
            hazard
                .photos
                .iter()
                .map(move |glob| (format!("hazard {}", hazard.item), glob.as_str()))
        });
        loads
            .chain(hazards)
            .filter(|(_, glob)| {
                matcher(glob).is_none_or(|m| !photos.iter().any(|photo| m.is_match(photo)))
            })
            .map(|(owner, glob)| UnmatchedPattern {
                message: format!(
                    "`{glob}` of {owner} matches none of the {} photos; check the folder and file names",
                    photos.len()
                ),
                owner,
                pattern: glob.to_owned(),
            })
            .collect()
    }
}

/// Case-insensitive matcher of a photo glob; `*` stays inside a folder, `**` does not.
/// `None` for a bad glob, which a checked sheet does not hold.
pub(crate) fn matcher(glob: &str) -> Option<GlobMatcher> {
    photo_glob(glob).ok().map(|g| g.compile_matcher())
}

/// Parses a photo glob; the error says what to do.
pub(crate) fn photo_glob(glob: &str) -> Result<Glob, String> {
    if glob.contains('\\') {
        return Err(format!(
            "`{glob}` holds a backslash; write / between folders"
        ));
    }
    if glob.starts_with('/') || glob.split('/').any(|part| part == "..") {
        return Err(format!(
            "`{glob}` leaves the job folder; write a path below it"
        ));
    }
    let plain = glob.strip_prefix("./").unwrap_or(glob);
    build(plain, true)
}

/// Parses a label pattern; the error says what to do.
pub(crate) fn label_glob(glob: &str) -> Result<Glob, String> {
    build(glob, false)
}

fn build(glob: &str, literal_separator: bool) -> Result<Glob, String> {
    GlobBuilder::new(glob)
        .case_insensitive(true)
        .literal_separator(literal_separator)
        .build()
        .map_err(|error| {
            format!(
                "`{glob}` is no pattern: {}; * stands for any characters, ? for one, [ and {{ must be closed",
                error.kind()
            )
        })
}

/// A label as compared: lower case, `_`, `-` and runs of blanks as one blank.
#[must_use]
pub fn normalize(label: &str) -> String {
    label
        .to_lowercase()
        .split(|c: char| c.is_whitespace() || c == '_' || c == '-')
        .filter(|part| !part.is_empty())
        .collect::<Vec<_>>()
        .join(" ")
}

/// A label that `pattern` surely matches: its wildcards left out or filled with one sign.
pub(crate) fn witness(pattern: &str) -> String {
    let mut label = String::new();
    let mut signs = pattern.chars();
    while let Some(sign) = signs.next() {
        match sign {
            '*' => {}
            '?' => label.push('1'),
            '[' => {
                let class: String = signs.by_ref().take_while(|&c| c != ']').collect();
                label.extend(class.trim_start_matches(['!', '^']).chars().next());
            }
            '{' => {
                let choices: String = signs.by_ref().take_while(|&c| c != '}').collect();
                label.push_str(choices.split(',').next().unwrap_or_default());
            }
            '\\' => label.extend(signs.next()),
            other => label.push(other),
        }
    }
    label
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn globs_stay_in_their_folder_and_ignore_case() {
        let m = matcher("loads/trailer1_*.jpg").unwrap();
        assert!(m.is_match("loads/Trailer1_full.JPG"));
        assert!(!m.is_match("loads/x/trailer1_full.jpg"));
        assert!(matcher("**/t*.jpg").unwrap().is_match("a/b/t1.jpg"));
    }

    #[test]
    fn bad_globs_are_named() {
        for bad in [
            "loads/[a.jpg",
            "loads/{a",
            "loads\\a*.jpg",
            "../x.jpg",
            "/x.jpg",
        ] {
            assert!(photo_glob(bad).is_err(), "{bad}");
        }
    }

    #[test]
    fn a_witness_is_matched_by_its_pattern() {
        for pattern in ["kitchen*", "*sink*", "b?th*", "{bed,br} 1*", "bath"] {
            let label = witness(pattern);
            assert!(
                label_glob(pattern)
                    .unwrap()
                    .compile_matcher()
                    .is_match(&label),
                "{pattern} {label}"
            );
        }
    }
}
