//! `idle-waiver`: a waiver that accepts nothing: expired, stale or unused.

use crate::judge::waiver::{Idle, Waiver};
use crate::judge::{Check, CheckMeta, Evidence, Finding, Severity, Status};

static META: CheckMeta = CheckMeta {
    id: "idle-waiver",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Review,
    summary: "A waiver accepts nothing: it has expired, names something the job does not have, or is not needed.",
    why: "A waiver nobody needs hides the next finding of its kind; an expired one no longer says what the reviewer accepts.",
    how_measured: "Each entry of the waiver file against the findings, areas and photos of the job on the day of the check.",
    limit: "The entry's own last day, until.",
    remedy: "Renew the waiver with a new date and reason, correct what it names, or delete it.",
    innocent: &[
        "the crew has put right what was accepted before",
        "a photo was renamed",
    ],
    blind_spots: "Does not judge whether a waiver was wise.",
};

/// The check. Its findings are made once waivers have been applied, not here.
#[derive(Debug)]
pub struct IdleWaiver;

impl Check for IdleWaiver {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, _evidence: &Evidence<'_>) -> Vec<Finding> {
        Vec::new()
    }
}

/// The finding about one idle waiver. An unused one is a note: it changes nothing today.
pub(crate) fn finding(waiver: &Waiver, idle: &Idle) -> Finding {
    let name = format!("the waiver of {} on line {}", waiver.check, waiver.line);
    match idle {
        Idle::Expired { findings: 0 } => META
            .finding(format!(
                "{name} expired on {} and nothing needs it",
                waiver.until
            ))
            .at_most(Severity::Note),
        Idle::Expired { findings } => META
            .finding(format!("{name} expired on {}", waiver.until))
            .measured(*findings as f64, 0.0, "findings that stand again"),
        Idle::Stale { missing } => META.finding(format!(
            "{name} names what the job does not have: {}",
            missing.join(", ")
        )),
        Idle::Unused => META
            .finding(format!("{name} is not needed"))
            .at_most(Severity::Note),
    }
}
