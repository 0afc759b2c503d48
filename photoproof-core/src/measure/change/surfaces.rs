//! Surfaces of the one photo that are other surfaces in the other: another floor, another wall.
//!
//! Debris changes colours too. But where it lies on a floor, some of that floor mostly shows beside it, and is seen in
//! both photos; a floor that belongs to one photo alone is seen nowhere in the other, and what stands in its place there is
//! seen nowhere in the first.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::cell::{logarithms, median};
use super::segments::segments;
use super::small::{COLOUR_STEP, SmallPicture};
use super::warp::{halved, scaled, transfer};
use crate::measure::plane::Plane;
use crate::measure::{ViewpointShift, coarse};

/// Smoothing of the colours, samples.
const SMOOTHING: f32 = 0.5;
/// Weight of the logarithm of luma beside those of colour where surfaces are cut, and where colours are compared: light
/// changes it more than it changes colour.
const LUMA_IN_SURFACES: f32 = 0.25;
const LUMA_IN_COLOURS: f32 = 0.3;
/// Difference of colours, logarithms, from which a sample shows another surface.
const OTHER: f32 = 0.22;
/// Share of a surface that the other photo may show in its own colour while the surface still counts as not seen there.
const SEEN: f64 = 0.15;
/// Share of the common frame below which a pair of surfaces is too small to count.
const LEAST_SHARE: f64 = 0.01;
/// Step of the histogram in which the white balance between the photos is looked for, logarithms.
const BALANCE_STEP: f32 = 0.04;

/// Where surfaces of the one photo are other surfaces in the other.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct OtherSurfaces {
    /// Share of the common part of a's frame, 0..=1.
    pub share: f64,
    /// Cells of a 12 x 9 grid over a's frame that they fill at least half: a row each from the top, the lowest bit is the
    /// leftmost cell.
    pub cells: [u16; 9],
}

/// Colours of one photo in a's frame, see [`logarithms`]; `None` where it shows nothing.
type Colours = Vec<Option<[f32; 3]>>;

impl OtherSurfaces {
    /// Looks for surfaces that photo b, aligned by `shift`, shows as others. `None` if nothing is common.
    #[must_use]
    pub fn between(a: &SmallPicture, b: &SmallPicture, shift: &ViewpointShift) -> Option<Self> {
        // Colour pictures are halved once more: a surface is larger than that.
        let step = 0.5 / f64::from(COLOUR_STEP);
        let map = scaled(&shift.alignment, a.scale() * step, b.scale() * step);
        let first = reduced(a);
        let (columns, rows) = (first[0].width, first[0].height);
        let second =
            reduced(b).map(|plane| plane.resampled((columns, rows), |at| transfer(&map, at)));
        compare(&colours(&first), &colours(&second), columns)
    }

    /// Left, top, right and bottom edge of the cells as shares of a's width and height, each a run of cells of one row.
    #[must_use]
    pub fn frames(&self) -> Vec<[f64; 4]> {
        coarse::frames(&self.cells)
    }
}

fn reduced(picture: &SmallPicture) -> [Plane; 3] {
    picture
        .colours()
        .map(|plane| halved(&plane).blurred(SMOOTHING))
}

fn colours(channels: &[Plane; 3]) -> Colours {
    let [red, green, blue] = channels;
    let samples = red.data.iter().zip(&green.data).zip(&blue.data);
    samples
        .map(|((r, g), b)| {
            let levels = [*r, *g, *b];
            let is_seen = levels.iter().all(|level| level.is_finite());
            is_seen.then(|| logarithms(levels))
        })
        .collect()
}

fn compare(first: &Colours, second: &Colours, columns: usize) -> Option<OtherSurfaces> {
    let difference = differences(first, second)?;
    let common = difference.iter().flatten().count() as f64;
    let surfaces = [first, second].map(|colours| cut(colours, columns));
    let unseen = surfaces.each_ref().map(|of| unseen(of, &difference));
    let differs = |index: usize| {
        let difference = difference.get(index).copied().flatten()?;
        let [a, b] = surfaces.each_ref().map(|of| of[index]);
        (difference >= OTHER && unseen[0][a] && unseen[1][b]).then_some((a, b))
    };
    let mut parts: BTreeMap<(usize, usize), Vec<usize>> = BTreeMap::new();
    for index in 0..difference.len() {
        if let Some(pair) = differs(index) {
            parts.entry(pair).or_default().push(index);
        }
    }
    parts.retain(|_, part| part.len() as f64 >= LEAST_SHARE * common);
    let mut map = vec![false; difference.len()];
    for index in parts.values().flatten() {
        map[*index] = true;
    }
    Some(OtherSurfaces {
        share: map.iter().filter(|set| **set).count() as f64 / common,
        cells: coarse::marks(&map, columns),
    })
}

/// Differences of colour of the samples that both photos show, white balance and exposure evened out; `None` if there are
/// none.
fn differences(first: &Colours, second: &Colours) -> Option<Vec<Option<f32>>> {
    let raw: Vec<Option<[f32; 3]>> = first
        .iter()
        .zip(second)
        .map(|(a, b)| {
            let (a, b) = (a.as_ref()?, b.as_ref()?);
            Some([b[0] - a[0], b[1] - a[1], b[2] - a[2]])
        })
        .collect();
    let balance = balance(&raw)?;
    let light = median(raw.iter().flatten().map(|d| d[2]));
    let evened = |d: &[f32; 3]| {
        let luma = LUMA_IN_COLOURS * (d[2] - light);
        (d[0] - balance[0]).hypot(d[1] - balance[1]).hypot(luma)
    };
    Some(raw.iter().map(|d| d.as_ref().map(evened)).collect())
}

