//! A finding: one instance of a check, with its numbers, remedy and innocent explanations.

use serde::{Deserialize, Serialize};

use crate::ingest::PhotoId;
use crate::judge::waiver::Waiver;
use crate::phase::Phase;

/// How much a finding weighs. Ordered: note < review < fail.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Severity {
    /// Worth knowing; asks for nothing.
    Note,
    /// A person has to look.
    Review,
    /// The proof is missing or contradicted.
    Fail,
}

/// The verdict on a job: the highest severity that is not waived.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Outcome {
    /// Every required proof is there.
    Pass,
    /// A person has to look.
    Review,
    /// Proof is missing or contradicted.
    Fail,
}

/// What was measured and what it was compared with.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Measurement {
    /// The measured value; `null` when the finding is about absence.
    pub value: Option<f64>,
    /// The limit it was compared with.
    pub limit: Option<f64>,
    /// Unit of both (`degrees`, `ratio`, `share`, `seconds`, `photos`, ...).
    pub unit: String,
}

/// One instance of a check.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct Finding {
    /// Check id, kebab-case.
    pub check: &'static str,
    /// How much it weighs.
    pub severity: Severity,
    /// Area it concerns, if any.
    pub area: Option<String>,
    /// Photos it concerns, the primary first.
    pub photos: Vec<PhotoId>,
    /// Files it concerns that are not readable photos (rejected files).
    pub files: Vec<String>,
    /// One sentence: what was measured.
    pub message: String,
    /// Where in its first photo it was measured: left, top, right and bottom as shares of the upright width and height.
    pub regions: Vec<[f64; 4]>,
    /// The number behind it.
    pub measured: Option<Measurement>,
    /// What to do, imperative, to the crew.
    pub remedy: String,
    /// How this can come about innocently.
    pub innocent_explanations: Vec<String>,
    /// What tells it from other findings of the same check, area and photos: a shot, a load, a phase.
    pub subject: Option<String>,
    /// The photo that would settle it, if one would.
    pub retake: Option<Retake>,
    /// The waiver that accepts it.
    pub waived: Option<Waiver>,
}

/// One photo to shoot (again).
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Retake {
    /// Area to shoot.
    pub area: Option<String>,
    /// Phase to shoot.
    pub phase: Option<Phase>,
    /// The view set it belongs to.
    pub view_set: Option<String>,
    /// The photo to match.
    pub like: Option<PhotoId>,
    /// The photo it replaces.
    pub replaces: Option<PhotoId>,
    /// What to do, in words.
    pub instruction: String,
}
