//! Measures the viewpoint comparison on pairs with known truth and prints a table.
//!
//! ```text
//! cargo run --release --example accuracy -p photoproof-core -- \
//!     --list PAIRS.jsonl [--root DIR] [--json FILE] [--degrade NAME] [--no-focal]
//! ```
//!
//! The list has the form of `photoproof compare --list`, with the truth members `kind`, `rot_deg`,
//! `ratio` and `overlap`; all but `a` and `b` may be absent. `--root` defaults to the list's folder.
//! `--degrade`: `none`, `jpeg`, `noise`, `motion`, `small` or `stamp`. `--no-focal` ignores Exif's
//! focal length. The JSON file holds one object a pair.
#![allow(clippy::print_stdout)]

use std::path::PathBuf;

#[path = "../../tests/support/degrade.rs"]
#[allow(dead_code)]
mod degrade;
#[path = "../../tests/support/evaluation.rs"]
#[allow(dead_code)]
mod evaluation;

use degrade::Degradation;
use evaluation::{Failure, Plan, evaluate, table};

fn main() -> Result<(), Failure> {
    let (plan, json) = arguments()?;
    let evaluation = evaluate(&plan)?;
    println!("{}", table(&evaluation));
    if let Some(path) = json {
        let lines: Vec<String> = evaluation
            .outcomes
            .iter()
            .map(|o| o.json().to_string())
            .collect();
        std::fs::write(&path, format!("[\n{}\n]\n", lines.join(",\n")))?;
    }
    Ok(())
}

fn arguments() -> Result<(Plan, Option<PathBuf>), Failure> {
    let mut plan = Plan {
        list: PathBuf::new(),
        root: PathBuf::new(),
        degradation: Degradation::None,
        use_focal: true,
    };
    let mut json = None;
    let mut given = std::env::args().skip(1);
    while let Some(name) = given.next() {
        if name == "--no-focal" {
            plan.use_focal = false;
            continue;
        }
        let value = given
            .next()
            .ok_or_else(|| format!("{name} needs a value"))?;
        match name.as_str() {
            "--list" => plan.list = value.into(),
            "--root" => plan.root = value.into(),
            "--json" => json = Some(value.into()),
            "--degrade" => {
                plan.degradation = Degradation::named(&value)
                    .ok_or_else(|| format!("{value} is not a degradation"))?;
            }
            _ => return Err(format!("{name} is not an option; see the top of the file").into()),
        }
    }
    if plan.list.as_os_str().is_empty() {
        return Err("--list PAIRS.jsonl is missing".into());
    }
    if plan.root.as_os_str().is_empty() {
        plan.root = plan.list.parent().map(PathBuf::from).unwrap_or_default();
    }
    Ok((plan, json))
}
