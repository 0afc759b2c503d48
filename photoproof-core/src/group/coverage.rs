//! Coverage: how many photos each area has in each phase.

use crate::phase::Phase;

/// One cell of the coverage matrix.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CoverageCell {
    /// Area name.
    pub area: String,
    /// Phase.
    pub phase: Phase,
    /// Whether the job asks for photos here.
    pub required: bool,
    /// Number of usable photos.
    pub photos: usize,
}
