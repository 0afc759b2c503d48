//! Evidence to [`Judgement`]: the only stage that reads limits. One file per check in `checks/`.

pub mod checks;
pub mod evidence;
pub mod finding;
pub mod gaps;
pub mod meta;
pub mod registry;
pub mod waiver;

pub use evidence::Evidence;
pub use finding::{Finding, Measurement, Outcome, Retake, Severity};
pub use meta::{CheckMeta, Status};
pub use registry::CHECKS;

/// A rule with an id. It looks at the evidence and speaks; it filters and remembers nothing.
pub trait Check: Sync {
    /// Identity and documentation.
    fn meta(&self) -> &'static CheckMeta;
    /// Instances of the defect in this job.
    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding>;
}

/// The verdict on one job.
#[derive(Debug, Clone)]
#[non_exhaustive]
pub struct Judgement {
    /// Findings in report order.
    pub findings: Vec<Finding>,
}

/// Runs every check. Findings of checks on trial are notes.
#[must_use]
pub fn judge(evidence: &Evidence<'_>) -> Judgement {
    let mut findings = Vec::new();
    for check in CHECKS {
        let trial = matches!(check.meta().status, Status::Preview { .. });
        findings.extend(check.run(evidence).into_iter().map(|finding| {
            if trial {
                finding.at_most(Severity::Note)
            } else {
                finding
            }
        }));
    }
    let area_rank = |finding: &Finding| {
        let area = finding.area.as_ref()?;
        evidence
            .grouped
            .areas
            .iter()
            .position(|known| known == area)
    };
    findings.sort_by_key(|finding| {
        (
            std::cmp::Reverse(finding.severity),
            area_rank(finding),
            registry::position(finding.check),
            finding.photos.clone(),
            finding.files.clone(),
        )
    });
    Judgement { findings }
}

/// The outcome of the given severities: the highest counts.
#[must_use]
pub fn outcome(severities: impl IntoIterator<Item = Severity>) -> Outcome {
    match severities.into_iter().max() {
        Some(Severity::Fail) => Outcome::Fail,
        Some(Severity::Review) => Outcome::Review,
        Some(Severity::Note) | None => Outcome::Pass,
    }
}
