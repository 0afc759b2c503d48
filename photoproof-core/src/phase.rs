//! The three phases of a job and their order.

use serde::{Deserialize, Serialize};

/// When a photo claims to have been taken, relative to the work. Ordered: before < during < after.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Phase {
    /// The area as found.
    Before,
    /// The work under way.
    During,
    /// The finished work.
    After,
}

impl Phase {
    /// All phases in working order.
    pub const ALL: [Phase; 3] = [Phase::Before, Phase::During, Phase::After];

    /// The lower-case name used in labels, job sheets and reports.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Phase::Before => "before",
            Phase::During => "during",
            Phase::After => "after",
        }
    }
}

impl std::fmt::Display for Phase {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.pad(self.name())
    }
}
