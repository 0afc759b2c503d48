//! A job whose every foreign text is meant to act.

use std::collections::BTreeMap;

use photoproof_core::report::v1::*;

use super::flawed;

/// Text meant to act: markup, quotes, formulas, controls, reading-direction marks, kilobytes.
pub(crate) const HOSTILE: [&str; 8] = [
    "<script>alert(1)</script>",
    "\"><img src=x onerror=alert(1)>",
    "'; DROP TABLE photos; --",
    "=HYPERLINK(\"https://example.invalid\",\"x\")",
    "\u{1b}[2J\u{1b}]0;title\u{7}",
    "photo\u{202e}gpj.exe",
    "line\nbreak\r\tand\u{2028}more\u{0}",
    "{{ 7*7 }} {% raw %} ]]> --> </style></svg> &lt;",
];

/// A report in which every foreign text is hostile.
pub(crate) fn hostile() -> Report {
    let mut report = flawed();
    let texts = HOSTILE
        .map(String::from)
        .into_iter()
        .chain([format!("x{}", "long ".repeat(820))]);
    let texts: Vec<String> = texts.collect();
    let text = |index: usize| texts[index % texts.len()].clone();
    let mut renamed = BTreeMap::new();
    for (index, photo) in report.photos.iter_mut().enumerate() {
        let name = format!("{}-{index}.jpg", text(index));
        renamed.insert(std::mem::replace(&mut photo.path, name.clone()), name);
        photo.area = Some(text(index));
        photo.caption = Some(text(index + 1));
        photo.camera.make = Some(text(index + 2));
        photo.software = Some(text(index + 3));
        photo.problems = vec![text(index + 4)];
        photo.stamp = Some(Stamp {
            text: text(index),
            time: None,
        });
    }
    rename_findings(&mut report.findings, &renamed, &texts);
    for (index, retake) in report.retakes.iter_mut().enumerate() {
        retake.instruction = text(index);
        retake.like = retake
            .like
            .as_ref()
            .map(|path| renamed.get(path).cloned().unwrap_or_default());
    }
    for (index, set) in report.view_sets.iter_mut().enumerate() {
        set.id = text(index);
        set.area = Some(text(index));
    }
    rename_job(&mut report, &texts);
    report
}

fn rename_findings(findings: &mut [Finding], renamed: &BTreeMap<String, String>, texts: &[String]) {
    let text = |index: usize| texts[index % texts.len()].clone();
    for (index, finding) in findings.iter_mut().enumerate() {
        finding.area = Some(text(index));
        finding.message = text(index);
        finding.remedy = text(index + 1);
        finding.innocent_explanations = vec![text(index + 2)];
        for path in &mut finding.photos {
            if let Some(name) = renamed.get(path) {
                path.clone_from(name);
            }
        }
        if let Some(waived) = &mut finding.waived {
            *waived = Waived {
                reviewer: text(0),
                reason: text(3),
                until: text(4),
            };
        }
    }
}

fn rename_job(report: &mut Report, texts: &[String]) {
    let text = |index: usize| texts[index % texts.len()].clone();
    report.job.id = text(0);
    report.job.vendor = Some(text(3));
    report.job.address = Some(text(5));
    report.summary = texts.to_vec();
    report.ignored = texts
        .iter()
        .map(|t| Unreadable {
            path: t.clone(),
            reason: t.clone(),
        })
        .collect();
    for load in &mut report.debris.loads {
        load.name = text(3);
        load.working = text(4);
    }
}
