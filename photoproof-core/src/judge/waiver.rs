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

use std::collections::BTreeSet;
use std::path::Path;

use chrono::NaiveDate;
use serde::Deserialize;
use toml::Spanned;

use crate::error::{Error, ErrorKind};

/// Largest accepted file, bytes.
const MAX_BYTES: u64 = 1 << 20;

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

    /// Reads a waiver file.
    ///
    /// # Errors
    ///
    /// When the file cannot be read, is larger than 1 MiB, or holds a mistake; see [`Self::parse`].
    pub fn read(path: &Path) -> Result<Self, Error> {
        if !path.exists() {
            return Err(Error::missing("waiver file", path.to_path_buf()));
        }
        let size = std::fs::metadata(path)
            .map_err(|e| Error::io("read", path, e))?
            .len();
        if size > MAX_BYTES {
            return Err(Error::new(
                ErrorKind::Bounds,
                format!(
                    "{} is larger than {MAX_BYTES} bytes; check the path",
                    path.display()
                ),
            ));
        }
        let text = std::fs::read_to_string(path).map_err(|e| Error::io("read", path, e))?;
        Self::parse(&text, path)
    }

    /// Reads the text of a waiver file; `path` is what messages name.
    ///
    /// # Errors
    ///
    /// On the first mistake: `path:line:column: what is wrong; what to do`.
    pub fn parse(text: &str, path: &Path) -> Result<Self, Error> {
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        let fault = |offset: usize, message: &str| {
            let (line, column) = position(text, offset);
            Error::new(
                ErrorKind::Waivers,
                format!("{}:{line}:{column}: {message}", path.display()),
            )
        };
        let file: File = toml::from_str(text).map_err(|error| {
            let offset = error.span().map_or(0, |span| span.start);
            fault(offset, &error.message().replace(['\n', '\r'], " "))
        })?;
        let mut waivers = Vec::new();
        for entry in &file.waiver {
            let read = entry.get_ref().read(entry.span().start);
            let mut waiver = read.map_err(|mistake| fault(mistake.offset, &mistake.message))?;
            waiver.line = position(text, entry.span().start).0;
            waivers.push(waiver);
        }
        Ok(Self { waivers })
    }
}

