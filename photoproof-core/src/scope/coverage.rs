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
    /// Phase; a photo of a load may have none, then its words decide.
    pub phase: Option<Phase>,
    /// Its view set, if it has one: photos of one view set are one view.
    pub view_set: Option<&'a str>,
    /// The shot as written down for this photo (`corner-2`); where it names one, `words` are not read.
    pub view: Option<&'a str>,
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
    Assignment::new(shots, photos).missing(shots)
}

/// Which shot each photo counts for.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct Assignment {
    /// Index of the shot of each photo, in the order of the photos.
    pub(crate) shots: Vec<Option<usize>>,
    found: BTreeMap<(usize, Phase), u32>,
}

impl Assignment {
    pub(crate) fn new(shots: &[Shot], photos: &[ShotPhoto<'_>]) -> Self {
        let wanted = Wanted::new(shots);
        let mut assignment = Self {
            shots: photos.iter().map(|photo| wanted.named(photo)).collect(),
            found: BTreeMap::new(),
        };
        for (index, photo) in photos.iter().enumerate() {
            if let Some(shot) = assignment.shots.get(index).copied().flatten() {
                assignment.count(shots, shot, photo.phase);
            }
        }
        assignment.views(shots, photos, &wanted);
        assignment
    }

    pub(crate) fn missing(&self, shots: &[Shot]) -> Vec<MissingShot> {
        let exists = |index: usize| Phase::ALL.iter().any(|p| self.of(index, *p) > 0);
        let mut missing = Vec::new();
        for (index, shot) in shots.iter().enumerate() {
            if shot.if_present && !exists(index) {
                continue;
            }
            for &phase in &shot.phases {
                let found = self.of(index, phase);
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

    fn of(&self, shot: usize, phase: Phase) -> u32 {
        self.found.get(&(shot, phase)).copied().unwrap_or(0)
    }

    /// Counts a photo; without a phase, for the first phase of the shot that still wants one.
    fn count(&mut self, shots: &[Shot], index: usize, phase: Option<Phase>) {
        let Some(shot) = shots.get(index) else { return };
        let open = || {
            let mut phases = shot.phases.iter().copied();
            phases.find(|&p| self.of(index, p) < shot.photos)
        };
        if let Some(phase) = phase.or_else(open).or(shot.phases.first().copied()) {
            *self.found.entry((index, phase)).or_default() += 1;
        }
    }

    /// Photos that name no shot fill the views in order, one a view set.
    fn views(&mut self, shots: &[Shot], photos: &[ShotPhoto<'_>], wanted: &Wanted) {
        let mut seen: Vec<(String, Option<Phase>, &str, Option<usize>)> = Vec::new();
        for (index, photo) in photos.iter().enumerate() {
            if self.shots.get(index).copied().flatten().is_some() {
                continue;
            }
            let area = normalize(photo.area);
            let known = photo.view_set.and_then(|set| {
                seen.iter()
                    .find(|(a, phase, s, _)| *a == area && *phase == photo.phase && *s == set)
            });
            let shot = match known {
                Some((.., shot)) => *shot,
                None => self.open_view(shots, &area, photo.phase, wanted),
            };
            if known.is_none() {
                if let Some(shot) = shot {
                    self.count(shots, shot, photo.phase);
                }
                if let Some(set) = photo.view_set {
                    seen.push((area, photo.phase, set, shot));
                }
            }
            if let Some(place) = self.shots.get_mut(index) {
                *place = shot;
            }
        }
    }

    fn open_view(
        &self,
        shots: &[Shot],
        area: &str,
        phase: Option<Phase>,
        wanted: &Wanted,
    ) -> Option<usize> {
        shots.iter().enumerate().position(|(index, shot)| {
            let open = |p: &Phase| self.of(index, *p) < shot.photos;
            let mut phases = shot.phases.iter();
            shot.shot_kind == ShotKind::View
                && wanted.areas.get(index).is_some_and(|a| a == area)
                && match phase {
                    Some(phase) => phases.any(|p| *p == phase && open(p)),
                    None => phases.any(open),
                }
        })
    }
}

/// The words of all shots, as compared.
struct Wanted {
    areas: Vec<String>,
    words: Vec<Vec<String>>,
    phases: Vec<Vec<Phase>>,
}

impl Wanted {
    fn new(shots: &[Shot]) -> Self {
        let words = |shot: &Shot| shot.words.iter().map(|w| normalize(w)).collect();
        Self {
            areas: shots.iter().map(|s| normalize(&s.area)).collect(),
            words: shots.iter().map(words).collect(),
            phases: shots.iter().map(|s| s.phases.clone()).collect(),
        }
    }

    /// The shot that the photo names: what was written down for it, else the longest of its words.
    fn named(&self, photo: &ShotPhoto<'_>) -> Option<usize> {
        let written = photo.view.and_then(|view| self.spoken(photo, view));
        written.or_else(|| self.spoken(photo, photo.words))
    }

    fn spoken(&self, photo: &ShotPhoto<'_>, text: &str) -> Option<usize> {
        let area = normalize(photo.area);
        let text = format!(" {} ", normalize(&plain(text))).replace(&format!(" {area} "), " ");
        self.areas
            .iter()
            .zip(&self.words)
            .zip(&self.phases)
            .enumerate()
            .filter(|(_, ((of, _), _))| **of == area)
            .filter(|(_, (_, phases))| photo.phase.is_none_or(|p| phases.contains(&p)))
            .filter_map(|(index, ((_, words), _))| {
                longest(words, &text).map(|length| (length, std::cmp::Reverse(index)))
            })
            .max()
            .map(|(_, std::cmp::Reverse(index))| index)
    }
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
