//! `photoproof compare A B` and `photoproof compare --list PAIRS.jsonl`

mod list;

use std::path::{Path, PathBuf};

use photoproof_core::ingest::{self, IngestOptions};
use photoproof_core::measure::{
    Afresh, Comparison as _, PhotoMeasures, Viewpoint, copy, measure_photo,
};
use photoproof_core::report::build::pair::{Named, change, pair};
use photoproof_core::report::v1;
use photoproof_core::{Error, ErrorKind, Limits};

use crate::exit::Exit;
use crate::settings::Threads;
use crate::style;

/// Arguments of `compare`.
#[derive(Debug, clap::Args)]
pub(crate) struct CompareArgs {
    /// The photo to match, and the photo that should match it
    #[arg(value_names = ["A", "B"], num_args = 2, required_unless_present = "list", conflicts_with = "list")]
    photos: Vec<PathBuf>,
    /// JSON lines with members a and b; prints one line a pair
    #[arg(long, value_name = "PAIRS.jsonl")]
    list: Option<PathBuf>,
    /// Folder that the paths of --list are relative to [default: the current folder]
    #[arg(long, value_name = "DIR", requires = "list")]
    root: Option<PathBuf>,
    /// How to print; --list always prints JSON lines
    #[arg(long, value_enum, default_value_t = Format::Text)]
    format: Format,
    #[command(flatten)]
    threads: Threads,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum Format {
    /// For reading
    Text,
    /// One object
    Json,
}

/// Runs `compare`.
pub(crate) fn run(args: &CompareArgs) -> Result<Exit, Error> {
    args.threads.apply()?;
    if let Some(list) = &args.list {
        return list::run(list, args.root.as_deref());
    }
    let [a, b] = args.photos.as_slice() else {
        return Err(Error::new(ErrorKind::Usage, "compare takes two photos"));
    };
    let (first, second) = rayon::join(|| measure(a), || measure(b));
    let (first, second) = (first?, second?);
    let (mut row, viewpoint) = compared((&shown(a), &first), (&shown(b), &second));
    if let ("same_view", Viewpoint::Shift(shift)) = (row.relation.as_str(), &viewpoint) {
        row.change = Afresh.change(&first, &second, shift).as_ref().map(change);
    }
    let text = match args.format {
        Format::Json => to_json(&row)?,
        Format::Text => sentence(&row),
    };
    style::results(&(text + "\n"));
    Ok(Exit::Clean)
}

fn shown(path: &Path) -> String {
    path.display().to_string()
}

fn to_json<T: serde::Serialize>(row: &T) -> Result<String, Error> {
    serde_json::to_string(row)
        .map_err(|e| Error::new(ErrorKind::Io, format!("cannot write JSON: {e}")))
}

/// Reads and measures one photo.
fn measure(path: &Path) -> Result<PhotoMeasures, Error> {
    let (photo, pixels) = ingest::read_photo(path, &shown(path), &IngestOptions::default())
        .map_err(|rejected| {
            Error::new(
                ErrorKind::Io,
                format!("cannot use {}: {}", rejected.path, rejected.reason),
            )
        })?;
    Ok(measure_photo(&photo, &pixels))
}

/// The report's row of two measured photos.
fn compared(a: (&str, &PhotoMeasures), b: (&str, &PhotoMeasures)) -> (v1::Pair, Viewpoint) {
    let viewpoint = Afresh.viewpoint(a.1, b.1);
    let copy = copy::compare_copies(a.1, b.1);
    let row = pair(
        &Named {
            path: a.0,
            frame: a.1.facts.frame,
        },
        &Named {
            path: b.0,
            frame: b.1.facts.frame,
        },
        &viewpoint,
        copy.as_ref(),
        &Limits::default(),
    );
    (row, viewpoint)
}

/// What changed, in words.
fn changed(change: &v1::Change) -> String {
    let parts = match change.regions.len() {
        0 => String::new(),
        1 => ", in one part".to_owned(),
        parts => format!(", in {parts} parts"),
    };
    let share = change.share * 100.0;
    format!("  Changed: {share:.0} % of the shared picture{parts}")
}

/// The comparison in words.
fn sentence(row: &v1::Pair) -> String {
    let verdict = match row.relation.as_str() {
        "same_view" => "Same view: taken from the same standpoint and in the same direction.",
        "shifted" => "Shifted: the same place, but the camera moved or turned too far.",
        "different" => "Different: the photos share no structure.",
        _ => "Undetermined: the pictures do not tell; a person has to look.",
    };
    let mut lines = vec![verdict.to_owned()];
    lines.extend(
        row.reason
            .as_ref()
            .map(|reason| format!("  Why: {reason}.")),
    );
    lines.extend(
        row.rotation_deg
            .map(|angle| format!("  Turned: {angle:.1} degrees")),
    );
    lines.extend(row.distance_ratio.map(|ratio| {
        let per_cent = (ratio - 1.0).abs() * 100.0;
        let words = if ratio < 1.0 { "nearer" } else { "farther" };
        format!("  Distance: {per_cent:.0} % {words} (ratio {ratio:.2})")
    }));
    lines.extend(
        row.overlap
            .map(|share| format!("  Shared picture: {:.0} %", share * 100.0)),
    );
    lines.extend(row.change.as_ref().map(changed));
    lines.push(format!(
        "  Evidence: {} common points of {} matches",
        row.inliers, row.matches
    ));
    if !row.focal_known {
        lines.push("  Focal length unknown: zoom and distance cannot be told apart.".to_owned());
    }
    match (row.copy.as_str(), &row.copy_detail) {
        ("same_bytes", _) => lines.push("  Copy: the two files are identical.".to_owned()),
        ("same_pixels", _) => lines.push("  Copy: the same picture in another file.".to_owned()),
        ("edited", Some(detail)) => lines.push(format!(
            "  Copy: one picture was made from the other ({}, {:.0} % of the area).",
            detail.transform,
            detail.crop * 100.0
        )),
        ("unsure", _) => lines.push(
            "  Copy: one picture was made from the other, or both were taken from the same spot; nothing left in them tells which."
                .to_owned(),
        ),
        _ => {}
    }
    lines.extend(
        row.advice
            .as_ref()
            .map(|advice| format!("To match the first photo: {advice}.")),
    );
    lines.join("\n")
}