/// The most frequent difference of colour: what the unchanged part of the picture has in common.
fn balance(raw: &[Option<[f32; 3]>]) -> Option<[f32; 2]> {
    let mut histogram: BTreeMap<(i32, i32), u32> = BTreeMap::new();
    for d in raw.iter().flatten() {
        let [x, y] = [d[0], d[1]].map(|v| (v / BALANCE_STEP).floor() as i32);
        *histogram.entry((x, y)).or_default() += 1;
    }
    // Binomial weights around each bin, so that a mode between two bins is one.
    let around = |(x, y): (i32, i32)| -> u32 {
        (-1..=1)
            .flat_map(|dy| (-1..=1).map(move |dx: i32| (dx, dy)))
            .map(|(dx, dy): (i32, i32)| {
                let weight = (2 - dx.unsigned_abs()) * (2 - dy.unsigned_abs());
                weight * histogram.get(&(x + dx, y + dy)).copied().unwrap_or(0)
            })
            .sum()
    };
    let (x, y) = histogram
        .keys()
        .copied()
        .max_by_key(|bin| (around(*bin), std::cmp::Reverse(*bin)))?;
    Some([x, y].map(|v| (v as f32 + 0.5) * BALANCE_STEP))
}

/// Surfaces of one photo; samples without colour are like none.
fn cut(colours: &Colours, columns: usize) -> Vec<usize> {
    let values: Vec<[f32; 3]> = colours
        .iter()
        .map(|colour| {
            let [red, blue, luma] = colour.unwrap_or([9.0; 3]);
            [red, blue, LUMA_IN_SURFACES * luma]
        })
        .collect();
    segments(&values, columns)
}

/// Whether hardly any of a surface shows its own colour in the other photo, by the surface's index.
fn unseen(surfaces: &[usize], difference: &[Option<f32>]) -> Vec<bool> {
    let mut counts = vec![[0u32; 2]; surfaces.len()];
    for (surface, difference) in surfaces.iter().zip(difference) {
        if let Some(difference) = difference {
            counts[*surface][0] += 1;
            counts[*surface][1] += u32::from(*difference < OTHER);
        }
    }
    counts
        .iter()
        .map(|[all, seen]| f64::from(*seen) < SEEN * f64::from((*all).max(1)))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ingest::Pixels;
    use image::{Rgb, RgbImage};

    const WOOD: [f32; 3] = [150.0, 100.0, 55.0];
    const STONE: [f32; 3] = [120.0, 122.0, 130.0];

    /// A wall over a floor of `floor`, heaps of debris over half of the floor, under a light that multiplies the
    /// channels by `light`.
    fn room(floor: [f32; 3], heaps: bool, light: [f32; 3]) -> SmallPicture {
        let rgb = RgbImage::from_fn(384, 288, |x, y| {
            let grain = 1.0 + 0.004 * ((x / 5 * 7 + y / 5 * 13) % 5) as f32;
            let heap = heaps && y > 192 && (x / 48 + y / 48) % 2 == 0;
            let colour = match (heap, y < 172) {
                (true, _) if x % 96 < 48 => [40.0, 70.0, 160.0],
                (true, _) => [170.0, 60.0, 50.0],
                (false, true) => [190.0, 185.0, 160.0],
                (false, false) => floor,
            };
            Rgb(std::array::from_fn(|channel| {
                (colour[channel] * light[channel] * grain).min(255.0) as u8
            }))
        });
        SmallPicture::new(&Pixels::new(rgb, 384, 288))
    }

    fn of(a: &SmallPicture, b: &SmallPicture) -> OtherSurfaces {
        let [first, second] = [a, b].map(reduced);
        compare(&colours(&first), &colours(&second), first[0].width).unwrap()
    }

    #[test]
    fn another_floor_is_another_surface() {
        let day = [1.0; 3];
        let other = of(
            &room(WOOD, false, day),
            &room(STONE, false, [0.8, 0.85, 0.9]),
        );
        let floor = 116.0 / 288.0;
        assert!((other.share - floor).abs() < 0.04, "{}", other.share);
        assert_eq!(other.cells[..5], [0; 5]);
        assert_eq!(other.cells[8], 0xfff);
        // Half of it below heaps, on one side.
        let littered = of(&room(WOOD, true, day), &room(STONE, false, day));
        assert!(littered.share > 0.15, "{}", littered.share);
    }

    #[test]
    fn heaps_and_light_are_no_other_surfaces() {
        let day = [1.0; 3];
        let share = |a: bool, b: bool, light| of(&room(WOOD, a, day), &room(WOOD, b, light)).share;
        assert_eq!(share(true, false, day), 0.0);
        assert_eq!(share(false, true, [0.7, 0.8, 1.0]), 0.0);
        assert_eq!(share(false, false, [1.0, 0.85, 0.6]), 0.0);
    }

    #[test]
    fn nothing_in_common_says_nothing() {
        let first = colours(&reduced(&room(WOOD, false, [1.0; 3])));
        let nowhere = vec![None; first.len()];
        assert_eq!(compare(&first, &nowhere, 48), None);
    }
}
