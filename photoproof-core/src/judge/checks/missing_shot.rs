//! `missing-shot`: a shot that the scope of the job asks for is not there.

use crate::judge::owed_shots::OwedShots;
use crate::judge::{Check, CheckMeta, Evidence, Finding, Retake, Severity, Status};
use crate::phase::Phase;
use crate::scope::{MissingShot, Shot};

static META: CheckMeta = CheckMeta {
    id: "missing-shot",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Fail,
    summary: "A shot that the scope of the job asks for is not there.",
    why: "Overlooked places are where debris and dirt stay behind; a place without a photo was not shown to be done.",
    how_measured: "Photos of the area and phase whose view in photos.csv, caption or file name holds a word of the shot (its id is one); photos that name no shot count as the area's views, one a view set.",
    limit: "photos_per_view of the job sheet or profile (1), for every shot of the scope; only where the sheet names a scope profile or sets scope.require_shots.",
    remedy: "Take the shot as the shot list describes it and name it: in the file name, the caption, or the view column of photos.csv.",
    innocent: &[
        "the photo is there and nothing in its name or caption says what it shows",
        "the house has no such thing; skip the shot in the job sheet's scope",
        "the photo was left out of the upload",
    ],
    blind_spots: "Reads names, not pictures. What missing-area, missing-phase, missing-angle and unevidenced-load already ask for is not asked for twice.",
};

/// The check.
#[derive(Debug)]
pub struct MissingShots;

impl Check for MissingShots {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        let Some(owed) = &evidence.owed_shots else {
            return Vec::new();
        };
        owed.missing
            .iter()
            .filter_map(|missing| Some((missing, owed.shots.get(missing.shot)?)))
            .filter(|(missing, shot)| !asked_for_elsewhere(evidence, owed, missing, shot))
            .map(|(missing, shot)| finding(evidence, owed, missing, shot))
            .collect()
    }
}

/// Whether another check asks for the same photo.
fn asked_for_elsewhere(
    evidence: &Evidence<'_>,
    owed: &OwedShots,
    missing: &MissingShot,
    shot: &Shot,
) -> bool {
    let area = Some(shot.area.as_str());
    let on_sheet = evidence.sheet.areas.iter().any(|a| a.name == shot.area);
    let whole_phase = on_sheet && !shot.if_present && !evidence.has(area, missing.phase);
    let angle = || {
        evidence.gaps.iter().any(|gap| {
            let set = evidence.grouped.view_sets.get(gap.set);
            gap.phase == missing.phase && set.is_some_and(|set| owed.serves(set, missing.shot))
        })
    };
    let load = || {
        let mut lines = evidence.grouped.debris.loads.iter();
        lines.any(|line| {
            line.name == shot.area
                && (!line.evidenced
                    || (line.missing_states.iter())
                        .any(|state| shot.words.iter().any(|w| w == state)))
        })
    };
    let items = || {
        let items = &evidence.grouped.debris.hazards;
        shot.kind == "hazards" && !items.is_empty() && items.iter().all(|i| i.photos.is_empty())
    };
    whole_phase || angle() || load() || items()
}

fn finding(
    evidence: &Evidence<'_>,
    owed: &OwedShots,
    missing: &MissingShot,
    shot: &Shot,
) -> Finding {
    let on_sheet = evidence.grouped.areas.contains(&shot.area);
    let like = owed.example(evidence.grouped, missing.shot);
    let phase = missing.phase;
    let instruction = match phase {
        Phase::Before => format!(
            "no before photo of {}: send it if it was taken; it cannot be taken now",
            shot.show
        ),
        _ => format!("shoot {}", shot.show),
    };
    let place = if on_sheet {
        String::new()
    } else {
        format!("{}: ", shot.area)
    };
    let finding = META
        .finding(format!(
            "{} has no {phase} photo of {} ({})",
            shot.area, shot.show, shot.id
        ))
        .area(on_sheet.then_some(shot.area.as_str()))
        .photos(like)
        .subject(format!("{} {phase}", shot.id))
        .measured(
            f64::from(missing.found),
            f64::from(missing.wanted),
            "photos",
        )
        .retake(Retake {
            area: on_sheet.then(|| shot.area.clone()),
            phase: Some(phase),
            view_set: None,
            like,
            replaces: None,
            instruction: format!("{place}{instruction}"),
        });
    // Whether the thing is there at all, a person knows better than a word in a file name.
    if shot.if_present {
        finding.at_most(Severity::Review)
    } else {
        finding
    }
}
