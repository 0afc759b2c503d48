//! photoproof-core: do the photos prove the work?
//!
//! ```text
//! job folder -- ingest --> Intake -- measure --> Measured -- group --> Grouped -+
//!   + JobSheet               |                      |         + Ledger         |
//!                            +----------------------+------ Evidence<'_> <-----+
//!                                                              | + limits, waivers
//!                                                            judge --> Judgement -- report
//! ```
//!
//! Every stage imports base modules and earlier stages only.

pub mod advice;
pub mod cache;
pub mod error;
pub mod geodesy;
mod grid;
pub mod group;
pub mod hex;
pub mod ingest;
pub mod job;
pub mod judge;
pub mod ledger;
pub mod limits;
pub mod measure;
pub mod phase;
pub mod pipeline;
pub mod relation;
pub mod report;
pub mod scope;
pub mod seal;
pub mod shots;
pub mod sun;
pub mod thumbnail;
pub mod units;
pub mod volume;
pub mod whole_file;

/// Version of the whole library: a digest of its source text and of the versions of its crates.
pub const SOURCES: &str = env!("PHOTOPROOF_SOURCES");

pub use advice::advice;
pub use error::{Error, ErrorKind};
pub use limits::Limits;
pub use phase::Phase;
pub use relation::Relation;
