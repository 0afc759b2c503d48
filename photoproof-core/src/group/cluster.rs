//! Same-view pairs to clusters, without chaining drift.

use std::collections::BTreeMap;

use crate::measure::pairs::ComparedPair;
use crate::relation::Relation;

/// A compared pair with its relation.
#[derive(Debug, Clone, Copy)]
pub(super) struct Edge {
    pub(super) a: usize,
    pub(super) b: usize,
    pub(super) relation: Relation,
    /// Inliers: how much the comparison proves.
    pub(super) weight: u32,
}

impl Edge {
    pub(super) fn new(pair: &ComparedPair, relation: Relation) -> Self {
        let weight = pair.viewpoint.evidence().inliers;
        Self {
            a: pair.a.0,
            b: pair.b.0,
            relation,
            weight,
        }
    }
}

/// Joins photos of one view, strongest pairs first. Two clusters are joined only if, of the compared
/// pairs between them, at least as many say `same_view` as say `shifted` or `different`; a chain of
/// small steps therefore cannot join photos that were themselves found to differ.
///
/// Returns clusters of photo indices, each sorted, in order of their first photo; singletons included.
pub(super) fn clusters(photos: usize, edges: &[Edge]) -> Vec<Vec<usize>> {
    let between: BTreeMap<(usize, usize), Relation> = edges
        .iter()
        .map(|edge| ((edge.a.min(edge.b), edge.a.max(edge.b)), edge.relation))
        .collect();
    let mut order: Vec<&Edge> = edges
        .iter()
        .filter(|edge| edge.relation == Relation::SameView)
        .collect();
    order.sort_by(|x, y| y.weight.cmp(&x.weight).then((x.a, x.b).cmp(&(y.a, y.b))));

    let mut members: Vec<Vec<usize>> = (0..photos).map(|photo| vec![photo]).collect();
    let mut cluster_of: Vec<usize> = (0..photos).collect();
    for edge in order {
        let (left, right) = (cluster_of[edge.a], cluster_of[edge.b]);
        if left == right || !agree(&members[left], &members[right], &between) {
            continue;
        }
        let moved = std::mem::take(&mut members[right]);
        for &photo in &moved {
            cluster_of[photo] = left;
        }
        members[left].extend(moved);
    }
    let mut result: Vec<Vec<usize>> = members
        .into_iter()
        .filter(|cluster| !cluster.is_empty())
        .collect();
    for cluster in &mut result {
        cluster.sort_unstable();
    }
    result.sort();
    result
}

fn agree(left: &[usize], right: &[usize], between: &BTreeMap<(usize, usize), Relation>) -> bool {
    let (mut same, mut other) = (0, 0);
    for &a in left {
        for &b in right {
            match between.get(&(a.min(b), a.max(b))) {
                Some(Relation::SameView) => same += 1,
                Some(Relation::Shifted | Relation::Different) => other += 1,
                _ => {}
            }
        }
    }
    same >= other
}

#[cfg(test)]
mod tests {
    use super::*;

    fn edge(a: usize, b: usize, relation: Relation, weight: u32) -> Edge {
        Edge {
            a,
            b,
            relation,
            weight,
        }
    }

    #[test]
    fn chain_of_small_steps_does_not_join_what_differs() {
        let edges = [
            edge(0, 1, Relation::SameView, 90),
            edge(1, 2, Relation::SameView, 80),
            edge(0, 2, Relation::Shifted, 70),
            edge(2, 3, Relation::SameView, 60),
            edge(1, 3, Relation::Shifted, 60),
            edge(0, 3, Relation::Shifted, 60),
        ];
        // 0-1 joins; 2 joins neither or one side by majority; 3 never reaches 0.
        let found = clusters(4, &edges);
        let of_three = found.iter().find(|cluster| cluster.contains(&3));
        assert!(
            of_three.is_some_and(|cluster| !cluster.contains(&0)),
            "{found:?}"
        );
    }

    #[test]
    fn every_photo_is_in_exactly_one_cluster_and_order_of_edges_does_not_matter() {
        let mut edges = vec![
            edge(0, 2, Relation::SameView, 50),
            edge(2, 4, Relation::SameView, 40),
            edge(1, 3, Relation::SameView, 30),
            edge(0, 1, Relation::Different, 5),
        ];
        let forward = clusters(6, &edges);
        edges.reverse();
        assert_eq!(forward, clusters(6, &edges));
        assert_eq!(forward, vec![vec![0, 2, 4], vec![1, 3], vec![5]]);
    }
}
