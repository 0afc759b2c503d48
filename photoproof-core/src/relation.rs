//! The relation of two photos: measured motion against limits, in one place.

use serde::Serialize;

use crate::limits::Limits;
use crate::measure::viewpoint::Evidence;
use crate::measure::{Viewpoint, ViewpointShift};

/// How the views of two photos relate.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Relation {
    /// Same standpoint and direction within the limits.
    SameView,
    /// Same place, but the camera moved or turned beyond the limits.
    Shifted,
    /// The pictures share no structure.
    Different,
    /// The pictures do not tell; a person looks.
    Undetermined,
}

impl Relation {
    /// Applies `limits` to a measured viewpoint.
    #[must_use]
    pub fn of(viewpoint: &Viewpoint, limits: &Limits) -> Self {
        match viewpoint {
            Viewpoint::Shift(shift) if doubt(shift, limits).is_some() => Relation::Undetermined,
            Viewpoint::Shift(shift) if within(shift, limits) => Relation::SameView,
            Viewpoint::Shift(_) => Relation::Shifted,
            Viewpoint::NoCommonStructure(_) => Relation::Different,
            Viewpoint::Inconclusive(..) => Relation::Undetermined,
        }
    }
}

/// Why a measured motion is not believed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum Doubt {
    /// The pictures as a whole hardly support it.
    LittleSupport,
    /// Where both photos are rich in detail, too much of it has nothing in common.
    SilentParts,
    /// Parts stand beside the places that it gives them, and what agrees does not agree well.
    PartsElsewhere,
    /// A floor, a wall or the like is another one in the other photo.
    OtherSurfaces,
    /// The distance is not known closely enough to lie within the limits for sure.
    VagueDistance,
}

impl Doubt {
    /// The doubt in words, with its numbers.
    #[must_use]
    pub fn reason(self, shift: &ViewpointShift) -> String {
        let evidence = &shift.evidence;
        match self {
            Doubt::LittleSupport => {
                "some parts agree, but the pictures as a whole hardly support it".to_owned()
            }
            Doubt::SilentParts => format!(
                "{} of {} parts rich in detail in both photos have nothing in common",
                evidence.silent_cells, evidence.rich_cells
            ),
            Doubt::PartsElsewhere => format!(
                "{} of {} distinct points stand beside where the others put them, as after parts were moved or in another \
                 room with the same fittings",
                evidence.distinct_against,
                evidence.distinct_against + evidence.distinct_agreeing
            ),
            Doubt::OtherSurfaces => format!(
                "over {:.0} % of the frame each shows a floor, a wall or the like that the other lacks, as after a new one \
                 or in another room with the same fittings",
                100.0 * other_surfaces(shift)
            ),
            Doubt::VagueDistance => {
                let (ratio, reach) = distance(shift).unwrap_or((1.0, 0.0));
                format!(
                    "the distance is {ratio:.2} times the first photo's, give or take {reach:.2}, which may lie \
                     beyond the limits: what lies behind a window tells little of how far the camera was"
                )
            }
        }
    }

    /// Where the first photo's frame shows what speaks against the motion: left, top, right and bottom edge as shares of
    /// width and height, 0..=1; none where nothing stands at one place.
    #[must_use]
    pub fn frames(self, shift: &ViewpointShift) -> Vec<[f64; 4]> {
        match self {
            Doubt::PartsElsewhere => shift.evidence.against_frames(),
            Doubt::OtherSurfaces => shift
                .other_surfaces
                .map_or_else(Vec::new, |other| other.frames()),
            Doubt::LittleSupport | Doubt::SilentParts | Doubt::VagueDistance => Vec::new(),
        }
    }
}

/// Consistency below which a motion is not believed, whatever it says: rooms with equal fittings agree
/// in part, and what is between the fittings contradicts; a wrong motion finds little more than
/// likeness does. This is an evidence line, not a limit of the trade: of 150 true repeats of three
/// rendered houses, 148 lie above it.
const LEAST_CONSISTENCY: f64 = 0.36;

/// The same for a motion beyond the limits that chance does not make: a step nearer shows other detail of what both
/// photos show, so less of it is there again. Wrong motions of other rooms measured 0.28 at most where chance was as
/// small, and lay within the limits.
const LEAST_CONSISTENCY_BEYOND: f64 = 0.3;
/// Expected number of chance models, as a power of ten.
const BEYOND_CHANCE: f64 = -30.0;

/// Share of the cells rich in detail in both photos that may contradict a motion before it is not
/// believed. Debris contradicts too: true repeats on rendered houses reach 0.4.
const MOST_SILENT: f64 = 0.45;

/// Strangeness above which the photos may show different rooms of the same kind. Of 424 true repeats of a rendered
/// house, of half another and of the demo job, most of them degraded on purpose, two lie above it; of 21 pairs with a
/// look-alike room, built of the same parts a hand's breadth apart, ten do.
const MOST_STRANGE: f64 = 12.8;

