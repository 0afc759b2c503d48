//! Evidence to [`Judgement`]: the only stage that reads limits. One file per check in `checks/`.

pub mod checks;
pub mod finding;

pub use finding::{Finding, Measurement, Outcome, Severity};
