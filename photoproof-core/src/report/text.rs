//! The terminal report: outcome, what to shoot again, findings by area, counts.

use crate::judge::finding::Severity;
use crate::report::shape;
use crate::report::v1::{Finding, Report, Retake};
use crate::report::words::{self, count, glued, inert};

mod layout;

use layout::Page;

/// How the terminal report is laid out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub struct TextOptions {
    /// Columns of the terminal; lines are wrapped at 40 to 100 columns. Default 80.
    pub width: usize,
    /// Whether colours are used. Default plain.
    pub colour: Colour,
}

/// Whether the text carries terminal colours.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Colour {
    /// No escape sequence at all.
    Plain,
    /// ANSI colours beside the words, never in their place.
    Ansi,
}

impl Default for TextOptions {
    fn default() -> Self {
        Self {
            width: 80,
            colour: Colour::Plain,
        }
    }
}

/// Photos named per finding; the rest is counted.
const PHOTOS_NAMED: usize = 3;

/// The report for a terminal.
#[must_use]
pub fn render(report: &Report, options: &TextOptions) -> String {
    let mut page = Page::new(options);
    heading(&mut page, report);
    retakes(&mut page, report);
    findings(&mut page, report);
    waived(&mut page, report);
    counts(&mut page, report);
    page.finish()
}

fn heading(page: &mut Page, report: &Report) {
    let word = words::outcome(report.outcome).to_uppercase();
    let line = format!("{word}: {}", words::outcome_sentence(report.outcome));
    page.strong(0, &line);
    let job = &report.job;
    let parts = [Some(&job.id), job.address.as_ref(), job.vendor.as_ref()];
    let named: Vec<String> = parts
        .into_iter()
        .flatten()
        .map(|text| inert(text))
        .collect();
    page.wrapped(0, 0, &named.join(" \u{b7} "));
    page.blank();
    for sentence in &report.summary {
        page.wrapped(0, 0, &inert(sentence));
    }
}

fn retakes(page: &mut Page, report: &Report) {
    if report.retakes.is_empty() {
        return;
    }
    let total = count(report.retakes.len(), "photo");
    page.title(&format!("Shoot again: {total}, in the order you walk"));
    for (index, retake) in report.retakes.iter().enumerate() {
        retake_lines(page, index + 1, retake);
    }
}

/// `Kitchen, after`: where a retake belongs.
pub(crate) fn place(retake: &Retake) -> String {
    let area = retake
        .area
        .as_deref()
        .map_or("Area not known".into(), inert);
    match retake.phase {
        Some(phase) => format!("{area}, {phase}"),
        None => area,
    }
}

/// The instruction with the photo to match, if the instruction does not already name it.
fn retake_lines(page: &mut Page, number: usize, retake: &Retake) {
    let mut line = format!(
        "{number}. {}: {}",
        place(retake),
        inert(&retake.instruction)
    );
    if let Some(like) = retake
        .like
        .as_deref()
        .filter(|like| !retake.instruction.contains(*like))
    {
        line.push_str(&format!("; match {}", glued(like)));
    }
    page.wrapped(0, 4, &line);
    if let Some(replaces) = &retake.replaces {
        page.wrapped(4, 4, &format!("instead of {}", glued(replaces)));
    }
}

fn findings(page: &mut Page, report: &Report) {
    let groups = shape::by_area(report, shape::standing(report));
    if groups.is_empty() {
        return;
    }
    page.title("Findings by area");
    for (area, findings) in groups {
        page.strong(0, &inert(area));
        for finding in findings {
            finding_lines(page, finding);
        }
    }
}

fn finding_lines(page: &mut Page, finding: &Finding) {
    page.severity(2, finding.severity, &inert(&finding.check));
    page.wrapped(4, 4, &photos(&finding.photos));
    let numbers = finding
        .measured
        .as_ref()
        .map(words::measured)
        .unwrap_or_default();
    let message = words::sentence(&finding.message);
    match numbers.is_empty() {
        true => page.wrapped(4, 4, &message),
        false => page.wrapped(4, 4, &format!("{message} ({numbers})")),
    }
    if let Some(explanation) = finding.innocent_explanations.first() {
        page.wrapped(
            4,
            4,
            &format!("May be innocent: {}", words::sentence(explanation)),
        );
    }
    page.wrapped(
        4,
        4,
        &format!("To do: {}", words::sentence(&finding.remedy)),
    );
}

fn photos(paths: &[String]) -> String {
    let mut named: Vec<String> = paths
        .iter()
        .take(PHOTOS_NAMED)
        .map(|path| glued(path))
        .collect();
    if paths.len() > PHOTOS_NAMED {
        named.push(format!("and {} more", paths.len() - PHOTOS_NAMED));
    }
    named.join(", ")
}

fn waived(page: &mut Page, report: &Report) {
    if shape::waived(report).next().is_none() {
        return;
    }
    page.title("Waived");
    for finding in shape::waived(report) {
        page.severity(2, finding.severity, &inert(&finding.check));
        page.wrapped(4, 4, &photos(&finding.photos));
        page.wrapped(4, 4, &words::sentence(&finding.message));
        if let Some(waiver) = &finding.waived {
            let by = format!(
                "accepted by {} until {}: {}",
                inert(&waiver.reviewer),
                inert(&waiver.until),
                inert(&waiver.reason)
            );
            page.wrapped(4, 4, &by);
        }
    }
}

fn counts(page: &mut Page, report: &Report) {
    page.title("Counts");
    let counts = &report.counts;
    let photos = format!(
        "{}, {} not readable, {}",
        count(counts.photos, "photo"),
        counts.unreadable,
        count(counts.view_sets, "view set")
    );
    page.wrapped(2, 2, &photos);
    let of = |severity| shape::standing_of(report, severity);
    let findings = format!(
        "{} fail, {} review, {}, {} waived",
        of(Severity::Fail),
        of(Severity::Review),
        count(of(Severity::Note), "note"),
        shape::waived(report).count()
    );
    page.wrapped(2, 2, &findings);
    debris(page, report);
}

fn debris(page: &mut Page, report: &Report) {
    let debris = &report.debris;
    if debris.loads.is_empty() && debris.claimed.is_none() {
        return;
    }
    let yards = |value: Option<f64>| match value {
        Some(value) => format!("{} cubic yards", words::number(value, 2)),
        None => "nothing".into(),
    };
    let line = format!(
        "debris: {} claimed, {} shown",
        yards(debris.claimed),
        yards(debris.documented)
    );
    page.wrapped(2, 2, &line);
}
