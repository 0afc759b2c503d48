//! `photoproof explain [CHECK_ID]`

use std::fmt::Write;

use photoproof_core::judge::{CHECKS, CheckMeta, Severity, Status, registry};
use photoproof_core::scope::Profile;
use photoproof_core::{Error, ErrorKind};

use crate::exit::Exit;
use crate::style;

/// Arguments of `explain`.
#[derive(Debug, clap::Args)]
pub(crate) struct ExplainArgs {
    /// A check's id, or `scope` for job sheets and shots; without it all checks are listed
    #[arg(value_name = "CHECK_ID")]
    check: Option<String>,
    /// With `scope`: print the built-in profile of this service as TOML, to copy, change and name in
    /// the job sheet
    #[arg(long, value_name = "SERVICE")]
    profile: Option<String>,
    /// How to print
    #[arg(long, value_enum, default_value_t = ExplainFormat::Text)]
    format: ExplainFormat,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum ExplainFormat {
    /// For reading
    Text,
    /// One object a check
    Json,
    /// A table for a document
    Markdown,
}

/// Runs `explain`.
pub(crate) fn run(args: &ExplainArgs) -> Result<Exit, Error> {
    if let Some(service) = &args.profile {
        style::results(profile(args, service)?);
        return Ok(Exit::Clean);
    }
    if args.check.as_deref() == Some("scope") {
        style::results(&photoproof_core::scope::explain());
        return Ok(Exit::Clean);
    }
    let metas: Vec<&'static CheckMeta> = match args.check.as_deref() {
        None => CHECKS.iter().map(|check| check.meta()).collect(),
        Some(id) => vec![registry::find(id).ok_or_else(|| unknown(id))?],
    };
    let text = match args.format {
        ExplainFormat::Json => json(&metas)?,
        ExplainFormat::Markdown => markdown(&metas),
        ExplainFormat::Text if args.check.is_some() => {
            metas.iter().map(|meta| whole(meta)).collect()
        }
        ExplainFormat::Text => list(&metas),
    };
    style::results(&text);
    Ok(Exit::Clean)
}

/// The text of a built-in profile.
fn profile(args: &ExplainArgs, service: &str) -> Result<&'static str, Error> {
    if args.check.as_deref().is_some_and(|check| check != "scope") {
        return Err(Error::new(
            ErrorKind::Usage,
            "--profile goes with `photoproof explain scope`",
        ));
    }
    Profile::built_in_text(service).ok_or_else(|| {
        let built_in = Profile::built_in();
        let known: Vec<&str> = built_in.iter().map(|p| p.service.as_str()).collect();
        Error::new(
            ErrorKind::Usage,
            format!(
                "no built-in profile is named \"{}\"; use one of: {}",
                service.escape_debug(),
                known.join(", ")
            ),
        )
    })
}

fn unknown(id: &str) -> Error {
    let nearest = CHECKS
        .iter()
        .map(|check| check.meta().id)
        .min_by_key(|known| strsim::levenshtein(known, id))
        .unwrap_or_default();
    Error::new(
        ErrorKind::Usage,
        format!(
            "no check is named \"{}\"; did you mean {nearest}? (photoproof explain lists all)",
            id.escape_debug()
        ),
    )
}

fn json(metas: &[&CheckMeta]) -> Result<String, Error> {
    let text = serde_json::to_string_pretty(metas)
        .map_err(|e| Error::new(ErrorKind::Io, format!("cannot write JSON: {e}")))?;
    Ok(text + "\n")
}

fn list(metas: &[&CheckMeta]) -> String {
    let width = metas
        .iter()
        .map(|meta| meta.id.len())
        .max()
        .unwrap_or_default();
    let mut text = String::new();
    for meta in metas {
        let _ = writeln!(
            text,
            "{:width$}  {:6}  {}",
            meta.id,
            severity(meta),
            meta.summary
        );
    }
    text
}

fn whole(meta: &CheckMeta) -> String {
    let (word, since) = match meta.status {
        Status::Stable { since } => ("stable", since),
        Status::Preview { since } => ("on trial: its findings are notes", since),
    };
    let mut text = format!("{} ({}, {word} since {since})\n", meta.id, severity(meta));
    let innocent = meta.innocent.join("; ");
    for (heading, body) in [
        ("What", meta.summary),
        ("Why it matters", meta.why),
        ("How measured", meta.how_measured),
        ("Limit", meta.limit),
        ("What to do", meta.remedy),
        ("Innocent explanations", innocent.as_str()),
        ("Blind spots", meta.blind_spots),
    ] {
        let _ = writeln!(text, "\n{heading}\n  {body}");
    }
    text
}

fn markdown(metas: &[&CheckMeta]) -> String {
    let mut text =
        String::from("| check | highest severity | what it reports | limit |\n|---|---|---|---|\n");
    for meta in metas {
        let _ = writeln!(
            text,
            "| `{}` | {} | {} | {} |",
            meta.id,
            severity(meta),
            meta.summary,
            meta.limit
        );
    }
    text
}

fn severity(meta: &CheckMeta) -> &'static str {
    match meta.severity {
        Severity::Note => "note",
        Severity::Review => "review",
        Severity::Fail => "fail",
    }
}
