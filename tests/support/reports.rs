//! Hand-made reports of an invented scenario: a clean job, a flawed one, a hostile one and a large one.

use std::collections::BTreeMap;

use photoproof_core::judge::finding::{Measurement, Outcome, Severity};
use photoproof_core::limits::Limits;
use photoproof_core::phase::Phase;
use photoproof_core::report::v1::*;

#[path = "flawed_report.rs"]
mod flawed_report;
#[path = "hostile_report.rs"]
mod hostile_report;

pub(crate) use flawed_report::flawed;
pub(crate) use hostile_report::hostile;

/// Areas of the invented house.
const AREAS: [&str; 4] = ["Kitchen", "Bath 1", "Attic", "Garage"];

/// A pair measured within the limits: turned a little, a touch nearer.
pub(crate) fn alignment() -> [[f64; 3]; 3] {
    [
        [1.06, 0.012, -0.045],
        [-0.01, 1.055, -0.018],
        [0.012, 0.004, 1.0],
    ]
}

#[allow(clippy::too_many_lines, reason = "one literal")]
fn photo(path: &str, area: &str, phase: Phase, minute: u32) -> Photo {
    let day = match phase {
        Phase::Before => 2,
        Phase::During => 3,
        Phase::After => 4,
    };
    let value = format!(
        "2026-03-{day:02}T{:02}:{:02}:09-06:00",
        8 + minute / 60,
        minute % 60
    );
    let time = Time {
        value,
        source: "exif_original".into(),
        offset_known: true,
    };
    let seed = path.bytes().fold(7_u64, |hash, byte| {
        hash.wrapping_mul(31).wrapping_add(byte.into())
    });
    let shift = (seed % 40) as f64 * 1e-5;
    Photo {
        path: path.into(),
        sha256: format!("{seed:016x}").repeat(4),
        area: Some(area.into()),
        area_source: Some("folder".into()),
        phase: Some(phase),
        phase_source: Some("folder".into()),
        caption: None,
        capture_time: Some(time.clone()),
        site_time: None,
        all_times: vec![time],
        format: "jpeg".into(),
        width: 4032,
        height: 3024,
        orientation: Some(1),
        gps: Some(Gps {
            lat: 41.5810 + shift,
            lon: -93.6546 + shift,
            error_m: Some(6.0),
        }),
        camera: Camera {
            make: Some("Tern".into()),
            model: Some(
                if phase == Phase::During {
                    "T8"
                } else {
                    "T9 Field"
                }
                .into(),
            ),
            lens: None,
            focal_mm: Some(5.1),
            focal_35mm: Some(26.0),
        },
        software: None,
        sharpness: 41.5,
        exposure: Exposure {
            mean_luma: 0.44,
            dark_share: 0.02,
            clipped_share: 0.01,
        },
        stamp: None,
        problems: vec![],
    }
}

/// Debris in the lower middle of the frame is gone.
fn change() -> Change {
    let row = |row: usize| {
        let letter = |column: usize| match (row, column) {
            (0, _) => '-',
            (24..=33, 8..=40) => '9',
            _ => '0',
        };
        (0..48).map(letter).collect()
    };
    Change {
        share: 0.196,
        at_most: 0.203,
        compared: 0.972,
        map: (0..36).map(row).collect(),
        regions: vec![ChangedRegion {
            frame: [0.167, 0.667, 0.854, 0.944],
            share: 0.191,
        }],
    }
}

fn pair(a: &str, b: &str) -> Pair {
    Pair {
        a: a.into(),
        b: b.into(),
        relation: "same_view".into(),
        reason: None,
        rotation_deg: Some(2.1),
        rotation_sigma_deg: Some(0.3),
        turn_right_deg: Some(2.0),
        tilt_up_deg: Some(-0.7),
        roll_clockwise_deg: Some(0.2),
        distance_ratio: Some(0.94),
        distance_ratio_sigma: Some(0.02),
        overlap: Some(0.91),
        zoom: Some(1.0),
        inliers: 143,
        matches: 402,
        model: Some("homography".into()),
        focal_known: true,
        copy: "none".into(),
        copy_detail: None,
        advice: Some("step back about 6 %, turn left 2 degrees".into()),
        alignment: Some(alignment()),
        contradictions: Vec::new(),
        change: Some(change()),
    }
}

