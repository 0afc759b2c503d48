//! Questions every writer asks of a report, answered once.

use std::collections::BTreeMap;

use crate::judge::finding::Severity;
use crate::report::v1::{CheckInfo, Finding, Photo, Report};

/// The label of findings that belong to no area.
pub const WHOLE_JOB: &str = "Whole job";

/// Findings that stand (are not waived), in report order.
pub fn standing(report: &Report) -> impl Iterator<Item = &Finding> {
    report
        .findings
        .iter()
        .filter(|finding| finding.waived.is_none())
}

/// Waived findings, in report order.
pub fn waived(report: &Report) -> impl Iterator<Item = &Finding> {
    report
        .findings
        .iter()
        .filter(|finding| finding.waived.is_some())
}

/// How many findings of `severity` stand.
#[must_use]
pub fn standing_of(report: &Report, severity: Severity) -> usize {
    standing(report)
        .filter(|finding| finding.severity == severity)
        .count()
}

/// Areas in the order of the coverage matrix, then those only photos or findings name.
#[must_use]
pub fn areas(report: &Report) -> Vec<&str> {
    let named = report.coverage.iter().map(|cell| cell.area.as_str());
    let others = report
        .photos
        .iter()
        .filter_map(|photo| photo.area.as_deref())
        .chain(
            report
                .findings
                .iter()
                .filter_map(|finding| finding.area.as_deref()),
        );
    let mut seen = Vec::new();
    for area in named.chain(others) {
        if !seen.contains(&area) {
            seen.push(area);
        }
    }
    seen
}

/// `findings` by area: areas in report order, then those of the whole job; order inside an area kept.
pub fn by_area<'a>(
    report: &'a Report,
    findings: impl Iterator<Item = &'a Finding>,
) -> Vec<(&'a str, Vec<&'a Finding>)> {
    let mut groups: Vec<(&str, Vec<&Finding>)> = areas(report)
        .into_iter()
        .map(|area| (area, Vec::new()))
        .collect();
    let mut job = Vec::new();
    for finding in findings {
        let group = finding
            .area
            .as_deref()
            .and_then(|area| groups.iter_mut().find(|(name, _)| *name == area));
        match group {
            Some((_, group)) => group.push(finding),
            None => job.push(finding),
        }
    }
    groups.push((WHOLE_JOB, job));
    groups.retain(|(_, findings)| !findings.is_empty());
    groups
}

/// Photos by path.
#[must_use]
pub fn photos_by_path(report: &Report) -> BTreeMap<&str, &Photo> {
    report
        .photos
        .iter()
        .map(|photo| (photo.path.as_str(), photo))
        .collect()
}

/// What the checks are about: those the report lists, and bare entries for any other a finding names.
#[must_use]
pub fn checks(report: &Report) -> BTreeMap<&str, Option<&CheckInfo>> {
    let named = report
        .findings
        .iter()
        .map(|finding| (finding.check.as_str(), None));
    let listed = report
        .checks
        .iter()
        .map(|check| (check.id.as_str(), Some(check)));
    named.chain(listed).collect()
}

/// A waiver entry for `finding`, ready to paste into `waivers.toml`; who, why and until are left to fill in.
#[must_use]
pub fn waiver_entry(finding: &Finding) -> String {
    let mut entry = format!("[[waiver]]\ncheck = {}\n", toml_text(&finding.check));
    let photos: Vec<String> = finding.photos.iter().map(|path| toml_text(path)).collect();
    match (&finding.area, photos.is_empty()) {
        (_, false) => entry.push_str(&format!("photos = [{}]\n", photos.join(", "))),
        (Some(area), true) => entry.push_str(&format!("area = {}\n", toml_text(area))),
        (None, true) => entry.push_str("whole_job = true\n"),
    }
    entry.push_str("who = \"\"    # your name\nwhy = \"\"    # what makes it acceptable\n");
    entry.push_str("until =     # last day it holds, as 2026-12-31\n");
    entry
}

/// `text` as a TOML basic string on one line; whatever is not plainly visible is escaped.
fn toml_text(text: &str) -> String {
    let mut out = String::from("\"");
    for c in text.chars() {
        match c {
            '"' | '\\' => out.extend(['\\', c]),
            c if crate::report::words::acts(c) => {
                out.push_str(&format!("\\U{:08X}", u32::from(c)));
            }
            c => out.push(c),
        }
    }
    out.push('"');
    out
}

/// The severities of the standing findings that name a photo, by path, each once.
#[must_use]
pub fn severities_by_photo(report: &Report) -> BTreeMap<&str, Vec<&'static str>> {
    let mut by_photo: BTreeMap<&str, Vec<&'static str>> = BTreeMap::new();
    for finding in standing(report) {
        let name = crate::report::words::severity(finding.severity);
        for path in &finding.photos {
            let names = by_photo.entry(path).or_default();
            if !names.contains(&name) {
                names.push(name);
            }
        }
    }
    by_photo
}
