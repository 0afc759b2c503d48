//! `photos.csv` and `volume.csv` for spreadsheets (RFC 4180), safe against formula injection.

use crate::report::shape;
use crate::report::v1::{Photo, Report};
use crate::report::words::{inert_whole, number};

/// One line a photo.
#[must_use]
pub fn photos(report: &Report) -> String {
    let header = [
        "path",
        "area",
        "area_source",
        "phase",
        "phase_source",
        "capture_time",
        "capture_time_source",
        "offset_known",
        "latitude",
        "longitude",
        "make",
        "model",
        "focal_35mm",
        "width",
        "height",
        "format",
        "sharpness",
        "sha256",
        "findings",
        "problems",
    ];
    let rows = report.photos.iter().map(|photo| photo_row(report, photo));
    table(&header, rows)
}

fn photo_row(report: &Report, photo: &Photo) -> Vec<String> {
    let text = |value: &Option<String>| value.as_deref().map(cell).unwrap_or_default();
    let time = photo.capture_time.as_ref();
    let degrees = |value: Option<f64>| value.map(|v| number(v, 7)).unwrap_or_default();
    let checks: Vec<&str> = shape::standing(report)
        .filter(|finding| finding.photos.contains(&photo.path))
        .map(|finding| finding.check.as_str())
        .collect();
    vec![
        cell(&photo.path),
        text(&photo.area),
        text(&photo.area_source),
        photo
            .phase
            .map(|phase| phase.to_string())
            .unwrap_or_default(),
        text(&photo.phase_source),
        time.map(|time| cell(&time.value)).unwrap_or_default(),
        time.map(|time| cell(&time.source)).unwrap_or_default(),
        time.map(|time| time.offset_known.to_string())
            .unwrap_or_default(),
        degrees(photo.gps.map(|gps| gps.lat)),
        degrees(photo.gps.map(|gps| gps.lon)),
        text(&photo.camera.make),
        text(&photo.camera.model),
        photo
            .camera
            .focal_35mm
            .map(|v| number(v, 2))
            .unwrap_or_default(),
        photo.width.to_string(),
        photo.height.to_string(),
        cell(&photo.format),
        number(photo.sharpness, 3),
        cell(&photo.sha256),
        cell(&checks.join("; ")),
        cell(&photo.problems.join("; ")),
    ]
}

/// One line a load, then the totals.
#[must_use]
pub fn volume(report: &Report) -> String {
    let debris = &report.debris;
    let loads = debris.loads.iter().map(|load| {
        vec![
            "load".into(),
            cell(&load.name),
            number(load.cubic_yards, 2),
            load.evidenced.to_string(),
            cell(&load.working),
            cell(&load.photos.join("; ")),
            cell(load.same_as.as_deref().unwrap_or_default()),
        ]
    });
    let totals = [
        ("claimed", debris.claimed),
        ("documented", debris.documented),
        ("difference", debris.difference),
    ];
    let totals = totals.into_iter().filter_map(|(name, value)| {
        let yards = number(value?, 2);
        Some(vec![
            name.into(),
            String::new(),
            yards,
            String::new(),
            String::new(),
            String::new(),
            String::new(),
        ])
    });
    let header = [
        "kind",
        "name",
        "cubic_yards",
        "evidenced",
        "working",
        "photos",
        "same_as",
    ];
    table(&header, loads.chain(totals))
}

/// Foreign text as a cell: controls spelled out, and an apostrophe before anything a spreadsheet might compute
/// (OWASP, "CSV Injection": `=`, `+`, `-`, `@`, tab, carriage return, and their full-width forms).
fn cell(text: &str) -> String {
    let shown = inert_whole(text);
    let computes = |c: char| {
        matches!(
            c,
            '=' | '+' | '-' | '@' | '|' | '\u{FF1D}' | '\u{FF0B}' | '\u{FF0D}' | '\u{FF20}'
        )
    };
    match text.trim_start().chars().next() {
        Some(first) if computes(first) => format!("'{shown}"),
        _ => shown,
    }
}

fn table(header: &[&str], rows: impl Iterator<Item = Vec<String>>) -> String {
    let mut writer = csv::WriterBuilder::new()
        .terminator(csv::Terminator::CRLF)
        .from_writer(Vec::new());
    // Writing to memory cannot fail, and every row has the header's length.
    let mut written = writer.write_record(header);
    for row in rows {
        written = written.and_then(|()| writer.write_record(row));
    }
    debug_assert!(written.is_ok(), "{written:?}");
    writer
        .into_inner()
        .ok()
        .and_then(|bytes| String::from_utf8(bytes).ok())
        .unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::cell;

    #[test]
    fn formulas_become_text() {
        assert_eq!(cell("=HYPERLINK(\"x\")"), "'=HYPERLINK(\"x\")");
        assert_eq!(cell("  @SUM(A1)"), "'  @SUM(A1)");
        assert_eq!(cell("\t=1+1"), "'\\t=1+1");
        assert_eq!(cell("-1"), "'-1");
        assert_eq!(cell("Kitchen/before/a.jpg"), "Kitchen/before/a.jpg");
    }
}
