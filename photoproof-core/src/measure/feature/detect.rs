//! Extrema of the difference-of-Gaussians scale space, refined to sub-pixels (Lowe 2004, section 4;
//! Brown and Lowe 2002).

use super::FeatureOptions;
use super::scale_space::{Octave, Plane, exp2};

/// Margin in octave pixels within which no keypoint is taken.
const BORDER: usize = 4;

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

/// All extrema above the least response that are no edges, in octave, level, row, column order.
pub(super) fn extrema(octaves: &[Octave], options: &FeatureOptions) -> Vec<Candidate> {
    let mut found = Vec::new();
    for (index, octave) in octaves.iter().enumerate() {
        for level in 1..=options.levels {
            scan_level(octave, index, level, options, &mut found);
        }
    }
    found
}

fn scan_level(
    octave: &Octave,
    index: usize,
    level: usize,
    options: &FeatureOptions,
    found: &mut Vec<Candidate>,
) {
    let plane = &octave.dog[level];
    if plane.width <= 2 * BORDER || plane.height <= 2 * BORDER {
        return;
    }
    let threshold = 0.5 * options.min_response;
    for y in BORDER..plane.height - BORDER {
        let row = plane.row(y);
        for x in BORDER..plane.width - BORDER {
            let value = row[x];
            if value.abs() <= threshold || !is_extremum(octave, level, x, y, value) {
                continue;
            }
            if let Some(mut candidate) = refine(octave, level, (x, y), options) {
                candidate.octave = index;
                found.push(candidate);
            }
        }
    }
}

/// Whether `value` is at least as extreme as its 26 neighbours.
fn is_extremum(octave: &Octave, level: usize, x: usize, y: usize, value: f32) -> bool {
    let sign = if value > 0.0 { 1.0 } else { -1.0 };
    let magnitude = value * sign;
    for plane in [
        &octave.dog[level],
        &octave.dog[level - 1],
        &octave.dog[level + 1],
    ] {
        for row in [y - 1, y, y + 1] {
            let near = &plane.row(row)[x - 1..=x + 1];
            if near.iter().any(|&n| n * sign > magnitude) {
                return false;
            }
        }
    }
    true
}

/// First and second derivatives of the scale space at a sample.
struct Local {
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
        let (below, here, above) = (
            &octave.dog[level - 1],
            &octave.dog[level],
            &octave.dog[level + 1],
        );
        let centre = 2.0 * here.at(x, y);
        let dx = |p: &Plane| 0.5 * (p.at(x + 1, y) - p.at(x - 1, y));
        let dy = |p: &Plane| 0.5 * (p.at(x, y + 1) - p.at(x, y - 1));
        let corners = here.at(x + 1, y + 1) + here.at(x - 1, y - 1)
            - here.at(x + 1, y - 1)
            - here.at(x - 1, y + 1);
        Self {
            gradient: [dx(here), dy(here), 0.5 * (above.at(x, y) - below.at(x, y))],
            xx: here.at(x + 1, y) + here.at(x - 1, y) - centre,
            yy: here.at(x, y + 1) + here.at(x, y - 1) - centre,
            ss: above.at(x, y) + below.at(x, y) - centre,
            xy: 0.25 * corners,
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
    let (width, height) = (octave.dog[level].width, octave.dog[level].height);
    for _ in 0..STEPS {
        let local = Local::at(octave, level, x, y);
        let [ox, oy, os] = local.offset()?;
        if ox.abs() <= 0.5 && oy.abs() <= 0.5 && os.abs() <= 0.5 {
            let [gx, gy, gs] = local.gradient;
            let value = octave.dog[level].at(x, y) + 0.5 * (gx * ox + gy * oy + gs * os);
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
