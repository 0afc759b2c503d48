//! View sets: the photos of one view over the phases.

use crate::ingest::PhotoId;

/// The photos of one view of one area.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub struct ViewSet {
    /// Stable id: area and number (`kitchen-1`).
    pub id: String,
    /// Area, if known.
    pub area: Option<String>,
    /// Before photos, by path.
    pub before: Vec<PhotoId>,
    /// During photos, by path.
    pub during: Vec<PhotoId>,
    /// After photos, by path.
    pub after: Vec<PhotoId>,
    /// Photos whose phase is unknown, by path.
    pub unphased: Vec<PhotoId>,
}
