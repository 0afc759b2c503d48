//! Same-view pairs to clusters, without chaining drift.

use std::collections::{BTreeMap, BTreeSet};

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
    /// How much of both pictures the motion explains, see [`Evidence::consistency`].
    ///
    /// [`Evidence::consistency`]: crate::measure::viewpoint::Evidence::consistency
    pub(super) consistency: f64,
}

impl Edge {
    pub(super) fn new(pair: &ComparedPair, relation: Relation) -> Self {
        let evidence = pair.viewpoint.evidence();
        let weight = evidence.inliers;
        Self {
            a: pair.a.0,
            b: pair.b.0,
            relation,
            weight,
            consistency: evidence.consistency().unwrap_or(0.0),
        }
    }

    fn key(&self) -> (usize, usize) {
        key(self.a, self.b)
    }
}

/// Two photos, whichever way round.
fn key(a: usize, b: usize) -> (usize, usize) {
    (a.min(b), a.max(b))
}

/// Consistency from which two photos of one visit are taken for the same view: next to nothing between
/// them has changed.
const FIRM: f64 = 1.2;

/// Pairs of one visit that may not share a view set.
pub(super) fn apart(rivals: Vec<Edge>) -> Vec<Edge> {
    rivals
        .into_iter()
        .filter(|edge| edge.relation != Relation::SameView || edge.consistency < FIRM)
        .collect()
}

/// Joins photos of one view, strongest pairs first. Two clusters are joined only if, of the compared
/// pairs between them, at least as many say `same_view` as say nothing, and twice as many as say
/// `shifted` or `different`; a chain of small steps therefore cannot join photos that were themselves
/// found to differ. `rivals` never share a cluster: the one with the stronger pair gets in.
///
/// Returns clusters of photo indices, each sorted, in order of their first photo; singletons included.
pub(super) fn clusters(photos: usize, edges: &[Edge], rivals: &[Edge]) -> Vec<Vec<usize>> {
    let between: BTreeMap<(usize, usize), Relation> = edges
        .iter()
        .map(|edge| (edge.key(), edge.relation))
        .collect();
    let apart: BTreeSet<(usize, usize)> = rivals.iter().map(Edge::key).collect();
    let mut order: Vec<&Edge> = edges
        .iter()
        .filter(|edge| edge.relation == Relation::SameView)
        .collect();
    order.sort_by(|x, y| y.weight.cmp(&x.weight).then((x.a, x.b).cmp(&(y.a, y.b))));

    let mut members: Vec<Vec<usize>> = (0..photos).map(|photo| vec![photo]).collect();
    let mut cluster_of: Vec<usize> = (0..photos).collect();
    for edge in order {
        let (left, right) = (cluster_of[edge.a], cluster_of[edge.b]);
        if left == right || !agree(&members[left], &members[right], &between, &apart) {
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

fn agree(
    left: &[usize],
    right: &[usize],
    between: &BTreeMap<(usize, usize), Relation>,
    apart: &BTreeSet<(usize, usize)>,
) -> bool {
    let (mut same, mut other, mut unsure) = (0, 0, 0);
    for &a in left {
        for &b in right {
            let key = key(a, b);
            if apart.contains(&key) {
                return false;
            }
            match between.get(&key) {
                Some(Relation::SameView) => same += 1,
                Some(Relation::Shifted | Relation::Different) => other += 1,
                Some(Relation::Undetermined) => unsure += 1,
                None => {}
            }
        }
    }
    same >= unsure + 2 * other
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
            consistency: 1.0,
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
        let found = clusters(4, &edges, &[]);
        let of_three = found.iter().find(|cluster| cluster.contains(&3));
        assert!(
            of_three.is_some_and(|cluster| !cluster.contains(&0)),
            "{found:?}"
        );
    }

    #[test]
    fn rivals_of_one_visit_do_not_share_a_cluster_and_the_stronger_gets_in() {
        let edges = [
            edge(0, 1, Relation::SameView, 90),
            edge(0, 2, Relation::SameView, 60),
        ];
        let rival = edge(1, 2, Relation::SameView, 70);
        assert_eq!(
            clusters(3, &edges, &apart(vec![rival])),
            vec![vec![0, 1], vec![2]]
        );
        let firm = Edge {
            consistency: FIRM,
            ..rival
        };
        assert_eq!(clusters(3, &edges, &apart(vec![firm])), vec![vec![0, 1, 2]]);
    }

    #[test]
    fn every_photo_is_in_exactly_one_cluster_and_order_of_edges_does_not_matter() {
        let mut edges = vec![
            edge(0, 2, Relation::SameView, 50),
            edge(2, 4, Relation::SameView, 40),
            edge(1, 3, Relation::SameView, 30),
            edge(0, 1, Relation::Different, 5),
        ];
        let forward = clusters(6, &edges, &[]);
        edges.reverse();
        assert_eq!(forward, clusters(6, &edges, &[]));
        assert_eq!(forward, vec![vec![0, 2, 4], vec![1, 3], vec![5]]);
    }
}
