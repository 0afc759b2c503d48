//! [`JobResult`] to [`v1::Report`]: names for ids, text for types. Decides nothing.

pub mod pair;
pub mod photo;
mod summary;
mod timeline;

use std::collections::BTreeMap;

use sha2::{Digest, Sha256};

use crate::group::{CopyPair, CoverageCell, Original, ViewSet};
use crate::hex::hex;
use crate::ingest::PhotoId;
use crate::judge::{CHECKS, Finding, Judgement, Severity, outcome};
use crate::phase::Phase;
use crate::pipeline::JobResult;
use crate::report::v1;
use crate::scope::walking_rank;

/// Builds the report of one job. `name` stands in for a missing job id (the folder's name).
#[must_use]
pub fn report(result: &JobResult, name: &str) -> v1::Report {
    let names = Names(result);
    let (intake, grouped) = (&result.intake, &result.grouped);
    let findings: Vec<v1::Finding> = result
        .judgement
        .findings
        .iter()
        .map(|finding| names.finding(finding))
        .collect();
    let open = findings.iter().filter(|finding| finding.waived.is_none());
    let outcome = outcome(open.map(|finding| finding.severity));
    let retakes = names.retakes(&result.judgement);
    let counts = counts(result, &findings);
    let file = |path: &str, reason: &str| v1::Unreadable {
        path: path.to_owned(),
        reason: reason.to_owned(),
    };
    v1::Report {
        schema: v1::SCHEMA.to_owned(),
        tool_version: env!("CARGO_PKG_VERSION").to_owned(),
        job: job(result, name),
        outcome,
        summary: summary::sentences(&counts, outcome, &findings, &retakes),
        counts,
        photos: (0..intake.photos.len())
            .map(|index| names.photo(PhotoId(index)))
            .collect(),
        unreadable: intake
            .rejected
            .iter()
            .map(|r| file(&r.path, &r.reason))
            .collect(),
        ignored: intake
            .ignored
            .iter()
            .map(|i| file(&i.path, &i.reason))
            .collect(),
        timeline: timeline::timeline(result),
        view_sets: grouped
            .view_sets
            .iter()
            .map(|set| names.view_set(set))
            .collect(),
        coverage: grouped.coverage.iter().map(coverage).collect(),
        copies: grouped.copies.iter().map(|copy| names.copy(copy)).collect(),
        debris: v1::Debris::from(&grouped.debris),
        findings,
        retakes,
        limits: result.sheet.limits.clone(),
        checks: checks(),
    }
}

fn counts(result: &JobResult, findings: &[v1::Finding]) -> v1::Counts {
    let mut by_severity = BTreeMap::from([
        (Severity::Note, 0),
        (Severity::Review, 0),
        (Severity::Fail, 0),
    ]);
    for finding in findings.iter().filter(|finding| finding.waived.is_none()) {
        *by_severity.entry(finding.severity).or_default() += 1;
    }
    v1::Counts {
        photos: result.intake.photos.len(),
        unreadable: result.intake.rejected.len(),
        view_sets: result.grouped.view_sets.len(),
        findings: by_severity,
        waived: findings
            .iter()
            .filter(|finding| finding.waived.is_some())
            .count(),
    }
}

fn coverage(cell: &CoverageCell) -> v1::Coverage {
    v1::Coverage {
        area: cell.area.clone(),
        phase: cell.phase,
        required: cell.required,
        photos: cell.photos,
    }
}

/// Every check, by id.
fn checks() -> Vec<v1::CheckInfo> {
    let mut rows: Vec<v1::CheckInfo> = CHECKS
        .iter()
        .map(|check| check.meta())
        .map(|meta| v1::CheckInfo {
            id: meta.id.to_owned(),
            summary: meta.summary.to_owned(),
            why: meta.why.to_owned(),
        })
        .collect();
    rows.sort_by(|x, y| x.id.cmp(&y.id));
    rows
}

fn job(result: &JobResult, name: &str) -> v1::Job {
    let (sheet, site) = (&result.sheet, &result.sheet.site);
    let zone = result.grouped.zone;
    v1::Job {
        id: sheet.id.clone().unwrap_or_else(|| name.to_owned()),
        vendor: sheet.vendor.clone(),
        services: sheet.services.clone(),
        address: site.address.clone(),
        latitude: site.latitude,
        longitude: site.longitude,
        timezone: zone.map(|zone| zone.zone.name().to_owned()),
        window_start: sheet.window.map(|window| timeline::civil(window.start)),
        window_end: sheet.window.map(|window| timeline::civil(window.end)),
        has_job_sheet: result.has_sheet,
    }
}

/// Turns ids into names.
struct Names<'a>(&'a JobResult);

