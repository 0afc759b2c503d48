//! The cells of a's frame: how well b repeats their structure and colour.

use super::CELL;
use super::field::Field;
use super::small::{COLOUR_STEP, SmallPicture};
use super::warp::{Map, scaled, transfer};
use super::window::{Likeness, Shift, compare};
use crate::measure::plane::Plane;

/// Half side of the window around a cell's centre, small pixels.
const HALF: isize = 8;
/// Reach of the last search around each offered shift, small pixels.
const REFINE: isize = 2;
/// Offered shifts that are refined.
const REFINED: usize = 2;

/// How well b repeats one cell of a.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CellMeasure {
    /// Correlation of the best place, -1..=1.
    pub correlation: f32,
    /// Contrast (standard deviation) of the cell in a and in b, luma levels.
    pub contrast: [f32; 2],
    /// Difference of the logarithms of red over green and of blue over green, white balance evened out.
    pub colour: f32,
    /// Difference of the logarithm of luma, exposure evened out.
    pub light: f32,
}

/// The cells of a's frame, row by row.
#[derive(Debug, Clone, PartialEq)]
pub struct Cells {
    /// Columns.
    pub columns: usize,
    /// Rows.
    pub rows: usize,
    /// Measures; `None` where b shows nothing.
    pub list: Vec<Option<CellMeasure>>,
}

/// Logarithms of colour of a cell in both photos.
struct Raw {
    likeness: Likeness,
    colour: [[f32; 2]; 2],
}

pub(super) fn measure(a: &SmallPicture, b: &SmallPicture, alignment: &Map) -> Cells {
    let map = scaled(alignment, a.scale(), b.scale());
    let first = a.smoothed();
    let second = b
        .smoothed()
        .resampled((first.width, first.height), |at| transfer(&map, at));
    let step = 1.0 / f64::from(COLOUR_STEP);
    let (ca, cb) = (a.colours(), b.colours());
    let small = scaled(&map, step, step);
    let cb =
        cb.map(|plane| plane.resampled((ca[0].width, ca[0].height), |at| transfer(&small, at)));
    let field = Field::search(&first, &second);
    let (columns, rows) = (first.width / CELL, first.height / CELL);
    let raw: Vec<Option<Raw>> = (0..columns * rows)
        .map(|index| {
            let centre = |at: usize| (at * CELL + CELL / 2) as isize;
            let place = (centre(index % columns), centre(index / columns));
            let place = inside(place, &first)?;
            let (shift, likeness) = best(&first, &second, place, &field)?;
            let colour = [ratios(&ca, place, (0, 0))?, ratios(&cb, place, shift)?];
            Some(Raw { likeness, colour })
        })
        .collect();
    Cells {
        columns,
        rows,
        list: evened(&raw),
    }
}

/// Border cells look at the nearest whole window.
fn inside((x, y): Shift, plane: &Plane) -> Option<Shift> {
    let keep = |at: isize, side: usize| {
        let last = side as isize - HALF;
        (last >= HALF).then(|| at.clamp(HALF, last))
    };
    Some((keep(x, plane.width)?, keep(y, plane.height)?))
}

/// The best place of b for a window of a, and the likeness there.
fn best(a: &Plane, b: &Plane, place: Shift, field: &Field) -> Option<(Shift, Likeness)> {
    let score = |shift: Shift| Some((shift, compare(a, b, place, HALF, shift)?));
    let better =
        |x: &(Shift, Likeness), y: &(Shift, Likeness)| y.1.correlation.total_cmp(&x.1.correlation);
    let mut offers: Vec<(Shift, Likeness)> = field
        .offers(place.0 as f32, place.1 as f32)
        .into_iter()
        .filter_map(score)
        .collect();
    offers.sort_by(better);
    offers.truncate(REFINED);
    let refined = offers.iter().flat_map(|((x, y), _)| {
        (-REFINE..=REFINE).flat_map(move |dy| (-REFINE..=REFINE).map(move |dx| (x + dx, y + dy)))
    });
    let mut all: Vec<(Shift, Likeness)> = refined.filter_map(score).collect();
    all.sort_by(better);
    all.first().copied()
}

/// Logarithms of red over green and blue over green at a place.
fn ratios(colours: &[Plane; 3], place: Shift, shift: Shift) -> Option<[f32; 2]> {
    let step = f64::from(COLOUR_STEP);
    let at = |v: isize| v as f64 / step;
    let (x, y) = (at(place.0 + shift.0), at(place.1 + shift.1));
    let [r, g, b] = colours.each_ref().map(|plane| mean_around(plane, x, y));
    let [red, blue, _] = logarithms([r?, g?, b?]);
    Some([red, blue])
}

/// Logarithm of a level, 0..=255. Dark pixels have no colour worth the name: a floor of 12 levels.
fn logarithm(level: f32) -> f32 {
    (level + 12.0).ln()
}

/// Logarithms of red over green, of blue over green, and of green.
pub(super) fn logarithms(levels: [f32; 3]) -> [f32; 3] {
    let [red, green, blue] = levels.map(logarithm);
    [red - green, blue - green, green]
}

fn mean_around(plane: &Plane, x: f64, y: f64) -> Option<f32> {
    let (mut sum, mut count) = (0.0, 0.0f32);
    for dy in [-1.0, 0.0, 1.0] {
        for dx in [-1.0, 0.0, 1.0] {
            if let Some(value) = plane.sample(x + dx, y + dy).filter(|v| v.is_finite()) {
                sum += value;
                count += 1.0;
            }
        }
    }
    (count > 0.0).then(|| sum / count)
}

/// Takes the overall exposure and white balance (medians over the frame) out of the differences.
fn evened(raw: &[Option<Raw>]) -> Vec<Option<CellMeasure>> {
    let light = |raw: &Raw| {
        let [a, b] = raw.likeness.mean.map(logarithm);
        b - a
    };
    let colour = |raw: &Raw, i: usize| raw.colour[1][i] - raw.colour[0][i];
    let exposure = median(raw.iter().flatten().map(light));
    let balance = [0, 1].map(|i| median(raw.iter().flatten().map(|raw| colour(raw, i))));
    raw.iter()
        .map(|raw| {
            let raw = raw.as_ref()?;
            Some(CellMeasure {
                correlation: raw.likeness.correlation,
                contrast: raw.likeness.contrast,
                colour: (colour(raw, 0) - balance[0]).hypot(colour(raw, 1) - balance[1]),
                light: light(raw) - exposure,
            })
        })
        .collect()
}

/// The middle value; 0 of none.
pub(super) fn median(values: impl Iterator<Item = f32>) -> f32 {
    let mut values: Vec<f32> = values.collect();
    values.sort_by(f32::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(0.0)
}
