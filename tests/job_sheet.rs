//! Job sheets through the public surface: the sample works, every mistake gets its message.

use std::path::Path;

use photoproof_core::Phase;
use photoproof_core::job::JobSheet;

const SAMPLE: &str = include_str!("../fixtures/job-sheets/good/sample.toml");

fn parse(text: &str) -> Result<JobSheet, String> {
    JobSheet::parse(text, Path::new("job.toml")).map_err(|e| e.to_string())
}

/// The lines of the message about a sheet that must not pass.
fn mistakes(text: &str) -> Vec<String> {
    match parse(text) {
        Ok(sheet) => panic!("passed: {text}\n{sheet:?}"),
        Err(message) => message.lines().map(str::to_owned).collect(),
    }
}

#[test]
fn the_sample_is_read_in_full() {
    let sheet = parse(SAMPLE).unwrap();
    assert_eq!(sheet.id.as_deref(), Some("WB-1187"));
    assert_eq!(sheet.services, ["debris-removal", "initial-cleaning"]);
    assert_eq!(sheet.site.timezone, Some(chrono_tz::America::Chicago));
    assert_eq!(sheet.areas[0].patterns, ["kitchen*", "ktch*"]);
    assert_eq!(sheet.loads[0].photos.any, ["loads/trailer1_*.jpg"]);
    assert_eq!(sheet.claim.hazards[0].count, 2);
    assert_eq!(sheet.phases, Phase::ALL);
    assert!((sheet.limits.max_rotation_deg - 10.0).abs() < 1e-12);
    assert!(sheet.notes.is_empty());
}

#[test]
fn an_empty_sheet_is_valid_and_says_nothing() {
    let sheet = parse("").unwrap();
    assert_eq!(sheet.id, None);
    assert!(sheet.areas.is_empty() && sheet.loads.is_empty() && sheet.phases.is_empty());
    assert_eq!(sheet.site.timezone, None);
}
