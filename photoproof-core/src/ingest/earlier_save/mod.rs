//! Traces of an earlier saving in a JPEG: the steps of its quantisation show in the values of the last one, where that was
//! the finer. Parts that were put in between the two do not bear them.

mod coefficients;
mod model;
mod parts;
mod sample;

use image::RgbImage;
use serde::{Deserialize, Serialize};

use self::coefficients::Coefficients;
use crate::ingest::memory::MemoryGate;
use crate::ingest::traces::scaled_k1;

pub use sample::CodedSample;

/// Coefficients, of nine, that must bear the earlier steps.
const MIN_MODES: usize = 3;
/// The same for parts to be told from the rest: where few are left, rounding has blurred them.
const MIN_MODES_PARTS: usize = 6;
/// Coded bytes that are read to see whether there are any.
const SAMPLE: usize = 300_000;

/// What the coded values of a JPEG tell of a saving before the last one.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct EarlierSave {
    /// The quality, 1..=100, whose scaling of table K.1 comes nearest to the steps of the earlier saving.
    pub quality: u8,
    /// Parts of the upright picture that do not bear its steps: they were put in later.
    pub newer_parts: Vec<NewerPart>,
}

/// A part of a picture without the steps of the earlier saving. Rectangles are left, top, right and bottom as shares of
/// the upright width and height, 0..=1.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct NewerPart {
    /// The rectangle around it.
    pub frame: [f64; 4],
    /// What it covers: cells side by side as one rectangle.
    pub cells: Vec<[f64; 4]>,
}

/// Some coded values of a JPEG, and what they tell of an earlier saving. `file` are its bytes; its working picture was turned
/// upright as stated. No values of a progressive file.
pub(crate) fn look(
    file: &[u8],
    picture: (&RgbImage, Option<u16>),
    gate: &MemoryGate,
) -> (Option<CodedSample>, Option<EarlierSave>) {
    let Some(read) = coefficients::read(file, SAMPLE) else {
        return (None, None);
    };
    let kept = sample::of(&read, picture.1);
    (Some(kept), find(&read, file, picture, gate))
}

/// An earlier saving, of which the values `read` first are asked. `None` where nothing shows one: saved once, saved before at
/// the same or a higher quality, resized or cropped in between, or too little in it.
fn find(
    read: &Coefficients,
    file: &[u8],
    picture: (&RgbImage, Option<u16>),
    gate: &MemoryGate,
) -> Option<EarlierSave> {
    let steps = model::earlier(read);
    if steps.len() < MIN_MODES {
        return None;
    }
    let newer_parts = if steps.len() < MIN_MODES_PARTS {
        Vec::new()
    } else {
        let _room = gate.hold(read.room());
        let whole = coefficients::read(file, file.len())?;
        parts::newer(&whole, &steps, picture)
    };
    Some(EarlierSave {
        quality: quality(&steps),
        newer_parts,
    })
}

/// The usual quality with the nearest steps.
fn quality(steps: &[model::Earlier]) -> u8 {
    let distance = |quality: &u8| -> f64 {
        let table = scaled_k1(*quality);
        let pairs = steps
            .iter()
            .filter_map(|step| Some((table.get(step.index)?, step.before)));
        pairs
            .map(|(there, before)| (f64::from(*there) / f64::from(before)).ln().abs())
            .sum()
    };
    let nearest = (1..=100).min_by(|a, b| distance(a).total_cmp(&distance(b)));
    nearest.unwrap_or(1)
}
