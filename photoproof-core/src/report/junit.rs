//! `junit.xml` for pipelines: one test suite a job, one test case a check.
//!
//! A check with standing `fail` or `review` findings is a failed case (its type says which); notes and waived
//! findings stand in the case's output. There is no formal standard; the form is the common one.

use quick_junit::{NonSuccessKind, Report as Junit, TestCase, TestCaseStatus, TestSuite};

use crate::judge::finding::Severity;
use crate::report::v1::{Finding, Report};
use crate::report::words::{count, inert_whole};
use crate::report::{shape, words};

/// The report of one job.
#[must_use]
pub fn render(report: &Report) -> String {
    let job = inert_whole(&report.job.id);
    let mut suite = TestSuite::new(job.as_str());
    for (check, info) in shape::checks(report) {
        let findings: Vec<&Finding> = report
            .findings
            .iter()
            .filter(|finding| finding.check == check)
            .collect();
        let mut case = case(check, &findings);
        case.set_classname(job.as_str());
        if let Some(info) = info {
            case.add_property(("summary", info.summary.as_str()));
        }
        suite.add_test_case(case);
    }
    let mut junit = Junit::new("photoproof");
    junit.add_test_suite(suite);
    // Writing to memory cannot fail.
    junit.to_string().unwrap_or_default()
}

fn case(check: &str, findings: &[&Finding]) -> TestCase {
    let standing: Vec<&&Finding> = findings
        .iter()
        .filter(|finding| finding.waived.is_none())
        .collect();
    let worst = standing.iter().map(|finding| finding.severity).max();
    let lines = |keep: &dyn Fn(&Finding) -> bool| -> String {
        let kept = findings.iter().filter(|finding| keep(finding));
        kept.map(|finding| line(finding))
            .collect::<Vec<_>>()
            .join("\n")
    };
    let failed =
        |finding: &Finding| finding.waived.is_none() && finding.severity >= Severity::Review;
    let status = match worst {
        Some(worst) if worst >= Severity::Review => {
            let mut status = TestCaseStatus::non_success(NonSuccessKind::Failure);
            let number = findings.iter().filter(|finding| failed(finding)).count();
            status
                .set_type(words::severity(worst))
                .set_message(count(number, "finding"))
                .set_description(lines(&failed));
            status
        }
        _ => TestCaseStatus::success(),
    };
    let mut case = TestCase::new(check, status);
    let rest = lines(&|finding| !failed(finding));
    if !rest.is_empty() {
        case.set_system_out(rest);
    }
    case
}

/// One finding on one line, fingerprint last.
fn line(finding: &Finding) -> String {
    let area = finding
        .area
        .as_deref()
        .map_or(shape::WHOLE_JOB.into(), inert_whole);
    let photos: Vec<String> = finding
        .photos
        .iter()
        .map(|path| inert_whole(path))
        .collect();
    let waived = match &finding.waived {
        Some(waived) => format!(" (waived by {})", inert_whole(&waived.reviewer)),
        None => String::new(),
    };
    format!(
        "{}{waived}: {area}: {}: {} [{}]",
        words::severity(finding.severity),
        photos.join(", "),
        inert_whole(&finding.message),
        finding.fingerprint
    )
}
