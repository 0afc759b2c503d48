//! Reading `waivers.toml`; mistakes name line and column.

use std::path::Path;

use chrono::NaiveDate;
use serde::Deserialize;
use toml::Spanned;

use super::{Reach, Waiver, WaiverSet};
use crate::error::{Error, ErrorKind};
use crate::job::{plain, read_text};

impl WaiverSet {
    /// Reads a waiver file.
    ///
    /// # Errors
    ///
    /// When the file cannot be read, is larger than 1 MiB, or holds a mistake; see [`Self::parse`].
    pub fn read(path: &Path) -> Result<Self, Error> {
        let text = read_text(path, "waiver file")?;
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
                format!("{}:{line}:{column}: {}", path.display(), plain(message)),
            )
        };
        let file: File = toml::from_str(text).map_err(|error| {
            let offset = error.span().map_or(0, |span| span.start);
            fault(offset, error.message())
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
