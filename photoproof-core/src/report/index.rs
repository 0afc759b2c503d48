//! The index of a batch: jobs by outcome, vendors, common findings, photos used by several jobs.

use std::collections::{BTreeMap, BTreeSet};

use serde::Serialize;

use crate::error::Error;
use crate::judge::finding::{Outcome, Severity};
use crate::report::html::{STYLE, fill, policy};
use crate::report::v1::Report;
use crate::report::words::{self, count, inert};
use crate::report::{json as json_format, sarif, shape};

/// Value of the `schema` member of `index.json`.
pub const SCHEMA: &str = "photoproof.index/1";

/// The index of a batch.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Index {
    /// Always [`SCHEMA`].
    pub schema: &'static str,
    /// Version of the tool.
    pub tool_version: String,
    /// Jobs, heaviest outcome first, then in the order given.
    pub jobs: Vec<Job>,
    /// Vendors by name.
    pub vendors: Vec<Vendor>,
    /// Checks by number of standing findings.
    pub checks: Vec<Check>,
    /// Photos that stand in more than one job of the batch.
    pub reuse: Vec<Reuse>,
}

/// One job of the batch.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Job {
    /// Job id.
    pub id: String,
    /// Verdict.
    pub outcome: Outcome,
    /// Vendor.
    pub vendor: Option<String>,
    /// Site address.
    pub address: Option<String>,
    /// Readable photos.
    pub photos: usize,
    /// Standing findings by severity.
    pub findings: BTreeMap<Severity, usize>,
    /// Waived findings.
    pub waived: usize,
}

/// One vendor of the batch.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Vendor {
    /// Name; `null` for jobs that name none.
    pub name: Option<String>,
    /// Jobs by outcome.
    pub jobs: BTreeMap<Outcome, usize>,
}

/// How often a check spoke.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Check {
    /// Check id.
    pub id: String,
    /// Standing findings.
    pub findings: usize,
    /// Jobs with at least one.
    pub jobs: usize,
}

/// One photo that two jobs use.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub struct Reuse {
    /// First job.
    pub first_job: String,
    /// Path in the first job.
    pub first: String,
    /// Second job.
    pub second_job: String,
    /// Path in the second job.
    pub second: String,
    /// `same_bytes`, `same_pixels`, `edited`, `unsure`.
    pub kind: String,
}

/// Summarises `reports`.
#[must_use]
pub fn summarise(reports: &[Report]) -> Index {
    let mut jobs: Vec<Job> = reports.iter().map(job).collect();
    jobs.sort_by_key(|job| std::cmp::Reverse(job.outcome));
    Index {
        schema: SCHEMA,
        tool_version: reports
            .first()
            .map(|r| r.tool_version.clone())
            .unwrap_or_default(),
        jobs,
        vendors: vendors(reports),
        checks: checks(reports),
        reuse: reuse(reports),
    }
}

fn job(report: &Report) -> Job {
    let severities = [Severity::Note, Severity::Review, Severity::Fail];
    Job {
        id: report.job.id.clone(),
        outcome: report.outcome,
        vendor: report.job.vendor.clone(),
        address: report.job.address.clone(),
        photos: report.photos.len(),
        findings: severities
            .map(|s| (s, shape::standing_of(report, s)))
            .into_iter()
            .collect(),
        waived: shape::waived(report).count(),
    }
}

fn vendors(reports: &[Report]) -> Vec<Vendor> {
    let mut by_name: BTreeMap<&Option<String>, BTreeMap<Outcome, usize>> = BTreeMap::new();
    for report in reports {
        *by_name
            .entry(&report.job.vendor)
            .or_default()
            .entry(report.outcome)
            .or_default() += 1;
    }
    by_name
        .into_iter()
        .map(|(name, jobs)| Vendor {
            name: name.clone(),
            jobs,
        })
        .collect()
}

fn checks(reports: &[Report]) -> Vec<Check> {
    let mut by_check: BTreeMap<&str, (usize, BTreeSet<usize>)> = BTreeMap::new();
    for (job, report) in reports.iter().enumerate() {
        for finding in shape::standing(report) {
            let entry = by_check.entry(&finding.check).or_default();
            entry.0 += 1;
            entry.1.insert(job);
        }
    }
    let mut checks: Vec<Check> = by_check
        .into_iter()
        .map(|(id, (findings, jobs))| Check {
            id: id.into(),
            findings,
            jobs: jobs.len(),
        })
        .collect();
    checks.sort_by_key(|check| std::cmp::Reverse(check.findings));
    checks
}

