//! Judgement to bytes. Decides nothing.

pub mod v1;
