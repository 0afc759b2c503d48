//! Extrema of the difference-of-Gaussians scale space, refined to sub-pixels (Lowe 2004, section 4;
//! Brown and Lowe 2002).

use pulp::{Arch, Simd, WithSimd};

use super::FeatureOptions;
use super::scale_space::Octave;
use crate::measure::blur::exp2;

/// Margin in octave pixels within which no keypoint is taken.
const BORDER: usize = 4;

/// Columns whose marks are looked at together.
const HITS: usize = 16;

/// Refinement steps at most.
const STEPS: usize = 5;

/// A refined extremum.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Candidate {
    /// Index of the octave.
    pub(super) octave: usize,
    /// Column in octave pixels, pixel centres at whole numbers.
    pub(super) u: f32,
    /// Row in octave pixels, pixel centres at whole numbers.
    pub(super) v: f32,
    /// Scale in octave pixels.
    pub(super) sigma: f32,
    /// Scale in working pixels.
    pub(super) scale: f32,
    /// Nearest blurred level of the octave.
    pub(super) level: usize,
    /// Column in working pixels, pixel centres at half numbers.
    pub(super) x: f32,
    /// Row in working pixels, pixel centres at half numbers.
    pub(super) y: f32,
    /// Interpolated difference of Gaussians, positive.
    pub(super) response: f32,
    /// Whether the blob is brighter than its surroundings.
    pub(super) bright: bool,
}

/// All extrema above the least response that are no edges, in octave, row, level, column order.
pub(super) fn extrema(octaves: &[Octave], options: &FeatureOptions) -> Vec<Candidate> {
    let mut found = Vec::new();
    for (index, octave) in octaves.iter().enumerate() {
        let (width, height) = (octave.gauss[0].width, octave.gauss[0].height);
        if width <= 2 * BORDER || height <= 2 * BORDER {
            continue;
        }
        let mut scan = Scan::new(octave, options);
        for y in BORDER..height - BORDER {
            for (level, x) in scan.row(y) {
                if let Some(mut candidate) = refine(octave, level, (x, y), options) {
                    candidate.octave = index;
                    found.push(candidate);
                }
            }
        }
    }
    found
}

/// Row-by-row search for samples that are at least as extreme as their 26 neighbours.
struct Scan<'a> {
    arch: Arch,
    octave: &'a Octave,
    threshold: f32,
    /// Three rows of each difference; row y sits at y mod 3.
    rows: Vec<[Vec<f32>; 3]>,
    /// The next row to compute.
    next: usize,
    /// Largest and smallest value of each column over three rows, one a difference.
    columns: Vec<(Vec<f32>, Vec<f32>)>,
    /// The same over three differences as well.
    high: Vec<f32>,
    low: Vec<f32>,
    hits: Vec<u8>,
}

impl<'a> Scan<'a> {
    fn new(octave: &'a Octave, options: &FeatureOptions) -> Self {
        let width = octave.gauss[0].width;
        let differences = octave.gauss.len() - 1;
        let row = || vec![0.0_f32; width];
        Self {
            arch: Arch::new(),
            octave,
            threshold: 0.5 * options.min_response,
            rows: (0..differences).map(|_| [row(), row(), row()]).collect(),
            next: BORDER - 1,
            columns: (0..differences).map(|_| (row(), row())).collect(),
            high: row(),
            low: row(),
            hits: vec![0; width.next_multiple_of(HITS)],
        }
    }

    /// Level and column of the extrema in row `y`; rows must be asked for in order.
    fn row(&mut self, y: usize) -> Vec<(usize, usize)> {
        self.arch.dispatch(Prepare(self, y));
        let mut found = Vec::new();
        for level in 1..self.rows.len() - 1 {
            self.arch.dispatch(Mark(self, level, y));
            for (block, hits) in self.hits.as_chunks::<HITS>().0.iter().enumerate() {
                if u128::from_le_bytes(*hits) != 0 {
                    let inside = hits.iter().enumerate().filter(|(_, hit)| **hit != 0);
                    found.extend(inside.map(|(x, _)| (level, block * HITS + x)));
                }
            }
        }
        found
    }

