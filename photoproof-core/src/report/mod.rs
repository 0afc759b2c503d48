//! Judgement to bytes. Decides nothing.

pub mod build;
pub mod v1;
