//! `findings.sarif`: SARIF 2.1.0 (OASIS, errata 01 of 28 August 2023).
//!
//! `fail` findings are results of kind `fail` and level `error`; `review` findings are of kind `review` and
//! notes of kind `informational`, both with level `none`, as section 3.27.10 asks for every kind but `fail`.

use std::collections::BTreeMap;

use serde_json::{Value, json};

use crate::judge::finding::Severity;
use crate::report::v1::{Finding, Report};
use crate::report::words::inert_whole;
use crate::report::{json, shape, words};

/// Address of the published schema; named in the file, never fetched.
const SCHEMA: &str =
    "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json";

/// Name of the fingerprint in `partialFingerprints`.
const FINGERPRINT: &str = "photoproof/v1";

/// The findings as one SARIF run.
#[must_use]
pub fn render(report: &Report) -> String {
    let files = files(report);
    let index: BTreeMap<&str, usize> = files
        .iter()
        .enumerate()
        .map(|(index, (path, _))| (*path, index))
        .collect();
    let checks = shape::checks(report);
    let rules: Vec<Value> = checks.iter().map(|(id, info)| rule(id, *info)).collect();
    let rule_index: BTreeMap<&str, usize> = checks
        .keys()
        .enumerate()
        .map(|(index, id)| (*id, index))
        .collect();
    let results: Vec<Value> = report
        .findings
        .iter()
        .map(|finding| result(finding, &rule_index, &index))
        .collect();
    let artifacts: Vec<Value> = files
        .iter()
        .map(|(path, sha)| artifact(path, *sha))
        .collect();
    let run = json!({
        "tool": { "driver": {
            "name": "photoproof",
            "version": report.tool_version,
            "rules": rules,
        }},
        "automationDetails": { "id": format!("photoproof/{}", inert_whole(&report.job.id)) },
        "columnKind": "unicodeCodePoints",
        "artifacts": artifacts,
        "results": results,
        "properties": { "outcome": words::outcome(report.outcome) },
    });
    json::render_value(&json!({ "$schema": SCHEMA, "version": "2.1.0", "runs": [run] }))
}

/// Photos with their SHA-256, then every other file a finding names.
fn files(report: &Report) -> Vec<(&str, Option<&str>)> {
    let mut files: BTreeMap<&str, Option<&str>> = report
        .findings
        .iter()
        .flat_map(|finding| &finding.photos)
        .map(|path| (path.as_str(), None))
        .collect();
    files.extend(
        report
            .photos
            .iter()
            .map(|photo| (photo.path.as_str(), Some(photo.sha256.as_str()))),
    );
    files.into_iter().collect()
}

fn artifact(path: &str, sha256: Option<&str>) -> Value {
    let mut artifact = json!({ "location": { "uri": uri(path) } });
    if let (Some(sha256), Some(members)) = (sha256, artifact.as_object_mut()) {
        members.insert("hashes".into(), json!({ "sha-256": sha256 }));
    }
    artifact
}

fn rule(id: &str, info: Option<&crate::report::v1::CheckInfo>) -> Value {
    let mut rule = json!({ "id": id });
    if let (Some(info), Some(members)) = (info, rule.as_object_mut()) {
        members.insert("shortDescription".into(), json!({ "text": info.summary }));
        members.insert("fullDescription".into(), json!({ "text": info.why }));
    }
    rule
}

fn result(
    finding: &Finding,
    rules: &BTreeMap<&str, usize>,
    files: &BTreeMap<&str, usize>,
) -> Value {
    let (kind, level) = match finding.severity {
        Severity::Fail => ("fail", "error"),
        Severity::Review => ("review", "none"),
        Severity::Note => ("informational", "none"),
    };
    let locations: Vec<Value> = finding
        .photos
        .iter()
        .map(|path| location(path, files))
        .collect();
    let (primary, related) = locations.split_at(locations.len().min(1));
    let mut result = json!({
        "ruleId": finding.check,
        "kind": kind,
        "level": level,
        "message": { "text": inert_whole(&finding.message) },
        "locations": primary,
        "relatedLocations": numbered(related),
        "partialFingerprints": { FINGERPRINT: finding.fingerprint },
        "properties": {
            "severity": words::severity(finding.severity),
            "area": finding.area.as_deref().map(inert_whole),
            "measured": finding.measured,
            "remedy": inert_whole(&finding.remedy),
            "innocent_explanations": finding.innocent_explanations,
        },
    });
    if let Some(members) = result.as_object_mut() {
        if let Some(index) = rules.get(finding.check.as_str()) {
            members.insert("ruleIndex".into(), json!(index));
        }
        if let Some(waived) = &finding.waived {
            let by = format!(
                "{}, until {}: {}",
                inert_whole(&waived.reviewer),
                inert_whole(&waived.until),
                inert_whole(&waived.reason)
            );
            let suppression =
                json!({ "kind": "external", "status": "accepted", "justification": by });
            members.insert("suppressions".into(), json!([suppression]));
        }
    }
    result
}

fn location(path: &str, files: &BTreeMap<&str, usize>) -> Value {
    let mut artifact = json!({ "uri": uri(path) });
    if let (Some(index), Some(members)) = (files.get(path), artifact.as_object_mut()) {
        members.insert("index".into(), json!(index));
    }
    json!({ "physicalLocation": { "artifactLocation": artifact } })
}

fn numbered(locations: &[Value]) -> Vec<Value> {
    let number = |(index, location): (usize, &Value)| {
        let mut location = location.clone();
        if let Some(members) = location.as_object_mut() {
            members.insert("id".into(), json!(index + 1));
        }
        location
    };
    locations.iter().enumerate().map(number).collect()
}

/// A relative path as a relative URI reference (RFC 3986): everything but unreserved characters and `/`
/// percent-encoded.
pub(crate) fn uri(path: &str) -> String {
    let mut out = String::with_capacity(path.len());
    for byte in path.bytes() {
        match byte {
            b'A'..=b'Z' | b'a'..=b'z' | b'0'..=b'9' | b'-' | b'.' | b'_' | b'~' | b'/' => {
                out.push(char::from(byte));
            }
            byte => out.push_str(&format!("%{byte:02X}")),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    #[test]
    fn paths_become_uri_references() {
        assert_eq!(
            super::uri("Bath 1/a%b\u{fc}.jpg"),
            "Bath%201/a%25b%C3%BC.jpg"
        );
        assert_eq!(super::uri("x:y.jpg"), "x%3Ay.jpg");
    }
}
