//! Whether the words that two pictures share lie as in a copy: in one scale and at one place (weak geometric consistency,
//! Jegou, Douze and Schmid 2008).

use crate::measure::feature::{Features, Frame, Keypoint};

/// Widths of a cell: of scale in octaves, of place as a share of the long side. Cells lie half a width apart.
const OCTAVES: f64 = 0.5;
const PLACE: f64 = 0.1;
/// Fewest shared words in one cell, and their least share. Copies measured 36 and 0.11 or more, pictures that no motion lays
/// onto each other in 19 of 20 cases 28 and 0.06 at most.
const MIN_WORDS: usize = 8;
const MIN_SHARE: f64 = 0.055;
/// Share of one frame that the other must show, as far as a cell tells: a copy shows nearly all, and a cell is off by a
/// tenth in scale and a twentieth of the long side at most.
const MIN_COVER: f64 = 0.6;

/// Place and scale of a keypoint: column and row in working pixels, scale in 1/256 octaves.
#[derive(Debug, Clone, Copy)]
struct Spot([i16; 3]);

impl Spot {
    fn new(keypoint: &Keypoint) -> Self {
        let octave = keypoint.scale.log2() * 256.0;
        Self([keypoint.x, keypoint.y, octave].map(|value| value as i16))
    }

    fn values(self) -> [f64; 3] {
        let [x, y, octave] = self.0.map(f64::from);
        [x, y, octave / 256.0]
    }
}

/// The keypoints of one picture and its frame.
#[derive(Debug)]
pub(super) struct Spots {
    list: Vec<Spot>,
    frame: [f64; 2],
}

impl Spots {
    /// Of the `count` strongest features.
    pub(super) fn new(features: &Features, count: usize) -> Self {
        let Frame { width, height, .. } = features.frame();
        Self {
            list: features
                .list
                .iter()
                .take(count)
                .map(|feature| Spot::new(&feature.keypoint))
                .collect(),
            frame: [width, height].map(f64::from),
        }
    }
}

/// Half steps of scale, column and row: where a would lie in b.
type Cell = [i16; 3];

/// Whether the features that share a word, as indices into `a` and `b`, lie as in a copy.
pub(super) fn is_coherent(pairs: &[(u16, u16)], a: &Spots, b: &Spots) -> bool {
    let mut cells: Vec<Cell> = pairs
        .iter()
        .filter_map(|&(i, j)| Some((a.list.get(usize::from(i))?, b.list.get(usize::from(j))?)))
        .flat_map(|(p, q)| cells_of(*p, *q, [a.frame, b.frame]))
        .collect();
    cells.sort_unstable();
    let fullest = cells.chunk_by(PartialEq::eq).max_by_key(|cell| cell.len());
    fullest.is_some_and(|same| {
        let least = MIN_WORDS.max((MIN_SHARE * pairs.len() as f64) as usize);
        let cell = same.first().copied().unwrap_or_default();
        same.len() >= least && cover(cell, [a.frame, b.frame]) >= MIN_COVER
    })
}

/// The eight cells of a pair: by the ratio of scales and by where the centre of a would lie in b.
fn cells_of(p: Spot, q: Spot, [a, b]: [[f64; 2]; 2]) -> [Cell; 8] {
    let ([x, y, from], [u, v, to]) = (p.values(), q.values());
    let octave = ((to - from) / OCTAVES * 2.0).floor();
    std::array::from_fn(|corner| {
        let step = |bit: usize| (corner >> bit & 1) as f64;
        let octave = octave + step(0);
        let ratio = ratio_of(octave);
        let unit = place_unit(b);
        let column = (u - ratio * (x - a[0] / 2.0)) / unit;
        let row = (v - ratio * (y - a[1] / 2.0)) / unit;
        [octave, column.floor() + step(1), row.floor() + step(2)].map(|value| value as i16)
    })
}

fn ratio_of(octave: f64) -> f64 {
    (octave / 2.0 * OCTAVES).exp2()
}

/// Half the width of a cell, working pixels.
fn place_unit([width, height]: [f64; 2]) -> f64 {
    (PLACE / 2.0 * width.max(height)).max(1.0)
}

/// The larger share of one frame that the other shows, where a lies in b as the middle of the cell says.
fn cover([octave, column, row]: Cell, [a, b]: [[f64; 2]; 2]) -> f64 {
    let ratio = ratio_of(f64::from(octave));
    let unit = place_unit(b);
    let common = |side: f64, centre: f64, there: f64| {
        let half = side * ratio / 2.0;
        ((centre + half).min(there) - (centre - half).max(0.0)).max(0.0)
    };
    let width = common(a[0], f64::from(column) * unit, b[0]);
    let height = common(a[1], f64::from(row) * unit, b[1]);
    let smaller = (a[0] * a[1] * ratio * ratio).min(b[0] * b[1]);
    width * height / smaller.max(1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Keypoints scattered over a frame by a seeded generator.
    fn scattered(count: usize, seed: u64) -> Spots {
        let mut state = seed;
        let mut draw = |below: f32| {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            (state >> 40) as f32 / (1u64 << 24) as f32 * below
        };
        let keypoint = |_| Keypoint {
            x: draw(1024.0),
            y: draw(768.0),
            scale: 2.0 + draw(4.0),
            angle: 0.0,
            response: 0.1,
            bright: true,
        };
        Spots {
            list: (0..count).map(keypoint).map(|k| Spot::new(&k)).collect(),
            frame: [1024.0, 768.0],
        }
    }

    /// The same keypoints enlarged and moved.
    fn mapped(spots: &Spots, ratio: f64, [dx, dy]: [f64; 2]) -> Spots {
        let map = |spot: &Spot| {
            let [x, y, octave] = spot.values();
            let place = [
                x * ratio + dx,
                y * ratio + dy,
                (octave + ratio.log2()) * 256.0,
            ];
            Spot(place.map(|value| value as i16))
        };
        Spots {
            list: spots.list.iter().map(map).collect(),
            frame: spots.frame,
        }
    }

    fn straight(count: u16) -> Vec<(u16, u16)> {
        (0..count).map(|i| (i, i)).collect()
    }

    #[test]
    fn a_part_and_its_picture_are_coherent_among_many_wrong_pairs() {
        let picture = scattered(400, 1);
        let part = mapped(&picture, 1.4, [-150.0, -120.0]);
        let mut pairs = straight(40);
        pairs.extend((0..360).map(|i| (i, 399 - i)));
        assert!(is_coherent(&pairs, &picture, &part));
    }

    #[test]
    fn scattered_pairs_are_not_coherent() {
        let (a, b) = (scattered(400, 1), scattered(400, 2));
        assert!(!is_coherent(&straight(400), &a, &b));
    }

    #[test]
    fn pictures_that_share_a_third_of_their_frames_are_no_copies() {
        let picture = scattered(400, 1);
        let aside = mapped(&picture, 1.0, [680.0, 0.0]);
        assert!(!is_coherent(&straight(400), &picture, &aside));
    }
}
