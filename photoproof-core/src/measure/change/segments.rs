//! Pictures cut into surfaces of like colour.
//!
//! Felzenszwalb and Huttenlocher, "Efficient Graph-Based Image Segmentation", IJCV 59(2), 2004: neighbours are joined,
//! the most alike first, as long as the difference between two surfaces is not larger than what each holds in itself.

/// Scale of preference of the paper: larger surfaces for larger values, logarithms of colour.
const PREFERENCE: f32 = 0.35;
/// Samples of the smallest surface; less joins its most alike neighbour.
const LEAST: usize = 6;

/// The surface of each sample, row by row: the index of one of its samples. `values` are what is compared, channel by
/// channel.
pub(super) fn segments(values: &[[f32; 3]], columns: usize) -> Vec<usize> {
    let edges = edges(values, columns);
    let mut sets = Sets::new(values.len());
    for &(difference, a, b) in &edges {
        let (a, b) = (sets.root(a), sets.root(b));
        if a != b && difference <= sets.within(a).min(sets.within(b)) {
            sets.join(a, b, difference);
        }
    }
    for &(difference, a, b) in &edges {
        let (a, b) = (sets.root(a), sets.root(b));
        if a != b && sets.size(a).min(sets.size(b)) < LEAST {
            sets.join(a, b, difference);
        }
    }
    (0..values.len()).map(|index| sets.root(index)).collect()
}

/// Differences between neighbours by sides and corners, the smallest first.
fn edges(values: &[[f32; 3]], columns: usize) -> Vec<(f32, usize, usize)> {
    let columns = columns.max(1);
    let mut edges = Vec::with_capacity(4 * values.len());
    for (a, first) in values.iter().enumerate() {
        let column = a % columns;
        let neighbours = [
            (column + 1 < columns).then_some(a + 1),
            (column > 0).then_some(a + columns - 1),
            Some(a + columns),
            (column + 1 < columns).then_some(a + columns + 1),
        ];
        for b in neighbours.into_iter().flatten() {
            let Some(second) = values.get(b) else {
                continue;
            };
            let squares = first.iter().zip(second).map(|(p, q)| (p - q) * (p - q));
            edges.push((squares.sum::<f32>().sqrt(), a, b));
        }
    }
    edges.sort_unstable_by(|x, y| x.0.total_cmp(&y.0).then((x.1, x.2).cmp(&(y.1, y.2))));
    edges
}

/// Disjoint sets of samples, each with its size and the largest difference that was joined within it.
struct Sets {
    parents: Vec<usize>,
    sizes: Vec<usize>,
    largest: Vec<f32>,
}

impl Sets {
    fn new(count: usize) -> Self {
        Self {
            parents: (0..count).collect(),
            sizes: vec![1; count],
            largest: vec![0.0; count],
        }
    }

    fn root(&mut self, mut index: usize) -> usize {
        while self.parents[index] != index {
            self.parents[index] = self.parents[self.parents[index]];
            index = self.parents[index];
        }
        index
    }

    fn size(&self, root: usize) -> usize {
        self.sizes[root]
    }

    /// The difference up to which a set takes in others.
    fn within(&self, root: usize) -> f32 {
        self.largest[root] + PREFERENCE / self.sizes[root] as f32
    }

    fn join(&mut self, a: usize, b: usize, difference: f32) {
        let (large, small) = if self.sizes[a] < self.sizes[b] {
            (b, a)
        } else {
            (a, b)
        };
        self.parents[small] = large;
        self.sizes[large] += self.sizes[small];
        self.largest[large] = difference.max(self.largest[large]);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_colours_with_noise_and_a_speck_are_two_surfaces() {
        let values: Vec<[f32; 3]> = (0..20 * 12)
            .map(|index| {
                let (x, y) = (index % 20, index / 20);
                let noise = 0.0005 * ((x * 7 + y * 13) % 5) as f32;
                let speck = x == 4 && y == 5;
                match (speck, x < 9) {
                    (true, _) => [0.5, 0.5, 0.5],
                    (false, true) => [0.2 + noise, 0.0, 0.0],
                    (false, false) => [-0.2 + noise, 0.1, 0.0],
                }
            })
            .collect();
        let surfaces = segments(&values, 20);
        let left = surfaces[0];
        let right = surfaces[19];
        assert_ne!(left, right);
        let belongs = |index: usize| if index % 20 < 9 { left } else { right };
        assert!((0..values.len()).all(|index| surfaces[index] == belongs(index)));
    }

    #[test]
    fn no_samples_are_no_surfaces() {
        assert!(segments(&[], 0).is_empty());
        assert_eq!(segments(&[[0.0; 3]], 1), [0]);
    }
}