impl Names<'_> {
    fn path(&self, id: PhotoId) -> String {
        self.0.intake.photos[id.0].path.clone()
    }

    fn paths(&self, ids: &[PhotoId]) -> Vec<String> {
        ids.iter().map(|&id| self.path(id)).collect()
    }

    fn photo(&self, id: PhotoId) -> v1::Photo {
        let result = self.0;
        let mut row = photo::photo(
            &result.intake.photos[id.0],
            &result.grouped.labels[id.0],
            &result.measures.facts()[id.0].quality,
        );
        let moment = result.grouped.moments.get(id.0).copied().flatten();
        row.site_time = moment.map(|moment| timeline::civil(moment.civil));
        row
    }

    fn view_set(&self, set: &ViewSet) -> v1::ViewSet {
        let mut pairs = Vec::new();
        let mut add = |x: PhotoId, y: PhotoId| {
            if let Some(pair) = self.0.grouped.pair(x, y) {
                pairs.push(self.pair(pair));
            }
        };
        for (first, second) in [
            (Phase::Before, Phase::During),
            (Phase::Before, Phase::After),
            (Phase::During, Phase::After),
        ] {
            for &x in set.of(first) {
                for &y in set.of(second) {
                    add(x, y);
                }
            }
        }
        for attempt in &set.attempts {
            add(attempt.anchor, attempt.photo);
        }
        v1::ViewSet {
            id: set.id.clone(),
            area: set.area.clone(),
            photos: v1::PhasePaths {
                before: self.paths(&set.before),
                during: self.paths(&set.during),
                after: self.paths(&set.after),
            },
            attempts: set
                .attempts
                .iter()
                .map(|attempt| v1::Attempt {
                    photo: self.path(attempt.photo),
                    phase: attempt.phase,
                    like: self.path(attempt.anchor),
                })
                .collect(),
            pairs,
        }
    }

    fn pair(&self, pair: &crate::group::Pair) -> v1::Pair {
        let copy = self.0.grouped.copies.iter().find(|copy| {
            (copy.photo == pair.a && copy.original == Original::InJob(pair.b))
                || (copy.photo == pair.b && copy.original == Original::InJob(pair.a))
        });
        let (a, b) = (
            self.0.measures.facts()[pair.a.0].frame,
            self.0.measures.facts()[pair.b.0].frame,
        );
        let mut row = pair::pair(
            &pair::Named {
                path: &self.path(pair.a),
                frame: a,
            },
            &pair::Named {
                path: &self.path(pair.b),
                frame: b,
            },
            &pair.viewpoint,
            copy.map(|copy| &copy.measure),
            &self.0.sheet.limits,
        );
        row.change = self
            .0
            .grouped
            .change(pair.a, pair.b)
            .map(|changed| pair::change(&changed.change));
        row
    }

    fn copy(&self, copy: &CopyPair) -> v1::Copy {
        let (a, scope, other_job) = match &copy.original {
            Original::InJob(id) => (self.path(*id), "job", None),
            Original::InLedger { job, path } => (path.clone(), "ledger", Some(job.clone())),
        };
        v1::Copy {
            a,
            b: self.path(copy.photo),
            kind: pair::copy_name(Some(&copy.measure)).to_owned(),
            scope: scope.to_owned(),
            other_job,
            detail: copy
                .measure
                .is_edit()
                .then(|| pair::copy_detail(&copy.measure)),
        }
    }

    fn finding(&self, finding: &Finding) -> v1::Finding {
        let mut photos = self.paths(&finding.photos);
        photos.extend(finding.files.iter().cloned());
        v1::Finding {
            check: finding.check.to_owned(),
            severity: finding.severity,
            area: finding.area.clone(),
            fingerprint: fingerprint(finding, &photos),
            photos,
            message: finding.message.clone(),
            regions: finding
                .regions
                .iter()
                .map(|region| region.map(|edge| photo::rounded(edge, 3)))
                .collect(),
            measured: finding.measured.clone(),
            remedy: finding.remedy.clone(),
            innocent_explanations: finding.innocent_explanations.clone(),
            waived: finding.waived.as_ref().map(|waiver| v1::Waived {
                reviewer: waiver.who.clone(),
                reason: waiver.why.clone(),
                until: waiver.until.to_string(),
            }),
        }
    }

    /// One retake for each photo to shoot, in walking order; several checks may ask for the same one.
    fn retakes(&self, judgement: &Judgement) -> Vec<v1::Retake> {
        let mut rows: BTreeMap<RetakeKey, v1::Retake> = BTreeMap::new();
        for finding in judgement
            .findings
            .iter()
            .filter(|finding| finding.waived.is_none())
        {
            let Some(retake) = &finding.retake else {
                continue;
            };
            let rank = retake.area.as_ref().and_then(|area| {
                let index = self
                    .0
                    .grouped
                    .areas
                    .iter()
                    .position(|known| known == area)?;
                Some((walking_rank(&self.0.sheet, area), index))
            });
            let key = RetakeKey {
                area: rank.unwrap_or((u32::MAX, usize::MAX)),
                phase: retake.phase,
                subject: retake.replaces.or(retake.like),
                file: finding.files.first().cloned(),
                topic: match retake.replaces {
                    Some(_) => None,
                    None => finding.subject.clone(),
                },
            };
            let row = rows.entry(key).or_insert_with(|| v1::Retake {
                area: retake.area.clone(),
                phase: retake.phase,
                view_set: retake.view_set.clone(),
                like: retake.like.map(|id| self.path(id)),
                replaces: retake.replaces.map(|id| self.path(id)),
                instruction: retake.instruction.clone(),
                checks: Vec::new(),
            });
            if !row.checks.iter().any(|check| check == finding.check) {
                row.checks.push(finding.check.to_owned());
            }
        }
        rows.into_values().collect()
    }
}

#[derive(Debug, PartialEq, Eq, PartialOrd, Ord)]
struct RetakeKey {
    area: (u32, usize),
    phase: Option<Phase>,
    subject: Option<PhotoId>,
    file: Option<String>,
    topic: Option<String>,
}

/// Identity of a finding over runs: check, area and photos; numbers may change, the finding stays.
fn fingerprint(finding: &Finding, photos: &[String]) -> String {
    let mut hash = Sha256::new();
    let area = finding.area.as_deref().unwrap_or_default();
    for part in [finding.check, area]
        .into_iter()
        .chain(photos.iter().map(String::as_str))
        .chain(finding.subject.as_deref())
    {
        hash.update((part.len() as u64).to_le_bytes());
        hash.update(part.as_bytes());
    }
    let digest = hash.finalize();
    hex(digest.get(..8).unwrap_or(&digest))
}