fn path(area: &str, phase: Phase, number: usize) -> String {
    let offset = match phase {
        Phase::Before => 400,
        Phase::During => 450,
        Phase::After => 500,
    };
    format!("{area}/{phase}/IMG_{:04}.jpg", offset + number)
}

/// A job of `areas` with `views` views each, everything in order.
fn ordered(areas: &[&str], views: usize) -> (Vec<Photo>, Vec<ViewSet>, Vec<Coverage>) {
    let (mut photos, mut sets, mut coverage) = (Vec::new(), Vec::new(), Vec::new());
    for (place, area) in areas.iter().enumerate() {
        for view in 0..views {
            let number = place * views + view + 1;
            let paths = Phase::ALL.map(|phase| path(area, phase, number));
            for (phase, path) in Phase::ALL.iter().zip(&paths) {
                photos.push(photo(path, area, *phase, (number * 3) as u32 % 600));
            }
            let [before, during, after] = paths;
            sets.push(ViewSet {
                id: format!("{}-{}", area.to_lowercase().replace(' ', "-"), view + 1),
                area: Some((*area).into()),
                attempts: vec![],
                pairs: vec![pair(&before, &during), pair(&before, &after)],
                photos: PhasePaths {
                    before: vec![before],
                    during: vec![during],
                    after: vec![after],
                },
            });
        }
        coverage.extend(Phase::ALL.map(|phase| Coverage {
            area: (*area).into(),
            phase,
            required: true,
            photos: views,
        }));
    }
    photos.sort_by(|a, b| a.path.cmp(&b.path));
    (photos, sets, coverage)
}

fn check(id: &str, summary: &str, why: &str) -> CheckInfo {
    CheckInfo {
        id: id.into(),
        summary: summary.into(),
        why: why.into(),
    }
}

fn checks() -> Vec<CheckInfo> {
    vec![
        check(
            "capture-time-outside-window",
            "A photo was taken outside the work window.",
            "The photo may show another visit, so it does not prove this order.",
        ),
        check(
            "distance-change",
            "The camera stood nearer or farther than in the first photo.",
            "Debris outside the smaller frame cannot be compared.",
        ),
        check(
            "low-detail",
            "A photo is blurred, too dark or too small.",
            "Whether the floor is clean cannot be seen.",
        ),
        check(
            "missing-phase",
            "An area lacks before, during or after photos.",
            "Without the phase nobody can tell whether the work was done.",
        ),
        check(
            "reused-within-job",
            "One picture stands for two areas, phases or views.",
            "One picture can prove one area at one time only.",
        ),
        check(
            "unreadable-photo",
            "A photo file cannot be read.",
            "What it shows is not known.",
        ),
        check(
            "viewpoint-shift",
            "The camera turned between the photos of one view.",
            "Another part of the room is shown, so the two cannot be compared.",
        ),
    ]
}

fn timeline() -> Timeline {
    let span = |phase, day| PhaseSpan {
        phase: Some(phase),
        photos: 12,
        first: Some(format!("2026-03-0{day}T08:01:09")),
        last: Some(format!("2026-03-0{day}T09:12:09")),
    };
    Timeline {
        timezone: Some("America/Chicago".into()),
        timezone_source: Some("job_sheet".into()),
        window_start: Some("2026-03-02T07:00:00".into()),
        window_end: Some("2026-03-04T19:00:00".into()),
        devices: vec![Device {
            device: Some("Tern T8".into()),
            photos: 12,
            clock: Clock {
                basis: Some("gps".into()),
                evidence: 12,
                error_s: 0,
                low_s: -2,
                high_s: 3,
            },
            phases: vec![span(Phase::Before, 2)],
        }],
        without_time: 0,
    }
}

