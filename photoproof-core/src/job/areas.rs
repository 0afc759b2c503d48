//! `[[area]]`: names, kinds and label patterns, and areas that claim the same label.

use std::ops::Range;

use globset::GlobMatcher;

use super::mistake::suggestion;
use super::pattern::{label_glob, normalize, witness};
use super::table::Reader;
use super::{Area, JobSheet};
use crate::scope;

/// More areas than this are no house, and each pair of them is compared.
const MAX_AREAS: usize = 500;
/// More patterns than this in one area are not read.
const MAX_PATTERNS: usize = 50;

struct Placed {
    area: Area,
    name_at: Range<usize>,
    /// Compiled patterns with their places.
    matchers: Vec<(GlobMatcher, Range<usize>)>,
    /// Labels that surely fall to this area, as written and normalized.
    labels: Vec<(String, String)>,
}

/// Reads all areas.
pub(super) fn areas(root: &Reader<'_>, sheet: &mut JobSheet) {
    let mut placed: Vec<Placed> = Vec::new();
    let tables = root.tables("area", &["name", "kind", "match"]);
    if let Some(excess) = tables.get(MAX_AREAS) {
        root.mistake(
            &excess.span,
            format!("more than {MAX_AREAS} areas; split the job"),
        );
    }
    for table in tables.into_iter().take(MAX_AREAS) {
        if let Some(found) = area(&table, &sheet.scope.profiles) {
            placed.push(found);
        }
    }
    overlaps(root, &placed);
    sheet.areas = placed.into_iter().map(|p| p.area).collect();
}

fn area(table: &Reader<'_>, profiles: &[scope::Profile]) -> Option<Placed> {
    if !table.has("name") {
        table.missing("name", "name = \"Kitchen\"");
    }
    let kind = table.text("kind").and_then(|kind| {
        let known = scope::kind_named(profiles, &kind.value).map(str::to_owned);
        if known.is_none() {
            let names = scope::kind_names(profiles);
            table.mistake(
                &kind.span,
                format!(
                    "unknown kind `{}` in {}; {}",
                    kind.value,
                    table.name,
                    suggestion(&kind.value, &names)
                ),
            );
        }
        known
    });
    let (patterns, matchers) = patterns(table);
    let name = table.text("name")?;
    if normalize(&name.value).is_empty() {
        table.mistake(
            &name.span,
            "`name` of an area needs letters or digits; write for instance \"Bath 1\"",
        );
    }
    let labels = std::iter::once(name.value.clone())
        .chain(patterns.iter().map(|p| witness(p)))
        .filter(|label| !label.trim().is_empty())
        .map(|label| {
            let plain = normalize(&label);
            (label, plain)
        })
        .collect();
    Some(Placed {
        area: Area {
            name: name.value,
            kind,
            patterns,
        },
        name_at: name.span,
        matchers,
        labels,
    })
}

/// Reads `match`: the patterns as written, and compiled with their places.
fn patterns(table: &Reader<'_>) -> (Vec<String>, Vec<(GlobMatcher, Range<usize>)>) {
    let mut patterns = Vec::new();
    let mut matchers = Vec::new();
    for (index, pattern) in table.texts("match").into_iter().enumerate() {
        if index == MAX_PATTERNS {
            table.mistake(
                &pattern.span,
                format!("more than {MAX_PATTERNS} patterns; use * to join some"),
            );
            break;
        }
        match label_glob(&pattern.value) {
            Ok(glob) => {
                matchers.push((glob.compile_matcher(), pattern.span));
                patterns.push(pattern.value);
            }
            Err(message) => table.mistake(&pattern.span, message),
        }
    }
    (patterns, matchers)
}

/// Two areas overlap when one label would fall to both: equal names, a pattern that matches the
/// other's name, or a pattern that matches a label of the other's pattern.
fn overlaps(root: &Reader<'_>, placed: &[Placed]) {
    for (index, later) in placed.iter().enumerate() {
        for earlier in placed.iter().take(index) {
            if normalize(&earlier.area.name) == normalize(&later.area.name) {
                let (line, _) = root.mistakes.position(earlier.name_at.start);
                root.mistake(
                    &later.name_at,
                    format!(
                        "area name `{}` is already used on line {line}; number the areas, for instance \"{} 2\"",
                        later.area.name, earlier.area.name
                    ),
                );
            } else if let Some((pattern_at, label)) = shared_label(earlier, later) {
                let (line, _) = root.mistakes.position(earlier.name_at.start);
                root.mistake(
                    &pattern_at,
                    format!(
                        "areas `{}` (line {line}) and `{}` overlap: the label `{label}` matches both; narrow one of the patterns",
                        earlier.area.name, later.area.name
                    ),
                );
            }
        }
    }
}

/// A label that both areas claim, with the place of the pattern that reaches too far.
fn shared_label(earlier: &Placed, later: &Placed) -> Option<(Range<usize>, String)> {
    one_way(later, earlier).or_else(|| one_way(earlier, later))
}

/// A label of `other` that a pattern of `claimant` matches.
fn one_way(claimant: &Placed, other: &Placed) -> Option<(Range<usize>, String)> {
    for (matcher, at) in &claimant.matchers {
        let hit = other
            .labels
            .iter()
            .find(|(label, plain)| matcher.is_match(label.as_str()) || matcher.is_match(plain));
        if let Some((label, _)) = hit {
            return Some((at.clone(), label.clone()));
        }
    }
    None
}
