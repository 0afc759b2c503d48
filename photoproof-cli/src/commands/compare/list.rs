//! `photoproof compare --list PAIRS.jsonl`: one line a pair, in input order.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use photoproof_core::measure::PhotoMeasures;
use photoproof_core::report::v1;
use photoproof_core::{Error, ErrorKind};
use rayon::prelude::*;
use serde::Serialize;
use serde_json::{Map, Value};

use super::{compared, measure, to_json};
use crate::exit::Exit;
use crate::style;

/// Pairs handled at a time: bounds what is held in memory.
const CHUNK: usize = 256;
/// Measured photos kept between chunks.
const KEPT_PHOTOS: usize = 600;

/// One line of the list.
struct Row {
    a: String,
    b: String,
    others: Map<String, Value>,
}

/// A compared line; members of the input that we do not write ourselves pass through.
#[derive(Serialize)]
struct Line<'a> {
    #[serde(flatten)]
    pair: &'a v1::Pair,
    #[serde(flatten)]
    others: Map<String, Value>,
}

/// A line that could not be compared.
#[derive(Serialize)]
struct Broken<'a> {
    a: &'a str,
    b: &'a str,
    relation: &'static str,
    copy: &'static str,
    problem: String,
    #[serde(flatten)]
    others: Map<String, Value>,
}

/// Runs `compare --list`.
pub(super) fn run(list: &Path, root: Option<&Path>) -> Result<Exit, Error> {
    let rows = read(list)?;
    let mut photos: BTreeMap<PathBuf, Result<PhotoMeasures, String>> = BTreeMap::new();
    let mut compared_any = rows.is_empty();
    for chunk in rows.chunks(CHUNK) {
        if photos.len() > KEPT_PHOTOS {
            photos.clear();
        }
        let path = |name: &str| root.map_or_else(|| PathBuf::from(name), |root| root.join(name));
        let mut wanted: Vec<PathBuf> = chunk
            .iter()
            .flat_map(|row| [path(&row.a), path(&row.b)])
            .collect();
        wanted.sort();
        wanted.dedup();
        wanted.retain(|path| !photos.contains_key(path));
        let measured: Vec<_> = wanted
            .par_iter()
            .map(|path| measure(path).map_err(|e| e.to_string()))
            .collect();
        photos.extend(wanted.into_iter().zip(measured));
        let lines: Vec<(bool, String)> = chunk
            .par_iter()
            .map(|row| line(row, photos.get(&path(&row.a)), photos.get(&path(&row.b))))
            .collect::<Result<_, _>>()?;
        for (worked, line) in lines {
            compared_any |= worked;
            style::results(&(line + "\n"));
        }
    }
    Ok(if compared_any {
        Exit::Clean
    } else {
        Exit::Failed
    })
}

type Measured<'a> = Option<&'a Result<PhotoMeasures, String>>;

fn line(row: &Row, a: Measured<'_>, b: Measured<'_>) -> Result<(bool, String), Error> {
    match (a, b) {
        (Some(Ok(a)), Some(Ok(b))) => {
            let (pair, _) = compared((&row.a, a), (&row.b, b));
            let mut others = row.others.clone();
            let own = serde_json::to_value(&pair)
                .map_err(|e| Error::new(ErrorKind::Io, format!("cannot write JSON: {e}")))?;
            others.retain(|name, _| own.get(name).is_none());
            Ok((
                true,
                to_json(&Line {
                    pair: &pair,
                    others,
                })?,
            ))
        }
        (a, b) => {
            let problem = [a, b]
                .into_iter()
                .find_map(|side| side.and_then(|side| side.as_ref().err()))
                .cloned()
                .unwrap_or_default();
            let mut others = row.others.clone();
            for name in ["relation", "copy", "problem"] {
                others.remove(name);
            }
            let line = Broken {
                a: &row.a,
                b: &row.b,
                relation: "undetermined",
                copy: "none",
                problem,
                others,
            };
            Ok((false, to_json(&line)?))
        }
    }
}

fn read(list: &Path) -> Result<Vec<Row>, Error> {
    let text = std::fs::read_to_string(list).map_err(|e| Error::io("read", list, e))?;
    text.lines()
        .enumerate()
        .filter(|(_, line)| !line.trim().is_empty())
        .map(|(index, line)| {
            parse(line).map_err(|what| {
                Error::new(
                    ErrorKind::Usage,
                    format!("{}, line {}: {what}", list.display(), index + 1),
                )
            })
        })
        .collect()
}

fn parse(line: &str) -> Result<Row, String> {
    let mut others: Map<String, Value> =
        serde_json::from_str(line).map_err(|e| format!("not a JSON object: {e}"))?;
    let mut take = |name: &str| match others.remove(name) {
        Some(Value::String(path)) => Ok(path),
        _ => Err(format!("member \"{name}\" must be a path")),
    };
    Ok(Row {
        a: take("a")?,
        b: take("b")?,
        others,
    })
}
