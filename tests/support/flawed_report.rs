//! A job with every kind of finding.

use photoproof_core::judge::finding::{Outcome, Severity};
use photoproof_core::phase::Phase;
use photoproof_core::report::v1::*;

use super::{AREAS, count, finding, measurement, ordered, path, report};

/// A job with findings of every weight, retakes, a waiver and an unreadable file.
pub(crate) fn flawed() -> Report {
    let (mut photos, mut sets, mut coverage) = ordered(&AREAS, 2);
    photos.retain(|photo| !photo.path.starts_with("Attic/after"));
    for set in sets
        .iter_mut()
        .filter(|set| set.area.as_deref() == Some("Attic"))
    {
        set.photos.after.clear();
        set.pairs.truncate(1);
    }
    for cell in coverage
        .iter_mut()
        .filter(|cell| cell.area == "Attic" && cell.phase == Phase::After)
    {
        cell.photos = 0;
    }
    spoil(&mut sets);
    let mut report = report("WB-1187", photos, sets, coverage);
    report.outcome = Outcome::Fail;
    report.summary = vec![
        "The attic has no after photo, and two after photos cannot be compared with their before photos.".into(),
        "One garage picture stands for the bath as well.".into(),
        "Shoot the five photos listed below; nothing else is asked for.".into(),
    ];
    report.unreadable = vec![Unreadable {
        path: "Garage/after/IMG_0599.jpg".into(),
        reason: "the file ends after 4096 bytes".into(),
    }];
    report.findings = findings();
    report.retakes = retakes();
    report.copies = vec![Copy {
        a: path("Garage", Phase::After, 7),
        b: path("Bath 1", Phase::After, 4),
        kind: "edited".into(),
        scope: "job".into(),
        other_job: None,
        detail: Some(CopyDetail {
            transform: "mirrored".into(),
            crop: 0.93,
        }),
    }];
    if let Some(load) = report.debris.loads.first_mut() {
        load.photos = vec![path("Garage", Phase::After, 8)];
    }
    if let Some(set) = report.view_sets.get_mut(4) {
        set.attempts = vec![Attempt {
            photo: path("Garage", Phase::After, 8),
            phase: Phase::After,
            like: path("Attic", Phase::Before, 5),
        }];
    }
    report.debris.claimed = Some(26.0);
    report.debris.difference = Some(6.0);
    count(&mut report);
    report
}

/// One pair beyond the limits, one that does not tell.
fn spoil(sets: &mut [ViewSet]) {
    if let Some(pair) = sets.first_mut().and_then(|set| set.pairs.last_mut()) {
        pair.relation = "shifted".into();
        pair.rotation_deg = Some(14.2);
        pair.turn_right_deg = Some(14.0);
        pair.overlap = Some(0.52);
        pair.alignment = Some([[1.0, 0.0, -0.4], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]);
        pair.advice = Some("turn left 14 degrees".into());
    }
    if let Some(pair) = sets.get_mut(2).and_then(|set| set.pairs.last_mut()) {
        pair.relation = "undetermined".into();
        pair.reason = Some("11 inliers found, 24 needed".into());
        (pair.rotation_deg, pair.turn_right_deg, pair.tilt_up_deg) = (None, None, None);
        (pair.distance_ratio, pair.overlap, pair.alignment) = (None, None, None);
        pair.advice = None;
    }
}

