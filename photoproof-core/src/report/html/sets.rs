//! View sets: phases side by side, the compared pairs with camera motion in words and numbers.

use serde::Serialize;

use super::geometry::{self, Map};
use super::pictures::{Picture, Pictures};
use crate::phase::Phase;
use crate::report::shape;
use crate::report::v1::{Change, Pair, Report, ViewSet};
use crate::report::words::{self, degrees, inert, number};

/// One view set.
#[derive(Debug, Serialize)]
pub(super) struct Card {
    id: String,
    area: Option<String>,
    phases: Vec<PhasePictures>,
    pairs: Vec<Comparison>,
    severities: String,
    phase_names: String,
}

#[derive(Debug, Serialize)]
struct PhasePictures {
    phase: Phase,
    pictures: Vec<Picture>,
    /// Photos that seem meant to repeat this view, taken from another standpoint.
    attempts: Vec<Picture>,
}

/// One compared pair.
#[derive(Debug, Serialize)]
struct Comparison {
    a: Picture,
    b: Picture,
    label: String,
    relation: &'static str,
    same_view: bool,
    reason: Option<String>,
    motion: String,
    numbers: Vec<(String, String, String)>,
    advice: Option<String>,
    copy: Option<&'static str>,
    /// Map from b's frame into a's, nine numbers; both scaled to width 1.
    matrix: Option<String>,
    /// What b shows of a, corners in a's thumbnail.
    outline_a: Option<String>,
    /// What a shows of b, corners in b's thumbnail.
    outline_b: Option<String>,
    /// How surely each cell of a changed: rows of letters.
    change: Option<String>,
}

pub(super) fn cards(report: &Report, pictures: &Pictures) -> Vec<Card> {
    report
        .view_sets
        .iter()
        .map(|set| card(report, set, pictures))
        .collect()
}

fn card(report: &Report, set: &ViewSet, pictures: &Pictures) -> Card {
    let by_phase = [
        (Phase::Before, &set.photos.before),
        (Phase::During, &set.photos.during),
        (Phase::After, &set.photos.after),
    ];
    let members = |path: &String| by_phase.iter().any(|(_, paths)| paths.contains(path));
    let mut severities: Vec<&str> = shape::standing(report)
        .filter(|finding| finding.photos.iter().any(members))
        .map(|finding| words::severity(finding.severity))
        .collect();
    severities.sort_unstable();
    severities.dedup();
    let present = by_phase.iter().filter(|(_, paths)| !paths.is_empty());
    let phase_names: Vec<&str> = present.map(|(phase, _)| phase.name()).collect();
    let mut pairs: Vec<Comparison> = set
        .pairs
        .iter()
        .map(|pair| comparison(report, pair, pictures))
        .collect();
    // The comparison a reader looks for first stands first: before with after.
    pairs.sort_by_key(|pair| {
        (
            pair.a.phase != Some(Phase::Before),
            pair.b.phase != Some(Phase::After),
        )
    });
    Card {
        id: inert(&set.id),
        area: set.area.as_deref().map(inert),
        phases: by_phase
            .iter()
            .map(|(phase, paths)| PhasePictures {
                phase: *phase,
                pictures: pictures.all(paths),
                attempts: set
                    .attempts
                    .iter()
                    .filter(|attempt| attempt.phase == *phase)
                    .map(|attempt| pictures.get(&attempt.photo))
                    .collect(),
            })
            .collect(),
        pairs,
        severities: severities.join(" "),
        phase_names: phase_names.join(" "),
    }
}

fn comparison(report: &Report, pair: &Pair, pictures: &Pictures) -> Comparison {
    let (a, b) = (pictures.get(&pair.a), pictures.get(&pair.b));
    let tall = |picture: &Picture| f64::from(picture.height) / f64::from(picture.width);
    let back = pair.alignment.as_ref().and_then(geometry::inverse);
    let outline_a = back
        .as_ref()
        .and_then(|map| geometry::shared(map, tall(&b), tall(&a)));
    let outline_b = pair
        .alignment
        .as_ref()
        .and_then(|map| geometry::shared(map, tall(&a), tall(&b)));
    let phase = |picture: &Picture| picture.phase.map_or("phase not known", Phase::name);
    Comparison {
        label: format!("{} {} with {} {}", phase(&a), a.name, phase(&b), b.name),
        relation: words::relation(&pair.relation),
        same_view: pair.relation == "same_view",
        reason: pair.reason.as_deref().map(inert),
        motion: motion(pair),
        numbers: numbers(report, pair),
        advice: pair.advice.as_deref().map(inert),
        copy: (pair.copy != "none").then(|| words::copy_kind(&pair.copy)),
        matrix: back.as_ref().map(matrix_text),
        outline_a: outline_a.map(|points| points_text(&points, a.width)),
        outline_b: outline_b.map(|points| points_text(&points, b.width)),
        change: pair.change.as_ref().map(|change| map_text(&change.map)),
        a,
        b,
    }
}

/// Rows of the change map apart by blanks; whatever is no letter of it is left out.
fn map_text(rows: &[String]) -> String {
    let row = |row: &String| -> String {
        row.chars()
            .filter(|letter| letter.is_ascii_digit() || *letter == '-')
            .collect()
    };
    let rows: Vec<String> = rows.iter().map(row).collect();
    rows.join(" ")
}