/// How much a motion looks like one between two rooms of the same kind; true repeats are mostly near 8. Fitted by
/// logistic regression on the pairs named at [`MOST_STRANGE`]; `None` without consistency.
fn strangeness(evidence: &Evidence) -> Option<f64> {
    let consistency = evidence.consistency()?.max(0.05);
    // Parts that stand elsewhere speak for another room, and so does what agrees without agreeing well.
    Some(
        16.0 * evidence.against_share() - 1.3 * consistency.ln()
            + 28.0 * evidence.distinct_distance
            + 2.4 * evidence.distinct_error_px,
    )
}

/// Strangeness of a frame filled by other surfaces, and the share above which more of them add nothing: a new floor does
/// not make a repeat doubtful that all else supports. Of 104 true repeats of six rendered houses none
/// that was believed before is lost by it; of 86 pairs with a look-alike room 26 instead of 32 are believed.
const OTHER_SURFACES: f64 = 40.0;
const MOST_OTHER: f64 = 0.15;
/// A smaller share may be a bin, a tarp, a box.
const LEAST_OTHER: f64 = 0.07;

/// Why the motion is not believed; `None` if it is. Parts that stand elsewhere and other surfaces are asked only where
/// the motion lies within `limits`: one that does not is no repeat of the view either way.
#[must_use]
pub fn doubt(shift: &ViewpointShift, limits: &Limits) -> Option<Doubt> {
    let evidence = &shift.evidence;
    let consistency = evidence.consistency();
    let is_beyond = !within(shift, limits);
    let least = if is_beyond && evidence.log10_chance <= BEYOND_CHANCE {
        LEAST_CONSISTENCY_BEYOND
    } else {
        LEAST_CONSISTENCY
    };
    if consistency.is_some_and(|c| c < least) {
        return Some(Doubt::LittleSupport);
    }
    if evidence.silent_share() > MOST_SILENT {
        return Some(Doubt::SilentParts);
    }
    if is_beyond {
        return None;
    }
    if let Some(strangeness) = strangeness(evidence) {
        if strangeness > MOST_STRANGE {
            return Some(Doubt::PartsElsewhere);
        }
        let other = Some(other_surfaces(shift)).filter(|share| *share >= LEAST_OTHER);
        if strangeness + OTHER_SURFACES * other.unwrap_or(0.0).min(MOST_OTHER) > MOST_STRANGE {
            return Some(Doubt::OtherSurfaces);
        }
    }
    let (ratio, reach) = distance(shift)?;
    let surely = within_distance(ratio - reach, limits) && within_distance(ratio + reach, limits);
    (!surely).then_some(Doubt::VagueDistance)
}

fn other_surfaces(shift: &ViewpointShift) -> f64 {
    shift.other_surfaces.map_or(0.0, |other| other.share)
}

/// Standard uncertainties to either side of a distance ratio within which 95 of 100 true ones lie (JCGM 100:2008, 6.3.3).
const COVERAGE: f64 = 2.0;

/// The distance ratio and how far the true one may lie from it.
fn distance(shift: &ViewpointShift) -> Option<(f64, f64)> {
    let ratio = shift.distance_ratio?.get();
    Some((ratio, COVERAGE * shift.distance_ratio_sigma? * ratio))
}

fn within_distance(ratio: f64, limits: &Limits) -> bool {
    (limits.min_distance_ratio..=limits.max_distance_ratio).contains(&ratio)
}

