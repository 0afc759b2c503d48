//! View sets: the photos of one view over the phases.

use std::collections::BTreeMap;

use crate::group::cluster::Edge;
use crate::ingest::{Label, PhotoId};
use crate::phase::Phase;
use crate::relation::Relation;

/// The photos of one view of one area.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub struct ViewSet {
    /// Stable id: area and number (`kitchen-1`).
    pub id: String,
    /// Area, if known.
    pub area: Option<String>,
    /// Before photos, by path.
    pub before: Vec<PhotoId>,
    /// During photos, by path.
    pub during: Vec<PhotoId>,
    /// After photos, by path.
    pub after: Vec<PhotoId>,
    /// Photos whose phase is unknown, by path.
    pub unphased: Vec<PhotoId>,
    /// Photos that seem meant to repeat this view but were taken from another standpoint.
    pub attempts: Vec<Attempt>,
}

/// A photo that seems meant to repeat a view from another standpoint.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Attempt {
    /// The photo of the set it was compared with.
    pub anchor: PhotoId,
    /// The attempted repeat.
    pub photo: PhotoId,
    /// Phase of the attempted repeat.
    pub phase: Phase,
}

impl ViewSet {
    /// Photos of one phase.
    #[must_use]
    pub fn of(&self, phase: Phase) -> &[PhotoId] {
        match phase {
            Phase::Before => &self.before,
            Phase::During => &self.during,
            Phase::After => &self.after,
        }
    }

    /// All photos of the set in phase order, attempts excluded.
    pub fn photos(&self) -> impl Iterator<Item = PhotoId> + '_ {
        [&self.before, &self.during, &self.after, &self.unphased]
            .into_iter()
            .flatten()
            .copied()
    }
}

/// Makes view sets from clusters. `labels` are the resolved labels. Clusters without a before photo
/// whose photos were found shifted against a set that lacks their phase become attempts of that set.
pub(super) fn view_sets(
    clusters: &[Vec<usize>],
    labels: &[Label],
    edges: &[Edge],
    area_order: &[String],
) -> Vec<ViewSet> {
    let (mut anchored, mut orphans): (Vec<ViewSet>, Vec<ViewSet>) = clusters
        .iter()
        .map(|cluster| bare_set(cluster, labels))
        .partition(|set| !set.before.is_empty() || set.during.len() + set.after.len() == 0);
    orphans.retain(|orphan| !attach(orphan, &mut anchored, labels, edges));
    anchored.append(&mut orphans);
    number(anchored, area_order)
}

fn bare_set(cluster: &[usize], labels: &[Label]) -> ViewSet {
    let mut votes: BTreeMap<&str, usize> = BTreeMap::new();
    for area in cluster
        .iter()
        .filter_map(|&photo| labels[photo].area.as_deref())
    {
        *votes.entry(area).or_default() += 1;
    }
    // Most votes; among equals the first by name.
    let area = votes
        .iter()
        .max_by(|x, y| x.1.cmp(y.1).then(y.0.cmp(x.0)))
        .map(|(area, _)| *area);
    let of = |phase: Option<Phase>| {
        cluster
            .iter()
            .filter(|&&p| labels[p].phase == phase)
            .map(|&p| PhotoId(p))
            .collect()
    };
    ViewSet {
        id: String::new(),
        area: area.map(str::to_owned),
        before: of(Some(Phase::Before)),
        during: of(Some(Phase::During)),
        after: of(Some(Phase::After)),
        unphased: of(None),
        attempts: Vec::new(),
    }
}

/// Tries to attach every photo of `orphan` to the anchored set it was most surely meant to repeat.
/// True if all of them found a set.
fn attach(orphan: &ViewSet, anchored: &mut [ViewSet], labels: &[Label], edges: &[Edge]) -> bool {
    let mut found = Vec::new();
    for photo in orphan.photos() {
        let Some(phase) = labels[photo.0].phase else {
            return false;
        };
        let best = anchored
            .iter()
            .enumerate()
            .filter(|(_, set)| set.area == orphan.area && lacks(set, phase))
            .filter_map(|(index, set)| {
                let (weight, anchor) = strongest_shift(set, photo, edges)?;
                Some((weight, std::cmp::Reverse(index), anchor))
            })
            .max();
        let Some((_, std::cmp::Reverse(index), anchor)) = best else {
            return false;
        };
        found.push((
            index,
            Attempt {
                anchor,
                photo,
                phase,
            },
        ));
    }
    for (index, attempt) in found {
        anchored[index].attempts.push(attempt);
    }
    true
}

fn lacks(set: &ViewSet, phase: Phase) -> bool {
    set.of(phase).is_empty() && set.attempts.iter().all(|attempt| attempt.phase != phase)
}

/// How surely `photo` was meant to repeat `set`: the most inliers of any shifted pair, and the member to
/// match: the before photo if it was compared, else the strongest.
fn strongest_shift(set: &ViewSet, photo: PhotoId, edges: &[Edge]) -> Option<(u32, PhotoId)> {
    let shifts: Vec<(u32, PhotoId)> = edges
        .iter()
        .filter(|edge| edge.relation == Relation::Shifted)
        .filter_map(|edge| {
            let other = match photo.0 {
                p if p == edge.a => edge.b,
                p if p == edge.b => edge.a,
                _ => return None,
            };
            set.photos()
                .find(|member| member.0 == other)
                .map(|member| (edge.weight, member))
        })
        .collect();
    let strongest = shifts
        .iter()
        .max_by(|x, y| x.0.cmp(&y.0).then(y.1.cmp(&x.1)))?;
    let before = shifts
        .iter()
        .find(|(_, member)| set.before.contains(member));
    Some((strongest.0, before.unwrap_or(strongest).1))
}

/// Sorts sets by area order, then first photo, and names them.
fn number(mut sets: Vec<ViewSet>, area_order: &[String]) -> Vec<ViewSet> {
    let rank = |set: &ViewSet| {
        let place = set
            .area
            .as_ref()
            .and_then(|area| area_order.iter().position(|a| a == area));
        (place.unwrap_or(usize::MAX), set.photos().next())
    };
    sets.sort_by_key(rank);
    let mut counts: BTreeMap<String, usize> = BTreeMap::new();
    for set in &mut sets {
        let stem = set.area.as_deref().map_or_else(|| "view".to_owned(), slug);
        let count = counts.entry(stem.clone()).or_default();
        *count += 1;
        set.id = format!("{stem}-{count}");
    }
    sets
}

/// Lower-case letters and digits, other runs as one hyphen.
fn slug(name: &str) -> String {
    let mut slug = String::new();
    for letter in name.chars() {
        if letter.is_alphanumeric() {
            slug.extend(letter.to_lowercase());
        } else if !slug.ends_with('-') && !slug.is_empty() {
            slug.push('-');
        }
    }
    let slug = slug.trim_end_matches('-');
    if slug.is_empty() {
        "area".to_owned()
    } else {
        slug.to_owned()
    }
}
