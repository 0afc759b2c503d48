//! Labels that the crew did not write, inferred from view sets and time and marked as inferred.

use std::collections::BTreeMap;

use chrono::NaiveDateTime;

use crate::ingest::{Label, LabelSource, Photo};
use crate::phase::Phase;

/// Two photos of one view further apart than this belong to different phases.
const SAME_VISIT_S: i64 = 600;

/// The labels of `photos` with the areas that they leave open filled in. `clusters` are photos of one view each.
pub(super) fn with_areas(photos: &[Photo], clusters: &[Vec<usize>]) -> Vec<Label> {
    let mut labels: Vec<Label> = photos.iter().map(|photo| photo.label.clone()).collect();
    for cluster in clusters {
        infer_area(cluster, &mut labels);
    }
    labels
}

/// Fills in the phases that labels leave open; `times` are the photos' times at the site, corrected by
/// the errors of their clocks.
pub(super) fn infer_phases(
    labels: &mut [Label],
    times: &[Option<NaiveDateTime>],
    clusters: &[Vec<usize>],
) {
    let Some([first, second]) = phase_boundaries(labels, times, clusters) else {
        return;
    };
    for (label, time) in labels.iter_mut().zip(times) {
        if let (None, Some(time)) = (label.phase, *time) {
            let phase = match time {
                time if time < first => Phase::Before,
                time if time < second => Phase::During,
                _ => Phase::After,
            };
            label.phase = Some(phase);
            label.phase_source = Some(LabelSource::Inferred);
        }
    }
}

/// A photo without an area takes the one area that the labelled photos of its view agree on.
fn infer_area(cluster: &[usize], labels: &mut [Label]) {
    let mut named: Vec<&String> = cluster
        .iter()
        .filter_map(|&photo| labels[photo].area.as_ref())
        .collect();
    named.sort();
    named.dedup();
    if let [area] = named[..] {
        let area = area.clone();
        for &photo in cluster {
            let label = &mut labels[photo];
            if label.area.is_none() {
                label.area = Some(area.clone());
                label.area_source = Some(LabelSource::Inferred);
            }
        }
    }
}

/// The moments that part before from during and during from after, if the views tell.
///
/// Labelled photos vote first; without labels each view votes with its own visits: the first visit is
/// before, the last after, anything between during. The boundaries are the cuts that contradict the
/// fewest votes.
fn phase_boundaries(
    labels: &[Label],
    times: &[Option<NaiveDateTime>],
    clusters: &[Vec<usize>],
) -> Option<[NaiveDateTime; 2]> {
    if labels.iter().all(|label| label.phase.is_some()) {
        return None;
    }
    let mut votes: BTreeMap<NaiveDateTime, [u32; 3]> = BTreeMap::new();
    let labelled = labels.iter().any(|label| label.phase.is_some());
    if labelled {
        for (time, label) in times.iter().zip(labels) {
            if let (Some(time), Some(phase)) = (*time, label.phase) {
                votes.entry(time).or_default()[phase as usize] += 1;
            }
        }
    } else {
        for cluster in clusters {
            vote_by_visits(times, cluster, &mut votes);
        }
    }
    best_cuts(&votes)
}

fn vote_by_visits(
    times: &[Option<NaiveDateTime>],
    cluster: &[usize],
    votes: &mut BTreeMap<NaiveDateTime, [u32; 3]>,
) {
    let mut taken: Vec<NaiveDateTime> = cluster
        .iter()
        .filter_map(|&photo| *times.get(photo)?)
        .collect();
    taken.sort();
    let mut visits: Vec<Vec<NaiveDateTime>> = Vec::new();
    for time in taken {
        match visits.last_mut() {
            Some(visit)
                if visit
                    .last()
                    .is_some_and(|last| (time - *last).num_seconds() < SAME_VISIT_S) =>
            {
                visit.push(time);
            }
            _ => visits.push(vec![time]),
        }
    }
    if visits.len() < 2 {
        return;
    }
    let last = visits.len() - 1;
    for (index, visit) in visits.iter().enumerate() {
        // With only two visits the second may be during or after: it votes half for each.
        let phases: &[(usize, u32)] = match index {
            0 => &[(0, 2)],
            i if i == last && last == 1 => &[(1, 1), (2, 1)],
            i if i == last => &[(2, 2)],
            _ => &[(1, 2)],
        };
        for time in visit {
            for &(phase, weight) in phases {
                votes.entry(*time).or_default()[phase] += weight;
            }
        }
    }
}

/// Cuts (start of during, start of after) with the most agreeing votes; the earliest among equals.
fn best_cuts(votes: &BTreeMap<NaiveDateTime, [u32; 3]>) -> Option<[NaiveDateTime; 2]> {
    let end = *votes.last_key_value()?.0 + chrono::Duration::seconds(1);
    let moments: Vec<NaiveDateTime> = votes.keys().copied().chain([end]).collect();
    // before[i]: votes for each phase among the first i moments.
    let mut before = vec![[0u32; 3]];
    for vote in votes.values() {
        let last = before[before.len() - 1];
        before.push(std::array::from_fn(|phase| last[phase] + vote[phase]));
    }
    let all = before[before.len() - 1];
    let mut best: Option<(u32, usize, usize)> = None;
    let mut first = 0;
    // For every start of after, the best start of during so far is known: one pass.
    for second in 0..before.len() {
        let gain = |cut: usize| i64::from(before[cut][0]) - i64::from(before[cut][1]);
        if gain(second) > gain(first) {
            first = second;
        }
        let agreeing =
            before[first][0] + before[second][1] - before[first][1] + all[2] - before[second][2];
        if best.is_none_or(|(most, ..)| agreeing > most) {
            best = Some((agreeing, first, second));
        }
    }
    best.map(|(_, first, second)| [moments[first], moments[second]])
}