/// Identical files across the batch, and copies the ledger knows from another job.
fn reuse(reports: &[Report]) -> Vec<Reuse> {
    let mut by_digest: BTreeMap<&str, Vec<(&str, &str)>> = BTreeMap::new();
    for report in reports {
        for photo in &report.photos {
            let uses = by_digest.entry(&photo.sha256).or_default();
            uses.push((report.job.id.as_str(), photo.path.as_str()));
        }
    }
    let mut found: BTreeSet<Reuse> = BTreeSet::new();
    for uses in by_digest.values() {
        let Some(((first_job, first), others)) = uses.split_first() else {
            continue;
        };
        let elsewhere = others.iter().filter(|(job, _)| job != first_job);
        found.extend(elsewhere.map(|(second_job, second)| Reuse {
            first_job: (*first_job).into(),
            first: (*first).into(),
            second_job: (*second_job).into(),
            second: (*second).into(),
            kind: "same_bytes".into(),
        }));
    }
    for report in reports {
        found.extend(report.copies.iter().filter_map(|copy| {
            Some(Reuse {
                first_job: copy.other_job.clone()?,
                first: copy.a.clone(),
                second_job: report.job.id.clone(),
                second: copy.b.clone(),
                kind: copy.kind.clone(),
            })
        }));
    }
    found.into_iter().collect()
}

/// `index.json` of a batch.
#[must_use]
pub fn json(reports: &[Report]) -> String {
    json_format::render_value(&summarise(reports))
}

/// The index page of a batch. `links` names each job's page by job id, relative to the index page; jobs without
/// one are listed without a link.
///
/// # Errors
///
/// As [`crate::report::html::render`].
pub fn html(reports: &[Report], links: &BTreeMap<String, String>) -> Result<String, Error> {
    let index = summarise(reports);
    let page = Page {
        policy: policy(&[STYLE], &[]),
        style: STYLE,
        version: inert(&index.tool_version),
        headline: headline(&index),
        jobs: index.jobs.iter().map(|job| job_row(job, links)).collect(),
        vendors: index.vendors.iter().map(vendor_row).collect(),
        checks: &index.checks,
        reuse: index.reuse.iter().map(reuse_row).collect(),
    };
    fill("index.html", page)
}

#[derive(Serialize)]
struct Page<'a> {
    policy: String,
    style: &'static str,
    version: String,
    headline: String,
    jobs: Vec<JobRow>,
    vendors: Vec<VendorRow>,
    checks: &'a [Check],
    reuse: Vec<Reuse>,
}

#[derive(Serialize)]
struct JobRow {
    id: String,
    href: Option<String>,
    outcome: &'static str,
    vendor: String,
    address: String,
    photos: usize,
    fail: usize,
    review: usize,
    note: usize,
    waived: usize,
}

fn named(value: &Option<String>) -> String {
    value.as_deref().map_or("not named".into(), inert)
}

fn job_row(job: &Job, links: &BTreeMap<String, String>) -> JobRow {
    let of = |severity| job.findings.get(&severity).copied().unwrap_or_default();
    JobRow {
        id: inert(&job.id),
        href: links.get(&job.id).map(|link| sarif::uri(link)),
        outcome: words::outcome(job.outcome),
        vendor: named(&job.vendor),
        address: named(&job.address),
        photos: job.photos,
        fail: of(Severity::Fail),
        review: of(Severity::Review),
        note: of(Severity::Note),
        waived: job.waived,
    }
}

#[derive(Serialize)]
struct VendorRow {
    name: String,
    pass: usize,
    review: usize,
    fail: usize,
}

fn vendor_row(vendor: &Vendor) -> VendorRow {
    let of = |outcome| vendor.jobs.get(&outcome).copied().unwrap_or_default();
    VendorRow {
        name: named(&vendor.name),
        pass: of(Outcome::Pass),
        review: of(Outcome::Review),
        fail: of(Outcome::Fail),
    }
}

fn reuse_row(reuse: &Reuse) -> Reuse {
    Reuse {
        first_job: inert(&reuse.first_job),
        first: inert(&reuse.first),
        second_job: inert(&reuse.second_job),
        second: inert(&reuse.second),
        kind: words::copy_kind(&reuse.kind).into(),
    }
}

fn headline(index: &Index) -> String {
    let of = |outcome| {
        index
            .jobs
            .iter()
            .filter(|job| job.outcome == outcome)
            .count()
    };
    let (pass, review, fail) = (of(Outcome::Pass), of(Outcome::Review), of(Outcome::Fail));
    format!("{pass} pass, {review} to review, {fail} fail")
}

/// The batch in one line, for a terminal.
#[must_use]
pub fn text(reports: &[Report]) -> String {
    let index = summarise(reports);
    format!("{}: {}\n", count(index.jobs.len(), "job"), headline(&index))
}
