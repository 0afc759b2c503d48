//! Three sentences that explain the outcome.

use crate::judge::{Outcome, Severity};
use crate::report::v1;

/// Outcome, main reasons, what to do.
pub(super) fn sentences(
    counts: &v1::Counts,
    outcome: Outcome,
    findings: &[v1::Finding],
    retakes: &[v1::Retake],
) -> Vec<String> {
    let number = |severity| counts.findings.get(&severity).copied().unwrap_or_default();
    let (fails, reviews) = (number(Severity::Fail), number(Severity::Review));
    let first = match outcome {
        Outcome::Pass => format!(
            "{} in {} prove what the job asks for.",
            plural(counts.photos, "photo"),
            plural(counts.view_sets, "view")
        ),
        Outcome::Review => format!(
            "{} before the job is proven.",
            needs(reviews, "a person's look")
        ),
        Outcome::Fail => format!(
            "The photos do not prove the job: {}{}.",
            plural(fails, "gap"),
            if reviews == 0 {
                String::new()
            } else {
                format!(", and {}", needs(reviews, "a person's look"))
            }
        ),
    };
    let second = match main_checks(findings) {
        names if names.is_empty() => "Nothing is missing, out of order or used twice.".to_owned(),
        names => format!("Most weight: {}.", names.join("; ")),
    };
    let third = match retakes.len() {
        0 => "Nothing has to be shot again.".to_owned(),
        n => format!(
            "{} on the retake list.",
            if n == 1 {
                "1 photo is".to_owned()
            } else {
                format!("{n} photos are")
            }
        ),
    };
    vec![first, second, third]
}

fn plural(count: usize, noun: &str) -> String {
    if count == 1 {
        format!("1 {noun}")
    } else {
        format!("{count} {noun}s")
    }
}

fn needs(count: usize, what: &str) -> String {
    if count == 1 {
        format!("1 finding needs {what}")
    } else {
        format!("{count} findings need {what}")
    }
}

/// The first three open findings above note, in report order.
fn main_checks(findings: &[v1::Finding]) -> Vec<String> {
    findings
        .iter()
        .filter(|finding| finding.waived.is_none() && finding.severity > Severity::Note)
        .take(3)
        .map(|finding| finding.message.clone())
        .collect()
}
