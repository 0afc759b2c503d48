//! `unevidenced-load`: a load of the debris claim has no photo, or lacks one of its states.

use crate::judge::{Check, CheckMeta, Evidence, Finding, Retake, Severity, Status};

static META: CheckMeta = CheckMeta {
    id: "unevidenced-load",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Fail,
    summary: "A load on the job sheet has no photo, or lacks the empty, full or dumped photo it names.",
    why: "A measured load without a photo is a number nobody can check.",
    how_measured: "Photos that match the globs of the load on the job sheet.",
    limit: "One photo for each load; of a bed, one empty, one full and one after dumping, where the sheet names photos of states or a photo's name tells one.",
    remedy: "Photograph the bed empty, full and after dumping, with something for scale; name the photos on the job sheet.",
    innocent: &[
        "the photos are in the folder under another name than the glob says",
        "the photos of the load are with the hauler",
        "several houses shared one dump run",
    ],
    blind_spots: "Looks at names, not at what the photo shows.",
};

/// The check.
#[derive(Debug)]
pub struct UnevidencedLoad;

impl Check for UnevidencedLoad {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        let lines = &evidence.grouped.debris.loads;
        lines
            .iter()
            // A load whose photos show another is load-counted-twice.
            .filter(|line| line.same_as.is_none())
            .filter(|line| !line.evidenced || !line.missing_states.is_empty())
            .map(|line| {
                let lacks = if line.evidenced {
                    format!("no photo {}", line.missing_states.join(" and none "))
                } else {
                    format!("no photo{}", unmatched(evidence, &line.name))
                };
                META.finding(format!("load {} has {lacks}", line.name))
                    .subject(&line.name)
                    .files(line.photos.iter().cloned())
                    .measured(line.photos.len() as f64, 1.0, "photos")
                    .at_most(if line.evidenced { Severity::Review } else { Severity::Fail })
                    .retake(Retake {
                        area: None,
                        phase: None,
                        view_set: None,
                        like: None,
                        replaces: None,
                        instruction: format!("load {}: send its photos (empty, full, after dumping) if they were taken", line.name),
                    })
            })
            .collect()
    }
}

/// The globs of the load, none of which matches a photo.
fn unmatched(evidence: &Evidence<'_>, load: &str) -> String {
    let mut loads = evidence.sheet.loads.iter();
    let globs: Vec<String> = loads
        .find(|known| known.name == load)
        .map(|load| load.photos.all().map(|glob| format!("`{glob}`")).collect())
        .unwrap_or_default();
    match globs.as_slice() {
        [] => String::new(),
        globs => format!(
            ": {} of the job sheet match{} none of the {} photos",
            globs.join(", "),
            if globs.len() == 1 { "es" } else { "" },
            evidence.intake.photos.len()
        ),
    }
}