/// Line and column of a byte offset, both from 1, the column in characters.
fn position(text: &str, offset: usize) -> (usize, usize) {
    let before = text.get(..offset).unwrap_or(text);
    let line = before.matches('\n').count() + 1;
    let column = before
        .rsplit('\n')
        .next()
        .unwrap_or_default()
        .chars()
        .count()
        + 1;
    (line, column)
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    #[serde(default)]
    waiver: Vec<Spanned<Entry>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Entry {
    check: Option<Spanned<String>>,
    photos: Option<Spanned<Vec<String>>>,
    area: Option<Spanned<String>>,
    whole_job: Option<Spanned<bool>>,
    who: Option<Spanned<String>>,
    why: Option<Spanned<String>>,
    until: Option<Spanned<toml::Value>>,
}

struct Mistake {
    offset: usize,
    message: String,
}

impl Entry {
    /// Checks one entry that starts at byte `start` of its file.
    fn read(&self, start: usize) -> Result<Waiver, Mistake> {
        Ok(Waiver {
            check: filled("check", self.check.as_ref(), start)?,
            reach: self.reach(start)?,
            who: filled("who", self.who.as_ref(), start)?,
            why: filled("why", self.why.as_ref(), start)?,
            until: self.until(start)?,
            line: 0,
        })
    }

    fn reach(&self, start: usize) -> Result<Reach, Mistake> {
        let whole_job = self.whole_job.as_ref().filter(|value| *value.get_ref());
        let area = self
            .area
            .as_ref()
            .filter(|area| !area.get_ref().trim().is_empty());
        let photos = self
            .photos
            .as_ref()
            .filter(|photos| !photos.get_ref().is_empty());
        match (photos, area, whole_job) {
            (Some(photos), None, None) => {
                Ok(Reach::Photos(photos.get_ref().iter().cloned().collect()))
            }
            (None, Some(area), None) => Ok(Reach::Area(area.get_ref().clone())),
            (None, None, Some(_)) => Ok(Reach::WholeJob),
            (None, None, None) => Err(Mistake {
                offset: start,
                message: "this waiver does not say what it accepts; add photos = [...], area = \"...\" or whole_job = true".into(),
            }),
            _ => Err(Mistake {
                offset: start,
                message: "this waiver names several of photos, area and whole_job; keep one".into(),
            }),
        }
    }

    fn until(&self, start: usize) -> Result<NaiveDate, Mistake> {
        let Some(until) = &self.until else {
            return Err(absent("until", start));
        };
        let text = match until.get_ref() {
            toml::Value::Datetime(when) if when.time.is_none() => when.to_string(),
            toml::Value::String(text) => text.clone(),
            other => other.to_string(),
        };
        NaiveDate::parse_from_str(&text, "%Y-%m-%d").map_err(|_| Mistake {
            offset: until.span().start,
            message: format!("until is {text}; write a day as 2026-12-31"),
        })
    }
}

fn filled(name: &str, value: Option<&Spanned<String>>, start: usize) -> Result<String, Mistake> {
    let Some(value) = value else {
        return Err(absent(name, start));
    };
    let text = value.get_ref().trim();
    if text.is_empty() {
        let message = format!("{name} is empty; a waiver needs check, who, why and until");
        return Err(Mistake {
            offset: value.span().start,
            message,
        });
    }
    Ok(text.to_owned())
}

fn absent(name: &str, start: usize) -> Mistake {
    let message = format!("this waiver has no {name}; a waiver needs check, who, why and until");
    Mistake {
        offset: start,
        message,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const GOOD: &str = r#"
[[waiver]]
check = "viewpoint-shift"
photos = ["Kitchen/after/2.jpg", "Kitchen/before/1.jpg"]
who = "J. Alder"
why = "a wall stands there now"
until = 2026-06-30

[[waiver]]
check = "missing-phase"
area = "Attic"
who = "J. Alder"
why = "no access"
until = "2026-01-31"
"#;

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn parse(text: &str) -> Result<WaiverSet, Error> {
        WaiverSet::parse(text, Path::new("waivers.toml"))
    }

    fn known() -> Known<'static> {
        Known {
            checks: ["viewpoint-shift", "missing-phase"].into(),
            areas: ["Kitchen", "Attic"].into(),
            photos: [
                "Kitchen/after/2.jpg",
                "Kitchen/before/1.jpg",
                "Kitchen/after/3.jpg",
            ]
            .into(),
        }
    }

    #[test]
    fn a_finding_is_accepted_when_every_photo_is_listed() {
        let set = parse(GOOD).unwrap();
        assert_eq!(
            set.waivers.iter().map(|w| w.line).collect::<Vec<_>>(),
            [2, 9]
        );
        let both = ["Kitchen/after/2.jpg", "Kitchen/before/1.jpg"];
        let other = ["Kitchen/after/3.jpg", "Kitchen/before/1.jpg"];
        let subject = |photos| Subject {
            check: "viewpoint-shift",
            area: Some("Kitchen"),
            photos,
        };
        let findings = [subject(&both), subject(&other), subject(&[])];
        let applied = set.apply(day("2026-06-30"), &findings, &known());
        assert_eq!(applied.accepted, [Some(0), None, None]);
        assert_eq!(applied.idle, [(1, Idle::Expired { findings: 0 })]);
    }

    #[test]
    fn the_last_day_counts_and_the_next_does_not() {
        let set = parse(GOOD).unwrap();
        let attic = [Subject {
            check: "missing-phase",
            area: Some("Attic"),
            photos: &[],
        }];
        assert_eq!(
            set.apply(day("2026-01-31"), &attic, &known()).accepted,
            [Some(1)]
        );
        let late = set.apply(day("2026-02-01"), &attic, &known());
        assert_eq!(late.accepted, [None]);
        assert!(late.idle.contains(&(1, Idle::Expired { findings: 1 })));
    }

    #[test]
    fn needless_and_orphaned_waivers_are_told_apart() {
        let set = parse(GOOD).unwrap();
        let mut known = known();
        let idle = set.apply(day("2026-01-01"), &[], &known).idle;
        assert_eq!(idle, [(0, Idle::Unused), (1, Idle::Unused)]);
        known.photos.remove("Kitchen/after/2.jpg");
        let idle = set.apply(day("2026-01-01"), &[], &known).idle;
        let missing = vec!["photo Kitchen/after/2.jpg".to_owned()];
        assert_eq!(idle[0], (0, Idle::Stale { missing }));
    }

    #[test]
    fn mistakes_name_line_and_column() {
        let cases = [
            (
                "[[waiver]]\ncheck = \"a\"\nwhoo = \"x\"\n",
                "waivers.toml:3:1: ",
            ),
            (
                "[[waiver]]\ncheck = \"a\"\narea = \"b\"\nwho = \"\"\n",
                "waivers.toml:4:7: who is empty",
            ),
            (
                "[[waiver]]\ncheck = \"a\"\n",
                "waivers.toml:1:1: this waiver does not say",
            ),
            (
                "[[waiver]]\ncheck = \"a\"\narea = \"b\"\nwho = \"c\"\nwhy = \"d\"\nuntil = \"soon\"\n",
                "waivers.toml:6:9: until is soon; write a day",
            ),
            ("[[waiver]\n", "waivers.toml:1:"),
        ];
        for (text, wanted) in cases {
            let message = parse(text).unwrap_err().to_string();
            assert!(message.starts_with(wanted), "{message}");
        }
        assert_eq!(parse("").unwrap(), WaiverSet::default());
    }
}
