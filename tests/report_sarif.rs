//! `findings.sarif`: agreement with the report, the published schema, the parts the standard asks for.

#[cfg(test)]
#[path = "support/reports.rs"]
mod reports;

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use photoproof_core::judge::finding::Severity;
    use photoproof_core::report::sarif;
    use photoproof_core::report::v1::Report;
    use serde_json::Value;

    use super::reports;

    fn all() -> Vec<Report> {
        vec![
            reports::clean(),
            reports::flawed(),
            reports::hostile(),
            reports::large(20),
        ]
    }

    /// (check, fingerprint) of every finding with its severity, waived ones apart.
    fn ids(report: &Report) -> BTreeMap<String, (String, bool)> {
        let entry = |f: &photoproof_core::report::v1::Finding| {
            (f.fingerprint.clone(), (f.check.clone(), f.waived.is_some()))
        };
        report.findings.iter().map(entry).collect()
    }

    #[test]
    fn sarif_agrees_with_the_report() {
        for report in all() {
            let log: Value = serde_json::from_str(&sarif::render(&report)).unwrap();
            let results = log["runs"][0]["results"].as_array().unwrap();
            let found: BTreeMap<String, (String, bool)> = results
                .iter()
                .map(|r| {
                    let id = r["partialFingerprints"]["photoproof/v1"].as_str().unwrap();
                    let check = r["ruleId"].as_str().unwrap();
                    (
                        id.to_owned(),
                        (check.to_owned(), r.get("suppressions").is_some()),
                    )
                })
                .collect();
            assert_eq!(found, ids(&report));
            let kinds = |kind| results.iter().filter(|r| r["kind"] == kind).count();
            let of = |s| report.findings.iter().filter(|f| f.severity == s).count();
            assert_eq!(kinds("fail"), of(Severity::Fail));
            assert_eq!(kinds("review"), of(Severity::Review));
            assert_eq!(kinds("informational"), of(Severity::Note));
        }
    }

    #[test]
    fn sarif_is_valid_against_the_published_schema() {
        let path = concat!(
            env!("CARGO_MANIFEST_DIR"),
            "/../fixtures/reports/sarif-schema-2.1.0.json"
        );
        let schema: Value = serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap();
        let validator = jsonschema::validator_for(&schema).unwrap();
        for report in all() {
            let mut log: Value = serde_json::from_str(&sarif::render(&report)).unwrap();
            let faults: Vec<String> = validator
                .iter_errors(&log)
                .map(|e| format!("{}: {e}", e.instance_path()))
                .collect();
            assert!(faults.is_empty(), "{faults:#?}");
            log["runs"][0]["tool"]["driver"]["name"] = Value::Null;
            assert!(
                !validator.is_valid(&log),
                "the schema asks for the tool's name"
            );
        }
    }

    /// SARIF 2.1.0 by section: 3.13 log, 3.14 run, 3.18-3.19 tool, 3.27 result, 3.28 location,
    /// 3.29 physicalLocation, 3.24 artifact, 3.35 suppression, 3.49 reportingDescriptor.
    #[test]
    fn sarif_has_the_parts_the_standard_asks_for() {
        for report in all() {
            let log: Value = serde_json::from_str(&sarif::render(&report)).unwrap();
            assert_eq!(log["version"], "2.1.0", "3.13.2");
            let run = &log["runs"][0];
            assert_eq!(run["tool"]["driver"]["name"], "photoproof", "3.19.8");
            let rules = run["tool"]["driver"]["rules"].as_array().unwrap();
            let artifacts = run["artifacts"].as_array().unwrap();
            for result in run["results"].as_array().unwrap() {
                let rule = result["ruleIndex"].as_u64().unwrap() as usize;
                assert_eq!(rules[rule]["id"], result["ruleId"], "3.27.6");
                assert!(result["message"]["text"].is_string(), "3.27.11");
                let level = if result["kind"] == "fail" {
                    "error"
                } else {
                    "none"
                };
                assert_eq!(result["level"], level, "3.27.10");
                assert!(
                    result["locations"].as_array().unwrap().len() <= 1,
                    "3.27.12"
                );
                let related = result["relatedLocations"].as_array().unwrap();
                for location in result["locations"]
                    .as_array()
                    .unwrap()
                    .iter()
                    .chain(related)
                {
                    let artifact = &location["physicalLocation"]["artifactLocation"];
                    let index = artifact["index"].as_u64().unwrap() as usize;
                    assert_eq!(
                        artifacts[index]["location"]["uri"], artifact["uri"],
                        "3.4.5"
                    );
                }
                for suppression in result["suppressions"].as_array().into_iter().flatten() {
                    assert_eq!(suppression["kind"], "external", "3.35.2");
                }
            }
            for artifact in artifacts {
                let uri = artifact["location"]["uri"].as_str().unwrap();
                assert!(
                    uri.bytes()
                        .all(|b| b.is_ascii_graphic() && !b"<>\"{}|\\^`".contains(&b)),
                    "RFC 3986: {uri}"
                );
            }
        }
    }
}
