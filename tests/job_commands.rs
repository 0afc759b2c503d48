//! The commands that read a job sheet alone: `shots`, `volume`, `explain scope`.

use std::path::{Path, PathBuf};
use std::process::Command;

fn sheets() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../fixtures/job-sheets")
}

/// Exit code, stdout and stderr.
#[cfg(test)]
fn run(args: &[&str]) -> (i32, String, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_photoproof"))
        .args(args)
        .current_dir(sheets())
        .output()
        .unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    (
        output.status.code().unwrap(),
        text(output.stdout),
        text(output.stderr),
    )
}

#[test]
fn shots_in_three_formats() {
    let (code, text, errors) = run(&["shots", "good/three-bedroom.toml"]);
    assert_eq!((code, errors.as_str()), (0, ""));
    assert!(text.starts_with("SHOT LIST PL-2043\n"), "{text}");
    assert!(text.contains("Bath 2 (bathroom)"));
    let (code, json, _) = run(&["shots", "good/three-bedroom.toml", "--format", "json"]);
    let json: serde_json::Value = serde_json::from_str(&json).unwrap();
    assert_eq!((code, &json["job"]["id"]), (0, &"PL-2043".into()));
    let (code, html, _) = run(&["shots", "good/three-bedroom.toml", "--format", "html"]);
    assert_eq!(code, 0);
    assert!(html.starts_with("<!doctype html>") && html.contains("type=\"checkbox\""));
}

/// A profile is printed to be copied: what comes out is a profile that a job sheet may name.
#[test]
fn a_built_in_profile_is_printed_to_copy() {
    for service in ["debris-removal", "initial-cleaning"] {
        let (code, text, errors) = run(&["explain", "scope", "--profile", service]);
        assert_eq!((code, errors.as_str()), (0, ""));
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("own.toml"), &text).unwrap();
        let sheet = folder.path().join("job.toml");
        std::fs::write(&sheet, "[scope]\nprofile = \"own.toml\"\n").unwrap();
        let sheet = photoproof_core::job::JobSheet::read(&sheet).unwrap();
        assert!(sheet.scope.profiles.iter().any(|p| p.service == service));
        assert!(
            sheet.scope.require_shots,
            "a named profile asks for its shots"
        );
    }
    let (code, _, errors) = run(&["explain", "scope", "--profile", "roofing"]);
    assert_eq!(code, 2);
    assert!(
        errors.contains("debris-removal, initial-cleaning"),
        "{errors}"
    );
    let (code, _, errors) = run(&["explain", "missing-area", "--profile", "debris-removal"]);
    assert_eq!(code, 2);
    assert!(errors.contains("explain scope"), "{errors}");
}

#[test]
fn volume_prints_the_working_and_names_globs_without_photos() {
    let (code, text, errors) = run(&["volume", "good/sample.toml"]);
    assert_eq!(code, 0);
    assert!(
        text.contains("16 x 7.5 x 4.5 = 540 ft3; / 27 = 20 yd3; fill x 1 = 20.00 yd3"),
        "{text}"
    );
    assert!(
        errors.contains("warning: `loads/trailer1_*.jpg` of load Trailer 1 matches none"),
        "{errors}"
    );
    let (code, json, _) = run(&["volume", "good/metric.toml", "--format", "json"]);
    let json: serde_json::Value = serde_json::from_str(&json).unwrap();
    assert_eq!(code, 0);
    // 4.9 x 2.3 x 1.4 m = 15.778 m3 = 20.6369 yd3; x 0.85 x 0.9 x 0.5 = 7.8936, printed to one decimal
    assert_eq!(json["loads"][0]["cubic_yards"], 7.9);
    assert_eq!(json["documented"], 0.0);
}

#[test]
fn photos_beside_the_sheet_evidence_its_loads() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::create_dir(folder.path().join("loads")).unwrap();
    std::fs::write(folder.path().join("loads/trailer1_full.jpg"), b"not opened").unwrap();
    let sheet = folder.path().join("job.toml");
    std::fs::copy(sheets().join("good/sample.toml"), &sheet).unwrap();
    let (code, json, errors) = run(&["volume", sheet.to_str().unwrap(), "--format", "json"]);
    let json: serde_json::Value = serde_json::from_str(&json).unwrap();
    assert_eq!((code, errors.as_str()), (0, ""));
    assert_eq!(json["loads"][0]["evidenced"], true);
    assert_eq!(json["difference"], 0.0);
}

#[test]
fn an_invalid_sheet_ends_with_2_and_all_its_mistakes() {
    for command in ["shots", "volume"] {
        let (code, text, errors) = run(&[command, "bad/twenty.toml"]);
        assert_eq!((code, text.as_str()), (2, ""));
        assert_eq!(errors.lines().count(), 20, "{errors}");
        assert!(
            errors
                .lines()
                .all(|l| l.starts_with("photoproof: error: bad/twenty.toml:"))
        );
    }
    let (code, _, errors) = run(&["shots", "good/nowhere.toml"]);
    assert_eq!(code, 2);
    assert!(errors.contains("does not exist"), "{errors}");
}

#[test]
fn the_scope_is_explained() {
    let (code, text, _) = run(&["explain", "scope"]);
    assert_eq!(code, 0);
    assert!(text.contains("bathroom.freshener") && text.contains("[[load]]"));
}
