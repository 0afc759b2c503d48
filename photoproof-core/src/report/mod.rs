//! Judgement to bytes. Decides nothing.

pub mod inspect;
pub mod v1;
