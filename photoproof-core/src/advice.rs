//! What the crew must do to retake photo b so that it matches photo a, in their words.
//!
//! The advice undoes the measured motion: a camera that was turned right is told to turn left, one
//! that stood nearer to step back. Per cent of distance refer to the distance of photo b's camera
//! from what is in the middle of the picture; one step of a person is about 0.7 m (common practice,
//! no source), so that at 3 m from a wall 25 % is one step.

use crate::limits::Limits;
use crate::measure::ViewpointShift;

/// Angles below this many degrees are not worth a word: a hand holds no steadier.
const LEAST_DEGREES: f64 = 1.0;

/// Distances below this share are not worth a word.
const LEAST_SHARE: f64 = 0.03;

/// Advice for retaking photo b so that it matches photo a: corrections beyond their limit first, then
/// by size; `None` when there is nothing to do.
///
/// Example: `step back about 25 %, turn left 8 degrees`.
#[must_use]
pub fn advice(shift: &ViewpointShift, limits: &Limits) -> Option<String> {
    joined(corrections(shift, limits).into_iter().map(|(_, text)| text))
}

/// The corrections that matter most, for a retake list: the first, and the second if it is worth the trouble
/// (5 degrees or 10 %). Nobody carries out six.
#[must_use]
pub fn brief_advice(shift: &ViewpointShift, limits: &Limits) -> Option<String> {
    let all = corrections(shift, limits).into_iter().enumerate();
    joined(
        all.filter(|(place, (weight, _))| *place == 0 || (*place == 1 && *weight >= WORTH_WHILE))
            .map(|(_, (_, text))| text),
    )
}

fn joined(words: impl Iterator<Item = String>) -> Option<String> {
    let words: Vec<String> = words.collect();
    (!words.is_empty()).then(|| words.join(", "))
}

/// Weight (per cent, or degrees times two) from which a second correction is named in a retake list.
const WORTH_WHILE: f64 = 10.0;

/// Corrections with their weights, beyond their limit first, then by size.
fn corrections(shift: &ViewpointShift, limits: &Limits) -> Vec<(f64, String)> {
    let ratio_is_within = shift.distance_ratio.is_none_or(|ratio| {
        (limits.min_distance_ratio..=limits.max_distance_ratio).contains(&ratio.get())
    });
    let turn_is_within = shift.rotation.get() <= limits.max_rotation_deg;
    let distance = [step(shift)];
    let angles = [
        turn(shift.turn_right.get(), "turn left", "turn right"),
        turn(shift.tilt_up.get(), "tilt down", "tilt up"),
        turn(
            shift.roll_clockwise.get(),
            "roll the camera counter-clockwise",
            "roll the camera clockwise",
        ),
    ];
    let others = [zoom(shift), aside(shift)];
    let mut words: Vec<(bool, f64, String)> = distance
        .into_iter()
        .map(|c| (ratio_is_within, c))
        .chain(angles.into_iter().map(|c| (turn_is_within, c)))
        .chain(others.into_iter().map(|c| (true, c)))
        .filter_map(|(within, correction)| correction.map(|(size, text)| (within, size, text)))
        .collect();
    words.sort_by(|x, y| x.0.cmp(&y.0).then(y.1.total_cmp(&x.1)));
    words
        .into_iter()
        .map(|(_, weight, text)| (weight, text))
        .collect()
}

/// Weight of one degree against one per cent when corrections are ordered.
const PERCENT_PER_DEGREE: f64 = 2.0;

fn turn(degrees: f64, undo_positive: &str, undo_negative: &str) -> Option<(f64, String)> {
    let size = degrees.abs();
    if size < LEAST_DEGREES {
        return None;
    }
    let verb = if degrees > 0.0 {
        undo_positive
    } else {
        undo_negative
    };
    let whole = size.round();
    let unit = if whole < 1.5 { "degree" } else { "degrees" };
    Some((
        size * PERCENT_PER_DEGREE,
        format!("{verb} {whole:.0} {unit}"),
    ))
}

/// Steps along the line of sight: the share of b's own distance by which it must change.
fn step(shift: &ViewpointShift) -> Option<(f64, String)> {
    let change = 1.0 / shift.distance_ratio?.get() - 1.0;
    percent(change, "step back", "step closer")
}

