//! One file per command. Commands measure nothing and know no threshold.

pub(crate) mod inspect;
