//! `volume-mismatch`: the claimed debris volume is not what the measured and photographed loads add up to.

use rust_decimal::prelude::ToPrimitive;

use crate::judge::{Check, CheckMeta, Evidence, Finding, Severity, Status};
use crate::volume::{LoadLine, round_half_up};

static META: CheckMeta = CheckMeta {
    id: "volume-mismatch",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Fail,
    summary: "The claimed cubic yards differ from those of the measured and photographed loads.",
    why: "Debris is paid by the cubic yard; a claim needs loads that add up to it.",
    how_measured: "Sum of the job sheet's loads that have photos (box: length x width x height / 27 in feet, FEMA 329; other shapes by their formula), rounded half up.",
    limit: "max_volume_difference (0.1 of the claim). A claim above the boxes around all loads, or for one load above its own, is impossible at any limit.",
    remedy: "Add the missing loads with their measures and photos, or correct the claim.",
    innocent: &[
        "a load was hauled and not entered on the job sheet",
        "the photos of a load were left out of the upload",
        "the claim was rounded to whole loads",
    ],
    blind_spots: "Measures are taken from the job sheet as written; the photos are not measured. Silent without a claim.",
};

/// The check.
#[derive(Debug)]
pub struct VolumeMismatch;

impl Check for VolumeMismatch {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        let tally = &evidence.grouped.debris;
        let mut findings: Vec<Finding> = tally
            .loads
            .iter()
            .filter(|line| line.claim_impossible(tally.decimals))
            .map(impossible_load)
            .collect();
        findings.extend(whole_claim(evidence));
        findings
    }
}

/// A load for which more is claimed than the box around it holds.
fn impossible_load(line: &LoadLine) -> Finding {
    let claimed = line.claimed.and_then(|c| c.to_f64()).unwrap_or_default();
    let bound = round_half_up(line.bound, 2).to_f64().unwrap_or_default();
    META.finding(format!(
        "{claimed} cubic yards are claimed for load {}, the box around it holds {bound}",
        line.name
    ))
    .subject(&line.name)
    .measured(claimed, bound, "cubic yards")
}

fn whole_claim(evidence: &Evidence<'_>) -> Option<Finding> {
    let tally = &evidence.grouped.debris;
    let claimed = tally.claimed.and_then(|claim| claim.to_f64())?;
    let documented = tally.documented.to_f64().unwrap_or_default();
    let limit = evidence.limits().max_volume_difference * claimed;
    if (claimed - documented).abs() <= limit && !tally.claim_impossible {
        return None;
    }
    let message = if tally.claim_impossible {
        format!("{claimed} cubic yards are claimed, more than the boxes around all loads hold")
    } else {
        format!(
            "{claimed} cubic yards are claimed, {documented} are backed by measured loads with photos"
        )
    };
    let finding = META
        .finding(message)
        .measured(documented - claimed, limit, "cubic yards");
    // More documented than claimed costs nobody anything.
    Some(if documented > claimed {
        finding.at_most(Severity::Note)
    } else {
        finding
    })
}