/// Steps sideways, as a share of a's distance.
fn aside(shift: &ViewpointShift) -> Option<(f64, String)> {
    percent(-shift.translation?[0], "move right", "move left")
        .map(|(weight, text)| (weight, format!("{text} of the distance")))
}

fn zoom(shift: &ViewpointShift) -> Option<(f64, String)> {
    if !shift.focal_known {
        return None;
    }
    percent(1.0 / shift.zoom - 1.0, "zoom in", "zoom out")
}

fn percent(change: f64, more: &str, less: &str) -> Option<(f64, String)> {
    if !change.is_finite() || change.abs() < LEAST_SHARE {
        return None;
    }
    let verb = if change > 0.0 { more } else { less };
    let size = change.abs() * 100.0;
    Some((size, format!("{verb} about {size:.0} %")))
}

#[cfg(test)]
mod tests {
    use crate::limits::Limits;
    use crate::measure::viewpoint::{Evidence, Model, ViewpointShift};
    use crate::units::{Degrees, DistanceRatio, Ratio};

    fn advice(shift: &ViewpointShift) -> Option<String> {
        super::advice(shift, &Limits::default())
    }

    fn still() -> ViewpointShift {
        ViewpointShift {
            rotation: Degrees::new(0.2),
            turn_right: Degrees::new(0.2),
            tilt_up: Degrees::new(0.0),
            roll_clockwise: Degrees::new(0.0),
            distance_ratio: DistanceRatio::new(1.01),
            translation: Some([0.0, 0.0, -0.01]),
            rotation_sigma_deg: 0.1,
            distance_ratio_sigma: Some(0.01),
            overlap: Ratio::new(0.98),
            zoom: 1.0,
            focal_known: true,
            model: Model::Essential,
            evidence: Evidence::default(),
            other_surfaces: None,
            alignment: [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
        }
    }

    #[test]
    fn nothing_to_do_is_none() {
        assert_eq!(advice(&still()), None);
    }

    #[test]
    fn a_camera_turned_right_is_told_to_turn_left() {
        let shift = ViewpointShift {
            turn_right: Degrees::new(8.0),
            ..still()
        };
        assert_eq!(advice(&shift).as_deref(), Some("turn left 8 degrees"));
        let shift = ViewpointShift {
            turn_right: Degrees::new(-1.2),
            ..still()
        };
        assert_eq!(advice(&shift).as_deref(), Some("turn right 1 degree"));
    }

    #[test]
    fn a_camera_that_stood_nearer_is_told_to_step_back() {
        let shift = ViewpointShift {
            distance_ratio: DistanceRatio::new(0.8),
            ..still()
        };
        assert_eq!(advice(&shift).as_deref(), Some("step back about 25 %"));
        let shift = ViewpointShift {
            distance_ratio: DistanceRatio::new(1.25),
            ..still()
        };
        assert_eq!(advice(&shift).as_deref(), Some("step closer about 20 %"));
    }

    #[test]
    fn a_camera_to_the_right_is_told_to_move_left_and_tilts_are_undone() {
        let shift = ViewpointShift {
            translation: Some([0.12, 0.0, 0.0]),
            tilt_up: Degrees::new(3.0),
            ..still()
        };
        assert_eq!(
            advice(&shift).as_deref(),
            Some("move left about 12 % of the distance, tilt down 3 degrees")
        );
    }

    #[test]
    fn what_is_beyond_its_limit_comes_first() {
        let shift = ViewpointShift {
            distance_ratio: DistanceRatio::new(0.74),
            turn_right: Degrees::new(-9.0),
            tilt_up: Degrees::new(-9.5),
            rotation: Degrees::new(13.0),
            translation: Some([0.4, 0.0, 0.0]),
            ..still()
        };
        assert_eq!(
            advice(&shift).as_deref(),
            Some(
                "step back about 35 %, tilt up 10 degrees, turn right 9 degrees, \
                 move left about 40 % of the distance"
            )
        );
    }

    #[test]
    fn zoom_is_told_apart_from_distance() {
        let shift = ViewpointShift {
            zoom: 2.0,
            ..still()
        };
        assert_eq!(advice(&shift).as_deref(), Some("zoom out about 50 %"));
    }
}
