//! Required shots against the photos there are. Pure: no pixels, no files, no verdict.

use std::collections::BTreeMap;

use super::{Shot, ShotKind};
use crate::job::normalize;
use crate::phase::Phase;

/// What coverage needs to know of a photo.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(clippy::exhaustive_structs)] // made by callers
pub struct ShotPhoto<'a> {
    /// Area, or the load it shows.
    pub area: &'a str,
    /// Phase.
    pub phase: Phase,
    /// Its view set, if it has one: photos of one view set are one view.
    pub view_set: Option<&'a str>,
    /// Words that may name the shot: file name without folders, caption.
    pub words: &'a str,
}

/// A shot that is owed in a phase and not there in full.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub struct MissingShot {
    /// Index of the shot in the list given.
    pub shot: usize,
    /// Phase.
    pub phase: Phase,
    /// Photos wanted.
    pub wanted: u32,
    /// Photos found, fewer.
    pub found: u32,
}

/// What is missing, in the order of `shots` (the crew's walk), each in phase order.
///
/// A photo counts for one shot: the one whose words it holds (the longest wins). Photos that name no
/// shot count as views, one a view set, in order. A shot asked only where the thing exists is owed
/// once any photo shows the thing, in whatever phase. Areas without any photo in a phase are
/// reported like the others.
#[must_use]
pub fn coverage(shots: &[Shot], photos: &[ShotPhoto<'_>]) -> Vec<MissingShot> {
    let found = count(shots, photos);
    let exists = |index: usize| Phase::ALL.iter().any(|p| found.contains_key(&(index, *p)));
    let mut missing = Vec::new();
    for (index, shot) in shots.iter().enumerate() {
        if shot.if_present && !exists(index) {
            continue;
        }
        for &phase in &shot.phases {
            let found = found.get(&(index, phase)).copied().unwrap_or(0);
            if found < shot.photos {
                missing.push(MissingShot {
                    shot: index,
                    phase,
                    wanted: shot.photos,
                    found,
                });
            }
        }
    }
    missing
}

/// Photos of each shot and phase.
fn count(shots: &[Shot], photos: &[ShotPhoto<'_>]) -> BTreeMap<(usize, Phase), u32> {
    let areas: Vec<String> = shots.iter().map(|s| normalize(&s.area)).collect();
    let words: Vec<Vec<String>> = shots
        .iter()
        .map(|s| s.words.iter().map(|w| normalize(w)).collect())
        .collect();
    let mut found: BTreeMap<(usize, Phase), u32> = BTreeMap::new();
    let mut unnamed: Vec<(String, Phase, Option<&str>)> = Vec::new();
    for photo in photos {
        let area = normalize(photo.area);
        let text =
            format!(" {} ", normalize(&plain(photo.words))).replace(&format!(" {area} "), " ");
        let named = (0..shots.len())
            .filter(|&i| areas.get(i) == Some(&area))
            .filter(|&i| {
                shots
                    .get(i)
                    .is_some_and(|s| s.phases.contains(&photo.phase))
            })
            .filter_map(|i| longest(words.get(i)?, &text).map(|length| (length, i)))
            .max_by_key(|&(length, i)| (length, std::cmp::Reverse(i)));
        match named {
            Some((_, shot)) => *found.entry((shot, photo.phase)).or_default() += 1,
            None => {
                let one = (area, photo.phase, photo.view_set);
                // Photos of one view set are one view; photos without one stand alone.
                if one.2.is_none() || !unnamed.contains(&one) {
                    unnamed.push(one);
                }
            }
        }
    }
    for (area, phase, _) in unnamed {
        let open = shots.iter().enumerate().position(|(i, shot)| {
            shot.shot_kind == ShotKind::View
                && areas.get(i) == Some(&area)
                && shot.phases.contains(&phase)
                && found.get(&(i, phase)).copied().unwrap_or(0) < shot.photos
        });
        if let Some(shot) = open {
            *found.entry((shot, phase)).or_default() += 1;
        }
    }
    found
}

/// Dots and brackets part words as blanks do.
fn plain(words: &str) -> String {
    words
        .chars()
        .map(|c| if c.is_alphanumeric() { c } else { ' ' })
        .collect()
}

/// Length of the longest of `words` that stands in `text` as whole words.
fn longest(words: &[String], text: &str) -> Option<usize> {
    words
        .iter()
        .filter(|word| !word.is_empty() && text.contains(&format!(" {word} ")))
        .map(String::len)
        .max()
}
