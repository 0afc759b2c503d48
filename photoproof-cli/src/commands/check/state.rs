//! What is remembered of the finished jobs of a batch, so that they are not done again.
//!
//! Each job's folder of reports holds a `state.json`: a digest of all that the reports depend on, the digests of the
//! report files, and the report itself for the index. It is written last. A job whose state is missing, damaged or of
//! other inputs, or whose report files are not the ones that were written, is checked again.

use std::collections::BTreeMap;
use std::path::Path;

use photoproof_core::hex::hex;
use photoproof_core::ledger::Ledger;
use photoproof_core::report::v1::Report;
use photoproof_core::{Error, SOURCES};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use crate::output;

const SCHEMA: &str = "photoproof.state/1";
const NAME: &str = "state.json";
/// A state above this is not read.
const MAX_BYTES: u64 = 256 << 20;
/// A finding that depends on the hour of the check: such a job is never finished.
const BY_THE_HOUR: &str = "capture-time-in-future";

#[derive(Debug, Serialize, Deserialize)]
struct State {
    schema: String,
    inputs: String,
    files: BTreeMap<String, String>,
    report: Report,
}

/// Digests of report files by name.
pub(super) type Written = BTreeMap<String, String>;

/// SHA-256 in lower-case hexadecimal.
pub(super) fn sha256(bytes: &[u8]) -> String {
    hex(&Sha256::digest(bytes))
}

/// Digest of everything that a report depends on, each told in words or by its own digest.
pub(super) fn inputs(parts: &[String]) -> String {
    let mut all = format!("{SOURCES} {}", env!("CARGO_PKG_VERSION"));
    for part in parts {
        all.push_str(&format!("\n{} {part}", part.len()));
    }
    sha256(all.as_bytes())
}

/// What a report depends on in a ledger that is only read: all other jobs, with the time at which each was recorded.
pub(super) fn ledger_state(ledger: &dyn Ledger, own: &str) -> Result<String, Error> {
    let mut all = String::new();
    for entry in ledger.jobs()?.iter().filter(|entry| entry.job != own) {
        all.push_str(&format!(
            "{:?} {} {}\n",
            entry.job, entry.recorded, entry.photos
        ));
    }
    Ok(sha256(all.as_bytes()))
}

/// The report of a job that was finished with the same inputs.
pub(super) fn finished(dir: &Path, inputs: &str) -> Option<Report> {
    let path = dir.join(NAME);
    let facts = std::fs::symlink_metadata(&path).ok()?;
    if !facts.is_file() || facts.len() > MAX_BYTES {
        return None;
    }
    let state: State = serde_json::from_slice(&std::fs::read(&path).ok()?).ok()?;
    let is_there = |(name, digest): (&String, &String)| {
        let path = dir.join(name);
        let is_file = std::fs::symlink_metadata(&path).is_ok_and(|facts| facts.is_file());
        is_file && std::fs::read(&path).is_ok_and(|bytes| sha256(&bytes) == *digest)
    };
    let same = state.schema == SCHEMA && state.inputs == inputs;
    (same && state.files.iter().all(is_there)).then_some(state.report)
}

/// Remembers a finished job.
pub(super) fn keep(
    dir: &Path,
    inputs: String,
    files: Written,
    report: &Report,
) -> Result<(), Error> {
    if report.findings.iter().any(|f| f.check == BY_THE_HOUR) {
        return Ok(());
    }
    let state = State {
        schema: SCHEMA.to_owned(),
        inputs,
        files,
        report: report.clone(),
    };
    match serde_json::to_vec(&state) {
        Ok(bytes) => output::write(dir, NAME, &bytes),
        // A report that cannot be kept is made again.
        Err(_) => Ok(()),
    }
}