fn within(shift: &ViewpointShift, limits: &Limits) -> bool {
    let distance_fits = shift
        .distance_ratio
        .is_none_or(|ratio| within_distance(ratio.get(), limits));
    distance_fits
        && shift.rotation.get() <= limits.max_rotation_deg
        && shift.overlap.get() >= limits.min_overlap
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::change::OtherSurfaces;
    use crate::measure::viewpoint::Model;
    use crate::units::{Degrees, DistanceRatio, Ratio};

    fn shift(evidence: Evidence) -> ViewpointShift {
        ViewpointShift {
            rotation: Degrees::new(2.0),
            turn_right: Degrees::new(2.0),
            tilt_up: Degrees::new(0.0),
            roll_clockwise: Degrees::new(0.0),
            distance_ratio: None,
            translation: None,
            rotation_sigma_deg: 0.1,
            distance_ratio_sigma: None,
            overlap: Ratio::new(0.9),
            zoom: 1.0,
            focal_known: true,
            model: Model::Homography,
            evidence,
            alignment: [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
            other_surfaces: None,
        }
    }

    /// 100 matches, `reappearing` of 500 features found again, 12 of 40 distinct matches elsewhere or none.
    fn evidence(reappearing: f64, against: u32) -> Evidence {
        Evidence {
            matches: 100,
            inliers: 60,
            looked_for: 500,
            reappearing,
            reappearing_by_chance: 0.05,
            distinct_agreeing: 28,
            distinct_against: against,
            distinct_distance: 0.25,
            distinct_error_px: 1.2,
            ..Evidence::default()
        }
    }

    #[test]
    fn parts_that_stand_elsewhere_make_a_motion_doubtful_unless_the_rest_agrees_well() {
        let limits = Limits::default();
        let of = |evidence| doubt(&shift(evidence), &limits);
        assert_eq!(of(evidence(0.2, 0)), None);
        assert_eq!(of(evidence(0.2, 12)), Some(Doubt::PartsElsewhere));
        assert_eq!(of(evidence(0.06, 0)), Some(Doubt::LittleSupport));
        let agreeing_well = Evidence {
            distinct_distance: 0.15,
            distinct_error_px: 0.5,
            ..evidence(0.2, 12)
        };
        assert_eq!(of(agreeing_well), None);
        let mut turned = shift(evidence(0.2, 12));
        turned.rotation = Degrees::new(30.0);
        assert_eq!(doubt(&turned, &limits), None);
    }

    #[test]
    fn a_motion_beyond_the_limits_that_chance_does_not_make_needs_less_consistency() {
        let limits = Limits::default();
        let of = |reappearing, ratio, log10_chance| {
            let mut shift = shift(Evidence {
                log10_chance,
                ..evidence(reappearing, 0)
            });
            shift.distance_ratio = DistanceRatio::new(ratio);
            doubt(&shift, &limits)
        };
        assert_eq!(of(0.09, 0.6, -60.0), None);
        assert_eq!(of(0.09, 0.6, -20.0), Some(Doubt::LittleSupport));
        assert_eq!(of(0.09, 1.0, -60.0), Some(Doubt::LittleSupport));
        assert_eq!(of(0.055, 0.6, -60.0), Some(Doubt::LittleSupport));
    }

    #[test]
    fn other_surfaces_add_to_parts_that_stand_elsewhere() {
        let limits = Limits::default();
        let of = |against, share| {
            let mut shift = shift(evidence(0.2, against));
            shift.other_surfaces = Some(OtherSurfaces {
                share,
                cells: [0; 9],
            });
            doubt(&shift, &limits)
        };
        assert_eq!(of(0, 0.02), None);
        assert_eq!(of(0, 0.06), None);
        assert_eq!(of(0, 0.3), Some(Doubt::OtherSurfaces));
        assert_eq!(of(12, 0.3), Some(Doubt::PartsElsewhere));
    }

    #[test]
    fn a_distance_that_may_lie_beyond_the_limits_is_doubtful() {
        let limits = Limits::default();
        let of = |ratio, sigma| {
            let mut shift = shift(evidence(0.2, 0));
            shift.distance_ratio = DistanceRatio::new(ratio);
            shift.distance_ratio_sigma = Some(sigma);
            shift
        };
        assert_eq!(doubt(&of(1.0, 0.08), &limits), None);
        assert_eq!(doubt(&of(0.92, 0.08), &limits), Some(Doubt::VagueDistance));
        assert_eq!(doubt(&of(1.2, 0.03), &limits), Some(Doubt::VagueDistance));
        let reason = Doubt::VagueDistance.reason(&of(0.92, 0.08));
        assert!(
            reason.starts_with("the distance is 0.92 times the first photo's, give or take 0.15"),
            "{reason}"
        );
        // Beyond the limits it is no repeat, however closely known.
        assert_eq!(doubt(&of(0.75, 0.08), &limits), None);
    }

    #[test]
    fn a_doubtful_motion_is_undetermined() {
        let limits = Limits::default();
        let relation =
            |against| Relation::of(&Viewpoint::Shift(shift(evidence(0.2, against))), &limits);
        assert_eq!(relation(0), Relation::SameView);
        assert_eq!(relation(12), Relation::Undetermined);
    }

    #[test]
    fn frames_of_parts_elsewhere_are_runs_of_cells() {
        let mut evidence = Evidence::default();
        evidence.against[0] = 0b1000_0000_0011;
        evidence.against[8] = 0b10;
        let frames = evidence.against_frames();
        let twelfth = 1.0 / 12.0;
        let expected = [
            [0.0, 0.0, 2.0 * twelfth, 1.0 / 9.0],
            [11.0 * twelfth, 0.0, 1.0, 1.0 / 9.0],
            [twelfth, 8.0 / 9.0, 2.0 * twelfth, 1.0],
        ];
        assert_eq!(frames.len(), 3);
        for (edge, wanted) in frames.iter().flatten().zip(expected.iter().flatten()) {
            assert!((edge - wanted).abs() < 1e-12, "{frames:?}");
        }
    }
}
