//! What a check is, in the words that `explain`, the README table and the reports share.

use serde::Serialize;

use crate::ingest::PhotoId;
use crate::judge::finding::{Finding, Measurement, Retake, Severity};

/// Whether a check can fail the gate.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Status {
    /// Proven on data with known truth.
    Stable {
        /// Version since which it is stable.
        since: &'static str,
    },
    /// On trial: its findings are notes.
    Preview {
        /// Version that brought it.
        since: &'static str,
    },
}

/// Identity and documentation of a check: the single source.
#[derive(Debug, Clone, Serialize)]
pub struct CheckMeta {
    /// Kebab-case, named after the defect, equal to the file name.
    pub id: &'static str,
    /// Whether it can fail the gate.
    pub status: Status,
    /// The highest severity its findings can have.
    pub severity: Severity,
    /// One sentence, defect first.
    pub summary: &'static str,
    /// What a reviewer cannot conclude because of it.
    pub why: &'static str,
    /// Quantity, unit, formula, source.
    pub how_measured: &'static str,
    /// Limit by its job-sheet name, default, and where the default comes from.
    pub limit: &'static str,
    /// To the crew, imperative.
    pub remedy: &'static str,
    /// How it can come about innocently.
    pub innocent: &'static [&'static str],
    /// When it stays silent or may be wrong.
    pub blind_spots: &'static str,
}

impl CheckMeta {
    /// Starts a finding of this check with its usual severity, remedy and innocent explanations.
    #[must_use]
    pub fn finding(&'static self, message: impl Into<String>) -> Finding {
        Finding {
            check: self.id,
            severity: self.severity,
            area: None,
            photos: Vec::new(),
            files: Vec::new(),
            message: message.into(),
            regions: Vec::new(),
            measured: None,
            remedy: self.remedy.to_owned(),
            innocent_explanations: self.innocent.iter().map(|&text| text.to_owned()).collect(),
            subject: None,
            retake: None,
            waived: None,
        }
    }
}

impl Finding {
    /// Names the area.
    #[must_use]
    pub fn area(mut self, area: Option<&str>) -> Self {
        self.area = area.map(str::to_owned);
        self
    }

    /// Names the photos, the primary first.
    #[must_use]
    pub fn photos(mut self, photos: impl IntoIterator<Item = PhotoId>) -> Self {
        self.photos = photos.into_iter().collect();
        self
    }

    /// Names files that are not readable photos.
    #[must_use]
    pub fn files(mut self, files: impl IntoIterator<Item = String>) -> Self {
        self.files = files.into_iter().collect();
        self
    }

    /// Says where in its first photo it was measured.
    #[must_use]
    pub fn regions(mut self, regions: &[[f64; 4]]) -> Self {
        self.regions = regions.to_vec();
        self
    }

    /// States the number and its limit.
    #[must_use]
    pub fn measured(mut self, value: f64, limit: f64, unit: &str) -> Self {
        self.measured = Some(Measurement {
            value: Some(value),
            limit: Some(limit),
            unit: unit.to_owned(),
        });
        self
    }

    /// Lowers (never raises) the severity.
    #[must_use]
    pub fn at_most(mut self, severity: Severity) -> Self {
        self.severity = self.severity.min(severity);
        self
    }

    /// Says what to do in this case.
    #[must_use]
    pub fn remedy(mut self, remedy: impl Into<String>) -> Self {
        self.remedy = remedy.into();
        self
    }

    /// Says what tells this finding from others of the same check, area and photos.
    #[must_use]
    pub fn subject(mut self, subject: impl Into<String>) -> Self {
        self.subject = Some(subject.into());
        self
    }

    /// Puts a photo on the retake list.
    #[must_use]
    pub fn retake(mut self, retake: Retake) -> Self {
        self.retake = Some(retake);
        self
    }
}
