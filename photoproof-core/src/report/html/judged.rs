//! Outcome, retakes and findings as the page shows them.

use serde::Serialize;

use super::pictures::{Picture, Pictures, clock};
use super::place;
use crate::judge::finding::Severity;
use crate::phase::Phase;
use crate::report::shape;
use crate::report::v1::{Finding, Report, Retake};
use crate::report::words::{self, count, inert};

/// Severities, heaviest first.
const SEVERITIES: [Severity; 3] = [Severity::Fail, Severity::Review, Severity::Note];

/// The head of the page.
#[derive(Debug, Serialize)]
pub(super) struct Head {
    word: &'static str,
    sentence: &'static str,
    summary: Vec<String>,
    title: String,
    job: Vec<(&'static str, String)>,
    counts: Vec<String>,
}

pub(super) fn outcome(report: &Report) -> Head {
    let job = &report.job;
    let window = match (&job.window_start, &job.window_end) {
        (Some(start), Some(end)) => Some(format!("{} to {}", clock(start), clock(end))),
        _ => None,
    };
    let services = (!job.services.is_empty()).then(|| job.services.join(", "));
    let facts = [
        ("Job", Some(job.id.clone())),
        ("Site", job.address.clone()),
        ("Vendor", job.vendor.clone()),
        ("Services", services),
        ("Work window", window),
        ("Zone", job.timezone.clone()),
        (
            "Job sheet",
            (!job.has_job_sheet).then(|| "none given; everything is inferred".into()),
        ),
    ];
    let findings = SEVERITIES.iter().map(|severity| {
        format!(
            "{} {}",
            shape::standing_of(report, *severity),
            words::severity(*severity)
        )
    });
    let photos = [
        count(report.counts.photos, "photo"),
        format!("{} not readable", report.counts.unreadable),
        count(report.counts.view_sets, "view set"),
    ];
    let waived = [format!("{} waived", shape::waived(report).count())];
    Head {
        word: words::outcome(report.outcome),
        sentence: words::outcome_sentence(report.outcome),
        summary: report
            .summary
            .iter()
            .map(|sentence| inert(sentence))
            .collect(),
        title: inert(&job.id),
        job: facts
            .into_iter()
            .filter_map(|(name, value)| value.map(|value| (name, inert(&value))))
            .collect(),
        counts: photos.into_iter().chain(findings).chain(waived).collect(),
    }
}

/// Choices of the filter.
#[derive(Debug, Serialize)]
pub(super) struct Filters {
    areas: Vec<String>,
    phases: Vec<&'static str>,
    severities: Vec<&'static str>,
}

pub(super) fn filters(report: &Report) -> Filters {
    Filters {
        areas: shape::areas(report).into_iter().map(inert).collect(),
        phases: Phase::ALL.iter().map(|phase| phase.name()).collect(),
        severities: SEVERITIES
            .iter()
            .map(|severity| words::severity(*severity))
            .collect(),
    }
}

/// One photo to shoot again.
#[derive(Debug, Serialize)]
pub(super) struct RetakeEntry {
    number: usize,
    place: String,
    area: Option<String>,
    phase: Option<Phase>,
    instruction: String,
    like: Option<Picture>,
    replaces: Option<Picture>,
    checks: Vec<String>,
    severities: String,
}

pub(super) fn retakes(report: &Report, pictures: &Pictures) -> Vec<RetakeEntry> {
    let entry = |(index, retake): (usize, &Retake)| RetakeEntry {
        number: index + 1,
        place: place(retake),
        area: retake.area.as_deref().map(inert),
        phase: retake.phase,
        instruction: words::sentence(&retake.instruction),
        like: retake.like.as_deref().map(|path| pictures.get(path)),
        replaces: retake.replaces.as_deref().map(|path| pictures.get(path)),
        checks: retake.checks.iter().map(|check| inert(check)).collect(),
        severities: severities_of(report, retake),
    };
    report.retakes.iter().enumerate().map(entry).collect()
}

fn severities_of(report: &Report, retake: &Retake) -> String {
    let asked =
        |finding: &&Finding| retake.checks.contains(&finding.check) && finding.area == retake.area;
    let mut names: Vec<&str> = shape::standing(report)
        .filter(asked)
        .map(|f| words::severity(f.severity))
        .collect();
    names.sort_unstable();
    names.dedup();
    names.join(" ")
}

/// Findings of one severity.
#[derive(Debug, Serialize)]
pub(super) struct Group {
    severity: &'static str,
    meaning: &'static str,
    kinds: Vec<Kind>,
}

/// Findings that one explanation serves.
#[derive(Debug, Serialize)]
pub(super) struct Kind {
    anchor: String,
    explanation: Explanation,
    findings: Vec<Entry>,
}

/// What every finding of a kind shares; said once, since a large job has hundreds of some kinds.
#[derive(Debug, PartialEq, Serialize)]
struct Explanation {
    check: String,
    why: Option<String>,
    innocent: Vec<String>,
    remedy: String,
}

/// One finding.
#[derive(Debug, Serialize)]
pub(super) struct Entry {
    anchor: String,
    severity: &'static str,
    area: Option<String>,
    phases: String,
    message: String,
    value: Option<String>,
    limit: Option<String>,
    pictures: Vec<Picture>,
    /// Where in the first picture it was measured, pixels: left, top, width and height.
    marks: Vec<[f64; 4]>,
    waiver_entry: String,
    waived: Option<(String, String, String)>,
}

pub(super) fn groups(report: &Report, pictures: &Pictures) -> Vec<Group> {
    let meaning = |severity| match severity {
        Severity::Fail => "Proof is missing or contradicted.",
        Severity::Review => "The pictures do not tell; a person has to look.",
        Severity::Note => "Worth knowing; nothing is asked for.",
    };
    let group = |severity: Severity| Group {
        severity: words::severity(severity),
        meaning: meaning(severity),
        kinds: kinds(report, pictures, |finding| {
            finding.waived.is_none() && finding.severity == severity
        }),
    };
    SEVERITIES
        .into_iter()
        .map(group)
        .filter(|group| !group.kinds.is_empty())
        .collect()
}

pub(super) fn waived(report: &Report, pictures: &Pictures) -> Vec<Kind> {
    kinds(report, pictures, |finding| finding.waived.is_some())
}

/// The wanted findings by what explains them; kinds and findings keep the order of the report.
fn kinds(report: &Report, pictures: &Pictures, wanted: impl Fn(&Finding) -> bool) -> Vec<Kind> {
    let mut kinds: Vec<Kind> = Vec::new();
    for (index, finding) in report.findings.iter().enumerate() {
        if !wanted(finding) {
            continue;
        }
        let explanation = explanation(report, finding);
        let entry = entry(index, finding, pictures);
        match kinds
            .iter_mut()
            .find(|kind| kind.explanation == explanation)
        {
            Some(kind) => kind.findings.push(entry),
            None => kinds.push(Kind {
                anchor: format!("explained-{}", index + 1),
                explanation,
                findings: vec![entry],
            }),
        }
    }
    kinds
}

fn explanation(report: &Report, finding: &Finding) -> Explanation {
    let check = report.checks.iter().find(|check| check.id == finding.check);
    let innocent = finding.innocent_explanations.iter();
    Explanation {
        check: inert(&finding.check),
        why: check
            .map(|check| words::sentence(&check.why))
            .filter(|why| !why.is_empty()),
        innocent: innocent.map(|text| words::sentence(text)).collect(),
        remedy: words::sentence(&finding.remedy),
    }
}

fn entry(index: usize, finding: &Finding, pictures: &Pictures) -> Entry {
    let measured = finding.measured.as_ref();
    let quantity = |value: Option<f64>| {
        measured.and_then(|m| value.map(|value| words::quantity(value, &inert(&m.unit))))
    };
    let mut phases: Vec<&str> = finding
        .photos
        .iter()
        .filter_map(|path| pictures.photo(path)?.phase.map(Phase::name))
        .collect();
    phases.sort_unstable();
    phases.dedup();
    let shown = pictures.all(&finding.photos);
    Entry {
        anchor: format!("finding-{}", index + 1),
        severity: words::severity(finding.severity),
        area: finding.area.as_deref().map(inert),
        phases: phases.join(" "),
        message: words::sentence(&finding.message),
        value: quantity(measured.and_then(|m| m.value)),
        limit: quantity(measured.and_then(|m| m.limit)),
        marks: marks(finding, &shown),
        pictures: shown,
        waiver_entry: shape::waiver_entry(finding),
        waived: finding.waived.as_ref().map(|waived| {
            (
                inert(&waived.reviewer),
                inert(&waived.reason),
                inert(&waived.until),
            )
        }),
    }
}

/// The regions of a finding in the pixels of its first picture.
fn marks(finding: &Finding, shown: &[Picture]) -> Vec<[f64; 4]> {
    let Some(picture) = shown.first() else {
        return Vec::new();
    };
    let (width, height) = (f64::from(picture.width), f64::from(picture.height));
    let mark = |[left, top, right, bottom]: &[f64; 4]| {
        let [x, y] = [left * width, top * height];
        [x, y, right * width - x, bottom * height - y].map(|side| (side * 10.0).round() / 10.0)
    };
    finding.regions.iter().map(mark).collect()
}

/// Findings of one area: how many of which severity, and where they stand.
#[derive(Debug, Serialize)]
pub(super) struct AreaTally {
    area: String,
    filter: Option<String>,
    counts: Vec<usize>,
    links: Vec<(String, String)>,
}

pub(super) fn tally(report: &Report) -> Vec<AreaTally> {
    let place_of = |finding: &Finding| {
        report
            .findings
            .iter()
            .position(|other| std::ptr::eq(other, finding))
            .unwrap_or_default()
    };
    shape::by_area(report, shape::standing(report))
        .into_iter()
        .map(|(area, findings)| AreaTally {
            area: inert(area),
            filter: (area != shape::WHOLE_JOB).then(|| inert(area)),
            counts: SEVERITIES
                .iter()
                .map(|severity| findings.iter().filter(|f| f.severity == *severity).count())
                .collect(),
            links: findings
                .iter()
                .map(|f| (format!("finding-{}", place_of(f) + 1), inert(&f.check)))
                .collect(),
        })
        .collect()
}