fn findings() -> Vec<Finding> {
    let kitchen_after = path("Kitchen", Phase::After, 1);
    let kitchen_before = path("Kitchen", Phase::Before, 1);
    let bath_after = path("Bath 1", Phase::After, 4);
    let garage_after = path("Garage", Phase::After, 7);
    let mut list = vec![
        Finding {
            message: "The camera turned 14.2 degrees between before and after.".into(),
            measured: measurement(14.2, 10.0, "degrees"),
            remedy: "Stand where the before photo was taken and aim at the same corner.".into(),
            innocent_explanations: vec![
                "A door or a pile may have been in the way.".into(),
                "Another person may have taken the second photo.".into(),
            ],
            ..finding(
                "viewpoint-shift",
                Severity::Fail,
                Some("Kitchen"),
                &[&kitchen_after, &kitchen_before],
            )
        },
        Finding {
            message: "The after photo of Bath 1 is a mirrored copy of a garage photo.".into(),
            remedy: "Shoot the bath again from the standpoint of its before photo.".into(),
            innocent_explanations: vec![
                "A picture may have been picked twice by mistake while uploading.".into(),
            ],
            ..finding(
                "reused-within-job",
                Severity::Fail,
                Some("Bath 1"),
                &[&bath_after, &garage_after],
            )
        },
        Finding {
            message: "No after photo of the attic.".into(),
            measured: measurement(0.0, 1.0, "photos"),
            remedy: "Shoot both attic views again, after the work.".into(),
            innocent_explanations: vec!["The upload may have stopped early.".into()],
            ..finding("missing-phase", Severity::Fail, Some("Attic"), &[])
        },
    ];
    list.extend(lighter(&garage_after));
    list
}

/// Findings a person looks at or need only know, one of them waived.
fn lighter(garage_after: &str) -> Vec<Finding> {
    vec![
        Finding {
            message: "The file ends after 4096 bytes.".into(),
            remedy: "Copy the photo from the phone again.".into(),
            innocent_explanations: vec!["The transfer may have been cut off.".into()],
            ..finding(
                "unreadable-photo",
                Severity::Review,
                Some("Garage"),
                &["Garage/after/IMG_0599.jpg"],
            )
        },
        Finding {
            message: "The camera stood 28 % farther away than in the before photo.".into(),
            measured: measurement(1.28, 1.25, "ratio"),
            remedy: "Step forward about 22 %.".into(),
            innocent_explanations: vec!["The wide lens of the phone may have been used.".into()],
            waived: Some(Waived {
                reviewer: "J. Alder".into(),
                reason: "the whole wall is visible in both".into(),
                until: "2026-06-30".into(),
            }),
            ..finding(
                "distance-change",
                Severity::Review,
                Some("Garage"),
                &[garage_after],
            )
        },
        Finding {
            message: "Taken 40 minutes after the work window ended.".into(),
            measured: measurement(2400.0, 0.0, "seconds"),
            remedy: "Say why the work ran late, or set the phone's clock.".into(),
            innocent_explanations: vec!["The phone's clock may be set to another zone.".into()],
            ..finding(
                "capture-time-outside-window",
                Severity::Note,
                Some("Garage"),
                &[garage_after],
            )
        },
    ]
}

fn retakes() -> Vec<Retake> {
    let retake =
        |area: &str, like: String, replaces: Option<String>, what: &str, check: &str| Retake {
            area: Some(area.into()),
            phase: Some(Phase::After),
            view_set: None,
            like: Some(like),
            replaces,
            instruction: what.into(),
            checks: vec![check.into()],
        };
    let before = |area, number| path(area, Phase::Before, number);
    let after = |area, number| path(area, Phase::After, number);
    vec![
        retake(
            "Kitchen",
            before("Kitchen", 1),
            Some(after("Kitchen", 1)),
            "turn left 14 degrees, same distance",
            "viewpoint-shift",
        ),
        retake(
            "Bath 1",
            before("Bath 1", 4),
            Some(after("Bath 1", 4)),
            "shoot the bath itself, standing in the door",
            "reused-within-job",
        ),
        retake(
            "Attic",
            before("Attic", 5),
            None,
            "stand at the hatch, aim at the gable window",
            "missing-phase",
        ),
        retake(
            "Attic",
            before("Attic", 6),
            None,
            "stand at the gable window, aim at the hatch",
            "missing-phase",
        ),
        retake(
            "Garage",
            before("Garage", 7),
            Some("Garage/after/IMG_0599.jpg".into()),
            "copy the photo again, or shoot it again from the gate",
            "unreadable-photo",
        ),
    ]
}