    /// Differences up to row `y + 1` and the extremes of their columns over rows y - 1 to y + 1.
    #[inline(always)]
    fn prepare(&mut self, y: usize) {
        while self.next <= y + 1 {
            for (rows, pair) in self.rows.iter_mut().zip(self.octave.gauss.windows(2)) {
                let values = pair[1].row(self.next).iter().zip(pair[0].row(self.next));
                for (d, (upper, lower)) in rows[self.next % 3].iter_mut().zip(values) {
                    *d = upper - lower;
                }
            }
            self.next += 1;
        }
        for ([a, b, c], (high, low)) in self.rows.iter().zip(&mut self.columns) {
            let targets = high.iter_mut().zip(low.iter_mut());
            for ((high, low), ((a, b), c)) in targets.zip(a.iter().zip(b).zip(c)) {
                *high = larger(larger(*a, *b), *c);
                *low = smaller(smaller(*a, *b), *c);
            }
        }
    }

    /// Marks the extrema of difference `level` in row `y`.
    #[inline(always)]
    fn mark(&mut self, level: usize, y: usize) {
        let width = self.high.len();
        let [below, here, above] = [level - 1, level, level + 1].map(|l| &self.columns[l]);
        extremes(&mut self.high, [&below.0, &here.0, &above.0], larger);
        extremes(&mut self.low, [&below.1, &here.1, &above.1], smaller);
        let inner = width - 2;
        let threshold = self.threshold;
        let values = &self.rows[level][y % 3][1..1 + inner];
        let [h0, h1, h2] = [0, 1, 2].map(|shift| &self.high[shift..shift + inner]);
        let [l0, l1, l2] = [0, 1, 2].map(|shift| &self.low[shift..shift + inner]);
        let hits = &mut self.hits[1..1 + inner];
        for x in 0..inner {
            let value = values[x];
            let high = larger(larger(h0[x], h1[x]), h2[x]);
            let low = smaller(smaller(l0[x], l1[x]), l2[x]);
            let top = (value > threshold) & (value >= high);
            let bottom = (value < -threshold) & (value <= low);
            hits[x] = u8::from(top | bottom);
        }
        for x in (0..BORDER).chain(width - BORDER..width) {
            self.hits[x] = 0;
        }
    }
}

/// [`Scan::prepare`], compiled for each instruction set.
struct Prepare<'s, 'a>(&'s mut Scan<'a>, usize);

impl WithSimd for Prepare<'_, '_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, _simd: S) {
        self.0.prepare(self.1);
    }
}

/// [`Scan::mark`], compiled for each instruction set.
struct Mark<'s, 'a>(&'s mut Scan<'a>, usize, usize);

impl WithSimd for Mark<'_, '_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, _simd: S) {
        self.0.mark(self.1, self.2);
    }
}

/// The most extreme of three rows, column by column.
#[inline(always)]
fn extremes(target: &mut [f32], [a, b, c]: [&Vec<f32>; 3], more: impl Fn(f32, f32) -> f32) {
    for (most, ((a, b), c)) in target.iter_mut().zip(a.iter().zip(b).zip(c)) {
        *most = more(more(*a, *b), *c);
    }
}

#[inline(always)]
fn larger(a: f32, b: f32) -> f32 {
    if a > b { a } else { b }
}

#[inline(always)]
fn smaller(a: f32, b: f32) -> f32 {
    if a < b { a } else { b }
}

/// First and second derivatives of the scale space at a sample.
struct Local {
    value: f32,
    gradient: [f32; 3],
    xx: f32,
    yy: f32,
    ss: f32,
    xy: f32,
    xs: f32,
    ys: f32,
}

