//! Evidence to [`Judgement`]: the only stage that reads limits. One file per check in `checks/`.

pub mod checks;
pub mod evidence;
pub mod finding;
pub mod gaps;
pub mod meta;
#[cfg(test)]
mod order_tests;
pub mod owed_shots;
mod own_photo;
pub mod registry;
mod together;
pub mod waiver;

pub use evidence::Evidence;
pub use finding::{Finding, Measurement, Outcome, Retake, Severity};
pub use meta::{CheckMeta, Status};
pub use registry::CHECKS;
pub use waiver::{Reach, Subject, Waiver, WaiverSet};

use chrono::NaiveDate;
use waiver::Known;

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
    let mut judgement = Judgement { findings };
    judgement.sort(evidence);
    judgement
}

impl Judgement {
    /// Report order: severity, area, check, photos.
    fn sort(&mut self, evidence: &Evidence<'_>) {
        let area_rank = |finding: &Finding| {
            let area = finding.area.as_ref()?;
            evidence
                .grouped
                .areas
                .iter()
                .position(|known| known == area)
        };
        self.findings.sort_by_key(|finding| {
            (
                std::cmp::Reverse(finding.severity),
                area_rank(finding),
                registry::position(finding.check),
                finding.photos.clone(),
                finding.files.clone(),
            )
        });
    }

    /// Applies waivers as of `today`. Waived findings stay and carry their waiver; waivers that accept nothing
    /// become findings themselves.
    pub fn waive(&mut self, evidence: &Evidence<'_>, waivers: &WaiverSet, today: NaiveDate) {
        let paths: Vec<Vec<&str>> = self
            .findings
            .iter()
            .map(|finding| {
                let photos = finding
                    .photos
                    .iter()
                    .map(|&id| evidence.photo(id).path.as_str());
                photos
                    .chain(finding.files.iter().map(String::as_str))
                    .collect()
            })
            .collect();
        let subjects: Vec<Subject<'_>> = self
            .findings
            .iter()
            .zip(&paths)
            .map(|(finding, photos)| Subject {
                check: finding.check,
                area: finding.area.as_deref(),
                photos,
            })
            .collect();
        let known = Known {
            checks: CHECKS.iter().map(|check| check.meta().id).collect(),
            areas: evidence.grouped.areas.iter().map(String::as_str).collect(),
            photos: (evidence
                .intake
                .photos
                .iter()
                .map(|photo| photo.path.as_str()))
            .chain(
                evidence
                    .intake
                    .rejected
                    .iter()
                    .map(|file| file.path.as_str()),
            )
            .collect(),
        };
        let applied = waivers.apply(today, &subjects, &known);
        for (finding, accepted) in self.findings.iter_mut().zip(applied.accepted) {
            finding.waived = accepted.and_then(|index| waivers.waivers.get(index).cloned());
        }
        let idle = applied.idle.iter().filter_map(|(index, idle)| {
            Some(checks::idle_waiver::finding(
                waivers.waivers.get(*index)?,
                idle,
            ))
        });
        self.findings.extend(idle);
        self.sort(evidence);
    }
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
