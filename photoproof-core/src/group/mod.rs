//! Measured to [`Grouped`]: view sets, copies, coverage. Pure: no pixels, no input or output.

pub mod coverage;
pub mod view_set;

pub use coverage::CoverageCell;
pub use view_set::ViewSet;

use crate::ingest::PhotoId;
use crate::measure::{CopyMeasure, Viewpoint};
use crate::relation::Relation;

/// A compared pair of photos of one job.
#[derive(Debug, Clone)]
pub struct Pair {
    /// The earlier photo (by phase, then path).
    pub a: PhotoId,
    /// The later photo.
    pub b: PhotoId,
    /// Measured motion.
    pub viewpoint: Viewpoint,
    /// The motion against the limits.
    pub relation: Relation,
}

/// A confirmed copy inside the job or against the ledger.
#[derive(Debug, Clone)]
pub struct CopyPair {
    /// The photo of this job that is a copy (of two of this job: the one later in path order).
    pub photo: PhotoId,
    /// What it is a copy of.
    pub original: Original,
    /// How it was made.
    pub measure: CopyMeasure,
}

/// The other side of a copy.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Original {
    /// Another photo of this job.
    InJob(PhotoId),
    /// A photo of an earlier job, from the ledger.
    InLedger {
        /// The earlier job's id.
        job: String,
        /// Path of the photo in that job.
        path: String,
    },
}

/// What belongs together in one job.
#[derive(Debug, Clone, Default)]
#[non_exhaustive]
pub struct Grouped {
    /// View sets in report order; a photo is in one set at most.
    pub view_sets: Vec<ViewSet>,
    /// Compared pairs that matter to a view set or a finding, sorted.
    pub pairs: Vec<Pair>,
    /// Confirmed copies, sorted.
    pub copies: Vec<CopyPair>,
    /// Coverage matrix, areas in report order, phases in working order.
    pub coverage: Vec<CoverageCell>,
}