impl Local {
    fn at(octave: &Octave, level: usize, x: usize, y: usize) -> Self {
        // Values around the sample: [level][row][column].
        let v: [[[f32; 3]; 3]; 3] = std::array::from_fn(|l| {
            std::array::from_fn(|j| {
                std::array::from_fn(|i| octave.difference(level + l - 1, x + i - 1, y + j - 1))
            })
        });
        let [below, here, above] = &v;
        let centre = 2.0 * here[1][1];
        let dx = |p: &[[f32; 3]; 3]| 0.5 * (p[1][2] - p[1][0]);
        let dy = |p: &[[f32; 3]; 3]| 0.5 * (p[2][1] - p[0][1]);
        Self {
            value: here[1][1],
            gradient: [dx(here), dy(here), 0.5 * (above[1][1] - below[1][1])],
            xx: here[1][2] + here[1][0] - centre,
            yy: here[2][1] + here[0][1] - centre,
            ss: above[1][1] + below[1][1] - centre,
            xy: 0.25 * (here[2][2] + here[0][0] - here[0][2] - here[2][0]),
            xs: 0.5 * (dx(above) - dx(below)),
            ys: 0.5 * (dy(above) - dy(below)),
        }
    }

    /// Offset of the extremum of the quadratic through the samples; `None` if it has none.
    fn offset(&self) -> Option<[f32; 3]> {
        let (a, b, c, d, e, f) = (self.xx, self.xy, self.xs, self.yy, self.ys, self.ss);
        let (c00, c01, c02) = (d * f - e * e, c * e - b * f, b * e - c * d);
        let determinant = a * c00 + b * c01 + c * c02;
        if determinant.abs() < 1e-20 {
            return None;
        }
        let (c11, c12, c22) = (a * f - c * c, b * c - a * e, a * d - b * b);
        let [gx, gy, gs] = self.gradient;
        let scale = -1.0 / determinant;
        Some([
            scale * (c00 * gx + c01 * gy + c02 * gs),
            scale * (c01 * gx + c11 * gy + c12 * gs),
            scale * (c02 * gx + c12 * gy + c22 * gs),
        ])
    }

    /// Whether the curvatures are those of an edge (Lowe 2004, equation 4.1).
    fn is_edge(&self, ratio: f32) -> bool {
        let trace = self.xx + self.yy;
        let determinant = self.xx * self.yy - self.xy * self.xy;
        determinant <= 0.0 || trace * trace * ratio >= (ratio + 1.0) * (ratio + 1.0) * determinant
    }
}

fn refine(
    octave: &Octave,
    mut level: usize,
    (mut x, mut y): (usize, usize),
    options: &FeatureOptions,
) -> Option<Candidate> {
    let (width, height) = (octave.gauss[level].width, octave.gauss[level].height);
    for _ in 0..STEPS {
        let local = Local::at(octave, level, x, y);
        let [ox, oy, os] = local.offset()?;
        if ox.abs() <= 0.5 && oy.abs() <= 0.5 && os.abs() <= 0.5 {
            let [gx, gy, gs] = local.gradient;
            let value = local.value + 0.5 * (gx * ox + gy * oy + gs * os);
            if value.abs() < options.min_response || local.is_edge(options.edge_ratio) {
                return None;
            }
            let (u, v) = (x as f32 + ox, y as f32 + oy);
            let position = level as f32 + os;
            let sigma = options.base_sigma * exp2(position / options.levels as f32);
            return Some(Candidate {
                octave: 0,
                u,
                v,
                sigma,
                scale: sigma * octave.step,
                level,
                // A sample of a halved octave sits on the working pixel of twice its index.
                x: u * octave.step + 0.5,
                y: v * octave.step + 0.5,
                response: value.abs(),
                // A bright blob loses light when blurred: the difference is negative.
                bright: value < 0.0,
            });
        }
        x = moved(x, ox, BORDER..width - BORDER)?;
        y = moved(y, oy, BORDER..height - BORDER)?;
        level = moved(level, os, 1..options.levels + 1)?;
    }
    None
}

/// `index` moved by the rounded `offset`, if that is inside `range`.
fn moved(index: usize, offset: f32, range: std::ops::Range<usize>) -> Option<usize> {
    if !offset.is_finite() || offset.abs() > 1e4 {
        return None;
    }
    let target = index as isize + offset.round() as isize;
    let target = usize::try_from(target).ok()?;
    range.contains(&target).then_some(target)
}
