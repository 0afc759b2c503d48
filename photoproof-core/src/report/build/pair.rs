//! A compared pair as the report and `compare` print it.

use super::photo::rounded;
use crate::advice::advice;
use crate::limits::Limits;
use crate::measure::{
    Change, CopyKind, CopyMeasure, Frame, Inconclusive, Model, Viewpoint, ViewpointShift,
};
use crate::relation::{Relation, doubt};
use crate::report::v1;

/// A photo's path with its frame.
#[derive(Debug, Clone, Copy)]
pub struct Named<'a> {
    /// Path as printed.
    pub path: &'a str,
    /// Its frame.
    pub frame: Frame,
}

/// The report's row of a compared pair.
#[must_use]
pub fn pair(
    a: &Named<'_>,
    b: &Named<'_>,
    viewpoint: &Viewpoint,
    copy: Option<&CopyMeasure>,
    limits: &Limits,
) -> v1::Pair {
    let evidence = viewpoint.evidence();
    let relation = Relation::of(viewpoint, limits);
    let mut row = v1::Pair {
        a: a.path.to_owned(),
        b: b.path.to_owned(),
        relation: relation_name(relation).to_owned(),
        reason: None,
        rotation_deg: None,
        rotation_sigma_deg: None,
        turn_right_deg: None,
        tilt_up_deg: None,
        roll_clockwise_deg: None,
        distance_ratio: None,
        distance_ratio_sigma: None,
        overlap: None,
        zoom: None,
        inliers: evidence.inliers,
        matches: evidence.matches,
        model: None,
        focal_known: a.frame.focal_px.is_some() && b.frame.focal_px.is_some(),
        copy: copy_name(copy).to_owned(),
        copy_detail: copy.filter(|copy| copy.is_edit()).map(copy_detail),
        advice: None,
        alignment: None,
        contradictions: Vec::new(),
        change: None,
    };
    match viewpoint {
        Viewpoint::Shift(shift) => {
            fill_motion(&mut row, shift);
            row.alignment = Some(unit_width(&shift.alignment, a.frame.width, b.frame.width));
            if let Some(doubt) = doubt(shift, limits) {
                row.reason = Some(doubt.reason(shift));
                let frames = doubt.frames(shift).into_iter();
                row.contradictions = frames
                    .map(|frame| frame.map(|edge| rounded(edge, 3)))
                    .collect();
            } else {
                row.advice = advice(shift, limits);
            }
        }
        Viewpoint::Inconclusive(reason, _) => row.reason = Some(why(*reason)),
        Viewpoint::NoCommonStructure(_) => {}
    }
    row
}

fn fill_motion(row: &mut v1::Pair, shift: &ViewpointShift) {
    row.rotation_deg = Some(rounded(shift.rotation.get(), 3));
    row.rotation_sigma_deg = Some(rounded(shift.rotation_sigma_deg, 3));
    row.turn_right_deg = Some(rounded(shift.turn_right.get(), 2));
    row.tilt_up_deg = Some(rounded(shift.tilt_up.get(), 2));
    row.roll_clockwise_deg = Some(rounded(shift.roll_clockwise.get(), 2));
    row.distance_ratio = shift.distance_ratio.map(|ratio| rounded(ratio.get(), 4));
    row.distance_ratio_sigma = shift.distance_ratio_sigma.map(|sigma| rounded(sigma, 4));
    row.overlap = Some(rounded(shift.overlap.get(), 3));
    row.zoom = Some(rounded(shift.zoom, 3));
    row.focal_known = shift.focal_known;
    row.model = Some(
        match shift.model {
            Model::Homography => "homography",
            Model::Essential => "essential",
        }
        .to_owned(),
    );
}

/// The plane map between frames of width 1 instead of working pixels.
fn unit_width(map: &[[f64; 3]; 3], width_a: u32, width_b: u32) -> [[f64; 3]; 3] {
    let (a, b) = (f64::from(width_a.max(1)), f64::from(width_b.max(1)));
    let mut unit = *map;
    for (i, row) in unit.iter_mut().enumerate() {
        for (j, value) in row.iter_mut().enumerate() {
            if j < 2 {
                *value *= a;
            }
            if i < 2 {
                *value /= b;
            }
        }
    }
    let scale = unit[2][2];
    if scale.abs() > f64::EPSILON {
        for value in unit.iter_mut().flatten() {
            *value = rounded(*value / scale, 8);
        }
    }
    unit
}

/// The report's name of a relation.
#[must_use]
pub fn relation_name(relation: Relation) -> &'static str {
    match relation {
        Relation::SameView => "same_view",
        Relation::Shifted => "shifted",
        Relation::Different => "different",
        Relation::Undetermined => "undetermined",
    }
}

/// The report's name of a kind of copy.
#[must_use]
pub fn copy_name(copy: Option<&CopyMeasure>) -> &'static str {
    match copy.map(|copy| copy.kind) {
        None => "none",
        Some(CopyKind::SameBytes) => "same_bytes",
        Some(CopyKind::SamePixels) => "same_pixels",
        Some(CopyKind::Edited) => "edited",
        Some(CopyKind::Unsure) => "unsure",
    }
}

/// How a copy was edited.
#[must_use]
pub fn copy_detail(copy: &CopyMeasure) -> v1::CopyDetail {
    v1::CopyDetail {
        transform: copy.transform.clone(),
        crop: rounded(copy.crop, 3),
    }
}

/// The report's form of a visible change.
#[must_use]
pub fn change(change: &Change) -> v1::Change {
    let letter = |sure: &Option<f32>| match sure {
        // The cast of 0..=9 cannot fail.
        Some(sure) => char::from(b'0' + (sure * 10.0).clamp(0.0, 9.0) as u8),
        None => '-',
    };
    let rows = change.map.chunks(change.columns.max(1));
    v1::Change {
        share: rounded(change.share, 4),
        at_most: rounded(change.at_most, 4),
        compared: rounded(change.compared, 3),
        map: rows.map(|row| row.iter().map(letter).collect()).collect(),
        regions: change
            .regions
            .iter()
            .map(|region| v1::ChangedRegion {
                frame: region.frame.map(|edge| rounded(edge, 3)),
                share: rounded(region.share, 4),
            })
            .collect(),
    }
}

fn why(reason: Inconclusive) -> String {
    match reason {
        Inconclusive::TooFewKeypoints { found, needed } => {
            format!("too little structure: {found} keypoints, {needed} needed")
        }
        Inconclusive::WeakAgreement { found, needed } => {
            format!("too little agreement: {found} common points, {needed} needed")
        }
        Inconclusive::SmallRegion {
            spread_percent,
            needed_percent,
        } => format!(
            "all agreement sits in {spread_percent} % of the frame, {needed_percent} % needed"
        ),
        Inconclusive::Ambiguous => "two motions explain the pictures about equally well".to_owned(),
    }
}
