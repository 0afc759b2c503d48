//! Visible change against the truth of rendered houses: one table.
//!
//! `cargo run --release -p photoproof-core --example change_report -- --root DIR --list PAIRS.jsonl... [--cells FILE]`
//!
//! The lists come from `tools/change_truth.py`; their paths are relative to `--root`, of which several may be
//! given. `--cells` writes the measure of every cell beside its truth, for setting the weights.
#![allow(clippy::unwrap_used, clippy::print_stdout, clippy::expect_used)]

mod exposures;
mod table;

use std::collections::BTreeMap;
use std::io::Write;
use std::path::{Path, PathBuf};

use photoproof_core::Limits;
use photoproof_core::Relation;
use photoproof_core::ingest::{IngestOptions, Photo, Pixels, read_photo};
use photoproof_core::measure::change::{Change, cells};
use photoproof_core::measure::{PhotoMeasures, Viewpoint, ViewpointShift, measure_photo};
use rayon::prelude::*;
use serde::Deserialize;

/// One line of a list.
#[derive(Debug, Clone, Deserialize)]
pub(crate) struct Truth {
    a: String,
    b: String,
    phase_a: String,
    phase_b: String,
    width: usize,
    height: usize,
    share: f64,
    cells: String,
}

/// A photo with its measures.
pub(crate) struct Measured {
    photo: Photo,
    pixels: Pixels,
    measures: PhotoMeasures,
}

/// A pair that was compared.
pub(crate) struct Compared {
    pub(crate) truth: Truth,
    pub(crate) relation: Relation,
    pub(crate) change: Option<Change>,
    pub(crate) ms: f64,
}

fn read(roots: &[PathBuf], name: &str) -> Measured {
    let path = roots
        .iter()
        .map(|root| root.join(name))
        .find(|path| path.exists())
        .unwrap_or_else(|| panic!("{name}: not under any --root"));
    let (photo, pixels) = read_photo(&path, name, &IngestOptions::default()).expect("readable");
    let measures = measure_photo(&photo, &pixels);
    Measured {
        photo,
        pixels,
        measures,
    }
}

fn compare(truth: &Truth, photos: &BTreeMap<String, Measured>) -> (Compared, String) {
    let (a, b) = (&photos[&truth.a], &photos[&truth.b]);
    let viewpoint = Viewpoint::between(&a.measures.features, &b.measures.features);
    let relation = Relation::of(&viewpoint, &Limits::default());
    let mut rows = String::new();
    let (start, mut ms) = (std::time::Instant::now(), 0.0);
    let change = match &viewpoint {
        Viewpoint::Shift(shift) => {
            let change = Change::between(&a.measures.small, &b.measures.small, shift);
            ms = start.elapsed().as_secs_f64() * 1e3;
            if relation == Relation::SameView {
                rows = cell_rows(truth, a, b, shift);
            }
            change
        }
        _ => None,
    };
    let compared = Compared {
        truth: truth.clone(),
        relation,
        change,
        ms,
    };
    (compared, rows)
}

/// The measures of the cells with their truth, comma separated.
fn cell_rows(truth: &Truth, a: &Measured, b: &Measured, shift: &ViewpointShift) -> String {
    let cells = cells(&a.measures.small, &b.measures.small, shift);
    let letters: Vec<char> = truth.cells.chars().collect();
    let mut rows = String::new();
    for (index, cell) in cells.list.iter().enumerate() {
        let (x, y) = (index % cells.columns, index / cells.columns);
        let at = (y * truth.height / cells.rows) * truth.width + x * truth.width / cells.columns;
        if let Some(c) = cell {
            rows.push_str(&format!(
                "{},{},{x},{y},{},{},{},{},{},{}\n",
                truth.a,
                truth.b,
                letters.get(at).unwrap_or(&'-'),
                c.correlation,
                c.contrast[0],
                c.contrast[1],
                c.colour,
                c.light
            ));
        }
    }
    rows
}

fn main() {
    let (mut roots, mut lists, mut dump) = (Vec::new(), Vec::new(), None);
    let mut into = 0;
    for word in std::env::args().skip(1) {
        match (word.as_str(), into) {
            ("--root", _) => into = 1,
            ("--list", _) => into = 2,
            ("--cells", _) => into = 3,
            (_, 1) => roots.push(PathBuf::from(word)),
            (_, 2) => lists.push(PathBuf::from(word)),
            (_, 3) => dump = Some(PathBuf::from(word)),
            _ => panic!("--root DIR... --list PAIRS.jsonl... [--cells FILE]"),
        }
    }
    let truths: Vec<Truth> = lists.iter().flat_map(|list| lines(list)).collect();
    let mut names: Vec<&str> = truths
        .iter()
        .flat_map(|t| [t.a.as_str(), t.b.as_str()])
        .collect();
    names.sort_unstable();
    names.dedup();
    let photos: BTreeMap<String, Measured> = names
        .par_iter()
        .map(|name| ((*name).to_owned(), read(&roots, name)))
        .collect();
    let compared: Vec<(Compared, String)> =
        truths.par_iter().map(|t| compare(t, &photos)).collect();
    if let Some(file) = dump {
        let mut out = std::fs::File::create(file).expect("a writable file");
        for (_, rows) in &compared {
            out.write_all(rows.as_bytes()).expect("written");
        }
    }
    let compared: Vec<Compared> = compared.into_iter().map(|(c, _)| c).collect();
    table::print(&compared);
    exposures::print(&photos);
}

fn lines(list: &Path) -> Vec<Truth> {
    std::fs::read_to_string(list)
        .expect("a list of pairs")
        .lines()
        .map(|line| serde_json::from_str(line).expect("a pair"))
        .collect()
}
