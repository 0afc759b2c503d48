//! `direction-disagrees`: the compass direction of a photo contradicts the turn measured between the pictures.

use crate::group::{Pair, ViewSet};
use crate::ingest::PhotoId;
use crate::judge::{Check, CheckMeta, Evidence, Finding, Severity, Status};
use crate::measure::Viewpoint;
use crate::relation::Relation;

static META: CheckMeta = CheckMeta {
    id: "direction-disagrees",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Note,
    summary: "Photos of one view state compass directions that do not fit the turn measured between the pictures.",
    why: "Either a compass was wrong, or one of the photos shows a like view in another direction, such as a room built as a mirror or a twin.",
    how_measured: "Difference of two photos' Exif GPSImgDirection less the turn to the right measured between the pictures, wrapped to 180 degrees; pairs of one view set or of one place whose motion is measured. The pair that differs most is named.",
    limit: "max_direction_difference_deg (60 degrees; common practice, no source).",
    remedy: "A reviewer compares the photos; move the phone in a figure of eight before the next job to set its compass.",
    innocent: &[
        "steel, wiring or a magnet of the phone's case turned the compass",
        "the compass had not been calibrated",
        "one camera states true and the other magnetic north",
    ],
    blind_spots: "Silent unless both photos state a direction, and where the phone looked steeply up or down it means little. A compass that is wrong by the same angle each time is not seen.",
};

/// The check.
#[derive(Debug)]
pub struct DirectionDisagrees;

impl Check for DirectionDisagrees {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        let sets = evidence.grouped.view_sets.iter();
        sets.filter_map(|set| finding(evidence, set)).collect()
    }
}

fn finding(evidence: &Evidence<'_>, set: &ViewSet) -> Option<Finding> {
    let limit = evidence.limits().max_direction_difference_deg;
    let members: Vec<PhotoId> = set.photos().collect();
    let pairs = evidence.grouped.pairs.iter();
    let (pair, difference) = pairs
        .filter(|pair| members.contains(&pair.a) && members.contains(&pair.b))
        .filter_map(|pair| Some((pair, difference(evidence, pair)?)))
        .filter(|(_, difference)| difference.abs() > limit)
        .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))?;
    let message = format!(
        "the compass directions differ by {:.0} degrees more than the camera turned between the pictures",
        difference.abs()
    );
    Some(
        META.finding(message)
            .area(set.area.as_deref())
            .photos([pair.b, pair.a])
            .measured(difference.abs(), limit, "degrees"),
    )
}

/// Compass turn from a to b beyond the measured one, degrees, -180..=180.
fn difference(evidence: &Evidence<'_>, pair: &Pair) -> Option<f64> {
    let measured = matches!(pair.relation, Relation::SameView | Relation::Shifted);
    let Viewpoint::Shift(shift) = &pair.viewpoint else {
        return None;
    };
    let from = evidence.photo(pair.a).direction_deg?;
    let to = evidence.photo(pair.b).direction_deg?;
    measured.then(|| wrapped(to - from - shift.turn_right.get()))
}

/// An angle from -180 to 180 degrees.
fn wrapped(degrees: f64) -> f64 {
    (degrees + 180.0).rem_euclid(360.0) - 180.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn angles_wrap_over_north() {
        for (angle, expected) in [(5.0 - 355.0, 10.0), (355.0 - 5.0, -10.0), (90.0, 90.0)] {
            assert!((wrapped(angle) - expected).abs() < 1e-9);
        }
        assert!((wrapped(180.0).abs() - 180.0).abs() < 1e-9);
    }
}