fn report(id: &str, photos: Vec<Photo>, sets: Vec<ViewSet>, coverage: Vec<Coverage>) -> Report {
    Report {
        schema: SCHEMA.into(),
        tool_version: "0.1.0".into(),
        job: Job {
            id: id.into(),
            vendor: Some("Wren & Bracken Field Crew".into()),
            services: vec!["debris-removal".into(), "initial-cleaning".into()],
            address: Some("14 Tallow Lane, Harrowmere".into()),
            latitude: Some(41.5812),
            longitude: Some(-93.6544),
            timezone: Some("America/Chicago".into()),
            window_start: Some("2026-03-02T07:00:00".into()),
            window_end: Some("2026-03-04T19:00:00".into()),
            has_job_sheet: true,
        },
        outcome: Outcome::Pass,
        summary: vec![
            "Every area asked for has before, during and after photos from the same standpoint.".into(),
            "All capture times lie inside the work window and in order.".into(),
            "No photo is used twice.".into(),
        ],
        counts: Counts { photos: photos.len(), view_sets: sets.len(), ..Counts::default() },
        photos,
        unreadable: vec![],
        ignored: vec![Unreadable { path: "notes.txt".into(), reason: "not an image".into() }],
        timeline: timeline(),
        view_sets: sets,
        coverage,
        copies: vec![],
        debris: Debris {
            loads: vec![Load {
                same_as: None,
                name: "Trailer 1".into(),
                cubic_yards: 20.0,
                evidenced: true,
                photos: vec![path("Garage", Phase::After, 4)],
                working: "16 ft \u{d7} 7.5 ft \u{d7} 4.5 ft \u{d7} 1.00 fill = 540 ft\u{b3}; / 27 = 20.00 yd\u{b3}".into(),
            }],
            claimed: Some(20.0),
            documented: Some(20.0),
            difference: Some(0.0),
        },
        findings: vec![],
        retakes: vec![],
        limits: Limits::default(),
        checks: checks(),
    }
}

/// A job with nothing to say against it.
pub(crate) fn clean() -> Report {
    let (photos, sets, coverage) = ordered(&AREAS, 1);
    report("WB-1186", photos, sets, coverage)
}

/// A finding with the members every test needs.
pub(crate) fn finding(
    check: &str,
    severity: Severity,
    area: Option<&str>,
    photos: &[&str],
) -> Finding {
    let key = format!("{check}|{area:?}|{photos:?}");
    let seed = key.bytes().fold(11_u64, |hash, byte| {
        hash.wrapping_mul(131).wrapping_add(byte.into())
    });
    Finding {
        check: check.into(),
        severity,
        area: area.map(Into::into),
        photos: photos.iter().map(|path| (*path).into()).collect(),
        message: String::new(),
        regions: vec![],
        measured: None,
        remedy: String::new(),
        innocent_explanations: vec![],
        waived: None,
        fingerprint: format!("{seed:016x}"),
    }
}

fn measurement(value: f64, limit: f64, unit: &str) -> Option<Measurement> {
    Some(Measurement {
        value: Some(value),
        limit: Some(limit),
        unit: unit.into(),
    })
}

/// Fills the counts from the rest of the report.
pub(crate) fn count(report: &mut Report) {
    let mut by_severity =
        BTreeMap::from([Severity::Note, Severity::Review, Severity::Fail].map(|s| (s, 0)));
    for finding in report
        .findings
        .iter()
        .filter(|finding| finding.waived.is_none())
    {
        *by_severity.entry(finding.severity).or_default() += 1;
    }
    report.counts = Counts {
        photos: report.photos.len(),
        unreadable: report.unreadable.len(),
        view_sets: report.view_sets.len(),
        findings: by_severity,
        waived: report
            .findings
            .iter()
            .filter(|finding| finding.waived.is_some())
            .count(),
    };
}

/// A job of `sets` complete view sets (three photos each).
pub(crate) fn large(sets: usize) -> Report {
    let names: Vec<String> = (1..=sets.div_ceil(6))
        .map(|number| format!("Room {number}"))
        .collect();
    let areas: Vec<&str> = names.iter().map(String::as_str).collect();
    let (photos, sets, coverage) = ordered(&areas, 6);
    let mut report = report("WB-1200", photos, sets, coverage);
    let paths: Vec<String> = report
        .photos
        .iter()
        .step_by(9)
        .map(|photo| photo.path.clone())
        .collect();
    report.findings = paths
        .iter()
        .map(|path| Finding {
            message: "The photo is blurred.".into(),
            measured: measurement(3.1, 6.0, ""),
            remedy: "Shoot it again with a steady hand.".into(),
            innocent_explanations: vec!["The light may have been poor.".into()],
            ..finding(
                "low-detail",
                Severity::Review,
                path.split('/').next(),
                &[path],
            )
        })
        .collect();
    report.outcome = Outcome::Review;
    count(&mut report);
    report
}
