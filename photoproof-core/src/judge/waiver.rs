//! Waivers: a reviewer's written acceptance of findings, read from `waivers.toml` and applied.
//!
//! ```toml
//! [[waiver]]
//! check = "viewpoint-shift"
//! photos = ["Kitchen/after/IMG_0520.jpg"]   # or area = "Kitchen", or whole_job = true
//! who = "J. Alder"
//! why = "a new wall stands where the first photo was taken"
//! until = 2026-06-30                        # the last day it holds
//! ```
//!
//! A waiver that lists photos accepts a finding only if it lists every photo of it, so that another photo going
//! wrong later is not accepted with it. The evaluation date is passed in: this module knows no clock.

mod file;
#[cfg(test)]
mod tests;

use std::collections::BTreeSet;

use chrono::NaiveDate;

/// Which findings of its check a waiver accepts.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Reach {
    /// Findings whose photos are all among these.
    Photos(BTreeSet<String>),
    /// Findings of this area.
    Area(String),
    /// Findings of every area and of the job as a whole.
    WholeJob,
}

/// One waiver.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub struct Waiver {
    /// Check id.
    pub check: String,
    /// Findings it accepts.
    pub reach: Reach,
    /// Who accepts.
    pub who: String,
    /// Why.
    pub why: String,
    /// Last day it holds.
    pub until: NaiveDate,
    /// Line of the entry in its file, from 1.
    pub line: usize,
}

/// The waivers of one file, in file order.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct WaiverSet {
    /// Waivers in file order.
    pub waivers: Vec<Waiver>,
}

/// What a waiver is matched with: one finding.
#[derive(Debug, Clone, Copy)]
pub struct Subject<'a> {
    /// Check id.
    pub check: &'a str,
    /// Area, if any.
    pub area: Option<&'a str>,
    /// Paths of its photos and files.
    pub photos: &'a [&'a str],
}

/// What the job knows, to tell a waiver about something that is gone from one that has become needless.
#[derive(Debug, Clone, Default)]
pub struct Known<'a> {
    /// Check ids.
    pub checks: BTreeSet<&'a str>,
    /// Areas.
    pub areas: BTreeSet<&'a str>,
    /// Paths of photos and unreadable files.
    pub photos: BTreeSet<&'a str>,
}

/// Why a waiver accepts nothing.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Idle {
    /// Its last day has passed; the findings it named stand again.
    Expired {
        /// Findings that it would have accepted.
        findings: usize,
    },
    /// It names a check, an area or a photo that this job does not have.
    Stale {
        /// What is not there.
        missing: Vec<String>,
    },
    /// Everything it names is there, and no such finding was made.
    Unused,
}

/// The result of applying waivers.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Applied {
    /// For every finding, in order: the index of the waiver that accepts it.
    pub accepted: Vec<Option<usize>>,
    /// Waivers that accept nothing, by index, with the reason.
    pub idle: Vec<(usize, Idle)>,
}

impl Waiver {
    /// Whether this waiver accepts `finding`, its date aside.
    #[must_use]
    pub fn covers(&self, finding: &Subject<'_>) -> bool {
        self.check == finding.check
            && match &self.reach {
                Reach::WholeJob => true,
                Reach::Area(area) => finding.area == Some(area),
                Reach::Photos(listed) => {
                    !finding.photos.is_empty()
                        && finding.photos.iter().all(|path| listed.contains(*path))
                }
            }
    }

    /// What this waiver names and the job does not have.
    fn missing(&self, known: &Known<'_>) -> Vec<String> {
        let mut missing = Vec::new();
        if !known.checks.contains(self.check.as_str()) {
            missing.push(format!("check {}", self.check));
        }
        match &self.reach {
            Reach::Area(area) if !known.areas.contains(area.as_str()) => {
                missing.push(format!("area {area}"));
            }
            Reach::Photos(photos) => {
                let gone = photos
                    .iter()
                    .filter(|path| !known.photos.contains(path.as_str()));
                missing.extend(gone.map(|path| format!("photo {path}")));
            }
            Reach::Area(_) | Reach::WholeJob => {}
        }
        missing
    }
}

impl WaiverSet {
    /// Matches waivers with `findings` on the day `today`. The first waiver of the file that covers a finding and
    /// has not expired accepts it.
    #[must_use]
    pub fn apply(&self, today: NaiveDate, findings: &[Subject<'_>], known: &Known<'_>) -> Applied {
        let holds = |waiver: &Waiver| waiver.until >= today;
        let accepted: Vec<Option<usize>> = findings
            .iter()
            .map(|finding| {
                self.waivers
                    .iter()
                    .position(|w| holds(w) && w.covers(finding))
            })
            .collect();
        let mut idle = Vec::new();
        for (index, waiver) in self.waivers.iter().enumerate() {
            let covered = findings
                .iter()
                .filter(|finding| waiver.covers(finding))
                .count();
            let missing = waiver.missing(known);
            if !holds(waiver) {
                idle.push((index, Idle::Expired { findings: covered }));
            } else if covered == 0 && missing.is_empty() {
                idle.push((index, Idle::Unused));
            } else if covered == 0 {
                idle.push((index, Idle::Stale { missing }));
            }
        }
        Applied { accepted, idle }
    }
}
