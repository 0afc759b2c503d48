//! The report files of a job, and the index of a batch.

use std::collections::BTreeMap;
use std::path::Path;

use photoproof_core::pipeline::JobResult;
use photoproof_core::report::v1::Report;
use photoproof_core::report::{csv, html, index, json, junit, sarif, text};
use photoproof_core::{Error, ErrorKind};

use super::CheckArgs;
use super::state::{Written, sha256};
use crate::{output, style};

#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub(super) enum Format {
    /// What the terminal shows
    Text,
    /// report.json
    Json,
    /// report.html, one self-contained page
    Html,
    /// photos.csv and volume.csv
    Csv,
    /// findings.sarif
    Sarif,
    /// junit.xml
    Junit,
}

/// Formats written to `--out` when `--format` does not say.
const USUAL: [Format; 3] = [Format::Text, Format::Json, Format::Html];

/// The formats that were asked for.
pub(super) fn formats(args: &CheckArgs) -> Result<Vec<Format>, Error> {
    match (&args.out, args.format.as_slice()) {
        (Some(_), []) => Ok(USUAL.to_vec()),
        (None, []) => Ok(vec![Format::Text]),
        (None, [Format::Csv | Format::Html]) | (None, [_, _, ..]) => Err(Error::new(
            ErrorKind::Usage,
            "these formats are files; say where to put them with --out DIR",
        )),
        (_, formats) => Ok(formats.to_vec()),
    }
}

/// What is printed when no files are written.
pub(super) fn rendered(report: &Report, formats: &[Format]) -> String {
    match formats.first() {
        Some(Format::Json) => json::render(report),
        Some(Format::Sarif) => sarif::render(report),
        Some(Format::Junit) => junit::render(report),
        _ => text::render(report, &style::text_options()),
    }
}

/// Writes the report files of a job; their digests by name.
pub(super) fn write(
    dir: &Path,
    formats: &[Format],
    report: &Report,
    result: &JobResult,
) -> Result<Written, Error> {
    output::folder(dir)?;
    let mut written = Written::new();
    let mut put = |name: &str, text: String| {
        written.insert(name.to_owned(), sha256(text.as_bytes()));
        output::write(dir, name, text.as_bytes())
    };
    for format in formats {
        match format {
            Format::Text => {
                let plain = text::render(report, &text::TextOptions::default());
                put("report.txt", plain)?;
            }
            Format::Json => put("report.json", json::render(report))?,
            Format::Html => put("report.html", html::render(report, &result.thumbnails)?)?,
            Format::Csv => {
                put("photos.csv", csv::photos(report))?;
                put("volume.csv", csv::volume(report))?;
            }
            Format::Sarif => put("findings.sarif", sarif::render(report))?,
            Format::Junit => put("junit.xml", junit::render(report))?,
        }
    }
    Ok(written)
}

/// `index.html` and `index.json` of a batch. `done`: reports with the names of their folders.
pub(super) fn write_index(dir: &Path, done: Vec<(Report, String)>) -> Result<(), Error> {
    let links: BTreeMap<String, String> = done
        .iter()
        .map(|(report, name)| (report.job.id.clone(), format!("{name}/report.html")))
        .collect();
    let reports: Vec<Report> = done.into_iter().map(|(report, _)| report).collect();
    output::folder(dir)?;
    output::write(dir, "index.json", index::json(&reports).as_bytes())?;
    output::write(dir, "index.html", index::html(&reports, &links)?.as_bytes())
}