fn matrix_text(map: &Map) -> String {
    let values: Vec<String> = map
        .iter()
        .flatten()
        .map(|value| format!("{value:.6}"))
        .collect();
    values.join(" ")
}

fn points_text(points: &[(f64, f64)], width: u32) -> String {
    let scale = f64::from(width);
    let corners: Vec<String> = points
        .iter()
        .map(|(x, y)| format!("{:.1},{:.1}", x * scale, y * scale))
        .collect();
    corners.join(" ")
}

/// The camera motion from a to b as one sentence.
fn motion(pair: &Pair) -> String {
    let mut parts = Vec::new();
    match (pair.turn_right_deg, pair.tilt_up_deg, pair.rotation_deg) {
        (Some(turn), Some(tilt), _) => parts.push(turned(turn, tilt, pair.roll_clockwise_deg)),
        (_, _, Some(angle)) => parts.push(format!("the camera turned {}", degrees(angle))),
        _ => {}
    }
    if let Some(ratio) = pair.distance_ratio {
        let percent = number((ratio - 1.0).abs() * 100.0, 0);
        parts.push(match ratio {
            r if r > 1.02 => format!("it stood {percent} % farther away"),
            r if r < 0.98 => format!("it stood {percent} % nearer"),
            _ => "it stood at the same distance".into(),
        });
    }
    if let Some(overlap) = pair.overlap {
        let share = number(overlap * 100.0, 0);
        parts.push(format!("{share} % of the first picture is seen again"));
    }
    if parts.is_empty() {
        return "The camera motion could not be measured.".into();
    }
    let sentence = parts.join("; ");
    let mut letters = sentence.chars();
    let first = letters
        .next()
        .map(|c| c.to_uppercase().to_string())
        .unwrap_or_default();
    format!("{first}{}.", letters.as_str())
}

fn turned(turn: f64, tilt: f64, roll: Option<f64>) -> String {
    let part = |value: f64, positive: &str, negative: &str| {
        let side = if value > 0.0 { positive } else { negative };
        (value.abs() >= 0.5).then(|| format!("{} {side}", degrees(value.abs())))
    };
    let parts: Vec<String> = [
        part(turn, "to the right", "to the left"),
        part(tilt, "upwards", "downwards"),
        roll.and_then(|roll| part(roll, "clockwise", "anticlockwise")),
    ]
    .into_iter()
    .flatten()
    .collect();
    if parts.is_empty() {
        return "the camera kept its direction".into();
    }
    format!("the camera turned {}", parts.join(", "))
}

/// Changed share and its limit, in words.
fn changed(change: &Change, least: f64) -> (String, String) {
    let share = number(change.share * 100.0, 1);
    let at_most = number(change.at_most * 100.0, 1);
    let compared = number(change.compared * 100.0, 0);
    (
        format!("{share} % of the {compared} % that were compared, {at_most} % at most"),
        format!("at least {} %", number(least * 100.0, 1)),
    )
}

/// Quantity, value with uncertainty, limit.
fn numbers(report: &Report, pair: &Pair) -> Vec<(String, String, String)> {
    let limits = &report.limits;
    let with = |value: f64, sigma: Option<f64>, digits: usize| match sigma {
        Some(sigma) => format!("{} \u{b1} {}", number(value, digits), number(sigma, digits)),
        None => number(value, digits),
    };
    let mut rows = Vec::new();
    let mut row = |name: &str, value: String, limit: String| rows.push((name.into(), value, limit));
    if let Some(angle) = pair.rotation_deg {
        let limit = format!("at most {}\u{b0}", number(limits.max_rotation_deg, 1));
        row(
            "Turned by",
            format!("{}\u{b0}", with(angle, pair.rotation_sigma_deg, 1)),
            limit,
        );
    }
    if let Some(ratio) = pair.distance_ratio {
        let (low, high) = (limits.min_distance_ratio, limits.max_distance_ratio);
        let limit = format!("{} to {}", number(low, 2), number(high, 2));
        row(
            "Distance ratio",
            with(ratio, pair.distance_ratio_sigma, 2),
            limit,
        );
    }
    if let Some(overlap) = pair.overlap {
        let limit = format!("at least {} %", number(limits.min_overlap * 100.0, 0));
        row(
            "Overlap",
            format!("{} %", number(overlap * 100.0, 0)),
            limit,
        );
    }
    if let Some(change) = &pair.change {
        let (value, limit) = changed(change, limits.min_visible_change);
        row("Visible change", value, limit);
    }
    if let Some(zoom) = pair.zoom {
        row("Zoom", format!("{} times", number(zoom, 2)), String::new());
    }
    let model = pair.model.as_deref().map_or("no model".into(), inert);
    let basis = format!(
        "{} inliers of {} matches, {model}",
        pair.inliers, pair.matches
    );
    row("Basis", basis, String::new());
    let focal = if pair.focal_known {
        "from Exif"
    } else {
        "assumed"
    };
    row("Focal length", focal.into(), String::new());
    rows
}
